"""The same gains by other methods, to hold the main analysis against."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.answer import compare, fit_strips, has_blocks, strips_for_model
from trialkit.models import Surface, fit_mixed, shuffle_test
from trialkit.result import Comparison, CrossCheck

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pandas import DataFrame

    from trialkit.trial.config import TrialConfig

#: Places along and across the field that it takes to see a trend.
_FEWEST_PLACES = 6


def by_shuffling(strips: DataFrame, config: TrialConfig) -> Iterator[CrossCheck]:
    """Judge each gain by the draws of the treatments that could have been made instead."""
    data = strips_for_model(strips, config)
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
            confidence=config.analysis.confidence,
        )
        how = "every possible draw" if test.exact else f"{test.draws:,} random draws"
        low = test.low if math.isfinite(test.low) else None
        high = test.high if math.isfinite(test.high) else None
        open_ended = low is None or high is None
        none = f", so it gives no {test.confidence:.0%} interval" if open_ended else ""
        yield CrossCheck(
            "randomisation test of strip means",
            treatment.name,
            config.control,
            test.difference,
            low,
            high,
            test.p,
            f"By {how} within blocks. The layout allows no p below {test.smallest_p:.2g}{none}.",
        )


def by_records(log: DataFrame, config: TrialConfig) -> Iterator[CrossCheck]:
    """Judge the gains by the single records, a trend over the field taken out.

    The strip is the unit here too. In simulated fields (see the README) this model kept to its 5%
    about as well as strip means do and found a few gains more; with correlation along the pass,
    which takes neighbouring passes for independent, it found far fewer.
    """
    records = log[log["kept"]]
    order = [config.control, *(t.name for t in config.treatments if not t.control)]
    records = records.assign(
        treatment=pd.Categorical(records["treatment"], categories=order), **_field_axes(records)
    )
    blocks = ("block",) if has_blocks(records.drop_duplicates("strip")) else ()
    wide = records[["across_m", "along_m"]].round(1).nunique().min() >= _FEWEST_PLACES
    fit = fit_mixed(
        "yield_t_ha ~ treatment",
        records,
        random=(*blocks, "block:strip"),
        surface=Surface("across_m", "along_m") if wide else None,
        confidence=config.analysis.confidence,
    )
    trend = "a smooth trend over the field" if wide else "no trend over the field"
    gains = fit.differences("treatment", against=config.control)
    for treatment, (_, gain) in zip(order[1:], gains.iterrows(), strict=True):
        yield CrossCheck(
            f"records, with block and strip as random effects and {trend}",
            treatment,
            config.control,
            float(gain["estimate"]),
            float(gain["low"]),
            float(gain["high"]),
            float(gain["p"]),
            "The strip is the unit here too: its records do not count as replicates.",
        )


def _field_axes(records: DataFrame) -> dict[str, NDArray[np.float64]]:
    """Return each record's place along the passes and across them, m."""
    heading = np.radians(records["heading_deg"].to_numpy(dtype=float))
    axis = np.angle(np.nanmean(np.exp(2j * heading))) / 2  # whichever way along it
    x, y = (records[name].to_numpy(dtype=float) for name in ("x_m", "y_m"))
    return {
        "along_m": x * np.sin(axis) + y * np.cos(axis),
        "across_m": x * np.cos(axis) - y * np.sin(axis),
    }


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
