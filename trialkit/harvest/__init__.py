"""From what the machine wrote to strip yields one can trust.

Names are loaded when first used, so that reading `trial.toml` (which needs the screening limits)
does not load pandas.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trialkit.harvest.column_guess import proposal_text as proposal_text
    from trialkit.harvest.column_guess import propose_columns as propose_columns
    from trialkit.harvest.delay import Delay as Delay
    from trialkit.harvest.delay import estimate_delay as estimate_delay
    from trialkit.harvest.delay import given_delay as given_delay
    from trialkit.harvest.delay import shift_flow as shift_flow
    from trialkit.harvest.grain import at_standard_moisture as at_standard_moisture
    from trialkit.harvest.grain import yield_from_flow as yield_from_flow
    from trialkit.harvest.grain import yield_from_mass as yield_from_mass
    from trialkit.harvest.log import read_log as read_log
    from trialkit.harvest.passes import split_passes as split_passes
    from trialkit.harvest.screening import screen as screen
    from trialkit.harvest.screening import screening_account as screening_account
    from trialkit.harvest.settings import Screening as Screening
    from trialkit.harvest.strips import assign_strips as assign_strips
    from trialkit.harvest.strips import strip_table as strip_table
    from trialkit.harvest.weights import calibrate as calibrate
    from trialkit.harvest.weights import weigh_strips as weigh_strips

_MODULES = {
    "read_log": "log",
    "propose_columns": "column_guess",
    "proposal_text": "column_guess",
    "at_standard_moisture": "grain",
    "yield_from_flow": "grain",
    "yield_from_mass": "grain",
    "split_passes": "passes",
    "Delay": "delay",
    "estimate_delay": "delay",
    "given_delay": "delay",
    "shift_flow": "delay",
    "Screening": "settings",
    "screen": "screening",
    "screening_account": "screening",
    "assign_strips": "strips",
    "strip_table": "strips",
    "weigh_strips": "weights",
    "calibrate": "weights",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_MODULES])
