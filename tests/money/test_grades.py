"""Price by grade: limits, missing measures, and the chance of each grade."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.money import (
    Grade,
    expected_price,
    grade_chances,
    payoff,
    price_by_grade,
    price_gain_between,
)

#: An invented table, in the way buyers write one.
GRADES = (
    Grade(name="feed", price_per_t=240),
    Grade(name="milling", price_per_t=310, least_protein_pct=11.5, most_screenings_pct=5,
          least_test_weight_kg_hl=76),
    Grade(name="general", price_per_t=280, least_protein_pct=10, most_screenings_pct=10),
    Grade(name="soft", price_per_t=300, most_protein_pct=9.5, most_screenings_pct=5),
)  # fmt: skip
# Two million draws: four standard errors of a share near one half.
DRAWS = 2_000_000
SIMULATED = 4 * 0.5 / math.sqrt(DRAWS)


def grain(protein, screenings=3.0, test_weight=78.0):
    return pd.DataFrame(
        {
            "strip": ["S1"],
            "protein_pct": [protein],
            "screenings_pct": [screenings],
            "test_weight_kg_hl": [test_weight],
        }
    )


@pytest.mark.parametrize(
    ("quality", "grade", "price"),
    [
        (grain(12), "milling", 310),
        (grain(11.5, 5, 76), "milling", 310),  # limits belong to the grade
        (grain(11.49), "general", 280),
        (grain(12, 5.1), "general", 280),
        (grain(12, 3, 75.9), "general", 280),
        (grain(9.5), "soft", 300),
        (grain(9.6), "feed", 240),
        (grain(12, 30), "feed", 240),
    ],
)
def test_the_best_paid_grade_it_makes(quality, grade, price):
    for order in (GRADES, GRADES[::-1]):
        graded = price_by_grade(quality, order)
        assert graded["grade"].item() == grade
        assert graded["price_per_t"].item() == price


def test_only_measures_with_limits_are_needed():
    plain = (Grade(name="a", price_per_t=300, least_protein_pct=11), Grade(name="b", price_per_t=2))
    quality = pd.DataFrame({"protein_pct": [11.2, 10.9]})
    assert price_by_grade(quality, plain)["grade"].tolist() == ["a", "b"]
    one = price_by_grade(pd.DataFrame({"strip": ["S1"]}), [Grade(name="only", price_per_t=9)])
    assert one["price_per_t"].tolist() == [9]


@pytest.mark.parametrize(
    ("quality", "message"),
    [
        (grain(12).drop(columns="screenings_pct"), "limits on screenings_pct.*no such column"),
        (grain(math.nan), "protein_pct of S1 is 'nan'"),
        (grain(-1), "protein_pct of S1 is '-1'"),
        (grain(115), "number from 0 to 40"),
        (grain("n/a"), "protein_pct of S1 is 'n/a'"),
    ],
)
def test_quality_that_cannot_be_graded(quality, message):
    with pytest.raises(MoneyError, match=message):
        price_by_grade(quality, GRADES)


def test_grain_that_makes_no_grade():
    with pytest.raises(MoneyError, match=r"No grade takes S1 \(protein_pct 9.*without limits"):
        price_by_grade(grain(9), [Grade(name="milling", price_per_t=310, least_protein_pct=11.5)])


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"price_per_t": 0}, "price of grade 'g' is 0"),
        ({"price_per_t": math.nan}, "price of grade 'g' is nan"),
        ({"price_per_t": 1, "least_protein_pct": -2}, "limit of protein_pct in grade 'g' is -2"),
        ({"price_per_t": 1, "most_screenings_pct": math.nan}, "limit of screenings_pct"),
        (
            {"price_per_t": 1, "least_protein_pct": 12, "most_protein_pct": 10},
            "from 12 up to 10. Swap them",
        ),
    ],
)
def test_grades_that_make_no_sense(given, message):
    with pytest.raises(MoneyError, match=message):
        Grade(name="g", **given)


def test_a_table_without_grades_or_with_one_twice():
    with pytest.raises(MoneyError, match="There are no grades"):
        price_by_grade(grain(12), [])
    with pytest.raises(MoneyError, match="grade 'feed' stands twice"):
        price_by_grade(grain(12), [GRADES[0], GRADES[0]])


def test_chances_of_grades_against_draws():
    means = {
        "protein_pct": (11.3, 0.4),
        "screenings_pct": (4.6, 0.8),
        "test_weight_kg_hl": (76.5, 0.7),
    }
    table = grade_chances(means, GRADES, df=10).set_index("grade")
    draw = np.random.default_rng(8)
    protein, screenings, weight = (
        mean + error * draw.standard_t(10, DRAWS) for mean, error in means.values()
    )
    milling = (protein >= 11.5) & (screenings <= 5) & (weight >= 76)
    soft = (protein <= 9.5) & (screenings <= 5)
    general = (protein >= 10) & (screenings <= 10) & ~milling
    assert table["chance"]["milling"] == pytest.approx(milling.mean(), abs=SIMULATED)
    assert table["chance"]["soft"] == pytest.approx(soft.mean(), abs=SIMULATED)
    assert table["chance"]["general"] == pytest.approx(general.mean(), abs=SIMULATED)
    assert table["chance"].sum() == pytest.approx(1, abs=1e-12)


def test_chance_of_a_grade_with_one_limit_is_the_t_distribution():
    grades = [Grade(name="a", price_per_t=310, least_protein_pct=11.5), GRADES[0]]
    table = grade_chances({"protein_pct": (11.3, 0.4)}, grades, df=6)
    assert table["chance"][0] == pytest.approx(stats.t.sf(0.5, 6), abs=1e-12)
    mean, spread = expected_price(table)
    chance = table["chance"][0]
    assert mean == pytest.approx(240 + 70 * chance)
    assert spread == pytest.approx(70 * math.sqrt(chance * (1 - chance)))


def test_quality_known_exactly_has_one_grade():
    known = {"protein_pct": (12, 0), "screenings_pct": (3, 0), "test_weight_kg_hl": (78, 0)}
    table = grade_chances(known, GRADES)
    assert table["chance"].tolist() == [1, 0, 0, 0]
    assert expected_price(table) == (310, 0)


@pytest.mark.parametrize(
    ("means", "df", "message"),
    [
        ({}, 5, "limits on protein_pct. Give its mean"),
        ({"protein_pct": (11, -1)}, 5, "standard error of protein_pct is -1"),
        ({"protein_pct": (math.nan, 1)}, 5, "mean of protein_pct is nan"),
        ({"protein_pct": (11, 1)}, 0, "degrees of freedom are 0"),
    ],
)
def test_chances_that_make_no_sense(means, df, message):
    grades = [Grade(name="a", price_per_t=310, least_protein_pct=11.5), GRADES[0]]
    with pytest.raises(MoneyError, match=message):
        grade_chances(means, grades, df)


def test_expected_money_through_grade_by_hand():
    # The treated grain makes 310 with a chance of one half, else 260; the control's makes 260.
    grades = [
        Grade(name="a", price_per_t=310, least_protein_pct=11),
        Grade(name="b", price_per_t=260),
    ]
    treated = grade_chances({"protein_pct": (11.0, 0.3)}, grades)
    control = grade_chances({"protein_pct": (9.0, 0)}, grades)
    gain = price_gain_between(treated, control, 2.8)
    answer = payoff(0.1, 0.05, 8, price_per_t=260, cost_per_ha=20, price_gain=gain)
    # Half of (2.9 x 310 - 2.8 x 260), half of 0.1 x 260, less 20.
    assert answer.net_per_ha == pytest.approx((171 + 26) / 2 - 20)
    with pytest.raises(MoneyError, match="control's yield is -1"):
        price_gain_between(treated, control, -1)
