"""How many counts: for the mean of a strip, and for a difference between treatments.

More counts shrink the scatter between places in a strip. They do nothing about how far strips of
one treatment differ, and it is the strips that treatments were put on: only more strips help.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError
from trialkit.language import say, say_counted

#: Counts a strip that the table of a comparison shows.
_SHOWN = (1, 2, 3, 5, 10, 20, 50)
#: Nobody counts more places in a strip, or sows more pairs.
_MOST_COUNTS, _MOST_PAIRS = 1000, 200
#: Steps of the sum that power is worked out by; power is right to four decimals.
_STEPS = 4000


def counts_needed(
    mean_count: float,
    *,
    margin_pct: float = 10.0,
    theta: float = math.inf,
    confidence: float = 0.95,
) -> int:
    """Return how many places to count in a strip, so that its own mean is known well enough.

    For comparing treatments see `counts_for_difference`: there the strips decide.

    Parameters
    ----------
    mean_count
        Plants expected at one place: 25 plants in a metre of row are 25.
    margin_pct
        How far the mean may be off to either side, % of it.
    theta
        Of the negative binomial, from `count_spread`; infinite for Poisson's scatter.
    confidence
        Share of such means that shall be within the margin.

    Returns
    -------
    int
        Places a strip, 2 or more.

    Raises
    ------
    ScoutingError
        If a number makes no sense, or more than 1,000 places would be needed.

    Notes
    -----
    The smallest n with n >= (t / margin)^2 (1/m + 1/theta), t on n - 1 degrees of freedom
    (Karandinos 1976, Bull. Entomol. Soc. Am. 22:417-421, with z for t: from memory).

    Examples
    --------
    >>> counts_needed(25, margin_pct=10), counts_needed(25, margin_pct=10, theta=20)
    (18, 38)
    """
    from scipy.stats import t

    _check_scatter(mean_count, theta)
    _check_share(margin_pct / 100, "margin_pct", "10")
    _check_share(confidence, "confidence", "0.95")
    variance = 1.0 / mean_count + 1.0 / theta
    n = np.arange(2, _MOST_COUNTS + 1)
    wanted = (t.ppf((1 + confidence) / 2, n - 1) / (margin_pct / 100)) ** 2 * variance
    enough = np.flatnonzero(wanted <= n * (1 + 1e-12))
    if not enough.size:
        raise ScoutingError(
            f"More than {_MOST_COUNTS:,} places would be needed for {margin_pct:g}%. Count a "
            "longer row or a larger frame at each place, or ask for a wider margin."
        )
    return int(n[enough[0]])


@dataclass(frozen=True, slots=True, eq=False)
class ComparisonCounts:
    """Counts a strip for telling two treatments apart.

    Parameters
    ----------
    counts_a_strip
        Places to count in each strip; None where no number of them is enough.
    difference_pct
        The difference asked for, % of the mean.
    floor_pct
        The smallest difference these strips can show however many places are counted.
    pairs
        Pairs of strips, as given.
    pairs_needed
        Pairs that would do with 10 places a strip; None above 200.
    table
        `counts_a_strip detectable_pct`: what each number of counts can show.
    sentence
        What this says, in words.
    """

    counts_a_strip: int | None
    difference_pct: float
    floor_pct: float
    pairs: int
    pairs_needed: int | None
    table: pd.DataFrame
    sentence: str


def counts_for_difference(
    difference_pct: float,
    *,
    mean_count: float,
    strip_cv_pct: float,
    pairs: int,
    theta: float = math.inf,
    power: float = 0.8,
    alpha: float = 0.05,
) -> ComparisonCounts:
    """Return how many places to count in each strip to see a difference between two treatments.

    Parameters
    ----------
    difference_pct
        Difference in plants/m2 to be seen, % of the mean.
    mean_count
        Plants expected at one place.
    strip_cv_pct
        How far strips of one treatment in one block differ in truth, % of the mean, from
        `count_spread`; 5 to 10 where nothing is known (common practice, no source).
    pairs
        Pairs of strips in the trial.
    theta
        Of the negative binomial, from `count_spread`.
    power
        Chance wanted of seeing the difference, were it there.
    alpha
        Chance allowed of seeing one that is not there, two-sided.

    Returns
    -------
    ComparisonCounts

    Raises
    ------
    ScoutingError
        If a number makes no sense.

    Notes
    -----
    The strip is the unit: the standard error of the difference of means is
    sqrt(2 (cv_strip^2 + cv_count^2 / n) / pairs), with pairs - 1 degrees of freedom, and power is
    that of the paired t (noncentral t). Counts only shrink the second part.

    Examples
    --------
    >>> wanted = counts_for_difference(20, mean_count=25, strip_cv_pct=8, pairs=6)
    >>> wanted.counts_a_strip, round(wanted.floor_pct, 1)
    (13, 16.2)
    """
    _check_scatter(mean_count, theta)
    for value, name, usual in ((power, "power", "0.8"), (alpha, "alpha", "0.05")):
        _check_share(value, name, usual)
    if not (math.isfinite(difference_pct) and difference_pct > 0):
        raise ScoutingError(f"difference_pct={difference_pct:g} must be above zero, such as 15.")
    if not (math.isfinite(strip_cv_pct) and strip_cv_pct >= 0):
        raise ScoutingError(f"strip_cv_pct={strip_cv_pct:g} must be zero or more, such as 8.")
    if pairs < 2:
        raise ScoutingError(
            f"With {pairs} pair{'s' if pairs != 1 else ''} of strips nobody can tell a treatment "
            "from the ground it stands on, however many places are counted. Sow at least 4 pairs."
        )
    n = np.arange(1, _MOST_COUNTS + 1)
    scatter = math.sqrt(1.0 / mean_count + 1.0 / theta)
    strip = strip_cv_pct / 100
    reach = _reach(pairs, power, alpha)
    seen = 100 * reach * np.sqrt(2 * (strip**2 + scatter**2 / n) / pairs)
    floor = 100 * reach * strip * math.sqrt(2 / pairs)
    enough = np.flatnonzero(seen <= difference_pct)
    counts = int(n[enough[0]]) if enough.size else None
    needed = _pairs_for(difference_pct, strip, scatter, power, alpha)
    table = pd.DataFrame({"counts_a_strip": _SHOWN, "detectable_pct": seen[np.asarray(_SHOWN) - 1]})
    sentence = _advice(counts, difference_pct, floor, pairs, needed, power)
    return ComparisonCounts(counts, difference_pct, floor, pairs, needed, table, sentence)


def _reach(pairs: int, power: float, alpha: float) -> float:
    """Return the difference, in standard errors, that a paired t test sees with a power."""
    from scipy.optimize import brentq
    from scipy.stats import chi2, norm, t

    if power <= alpha:
        return 0.0
    degrees = pairs - 1
    edge = float(t.ppf(1 - alpha / 2, degrees))
    # The noncentral t as a normal over a standard deviation drawn from its own distribution, at
    # evenly spaced chances: the ready-made one has no answer far from zero.
    spread = np.sqrt(chi2.ppf((np.arange(_STEPS) + 0.5) / _STEPS, degrees) / degrees)

    def short_of(shift: float) -> float:
        seen = norm.cdf(shift - edge * spread) + norm.cdf(-shift - edge * spread)
        return float(seen.mean()) - power

    return float(brentq(short_of, 0.0, 4 * edge + 10))


def _pairs_for(
    difference_pct: float, strip: float, scatter: float, power: float, alpha: float
) -> int | None:
    """Return the pairs that do with ten places a strip."""
    spread = 100 * math.sqrt(2 * (strip**2 + scatter**2 / 10))
    low, high = 2, _MOST_PAIRS
    if _reach(high, power, alpha) * spread / math.sqrt(high) > difference_pct:
        return None
    while low < high:
        middle = (low + high) // 2
        if _reach(middle, power, alpha) * spread / math.sqrt(middle) <= difference_pct:
            high = middle
        else:
            low = middle + 1
    return low


def _advice(
    counts: int | None,
    difference_pct: float,
    floor_pct: float,
    pairs: int,
    needed: int | None,
    power: float,
) -> str:
    limit = say(
        "The strips set the limit: with {pairs} pairs, differences below {floor:.0f}% stay hidden "
        "however many places are counted, since counts shrink only the scatter inside a strip.",
        pairs=pairs,
        floor=floor_pct,
    )
    if counts is not None:
        enough = say_counted(
            "Count {count} place in each strip to see a difference of {difference:g}% with a "
            "chance of {power:.0%}.",
            "Count {count} places in each strip to see a difference of {difference:g}% with a "
            "chance of {power:.0%}.",
            counts,
            difference=difference_pct,
            power=power,
        )
        return f"{enough} {limit}"
    none = say(
        "No number of places in {pairs} pairs of strips shows a difference of {difference:g}% with "
        "a chance of {power:.0%}.",
        pairs=pairs,
        difference=difference_pct,
        power=power,
    )
    if needed:
        remedy = say("With 10 places a strip it takes {needed} pairs.", needed=needed)
    else:
        remedy = say("Even {most} pairs would not do.", most=_MOST_PAIRS)
    return f"{none} {limit} {remedy}"


def _check_scatter(mean_count: float, theta: float) -> None:
    if not (math.isfinite(mean_count) and mean_count > 0):
        raise ScoutingError(
            f"mean_count={mean_count:g} must be above zero: the plants expected at one place."
        )
    if not theta > 0:
        raise ScoutingError(f"theta={theta:g} must be above zero; infinite for Poisson's scatter.")


def _check_share(value: float, name: str, usual: str) -> None:
    if not 0 < value < 1:
        raise ScoutingError(f"{name} is out of range. Give a value such as {usual}.")
