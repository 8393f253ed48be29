"""Where it pays: over the price of grain and the cost a hectare, as tables for a picture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.money.money_checks import (
    check_estimate,
    check_levels,
    check_number,
    check_price,
)
from trialkit.money.net_money import NetMoney
from trialkit.money.payoff import PriceGain, net_money, payoff


def break_even_curve(
    gain_t_ha: float,
    std_error: float,
    df: float,
    prices_per_t: Sequence[float],
    *,
    saved_per_ha: float = 0.0,
    price_gain: PriceGain | None = None,
    paid_at: float = 0.9,
    did_not_pay_at: float = 0.1,
) -> pd.DataFrame:
    """Return the cost a hectare that the gain bears at each price.

    At one price the chance that it paid falls as the cost rises, so each verdict ends at a cost
    that has a closed form: price × (gain − t × standard error) + savings, with t the quantile of
    its chance. With a price gain it is that quantile of the gain and the grade together.

    Parameters
    ----------
    gain_t_ha, std_error, df
        Estimated gain over the control and its standard error, t/ha, and degrees of freedom.
    prices_per_t
        Prices of grain, money per tonne; with a price gain, of the control's.
    saved_per_ha
        What the treatment saves of other inputs, money per hectare.
    price_gain
        Price difference through grade; None if all grain fetches the same.
    paid_at, did_not_pay_at
        Chance from which the verdict is `"paid"`, and up to which it is `"did not pay"`.

    Returns
    -------
    DataFrame
        One row a price: `price_per_t paid_below even_at did_not_pay_above`, costs in money per
        hectare: up to the first it is `"paid"`, at the second the estimate just covers it, from
        the third it is `"did not pay"`. Below zero where no cost would do.

    Raises
    ------
    MoneyError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.money import break_even_curve
    >>> break_even_curve(0.2, 0.05, 8, [250, 300]).round(1).values.tolist()
    [[250.0, 32.5, 50.0, 67.5], [300.0, 39.0, 60.0, 81.0]]
    """
    check_estimate(gain_t_ha, std_error, df)
    check_levels(0.95, paid_at, did_not_pay_at)
    saved = check_number(saved_per_ha, "What the treatment saves")
    prices = _checked_prices(prices_per_t)
    if price_gain is not None:
        rows = [
            _bearable(
                net_money(
                    gain_t_ha, std_error, df, price_per_t=float(price), cost_per_ha=0.0,
                    saved_per_ha=saved, price_gain=price_gain,
                ),
                paid_at, did_not_pay_at,
            )
            for price in prices
        ]  # fmt: skip
        names = ["paid_below", "even_at", "did_not_pay_above"]
        return pd.DataFrame(rows, columns=names).assign(price_per_t=prices)[["price_per_t", *names]]
    surely = gain_t_ha - stats.t.ppf(paid_at, df) * std_error
    perhaps = gain_t_ha - stats.t.ppf(did_not_pay_at, df) * std_error
    return pd.DataFrame(
        {
            "price_per_t": prices,
            "paid_below": prices * surely + saved,
            "even_at": prices * gain_t_ha + saved,
            "did_not_pay_above": prices * perhaps + saved,
        }
    )


def _bearable(net: NetMoney, paid_at: float, did_not_pay_at: float) -> tuple[float, float, float]:
    """Return the costs up to which it paid, is even and did not pay, of what it brings."""
    return net.quantile(1 - paid_at), net.central, net.quantile(1 - did_not_pay_at)


def payoff_grid(
    gain_t_ha: float,
    std_error: float,
    df: float,
    prices_per_t: Sequence[float],
    costs_per_ha: Sequence[float],
    *,
    confidence: float = 0.95,
    paid_at: float = 0.9,
    did_not_pay_at: float = 0.1,
) -> pd.DataFrame:
    """Return the payoff at every one of some prices and costs.

    Parameters
    ----------
    gain_t_ha, std_error, df
        Estimated gain over the control and its standard error, t/ha, and degrees of freedom.
    prices_per_t
        Prices of grain, money per tonne.
    costs_per_ha
        Costs of the treatment over the control, money per hectare.
    confidence
        Confidence level of the net interval.
    paid_at, did_not_pay_at
        Chance from which the verdict is `"paid"`, and up to which it is `"did not pay"`.

    Returns
    -------
    DataFrame
        One row a combination: `price_per_t cost_per_ha break_even_t_ha net_per_ha net_low
        net_high chance_paid verdict`.

    Raises
    ------
    MoneyError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.money import payoff_grid
    >>> payoff_grid(0.2, 0.05, 8, [300], [20, 60, 90])["verdict"].tolist()
    ['paid', 'not settled', 'did not pay']
    """
    rows = []
    for price in _checked_prices(prices_per_t):
        for cost in costs_per_ha:
            paid = payoff(
                gain_t_ha, std_error, df, price_per_t=float(price), cost_per_ha=cost,
                confidence=confidence, paid_at=paid_at, did_not_pay_at=did_not_pay_at,
            )  # fmt: skip
            rows.append(
                (price, float(cost), paid.break_even_t_ha, paid.net_per_ha, paid.net_low,
                 paid.net_high, paid.chance_paid, paid.verdict)
            )  # fmt: skip
    names = ["price_per_t", "cost_per_ha", "break_even_t_ha", "net_per_ha", "net_low", "net_high",
             "chance_paid", "verdict"]  # fmt: skip
    return pd.DataFrame(rows, columns=names)


def likely_prices(
    price_per_t: float, price_range: tuple[float, float] | None = None, points: int = 41
) -> np.ndarray:
    """Return prices to draw a curve over: the range and a margin, or 40% about the price.

    Parameters
    ----------
    price_per_t, price_range
        Central price, and lowest and highest price or None, money per tonne.
    points
        How many prices.

    Returns
    -------
    ndarray
        Money per tonne.

    Examples
    --------
    >>> from trialkit.money import likely_prices
    >>> likely_prices(300, points=3).tolist()
    [180.0, 300.0, 420.0]
    """
    low, peak, high = check_price(price_per_t, price_range)
    if low == high:
        return np.linspace(0.6 * peak, 1.4 * peak, points)
    margin = (high - low) / 4
    return np.linspace(max(low - margin, low / 2), high + margin, points)


def _checked_prices(prices_per_t: Sequence[float]) -> np.ndarray:
    prices = np.array([check_price(price, None)[1] for price in prices_per_t])
    if not len(prices) or math.isnan(float(prices.sum())):
        raise MoneyError("There are no prices to draw over. Give at least one.")
    return prices
