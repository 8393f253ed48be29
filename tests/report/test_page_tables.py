from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from trialkit.harvest import PassEnds, Screening
from trialkit.language import speaking
from trialkit.money import partial_budget
from trialkit.report import page_tables, table_captions
from trialkit.result import InputFile


def cells(piece):
    """Return the rows of a table, heading first, as text."""
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", piece.html(), re.S)
    found = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S) for row in rows]
    return [row for row in found if row]


@pytest.fixture
def estimates():
    return pd.DataFrame(
        {"estimate": [0.2], "std_error": [0.05], "df": [5.0], "t": [4.0], "p": [0.0103]}
        | {"low": [0.0717], "high": [0.3283]},
        index=["Dressed"],
    )


def test_strips_are_listed_in_counting_order(strips):
    rows = cells(page_tables.strip_rows(strips.iloc[::-1]))
    headings = "Strip|Block|Treatment|Yield, t/ha|Area cut, ha|Records|Moisture, %"
    assert rows[0] == headings.split("|")
    assert [row[0] for row in rows[1:]] == [f"S{n}" for n in range(1, 13)]
    assert rows[1][3] == "4.009"


def test_a_strip_without_a_yield_has_a_dash(strips):
    strips.loc[0, "yield_t_ha"] = float("nan")
    assert cells(page_tables.strip_rows(strips))[1][3] == "–"


def test_columns_that_are_not_there_are_left_out(strips):
    rows = cells(page_tables.strip_rows(strips[["strip", "treatment", "yield_t_ha"]]))
    assert rows[0] == ["Strip", "Treatment", "Yield, t/ha"]


def test_estimates(estimates):
    piece = page_tables.estimates("differences", estimates, confidence=0.9)
    assert " ".join(cells(piece)[1]) == "Dressed 0.200 0.050 5.00 4.00 0.010 0.072 0.328"
    assert "Low and high: 90% interval." in piece.html()


def test_one_gain_needs_no_second_interval(estimates):
    piece = page_tables.gains(estimates, None, confidence=0.95)
    assert piece.html() == page_tables.estimates("differences", estimates, confidence=0.95).html()


def test_several_gains_have_their_intervals_together(estimates):
    together = estimates.assign(low=0.05, high=0.35, p=0.0204)
    piece = page_tables.gains(estimates, together, confidence=0.9)
    heading, row = cells(piece)[:2]
    assert heading[-3:] == ["p, together", "Low, together", "High, together"]
    assert " ".join(row) == "Dressed 0.200 0.050 5.00 0.010 0.072 0.328 0.020 0.050 0.350"
    assert "90% that all of them hold at once (multivariate t)" in piece.html()


def test_methods_stand_below_the_main_analysis_of_their_treatment(compare, check):
    comparisons = [compare(treatment="A"), compare(treatment="B")]
    checks = [check(treatment="A", method="by records"), check(treatment="B", low=None, p=None)]
    rows = cells(page_tables.methods(comparisons, checks))
    assert [row[0] for row in rows[1:5]] == ["A", "A", "B", "B"]
    assert rows[1][1].endswith("(main analysis)")
    assert rows[2][1] == "by records"
    assert rows[4][3:] == ["–", "0.330", "–"]


def test_money_carries_the_currency(compare):
    rows = cells(page_tables.money([compare()], currency="CAD"))
    assert "Net, CAD/ha" in rows[0]
    assert rows[1][3] == "30.00"
    assert rows[1][-1] == "paid"


def test_a_budget_says_what_is_dominated():
    given = pd.DataFrame(
        {
            "treatment": ["none", "half", "full"],
            "yield_t_ha": [3.0, 3.2, 3.2],
            "price_per_t": 250.0,
            "costs_per_ha": [0.0, 20.0, 40.0],
        }
    )
    rows = cells(page_tables.budget(partial_budget(given), currency="AUD"))
    assert [row[5] for row in rows[1:4]] == ["no", "no", "yes"]
    assert [row[6] for row in rows[1:4]] == ["–", "150", "–"]


def test_the_screening_account(screening):
    rows = cells(page_tables.left_out_rows(screening))
    assert rows[1] == ["pass end", "1,240", "6.20"]


def test_the_screening_account_with_ground_and_grain(screening):
    known = screening.assign(area_ha=[2.5, 1.25, np.nan], grain_t=[7.5, 3.0, np.nan])
    rows = cells(page_tables.left_out_rows(known))
    assert rows[0][-2:] == ["Area cut, ha", "Grain, t"]
    assert rows[1] == ["pass end", "1,240", "6.20", "2.500", "7.50"]
    assert rows[3][-2:] == ["–", "–"]


