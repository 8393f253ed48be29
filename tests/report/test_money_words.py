"""Words on money in another language: every answer and edge, and codes that stay as they are."""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.language import speaking
from trialkit.money import (
    TrialCost,
    break_even_curve,
    likely_prices,
    next_step,
    rank_treatments,
    season_risk,
)
from trialkit.report import money_captions, numbers
from trialkit.report import money_words as words
from trialkit.report.money_pictures import break_even_picture, next_step_picture

FARM = {
    "price_per_t": 300.0, "cost_per_ha": 20.0, "area_ha": 400, "seasons": 5, "pairs": 6,
    "trial": TrialCost(labour_per_h=50),
}  # fmt: skip
AGAIN, USE, STOP, OPEN = (0.10, 0.07, 5), (0.30, 0.07, 5), (-0.10, 0.03, 5), (0.04, 0.07, 5)
MODULES = (words, money_captions, numbers)


@pytest.mark.parametrize("estimate", [AGAIN, USE, STOP, OPEN])
@pytest.mark.parametrize("seasons", [1, 2, 5])
@pytest.mark.parametrize("area_ha", [4, 9, 4000.5])
@pytest.mark.parametrize("known", [{}, {"tau2": 0.002, "earlier": (0.05, 0.05)}])
def test_what_next_is_said_whole(said_whole, estimate, seasons, area_ha, known):
    step = next_step(*estimate, **{**FARM, "seasons": seasons, "area_ha": area_ha}, **known)
    other = next_step(*AGAIN, **FARM)

    def told():
        yield from words.next_step_sentences(step, "D", "AUD")
        yield words.next_step_in_short(step, "D", "AUD")
        yield from words.next_steps_in_short([("A", step), ("B", other), ("C", step)])
        yield money_captions.next_step_caption(step, "AUD")
        yield money_captions.marked_pairs(step)
        if not step.table.empty:
            yield money_captions.next_step_words(step, "AUD")

    assert len(said_whole(told, *MODULES)) > 8
    assert step.answer in ("test again", "use it", "stop")


@pytest.mark.parametrize("estimate", [AGAIN, USE, STOP])
@pytest.mark.parametrize("between", [{}, {"tau2": 0.01}])
@pytest.mark.parametrize("more_than", [0, 10.5])
def test_the_risk_is_said_whole(said_whole, estimate, between, more_than):
    risk = season_risk(
        *estimate, price_per_t=3000.0, cost_per_ha=20.0, lose_more_than=more_than, **between
    )
    said = said_whole(lambda: words.risk_sentences(risk, "AUD"), *MODULES)
    assert len(said) == 2


@pytest.mark.parametrize(
    "gains", [{"Powder": 0.2, "Liquid": 0.19}, {"Powder": -0.2, "Liquid": 0.0}, {"Powder": 0.025}]
)
def test_the_ranking_is_said_whole(said_whole, gains):
    cov = 0.0025 * (np.eye(len(gains)) + 1)
    ranking = rank_treatments(gains, cov, 7, price_per_t=300, costs_per_ha=dict.fromkeys(gains, 6))
    (said,) = said_whole(lambda: [words.ranking_sentence(ranking, "AUD")], *MODULES)
    assert ranking.best in said
    if len(gains) == 1:
        assert " 1,50 AUD/ha " in said


@pytest.mark.parametrize(
    "estimate", [(-0.15, 0.05, 8), (0.4, 0.05, 10), (0.02, 0.2, 3), (-0.02, 0.1, 5)]
)
def test_prices_and_costs_are_said_whole(said_whole, estimate):
    curve = break_even_curve(*estimate, likely_prices(3000.5))

    def told():
        yield money_captions.break_even_words(curve, 3000.5, 20.25, "AUD")
        yield money_captions.cost_axis("AUD")
        yield money_captions.money_axis("AUD")

    said = said_whole(told, *MODULES)
    assert "3.000,50" in said[0]
    assert "20,25" in said[0]


def test_the_keys_wanted_are_said_whole_and_named_as_they_are(said_whole):
    (said,) = said_whole(lambda: [words.keys_wanted(list(words.KEY_WORDS))], *MODULES)
    assert all(key in said for key in words.KEY_WORDS)


def test_a_language_has_its_own_order_and_its_own_plural(german):
    step = next_step(*AGAIN, **FARM)
    one = "Test {treatment} again: {count} pair of strips next season."
    many = "Test {treatment} again: {count} pairs of strips next season."
    with speaking(german({(one, many): ("Ein Paar {treatment}.", "{count} Paare {treatment}.")})):
        said = words.next_step_sentences(step, "$x$ & <b>", "AUD")
    assert said[0] == f"{step.pairs} Paare $x$ & <b>."
    assert said[-1] == words.CAUTION  # what the language lacks is said in English


def test_pictures_are_labelled_in_the_language_and_keep_their_codes(german, words_in):
    verdicts = {"paid": "lohnt", "not settled": "offen", "did not pay": "lohnt nicht"}
    kinds = {"expected to bring": "Nutzen", "costs": "Kosten"}
    curve = break_even_curve(*AGAIN, likely_prices(1000))
    with speaking(german(verdicts | kinds)):
        prices = break_even_picture(curve, price_per_t=1000, cost_per_ha=20, currency="AUD")
        trial = next_step_picture(next_step(*AGAIN, **FARM), "AUD")
        on_prices, on_trial = words_in(prices), words_in(trial)
    assert set(prices.plot.data["zone"]) == set(verdicts)
    assert set(verdicts.values()) <= on_prices
    assert not set(verdicts) & on_prices
    assert set(trial.plot.data["what"]) == set(kinds)
    assert set(kinds.values()) <= on_trial
    assert any(text.endswith(".000") for text in on_trial)
