"""The same gains by other methods, to hold the main analysis against."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator, Mapping
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.answer import compare, fit_strips, has_blocks, strips_for_model
from trialkit.design import possible_layouts
from trialkit.errors import ModelError, TrialkitWarning
from trialkit.language import marked, say
from trialkit.models import Surface, fit_mixed, shuffle_test
from trialkit.result import Comparison, CrossCheck

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from pandas import DataFrame

    from trialkit.design import Allocation
    from trialkit.models import ShuffleTest
    from trialkit.trial.config import TrialConfig

#: Blocks, and places along and across the field, that it takes to see a trend.
FEWEST_BLOCKS, _FEWEST_PLACES = 5, 6


def by_shuffling(
    strips: DataFrame,
    config: TrialConfig,
    drawn: Allocation | None = None,
    planned: Mapping[str, str] | None = None,
) -> Iterator[CrossCheck]:
    """Judge each gain by the draws of the treatments that could have been made instead.

    What was drawn is the plan. Where strips were sown otherwise by mistake, the plan is drawn
    again all the same: p asks whether the plan shows in the yields, which no mistake can feign.
    The gain and its interval are those of what was sown (see `shuffle_test`).

    Parameters
    ----------
    strips
        Strip yields, with the treatments as sown.
    config
        What `trial.toml` says.
    drawn
        How the treatments were drawn; None where nobody says, as in a layout drawn by hand, whose
        treatments count as drawn freely inside blocks.
    planned
        The treatment of each strip by the plan; None for as sown.
    """
    data = strips_for_model(strips, config)
    data = data.assign(treatment=data["treatment"].astype(str))
    own = data["treatment"] if planned is None else data["strip"].astype(str).map(planned)
    data = data.assign(planned=own)
    if drawn is not None and not _planned_as_drawn(drawn, data):
        _warn(
            say(
                "Randomisation test: The strips were not sown as they were drawn, so the test "
                "takes them as drawn freely. Were it mistakes at sowing, keep layout.geojson as "
                "drawn and tell them in as-sown.csv. Read it with care."
            )
        )
        drawn = None
    if drawn is not None and drawn.systematic:
        _warn(
            say(
                "Randomisation test: The treatments were not drawn but laid out in a fixed order "
                "({draw}). Read it with care.",
                draw=say(drawn.draw),
            )
        )
        return
    if drawn is not None and drawn.restricted and len(config.treatments) > 2:
        _warn(
            say(
                "Randomisation test: The draw was restricted, and with several treatments the test "
                "takes it as free. Read it with care."
            )
        )
        drawn = None
    for treatment in config.treatments:
        if not treatment.control:
            yield from _by_draw(data, treatment.name, config, drawn)


def _by_draw(
    data: DataFrame, treatment: str, config: TrialConfig, drawn: Allocation | None
) -> Iterator[CrossCheck]:
    """Judge one gain by the draws; strips that got a third treatment are left out."""
    two = [config.control, treatment]
    pair = data[data["planned"].isin(two) & data["treatment"].isin(two)]
    otherwise = int((pair["planned"] != pair["treatment"]).sum())
    restricted = drawn is not None and drawn.restricted
    try:
        test = shuffle_test(
            pair,
            "yield_t_ha",
            "planned",
            "block",
            seed=config.analysis.seed,
            against=config.control,
            allocations=_layouts(drawn, pair) if restricted and drawn is not None else None,
            confidence=config.analysis.confidence,
            sown="treatment" if otherwise else None,
        )
    except ModelError as error:
        if not otherwise:
            raise
        _warn(
            say(
                "Randomisation test: There is none for '{treatment}'. {reason} Read it with care.",
                treatment=treatment,
                reason=error,
            )
        )
        return
    low = test.low if math.isfinite(test.low) else None
    high = test.high if math.isfinite(test.high) else None
    yield CrossCheck(
        marked("randomisation test of strip means"),
        treatment,
        config.control,
        test.difference,
        low,
        high,
        test.p,
        _how(test, drawn, otherwise, len(pair)),
    )


def _how(test: ShuffleTest, drawn: Allocation | None, otherwise: int, strips: int) -> str:
    """Say what was drawn again, and what that allows."""
    restricted = drawn is not None and drawn.restricted
    sampled = not test.exact or (drawn is not None and restricted and _sampled(drawn))
    closed = math.isfinite(test.low) and math.isfinite(test.high)
    sentences = [
        say(
            _DRAWN_AGAIN[sampled, restricted, otherwise > 0],
            draws=test.draws,
            draw="" if drawn is None else say(drawn.draw),
            otherwise=otherwise,
            strips=strips,
        )
    ]
    if otherwise:
        sentences.append(
            say("p is that of the comparison as planned; the gain is brought to what was sown.")
        )
    if closed or otherwise:
        sentences.append(say("The layout allows no p below {p:.2g}.", p=test.smallest_p))
    else:
        sentences.append(
            say(
                "The layout allows no p below {p:.2g}, so it gives no {confidence:.0%} interval.",
                p=test.smallest_p,
                confidence=test.confidence,
            )
        )
    if otherwise and not closed:
        sentences.append(
            say(
                "With so many strips sown otherwise it gives no {confidence:.0%} interval.",
                confidence=test.confidence,
            )
        )
    return " ".join(sentences)


#: By whether draws were sampled, whether the design limited them, and whether mistakes were made.
_DRAWN_AGAIN = {
    (False, False, False): marked("By every possible draw within blocks."),
    (False, True, False): marked(
        "By every possible draw within blocks, as the design restricted them ({draw})."
    ),
    (True, False, False): marked("By {draws:,} random draws within blocks."),
    (True, True, False): marked(
        "By {draws:,} random draws within blocks, as the design restricted them ({draw})."
    ),
    (False, False, True): marked(
        "By every possible draw of the plan within blocks: {otherwise} of {strips} strips were not "
        "sown as drawn, and only the draw was random."
    ),
    (False, True, True): marked(
        "By every possible draw of the plan within blocks, as the design restricted them ({draw}): "
        "{otherwise} of {strips} strips were not sown as drawn, and only the draw was random."
    ),
    (True, False, True): marked(
        "By {draws:,} random draws of the plan within blocks: {otherwise} of {strips} strips were "
        "not sown as drawn, and only the draw was random."
    ),
    (True, True, True): marked(
        "By {draws:,} random draws of the plan within blocks, as the design restricted them "
        "({draw}): {otherwise} of {strips} strips were not sown as drawn, and only the draw was "
        "random."
    ),
}


def _warn(message: str) -> None:
    warnings.warn(message, TrialkitWarning, stacklevel=3)


def _planned_as_drawn(drawn: Allocation, data: DataFrame) -> bool:
    """Tell whether the plan gives each strip what the draw gave it."""
    names = (f"S{number + 1}" for number in range(sum(len(order) for order in drawn.orders)))
    wanted = dict(zip(names, (name for order in drawn.orders for name in order), strict=True))
    return bool((data["strip"].astype(str).map(wanted) == data["planned"]).all())


def _layouts(drawn: Allocation, data: DataFrame) -> list[list[str]]:
    """Return the layouts that a restricted draw could have given, for the strips with a yield."""
    layouts: list[list[str]] = possible_layouts(drawn)[list(data["strip"])].to_numpy().tolist()
    return layouts


def _sampled(drawn: Allocation) -> bool:
    """Tell whether a restricted draw has too many layouts to list: then its own is not listed."""
    own = [name for order in drawn.orders for name in order]
    return not bool((possible_layouts(drawn) == own).all(axis=1).any())


def by_records(log: DataFrame, config: TrialConfig) -> Iterator[CrossCheck]:
    """Judge the gains by the single records, with and without a trend over the field.

    The strip is the unit here too, and its variance may come out below zero: strips that differ
    less than their records would have them are judged by how much they do differ. How often either
    model calls a gain that is not there stands in the README. Correlation along the pass is left
    out: it takes neighbouring passes for independent and calls far too little.
    """
    records = log[log["kept"]]
    order = [config.control, *(t.name for t in config.treatments if not t.control)]
    records = records.assign(
        treatment=pd.Categorical(records["treatment"], categories=order),
        block="block " + records["block"].astype(str),
        **_field_axes(records),
    )
    blocks = has_blocks(records.drop_duplicates("strip"))
    yield from _by_model(
        marked("records, with strips as random effects"),
        records,
        config,
        "yield_t_ha ~ block + treatment" if blocks else "yield_t_ha ~ treatment",
        ["strip"],
    )
    wide = records[["across_m", "along_m"]].round(1).nunique().min() >= _FEWEST_PLACES
    if wide and records["block"].nunique() >= FEWEST_BLOCKS:
        yield from _by_model(
            marked("records, with strips as random effects and a smooth trend over the field"),
            records,
            config,
            "yield_t_ha ~ treatment",
            ["block", "strip"] if blocks else ["strip"],
            Surface("across_m", "along_m"),
        )


def _by_model(
    name: str,
    records: DataFrame,
    config: TrialConfig,
    formula: str,
    random: list[str],
    surface: Surface | None = None,
) -> Iterator[CrossCheck]:
    """Judge the gains by one model; where the records do not support it, say so."""
    fitted = partial(
        fit_mixed,
        formula,
        records,
        random=random,
        surface=surface,
        confidence=config.analysis.confidence,
    )
    try:
        fit = fitted(unbounded=["strip"])
    except ModelError as error:
        if surface is not None:
            message = say("No cross-check by {method}: {reason}", method=say(name), reason=error)
            warnings.warn(message, TrialkitWarning, stacklevel=2)
            return
        # Strips of very unequal length can leave no answer below zero: the careful one, then.
        fit = fitted()
    gains = fit.differences("treatment", against=config.control)
    for treatment, gain in gains.iterrows():
        yield CrossCheck(
            name,
            str(treatment),
            config.control,
            float(gain["estimate"]),
            float(gain["low"]),
            float(gain["high"]),
            float(gain["p"]),
            say("The strip is the unit here too: its records do not count as replicates."),
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


#: The check by the strip yields of the other source.
_OTHER_YIELDS = {
    "scales": marked("strip yields by the scales, the same model"),
    "monitor": marked("strip yields by the monitor, the same model"),
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
            _OTHER_YIELDS[name],
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
    """Say where a cross-check lies outside the main analysis's interval.

    A check that cannot bound the gain contradicts nothing: its estimate may be far off by chance.
    """
    bounding = [check for check in checks if (check.low_t_ha, check.high_t_ha) != (None, None)]
    for comparison in comparisons:
        for check in bounding:
            same = check.treatment == comparison.treatment
            if same and not comparison.low_t_ha <= check.gain_t_ha <= comparison.high_t_ha:
                yield say(
                    "The methods disagree on '{treatment}': {method} gives {gain:+.2f} t/ha, "
                    "outside the main analysis's {low:+.2f} to {high:+.2f} t/ha. Find out why "
                    "before you act on either.",
                    treatment=check.treatment,
                    method=say(check.method),
                    gain=check.gain_t_ha,
                    low=comparison.low_t_ha,
                    high=comparison.high_t_ha,
                )
