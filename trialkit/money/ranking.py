"""Several treatments at once: which is the best, and how sure that is.

Each may pay by itself while nobody knows which is the best; and with many, one looks good by
chance. So they are judged together, with the covariance of their gains: they share a control.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import special, stats
from scipy.stats import qmc

from trialkit.errors import MoneyError
from trialkit.money.money_checks import check_estimate, check_number, check_price
from trialkit.money.net_money import Floats, mean_price
from trialkit.money.payoff import PriceGain, net_money
from trialkit.shown import as_line, as_table

#: Points drawn, as a power of two: chances to about 0.001.
_POINTS = 14
#: Degrees of freedom below which an average over draws does not settle.
_FEWEST_DF = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """Treatments side by side in money, the control among them.

    Parameters
    ----------
    table
        One row a treatment, the control first: `treatment gain_t_ha net_per_ha chance_paid
        chance_best expected_loss_per_ha`. Chances of being best sum to one. The expected loss is
        what choosing that treatment forgoes on average, not being the best; empty with two
        degrees of freedom or fewer, where it is not known.
    best
        The treatment with the highest expected net money; the control if none is expected to pay.
    chance_best
        Chance that it truly is the best.
    value_of_knowing_per_ha
        What it is worth to know the best for certain, money per hectare and season: the least
        expected loss. Not a number where that is not known.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    table: pd.DataFrame
    best: str
    chance_best: float
    value_of_knowing_per_ha: float


def rank_treatments(
    gains_t_ha: Mapping[str, float],
    covariance: ArrayLike,
    df: float,
    *,
    price_per_t: float,
    price_range: tuple[float, float] | None = None,
    costs_per_ha: Mapping[str, float],
    price_gains: Mapping[str, PriceGain] | None = None,
    control: str = "untreated",
) -> Ranking:
    """Rank treatments by net money, with the chance of each to be the best.

    Parameters
    ----------
    gains_t_ha
        Estimated gain of each treatment over the one control, t/ha.
    covariance
        Covariance of those gains, (t/ha)², shape (treatments, treatments), in their order.
    df
        Degrees of freedom they share, or the fewest of them; `math.inf` for known errors.
    price_per_t, price_range
        Central price, and lowest and highest price or None, money per tonne. All treatments are
        sold at the same price, so it is drawn once for all.
    costs_per_ha
        What each costs more than the control, money per hectare; below zero for a saving.
    price_gains
        What the grain of each fetches more than the control's through its grade; a treatment that
        is not among them fetches the same. The price of the control's grain is then drawn once
        for all.
    control
        Name of the control.

    Returns
    -------
    Ranking

    Raises
    ------
    MoneyError
        If names do not match, the covariance is none, or a number makes no sense.

    Notes
    -----
    Gains are multivariate t about their estimates, the price is triangular; the same 16,384
    quasi-random points are used every time, so the same input gives the same answer.

    Examples
    --------
    >>> from trialkit.money import rank_treatments
    >>> ranking = rank_treatments({"powder": 0.2, "liquid": 0.1},
    ...     [[0.0025, 0.00125], [0.00125, 0.0025]], 10,
    ...     price_per_t=300, costs_per_ha={"powder": 30, "liquid": 10})
    >>> ranking.best, round(ranking.chance_best, 2)
    ('powder', 0.73)
    """
    names = list(gains_t_ha)
    _check_names(names, costs_per_ha, control)
    prices = check_price(price_per_t, price_range)
    cov = _checked_covariance(covariance, names)
    gains = np.array([gains_t_ha[name] for name in names], dtype=float)
    costs = np.array([float(costs_per_ha[name]) for name in names])
    for gain, error in zip(gains, np.sqrt(np.diag(cov)), strict=True):
        check_estimate(float(gain), float(error), df)
    graded = [(price_gains or {}).get(name) for name in names]
    per_t = np.array([0.0 if one is None else one.per_t for one in graded])
    on_yield = np.array([0.0 if one is None else one.control_yield_t_ha for one in graded])
    deviations, price, price_gain = _drawn(cov, df, prices, graded)
    sold_at = price[:, None] + price_gain
    # The control nets nothing over itself, so it stands first.
    over_control = (gains + deviations) * sold_at + on_yield * price_gain - costs
    net = np.column_stack([np.zeros(len(price)), over_control])
    through_grade = on_yield * per_t - costs
    expected = np.concatenate([[0.0], gains * (mean_price(prices) + per_t) + through_grade])
    best_of_draw = net.argmax(axis=1)
    chances = np.bincount(best_of_draw, minlength=net.shape[1]) / len(net)
    forgone = (net.max(axis=1)[:, None] - net).mean(axis=0)
    best = int(expected.argmax())
    table = pd.DataFrame(
        {
            "treatment": [control, *names],
            "gain_t_ha": np.concatenate([[0.0], gains]),
            "net_per_ha": np.concatenate([[0.0], gains * (price_per_t + per_t) + through_grade]),
            "chance_paid": [math.nan, *_chances_paid(gains, cov, df, costs, prices, graded)],
            "chance_best": chances,
            "expected_loss_per_ha": forgone if df > _FEWEST_DF else np.full(len(forgone), np.nan),
        }
    )
    return Ranking(
        table=table,
        best=[control, *names][best],
        chance_best=float(chances[best]),
        value_of_knowing_per_ha=float(table["expected_loss_per_ha"].iloc[best]),
    )


