from .cold_places import (
    ColdByHeight,
    cold_by_height,
    cold_by_strip,
)
from .damage import (
    DAMAGE_THRESHOLDS,
    SCREEN_DIFFERENCE_C,
    DamageThreshold,
    FrostRisk,
    frost_risk,
    threshold_at,
)
from .establishment import (
    CountComparison,
    compare_counts,
    odd_counts,
    summarise_counts,
)
from .frost import (
    FrostNights,
    frost_nights,
)
from .growth import (
    growth_stages,
    stage_name,
)
from .places import (
    CountingSheet,
    counting_sheet,
)
from .plant_counts import (
    establishment_pct,
    plant_table,
    plants_per_m2,
    seeds_per_m2,
)
from .precision import (
    ComparisonCounts,
    counts_for_difference,
    counts_needed,
)
from .score_tests import (
    ScoreComparison,
    compare_scores,
)
from .scores import (
    PERCENT,
    Scale,
    score_table,
    strip_scores,
    summarise_scores,
)
from .spread import (
    CountSpread,
    count_spread,
    describe_spread,
)
from .sterility import (
    sterility_by_strip,
    sterility_loss_pct,
)
from .temperatures import (
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
