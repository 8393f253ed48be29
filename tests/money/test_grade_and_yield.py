"""Yield and grade together, and savings: against closed forms and draws."""

import math

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.money import PriceGain, payoff

EXACT = 1e-10
USUAL = {"price_per_t": 300.0, "cost_per_ha": 30.0}
# Two million draws: four standard errors of a share near one half.
DRAWS = 2_000_000
SIMULATED = 4 * 0.5 / math.sqrt(DRAWS)


def test_a_saving_is_a_cost_taken_off():
    less = payoff(0.05, 0.08, 5, price_per_t=300, cost_per_ha=10, price_range=(250, 360))
    saved = payoff(0.05, 0.08, 5, **USUAL, price_range=(250, 360), saved_per_ha=20)
    assert saved == less


def test_saving_more_than_it_costs_pays_at_a_small_loss():
    # 40 saved, 30 spent: a loss up to 10 / 300 t/ha still pays.
    answer = payoff(0.0, 0.05, 8, **USUAL, saved_per_ha=40)
    assert answer.break_even_t_ha == pytest.approx(-1 / 30, abs=EXACT)
    assert answer.net_per_ha == pytest.approx(10, abs=EXACT)
    assert answer.chance_paid == pytest.approx(stats.t.cdf(1 / 30 / 0.05, 8), abs=EXACT)


def test_a_known_price_gain_is_a_closed_form():
    # 2.8 t/ha of control at 12 more a tonne is 33.60; the gain is sold at 312.
    through_grade = PriceGain(12, 0, math.inf, control_yield_t_ha=2.8)
    answer = payoff(0.05, 0.08, 5, **USUAL, price_gain=through_grade)
    assert answer.net_per_ha == pytest.approx(0.05 * 312 + 33.6 - 30, abs=EXACT)
    assert answer.break_even_t_ha == pytest.approx(-3.6 / 312, abs=EXACT)
    assert answer.chance_paid == pytest.approx(stats.t.cdf((0.05 + 3.6 / 312) / 0.08, 5), abs=EXACT)
    reach = stats.t.ppf(0.975, 5) * 0.08
    assert answer.net_low == pytest.approx((0.05 - reach) * 312 + 3.6, abs=1e-8)


def test_no_price_gain_changes_nothing():
    nothing = PriceGain(0, 0, math.inf, control_yield_t_ha=2.8)
    for prices in (None, (250, 360)):
        plain = payoff(0.15, 0.08, 5, **USUAL, price_range=prices)
        assert payoff(0.15, 0.08, 5, **USUAL, price_range=prices, price_gain=nothing) == plain


def test_a_treatment_can_pay_through_grade_alone():
    through_grade = PriceGain(25, 4, 10, control_yield_t_ha=2.8)
    assert payoff(0.0, 0.05, 8, **USUAL).verdict == "did not pay"
    assert payoff(0.0, 0.05, 8, **USUAL, price_gain=through_grade).verdict == "paid"


@pytest.mark.parametrize(
    ("error", "df", "grade_error", "grade_df"),
    [(0.08, 5, 2, 5), (0.005, 5, 12, 4), (0.2, 2, 30, 3), (0.05, math.inf, 5, math.inf)],
)
@pytest.mark.parametrize("prices", [None, (220, 390)])
def test_two_unsure_parts_against_draws(error, df, grade_error, grade_df, prices):
    through_grade = PriceGain(6, grade_error, grade_df, control_yield_t_ha=2.8)
    answer = payoff(0.08, error, df, **USUAL, price_range=prices, price_gain=through_grade,
                    confidence=0.9)  # fmt: skip
    draw = np.random.default_rng(21)

    def standard(degrees):
        if math.isinf(degrees):
            return draw.standard_normal(DRAWS)
        return draw.standard_t(degrees, DRAWS)

    gain = 0.08 + error * standard(df)
    step = 6 + grade_error * standard(grade_df)
    price = 300 if prices is None else draw.triangular(prices[0], 300, prices[1], DRAWS)
    net = (2.8 + gain) * (price + step) - 2.8 * price - 30
    assert np.mean(net > 0) == pytest.approx(answer.chance_paid, abs=SIMULATED)
    assert np.mean(net < answer.net_low) == pytest.approx(0.05, abs=SIMULATED)
    assert np.mean(net > answer.net_high) == pytest.approx(0.05, abs=SIMULATED)


def test_a_hardly_unsure_part_is_nearly_a_known_one():
    # The distribution tends to the closed form from either side.
    for error, grade_error in ((0.08, 1e-6), (1e-9, 3.0)):
        through_grade = PriceGain(2, grade_error, 9, control_yield_t_ha=2.8)
        answer = payoff(0.06, error, 5, **USUAL, price_gain=through_grade)
        if grade_error < 1:
            exact = stats.t.cdf((0.06 - (30 - 5.6) / 302) / 0.08, 5)
        else:  # (2.8 + 0.06) (300 + d) - 840 > 30, so d > 870 / 2.86 - 300
            exact = stats.t.sf((870 / 2.86 - 300 - 2) / 3.0, 9)
        assert answer.chance_paid == pytest.approx(exact, abs=1e-6)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ((math.nan, 1, 5, 2.8), "price difference is nan"),
        ((5, -1, 5, 2.8), "standard error of the price difference is -1"),
        ((5, 1, 0, 2.8), "degrees of freedom of the price difference are 0"),
        ((5, 1, 5, 0), "control's yield is 0"),
    ],
)
def test_price_gains_that_make_no_sense(given, message):
    with pytest.raises(MoneyError, match=message):
        PriceGain(*given)


def test_payoffs_that_make_no_sense():
    with pytest.raises(MoneyError, match="leaves nothing of a price"):
        payoff(0.1, 0.1, 5, **USUAL, price_gain=PriceGain(-300, 5, 5, 2.8))
    with pytest.raises(MoneyError, match="What the treatment saves is -1"):
        payoff(0.1, 0.1, 5, **USUAL, saved_per_ha=-1)
    with pytest.raises(MoneyError, match="give it as cost_per_t_seed"):
        payoff(0.1, 0.1, 5, price_per_t=300, cost_per_ha=240, mean_yield_t_ha=2.8)
    with pytest.raises(MoneyError, match="price is 300 EUR per tonne"):
        payoff(0.1, 0.1, 5, price_per_t="300 EUR", cost_per_ha=10)
    with pytest.raises(MoneyError, match="Give two prices"):
        payoff(0.1, 0.1, 5, **USUAL, price_range=(250, 300, 350))
