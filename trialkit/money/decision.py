"""What next: use the dressing, stop, or test again, and with how many pairs of strips.

A trial now costs this season's trouble and pays through every later season in which it keeps the
farm from the wrong choice. One more trial is looked ahead, not a chain of them, and money counts
the same in every season.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace
from typing import Literal, NamedTuple

import numpy as np
import pandas as pd

from trialkit.errors import MoneyError
from trialkit.money.belief import Belief, believed
from trialkit.money.loss_integrals import check_spread
from trialkit.money.money_checks import check_number, check_whole
from trialkit.money.net_money import Floats, NetMoney, mean_price, points_of
from trialkit.money.payoff import PriceGain, net_money
from trialkit.shown import as_line, as_table

Answer = Literal["use it", "stop", "test again"]
Prior = Literal["flat", "earlier seasons"]

#: A trial near the best size brings nearly as much; the smallest that brings so much of it is
#: less work.
_ENOUGH = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialCost:
    """What one more season of trialling takes.

    Parameters
    ----------
    labour_per_h
        What an hour of your time is worth, money.
    hours
        Hours whatever the number of pairs: planning, marking, calibrating, working it out.
    hours_per_pair
        Hours for each pair of strips: changing seed, keeping strips apart, weighing.
    strip_ha
        Size of one strip, ha.
    other
        Anything else a season, money: tests of grain, a weigh cart.

    Raises
    ------
    MoneyError
        If a number is negative or not finite.

    Notes
    -----
    Half of the strips get what looks like the worse choice; what that is expected to lose is
    added by `next_step`. The hours and the size of a strip are common practice, no source.
    """

    labour_per_h: float
    hours: float = 8.0
    hours_per_pair: float = 0.5
    strip_ha: float = 1.0
    other: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            above = field.name == "strip_ha"
            name = f"In the cost of a trial, {field.name}"
            check_number(getattr(self, field.name), name, above=above)

    def of(self, pairs: int, lost_per_ha: float) -> float:
        """Return what a trial of so many pairs costs, money.

        Parameters
        ----------
        pairs
            Pairs of strips.
        lost_per_ha
            What the worse-looking choice is expected to lose, money per hectare.

        Returns
        -------
        float
        """
        hours = self.hours + self.hours_per_pair * pairs
        return hours * self.labour_per_h + self.other + pairs * self.strip_ha * lost_per_ha


@dataclass(frozen=True, slots=True, eq=False)
class NextStep:
    """One of three answers, and the sum behind it.

    Parameters
    ----------
    answer
        `"use it"`, `"stop"` or `"test again"`.
    use_meanwhile
        Whether to use the dressing on the rest of the ground until a trial says otherwise: it is
        expected to pay.
    pairs
        Pairs of strips of the smallest trial that brings nine tenths of what the best would, after
        its cost; or of the least bad one, where none is worth its cost. Zero if there is no room.
    trial_cost
        What that trial costs, money.
    trial_benefit
        What its information is expected to bring over the seasons after it, money.
    trial_net
        The one less the other.
    chance_of_turning
        Chance that it turns the choice round.
    value_of_knowing
        What it would bring to know the gain for certain, over all seasons, money: no trial can
        bring more.
    net_per_ha
        Expected net money of using the dressing, money per hectare and season.
    farm_net, farm_low, farm_high
        The same for the whole ground in an average season, and its interval.
    chance_paid
        Chance that the dressing pays on average over seasons.
    area_ha
        Ground where it would be used, ha.
    seasons
        Seasons looked ahead, the coming one among them.
    prior
        What was believed before the trial: `"flat"`, any gain alike, or `"earlier seasons"`.
    seasons_known
        Whether the variance between seasons was known; if not it was taken as none.
    confidence
        Level of the interval.
    table
        One row a number of pairs: `pairs std_error_t_ha cost benefit net`, money.
    value_of_grade
        What it would bring to know the grade for certain as well as the gain, over all seasons,
        money: the most that tests of the grain can add.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    answer: Answer
    use_meanwhile: bool
    pairs: int
    trial_cost: float
    trial_benefit: float
    trial_net: float
    chance_of_turning: float
    value_of_knowing: float
    net_per_ha: float
    farm_net: float
    farm_low: float
    farm_high: float
    chance_paid: float
    area_ha: float
    seasons: int
    prior: Prior
    seasons_known: bool
    confidence: float
    table: pd.DataFrame
    value_of_grade: float = 0.0


