"""The rate that does best on a fitted curve, or that there is none inside the rates sown."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from trialkit.models.rate_shapes import Curve, Ladder, knot_interval


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
    end = "highest" if rate == ladder.levels[-1] else "lowest"
    return f"the {end} rate sown, {rate:.4g}"


def _may_not_pay(curve: Curve, price_ratio: float, confidence: float) -> tuple[bool, bool]:
    """Return whether the slope may be below, and may be above, what one unit must bring."""
    critical = float(stdtrit(curve.spare, (1 + confidence) / 2))
    half = critical * float(np.sqrt(curve.covariance[1, 1]))
    beyond = float(curve.estimates[1]) - price_ratio
    return beyond - half <= 0, beyond + half >= 0


def _on_a_line(ladder: Ladder, curve: Curve, price_ratio: float, confidence: float) -> Best:
    best = _better_end(ladder, curve, price_ratio)
    words = f"A straight line has no optimum: {_named(ladder, best)}, does best"
    if all(_may_not_pay(curve, price_ratio, confidence)):
        words += ", but these strips do not settle which end does."
        return Best(best, -np.inf, np.inf, False, words)
    words += ", and the best rate may lie beyond it."
    lowest = best == ladder.levels[0]
    return Best(best, -np.inf if lowest else best, best if lowest else np.inf, False, words)


def _on_a_quadratic(ladder: Ladder, curve: Curve, price_ratio: float, confidence: float) -> Best:
    slope, bend = float(curve.estimates[1]) - price_ratio, float(curve.estimates[2])
    first, last = (float(value) for value in ladder.levels[[0, -1]])
    best = _better_end(ladder, curve, price_ratio)
    if bend >= 0:
        words = (
            "No optimum: the curve bends the wrong way, upwards. Of those sown, "
            f"{_named(ladder, best)}, does best."
        )
        return Best(best, -np.inf, np.inf, False, words)
    turn = -slope / (2 * bend)
    low, high = _fieller(slope, bend, curve, confidence)
    if not first <= turn <= last:
        words = (
            f"No optimum inside the rates sown ({first:.4g} to {last:.4g}): the curve would turn "
            f"at {turn:.4g}. Of those sown, {_named(ladder, best)}, does best."
        )
        return Best(best, low, high, False, words)
    words = f"At {turn:.4g} {'the last unit just pays' if price_ratio else 'the curve is highest'}"
    if np.isfinite(low):
        words += f" ({confidence:.0%} interval {low:.4g} to {high:.4g})."
    else:
        words += ", but these strips do not fix that: the curve may be straight."
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
        words = (
            "No optimum: up to the knot one unit more brings less than it must. Of those sown, "
            f"{_named(ladder, first)}, does best."
        )
        return Best(first, low, high if may_pay else first, False, words)
    if knot >= last:
        words = f"No plateau inside the rates sown: the response still rises at {last:.4g}."
        return Best(last, low, high, False, words)
    end = "no end found" if np.isinf(high) else f"{high:.4g}"
    words = (
        f"From {knot:.4g} on more brings nothing ({confidence:.0%} interval {low:.4g} to {end})."
    )
    return Best(knot, low, high, True, words)
