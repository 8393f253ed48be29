"""The distribution of net money a hectare: an unsure gain, an unsure price, an unsure grade.

Net money of a treatment against its control is

    net = gain x (price + price gain) + control yield x price gain - cost,

with the gain and the price gain t-distributed about their estimates, the price triangular, all
three independent; or the price gain one of a few steps, each with its chance. Chances are
integrated, not sampled: the same input gives the same answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats
from scipy.special import stdtr

Floats = NDArray[np.float64]

#: Gauss-Legendre points on each panel of the price range.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(32)
#: Where a t distribution turns, in standard errors: panels break there, so that even a gain
#: known very well (a step in the price) is integrated to many digits.
_TURNS = np.array([-40.0, -15.0, -6.0, -3.0, -1.0, 0.0, 1.0, 3.0, 6.0, 15.0, 40.0])
#: Panels of the second unsure part, as shares of its distribution; 8 points on each.
_SHARES = np.array(
    [0, 1e-5, 1e-4, 1e-3, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99, 0.999, 0.9999, 0.99999, 1]
)
_FEW_NODES, _FEW_WEIGHTS = np.polynomial.legendre.leggauss(8)
#: A price range narrower than this share of the price is one price.
_NO_WIDTH = 1e-12
#: Beyond this many degrees of freedom t is normal.
_NORMAL = 1e10


class Part(Protocol):
    """An unsure part of the money: an estimate, and the chance to be above a value."""

    @property
    def estimate(self) -> float:
        """The estimate."""
        ...

    @property
    def std_error(self) -> float:
        """Its standard error."""
        ...

    def reach(self, tail: float) -> float:
        """Return how far from the estimate a tail of that probability begins."""
        ...

    def above(self, values: Floats) -> Floats:
        """Return the chance that the true value is above each of some values."""
        ...


@dataclass(frozen=True, slots=True)
class Unsure:
    """An estimate, its standard error and its degrees of freedom.

    Parameters
    ----------
    estimate, std_error
        In one unit; a standard error of zero stands for a number that is known.
    df
        Degrees of freedom; infinity for a known standard error.
    """

    estimate: float
    std_error: float
    df: float

    def reach(self, tail: float) -> float:
        """Return how far from the estimate a tail of that probability begins."""
        return self.std_error * float(stats.t.isf(tail, self.df)) if self.std_error else 0.0

    def above(self, values: Floats) -> Floats:
        """Return the chance that the true value is above each of some values."""
        with np.errstate(over="ignore"):  # an error near zero puts all values far off
            return _upper((values - self.estimate) / self.std_error, self.df)


@dataclass(frozen=True, slots=True)
class Steps:
    """A number that is one of a few, each with its chance: grain makes one grade or another.

    Parameters
    ----------
    values
        What it may be.
    chances
        Chance of each; they sum to one.
    """

    values: tuple[float, ...]
    chances: tuple[float, ...]

    @property
    def estimate(self) -> float:
        """The mean."""
        return float(np.dot(self.values, self.chances))

    @property
    def std_error(self) -> float:
        """The standard deviation."""
        away = np.asarray(self.values) - self.estimate
        return math.sqrt(float(np.dot(away**2, self.chances)))

    def reach(self, tail: float) -> float:
        """Return how far from the mean the furthest step lies, whatever the tail."""
        del tail
        return max(abs(value - self.estimate) for value in self.values)


@dataclass(frozen=True, slots=True)
class NetMoney:
    """Net money a hectare as a distribution.

    Parameters
    ----------
    gain
        Gain over the control, t/ha: t-distributed, or a belief about its mean over seasons.
    prices
        Lowest, central and highest price of the control's grain, money per tonne.
    cost_per_ha
        What the treatment costs more than the control, less what it saves, money per hectare.
    price_gain
        Price of the treated grain over that of the control's, money per tonne.
    control_yield_t_ha
        Yield of the control, t/ha; matters only with a price gain.
    """

    gain: Part
    prices: tuple[float, float, float]
    cost_per_ha: float
    price_gain: Unsure | Steps = Unsure(0.0, 0.0, math.inf)
    control_yield_t_ha: float = 0.0

    @property
    def central(self) -> float:
        """Net money at the estimates and the central price, money per hectare."""
        return self._at(self.gain.estimate, self.price_gain.estimate, self.prices[1])

    @property
    def break_even_t_ha(self) -> float:
        """Gain that just covers the cost at the central price, t/ha."""
        price_gain = self.price_gain.estimate
        owed = self.cost_per_ha - self.control_yield_t_ha * price_gain
        return float(owed / (self.prices[1] + price_gain))

    def chance_above(self, net: float) -> float:
        """Return the chance that net money is above an amount, money per hectare."""
        # Weights sum to one but for rounding.
        return min(max(self._chance_above(net), 0.0), 1.0)

    def _chance_above(self, net: float) -> float:
        if isinstance(self.price_gain, Steps):
            return self._chance_over_steps(self.price_gain, net)
        if not self.price_gain.std_error:
            return self._chance_known_grade(net)
        treated_t_ha = self.control_yield_t_ha + self.gain.estimate
        by_gain = self.gain.std_error * (self.prices[1] + self.price_gain.estimate)
        # What is known less well, in money, is taken exactly; so the rest is smooth in the other.
        by_grade = self.price_gain.std_error * abs(treated_t_ha)
        if isinstance(self.gain, Unsure) and by_gain < by_grade:
            return self._chance_over_gains(self.gain, self.price_gain, net)
        return self._chance_over_grades(self.price_gain, net)

    def quantile(self, share: float) -> float:
        """Return the net money that is passed from below with a chance of `share`."""
        tail = min(share, 1 - share)
        # Net money is linear in each part, so the corners of a box that holds all parts but a
        # tail of their own bracket its quantile.
        parts = (self.gain, self.price_gain)
        tail = tail if not self.price_gain.std_error else tail / 4
        ends = [(part.estimate - part.reach(tail), part.estimate + part.reach(tail))
                for part in parts]  # fmt: skip
        corners = [
            self._at(gain, price_gain, price)
            for gain in ends[0]
            for price_gain in ends[1]
            for price in (self.prices[0], self.prices[2])
        ]
        return solve_rising(
            lambda net: 1 - share - self.chance_above(net), min(corners), max(corners)
        )

    def _at(self, gain: float, price_gain: float, price: float) -> float:
        treated = gain * (price + price_gain)
        return float(treated + self.control_yield_t_ha * price_gain - self.cost_per_ha)

    def _chance_known_grade(self, net: float) -> float:
        known = self.price_gain.estimate
        wanted = net + self.cost_per_ha - self.control_yield_t_ha * known
        gains = self.gain.estimate + _TURNS * self.gain.std_error
        turns = wanted / gains[np.abs(gains) > self.gain.std_error * 1e-9] - known
        prices, weights = price_points(self.prices, turns)
        return float(weights @ self.gain.above(wanted / (prices + known)))

    def _chance_over_steps(self, steps: Steps, net: float) -> float:
        """Take each step for known, and weigh them by their chances."""
        return sum(
            chance * replace(self, price_gain=Unsure(value, 0.0, math.inf))._chance_known_grade(net)
            for value, chance in zip(steps.values, steps.chances, strict=True)
        )

    def _chance_over_grades(self, price_gain: Unsure, net: float) -> float:
        """Take the gain exactly, and average over price and price gain."""
        price_gains, shares = _spread_over(price_gain)
        known = price_gain.estimate
        wanted = net + self.cost_per_ha - self.control_yield_t_ha * known
        gains = self.gain.estimate + _TURNS * self.gain.std_error
        turns = wanted / gains[np.abs(gains) > self.gain.std_error * 1e-9] - known
        prices, weights = price_points(self.prices, turns)
        owed = net + self.cost_per_ha - self.control_yield_t_ha * price_gains[:, None]
        paid = prices + price_gains[:, None]
        return float(shares @ _linear_above(self.gain, paid, owed) @ weights)

    def _chance_over_gains(self, gain: Unsure, price_gain: Unsure, net: float) -> float:
        """Take the price gain exactly, and average over price and gain."""
        gains, shares = _spread_over(gain)
        estimate = gain.estimate
        turns = np.array([])
        if estimate:
            treated = self.control_yield_t_ha + estimate
            marks = price_gain.estimate + _TURNS * price_gain.std_error
            with np.errstate(over="ignore"):  # a gain near zero turns at no price
                turns = (net + self.cost_per_ha - treated * marks) / estimate
        prices, weights = price_points(self.prices, turns)
        owed = net + self.cost_per_ha - gains[:, None] * prices
        treated_t_ha = np.broadcast_to(self.control_yield_t_ha + gains[:, None], owed.shape)
        return float(shares @ _linear_above(price_gain, treated_t_ha, owed) @ weights)


def price_points(prices: tuple[float, float, float], turns: Floats) -> tuple[Floats, Floats]:
    """Return prices and probability weights that stand for the triangular price.

    Parameters
    ----------
    prices
        Lowest, central and highest price, money per tonne.
    turns
        Prices where the function to be integrated turns; panels break there.

    Returns
    -------
    points, weights : ndarray
        Of one shape; the weights sum to one.
    """
    low, peak, high = prices
    if high - low <= _NO_WIDTH * high:
        return np.array([peak]), np.array([1.0])
    inside = turns[(turns > low) & (turns < high)]
    edges = np.unique(np.concatenate([[low, peak, high], inside]))
    half = np.diff(edges)[:, None] / 2
    points = edges[:-1, None] + half * (_NODES + 1)
    # Each side of the peak holds its share of the range, and rises from its foot to the peak.
    foot = np.where(points < peak, low, high)
    density = np.abs(points - foot) / np.abs(peak - foot) * 2 / (high - low)
    return points.ravel(), (half * _WEIGHTS * density).ravel()


def solve_rising(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function crosses zero between two values that bracket it.

    Parameters
    ----------
    function
        Of one number; rising.
    low, high
        The bracket.

    Returns
    -------
    float
    """
    at_low, at_high = function(low), function(high)
    # With one sure price the root is an end of the bracket, up to rounding.
    if at_low >= 0:
        return float(low)
    if at_high <= 0:
        return float(high)
    return float(optimize.brentq(function, low, high, xtol=1e-12, rtol=1e-14))


