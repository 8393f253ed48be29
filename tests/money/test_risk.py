"""Risk: chance of a loss, and the worst of ten seasons, against closed forms."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from trialkit.errors import MoneyError
from trialkit.money import PriceGain, season_risk

USUAL = {"price_per_t": 300.0, "cost_per_ha": 20.0}
# A median of 100,000 runs: four of its standard errors, as a share of the spread.
SIMULATED = 4 * 1.2533 / math.sqrt(100_000)


def test_from_one_trial_the_worst_season_is_not_known():
    risk = season_risk(0.15, 0.05, 8, **USUAL, lose_more_than=10)
    assert risk.chance_of_loss == pytest.approx(stats.t.cdf((10 / 300 - 0.15) / 0.05, 8), abs=1e-10)
    assert not risk.seasons_known
    assert risk.season_chance_of_loss is None
    assert risk.worst_season is None
    assert risk.worst_season_low is None


def test_worst_of_ten_normal_seasons():
    # With the mean known, the least of ten normal seasons is passed with chance (1 - F)^10; its
    # median lies where F = 1 - 0.5^(1/10), 1.499 standard deviations below the mean.
    risk = season_risk(0.15, 1e-9, math.inf, **USUAL, tau2=0.01, pooled=True)
    place = stats.norm.ppf(1 - 0.5**0.1)
    assert place == pytest.approx(-1.4988, abs=1e-4)
    assert risk.worst_season == pytest.approx(25 + 30 * place, abs=30 * SIMULATED)
    low = stats.norm.ppf(1 - 0.9**0.1)
    assert risk.worst_season_low == pytest.approx(25 + 30 * low, abs=3 * 30 * SIMULATED)
    assert risk.season_chance_of_loss == pytest.approx(stats.norm.cdf(-25 / 30), abs=0.002)


def test_one_season_is_the_prediction():
    # The worst of one season has the median of a season, and normal errors simply add.
    risk = season_risk(0.15, 0.05, math.inf, **USUAL, tau2=0.01, pooled=True, seasons=1)
    spread = 300 * math.sqrt(0.0025 + 0.01)
    assert risk.worst_season == pytest.approx(25, abs=spread * SIMULATED)
    assert risk.season_chance_of_loss == pytest.approx(stats.norm.cdf(-25 / spread), abs=0.005)


def test_seasons_that_do_not_differ_are_all_the_same():
    risk = season_risk(0.15, 0.05, 8, **USUAL, tau2=0.0)
    assert risk.worst_season == pytest.approx(25, abs=15 * SIMULATED)
    assert risk.season_chance_of_loss == pytest.approx(risk.chance_of_loss, abs=0.005)


def test_one_seasons_gain_is_less_sure_of_the_mean_over_seasons():
    own = season_risk(0.15, 0.05, 8, **USUAL, tau2=0.01)
    pooled = season_risk(0.15, 0.05, 8, **USUAL, tau2=0.01, pooled=True)
    # The season's error is t, its difference from the mean over seasons normal: their convolution.
    expected = integrate.quad(
        lambda x: stats.t.pdf(x, 8) * stats.norm.cdf((20 / 300 - 0.15 - 0.05 * x) / 0.1),
        -np.inf, np.inf, epsabs=1e-11,
    )[0]  # fmt: skip
    assert own.chance_of_loss == pytest.approx(expected, abs=1e-6)
    assert own.chance_of_loss > pooled.chance_of_loss
    assert own.worst_season < pooled.worst_season


def test_prices_and_grades_that_differ_widen_the_run():
    plain = season_risk(0.15, 0.03, 20, **USUAL, tau2=0.01, pooled=True)
    ranged = season_risk(
        0.15, 0.03, 20, **USUAL, tau2=0.01, pooled=True, price_range=(100, 500),
        price_gain=PriceGain(0, 8, 20, control_yield_t_ha=2.8),
    )  # fmt: skip
    assert ranged.worst_season_low < plain.worst_season_low


def test_grades_and_seasons_together_against_draws():
    # The grade decides here, and the mean gain over seasons is no t.
    given = {**USUAL, "lose_more_than": 5, "tau2": 0.01}
    risk = season_risk(0.02, 0.03, 4, **given, price_gain=PriceGain(4, 10, 5, 2.8))
    draw = np.random.default_rng(12)
    number = 1_000_000
    gain = 0.02 + 0.03 * draw.standard_t(4, number) + 0.1 * draw.standard_normal(number)
    step = 4 + 10 * draw.standard_t(5, number)
    net = gain * (300 + step) + 2.8 * step - 20
    assert risk.chance_of_loss == pytest.approx(np.mean(net < -5), abs=4 * 0.5 / 1000)


def test_the_same_input_gives_the_same_answer():
    given = {**USUAL, "tau2": 0.01, "price_range": (200, 400)}
    assert season_risk(0.1, 0.05, 5, **given) == season_risk(0.1, 0.05, 5, **given)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"lose_more_than": -1}, "loss to give the chance of is -1"),
        ({"seasons": 0}, "number of seasons is 0. Give 1 or more"),
        ({"tau2": -0.1}, r"variance between seasons \(tau2\) is -0.1"),
        ({"tau2": -0.1, "pooled": True}, r"variance between seasons \(tau2\) is -0.1"),
        ({"tau2": math.nan}, "tau2"),
        ({"price_per_t": -1}, "price is -1"),
    ],
)
def test_nonsense_is_refused(changed, message):
    with pytest.raises(MoneyError, match=message):
        season_risk(0.1, 0.05, 5, **{**USUAL, **changed})