def covariance_of_gains(
    std_errors: Mapping[str, float], between: Mapping[tuple[str, str], float]
) -> Floats:
    """Return the covariance of gains over one control from the errors of all differences.

    The variance of a difference of two gains is var(a) + var(b) - 2 cov(a, b).

    Parameters
    ----------
    std_errors
        Standard error of each treatment's gain over the control, t/ha.
    between
        Standard error of the difference of each two treatments, by their names in either order;
        differences from others, such as the control, are passed over.

    Returns
    -------
    ndarray
        (t/ha)², shape (treatments, treatments), in the order of `std_errors`.

    Raises
    ------
    MoneyError
        If a difference is missing or an error is not above zero.

    Examples
    --------
    >>> from trialkit.money import covariance_of_gains
    >>> covariance_of_gains({"a": 0.1, "b": 0.1}, {("a", "b"): 0.1}).round(4).tolist()
    [[0.01, 0.005], [0.005, 0.01]]
    """
    names = list(std_errors)
    errors = np.array(
        [check_number(std_errors[name], f"The error of '{name}'", above=True) for name in names]
    )
    covariance = np.diag(errors**2)
    for place, first in enumerate(names):
        for other, second in enumerate(names[:place]):
            error = between.get((first, second), between.get((second, first)))
            if error is None:
                raise MoneyError(
                    f"The error of the difference of '{first}' and '{second}' is missing. Give it "
                    "for each two treatments."
                )
            what = f"The error of the difference of '{first}' and '{second}'"
            squared = check_number(error, what) ** 2
            shared = (errors[place] ** 2 + errors[other] ** 2 - squared) / 2
            covariance[place, other] = covariance[other, place] = shared
    return covariance


def _chances_paid(
    gains: Floats,
    cov: Floats,
    df: float,
    costs: Floats,
    prices: tuple[float, float, float],
    graded: Sequence[PriceGain | None],
) -> list[float]:
    """Return each one's own chance to have paid, exactly as `payoff` has it."""
    low, peak, high = prices
    return [
        net_money(
            float(gain), float(error), df, price_per_t=peak, price_range=(low, high),
            cost_per_ha=max(float(cost), 0.0), saved_per_ha=max(-float(cost), 0.0), price_gain=one,
        ).chance_above(0.0)
        for gain, error, cost, one in zip(gains, np.sqrt(np.diag(cov)), costs, graded, strict=True)
    ]  # fmt: skip


