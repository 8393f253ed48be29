"""From a gain with its error, an unsure price and a cost a hectare to whether it paid."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from trialkit.errors import MoneyError
from trialkit.result import Verdict

#: Gauss-Legendre points on each panel of the price range.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(32)
#: Where a t distribution turns, in standard errors: panels break there, so that even a gain
#: known very well (a step in the price) is integrated to many digits.
_TURNS = np.array([-40.0, -15.0, -6.0, -3.0, -1.0, 0.0, 1.0, 3.0, 6.0, 15.0, 40.0])


@dataclass(frozen=True, slots=True)
class Payoff:
    """What a gain is worth a hectare, and how sure that is.

    Parameters
    ----------
    break_even_t_ha
        Gain that just covers the cost at the central price, t/ha.
    net_per_ha
        Gain at the central price less the cost, money per hectare.
    net_low, net_high
        Interval of the net money per hectare at the confidence level.
    chance_paid
        Probability that the gain was worth more than it cost, 0 to 1.
    verdict
        `"paid"`, `"did not pay"` or `"not settled"`.
    """

    break_even_t_ha: float
    net_per_ha: float
    net_low: float
    net_high: float
    chance_paid: float
    verdict: Verdict


def payoff(
    gain_t_ha: float,
    std_error: float,
    df: float,
    *,
    price_per_t: float,
    cost_per_ha: float,
    price_range: tuple[float, float] | None = None,
    confidence: float = 0.95,
    paid_at: float = 0.9,
    did_not_pay_at: float = 0.1,
) -> Payoff:
    """Turn an estimated gain into money a hectare, with its interval and its chance.

    The gain is taken as t-distributed about its estimate. A price range makes the price
    uncertain too: triangular, from the low to the high price with its peak at `price_per_t`,
    and independent of the gain. Net money is gain × price − cost. Its interval and the chance
    that it is above zero come from that one joint distribution, so they cannot contradict each
    other; without a range both are the exact t results at the one price. `break_even_t_ha` and
    `net_per_ha` are always taken at `price_per_t`.

    Parameters
    ----------
    gain_t_ha
        Estimated gain over the control, t/ha; negative for a loss.
    std_error
        Standard error of the gain, t/ha.
    df
        Degrees of freedom of the standard error; `math.inf` for a known error.
    price_per_t
        Central price of the grain, money per tonne.
    cost_per_ha
        What the treatment costs more than the control, money per hectare.
    price_range
        Lowest and highest price thought possible, money per tonne; None for one sure price.
    confidence
        Confidence level of the net interval, between 0 and 1.
    paid_at
        Chance from which the verdict is `"paid"`.
    did_not_pay_at
        Chance up to which the verdict is `"did not pay"`.

    Returns
    -------
    Payoff
        Break-even gain, net money with its interval, chance and verdict.

    Raises
    ------
    MoneyError
        If a number is not finite, a price is not above zero, a cost is negative, the range does
        not hold the price, the error is not above zero, or the levels make no sense.

    Notes
    -----
    Quantiles and chances are of the distribution of gain × price, integrated over the price by
    Gauss-Legendre quadrature, not sampled: the same input gives the same answer.

    Examples
    --------
    >>> from trialkit.money import payoff
    >>> answer = payoff(0.30, 0.08, 5, price_per_t=300, cost_per_ha=30, price_range=(250, 360))
    >>> answer.verdict, round(answer.break_even_t_ha, 3), round(answer.chance_paid, 3)
    ('paid', 0.1, 0.973)
    """
    _check_gain(gain_t_ha, std_error, df)
    _check_money(price_per_t, cost_per_ha, price_range)
    _check_levels(confidence, paid_at, did_not_pay_at)
    low, high = price_range or (price_per_t, price_per_t)

    def chance_above(net: float) -> float:
        wanted = net + cost_per_ha
        gains = gain_t_ha + _TURNS * std_error
        turns = wanted / gains[np.abs(gains) > std_error * 1e-9]
        prices, weights = _price_points(low, float(price_per_t), high, turns)
        return float(weights @ stats.t.sf((wanted / prices - gain_t_ha) / std_error, df))

    tail = (1 - confidence) / 2
    reach = std_error * float(stats.t.isf(tail, df))
    # At the extreme prices the interval of the gain alone brackets both quantiles.
    corners = [
        gain * price - cost_per_ha
        for gain in (gain_t_ha - reach, gain_t_ha + reach)
        for price in (low, high)
    ]
    chance = chance_above(0.0)
    return Payoff(
        break_even_t_ha=float(cost_per_ha / price_per_t),
        net_per_ha=float(gain_t_ha * price_per_t - cost_per_ha),
        net_low=_solve(lambda net: 1 - tail - chance_above(net), min(corners), max(corners)),
        net_high=_solve(lambda net: tail - chance_above(net), min(corners), max(corners)),
        chance_paid=chance,
        verdict=_verdict(chance, paid_at, did_not_pay_at),
    )


def _price_points(
    low: float, peak: float, high: float, turns: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Return prices and probability weights that stand for the triangular price.

    `turns` are prices where the function to be integrated turns; panels break there.
    """
    if high == low:
        return np.array([peak]), np.array([1.0])
    inside = turns[(turns > low) & (turns < high)]
    edges = np.unique(np.concatenate([[low, peak, high], inside]))
    half = np.diff(edges)[:, None] / 2
    prices = edges[:-1, None] + half * (_NODES + 1)
    # Each side of the peak holds its share of the range, and rises from its foot to the peak.
    rising = prices < peak
    foot = np.where(rising, low, high)
    share = np.abs(prices - foot) / np.abs(peak - foot) * 2 / (high - low)
    return prices.ravel(), (half * _WEIGHTS * share).ravel()


