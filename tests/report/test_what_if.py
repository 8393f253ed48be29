"""The what-if controls: what they show before and after they are moved, without a browser."""

from __future__ import annotations

import math
import re

import pytest
from scipy import stats

from trialkit import simulate
from trialkit.design import Wishes, plan_trial, rehearse
from trialkit.report import numbers, what_if_words
from trialkit.report.money_captions import BREAK_EVEN_CAPTION
from trialkit.report.numbers import in_hundred
from trialkit.report.what_if import season_answer, what_if, what_if_planned
from trialkit.report.what_if_words import NOT_DRAWN, OTHER_RATE
from trialkit.report.wording import verdict_sentence
from trialkit.trial.config import TrialConfig

MONEY = {"currency": "AUD", "price_per_t": 250.0}


def config(cost=20.0, arms=("Dressed",), **money):
    treatments = [{"name": "Untreated", "control": True, "cost_per_ha": 0}]
    treatments += [{"name": arm, "cost_per_ha": cost} for arm in arms]
    return TrialConfig.model_validate(
        {
            "trial": {"name": "Invented", "season": 2025, "crop": "oats"},
            "treatments": treatments,
            "machines": {"seeder_m": 12, "harvester_m": 9},
            "money": MONEY | money,
        }
    )


def controls(panel):
    """Return the number boxes by label, and the words shown below."""
    boxes = {row.children[0].description: row.children[0] for row in panel.children[:-2]}
    return boxes, lambda: re.sub(r"<figure.*", "", panel.children[-1].value)


def test_untouched_it_says_what_the_report_says(compare):
    panel = what_if(compare(), config())
    boxes, told = controls(panel)
    assert list(boxes) == [
        "Price of grain, AUD/t", "Cost of the dressing, AUD/ha", "Rate, % of the trial's",
    ]  # fmt: skip
    assert verdict_sentence(compare(), "AUD") in told()
    assert OTHER_RATE not in told()
    assert BREAK_EVEN_CAPTION in panel.children[-1].value
    assert 'alt="Where the dressing pays' in panel.children[-1].value


# The chance by the t distribution's own closed form, from scipy.
@pytest.mark.parametrize(("price", "cost", "rate"), [(150, 20, 100), (250, 38, 100), (250, 20, 50)])
def test_moved_controls_give_the_chance_at_the_new_numbers(compare, price, cost, rate):
    panel = what_if(compare(gain=0.2, std_error=0.05, df=5), config())
    boxes, told = controls(panel)
    for box, value in zip(boxes.values(), (price, cost, rate), strict=True):
        box.value = value
    needed = cost * rate / 100 / price
    chance = stats.t.cdf((0.2 - needed) / 0.05, 5)
    assert f"chance it paid {in_hundred(chance)}." in told()
    assert f"Grain at {price} AUD/t" in told()
    assert (OTHER_RATE in told()) == (rate != 100)
    panel.children[-2].click()
    assert verdict_sentence(compare(), "AUD") in told()


def test_the_range_of_prices_moves_along(compare):
    pieces = season_answer(
        compare(), config(price_range=(200.0, 300.0)), price_per_t=500, cost_per_ha=20
    )
    assert "Grain at 500 AUD/t (400 to 600)" in pieces[0].html()


def test_the_picture_keeps_its_ground_under_every_price(compare):
    # Over the whole way of the price, with its range.
    panel = what_if(compare(), config(price_range=(200.0, 300.0)))
    price = panel.children[0].children[0]
    alts = set()
    for end in (price.min, price.max):
        price.value = end
        alts.add(re.search(r"by the price .*? Your price", panel.children[-1].value)[0])
    assert len(alts) == 1
    assert f"at {round(price.min * 0.8)} AUD/t" in alts.pop()


def test_several_treatments_are_chosen_from(compare, make_summary):
    arms = ("Dressed", "<b>Water</b>")
    summary = make_summary([compare(treatment=arm) for arm in arms])
    whole = what_if(summary, config(arms=arms))
    chosen, panel = whole.children
    assert [name for name, _ in chosen.options] == list(arms)
    chosen.value = 1
    assert whole.children[1] is not panel
    assert "&lt;b&gt;Water&lt;/b&gt; at 20 AUD/ha" in whole.children[1].children[-1].value
    assert "<b>Water" not in whole.children[1].children[-1].value


def test_a_treatment_that_costs_nothing(compare):
    boxes, told = controls(what_if(compare(cost=0.0), config(cost=0.0)))
    cost = boxes["Cost of the dressing, AUD/ha"]
    assert cost.value == 0
    assert cost.max > 0
    assert "needed 0.00" in told()


@pytest.fixture(scope="module", params=["random", "turn about"])
def rehearsal(request):
    boundary = simulate.field_boundary(simulate.lay_strips(["a", "b"], 6, seed=1))
    yields = simulate.past_yield(boundary, seed=1)
    plan = plan_trial(
        boundary, ["untreated", "dressed"], 4, Wishes(12, 9), seed=1, draw=request.param
    )
    return rehearse(plan, yields, draws=200, strip_sd_t_ha=0.1)


def test_planning(rehearsal):
    panel = what_if_planned(
        rehearsal, config(), cost_per_ha=20, hoped_gain_t_ha=0.3, mean_t_ha=3, cv_pct=4
    )
    boxes, told = controls(panel)
    boxes["Price of grain, AUD/t"].value = 200
    assert "it pays from 0.100 t/ha" in told()
    assert re.search(r"\d+ pairs could|This trial can tell", told())
    # The share of 'paid' beside the rehearsal's own.
    paid = rehearsal.verdicts([0.3], 0.1)["paid_pct"].item()
    drawn = not math.isnan(paid)
    assert (f"paid&#39; in {paid:.0f}% of draws" in told()) == drawn
    assert (NOT_DRAWN in told()) == (not drawn)
    assert ("<img" in panel.children[-1].value) == drawn
    # A gain hoped for that is just the one that pays: told, not raised.
    boxes["Gain hoped for, t/ha"].value = 0.1
    assert "0.1" in told()
    assert "pays from" not in told()


def test_the_words_are_said_whole(compare, said_whole):
    def told():
        for span in (None, (200.0, 300.0), (2.5, 3.5)):
            yield what_if_words.taken(
                compare(treatment="A"), price_per_t=1250.5, price_range=span, cost_per_ha=20.25,
                currency="AUD",
            )  # fmt: skip
        yield what_if_words.pays_from(0.0812, price_per_t=250, cost_per_ha=20.3, currency="AUD")
        yield what_if_words.would_say(0.25, [50.0, 30, 20])
        yield what_if_words.would_say(0.25, [math.nan] * 3)
        yield what_if_words.price_label("AUD")
        yield what_if_words.cost_label("AUD")

    said = said_whole(told, what_if_words, numbers)
    assert "1.250,50 AUD/t" in said[0]
    assert "0,081 t/ha" in said[3]
