"""The payoff against closed forms, an independent quadrature and simulation."""

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy import integrate, stats

from trialkit.errors import MoneyError
from trialkit.money import payoff

# Closed forms differ from ours only by rounding.
EXACT = 1e-10
# Adaptive quadrature is asked for 1e-11; ours integrates smooth panels by 32 points.
QUADRATURE = 1e-8
# Two million draws: four standard errors of a share near one half.
DRAWS = 2_000_000
SIMULATED = 4 * 0.5 / math.sqrt(DRAWS)

USUAL = {"price_per_t": 300.0, "cost_per_ha": 30.0}


def test_one_sure_price_is_the_exact_t_result():
    answer = payoff(0.30, 0.08, 5, **USUAL)
    t = stats.t(5)
    assert answer.break_even_t_ha == pytest.approx(0.1, abs=EXACT)
    assert answer.net_per_ha == pytest.approx(60, abs=EXACT)
    assert answer.net_low == pytest.approx((0.30 - t.ppf(0.975) * 0.08) * 300 - 30, abs=EXACT)
    assert answer.net_high == pytest.approx((0.30 + t.ppf(0.975) * 0.08) * 300 - 30, abs=EXACT)
    assert answer.chance_paid == pytest.approx(t.cdf((0.30 - 0.1) / 0.08), abs=EXACT)


def test_a_range_of_no_width_is_one_sure_price():
    ranged = payoff(0.30, 0.08, 5, **USUAL, price_range=(300, 300))
    assert ranged == payoff(0.30, 0.08, 5, **USUAL)


def test_known_error_is_normal():
    answer = payoff(0.2, 0.1, math.inf, **USUAL)
    normal = NormalDist(0.2, 0.1)
    assert answer.chance_paid == pytest.approx(1 - normal.cdf(0.1), abs=EXACT)
    assert answer.net_low == pytest.approx(normal.inv_cdf(0.025) * 300 - 30, abs=1e-8)


@pytest.mark.parametrize(
    ("gain", "error", "df", "low", "high"),
    [
        (0.30, 0.08, 5, 250, 360),
        (0.05, 0.08, 3, 300, 450),
        (-0.10, 0.20, 1, 150, 300),
        (0.0, 0.05, 20, 200, 310),
        (0.105, 0.001, 8, 250, 360),
    ],
)
def test_a_price_range_against_adaptive_quadrature(gain, error, df, low, high):
    answer = payoff(gain, error, df, **USUAL, price_range=(low, high))
    price = stats.triang((300 - low) / (high - low), low, high - low)

    def above(net):
        def chance(p):
            return price.pdf(p) * stats.t.sf(((net + 30) / p - gain) / error, df)

        step = (net + 30) / gain if gain else low
        return integrate.quad(
            chance, low, high, points=[300, min(max(step, low), high)], epsabs=1e-11, limit=400
        )[0]

    assert answer.chance_paid == pytest.approx(above(0), abs=QUADRATURE)
    assert above(answer.net_low) == pytest.approx(0.975, abs=QUADRATURE)
    assert above(answer.net_high) == pytest.approx(0.025, abs=QUADRATURE)


def test_a_price_range_against_simulation():
    answer = payoff(0.15, 0.10, 4, **USUAL, price_range=(180, 380), confidence=0.9)
    draw = np.random.default_rng(20)
    gain = 0.15 + 0.10 * draw.standard_t(4, DRAWS)
    net = gain * draw.triangular(180, 300, 380, DRAWS) - 30
    assert np.mean(net > 0) == pytest.approx(answer.chance_paid, abs=SIMULATED)
    assert np.mean(net < answer.net_low) == pytest.approx(0.05, abs=SIMULATED)
    assert np.mean(net > answer.net_high) == pytest.approx(0.05, abs=SIMULATED)


