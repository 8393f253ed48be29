"""Curves and grids over price and cost agree with the payoff at every place."""

import math

import numpy as np
import pytest

from trialkit.errors import MoneyError
from trialkit.money import break_even_curve, likely_prices, payoff, payoff_grid

ESTIMATE = (0.2, 0.06, 7)


def test_the_curve_is_where_the_payoff_turns():
    curve = break_even_curve(*ESTIMATE, [180, 300, 420], saved_per_ha=5)
    for row in curve.itertuples():
        for cost, chance in (
            (row.paid_below, 0.9), (row.even_at, 0.5), (row.did_not_pay_above, 0.1)
        ):  # fmt: skip
            paid = payoff(*ESTIMATE, price_per_t=row.price_per_t, cost_per_ha=cost, saved_per_ha=5)
            assert paid.chance_paid == pytest.approx(chance, abs=1e-10)


def test_a_curve_below_zero_says_that_no_cost_would_do():
    curve = break_even_curve(-0.2, 0.06, 7, [300])
    assert (curve.drop(columns="price_per_t") < 0).all(axis=None)


def test_the_grid_holds_every_pair_of_price_and_cost():
    grid = payoff_grid(*ESTIMATE, [250, 300], [10, 40, 90])
    assert len(grid) == 6
    for row in grid.itertuples():
        paid = payoff(*ESTIMATE, price_per_t=row.price_per_t, cost_per_ha=row.cost_per_ha)
        assert (row.net_per_ha, row.chance_paid, row.verdict) == (
            paid.net_per_ha, paid.chance_paid, paid.verdict
        )  # fmt: skip


def test_prices_to_draw_over():
    assert likely_prices(300)[[0, -1]].tolist() == pytest.approx([180, 420])
    assert likely_prices(300, (250, 350))[[0, -1]].tolist() == pytest.approx([225, 375])
    assert likely_prices(300, (1, 350)).min() > 0
    assert np.all(np.diff(likely_prices(300, (250, 350))) > 0)


@pytest.mark.parametrize(
    ("prices", "message"),
    [([], "no prices"), ([300, -1], "price is -1"), ([math.nan], "price is nan")],
)
def test_prices_that_make_no_sense(prices, message):
    with pytest.raises(MoneyError, match=message):
        break_even_curve(*ESTIMATE, prices)
    with pytest.raises(MoneyError, match=message):
        payoff_grid(*ESTIMATE, prices, [10])
