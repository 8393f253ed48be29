"""Pictures and words of money: what they draw and say, at every answer and edge."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trialkit.errors import MoneyError
from trialkit.money import (
    TrialCost,
    break_even_curve,
    likely_prices,
    next_step,
    rank_treatments,
    season_risk,
)
from trialkit.report import money_captions
from trialkit.report import money_words as words
from trialkit.report.money_pictures import break_even_picture, next_step_picture

FARM = {
    "price_per_t": 300.0, "cost_per_ha": 20.0, "area_ha": 400, "seasons": 5, "pairs": 6,
    "trial": TrialCost(labour_per_h=50),
}  # fmt: skip
AGAIN, USE, STOP = (0.10, 0.07, 5), (0.30, 0.07, 5), (-0.10, 0.03, 5)


def drawn_curve(estimate, price_range=None):
    curve = break_even_curve(*estimate, likely_prices(300, price_range))
    return break_even_picture(
        curve, price_per_t=300, cost_per_ha=20, currency="AUD", price_range=price_range
    )


def test_the_three_zones_fill_the_picture():
    picture = drawn_curve(AGAIN, (220, 380))
    zones = picture.plot.data
    assert set(zones["zone"]) == {"paid", "not settled", "did not pay"}
    heights = (zones["high"] - zones["low"]).groupby(zones["price_per_t"]).sum()
    np.testing.assert_allclose(heights, zones["high"].max())
    assert "Your price is 300, your cost 20." in picture.alt
    assert "at 180 AUD/t" in picture.alt
    assert picture.drawn("svg") == picture.drawn("svg")


@pytest.mark.parametrize(
    ("estimate", "said"),
    [
        ((-0.15, 0.05, 8), "did not pay at any cost"),
        ((0.4, 0.05, 10), "paid up to 60, not settled up to 84, even at 72"),
        ((0.02, 0.2, 3), "at 180 AUD/t not settled up to 63, even at 4"),
        ((-0.02, 0.1, 5), "AUD/t not settled up to 23;"),
    ],
)
def test_every_kind_of_ground(estimate, said):
    picture = drawn_curve(estimate)
    assert said in picture.alt
    assert len(picture.drawn("png")) > 5000


def test_what_one_more_trial_costs_and_brings():
    step = next_step(*AGAIN, **FARM)
    picture = next_step_picture(step, "AUD")
    lines = picture.plot.data
    brings = lines[lines["what"] == money_captions.BRINGS]
    assert brings["money"].tolist() == step.table["benefit"].tolist()
    assert f"Marked: {step.pairs} pairs." in picture.alt
    assert "nine tenths" in picture.caption
    assert picture.drawn("svg") == picture.drawn("svg")


@pytest.mark.parametrize("estimate", [USE, STOP])
def test_no_trial_is_marked_where_none_is_worth_it(estimate):
    picture = next_step_picture(next_step(*estimate, **FARM), "AUD")
    assert "No trial brings what it costs." in picture.alt
    assert "Marked" not in picture.caption
    assert len(picture.drawn("png")) > 5000


def test_one_size_of_trial_and_none():
    one = next_step(*AGAIN, **{**FARM, "area_ha": 9})
    picture = next_step_picture(one, "AUD")
    assert picture.alt.count("pairs cost") == 1
    assert len(picture.drawn("png")) > 3000
    with pytest.raises(MoneyError, match="no room for a trial"):
        next_step_picture(next_step(*AGAIN, **{**FARM, "area_ha": 4}), "AUD")


@pytest.mark.parametrize(
    ("estimate", "headline"),
    [
        (AGAIN, "Test Dressed again: 12 pairs of strips next season."),
        (
            USE,
            "Use Dressed: another trial is not worth its cost, as long as other seasons are "
            "like this one.",
        ),
        (
            STOP,
            "Stop: leave Dressed out. Another trial is not worth its cost, as long as other "
            "seasons are like this one.",
        ),
    ],
)
def test_the_answer_comes_first_and_the_caution_last(estimate, headline):
    sentences = words.next_step_sentences(next_step(*estimate, **FARM), "Dressed", "AUD")
    assert sentences[0] == headline
    assert sentences[-1] == words.CAUTION
    assert words.NO_PRIOR in sentences
    assert words.SEASONS_NOT_KNOWN in sentences
    assert sum(sentence.startswith("Until then") for sentence in sentences) == (estimate == AGAIN)


def test_an_answer_from_several_seasons_needs_no_proviso():
    step = next_step(*USE, **FARM, tau2=0.0001)
    headline = words.next_step_headline(step, "Dressed")
    assert headline == "Use Dressed: another trial is not worth its cost."


def test_the_sum_is_told_with_its_numbers():
    step = next_step(*AGAIN, **FARM)
    text = " ".join(words.next_step_sentences(step, "Dressed", "AUD"))
    for part in (
        f"costs about {words.about(step.trial_cost)} AUD",
        f"bring about {words.about(step.trial_benefit)} AUD over the 4 seasons after it on 400 ha",
        "it is expected to bring about 4,000 AUD a season",
        "(95% interval)",
        "Until then use it on the rest",
    ):
        assert part in text
    below = next_step(0.04, 0.07, 5, **FARM)
    assert "Until then leave it off" in " ".join(words.next_step_sentences(below, "D", "AUD"))


def test_edges_of_what_next():
    last = next_step(*AGAIN, **{**FARM, "seasons": 1})
    assert "too late" in words.next_step_sentences(last, "D", "AUD")[1]
    two = next_step(*AGAIN, **{**FARM, "seasons": 2})
    assert "over the season after it" in words.next_step_sentences(two, "D", "AUD")[1]
    small = next_step(*AGAIN, **{**FARM, "area_ha": 4})
    assert "no room for a trial" in words.next_step_sentences(small, "D", "AUD")[1]
    known = next_step(*AGAIN, **FARM, tau2=0.002, earlier=(0.05, 0.05))
    sentences = words.next_step_sentences(known, "D", "AUD")
    assert words.SEASONS_KNOWN in sentences
    assert words.FROM_EARLIER in sentences


def test_risk_in_words():
    given = {"price_per_t": 300.0, "cost_per_ha": 20.0}
    plain = words.risk_sentences(season_risk(*AGAIN, **given), "AUD")
    assert plain[0] == "The chance that it loses money on average is 32 in 100."
    assert "not known from one trial" in plain[1]
    several = words.risk_sentences(
        season_risk(*AGAIN, **given, tau2=0.01, lose_more_than=10), "AUD"
    )
    assert "loses more than 10 AUD/ha on average is " in several[0]
    assert several[1].startswith("In the worst of 10 seasons it brings −")


@pytest.mark.parametrize(
    ("gains", "said"),
    [
        ({"Powder": 0.2, "Liquid": 0.14}, "Powder looks best, with 30 AUD/ha over untreated;"),
        ({"Powder": -0.2, "Liquid": 0.0}, "None is expected to pay: untreated looks best"),
        ({"Powder": 0.3}, "Powder looks best, with 60 AUD/ha over untreated;"),
    ],
)
def test_ranking_in_words(gains, said):
    cov = 0.0025 * (np.eye(len(gains)) + 1)
    costs = {"Powder": 30, "Liquid": 18}
    ranking = rank_treatments(
        gains, cov, 7, price_per_t=300, costs_per_ha={name: costs[name] for name in gains}
    )
    sentence = words.ranking_sentence(ranking, "AUD")
    assert sentence.startswith(said)
    assert "truly is the best is " in sentence
    assert "100 in 100" not in sentence


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (3.26, "3.3"), (9.96, "10"), (51.4, "51"), (994, "990"), (999, "1,000"),
        (28_437, "28,000"), (-17_593, "−18,000"), (0.052, "0.052"), (-0.4, "−0.40"),
    ],
)  # fmt: skip
def test_amounts_for_a_whole_farm(value, text):
    assert words.about(value) == text


def test_names_with_marks_in_them_stay_as_they_are():
    step = next_step(*AGAIN, **FARM)
    assert "$x$ & <b>" in words.next_step_headline(step, "$x$ & <b>")
    assert math.isfinite(step.trial_net)
