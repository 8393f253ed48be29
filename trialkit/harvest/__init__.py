"""From what the machine wrote to strip yields one can trust.

Names are loaded when first used, so that reading `trial.toml` (which needs the screening limits)
does not load pandas.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trialkit.harvest.column_guess import proposal_text, propose_columns
    from trialkit.harvest.delay import Delay, estimate_delay, find_delay, given_delay
    from trialkit.harvest.grain import at_standard_moisture, yield_from_flow, yield_from_mass
    from trialkit.harvest.joins import join_points, join_raster, join_zones
    from trialkit.harvest.log import read_log
    from trialkit.harvest.machines import by_machine, level_machines
    from trialkit.harvest.moisture_delay import find_moisture_delay
    from trialkit.harvest.passes import split_passes
    from trialkit.harvest.relief import add_relief
    from trialkit.harvest.screening import screen, screening_account, settled_ends
    from trialkit.harvest.settings import Screening, screening_levels
    from trialkit.harvest.shift import shift_flow
    from trialkit.harvest.strips import assign_strips, strip_table
    from trialkit.harvest.transients import PassEnds, find_pass_ends
    from trialkit.harvest.weights import calibrate, weigh_strips

__all__ = [
    "Delay",
    "PassEnds",
    "Screening",
    "add_relief",
    "assign_strips",
    "at_standard_moisture",
    "by_machine",
    "calibrate",
    "estimate_delay",
    "find_delay",
    "find_moisture_delay",
    "find_pass_ends",
    "given_delay",
    "join_points",
    "join_raster",
    "join_zones",
    "level_machines",
    "proposal_text",
    "propose_columns",
    "read_log",
    "screen",
    "screening_account",
    "screening_levels",
    "settled_ends",
    "shift_flow",
    "split_passes",
    "strip_table",
    "weigh_strips",
    "yield_from_flow",
    "yield_from_mass",
]

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
    "find_delay": "delay",
    "given_delay": "delay",
    "shift_flow": "shift",
    "add_relief": "relief",
    "by_machine": "machines",
    "level_machines": "machines",
    "join_points": "joins",
    "join_raster": "joins",
    "join_zones": "joins",
    "PassEnds": "transients",
    "find_pass_ends": "transients",
    "find_moisture_delay": "moisture_delay",
    "Screening": "settings",
    "screen": "screening",
    "screening_account": "screening",
    "screening_levels": "settings",
    "settled_ends": "screening",
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
