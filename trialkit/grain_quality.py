"""Protein, screenings and test weight by treatment, and the chance of each grade.

The measures go through the same main model as the strip yields: the strip is the unit, treatments
are compared inside blocks.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trialkit.answer import fit_strips
from trialkit.columns import label
from trialkit.errors import ModelError, noted
from trialkit.language import say
from trialkit.money import grade_chances, limited_measures
from trialkit.result import GradeChance, GrainQuality, QualityMean
from trialkit.trial.tables import FORMS

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.models import MixedFit
    from trialkit.trial.config import TrialConfig

#: Columns of `quality.csv` that are measured.
MEASURES = ("protein_pct", "screenings_pct", "test_weight_kg_hl")
_FILE = FORMS["quality"].file


def grain_quality(
    quality: DataFrame | None, strips: DataFrame, fit: MixedFit, config: TrialConfig
) -> tuple[GrainQuality | None, tuple[str, ...]]:
    """Work out the quality of each treatment's grain, and the chance of each grade.

    Parameters
    ----------
    quality
        `quality.csv`: strips with what was measured; several rows of one strip are averaged.
    strips
        One row a strip: `strip block treatment`.
    fit
        The main model of the yields, for the control's yield.
    config
        What `trial.toml` says; without grades there are no chances.

    Returns
    -------
    quality, notes
        What the answer holds of it, or None where nothing was measured; and what the user should
        know.
    """
    grades = config.money.graded
    if quality is None:
        if not grades:
            return None, ()
        note = say(
            "trial.toml gives grades, and there is no {file} with what the grain of each strip "
            "was. So all grain is taken to fetch price_per_t.",
            file=_FILE,
        )
        return None, (note,)
    measured = _by_strip(quality, strips)
    means: list[QualityMean] = []
    notes = _left_out(quality, strips)
    for measure in MEASURES:
        if measure in measured and measured[measure].notna().any():
            found, why_not = _means(measured, measure, config)
            means += found
            notes += why_not
    chances, why_not = _chances(means, config) if grades else ([], [])
    control_t_ha = float(fit.means("treatment")["estimate"][config.control])
    notes += why_not
    if not means:
        return None, tuple(notes)
    told = GrainQuality(tuple(means), tuple(chances), control_t_ha if chances else None)
    return told, tuple(notes)


def _by_strip(quality: DataFrame, strips: DataFrame) -> DataFrame:
    """Return each harvested strip with the mean of what was measured in it."""
    held = [measure for measure in MEASURES if measure in quality]
    means = quality.groupby("strip")[held].mean().reset_index()
    named = strips[["strip", "block", "treatment"]].assign(strip=strips["strip"].astype(str))
    return named.merge(means.astype({"strip": str}), on="strip")


def _left_out(quality: DataFrame, strips: DataFrame) -> list[str]:
    """Say which strips were tested and do not count: they were not sown or kept as planned."""
    gone = sorted(set(quality["strip"].astype(str)) - set(strips["strip"].astype(str)))
    if not gone:
        return []
    return [
        say(
            "{file}: the grain of {strips} does not count: left out as sown.",
            file=_FILE,
            strips=", ".join(gone),
        )
    ]


def _means(
    measured: DataFrame, measure: str, config: TrialConfig
) -> tuple[list[QualityMean], list[str]]:
    """Return one row a treatment; or, where that cannot be told, why not."""
    data = measured.dropna(subset=measure)
    if (every := _all_alike(data, measure, config)) is not None:
        return every, _missing(measured, data, measure)
    try:
        with noted():
            fit = fit_strips(data.assign(yield_t_ha=data[measure]), config)
    except ModelError:
        note = say(
            "{file}: {measure} cannot be compared between treatments, so it does not count: too "
            "few strips were tested, or those of a block all have one value. Test a sample of "
            "every strip.",
            file=_FILE,
            measure=label(measure),
        )
        return [], [note]
    values = fit.means("treatment")
    apart = fit.differences("treatment", against=config.control)
    strips = data["treatment"].astype(str).value_counts()
    rows = []
    over_control = {str(name): row for name, row in apart.iterrows()}
    for name, row in values.iterrows():
        over = over_control.get(str(name))
        rows.append(
            QualityMean(
                treatment=str(name),
                measure=measure,
                strips=int(strips[str(name)]),
                mean=float(row["estimate"]),
                std_error=float(row["std_error"]),
                df=_told(row["df"]),
                difference=None if over is None else _told(over["estimate"]),
                difference_low=None if over is None else _told(over["low"]),
                difference_high=None if over is None else _told(over["high"]),
                p_value=None if over is None else _told(over["p"]),
            )
        )
    return rows, _missing(measured, data, measure)


def _all_alike(data: DataFrame, measure: str, config: TrialConfig) -> list[QualityMean] | None:
    """Return the means where every strip measured the same; None where they differ."""
    strips = data["treatment"].astype(str).value_counts()
    names = [treatment.name for treatment in config.treatments]
    if data[measure].min() != data[measure].max() or any(strips.get(name, 0) < 2 for name in names):
        return None
    value = float(data[measure].iloc[0])
    return [QualityMean(name, measure, int(strips[name]), value, 0.0) for name in names]


def _missing(measured: DataFrame, data: DataFrame, measure: str) -> list[str]:
    if len(data) == len(measured):
        return []
    return [
        say(
            "{file}: {measure} is known of {known} of {strips} strips.",
            file=_FILE,
            measure=label(measure),
            known=len(data),
            strips=len(measured),
        )
    ]


def _told(value: float) -> float | None:
    """Return a number, or None where it is none: strips that differ by their block alone."""
    return float(value) if math.isfinite(value) else None


def _chances(means: list[QualityMean], config: TrialConfig) -> tuple[list[GradeChance], list[str]]:
    """Return the chance of each grade by treatment; or, where that cannot be told, why not."""
    grades = config.money.graded
    wanted = limited_measures(grades)
    lacking = [measure for measure in wanted if not any(one.measure == measure for one in means)]
    if lacking:
        return [], [
            say(
                "The grades have limits on {measure}, and {file} does not tell it by treatment. "
                "So all grain is taken to fetch price_per_t.",
                measure=label(measure),
                file=_FILE,
            )
            for measure in lacking[:1]
        ]
    rows = []
    for treatment in config.treatments:
        own = {one.measure: one for one in means if one.treatment == treatment.name}
        df = min((own[measure].df or math.inf for measure in wanted), default=math.inf)
        known = {measure: (own[measure].mean, own[measure].std_error) for measure in wanted}
        found = grade_chances(known, grades, df).itertuples(index=False, name=None)
        rows += [
            GradeChance(treatment.name, str(grade), float(price), float(chance))
            for grade, price, chance in found
        ]
    return rows, []
