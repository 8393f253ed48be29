"""What bad counts get: one message that names the column and says what to do."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError
from trialkit.models import fit_counts


@pytest.fixture
def plants():
    """Twelve counts of an invented trial: six blocks of two strips."""
    return pd.DataFrame(
        {
            "block": np.repeat(list("ABCDEF"), 2),
            "strip": range(12),
            "treatment": ["dressed", "untreated"] * 6,
            "plants": [31, 22, 28, 25, 40, 27, 35, 33, 29, 21, 38, 30],
            "area_m2": [0.25] * 12,
        },
        index=range(2, 14),
    )


def fit(data, **options):
    options = {"formula": "plants ~ treatment", "random": ["block"]} | options
    return fit_counts(options.pop("formula"), data, options.pop("random"), **options)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (-3, r"'plants' is -3 in row 5 \(1 such rows in all\), and a count cannot be below zero"),
        (22.5, r"'plants' is 22\.5 in row 5 .*whole numbers.*as exposure"),
        (2e6, r"'plants' is 2e\+06 in row 5 .*more than the 1,000,000 that anybody counts"),
        (np.inf, r"'plants' holds an infinite value in row 5"),
        ("many", r"'plants' holds both numbers and text, such as 'many' in row 5"),
    ],
)
def test_counts(plants, value, message):
    plants["plants"] = plants["plants"].astype(object if isinstance(value, str) else float)
    plants.loc[5, "plants"] = value
    with pytest.raises(ModelError, match=message):
        fit(plants)


def test_text_and_nothing_to_compare(plants):
    with pytest.raises(ModelError, match=r"'plants' should hold numbers but holds text"):
        fit(plants.assign(plants=plants["plants"].astype(str) + " plants"))
    with pytest.raises(ModelError, match=r"Every 'plants' is zero, so there is nothing to compare"):
        fit(plants.assign(plants=0))
    with pytest.raises(ModelError, match=r"Every 'plants' is 7\. Check that the right column"):
        fit(plants.assign(plants=7))
    with pytest.raises(ModelError, match=r"'treatment' holds only one value, 'dressed'"):
        fit(plants[plants["treatment"] == "dressed"])
    with pytest.raises(ModelError, match=r"2 counts are too few for the 2 coefficients"):
        fit(plants.iloc[:2], random=[])


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (0.0, r"The exposure 'area_m2' is 0 in row 7 .*must be above zero"),
        (-1.0, r"The exposure 'area_m2' is -1 in row 7 .*must be above zero"),
        (np.inf, r"'area_m2' holds an infinite value in row 7"),
    ],
)
def test_exposures(plants, value, message):
    plants.loc[7, "area_m2"] = value
    with pytest.raises(ModelError, match=message):
        fit(plants, exposure="area_m2")


def test_exposure_columns(plants):
    with pytest.raises(ModelError, match=r"names column 'area_m', .*Did you mean 'area_m2'"):
        fit(plants, exposure="area_m")
    with pytest.raises(ModelError, match=r"exposure=0\.25 is no column. Give the name"):
        fit(plants, exposure=0.25)
    with pytest.raises(ModelError, match=r"'block' should hold numbers but holds text"):
        fit(plants, exposure="block", random=[])


def test_text_in_the_exposure_names_the_row(plants):
    plants["area_m2"] = plants["area_m2"].astype(object)
    plants.loc[9, "area_m2"] = "a quarter"
    with pytest.raises(ModelError, match=r"'area_m2' holds both .*'a quarter' in row 9"):
        fit(plants, exposure="area_m2")


def test_too_few_strips_for_the_treatments(plants):
    three = plants.iloc[:6].assign(treatment=list("aabbcc"), strip=[1, 1, 2, 2, 3, 3])
    with pytest.raises(ModelError, match=r"'strip' cannot be told .* no replication to judge"):
        fit(three, random=["strip"])
    with pytest.raises(ModelError, match=r"'block' has only one group .*Leave it out"):
        fit(plants.iloc[:2])


def test_one_wild_count_is_spoken_of(plants):
    plants.loc[5, "plants"] = 25_000
    notes = " ".join(fit(plants).notes)
    assert "times as much as Poisson's" in notes
    assert "random term with one group a count" in notes


def test_empty_cells_are_left_out_and_counted(plants):
    plants["plants"] = plants["plants"].astype(float)
    plants.loc[3, "plants"] = np.nan
    plants.loc[8, "area_m2"] = np.nan
    found = fit(plants, exposure="area_m2")
    assert found.records == 10
    expected = "2 of 12 records left out for empty cells: 'plants' in 1, 'area_m2' in 1."
    assert found.notes[0] == expected


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"family": "poison"}, r"family='poison' is not known. Did you mean 'poisson'"),
        ({"df": "kenward-roger"}, r"df='kenward-roger' is not known. Give one of: containment"),
        (
            {"formula": "plants / area_m2 ~ treatment"},
            r"'plants' alone, and give exposure='area_m2'",
        ),
        ({"exposure": "plants"}, r"The exposure 'plants' is the count itself.*leave exposure out"),
        ({"family": "normal"}, r"family='normal' is not known. Give one of: poisson, negative"),
        ({"confidence": 95}, r"confidence=95 is no level"),
        ({"random": ["blok"]}, r"Did you mean 'block'"),
        ({"random": ["treatment"]}, r"'treatment' cannot be told from 'treatment'"),
        ({"random": ["block", "bay"]}, r"cannot tell apart 'block' and 'bay': they group"),
        ({"random": ["farm"]}, r"'farm' has only one group"),
        ({"formula": "plants ~ treatment + side"}, r"'treatment' cannot be told from the rest"),
    ],
)
def test_options(plants, options, message):
    data = plants.assign(bay=plants["block"], farm="home", side=plants["treatment"].str[0])
    with pytest.raises(ModelError, match=message):
        fit(data, **options)


def test_one_group_a_count_is_allowed(plants):
    assert fit(plants, random=["block", "strip"]).converged


def test_a_number_that_says_nothing_new_is_dropped_and_named(plants):
    data = plants.assign(depth_cm=np.arange(12) % 5, depth_in=np.arange(12) % 5 / 2.54)
    found = fit(data, formula="plants ~ treatment + depth_cm + depth_in")
    assert any("'depth_in'" in note for note in found.notes)
    assert list(found.ratios.index) == ["Intercept", "treatment[T.untreated]", "depth_cm"]


def test_an_arm_without_a_plant(plants):
    plants.loc[plants["treatment"] == "untreated", "plants"] = 0
    message = r"^All 6 counts of 'treatment' = 'untreated' are zero.*no standard error.*shuffle"
    for family in ("poisson", "negative-binomial"):
        with pytest.raises(ModelError, match=message):
            fit(plants, family=family)
        with pytest.raises(ModelError, match=message):
            fit(plants, family=family, random=[], exposure="area_m2")


def test_one_plant_is_enough(plants):
    plants.loc[plants["treatment"] == "untreated", "plants"] = [0, 0, 1, 0, 0, 0]
    found = fit(plants)
    assert found.rate_ratios("treatment", "dressed")["estimate"].item() == pytest.approx(1 / 201)


def test_a_combination_without_a_plant(plants):
    data = plants.assign(depth=np.repeat(["deep", "shallow"], 6))
    data.loc[(data["treatment"] == "dressed") & (data["depth"] == "deep"), "plants"] = 0
    with pytest.raises(ModelError, match=r"All counts of some combination .*\(3 rows: 2, 4, 6\)"):
        fit(data, formula="plants ~ treatment * depth", random=[])
    assert fit(data, formula="plants ~ treatment + depth", random=[]).converged


def test_unknown_labels(plants):
    found = fit(plants)
    with pytest.raises(ModelError, match=r"'treatment' has no level 'none'. It has: dressed"):
        found.rate_ratios("treatment", against="none")
    with pytest.raises(ModelError, match=r"The formula has no column 'treatmnt'. Did you mean"):
        found.means("treatmnt")
