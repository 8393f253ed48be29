"""From strip yields to the answer: gains with honest error, money, and the same by other methods.

The strip is the unit: treatment is allotted to strips, so records never count as replicates.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.errors import ModelError, TrialkitWarning
from trialkit.models import MixedFit, fit_mixed, shuffle_test
from trialkit.money import payoff
from trialkit.result import Comparison, CrossCheck

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.trial.config import TrialConfig

MAIN_METHOD = "strip means, random blocks, REML, Kenward-Roger"


def _strips_for_model(strips: DataFrame, config: TrialConfig) -> DataFrame:
    """Drop strips without a yield, put the control first, and check that an answer is possible."""
    lost = strips[strips["yield_t_ha"].isna()]
    if len(lost):
        warnings.warn(
            f"No yield from {_listed(lost['strip'])}. The analysis goes on without them.",
            TrialkitWarning,
            stacklevel=2,
        )
    data = strips.dropna(subset="yield_t_ha")
    counts = data["treatment"].value_counts()
    for treatment in config.treatments:
        number = int(counts.get(treatment.name, 0))
        if number < 2:
            raise ModelError(
                f"Only {number} strip of '{treatment.name}' has a yield. It takes two or more to "
                "see how much strips differ by chance, so this trial cannot tell. "
                "Check results/ for why strips were left out, or give weights.csv."
            )
    others = [treatment.name for treatment in config.treatments if not treatment.control]
    order = [config.control, *others]
    return data.assign(treatment=pd.Categorical(data["treatment"], categories=order))


def _random_terms(strips: DataFrame) -> tuple[str, ...]:
    """Return the block as a random term, unless blocks group nothing."""
    blocks = strips["block"].nunique()
    if 1 < blocks < len(strips):
        return ("block",)
    warnings.warn(
        "The layout has no blocks of neighbouring strips, so differences across the field count as "
        "error. Give neighbouring strips the same block in layout.geojson.",
        TrialkitWarning,
        stacklevel=2,
    )
    return ()


def fit_strips(strips: DataFrame, config: TrialConfig) -> MixedFit:
    """Fit the main model: `yield_t_ha ~ treatment` with random blocks, by REML.

    Parameters
    ----------
    strips
        One row a strip: `strip block treatment yield_t_ha`.
    config
        What `trial.toml` says; the control is the reference level.

    Raises
    ------
    ModelError
        If a treatment has fewer than two strips with a yield.
    """
    data = _strips_for_model(strips, config)
    confidence = config.analysis.confidence
    return fit_mixed(
        "yield_t_ha ~ treatment", data, random=_random_terms(data), confidence=confidence
    )


def compare(fit: MixedFit, config: TrialConfig) -> tuple[Comparison, ...]:
    """Return each treatment's gain over the control, and what it is worth."""
    gains = fit.differences("treatment", against=config.control)
    others = [treatment.name for treatment in config.treatments if not treatment.control]
    return tuple(
        _comparison(treatment, gain, config)
        for treatment, (_, gain) in zip(others, gains.iterrows(), strict=True)
    )


def _comparison(treatment: str, gain: pd.Series[float], config: TrialConfig) -> Comparison:
    money, analysis = config.money, config.analysis
    paid = payoff(
        gain["estimate"],
        gain["std_error"],
        gain["df"],
        price_per_t=money.price_per_t,
        cost_per_ha=config.cost_per_ha(treatment) - config.cost_per_ha(config.control),
        price_range=money.price_range,
        confidence=analysis.confidence,
        paid_at=analysis.paid_at,
        did_not_pay_at=analysis.did_not_pay_at,
    )
    return Comparison(
        treatment=treatment,
        control=config.control,
        gain_t_ha=float(gain["estimate"]),
        low_t_ha=float(gain["low"]),
        high_t_ha=float(gain["high"]),
        std_error_t_ha=float(gain["std_error"]),
        df=float(gain["df"]),
        p_value=float(gain["p"]),
        method=MAIN_METHOD,
        break_even_t_ha=paid.break_even_t_ha,
        net_per_ha=paid.net_per_ha,
        net_low=paid.net_low,
        net_high=paid.net_high,
        chance_paid=paid.chance_paid,
        verdict=paid.verdict,
    )


def by_shuffling(strips: DataFrame, config: TrialConfig) -> Iterator[CrossCheck]:
    """Judge each gain by the draws of the treatments that could have been made instead."""
    data = _strips_for_model(strips, config)
    data = data.assign(treatment=data["treatment"].astype(str))
    for treatment in config.treatments:
        if treatment.control:
            continue
        pair = data[data["treatment"].isin([config.control, treatment.name])]
        test = shuffle_test(
            pair,
            "yield_t_ha",
            "treatment",
            "block",
            seed=config.analysis.seed,
            against=config.control,
        )
        how = "every possible draw" if test.exact else f"{test.draws:,} random draws"
        yield CrossCheck(
            "randomisation test of strip means",
            treatment.name,
            config.control,
            test.difference,
            None,
            None,
            test.p,
            f"By {how} within blocks. The layout allows no p below {test.smallest_p:.2g}.",
        )


def by_records(log: DataFrame, config: TrialConfig) -> Iterator[CrossCheck]:
    """Judge the gains by the single records, with the strip still the unit."""
    records = log[log["kept"]]
    order = [config.control, *(t.name for t in config.treatments if not t.control)]
    records = records.assign(treatment=pd.Categorical(records["treatment"], categories=order))
    random = (*_random_terms(records.drop_duplicates("strip")), "block:strip")
    fit = fit_mixed(
        "yield_t_ha ~ treatment", records, random=random, confidence=config.analysis.confidence
    )
    gains = fit.differences("treatment", against=config.control)
    for treatment, (_, gain) in zip(order[1:], gains.iterrows(), strict=True):
        yield CrossCheck(
            "records, with block and strip as random effects",
            treatment,
            config.control,
            float(gain["estimate"]),
            float(gain["low"]),
            float(gain["high"]),
            float(gain["p"]),
            "The strip is the unit here too: its records do not count as replicates.",
        )


def by_other_yields(name: str, strips: DataFrame, config: TrialConfig) -> Iterator[CrossCheck]:
    """Judge the gains by the strip yields that the main analysis did not use.

    Parameters
    ----------
    name
        Where the yields come from: `"scales"` or `"monitor"`.
    strips
        Those strip yields.
    config
        What `trial.toml` says.
    """
    for comparison in compare(fit_strips(strips, config), config):
        yield CrossCheck(
            f"strip yields by the {name}, the same model",
            comparison.treatment,
            comparison.control,
            comparison.gain_t_ha,
            comparison.low_t_ha,
            comparison.high_t_ha,
            comparison.p_value,
        )


def disagreements(
    comparisons: tuple[Comparison, ...], checks: tuple[CrossCheck, ...]
) -> Iterator[str]:
    """Say where a cross-check lies outside the main analysis's interval."""
    for comparison in comparisons:
        for check in checks:
            same = check.treatment == comparison.treatment
            if same and not comparison.low_t_ha <= check.gain_t_ha <= comparison.high_t_ha:
                yield (
                    f"The methods disagree on '{check.treatment}': {check.method} gives "
                    f"{check.gain_t_ha:+.2f} t/ha, outside the main analysis's "
                    f"{comparison.low_t_ha:+.2f} to {comparison.high_t_ha:+.2f} t/ha. "
                    "Find out why before you act on either."
                )


def _listed(names: pd.Series[str]) -> str:
    return "strip " + ", ".join(names) if len(names) == 1 else "strips " + ", ".join(names)