def mean_price(prices: tuple[float, float, float]) -> float:
    """Return the mean of the triangular price, money per tonne.

    Parameters
    ----------
    prices
        Lowest, central and highest price.

    Returns
    -------
    float
    """
    return sum(prices) / 3 if prices[0] < prices[2] else prices[1]


def points_of(part: Unsure | Steps) -> tuple[Floats, Floats]:
    """Return points and probability weights that stand for an unsure part.

    Parameters
    ----------
    part
        A price gain, or anything else that is unsure.

    Returns
    -------
    points, weights : ndarray
        Of one shape; the weights sum to one.
    """
    if isinstance(part, Steps):
        return np.asarray(part.values), np.asarray(part.chances)
    if not part.std_error:
        return np.array([part.estimate]), np.array([1.0])
    return _spread_over(part)


def _linear_above(part: Part, slopes: Floats, wanted: Floats) -> Floats:
    """Return the chance that part x slope is above what is wanted, whatever the slope's sign."""
    safe = np.where(slopes == 0, 1.0, slopes)
    above = part.above(wanted / safe)
    return np.where(slopes > 0, above, np.where(slopes < 0, 1 - above, wanted < 0))


def _spread_over(part: Unsure) -> tuple[Floats, Floats]:
    """Return points and probability weights that stand for an unsure part."""
    places, shares = _standard_points(min(part.df, _NORMAL))
    return part.estimate + part.std_error * places, shares


@lru_cache(maxsize=16)
def _standard_points(df: float) -> tuple[Floats, Floats]:
    half = np.diff(_SHARES)[:, None] / 2
    shares = (_SHARES[:-1, None] + half * (_FEW_NODES + 1)).ravel()
    places = stats.norm.ppf(shares) if df >= _NORMAL else stats.t.ppf(shares, df)
    return np.asarray(places), (half * _FEW_WEIGHTS).ravel()


def _upper(t: Floats, df: float) -> Floats:
    if df >= _NORMAL:
        return np.asarray(stats.norm.sf(t), dtype=float)
    # scipy.special's is many times faster than that of scipy.stats, and the same function.
    return np.asarray(stdtr(df, -np.asarray(t, dtype=float)), dtype=float)
