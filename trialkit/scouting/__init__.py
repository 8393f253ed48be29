"""Counts, frost and scores through the season.

Names are loaded when first used, so that the commands start without the heavy libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trialkit.scouting.establishment import (
        CountComparison,
        compare_counts,
        odd_counts,
        summarise_counts,
    )
    from trialkit.scouting.places import (
        CountingSheet,
        counting_sheet,
    )
    from trialkit.scouting.plant_counts import (
        establishment_pct,
        plant_table,
        plants_per_m2,
        seeds_per_m2,
    )
    from trialkit.scouting.precision import (
        ComparisonCounts,
        CountSpread,
        count_spread,
        counts_for_difference,
        counts_needed,
        describe_spread,
    )

__all__ = [
    "ComparisonCounts",
    "CountComparison",
    "CountSpread",
    "CountingSheet",
    "compare_counts",
    "count_spread",
    "counting_sheet",
    "counts_for_difference",
    "counts_needed",
    "describe_spread",
    "establishment_pct",
    "odd_counts",
    "plant_table",
    "plants_per_m2",
    "seeds_per_m2",
    "summarise_counts",
]

_MODULES = {
    "CountComparison": "establishment",
    "compare_counts": "establishment",
    "odd_counts": "establishment",
    "summarise_counts": "establishment",
    "CountingSheet": "places",
    "counting_sheet": "places",
    "establishment_pct": "plant_counts",
    "plant_table": "plant_counts",
    "plants_per_m2": "plant_counts",
    "seeds_per_m2": "plant_counts",
    "ComparisonCounts": "precision",
    "CountSpread": "precision",
    "count_spread": "precision",
    "counts_for_difference": "precision",
    "counts_needed": "precision",
    "describe_spread": "precision",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_MODULES])