def next_step(
    gain_t_ha: float,
    std_error: float,
    df: float,
    *,
    price_per_t: float,
    price_range: tuple[float, float] | None = None,
    cost_per_ha: float,
    saved_per_ha: float = 0.0,
    price_gain: PriceGain | None = None,
    area_ha: float,
    seasons: int,
    trial: TrialCost,
    pairs: int | None = None,
    pair_sd_t_ha: float | None = None,
    tau2: float | None = None,
    pooled: bool = False,
    earlier: tuple[float, float] | None = None,
    fewest_pairs: int = 4,
    most_pairs: int = 20,
    confidence: float = 0.95,
) -> NextStep:
    """Weigh one more season of trialling against its cost.

    Parameters
    ----------
    gain_t_ha, std_error, df
        Estimated gain over the control and its standard error, t/ha, and degrees of freedom.
    price_per_t, price_range
        Central price, and lowest and highest price or None, money per tonne. A trial teaches
        nothing about the price, so its mean is used.
    cost_per_ha, saved_per_ha
        What the treatment costs more than the control and what it saves, money per hectare.
    price_gain
        Price difference through grade; None if all grain fetches the same. One more trial is
        weighed for what it teaches of the yield alone, so what is expected of the grade is used,
        as it is of the price. Tests of its grain would teach of the grade, too: then a trial is
        worth up to `value_of_grade` more.
    area_ha
        Ground where the dressing would be used each season, ha.
    seasons
        Seasons in which it would be used, the coming one among them. A trial sown in the coming
        one pays in the others.
    trial
        What a trial costs.
    pairs
        Pairs or blocks that the estimate rests on; they say how much a pair differs by chance.
    pair_sd_t_ha
        Or that standard deviation of the difference inside a pair itself, t/ha: where the
        estimate is pooled over seasons. Give one of the two.
    tau2
        Variance of the true gain between seasons, (t/ha)²; None if not known, which is then taken
        as none.
    pooled
        Whether the gain is a mean over seasons whose standard error holds their differences
        already. Else it is one season's, and tau2 is added to its error.
    earlier
        Mean gain that earlier seasons showed and its standard error, t/ha; it is weighed with the
        estimate. None to hold any gain for possible alike.
    fewest_pairs, most_pairs
        Smallest and largest trial to think of.
    confidence
        Level of the interval of the money.

    Returns
    -------
    NextStep

    Raises
    ------
    MoneyError
        If a number makes no sense, or the estimate has one degree of freedom or none to spare
        and nothing is known from before.

    Notes
    -----
    The sums are those of `trialkit.money.trial_value`, for each variance that the error of the
    strips may have, weighed by how likely it is: see `trialkit.money.belief`. Without tau2 and
    earlier seasons they are the closed forms of the t distribution. With them, whoever weighs the
    new trial is taken to know that variance by then, which makes it worth a little too much.

    Examples
    --------
    >>> from trialkit.money import TrialCost, next_step
    >>> step = next_step(0.10, 0.07, 5, price_per_t=300, cost_per_ha=20, area_ha=400, seasons=5,
    ...                  pairs=6, trial=TrialCost(labour_per_h=50))
    >>> step.answer, step.pairs, round(step.trial_benefit), round(step.trial_cost)
    ('test again', 12, 6732, 820)
    """
    _check_horizon(area_ha, seasons, fewest_pairs, most_pairs, confidence)
    pair_sd = _pair_sd(std_error, pairs, pair_sd_t_ha)
    between = check_number(tau2 or 0.0, "The variance between seasons (tau2)")
    net = net_money(
        gain_t_ha, std_error, df, price_per_t=price_per_t, cost_per_ha=cost_per_ha,
        price_range=price_range, saved_per_ha=saved_per_ha, price_gain=price_gain,
    )  # fmt: skip
    if earlier is None:
        check_spread(df)
    own = 0.0 if pooled else between
    belief = believed(gain_t_ha, std_error, df, between=own, earlier=earlier)
    if own or earlier is not None:
        net = replace(net, gain=belief)
    # Net money is linear in the price gain, which is independent of the gain: its mean will do.
    price = mean_price(net.prices) + net.price_gain.estimate
    owed = net.cost_per_ha - net.control_yield_t_ha * net.price_gain.estimate
    pair_variances = belief.error_variances * pairs if pairs else np.full(1, pair_sd**2)
    ahead = _Ahead(belief, price, owed / price, pair_variances, between)
    expected = belief.estimate * price - owed
    sizes = range(fewest_pairs, min(most_pairs, math.floor(area_ha / (2 * trial.strip_ha))) + 1)
    rows = []
    for size in sizes:
        cost, benefit = trial.of(size, abs(expected)), ahead.worth(size) * area_ha * (seasons - 1)
        rows.append((size, pair_sd / math.sqrt(size), cost, benefit, benefit - cost))
    table = pd.DataFrame(rows, columns=["pairs", "std_error_t_ha", "cost", "benefit", "net"])
    best, tail = _chosen(table), (1 - confidence) / 2
    return NextStep(
        answer="test again" if best.net > 0 else "use it" if expected > 0 else "stop",
        use_meanwhile=expected > 0,
        pairs=best.pairs,
        trial_cost=best.cost,
        trial_benefit=best.benefit,
        trial_net=best.net,
        chance_of_turning=ahead.turned(best.pairs) if best.pairs else 0.0,
        value_of_knowing=ahead.knowing() * area_ha * seasons,
        net_per_ha=expected,
        farm_net=expected * area_ha,
        farm_low=net.quantile(tail) * area_ha,
        farm_high=net.quantile(1 - tail) * area_ha,
        chance_paid=net.chance_above(0.0),
        area_ha=float(area_ha),
        seasons=int(seasons),
        prior="flat" if earlier is None else "earlier seasons",
        seasons_known=tau2 is not None,
        confidence=confidence,
        table=table,
        value_of_grade=_value_of_grade(belief, net, ahead) * area_ha * seasons,
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Ahead:
    """What a trial of some size would add to what is believed of the gain.

    `pair_variances` are those of the difference inside a pair, one for each error variance of the
    belief or one for all; `between` is that between seasons, (t/ha)².
    """

    belief: Belief
    price_per_t: float
    pays_from_t_ha: float
    pair_variances: Floats
    between: float

    def worth(self, pairs: int) -> float:
        """Return what the trial's information is worth, money per hectare and season."""
        return self.price_per_t * self.belief.loss(self.pays_from_t_ha, self._moved(pairs))

    def turned(self, pairs: int) -> float:
        """Return the chance that the trial turns the choice round."""
        return self.belief.turned(self.pays_from_t_ha, self._moved(pairs))

    def knowing(self) -> float:
        """Return what it is worth to know the gain, money per hectare and season."""
        everything = np.sqrt(self.belief.variances)
        return self.price_per_t * self.belief.loss(self.pays_from_t_ha, everything)

    def _moved(self, pairs: int) -> Floats:
        return self.belief.moved_by(self.pair_variances / pairs + self.between)


def _value_of_grade(belief: Belief, net: NetMoney, ahead: _Ahead) -> float:
    """Return what it is worth to know the grade beside the gain, money per hectare and season."""
    steps, chances = points_of(net.price_gain)
    if len(steps) == 1:
        return 0.0
    everything, level = np.sqrt(belief.variances), mean_price(net.prices)
    known = 0.0
    for step, chance in zip(steps, chances, strict=True):
        price = float(level + step)
        pays_from = float(net.cost_per_ha - net.control_yield_t_ha * step) / price
        won = max(belief.estimate - pays_from, 0.0) + belief.loss(pays_from, everything)
        known += float(chance) * price * won
    expected = ahead.price_per_t * (belief.estimate - ahead.pays_from_t_ha)
    return max(known - max(expected, 0.0) - ahead.knowing(), 0.0)


class _Trial(NamedTuple):
    """A trial that might be sown: its pairs, cost, benefit and net, money."""

    pairs: int
    cost: float
    benefit: float
    net: float


def _chosen(table: pd.DataFrame) -> _Trial:
    """Return the smallest trial that brings nearly as much as the best; none without room."""
    if table.empty:
        return _Trial(0, 0.0, 0.0, 0.0)
    most = float(table["net"].max())
    good = table["net"] >= (_ENOUGH * most if most > 0 else most)
    row = table[good].iloc[0]
    return _Trial(int(row["pairs"]), float(row["cost"]), float(row["benefit"]), float(row["net"]))


def _pair_sd(std_error: float, pairs: int | None, pair_sd_t_ha: float | None) -> float:
    if (pairs is None) == (pair_sd_t_ha is None):
        raise MoneyError(
            "How much a pair differs by chance is not known, or known twice. Give pairs, the pairs "
            "or blocks of the trial, or pair_sd_t_ha."
        )
    if pairs is not None:
        held = check_whole(pairs, "The number of pairs", least=2)
        return float(check_number(std_error, "The standard error", above=True) * math.sqrt(held))
    return check_number(pair_sd_t_ha or 0.0, "pair_sd_t_ha", above=True)


def _check_horizon(area_ha: float, seasons: int, fewest: int, most: int, confidence: float) -> None:
    check_number(area_ha, "The ground where the dressing would be used", above=True, unit="ha")
    check_whole(seasons, "The number of seasons", least=1)
    check_whole(fewest, "The fewest pairs", least=2)
    check_whole(most, "The most pairs")
    if most < fewest:
        raise MoneyError(f"At most {most} pairs and at least {fewest} leave no trial. Swap them.")
    if not 0 < confidence < 1:
        raise MoneyError(f"The confidence is {confidence}. Give a share such as 0.95.")
