"""Maize at Las Rosas with its points taken as independent, which they are not: least squares.

Bongiovanni and Lowenberg-DeBoer 2000; data set agridat `lasrosas.corn`, which stays outside the
project. R 4.2 (lm). Kept as checks of the arithmetic: the strips, not these points, are the units.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from trialkit.models import fit_mixed

POINTS = Path(__file__).parents[3].parent / "shared" / "data" / "lasrosas" / "lasrosas.txt"
QUADRATIC = "nitro + I(nitro**2)"

pytestmark = pytest.mark.skipif(
    not POINTS.exists(), reason="the Las Rosas points are not beside the project in ../shared"
)


@pytest.fixture(scope="module")
def season():
    points = pd.read_csv(POINTS, sep="\t")
    return lambda year: points[points["year"] == year]


def explained(fit, yields, parameters):
    """Return R squared."""
    left = fit.variances["residual"] * (len(yields) - parameters)
    return 1 - left / (yields.var() * (len(yields) - 1))


@pytest.mark.parametrize(
    ("column", "means"),
    [
        ("nf", ("59.09192", "62.81278", "64.19888", "64.73694", "68.17437", "68.36619")),
        ("topo", ("64.81614", "53.39432", "71.22338", "65.97202")),
    ],
)
def test_means_of_1999(season, printed, column, means):
    table = fit_mixed(f"yield ~ {column}", season(1999)).means(column)
    assert table["estimate"].to_list() == [printed(text) for text in means]


# lm(yield ~ nitro + I(nitro^2)); lm(yield ~ (nitro + I(nitro^2)) * topo), sum-to-zero contrasts
def test_curves_of_1999(season, printed):
    points = season(1999)
    fit = fit_mixed(f"yield ~ {QUADRATIC}", points)
    assert explained(fit, points["yield"], 3) == printed("0.126971")
    fit = fit_mixed(f"yield ~ ({QUADRATIC}) * C(topo, contr.sum)", points)
    assert fit.coefficients.loc["nitro", "estimate"] == printed("0.1153928")
    assert fit.coefficients.loc["I(nitro ** 2)", "estimate"] == printed("-0.0003577808")
    assert explained(fit, points["yield"], 12) == printed("0.6072655")


def test_curve_of_2001(season, printed):
    points = season(2001)
    assert fit_mixed("yield ~ 1", points).coefficients.loc["Intercept", "estimate"] == printed(
        "75.20029"
    )
    table = fit_mixed(f"yield ~ {QUADRATIC}", points).coefficients
    assert table.loc["nitro", "estimate"] == printed("0.0970910")
    assert table.loc["nitro", "p"] == printed("0.0557")
    assert table.loc["I(nitro ** 2)", "p"] == printed("0.32")