def _drawn(
    covariance: Floats,
    df: float,
    prices: tuple[float, float, float],
    graded: Sequence[PriceGain | None],
) -> tuple[Floats, Floats, Floats]:
    """Return deviations of the gains, shape (points, k), prices, and price gains (points, k)."""
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.clip(values, 0, None))
    known_price = prices[0] == prices[2]
    extra = int(math.isfinite(df)) + int(not known_price)
    unsure = any(one is not None and one.std_error > 0 for one in graded)
    of_grade = len(graded) + 1 if unsure else 0
    size = len(root) + extra + of_grade
    sequence = qmc.Sobol(size, scramble=True, rng=np.random.default_rng(0))
    points = np.clip(sequence.random_base2(_POINTS), 1e-15, 1 - 1e-15)
    deviations = special.ndtri(points[:, : len(root)]) @ root.T
    if math.isfinite(df):
        scale = special.chdtri(df, points[:, len(root)]) / df
        deviations = deviations / np.sqrt(scale)[:, None]
    price_gains = _price_gains(points[:, len(root) + extra :], graded)
    if known_price:
        return deviations, np.full(len(points), prices[1]), price_gains
    return deviations, _triangular(points[:, len(root) + extra - 1], prices), price_gains


def _price_gains(shares: Floats, graded: Sequence[PriceGain | None]) -> Floats:
    """Return price gains that pass with these shares: the control's, then each treatment's."""
    found = np.zeros((len(shares), len(graded)))
    for place, one in enumerate(graded):
        if one is None:
            continue
        if not one.std_error:
            found[:, place] = one.per_t
        elif one.treated_prices and one.control_prices:
            after = _stepped(shares[:, place + 1], one.treated_prices)
            found[:, place] = after - _stepped(shares[:, 0], one.control_prices)
        else:
            found[:, place] = one.per_t + one.std_error * stats.t.ppf(shares[:, place + 1], one.df)
    return found


def _stepped(shares: Floats, prices: Sequence[tuple[float, float]]) -> Floats:
    """Return the prices of grades that pass with these shares."""
    values = np.array([price for price, _ in prices])
    ends = np.cumsum([chance for _, chance in prices])
    return np.asarray(values[np.minimum(np.searchsorted(ends, shares), len(values) - 1)])


def _triangular(shares: Floats, prices: tuple[float, float, float]) -> Floats:
    """Return the prices that a triangular price passes with these shares."""
    low, peak, high = prices
    below = low + np.sqrt(shares * (high - low) * (peak - low))
    above = high - np.sqrt((1 - shares) * (high - low) * (high - peak))
    return np.asarray(np.where(shares < (peak - low) / (high - low), below, above))


def _check_names(names: Sequence[str], costs: Mapping[str, float], control: str) -> None:
    if not names:
        raise MoneyError("There is no treatment to rank. Give the gain of each over the control.")
    if control in names:
        raise MoneyError(
            f"The control '{control}' is among the gains. Gains are over the control: leave it out."
        )
    if set(costs) != set(names):
        odd = sorted(set(costs) ^ set(names))[0]
        raise MoneyError(
            f"'{odd}' has a cost or a gain but not both. Give both for each treatment."
        )
    for name in names:
        check_number(costs[name], f"The cost of '{name}'", least=-math.inf, unit="per hectare")


def _checked_covariance(covariance: ArrayLike, names: Sequence[str]) -> Floats:
    cov = np.asarray(covariance, dtype=float)
    size = len(names)
    if cov.shape != (size, size):
        raise MoneyError(
            f"The covariance has the shape {cov.shape} for {size} treatments. Give one row and one "
            "column a treatment, in the order of the gains."
        )
    diagonal = np.diag(cov)
    if not np.isfinite(cov).all() or (diagonal <= 0).any():
        raise MoneyError(
            "The covariance of the gains holds no numbers or a variance of zero. Give the "
            "covariance of the differences from the control."
        )
    scale = np.sqrt(np.outer(diagonal, diagonal))
    correlation = cov / scale
    if not np.allclose(correlation, correlation.T, atol=1e-8):
        raise MoneyError("The covariance of the gains is not symmetric. Check its rows.")
    if np.linalg.eigvalsh((correlation + correlation.T) / 2).min() < -1e-8:
        raise MoneyError(
            "The covariance of the gains cannot be one: treatments are tied together more than "
            "fully. Check that it is not a table of standard errors or correlations."
        )
    return np.asarray((cov + cov.T) / 2)
