"""The rate that does best on a fitted curve, or that there is none inside the rates sown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from trialkit.language import marked, say
from trialkit.models.rate_shapes import Curve, Ladder, knot_interval

#: What is said of a curve's turn: whether a unit must pay for itself, and whether it is fixed.
_AT_THE_TURN = {
    (True, True): marked(
        "At {turn:.4g} the last unit just pays ({confidence:.0%} interval {low:.4g} to {high:.4g})."
    ),
    (True, False): marked(
        "At {turn:.4g} the last unit just pays, but these strips do not fix that: the curve may be "
        "straight."
    ),
    (False, True): marked(
        "At {turn:.4g} the curve is highest ({confidence:.0%} interval {low:.4g} to {high:.4g})."
    ),
    (False, False): marked(
        "At {turn:.4g} the curve is highest, but these strips do not fix that: the curve may be "
        "straight."
    ),
}


@dataclass(frozen=True, slots=True)
class Best:
    """The best rate.

    Parameters
    ----------
    rate
        An optimum inside the rates sown, or the better of the two ends.
    low, high
        Its interval; infinite where the strips do not fix it.
    inside
        Whether it is an optimum inside the rates sown.
    words
        What this says.
    """

    rate: float
    low: float
    high: float
    inside: bool
    words: str


def find_best(ladder: Ladder, curve: Curve, price_ratio: float, confidence: float) -> Best:
    """Find the rate at which the last unit just pays.

    Parameters
    ----------
    ladder, curve
        The strips, and the curve fitted to them.
    price_ratio
        Response that one unit of rate must bring.
    confidence
        Level of the interval.

    Returns
    -------
    Best
    """
    if curve.shape == "linear":
        return _on_a_line(ladder, curve, price_ratio, confidence)
    if curve.shape == "quadratic":
        return _on_a_quadratic(ladder, curve, price_ratio, confidence)
    return _on_a_plateau(ladder, curve, price_ratio, confidence)


def _better_end(ladder: Ladder, curve: Curve, price_ratio: float) -> float:
    ends = ladder.levels[[0, -1]]
    return float(ends[int((curve.height(ends) - price_ratio * ends).argmax())])


def _named(ladder: Ladder, rate: float) -> str:
    if rate == ladder.levels[-1]:
        return say("the highest rate sown, {rate:.4g}", rate=rate)
    return say("the lowest rate sown, {rate:.4g}", rate=rate)


def _may_not_pay(curve: Curve, price_ratio: float, confidence: float) -> tuple[bool, bool]:
    """Return whether the slope may be below, and may be above, what one unit must bring."""
    critical = float(stdtrit(curve.spare, (1 + confidence) / 2))
    half = critical * float(np.sqrt(curve.covariance[1, 1]))
    beyond = float(curve.estimates[1]) - price_ratio
    return beyond - half <= 0, beyond + half >= 0


def _on_a_line(ladder: Ladder, curve: Curve, price_ratio: float, confidence: float) -> Best:
    best = _better_end(ladder, curve, price_ratio)
    if all(_may_not_pay(curve, price_ratio, confidence)):
        words = say(
            "A straight line has no optimum: {named}, does best, but these strips do not settle "
            "which end does.",
            named=_named(ladder, best),
        )
        return Best(best, -np.inf, np.inf, False, words)
    words = say(
        "A straight line has no optimum: {named}, does best, and the best rate may lie beyond it.",
        named=_named(ladder, best),
    )
    lowest = best == ladder.levels[0]
    return Best(best, -np.inf if lowest else best, best if lowest else np.inf, False, words)


def _on_a_quadratic(ladder: Ladder, curve: Curve, price_ratio: float, confidence: float) -> Best:
    slope, bend = float(curve.estimates[1]) - price_ratio, float(curve.estimates[2])
    first, last = (float(value) for value in ladder.levels[[0, -1]])
    best = _better_end(ladder, curve, price_ratio)
    if bend >= 0:
        words = say(
            "No optimum: the curve bends the wrong way, upwards. Of those sown, {named}, does "
            "best.",
            named=_named(ladder, best),
        )
        return Best(best, -np.inf, np.inf, False, words)
    turn = -slope / (2 * bend)
    low, high = _fieller(slope, bend, curve, confidence)
    if not first <= turn <= last:
        words = say(
            "No optimum inside the rates sown ({first:.4g} to {last:.4g}): the curve would turn at "
            "{turn:.4g}. Of those sown, {named}, does best.",
            first=first, last=last, turn=turn, named=_named(ladder, best),
        )  # fmt: skip
        return Best(best, low, high, False, words)
    words = say(
        _AT_THE_TURN[price_ratio != 0, bool(np.isfinite(low))],
        turn=turn, confidence=confidence, low=low, high=high,
    )  # fmt: skip
    return Best(turn, low, high, True, words)


def _fieller(slope: float, bend: float, curve: Curve, confidence: float) -> tuple[float, float]:
    """Return the rates where slope + 2 bend x does not differ from zero."""
    squared = float(stdtrit(curve.spare, (1 + confidence) / 2)) ** 2
    of_slope, between, of_bend = curve.covariance[[1, 1, 2], [1, 2, 2]]
    a = 4 * (bend**2 - squared * of_bend)
    b = 4 * (slope * bend - squared * between)
    c = slope**2 - squared * of_slope
    if a <= 0:
        return -np.inf, np.inf
    root = np.sqrt(b**2 - 4 * a * c)
    return float((-b - root) / (2 * a)), float((-b + root) / (2 * a))


def _on_a_plateau(ladder: Ladder, curve: Curve, price_ratio: float, confidence: float) -> Best:
    slope, knot = (float(value) for value in curve.estimates[1:])
    first, last = (float(value) for value in ladder.levels[[0, -1]])
    low, high = knot_interval(ladder, curve, confidence)
    may_not_pay, may_pay = _may_not_pay(curve, price_ratio, confidence)
    if may_not_pay:
        low = first
    if slope <= price_ratio:
        words = say(
            "No optimum: up to the knot one unit more brings less than it must. Of those sown, "
            "{named}, does best.",
            named=_named(ladder, first),
        )
        return Best(first, low, high if may_pay else first, False, words)
    if knot >= last:
        words = say(
            "No plateau inside the rates sown: the response still rises at {last:.4g}.", last=last
        )
        return Best(last, low, high, False, words)
    if np.isinf(high):
        words = say(
            "From {knot:.4g} on more brings nothing ({confidence:.0%} interval {low:.4g} to no end "
            "found).",
            knot=knot, confidence=confidence, low=low,
        )  # fmt: skip
    else:
        words = say(
            "From {knot:.4g} on more brings nothing ({confidence:.0%} interval {low:.4g} to "
            "{high:.4g}).",
            knot=knot, confidence=confidence, low=low, high=high,
        )  # fmt: skip
    return Best(knot, low, high, True, words)
