"""From a gain with its error, an unsure price and a cost a hectare to whether it paid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trialkit.errors import MoneyError
from trialkit.money.money_checks import (
    check_cost,
    check_estimate,
    check_levels,
    check_number,
    check_price,
)
from trialkit.money.net_money import NetMoney, Steps, Unsure
from trialkit.result import Verdict
from trialkit.shown import as_line, as_table


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

    __repr__ = as_line
    _repr_html_ = as_table

    break_even_t_ha: float
    net_per_ha: float
    net_low: float
    net_high: float
    chance_paid: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class PriceGain:
    """What the treated grain fetches more a tonne than the control's, through its grade.

    Parameters
    ----------
    per_t
        Estimated price difference, money per tonne; negative if the treated grain fetches less.
    std_error
        Its standard error, money per tonne; zero if every load was paid alike.
    df
        Degrees of freedom of the standard error; `math.inf` for a known one.
    control_yield_t_ha
        Yield of the control, t/ha: all of it, not only the gain, is sold at the other price.
    treated_prices, control_prices
        Prices that the grain of each may fetch, money per tonne, and their chances: with them the
        steps from grade to grade are taken as they are. Empty to take the difference as
        t-distributed.
    """

    per_t: float
    std_error: float
    df: float
    control_yield_t_ha: float
    treated_prices: tuple[tuple[float, float], ...] = ()
    control_prices: tuple[tuple[float, float], ...] = ()

    @property
    def part(self) -> Unsure | Steps:
        """The difference as a distribution: its steps where they are known, money per tonne."""
        if not (self.treated_prices and self.control_prices):
            return Unsure(float(self.per_t), float(self.std_error), self.df)
        steps: dict[float, float] = {}
        for after, sure_after in self.treated_prices:
            for before, sure_before in self.control_prices:
                step = float(after) - float(before)
                steps[step] = steps.get(step, 0.0) + sure_after * sure_before
        kept = {step: chance for step, chance in steps.items() if chance > 0}
        return Steps(tuple(kept), tuple(kept.values()))

    @property
    def least_per_t(self) -> float:
        """The smallest difference taken for possible, money per tonne."""
        part = self.part
        return min(part.values) if isinstance(part, Steps) else part.estimate

    @property
    def through_grade_per_ha(self) -> float:
        """What the difference is expected to bring on the control's yield, money per hectare."""
        return self.per_t * self.control_yield_t_ha

    @classmethod
    def by_steps(
        cls,
        treated_prices: Sequence[tuple[float, float]],
        control_prices: Sequence[tuple[float, float]],
        control_yield_t_ha: float,
    ) -> PriceGain:
        """Return the difference between two grains that may each fetch one of a few prices.

        Parameters
        ----------
        treated_prices, control_prices
            Prices, money per tonne, and their chances.
        control_yield_t_ha
            Yield of the control, t/ha.

        Raises
        ------
        MoneyError
            If a number makes no sense.
        """
        treated, control = tuple(treated_prices), tuple(control_prices)
        whole = Steps(
            tuple(after - before for after, _ in treated for before, _ in control),
            tuple(one * other for _, one in treated for _, other in control),
        )
        return cls(whole.estimate, whole.std_error, math.inf, control_yield_t_ha, treated, control)

    def __post_init__(self) -> None:
        check_number(self.per_t, "The price difference", least=-math.inf)
        check_number(self.std_error, "The standard error of the price difference")
        check_number(self.control_yield_t_ha, "The control's yield", above=True)
        if math.isnan(self.df) or self.df <= 0:
            raise MoneyError(
                f"The degrees of freedom of the price difference are {self.df}. They must be above "
                "zero."
            )
        for prices in (self.treated_prices, self.control_prices):
            chances = [chance for _, chance in prices]
            if prices and (min(chances) < 0 or not math.isclose(sum(chances), 1, abs_tol=1e-6)):
                raise MoneyError(
                    f"The chances of the prices are {chances}. They must be zero or more and sum "
                    "to one."
                )


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
    saved_per_ha: float = 0.0,
    price_gain: PriceGain | None = None,
    mean_yield_t_ha: float | None = None,
) -> Payoff:
    """Turn an estimated gain into money a hectare, with its interval and its chance.

    The gain is taken as t-distributed about its estimate. A price range makes the price
    uncertain too: triangular, from the low to the high price with its peak at `price_per_t`,
    and independent of the gain. Net money is gain × price − cost. Its interval and the chance
    that it is above zero come from that one joint distribution, so they cannot contradict each
    other; without a range both are the exact t results at the one price. `break_even_t_ha` and
    `net_per_ha` are always taken at `price_per_t`.

    A treatment can pay through grade as well. With a price gain d, `price_per_t` is the price of
    the control's grain, and net money is gain × (price + d) + control yield × d − cost, with d
    t-distributed too, or one of the steps between grades, and independent of the gain.

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
    saved_per_ha
        What the treatment saves of other inputs, money per hectare.
    price_gain
        Price difference through grade; None if all grain fetches the same.
    mean_yield_t_ha
        Mean yield of the trial, t/ha; with it a cost that must be one a tonne is refused.

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
    net = net_money(
        gain_t_ha, std_error, df, price_per_t=price_per_t, cost_per_ha=cost_per_ha,
        price_range=price_range, saved_per_ha=saved_per_ha, price_gain=price_gain,
    )  # fmt: skip
    check_levels(confidence, paid_at, did_not_pay_at)
    if mean_yield_t_ha is not None:
        check_cost(cost_per_ha, price_per_t=price_per_t, mean_yield_t_ha=mean_yield_t_ha)
    tail = (1 - confidence) / 2
    chance = net.chance_above(0.0)
    return Payoff(
        break_even_t_ha=net.break_even_t_ha,
        net_per_ha=net.central,
        net_low=net.quantile(tail),
        net_high=net.quantile(1 - tail),
        chance_paid=chance,
        verdict=verdict_at(chance, paid_at, did_not_pay_at),
    )


def net_money(
    gain_t_ha: float,
    std_error: float,
    df: float,
    *,
    price_per_t: float,
    price_range: tuple[float, float] | None = None,
    cost_per_ha: float,
    saved_per_ha: float = 0.0,
    price_gain: PriceGain | None = None,
) -> NetMoney:
    """Check the numbers of a payoff, and return net money a hectare as a distribution.

    Parameters
    ----------
    gain_t_ha, std_error, df
        Estimated gain over the control and its standard error, t/ha, and degrees of freedom.
    price_per_t, price_range
        Central price, and lowest and highest price or None, money per tonne.
    cost_per_ha, saved_per_ha
        What the treatment costs more than the control and what it saves, money per hectare.
    price_gain
        Price difference through grade; None if all grain fetches the same.

    Returns
    -------
    NetMoney

    Raises
    ------
    MoneyError
        If a number makes no sense.
    """
    check_estimate(gain_t_ha, std_error, df)
    prices = check_price(price_per_t, price_range)
    check_number(
        cost_per_ha,
        "The cost",
        unit="per hectare",
        remedy="Give zero or more: what the treatment costs beyond the control. What it saves "
        "goes into saved_per_ha.",
    )
    check_number(saved_per_ha, "What the treatment saves")
    gain = Unsure(float(gain_t_ha), float(std_error), float(df))
    cost = float(cost_per_ha) - float(saved_per_ha)
    if price_gain is None:
        return NetMoney(gain, prices, cost)
    least = price_gain.least_per_t
    if prices[0] + least <= 0:
        raise MoneyError(
            f"A price difference of {least:.10g} a tonne leaves nothing of a price of "
            f"{prices[0]:.10g}. Check both, and that they are in one currency."
        )
    return NetMoney(gain, prices, cost, price_gain.part, float(price_gain.control_yield_t_ha))


def verdict_at(chance: float, paid_at: float, did_not_pay_at: float) -> Verdict:
    """Return the verdict that a chance stands for.

    Parameters
    ----------
    chance
        Chance that it paid, 0 to 1.
    paid_at, did_not_pay_at
        Chance from which it `"paid"`, and up to which it `"did not pay"`.

    Returns
    -------
    str
    """
    if chance >= paid_at:
        return "paid"
    if chance <= did_not_pay_at:
        return "did not pay"
    return "not settled"
