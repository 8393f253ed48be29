"""What bad input gets: one message that names the column and says what to do."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError
from trialkit.models import fit_mixed

FORMULA = "yield_t_ha ~ treatment"


def changed(table, rows, column, value):
    table = table.copy()
    table[column] = table[column].astype(object) if isinstance(value, str) else table[column]
    table.loc[rows, column] = value
    return table


def test_no_table(strips):
    with pytest.raises(ModelError, match=r"a list, not a table. Give a pandas DataFrame"):
        fit_mixed(FORMULA, [1, 2, 3])
    with pytest.raises(ModelError, match=r"The table is empty. Give one row for each strip"):
        fit_mixed(FORMULA, strips.iloc[:0])


@pytest.mark.parametrize(
    ("formula", "message"),
    [
        ("yield_t_ha ~ treatmnt", "names column 'treatmnt'.*Did you mean 'treatment'"),
        ("yeld ~ treatment", "names column 'yeld', which is not in the table"),
        ("yield_t_ha ~ treatment + (", "cannot be read.*Write it like 'yield_t_ha ~ treatment'"),
        ("treatment", "no response before a '~'"),
        ("~ treatment", "no response before a '~'"),
        ("yield_t_ha + strip ~ treatment", "more than one response"),
        ("yield_t_ha ~ treatment | block", "more than one response or more than one part"),
        ("yield_t_ha ~ 0", "nothing to estimate"),
        ("1 ~ treatment", "names no column"),
        ("yield_t_ha ~ log(block)", "cannot be worked out"),
    ],
)
def test_formulas(strips, formula, message):
    with pytest.raises(ModelError, match=message):
        fit_mixed(formula, strips)


@pytest.mark.parametrize(
    ("random", "message"),
    [
        (["blok"], "random term 'blok' names column 'blok'.*Did you mean 'block'"),
        (["block:strp"], "random term 'block:strp' names column 'strp'"),
        (["block", "block"], "given twice"),
        (["block:"], "no random term"),
        ([3], "no random term"),
        (["strip"], "Every record is its own 'strip'.*Leave 'strip' out"),
        (["block", "block:strip"], "Every record is its own 'block:strip'"),
        (["treatment"], "'treatment' cannot be told from 'treatment'"),
    ],
)
def test_random_terms(strips, random, message):
    with pytest.raises(ModelError, match=message):
        fit_mixed(FORMULA, strips, random)


def test_one_group_only(strips):
    with pytest.raises(ModelError, match=r"random term 'farm' has only one group"):
        fit_mixed(FORMULA, strips.assign(farm="home"), ["farm"])


def test_two_random_terms_alike(strips):
    data = strips.assign(bay=strips["block"].str.lower())
    with pytest.raises(ModelError, match=r"cannot tell apart 'block' and 'bay'.*Keep one"):
        fit_mixed(FORMULA, data, ["block", "bay"])


def test_too_few_records_for_a_random_term():
    data = pd.DataFrame(
        {"treatment": list("aab"), "block": [1, 1, 2], "yield_t_ha": [2.0, 2.5, 3.0]}
    )
    with pytest.raises(ModelError, match=r"'block' cannot be told from 'treatment'"):
        fit_mixed(FORMULA, data, ["block"])


@pytest.mark.parametrize("value", [np.inf, -np.inf])
def test_infinite_values(strips, value):
    with pytest.raises(ModelError, match=r"'yield_t_ha' holds an infinite value in row 3"):
        fit_mixed(FORMULA, changed(strips, 3, "yield_t_ha", value), ["block"])
    data = changed(strips.assign(elevation_m=1.0 * strips.index), 3, "elevation_m", value)
    with pytest.raises(ModelError, match=r"'elevation_m' holds an infinite value in row 3"):
        fit_mixed(FORMULA + " + elevation_m", data, ["block"])


def test_infinite_values_in_columns_not_used_do_no_harm(strips):
    data = strips.assign(elevation_m=np.inf)
    assert fit_mixed(FORMULA, data, ["block"]).records == 12


def test_text_in_the_response(strips):
    text = strips.assign(yield_t_ha=strips["yield_t_ha"].map("{:.2f}".format))
    with pytest.raises(ModelError, match=r"'yield_t_ha' holds numbers written as text"):
        fit_mixed(FORMULA, text)
    comma = text.assign(yield_t_ha=text["yield_t_ha"].str.replace(".", ","))
    with pytest.raises(ModelError, match=r"holds text, such as '\d,\d+' in row 0.*decimal point"):
        fit_mixed(FORMULA, comma)
    with pytest.raises(ModelError, match=r"'yield_t_ha' holds both numbers and text"):
        fit_mixed(FORMULA, changed(strips, 4, "yield_t_ha", "n/a"))


def test_text_in_a_covariate(strips):
    data = strips.assign(elevation_m=[f"{200 + number},5" for number in range(12)])
    with pytest.raises(ModelError, match=r"'elevation_m' holds text with 12 different values"):
        fit_mixed(FORMULA + " + elevation_m", data)


def test_numbers_among_labels(strips):
    data = strips.assign(treatment=[0, "dressed"] * 6)
    with pytest.raises(ModelError, match=r"'treatment' holds both numbers and text"):
        fit_mixed(FORMULA, data)


def test_constant_response(strips):
    with pytest.raises(ModelError, match=r"same response, 3.*nothing to analyse"):
        fit_mixed(FORMULA, strips.assign(yield_t_ha=3.0), ["block"])


def test_response_explained_by_the_formula(strips):
    data = strips.assign(yield_t_ha=np.where(strips["treatment"] == "dressed", 3.3, 3.0))
    with pytest.raises(ModelError, match=r"reproduces every record exactly"):
        fit_mixed(FORMULA, data, ["block"])


def test_records_repeated_inside_groups(strips):
    data = pd.concat([strips] * 5)
    with pytest.raises(
        ModelError, match=r"Inside the groups of 'block' and 'strip' the records do"
    ):
        fit_mixed(FORMULA, data, ["block", "strip"])


def test_one_treatment_only(strips):
    data = strips[strips["treatment"] == "dressed"]
    with pytest.raises(ModelError, match=r"'treatment' holds only one value, 'dressed'"):
        fit_mixed(FORMULA, data)
    lost = strips.copy()
    lost.loc[lost["treatment"] == "untreated", "yield_t_ha"] = np.nan
    with pytest.raises(ModelError, match=r"'treatment' holds only one value, 'dressed'"):
        fit_mixed(FORMULA, lost, ["block"])


def test_one_value_of_numbers_as_labels(strips):
    with pytest.raises(ModelError, match=r"'rate' holds only one value, '2'"):
        fit_mixed("yield_t_ha ~ C(rate)", strips.assign(rate=2))


def test_no_complete_record(strips):
    data = strips.assign(yield_t_ha=np.nan)
    with pytest.raises(ModelError, match=r"No record is complete.*'yield_t_ha' in 12"):
        fit_mixed(FORMULA, data)


@pytest.mark.parametrize("formula", ["yield_t_ha ~ {} + {}", "yield_t_ha ~ {1} + {0}"])
def test_treatment_in_blocks_of_its_own(strips, formula):
    data = strips.assign(half=strips["treatment"].map({"dressed": "east", "untreated": "west"}))
    with pytest.raises(ModelError, match=r"cannot be told from the rest of the formula"):
        fit_mixed(formula.format("treatment", "half"), data)


@pytest.mark.parametrize("order", ["treatment + block", "block + treatment"])
def test_blocks_inside_treatments_as_fixed_effects(strips, order):
    data = strips.sort_values("treatment", ignore_index=True)
    data["block"] = np.repeat(["B1", "B2", "B3", "B4", "B5", "B6"], 2)
    with pytest.raises(ModelError, match=r"'treatment' cannot be told from the rest"):
        fit_mixed(f"yield_t_ha ~ {order}", data)
    # Random blocks inside treatments are the honest error.
    assert fit_mixed(FORMULA, data, ["block"]).test("treatment").df_den == pytest.approx(4)


def test_one_strip_a_treatment(strips):
    points = pd.concat([strips.iloc[:2]] * 30, ignore_index=True)
    points["yield_t_ha"] += np.random.default_rng(0).normal(0, 0.1, 60)
    message = "'strip' cannot be told from 'treatment'.*no replication to judge it by"
    with pytest.raises(ModelError, match=message):
        fit_mixed(FORMULA, points, ["strip"])


def test_more_coefficients_than_records(strips):
    with pytest.raises(ModelError, match=r"2 records are too few for the 2 coefficients"):
        fit_mixed(FORMULA, strips.iloc[:2])
    data = strips.assign(plot=list("aabbccddeeff"))
    with pytest.raises(ModelError, match=r"12 records are too few for the 12 coefficients"):
        fit_mixed("yield_t_ha ~ plot * treatment", data)


def test_logarithm_of_nothing(strips):
    data = changed(strips, 5, "yield_t_ha", 0.0)
    with pytest.raises(ModelError, match=r"has no finite value in row 5.*above zero"):
        fit_mixed("np.log(yield_t_ha) ~ treatment", data)
    data = strips.assign(gap_m=1.0 * strips.index)
    with pytest.raises(ModelError, match=r"'np.log\(gap_m\)' has no finite value in row 0"):
        fit_mixed(FORMULA + " + np.log(gap_m)", data)


def test_a_column_twice(strips):
    data = pd.concat([strips, strips[["treatment"]]], axis=1)
    with pytest.raises(ModelError, match=r"'treatment' stands 2 times in the table"):
        fit_mixed(FORMULA, data)


@pytest.mark.parametrize("confidence", [0, 1, 95])
def test_confidence(strips, confidence):
    with pytest.raises(ModelError, match=r"Give a share between 0 and 1"):
        fit_mixed(FORMULA, strips, confidence=confidence)


def test_unknown_method(strips):
    with pytest.raises(ModelError, match=r"df='kr' is not known. Give one of: kenward-roger"):
        fit_mixed(FORMULA, strips, ["block"], df="kr")


@pytest.fixture
def fit(strips):
    data = strips.assign(slope=np.random.default_rng(1).normal(size=12))
    return fit_mixed(FORMULA + " * slope", data, ["block"])


def test_questions_the_fit_cannot_answer(fit):
    with pytest.raises(ModelError, match=r"no column 'treatmen'. Did you mean 'treatment'"):
        fit.means("treatmen")
    with pytest.raises(ModelError, match=r"'slope' acts as a number.*Write C\(slope\)"):
        fit.means("slope")
    with pytest.raises(ModelError, match=r"no level 'undressed'. It has: dressed, untreated"):
        fit.differences("treatment", against="undressed")
    with pytest.raises(ModelError, match=r"no such term. Its terms are: 1, treatment, slope"):
        fit.test("block")
    with pytest.raises(ModelError, match=r"2 columns, but the model has 4 coefficients"):
        fit.test([[1, 0]])
    with pytest.raises(ModelError, match=r"Nothing of .* can be estimated"):
        fit.test([[0, 0, 0, 0]])


def test_a_bend_inside_an_interaction(uneven):
    fit = fit_mixed("value ~ treatment * poly(slope, 2)", uneven)
    with pytest.raises(ModelError, match=r"bends.*Give test\(\) a matrix"):
        fit.test("poly(slope, 2)")
    assert fit.test("treatment:poly(slope, 2)").df_num == 4


def test_the_formula_sees_no_names_of_ours_or_of_the_caller(strips):
    weather = np.arange(12.0)  # noqa: F841
    with pytest.raises(ModelError, match=r"'weather', which is not in the table"):
        fit_mixed(FORMULA + " + weather", strips)


def test_more_groups_than_memory_holds():
    rng = np.random.default_rng(0)
    place = np.repeat(np.arange(3100), 2)
    data = pd.DataFrame({"place": place, "treatment": np.array(["a", "b"])[place % 2]})
    data["yield_t_ha"] = rng.normal(size=6200)
    with pytest.raises(ModelError, match=r"'place' make 3100 groups.*average the records"):
        fit_mixed(FORMULA, data, ["place"])