def test_the_gain_under_other_screenings():
    levels = ["none", "light", "default", "hard"]
    table = pd.DataFrame({"level": levels, "treatment": "Dressed", "share_pct": [0, 1, 6, 11.0]})
    table = table.assign(gain_t_ha=[0.1, 0.2, 0.2, np.nan], low_t_ha=-0.1, high_t_ha=0.4)
    table = table.assign(chance_paid=0.5, verdict=["paid", "paid", "paid", ""])
    rows = cells(page_tables.sensitivity(table, confidence=0.95))
    assert rows[0][:3] == ["Screening", "Left out, %", "Gain, t/ha"]
    assert rows[3][:3] == ["as declared (main analysis)", "6.0", "0.200"]
    assert rows[4][2] == "–"
    assert rows[4][-1] == "too little left to compare"
    two = pd.concat([table, table.assign(treatment="Other")])
    assert "Treatment" in cells(page_tables.sensitivity(two, confidence=0.95))[0]


def test_limits_that_were_found_and_rules_that_were_chosen():
    def shown(*given):
        return {key: value for _, value, key in cells(page_tables.settings(*given))[1:]}

    ends = PassEnds(9.0, 6.0, True, True, pd.DataFrame(), 40)
    usual = shown(Screening().model_dump(), ends)
    assert usual["pass_start_s"] == "found: 9"
    assert usual["pass_end_s"] == "found: 6"
    assert usual["rules"] == "all, in their usual order"
    fewer = shown(Screening(rules=("turning", "overlap"), pass_start_s=12).model_dump())
    assert (fewer["rules"], fewer["pass_start_s"]) == ("turning, overlap", "12")
    assert shown({"rules": ()})["rules"] == "none"


def test_settings_inputs_and_versions():
    slowest = ["slowest speed at which the machine harvests, m/s", "0.5", "speed_low_m_s"]
    assert cells(page_tables.settings({"speed_low_m_s": 0.5}))[1] == slowest
    assert set(table_captions.LIMIT_WORDS) == set(Screening.model_fields)
    assert cells(page_tables.inputs([InputFile("a.csv", "ff")]))[1] == ["a.csv", "ff"]
    assert cells(page_tables.versions({"numpy": "2.0"}))[1] == ["numpy", "2.0"]


def test_headings_are_headers_and_nothing_is_fetched(strips, estimates):
    for piece in (
        page_tables.strip_rows(strips),
        page_tables.estimates("means", estimates, confidence=0.95),
    ):
        markup = piece.html()
        assert '<th class="gt_col_heading' in markup
        assert 'scope="col"' in markup
        assert not re.search(r"https?:|@import|<style|<script|<link", markup)


def test_text_from_data_is_shown_as_text(strips, estimates, check, compare):
    bad = "<script>alert(1)</script>{{x}}"
    estimates.index = [bad]
    pieces = (
        page_tables.strip_rows(strips.replace({"Dressed": bad, "S1": bad, "B1": bad})),
        page_tables.estimates("means", estimates, confidence=0.95),
        page_tables.methods([compare(treatment=bad)], [check(treatment=bad, method=bad)]),
        page_tables.money([compare(treatment=bad)], currency="AUD"),
        page_tables.left_out_rows(
            pd.DataFrame({"reason": [bad], "records": [1], "share_pct": [1.0]})
        ),
        page_tables.inputs([InputFile(bad, bad)]),
    )
    for piece in pieces:
        assert "<script" not in piece.html()
        assert "&lt;script&gt;alert(1)&lt;/script&gt;{{x}}" in piece.html()


def test_a_table_in_another_language(compare, german):
    words = {
        "Treatment": "Variante",
        "Break-even, t/ha": "Kostendeckend, t/ha",
        "Net, {currency}/ha": "Netto, {currency}/ha",
        "What the gain is worth": "Was er wert ist",
        "did not pay": "hat sich nicht gelohnt",
    }
    comparison = compare(-6.0, cost=20)
    with speaking(german(words)):
        piece = page_tables.money([comparison], currency="AUD")
    heading, row = cells(piece)
    assert heading[:2] == ["Variante", "Kostendeckend, t/ha"]
    assert "Netto, AUD/ha" in heading
    # Net is -6 t/ha at 250 AUD/t less the cost of 20.
    assert row[:4] == ["Dressed", "0,080", "−6,000", "−1.520,00"]
    assert row[-1] == "hat sich nicht gelohnt"
    assert "Was er wert ist" in piece.html()
    assert comparison.verdict == "did not pay"


def test_reasons_and_levels_are_said_in_tables_and_stay_codes_in_the_data(screening, german):
    before = screening.copy()
    with speaking(german({"outside the strips": "außerhalb", "none": "keine", "block": "Block"})):
        rows = cells(page_tables.left_out_rows(screening))
        limits = cells(page_tables.settings({"rules": (), "speed_low_m_s": 0.5}))
        spread = cells(page_tables.variances(pd.Series({"block": 0.25, "Untreated": 0.0})))
    assert [row[:2] for row in rows[2:3]] == [["außerhalb", "610"]]
    assert [row[1] for row in limits[1:]] == ["keine", "0,5"]
    assert spread[1:] == [["Block", "0,25000"], ["Untreated", "0,00000"]]
    pd.testing.assert_frame_equal(screening, before)
