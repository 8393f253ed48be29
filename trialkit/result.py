"""What one run of the main job says: the shape of `results/result.json`.

Plain frozen records, so that the report can show them without knowing how they came about.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from trialkit.shown import as_line, as_table

Verdict = Literal["paid", "did not pay", "not settled"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """One treatment against its control, by the declared main analysis.

    Gains are in t/ha, money per hectare in the trial's currency. `low` and `high` bound the
    confidence interval. A trial without replication has no comparison: it is refused in words.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    treatment: str
    control: str
    gain_t_ha: float
    low_t_ha: float
    high_t_ha: float
    std_error_t_ha: float
    df: float
    p_value: float
    method: str
    break_even_t_ha: float
    net_per_ha: float
    net_low: float
    net_high: float
    chance_paid: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """The same gain by another method; shown beside the main analysis."""

    method: str
    treatment: str
    control: str
    gain_t_ha: float
    low_t_ha: float | None
    high_t_ha: float | None
    p_value: float | None
    note: str = ""


@dataclass(frozen=True, slots=True)
class WhatNext:
    """What to do about a treatment, and the sum behind it.

    Money is in the trial's currency, for the whole ground of `area_ha`; `trial_cost` and
    `trial_benefit` are those of one more trial of so many `pairs`.
    """

    treatment: str
    answer: Literal["use it", "stop", "test again"]
    pairs: int
    trial_cost: float
    trial_benefit: float
    chance_of_turning: float
    value_of_knowing: float
    farm_net: float
    farm_low: float
    farm_high: float
    area_ha: float
    seasons: int


@dataclass(frozen=True, slots=True)
class QualityMean:
    """One measure of a treatment's grain, by the main model.

    `df` is None where every strip measured the same; the difference from the control is None for
    the control itself and where there is none to tell.
    """

    treatment: str
    measure: str
    strips: int
    mean: float
    std_error: float
    df: float | None = None
    difference: float | None = None
    difference_low: float | None = None
    difference_high: float | None = None
    p_value: float | None = None


@dataclass(frozen=True, slots=True)
class GradeChance:
    """The chance that a treatment's grain makes a grade, and what a tonne of it leaves."""

    treatment: str
    grade: str
    price_per_t: float
    chance: float


@dataclass(frozen=True, slots=True)
class GrainQuality:
    """Quality of the grain by treatment, and what it fetches.

    Without chances all grain is taken to fetch one price; then the yield of the control, which is
    sold at the price of its grade, is None.
    """

    means: tuple[QualityMean, ...]
    chances: tuple[GradeChance, ...]
    control_yield_t_ha: float | None


@dataclass(frozen=True, slots=True)
class Ranked:
    """One of several treatments, side by side in money; the control has no chance to have paid."""

    treatment: str
    gain_t_ha: float
    net_per_ha: float
    chance_paid: float | None
    chance_best: float
    expected_loss_per_ha: float | None


@dataclass(frozen=True, slots=True)
class BestOf:
    """Which of several treatments looks best, how sure that is, and what knowing is worth.

    Money is per hectare and season; None where it is not known.
    """

    best: str
    chance_best: float
    value_of_knowing_per_ha: float | None
    treatments: tuple[Ranked, ...]


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file the answer rests on, relative to the trial folder, with its SHA-256."""

    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Summary:
    """Everything `results/result.json` holds."""

    __repr__ = as_line
    _repr_html_ = as_table

    trial: str
    season: int
    crop: str
    currency: str
    comparisons: tuple[Comparison, ...]
    strips: dict[str, Any]
    records: dict[str, Any]
    cross_checks: tuple[CrossCheck, ...]
    warnings: tuple[str, ...]
    inputs: tuple[InputFile, ...]
    versions: dict[str, str] = field(default_factory=dict)
    seed: int = 0
    what_next: tuple[WhatNext, ...] = ()
    grain_quality: GrainQuality | None = None
    ranking: BestOf | None = None

    def to_json(self) -> str:
        """Return the summary as JSON text, keys in the contracted order, those for nothing out."""
        content = asdict(self)
        for key in ("grain_quality", "ranking"):
            if content[key] is None:
                del content[key]
        return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
