"""Money against numbers printed elsewhere."""

import numpy as np
import pandas as pd
import pytest

from trialkit.money import partial_budget, payoff

# Printed to seven digits or better.
PRINTED = 1e-6


def test_darwins_maize():
    # Fisher 1935, The Design of Experiments; Darwin 1876 p. 16. Fifteen pairs, inches. R:
    #   t.test(crossed, self, paired = TRUE)
    #   t = 2.148, df = 14, p-value = 0.0497; mean 2.616667, 95% 0.003899165 to 5.229434169
    # Price one and cost nothing leave the interval of the gain, and half its p-value below zero.
    answer = payoff(2.616667, 1.218195, 14, price_per_t=1, cost_per_ha=0)
    assert answer.net_low == pytest.approx(0.003899165, abs=5 * PRINTED)
    assert answer.net_high == pytest.approx(5.229434169, abs=5 * PRINTED)
    assert 2 * (1 - answer.chance_paid) == pytest.approx(0.0497, abs=5e-5)


def test_students_sleep():
    # Student 1908; R: t.test(extra ~ group, paired = TRUE) on datasets::sleep
    #   t = 4.0621, df = 9, p-value = 0.002833; mean 1.58, 95% 0.7001142 to 2.4598858
    answer = payoff(1.58, 1.58 / 4.0621, 9, price_per_t=1, cost_per_ha=0)
    assert answer.net_low == pytest.approx(0.7001142, abs=1e-5)
    assert answer.net_high == pytest.approx(2.4598858, abs=1e-5)
    assert 2 * (1 - answer.chance_paid) == pytest.approx(0.002833, abs=1e-6)


def test_beans_to_maize():
    # Extension column "Partial budget is simple, useful financial tool", southeastfarmpress.com:
    # 100 acres from dry beans (22 cwt at $40, costs 550) to maize (150 bu at $6.50, costs 690)
    # change the net by -4,500. A unit of grain stands in for the tonne, an acre for the hectare.
    given = pd.DataFrame(
        {
            "treatment": ["beans", "maize"],
            "yield_t_ha": [22.0, 150.0],
            "price_per_t": [40.0, 6.50],
            "costs_per_ha": [550.0, 690.0],
        }
    )
    budget = partial_budget(given).set_index("treatment")
    assert 100 * budget["gross"]["maize"] == pytest.approx(97_500)
    assert 100 * budget["gross"]["beans"] == pytest.approx(88_000)
    assert 100 * (budget["net"]["maize"] - budget["net"]["beans"]) == pytest.approx(-4_500)
    assert budget["dominated"].to_dict() == {"beans": False, "maize": True}


def test_soybean_inoculant():
    # Purdue and Ohio State extension, farmanddairy.com: mean response 1.25 bu/ac, cost $1.50 to
    # just under $3 an acre; so it breaks even between 1.20 and 2.40 $/bu (our arithmetic).
    for cost, price in ((1.5, 1.2), (3.0, 2.4)):
        answer = payoff(1.25, 0.5, 7, price_per_t=price, cost_per_ha=cost)
        assert answer.break_even_t_ha == pytest.approx(1.25)
        assert answer.chance_paid == pytest.approx(0.5)


def test_chance_rises_with_price_and_yield():
    # Esker and Conley 2012, Crop Sci. 52:351-359 (as quoted in the trade press): the probability
    # that a seed treatment breaks even rises with the price and with the yield level. Their
    # numbers rest on their own posterior, so only the order is checked.
    def chance(yield_level, price):
        return payoff(0.03 * yield_level, 0.06, 12, price_per_t=price, cost_per_ha=30).chance_paid

    assert chance(2.7, 220) < chance(4.0, 220) < chance(4.0, 440)


def test_las_rosas_nitrogen():
    # Point regression of the 1999 Las Rosas trial (R: lm(yield ~ nitro + I(nitro^2)), quintals):
    #   59.253308 + 0.11300700 N - 0.00032041388 N^2, best N 77.29 kg/ha at the prices of Anselin
    #   et al. 2004 (maize 6.85 $/quintal, nitrogen 0.4348 $/kg).
    # A step up to the best rate nets more; past it every rate is dominated.
    rate = np.arange(0, 125, 0.01)
    quintals = 59.253308 + 0.11300700 * rate - 0.00032041388 * rate**2
    budget = partial_budget(
        pd.DataFrame(
            {
                "treatment": rate,
                "yield_t_ha": quintals / 10,
                "price_per_t": 68.5,
                "costs_per_ha": 0.4348 * rate,
            }
        )
    )
    best = rate[budget["net"].to_numpy().argmax()]
    assert best == pytest.approx(77.29, abs=0.01)
    assert budget["dominated"].to_numpy()[rate > best].all()
    assert not budget["dominated"].to_numpy()[rate <= best].any()
    # The first kilogram returns (0.113007 x 6.85 / 0.4348 - 1) = 78% a dollar spent on it.
    assert budget["marginal_return_pct"][1] == pytest.approx(78.0, abs=0.1)
