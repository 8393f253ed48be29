"""Responses to rates, against published numbers.

Rice seed rates: Gomez and Gomez 1984, Statistical Procedures for Agricultural Research, 2nd ed.,
table 2.5, p. 26 (the optimum near 29 is in the notes of data set agridat `gomez.seedrate`). Maize
and nitrogen at Las Rosas 1999: Bongiovanni and Lowenberg-DeBoer 2000; prices of Anselin,
Bongiovanni and Lowenberg-DeBoer 2004, Am. J. Agric. Econ. 86:675-687; data set agridat
`lasrosas.corn`, which stays outside the project. More digits by R 4.2 (lm, aov).
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from trialkit.errors import ModelWarning
from trialkit.models import compare_shapes, rate_response

POINTS = Path(__file__).parents[3].parent / "shared" / "data" / "lasrosas" / "lasrosas.txt"
YIELDS = {
    25: (5113, 5398, 5307, 4678),
    50: (5346, 5952, 4719, 4264),
    75: (5272, 5713, 5483, 4749),
    100: (5164, 4831, 4986, 4410),
    125: (4804, 4848, 4432, 4748),
    150: (5254, 4542, 4919, 4098),
}
STRIPS = ("yield_kg_ha", "seed_kg_ha", "rep")


@pytest.fixture(scope="module")
def rice():
    rows = [
        (rate, f"R{rep}", value)
        for rate, values in YIELDS.items()
        for rep, value in enumerate(values, start=1)
    ]
    return pd.DataFrame(rows, columns=["seed_kg_ha", "rep", "yield_kg_ha"])


# lm(yield ~ rep + rate + I(rate^2))
def test_rice_quadratic(rice, printed):
    found = rate_response(rice, *STRIPS)
    estimates = found.coefficients["estimate"]
    assert estimates["slope"] == printed("2.0820")
    assert estimates["bend"] == printed("-0.035714286")
    assert found.best_rate == pytest.approx(29.148, abs=1e-3)  # from the rounded slope
    assert found.optimum_inside
    # F of linear and quadratic together, from their printed sums of squares 760034.80 and
    # 74404.76, is not significant once the rest is in the error: the optimum is not fixed.
    assert "these strips do not fix that" in found.sentence
    left = found.residual_sd**2 * 18
    assert left == printed(str(round(1658376.167 + 363891.27, 2)))
    assert found.statistic == pytest.approx((760034.80 + 74404.76) / 2 / (left / 18), rel=1e-6)


# summary(aov(yield ~ rep + factor(rate)), split = list(rate = list(linear = 1, quadratic = 2)))
def test_rice_lack_of_fit(rice, printed):
    table = compare_shapes(rice, *STRIPS)
    row = table.loc["quadratic"]
    assert row["lack_of_fit_f"] == printed("1.09713")
    assert row["lack_of_fit_df"] == 3
    assert row["lack_of_fit_p"] == printed("0.38087")


# lm(yield ~ nitro + I(nitro^2), subset(lasrosas.corn, year == 1999))
@pytest.mark.skipif(
    not POINTS.exists(), reason="the Las Rosas points are not beside the project in ../shared"
)
def test_las_rosas_by_points(printed):
    points = pd.read_csv(POINTS, sep="\t").query("year == 1999")
    with pytest.warns(ModelWarning, match=r"1738 rows for 6 values of 'nitro' look like points"):
        found = rate_response(points, "yield", "nitro", price_ratio=0.4348 / 6.85)
    table = found.coefficients
    for name, estimate, error in (
        ("intercept", "59.253308", "0.45061"),
        ("slope", "0.11300700", "0.015759"),
        ("bend", "-0.00032041388", "0.00011264"),
    ):
        assert table.loc[name, "estimate"] == printed(estimate)
        assert table.loc[name, "std_error"] == printed(error)
    assert found.residual_sd == printed("8.284105")
    assert found.best_rate == printed("77.29")