def test_a_gain_known_very_well_leaves_only_the_price():
    # Gain 0.1 pays above 300: the chance that the triangular price is above its peak.
    answer = payoff(0.1, 1e-7, 9, **USUAL, price_range=(250, 360))
    assert answer.chance_paid == pytest.approx(60 / 110, abs=1e-5)


def test_free_and_even_is_a_coin_toss():
    answer = payoff(0.0, 0.1, 6, price_per_t=300, cost_per_ha=0, price_range=(200, 400))
    assert answer.chance_paid == pytest.approx(0.5, abs=EXACT)
    assert answer.break_even_t_ha == 0
    assert answer.verdict == "not settled"


@pytest.mark.parametrize(
    ("gain", "verdict"), [(0.5, "paid"), (0.1, "not settled"), (-0.3, "did not pay")]
)
def test_verdict(gain, verdict):
    assert payoff(gain, 0.1, 8, **USUAL).verdict == verdict


@pytest.mark.parametrize("side", [1, -1])
def test_the_levels_belong_to_the_verdicts(side):
    chance = payoff(0.1 + side * 0.15, 0.1, 8, **USUAL).chance_paid
    levels = {"paid_at": chance} if side > 0 else {"did_not_pay_at": chance}
    at = payoff(0.1 + side * 0.15, 0.1, 8, **USUAL, **levels)
    assert at.verdict == ("paid" if side > 0 else "did not pay")
    beyond = {key: value + side * 1e-9 for key, value in levels.items()}
    assert payoff(0.1 + side * 0.15, 0.1, 8, **USUAL, **beyond).verdict == "not settled"


def test_interval_and_chance_agree():
    # Both come from one distribution: a 90% interval that touches zero is a chance of 95%.
    for gain in np.linspace(0.1, 0.5, 9):
        answer = payoff(gain, 0.1, 5, **USUAL, price_range=(200, 420), confidence=0.9)
        assert (answer.net_low > 0) == (answer.chance_paid > 0.95)
        assert answer.net_low < answer.net_per_ha < answer.net_high


def test_a_wider_price_range_never_narrows_the_net():
    widths = [payoff(0.3, 0.02, 9, **USUAL, price_range=(300 - w, 300 + w)) for w in (1, 50, 100)]
    spreads = [answer.net_high - answer.net_low for answer in widths]
    assert spreads == sorted(spreads)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"gain_t_ha": math.nan}, "The gain is nan"),
        ({"gain_t_ha": math.inf}, "The gain is inf"),
        ({"std_error": 0.0}, "standard error of the gain is 0.0"),
        ({"std_error": -1.0}, "must be above zero"),
        ({"std_error": math.inf}, "standard error of the gain is inf"),
        ({"df": 0}, "degrees of freedom are 0"),
        ({"df": math.nan}, "degrees of freedom are nan"),
        ({"price_per_t": 0.0}, "price is 0.0 per tonne"),
        ({"price_per_t": -5.0}, "price is -5.0 per tonne"),
        ({"price_per_t": math.nan}, "price is nan per tonne"),
        ({"cost_per_ha": -0.01}, "cost is -0.01 per hectare"),
        ({"cost_per_ha": math.inf}, "cost is inf per hectare"),
        ({"price_range": (310, 400)}, "does not hold the price 300"),
        ({"price_range": (350, 250)}, "does not hold the price 300"),
        ({"price_range": (0, 400)}, "both above zero"),
        ({"price_range": (math.nan, 400)}, "does not hold"),
        ({"price_range": (200, math.inf)}, "does not hold"),
        ({"confidence": 1.0}, "confidence is 1.0"),
        ({"paid_at": 0.05}, "levels are 0.1 and 0.05"),
    ],
)
def test_nonsense_is_refused(changed, message):
    given = {"gain_t_ha": 0.3, "std_error": 0.1, "df": 5, **USUAL, **changed}
    with pytest.raises(MoneyError, match=message):
        payoff(given.pop("gain_t_ha"), given.pop("std_error"), given.pop("df"), **given)
