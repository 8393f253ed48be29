"""Rice at six seed rates in four blocks.

Gomez and Gomez 1984, Statistical Procedures for Agricultural Research, 2nd ed., table 2.5,
p. 26: kg/ha by rate and block. Sums of squares, F and CV printed there; more digits by R 4.2
(aov, nlme 3.1-162) from the same yields.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import stdtrit

from trialkit.models import fit_mixed

YIELDS = {
    25: (5113, 5398, 5307, 4678),
    50: (5346, 5952, 4719, 4264),
    75: (5272, 5713, 5483, 4749),
    100: (5164, 4831, 4986, 4410),
    125: (4804, 4848, 4432, 4748),
    150: (5254, 4542, 4919, 4098),
}


@pytest.fixture(scope="module")
def rice():
    rows = [
        (rate, f"R{block}", value)
        for rate, values in YIELDS.items()
        for block, value in enumerate(values, start=1)
    ]
    return pd.DataFrame(rows, columns=["rate", "rep", "yield_kg_ha"])


@pytest.fixture(scope="module")
def blocks(rice):
    return fit_mixed("yield_kg_ha ~ rep + C(rate)", rice)


# summary(aov(yield ~ rep + factor(rate)))
def test_analysis_of_variance(blocks, printed):
    error = blocks.variances["residual"]
    assert error * 15 == printed("1658376.167")
    rep, rate = blocks.test("rep"), blocks.test("rate")
    assert rep.statistic == printed("5.86224")
    assert rep.p == printed("0.0074158")
    assert rate.statistic == printed("2.16778")
    assert rate.p == printed("0.1128094")
    assert rate.statistic * error * 5 == printed("1198330.833")
    assert rep.statistic * error * 3 == printed("1944360.833")
    assert (rate.df_num, rate.df_den) == (5, 15)


def test_mean_and_cv(blocks, printed):
    mean = blocks.means("rate")["estimate"].mean()
    assert mean == printed("4959.583")
    assert 100 * np.sqrt(blocks.variances["residual"]) / mean == printed("6.704258")


def test_least_significant_difference(blocks, printed):
    row = blocks.differences("rate").iloc[0]
    assert row["std_error"] == printed("235.1153")
    assert (row["high"] - row["low"]) / 2 == printed("501.1364")
    assert row["std_error"] * stdtrit(15, 0.995) == printed("692.8173")


# summary(aov(...), split = list(rate = list(linear = 1, quadratic = 2)))
def test_trend_contrasts(blocks, printed):
    linear = np.array([-5, -3, -1, 1, 3, 5])
    quadratic = np.array([5, -1, -4, -4, -1, 5])
    for weights, statistic, p in (
        (linear, "6.87451", "0.01924"),
        (quadratic, "0.67299", "0.42486"),
    ):
        # Coefficients: intercept, three blocks, five rates against the first.
        found = blocks.test(np.concatenate([np.zeros(4), weights[1:]]))
        assert found.statistic == printed(statistic)
        assert found.p == printed(p)
    rest = [np.array([-5, 7, 4, -4, -7, 5]), np.array([1, -3, 2, 2, -3, 1])]
    rest.append(np.array([-1, 5, -10, 10, -5, 1]))
    found = blocks.test(np.array([np.concatenate([np.zeros(4), row[1:]]) for row in rest]))
    assert (found.df_num, found.statistic) == (3, printed("1.09713"))
    assert found.p == printed("0.38087")


# lm(yield ~ rep + rate + I(rate^2))
def test_quadratic(rice, printed):
    table = fit_mixed("yield_kg_ha ~ rep + rate + I(rate**2)", rice).coefficients
    slope, bend = table.loc["rate", "estimate"], table.loc["I(rate ** 2)", "estimate"]
    assert slope == printed("2.0820")
    assert bend == printed("-0.035714286")
    assert -slope / (2 * bend) == pytest.approx(29.148, abs=1e-3)  # from the rounded slope


# aov(yield ~ factor(rate))
def test_without_blocks(rice, printed):
    fit = fit_mixed("yield_kg_ha ~ C(rate)", rice)
    rate = fit.test("rate")
    assert rate.statistic == printed("1.19742")
    assert rate.p == printed("0.34967")
    assert fit.variances["residual"] * 18 == printed("3602737.0")


# [(r - 1) MSb + r (t - 1) MSe] / [(r t - 1) MSe]: strips that blocks of this field save.
def test_relative_efficiency_of_blocks(blocks, printed):
    error = blocks.variances["residual"]
    between = blocks.test("rep").statistic * error
    assert (3 * between + 4 * 5 * error) / (23 * error) == printed("1.634206")


# lme(yield ~ factor(rate), random = ~ 1 | rep)
def test_random_blocks(rice, printed):
    fit = fit_mixed("yield_kg_ha ~ C(rate)", rice, ["rep"])
    assert fit.variances["rep"] == printed("89593.66")
    assert fit.variances["residual"] == printed("110558.41")
    assert fit.reml_criterion / -2 == printed("-136.87227")
    # Balanced: the test is that of the analysis of variance.
    assert fit.test("rate").statistic == printed("2.16778")
    assert fit.test("rate").df_den == pytest.approx(15)
