"""How much studies differ beyond their own errors: the variance, its interval, in words."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri

from trialkit.language import figures, say, say_counted
from trialkit.models.records import Floats

#: Values of tau2 at which the slope of the likelihood is looked at for a change of sign, and
#: how far below the smallest and above the largest variance in the data they reach.
_GRID, _BELOW, _ABOVE = 400, 1e-8, 1e3
#: Chance of a Q as large, below which studies are said to differ.
_LEVEL = 0.05


def restricted_variance(effects: Floats, variances: Floats) -> float:
    """Return tau2 with the highest restricted likelihood: zero, or where its slope is zero."""
    unit = float(variances.mean() + np.ptp(effects) ** 2)
    scaled, spreads = (effects - effects.mean()) / np.sqrt(unit), variances / unit

    def slopes(tau2: Floats) -> Floats:
        weights = 1.0 / (tau2[:, None] + spreads)
        total = weights.sum(axis=1)
        left = scaled - (weights @ scaled / total)[:, None]
        trace = total - (weights**2).sum(axis=1) / total
        return np.asarray(((weights * left) ** 2).sum(axis=1) - trace)

    def slope(tau2: float) -> float:
        return float(slopes(np.array([tau2]))[0])

    def height(tau2: float) -> float:
        weights = 1.0 / (tau2 + spreads)
        left = scaled - weights @ scaled / weights.sum()
        return float(np.log(weights).sum() - np.log(weights.sum()) - weights @ left**2)

    grid = np.append(0.0, np.geomspace(_BELOW * spreads.min(), _ABOVE, _GRID))
    rising = slopes(grid) > 0
    tops = np.flatnonzero(rising[:-1] & ~rising[1:])
    found = [float(brentq(slope, grid[top], grid[top + 1], xtol=1e-16)) for top in tops]
    return unit * max([0.0, *found], key=height)


def profile_interval(effects: Floats, variances: Floats, confidence: float) -> tuple[float, float]:
    """Return the values of tau2 between which the scatter is what chance would give."""
    degrees = effects.size - 1
    unit = float(variances.mean() + np.ptp(effects) ** 2)
    spreads, scaled = variances / unit, (effects - effects.mean()) / np.sqrt(unit)

    def excess(tau2: float, most: float) -> float:
        weights = 1.0 / (tau2 + spreads)
        left = scaled - weights @ scaled / weights.sum()
        return float(weights @ left**2) - most

    def where(tail: float) -> float:
        most = float(chdtri(degrees, tail))
        if excess(0.0, most) <= 0:
            return 0.0
        top = 1.0
        while excess(top, most) > 0:
            top *= 4.0
        return unit * float(brentq(excess, 0.0, top, args=(most,), xtol=1e-16))

    return where((1 - confidence) / 2), where((1 + confidence) / 2)


def typical_variance(variances: Floats) -> float:
    """Return the variance of a typical study, as I2 takes it."""
    weights = 1.0 / variances
    total = weights.sum()
    return float((variances.size - 1) * total / (total**2 - (weights**2).sum()))


def say_heterogeneity(
    variance: tuple[float, float, float],
    i2_pct: float,
    q: tuple[float, float],
    studies: int,
    ahead: tuple[float, float],
) -> str:
    """Say how much the true effects differ, and what that leaves open for the next one.

    Parameters
    ----------
    variance
        tau2 with the ends of its interval.
    i2_pct
        Its share of the scatter, percent.
    q
        Cochran's Q and its p-value.
    studies
        How many there are.
    ahead
        Prediction interval.
    """
    deviation, low, high = np.sqrt(variance)
    grounds = say_counted(
        "Q {q:.3g} on {count} degree, {chance}",
        "Q {q:.3g} on {count} degrees, {chance}",
        studies - 1,
        q=round(q[0], 6),
        chance=figures("p < 0.001" if q[1] < 0.001 else f"p = {q[1]:.2g}"),
    )
    if deviation == 0:
        alike = (
            say(
                "The studies differ no more than their own errors say ({grounds}), though a "
                "standard deviation of up to {high:.2g} would do too.",
                grounds=grounds, high=high,
            )
            if high
            else say(
                "The studies differ no more than their own errors say ({grounds}).", grounds=grounds
            )
        )  # fmt: skip
        ahead_if = say(
            "If they do not, the true effect in the next one is the mean: between {low:.2g} and "
            "{high:.2g}.",
            low=ahead[0], high=ahead[1],
        )  # fmt: skip
        return f"{alike} {ahead_if}"
    first = (
        say("True effects differ from study to study ({grounds}).", grounds=grounds)
        if q[1] < _LEVEL
        else say("Whether true effects differ cannot be told ({grounds}).", grounds=grounds)
    )
    rest = say(
        "Their standard deviation comes out as {deviation:.2g}; Q allows {low:.2g} to {high:.2g}. "
        "{i2_pct:.0f}% of the scatter is that, the rest the studies' own error. The true effect in "
        "the next one may lie between {next_low:.2g} and {next_high:.2g}.",
        deviation=deviation, low=low, high=high, i2_pct=i2_pct,
        next_low=ahead[0], next_high=ahead[1],
    )  # fmt: skip
    return f"{first} {rest}"
