"""Risk: the chance to lose more than the farm can bear, and the worst of ten seasons."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from trialkit.money.belief import believed
from trialkit.money.money_checks import check_number, check_whole
from trialkit.money.net_money import Floats, NetMoney, Steps, Unsure
from trialkit.money.payoff import PriceGain, net_money
from trialkit.shown import as_line, as_table

#: Runs of seasons drawn: a median of them is off by 0.4% of their spread.
_RUNS = 100_000


@dataclass(frozen=True, slots=True)
class Risk:
    """What using a dressing puts at risk.

    Parameters
    ----------
    lose_more_than
        The loss that was asked about, money per hectare.
    chance_of_loss
        Chance that the dressing loses more than that a hectare, on average over seasons.
    season_chance_of_loss
        Chance that it does in one coming season; None where it is not known how seasons differ.
    seasons
        Length of the run of seasons.
    worst_season
        Net money a hectare in the worst of so many seasons: as likely to be worse as to be
        better. None where it is not known how seasons differ.
    worst_season_low
        It is worse than this in one run of seasons in ten; None likewise.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    lose_more_than: float
    chance_of_loss: float
    season_chance_of_loss: float | None
    seasons: int
    worst_season: float | None
    worst_season_low: float | None

    @property
    def seasons_known(self) -> bool:
        """Whether it is known how seasons differ; from one trial it is not."""
        return self.worst_season is not None


def season_risk(
    gain_t_ha: float,
    std_error: float,
    df: float,
    *,
    price_per_t: float,
    price_range: tuple[float, float] | None = None,
    cost_per_ha: float,
    saved_per_ha: float = 0.0,
    price_gain: PriceGain | None = None,
    lose_more_than: float = 0.0,
    tau2: float | None = None,
    pooled: bool = False,
    seasons: int = 10,
    seed: int = 1,
) -> Risk:
    """Say how likely a loss is, and what the worst of some seasons may bring.

    One trial in one season does not show how seasons differ; then only the chance of a loss is
    known, and the worst season is None. With the variance between seasons, from several trials
    pooled, coming seasons are drawn: the mean gain from its t distribution, each season's own
    gain about it, and each season's price from the price range.

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
    lose_more_than
        Loss to give the chance of, money per hectare, zero or more.
    tau2
        Variance of the true gain between seasons, (t/ha)²; None if not known.
    pooled
        Whether the gain is a mean over seasons whose standard error holds their differences
        already, as that of `trialkit.models.pool` does. Else it is one season's, and tau2 is
        added to its error.
    seasons
        Length of the run of seasons.
    seed
        Of the random draws.

    Returns
    -------
    Risk

    Raises
    ------
    MoneyError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.money import season_risk
    >>> risk = season_risk(0.15, 0.05, 8, price_per_t=300, cost_per_ha=20, lose_more_than=10)
    >>> round(risk.chance_of_loss, 3), risk.worst_season
    (0.024, None)
    """
    check_number(lose_more_than, "The loss to give the chance of", unit="per hectare")
    check_whole(seasons, "The number of seasons", least=1)
    net = net_money(
        gain_t_ha, std_error, df, price_per_t=price_per_t, cost_per_ha=cost_per_ha,
        price_range=price_range, saved_per_ha=saved_per_ha, price_gain=price_gain,
    )  # fmt: skip
    if tau2 is None:
        chance = 1 - net.chance_above(-lose_more_than)
        return Risk(float(lose_more_than), chance, None, int(seasons), None, None)
    between = check_number(tau2, "The variance between seasons (tau2)")
    if not pooled and between:
        belief = believed(gain_t_ha, std_error, df, between=between)
        chance = 1 - replace(net, gain=belief).chance_above(-lose_more_than)
    else:
        chance = 1 - net.chance_above(-lose_more_than)
    of_mean = 0.0 if pooled else between
    draw = np.random.default_rng(seed)
    gain = Unsure(float(gain_t_ha), float(std_error), float(df))
    means = _drawn(gain, draw) + math.sqrt(of_mean) * draw.standard_normal(_RUNS)
    drawn = _drawn_seasons(net, means, math.sqrt(between), int(seasons), draw)
    worst = np.quantile(drawn.min(axis=1), [0.5, 0.1])
    return Risk(
        lose_more_than=float(lose_more_than),
        chance_of_loss=chance,
        season_chance_of_loss=float(np.mean(drawn < -lose_more_than)),
        seasons=int(seasons),
        worst_season=float(worst[0]),
        worst_season_low=float(worst[1]),
    )


def _drawn_seasons(
    net: NetMoney, means: Floats, spread_t_ha: float, seasons: int, draw: np.random.Generator
) -> Floats:
    """Draw net money a hectare in runs of seasons, shape (runs, seasons)."""
    shape = (_RUNS, seasons)
    gains = means[:, None] + spread_t_ha * draw.standard_normal(shape)
    low, peak, high = net.prices
    prices = draw.triangular(low, peak, high, shape) if low < high else np.full(shape, peak)
    price_gains = _drawn(net.price_gain, draw)[:, None]
    through_grade = net.control_yield_t_ha * price_gains
    return np.asarray(gains * (prices + price_gains) + through_grade - net.cost_per_ha)


def _drawn(part: Unsure | Steps, draw: np.random.Generator) -> Floats:
    if isinstance(part, Steps):
        return np.asarray(draw.choice(part.values, size=_RUNS, p=part.chances))
    normal = math.isinf(part.df)
    standard = draw.standard_normal(_RUNS) if normal else draw.standard_t(part.df, _RUNS)
    return np.asarray(part.estimate + part.std_error * standard)
