"""How many pairs or blocks a difference takes, and what a number of them can see.

Power is exact, from the noncentral t distribution, two-sided. With strips whose yields differ
inside a block by a standard deviation s, the difference of two treatments over r blocks has the
standard error s √(2/r), on r − 1 degrees of freedom for pairs and (r − 1)(t − 1) for blocks of
t treatments.
"""

from __future__ import annotations

import math
from typing import Literal

from scipy import optimize, stats

from trialkit.errors import DesignError

Layout = Literal["pairs", "blocks"]

#: More blocks than any farm lays out: a search stops here and says so.
MOST_REPLICATES = 10_000


class TooManyError(DesignError):
    """Not even the most replicates would show the difference."""


def power_to_see(
    difference: float,
    cv_pct: float,
    replicates: float,
    *,
    alpha: float = 0.05,
    mean: float | None = None,
    layout: Layout = "pairs",
    treatments: int = 2,
    seasons: int = 1,
) -> float:
    """Return the chance that a true difference comes out significant.

    Parameters
    ----------
    difference
        True difference of two treatments: in the unit of `mean`, or in % where none is given.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield.
    replicates
        Pairs or blocks in a season; need not be whole.
    alpha
        Two-sided level of the test.
    mean
        Mean yield, such as t/ha; None where the difference is in %.
    layout
        `"pairs"` of two strips, or `"blocks"` that hold each treatment once.
    treatments
        Number of treatments, the untreated included.
    seasons
        Seasons in which the same trial is laid out; the gain is taken to be the same in all.

    Returns
    -------
    float
        Power, 0 to 1.

    Raises
    ------
    DesignError
        If a number makes no sense.

    Examples
    --------
    >>> round(power_to_see(5, 6, 25), 3)
    0.807
    """
    effect = _effect(difference, cv_pct, mean)
    _check_levels(0.8, alpha)
    arms = _arms(layout, treatments)
    if not (math.isfinite(replicates) and replicates > 1) or seasons < 1:
        raise DesignError(
            f"{replicates} replicates over {seasons} seasons leave no error to judge a difference "
            "by. Give at least 2 pairs or blocks."
        )
    return _power(effect, replicates, arms, alpha, seasons)


def exact_replicates(
    difference: float,
    cv_pct: float,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    mean: float | None = None,
    layout: Layout = "pairs",
    treatments: int = 2,
) -> float:
    """Return the pairs or blocks that give just the power wanted, not rounded up.

    Parameters
    ----------
    difference
        Difference to be seen: in the unit of `mean`, or in % where none is given.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield.
    power
        Chance wanted that the difference comes out significant.
    alpha
        Two-sided level of the test.
    mean
        Mean yield, such as t/ha; None where the difference is in %.
    layout
        `"pairs"` of two strips, or `"blocks"` that hold each treatment once.
    treatments
        Number of treatments, the untreated included.

    Returns
    -------
    float
        At least 2.

    Raises
    ------
    DesignError
        If a number makes no sense, or not even 10,000 would do.

    Notes
    -----
    For pairs this is the sample size of the one-sample t test on differences, whose standard
    deviation is √2 that of strips.

    Examples
    --------
    >>> round(exact_replicates(5, 6), 2), round(exact_replicates(10, 10), 2)
    (24.59, 17.71)
    """
    effect = _effect(difference, cv_pct, mean)
    _check_levels(power, alpha)
    arms = _arms(layout, treatments)

    def lacking(replicates: float) -> float:
        return _power(effect, replicates, arms, alpha) - power

    if lacking(2.0) >= 0:
        return 2.0
    if lacking(MOST_REPLICATES) < 0:
        raise TooManyError(
            f"Not even {MOST_REPLICATES:,} {layout} would show a difference that small at a "
            f"strip-to-strip variation of {cv_pct:g}%. No field trial can tell."
        )
    return float(optimize.brentq(lacking, 2.0, MOST_REPLICATES, xtol=1e-10, rtol=1e-12))


