"""Counts, frost and scores through the season.

Names are loaded when first used, so that the commands start without the heavy libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trialkit.scouting.cold_places import (
        ColdByHeight,
        cold_by_height,
        cold_by_strip,
    )
    from trialkit.scouting.damage import (
        DAMAGE_THRESHOLDS,
        SCREEN_DIFFERENCE_C,
        DamageThreshold,
        FrostRisk,
        frost_risk,
        threshold_at,
    )
    from trialkit.scouting.establishment import (
        CountComparison,
        compare_counts,
        odd_counts,
        summarise_counts,
    )
    from trialkit.scouting.frost import (
        FrostNights,
        frost_nights,
    )
    from trialkit.scouting.growth import (
        growth_stages,
        stage_name,
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
        counts_for_difference,
        counts_needed,
    )
    from trialkit.scouting.score_tests import (
        ScoreComparison,
        compare_scores,
    )
    from trialkit.scouting.scores import (
        PERCENT,
        Scale,
        score_table,
        strip_scores,
        summarise_scores,
    )
    from trialkit.scouting.spread import (
        CountSpread,
        count_spread,
        describe_spread,
    )
    from trialkit.scouting.sterility import (
        sterility_by_strip,
        sterility_loss_pct,
    )
    from trialkit.scouting.temperatures import (
        TEMPERATURE_COLUMNS,
        read_temperatures,
    )

__all__ = [
    "DAMAGE_THRESHOLDS",
    "PERCENT",
    "SCREEN_DIFFERENCE_C",
    "TEMPERATURE_COLUMNS",
    "ColdByHeight",
    "ComparisonCounts",
    "CountComparison",
    "CountSpread",
    "CountingSheet",
    "DamageThreshold",
    "FrostNights",
    "FrostRisk",
    "Scale",
    "ScoreComparison",
    "cold_by_height",
    "cold_by_strip",
    "compare_counts",
    "compare_scores",
    "count_spread",
    "counting_sheet",
    "counts_for_difference",
    "counts_needed",
    "describe_spread",
    "establishment_pct",
    "frost_nights",
    "frost_risk",
    "growth_stages",
    "odd_counts",
    "plant_table",
    "plants_per_m2",
    "read_temperatures",
    "score_table",
    "seeds_per_m2",
    "stage_name",
    "sterility_by_strip",
    "sterility_loss_pct",
    "strip_scores",
    "summarise_counts",
    "summarise_scores",
    "threshold_at",
]

_MODULES = {
    "ColdByHeight": "cold_places",
    "cold_by_height": "cold_places",
    "cold_by_strip": "cold_places",
    "DAMAGE_THRESHOLDS": "damage",
    "DamageThreshold": "damage",
    "FrostRisk": "damage",
    "SCREEN_DIFFERENCE_C": "damage",
    "frost_risk": "damage",
    "threshold_at": "damage",
    "CountComparison": "establishment",
    "compare_counts": "establishment",
    "odd_counts": "establishment",
    "summarise_counts": "establishment",
    "FrostNights": "frost",
    "frost_nights": "frost",
    "growth_stages": "growth",
    "stage_name": "growth",
    "CountingSheet": "places",
    "counting_sheet": "places",
    "establishment_pct": "plant_counts",
    "plant_table": "plant_counts",
    "plants_per_m2": "plant_counts",
    "seeds_per_m2": "plant_counts",
    "ComparisonCounts": "precision",
    "counts_for_difference": "precision",
    "counts_needed": "precision",
    "ScoreComparison": "score_tests",
    "compare_scores": "score_tests",
    "PERCENT": "scores",
    "Scale": "scores",
    "score_table": "scores",
    "strip_scores": "scores",
    "summarise_scores": "scores",
    "CountSpread": "spread",
    "count_spread": "spread",
    "describe_spread": "spread",
    "sterility_by_strip": "sterility",
    "sterility_loss_pct": "sterility",
    "TEMPERATURE_COLUMNS": "temperatures",
    "read_temperatures": "temperatures",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_MODULES])