def _solve(function: Callable[[float], float], low: float, high: float) -> float:
    """Return where a rising function crosses zero between two values that bracket it."""
    at_low, at_high = function(low), function(high)
    # With one sure price the root is an end of the bracket, up to rounding.
    if at_low >= 0:
        return float(low)
    if at_high <= 0:
        return float(high)
    return float(optimize.brentq(function, low, high, xtol=1e-12, rtol=1e-14))


def _verdict(chance: float, paid_at: float, did_not_pay_at: float) -> Verdict:
    if chance >= paid_at:
        return "paid"
    if chance <= did_not_pay_at:
        return "did not pay"
    return "not settled"


def _check_gain(gain: float, std_error: float, df: float) -> None:
    if not math.isfinite(gain):
        raise MoneyError(f"The gain is {gain}. It must be a number of tonnes a hectare.")
    if not (math.isfinite(std_error) and std_error > 0):
        raise MoneyError(
            f"The standard error of the gain is {std_error}. It must be above zero: a gain "
            "without an error cannot be given a chance."
        )
    if math.isnan(df) or df <= 0:
        raise MoneyError(
            f"The degrees of freedom are {df}. They must be above zero: with one strip a "
            "treatment there is no error to judge the gain by."
        )


def _check_money(price: float, cost: float, price_range: tuple[float, float] | None) -> None:
    if not (math.isfinite(price) and price > 0):
        raise MoneyError(f"The grain price is {price} per tonne. Give a price above zero.")
    if not (math.isfinite(cost) and cost >= 0):
        raise MoneyError(
            f"The cost is {cost} per hectare. Give zero or more: what the treatment costs "
            "beyond the control."
        )
    if price_range is None:
        return
    low, high = price_range
    if not (math.isfinite(high) and 0 < low <= price <= high):
        raise MoneyError(
            f"The price range {low} to {high} does not hold the price {price}. Give the lowest "
            "and the highest price, both above zero, with the price between them."
        )


def _check_levels(confidence: float, paid_at: float, did_not_pay_at: float) -> None:
    if not 0 < confidence < 1:
        raise MoneyError(f"The confidence is {confidence}. Give a share such as 0.95.")
    if not 0 < did_not_pay_at < paid_at < 1:
        raise MoneyError(
            f"The verdict's levels are {did_not_pay_at} and {paid_at}. Give two chances between "
            "0 and 1, the one for 'did not pay' below the one for 'paid'."
        )
