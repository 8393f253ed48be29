"""What fit_mixed promises: shapes, names, notes and the plain linear model."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf

from trialkit.errors import ModelError, ModelWarning
from trialkit.models import FTest, MixedFit, fit_mixed
from trialkit.models import reml as search

#: Linear algebra two ways on well-conditioned data of this size.
ALGEBRA = 1e-9

COLUMNS = ["estimate", "std_error", "df", "t", "p", "low", "high"]


def test_shapes_and_names(strips):
    fit = fit_mixed("yield_t_ha ~ treatment", strips, ["block"])
    assert isinstance(fit, MixedFit)
    assert list(fit.coefficients.columns) == COLUMNS
    assert list(fit.coefficients.index) == ["Intercept", "treatment[T.untreated]"]
    assert list(fit.variances.index) == ["block", "residual"]
    assert list(fit.means("treatment").columns) == ["estimate", "std_error", "df", "low", "high"]
    assert list(fit.means("treatment").index) == ["dressed", "untreated"]
    assert list(fit.differences("treatment", against="untreated").columns) == COLUMNS
    assert list(fit.differences("treatment", against="untreated").index) == ["dressed"]
    assert list(fit.differences("treatment").index) == [("dressed", "untreated")]
    assert isinstance(fit.test("treatment"), FTest)
    assert (fit.converged, fit.at_boundary, fit.notes, fit.records) == (True, (), (), 12)
    with pytest.raises(AttributeError, match="cannot assign"):
        fit.converged = False


def test_one_contrast_is_one_contrast_everywhere(strips):
    fit = fit_mixed("yield_t_ha ~ treatment", strips, ["block"])
    row = fit.coefficients.iloc[1]
    found = fit.test("treatment")
    assert found.statistic == pytest.approx(row["t"] ** 2)
    assert found.df_den == pytest.approx(row["df"])
    assert found.p == pytest.approx(row["p"])
    other = fit.differences("treatment", against="dressed").loc["untreated"]
    assert other.to_numpy() == pytest.approx(row.to_numpy())


def test_complete_blocks_are_the_paired_t(strips):
    wide = strips.pivot_table("yield_t_ha", "block", "treatment")
    paired = sm.stats.DescrStatsW(wide["dressed"] - wide["untreated"])
    row = fit_mixed("yield_t_ha ~ treatment", strips, ["block"]).differences("treatment").iloc[0]
    t, p, df = paired.ttest_mean()
    assert row[["t", "p", "df"]].to_numpy() == pytest.approx([t, p, df])
    assert row[["low", "high"]].to_numpy() == pytest.approx(paired.tconfint_mean())


def test_without_random_terms_it_is_least_squares(uneven):
    fit = fit_mixed("value ~ treatment * slope", uneven, confidence=0.9)
    other = smf.ols("value ~ treatment * slope", uneven).fit()
    table = fit.coefficients
    assert fit.df_method == "residual"
    assert table["estimate"].to_numpy() == pytest.approx(other.params.to_numpy(), rel=ALGEBRA)
    assert table["std_error"].to_numpy() == pytest.approx(other.bse.to_numpy(), rel=ALGEBRA)
    assert table["p"].to_numpy() == pytest.approx(other.pvalues.to_numpy(), rel=ALGEBRA)
    assert table[["low", "high"]].to_numpy() == pytest.approx(other.conf_int(0.1).to_numpy())
    assert fit.variances["residual"] == pytest.approx(other.scale, rel=ALGEBRA)


def test_marginal_tests_against_statsmodels(uneven):
    data = uneven.assign(half=np.where(uneven["column"] < 3, "left", "right"))
    fit = fit_mixed("value ~ treatment * half + slope", data)
    other = sm.stats.anova_lm(
        smf.ols("value ~ C(treatment, Sum) * C(half, Sum) + slope", data).fit(), typ=3
    )
    for term, theirs in (
        ("treatment", "C(treatment, Sum)"),
        ("half", "C(half, Sum)"),
        ("treatment:half", "C(treatment, Sum):C(half, Sum)"),
        ("slope", "slope"),
    ):
        found = fit.test(term)
        assert found.statistic == pytest.approx(other.loc[theirs, "F"], rel=ALGEBRA)
        assert found.p == pytest.approx(other.loc[theirs, "PR(>F)"], rel=ALGEBRA)


def test_a_covariate_inside_an_interaction_is_tested_at_equal_weights(uneven):
    centred = uneven.assign(slope=uneven["slope"] - uneven["slope"].mean())
    fit = fit_mixed("value ~ treatment * slope", uneven)
    other = sm.stats.anova_lm(smf.ols("value ~ C(treatment, Sum) * slope", centred).fit(), typ=3)
    assert fit.test("slope").statistic == pytest.approx(other.loc["slope", "F"])
    assert fit.test("treatment").statistic == pytest.approx(other.loc["C(treatment, Sum)", "F"])


def test_means_average_the_other_labels_at_the_mean_covariate(uneven):
    data = uneven.assign(half=np.where(uneven["column"] < 3, "left", "right"))
    fit = fit_mixed("value ~ treatment + half + slope", data)
    beta = fit.coefficients["estimate"]
    base = beta["Intercept"] + beta["half[T.right]"] / 2 + beta["slope"] * data["slope"].mean()
    means = fit.means("treatment")["estimate"]
    assert means["a"] == pytest.approx(base)
    assert means["c"] == pytest.approx(base + beta["treatment[T.c]"])


def test_stated_order_of_labels_is_kept(strips):
    order = pd.CategoricalDtype(["untreated", "dressed", "never used"])
    data = strips.assign(treatment=strips["treatment"].astype(order))
    fit = fit_mixed("yield_t_ha ~ treatment", data, ["block"])
    assert list(fit.coefficients.index) == ["Intercept", "treatment[T.dressed]"]
    assert list(fit.means("treatment").index) == ["untreated", "dressed"]


def test_numbers_as_labels_and_flags(strips):
    data = strips.assign(rate=np.where(strips["treatment"] == "dressed", 1.5, 0.0))
    data["treated"] = data["rate"] > 0
    plain = fit_mixed("yield_t_ha ~ treatment", data, ["block"]).test("treatment")
    fit = fit_mixed("yield_t_ha ~ C(rate)", data, ["block"])
    assert list(fit.means("rate").index) == [0.0, 1.5]
    assert fit.test("rate").statistic == pytest.approx(plain.statistic)
    fit = fit_mixed("yield_t_ha ~ treated", data, ["block"])
    assert list(fit.means("treated").index) == [False, True]
    assert fit.test("treated").statistic == pytest.approx(plain.statistic)


def test_empty_cells_are_dropped_counted_and_named(strips):
    data = strips.copy()
    data.loc[[2, 7], "yield_t_ha"] = np.nan
    data.loc[7, "block"] = None
    fit = fit_mixed("yield_t_ha ~ treatment", data, ["block"])
    assert fit.records == 10
    assert fit.notes == (
        "2 of 12 records left out for empty cells: 'yield_t_ha' in 2, 'block' in 1.",
    )
    same = fit_mixed("yield_t_ha ~ treatment", strips.drop(index=[2, 7]), ["block"])
    assert fit.coefficients.to_numpy() == pytest.approx(same.coefficients.to_numpy())


def test_empty_cells_elsewhere_do_no_harm(strips):
    data = strips.assign(remark=None)
    assert fit_mixed("yield_t_ha ~ treatment", data, ["block"]).records == 12


def test_nullable_columns_are_plain_numbers(strips):
    data = strips.convert_dtypes()
    data.loc[3, "yield_t_ha"] = pd.NA
    fit = fit_mixed("yield_t_ha ~ treatment", data, ["block"])
    same = fit_mixed("yield_t_ha ~ treatment", strips.drop(index=3), ["block"])
    assert fit.coefficients.to_numpy() == pytest.approx(same.coefficients.to_numpy())


def test_one_random_term_as_text_is_one_term(strips):
    plain = fit_mixed("yield_t_ha ~ treatment", strips, "block")
    assert list(plain.variances.index) == ["block", "residual"]


def test_nested_names_make_the_same_groups(uneven):
    data = uneven.assign(cell=uneven["row"].astype(str) + "/" + uneven["column"].astype(str))
    nested = fit_mixed("value ~ treatment", data, ["row", "row:column"])
    named = fit_mixed("value ~ treatment", data, ["row", "cell"])
    assert nested.variances.to_numpy() == pytest.approx(named.variances.to_numpy())


def test_quoted_column_names_and_functions(strips):
    data = strips.rename(columns={"yield_t_ha": "grain yield"})
    fit = fit_mixed("np.log(`grain yield`) ~ treatment", data, ["block"])
    logged = strips.assign(logged=np.log(strips["yield_t_ha"]))
    same = fit_mixed("logged ~ treatment", logged, ["block"])
    assert fit.coefficients.to_numpy() == pytest.approx(same.coefficients.to_numpy())


def test_numbers_written_as_text_act_as_labels_and_it_is_said(strips):
    data = strips.assign(rate=["0", "2,5"] * 6)
    fit = fit_mixed("yield_t_ha ~ rate", data, ["block"])
    assert list(fit.means("rate").index) == ["0", "2,5"]
    assert fit.notes == ("Column 'rate' holds numbers written as text: its values act as labels.",)


def test_a_column_named_like_a_function_is_left_alone(strips):
    data = strips.assign(contr=np.nan)
    fit = fit_mixed("yield_t_ha ~ C(treatment, contr.treatment('untreated'))", strips, ["block"])
    assert fit.records == 12
    assert fit.differences("treatment", against="untreated").index == ["dressed"]
    assert (
        fit_mixed("yield_t_ha ~ np.log(block_m)", data.assign(block_m=range(1, 13))).records == 12
    )


def test_a_collinear_number_is_dropped_and_named(uneven):
    data = uneven.assign(slope_pct=100 * uneven["slope"] + 3)
    fit = fit_mixed("value ~ treatment + slope + slope_pct", data, ["row"])
    assert "slope_pct" not in fit.coefficients.index
    assert fit.notes == (
        "Left out of the formula, since earlier columns already say the same: 'slope_pct'.",
    )
    plain = fit_mixed("value ~ treatment + slope", data, ["row"])
    assert fit.coefficients.to_numpy() == pytest.approx(plain.coefficients.to_numpy())
    assert fit.test("treatment").statistic == pytest.approx(plain.test("treatment").statistic)


def test_map_coordinates_are_not_taken_for_collinear(uneven):
    data = uneven.assign(north=5_700_000 + uneven["slope"])
    fit = fit_mixed("value ~ treatment + north", data, ["row"])
    plain = fit_mixed("value ~ treatment + slope", data, ["row"])
    # Seven digits of a coordinate are the same for all records; nine are left.
    assert fit.coefficients.loc["north"].to_numpy() == pytest.approx(
        plain.coefficients.loc["slope"].to_numpy(), rel=1e-6
    )


def test_an_empty_combination_is_said(uneven):
    data = uneven.assign(half=np.where(uneven["column"] < 3, "left", "right"))
    data = data[(data["treatment"] != "c") | (data["half"] == "left")]
    fit = fit_mixed("value ~ treatment * half", data, ["row"])
    assert "'treatment[T.c]:half[T.right]'" in fit.notes[0]
    with pytest.raises(ModelError, match="cannot estimate the mean of 'c'"):
        fit.means("treatment")
    with pytest.raises(ModelError, match="cannot estimate 'c' less 'a'"):
        fit.differences("treatment", against="a")
    # What is left to test: a against b, and how that differs between the halves.
    assert fit.test("treatment:half").df_num == 1
    assert fit.test("treatment").df_num == 1


def test_zero_variance_is_an_answer(strips):
    data = strips.assign(other=np.tile(["x", "y", "z"], 4))
    fit = fit_mixed("yield_t_ha ~ treatment", data, ["block", "other"])
    assert fit.at_boundary == ("other",)
    assert fit.variances["other"] == 0
    assert fit.converged
    assert fit.notes == ("Variance estimated at zero: 'other'. The data show no such differences.",)


def test_a_search_that_does_not_end_is_said(strips, monkeypatch):
    monkeypatch.setattr(search, "MAX_STEPS", 1)
    with pytest.warns(ModelWarning, match="did not converge: do not use these figures"):
        fit = fit_mixed("yield_t_ha ~ treatment", strips, ["block"])
    assert not fit.converged
    assert "did not converge" in fit.notes[-1]


def test_satterthwaite_and_kenward_roger_agree_where_balanced(strips):
    one = fit_mixed("yield_t_ha ~ treatment", strips, ["block"], df="kenward-roger")
    two = fit_mixed("yield_t_ha ~ treatment", strips, ["block"], df="satterthwaite")
    assert (one.df_method, two.df_method) == ("kenward-roger", "satterthwaite")
    assert one.test("treatment").df_den == pytest.approx(two.test("treatment").df_den)


def test_terms_by_several_names(uneven):
    fit = fit_mixed("value ~ C(row) + treatment * slope", uneven)
    by_column, by_term = fit.test("row"), fit.test("C(row)")
    assert by_column == by_term
    assert fit.test("slope:treatment") == fit.test("treatment:slope")
    assert fit.test("Intercept").df_num == 1


def test_a_matrix_with_dependent_rows_counts_its_rank(uneven):
    fit = fit_mixed("value ~ treatment", uneven, ["row"])
    rows = [[0, 1, 0], [0, 0, 1], [0, 1, -1]]
    assert fit.test(rows).df_num == 2
    assert fit.test(rows).statistic == pytest.approx(fit.test("treatment").statistic)
