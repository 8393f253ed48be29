"""Looking ahead from one trial: what next, the risk, and at which prices and costs it pays."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypedDict

import pandas as pd

from trialkit.errors import MoneyError
from trialkit.money.break_even import break_even_curve, likely_prices
from trialkit.money.decision import NextStep, TrialCost, next_step
from trialkit.money.payoff import PriceGain
from trialkit.money.risk import Risk, season_risk


class _Worth(TypedDict):
    """What a gain is worth, in the words of the functions that ask."""

    price_per_t: float
    price_range: tuple[float, float] | None
    cost_per_ha: float
    saved_per_ha: float
    price_gain: PriceGain | None


@dataclass(frozen=True, slots=True)
class Farm:
    """What the farm would do with the answer.

    Parameters
    ----------
    area_ha
        Ground where the dressing would be used each season, ha.
    seasons
        Seasons in which it would be used.
    labour_per_h
        What an hour of trialling is worth, money.
    """

    area_ha: float
    seasons: int
    labour_per_h: float


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What one treatment's gain says of the seasons to come.

    Parameters
    ----------
    treatment
        Its name.
    cost_per_ha, saved_per_ha
        What it costs more than the control and what it saves, money per hectare.
    step
        What next, with the sum behind it; None where that cannot be said.
    why_not
        Why it cannot be said, where it was asked for.
    risk
        The chance of a loss.
    curve
        From `break_even_curve`.
    price_gain
        Price difference through grade that was counted; None for none.
    price_per_t, price_range
        Prices that it rests on, money per tonne.
    """

    treatment: str
    cost_per_ha: float
    step: NextStep | None
    why_not: str
    risk: Risk
    curve: pd.DataFrame
    saved_per_ha: float = 0.0
    price_gain: PriceGain | None = None
    price_per_t: float = math.nan
    price_range: tuple[float, float] | None = None


def look_ahead(
    treatment: str,
    gain_t_ha: float,
    std_error: float,
    df: float,
    *,
    price_per_t: float,
    price_range: tuple[float, float] | None = None,
    cost_per_ha: float,
    saved_per_ha: float = 0.0,
    price_gain: PriceGain | None = None,
    pairs: int,
    strip_ha: float,
    farm: Farm | None = None,
    lose_more_than: float = 0.0,
    paid_at: float = 0.9,
    did_not_pay_at: float = 0.1,
    confidence: float = 0.95,
) -> Outlook:
    """Look ahead from one trial.

    Parameters
    ----------
    treatment
        Its name.
    gain_t_ha, std_error, df
        Estimated gain over the control and its standard error, t/ha, and degrees of freedom.
    price_per_t, price_range
        Central price, and lowest and highest price or None, money per tonne.
    cost_per_ha, saved_per_ha
        What the treatment costs more than the control and what it saves, money per hectare.
    price_gain
        Price difference through grade; None if all grain fetches the same.
    pairs
        Pairs of strips that the gain rests on.
    strip_ha
        Size of one strip, ha: a trial to come is taken to have such strips.
    farm
        What the farm would do with the answer; None where that is not known.
    lose_more_than
        Loss to give the chance of, money per hectare.
    paid_at, did_not_pay_at
        Chance from which the verdict is `"paid"`, and up to which it is `"did not pay"`.
    confidence
        Level of the interval of the money.

    Returns
    -------
    Outlook

    Raises
    ------
    MoneyError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.money import Farm, look_ahead
    >>> ahead = look_ahead("dressed", 0.10, 0.07, 5, price_per_t=300, cost_per_ha=20, pairs=6,
    ...                    strip_ha=1.0, farm=Farm(area_ha=400, seasons=5, labour_per_h=50))
    >>> ahead.step.answer, ahead.step.pairs
    ('test again', 12)
    """
    step, why_not = None, ""
    worth: _Worth = {
        "price_per_t": price_per_t, "price_range": price_range, "cost_per_ha": cost_per_ha,
        "saved_per_ha": saved_per_ha, "price_gain": price_gain,
    }  # fmt: skip
    if farm is not None:
        try:
            step = next_step(
                gain_t_ha, std_error, df, **worth, area_ha=farm.area_ha, seasons=farm.seasons,
                trial=TrialCost(labour_per_h=farm.labour_per_h, strip_ha=strip_ha),
                pairs=pairs, confidence=confidence,
            )  # fmt: skip
        except MoneyError as error:  # too few strips to know how much strips differ
            why_not = str(error)
    risk = season_risk(gain_t_ha, std_error, df, **worth, lose_more_than=lose_more_than)
    prices = likely_prices(price_per_t, price_range)
    if price_gain is not None:  # a grade that fetches less than nothing says nothing
        prices = prices[prices + price_gain.least_per_t > 0]
    curve = break_even_curve(
        gain_t_ha, std_error, df, prices.tolist(), saved_per_ha=saved_per_ha,
        price_gain=price_gain, paid_at=paid_at, did_not_pay_at=did_not_pay_at,
    )  # fmt: skip
    return Outlook(
        treatment, float(cost_per_ha), step, why_not, risk, curve, float(saved_per_ha), price_gain,
        float(price_per_t), price_range,
    )  # fmt: skip