def strips_needed(
    difference: float,
    cv_pct: float,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    mean: float | None = None,
    layout: Layout = "pairs",
    treatments: int = 2,
) -> int:
    """Return how many pairs or blocks it takes to see a difference.

    Parameters
    ----------
    difference
        Difference to be seen: in the unit of `mean`, or in % where none is given. To find out
        whether a dressing pays, this is the gain you hope for less the break-even gain.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield. From a past yield map
        with `strip_variation`, or from `typical_cvs`.
    power
        Chance wanted that the difference comes out significant.
    alpha
        Two-sided level of the test.
    mean
        Mean yield, such as t/ha; None where the difference is in %.
    layout
        `"pairs"` of two strips, or `"blocks"` that hold each treatment once.
    treatments
        Number of treatments, the untreated included. With more than two, `alpha` and `power`
        are those of each single comparison with the control.

    Returns
    -------
    int
        Pairs or blocks, at least 2; each holds one strip of every treatment.

    Raises
    ------
    DesignError
        If a number makes no sense, or not even 10,000 would do.

    Examples
    --------
    To see 5% where strips differ by 6%, and 0.3 t/ha at a mean of 3 t/ha where they differ by
    10%:

    >>> from trialkit.design import strips_needed
    >>> strips_needed(5, 6)
    25
    >>> strips_needed(0.3, 10, mean=3)
    18
    >>> strips_needed(10, 10, layout="blocks", treatments=4)
    17
    """
    wanted = exact_replicates(
        difference,
        cv_pct,
        power=power,
        alpha=alpha,
        mean=mean,
        layout=layout,
        treatments=treatments,
    )
    # A whole answer that the search missed by rounding must not become one more.
    return math.ceil(wanted - 1e-7)


def detectable_difference(
    replicates: int,
    cv_pct: float,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    mean: float | None = None,
    layout: Layout = "pairs",
    treatments: int = 2,
    seasons: int = 1,
) -> float:
    """Return the smallest true difference that a trial shows with the power wanted.

    Parameters
    ----------
    replicates
        Pairs or blocks in a season.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield.
    power
        Chance wanted that the difference comes out significant.
    alpha
        Two-sided level of the test.
    mean
        Mean yield, such as t/ha; None for an answer in %.
    layout
        `"pairs"` of two strips, or `"blocks"` that hold each treatment once.
    treatments
        Number of treatments, the untreated included.
    seasons
        Seasons in which the same trial is laid out; the gain is taken to be the same in all.

    Returns
    -------
    float
        In the unit of `mean`, or in %.

    Raises
    ------
    DesignError
        If a number makes no sense.

    Examples
    --------
    >>> round(detectable_difference(4, 4, mean=3.0), 2)
    0.36
    """
    _check_levels(power, alpha)
    chance = power_to_see(
        1.0, cv_pct, replicates, alpha=alpha, layout=layout, treatments=treatments, seasons=seasons
    )
    arms = _arms(layout, treatments)
    high = 1.0
    while chance < power:
        high *= 2
        chance = _power(high / cv_pct, replicates, arms, alpha, seasons)
    found = optimize.brentq(
        lambda percent: _power(percent / cv_pct, replicates, arms, alpha, seasons) - power,
        0.0,
        high,
        xtol=1e-12,
    )
    _check_mean(mean)
    return float(found if mean is None else found / 100 * mean)


def _power(effect: float, replicates: float, arms: int, alpha: float, seasons: int = 1) -> float:
    """Return the power for an effect in standard deviations of a strip."""
    df = seasons * (replicates - 1) * (arms - 1)
    shift = effect / math.sqrt(2 / (seasons * replicates))
    critical = float(stats.t.isf(alpha / 2, df))
    # Both tails of the noncentral t are the upper tail of its square, which SciPy has without the
    # gaps that its noncentral t leaves at high power.
    power = float(stats.ncf.sf(critical**2, 1, df, shift**2))
    return min(max(power, 0.0), 1.0)


def _effect(difference: float, cv_pct: float, mean: float | None) -> float:
    _check_mean(mean)
    if not (math.isfinite(difference) and difference > 0):
        raise DesignError(
            f"The difference to be seen is {difference}. It must be above zero: no trial can "
            "show a difference of nothing."
        )
    if not (math.isfinite(cv_pct) and cv_pct > 0):
        raise DesignError(
            f"The strip-to-strip variation is {cv_pct}%. Give a number above zero, such as 6: "
            "from a past yield map, or from typical_cvs()."
        )
    percent = difference if mean is None else 100 * difference / mean
    return percent / cv_pct


def _check_mean(mean: float | None) -> None:
    if mean is not None and not (math.isfinite(mean) and mean > 0):
        raise DesignError(f"The mean yield is {mean}. Give a yield above zero, such as 3.2 t/ha.")


def _check_levels(power: float, alpha: float) -> None:
    if not 0 < alpha < 1:
        raise DesignError(f"The level alpha is {alpha}. Give a share such as 0.05.")
    if not alpha < power < 1:
        raise DesignError(
            f"The power is {power}. Give a share above alpha ({alpha:g}) and below 1, such as 0.8."
        )


def _arms(layout: str, treatments: int) -> int:
    if layout not in ("pairs", "blocks"):
        raise DesignError(f"There is no layout '{layout}'. Known: pairs, blocks.")
    if treatments < 2:
        raise DesignError(
            f"{treatments} treatments leave nothing to compare. Give 2 or more, the untreated "
            "included."
        )
    if layout == "pairs" and treatments > 2:
        raise DesignError(
            f"A pair holds two strips, not {treatments}. With {treatments} treatments say "
            'layout="blocks".'
        )
    return treatments
