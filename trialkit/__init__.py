"""Find out on your own farm whether dressing seed with biological products pays.

The names a notebook needs, in season order; each is imported when it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trialkit.design import lay_out, strips_needed
    from trialkit.errors import TrialkitError, TrialkitWarning
    from trialkit.harvest import read_log, screen, strip_table
    from trialkit.models import fit_counts, fit_mixed, pool, shuffle_test
    from trialkit.money import partial_budget, payoff
    from trialkit.season import analyse, harvest_season, write_results
    from trialkit.trial import open_trial

_HOMES = {
    "strips_needed": "trialkit.design",
    "lay_out": "trialkit.design",
    "open_trial": "trialkit.trial",
    "read_log": "trialkit.harvest",
    "screen": "trialkit.harvest",
    "strip_table": "trialkit.harvest",
    "harvest_season": "trialkit.season",
    "fit_mixed": "trialkit.models",
    "fit_counts": "trialkit.models",
    "shuffle_test": "trialkit.models",
    "payoff": "trialkit.money",
    "partial_budget": "trialkit.money",
    "analyse": "trialkit.season",
    "write_results": "trialkit.season",
    "pool": "trialkit.models",
    "TrialkitError": "trialkit.errors",
    "TrialkitWarning": "trialkit.errors",
}

__all__ = [
    "TrialkitError",
    "TrialkitWarning",
    "analyse",
    "fit_counts",
    "fit_mixed",
    "harvest_season",
    "lay_out",
    "open_trial",
    "partial_budget",
    "payoff",
    "pool",
    "read_log",
    "screen",
    "shuffle_test",
    "strip_table",
    "strips_needed",
    "write_results",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'trialkit' has no attribute '{name}'")
