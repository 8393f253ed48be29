from __future__ import annotations

import pytest

from trialkit.errors import MoneyError
from trialkit.money import Farm, TrialCost, break_even_curve, look_ahead, next_step, season_risk

GIVEN = {"price_per_t": 300.0, "price_range": (255.0, 340.0), "cost_per_ha": 20.0}
FARM = Farm(area_ha=400, seasons=5, labour_per_h=45)
ESTIMATE = (0.1, 0.07, 5)


def test_it_is_the_same_as_asking_each_by_itself():
    ahead = look_ahead(
        "dressed", *ESTIMATE, **GIVEN, pairs=6, strip_ha=1.5, farm=FARM, lose_more_than=10
    )
    trial = TrialCost(labour_per_h=45, strip_ha=1.5)
    step = next_step(*ESTIMATE, **GIVEN, area_ha=400, seasons=5, trial=trial, pairs=6)
    assert ahead.step is not None
    assert (ahead.step.answer, ahead.step.pairs) == (step.answer, step.pairs)
    assert ahead.step.trial_benefit == step.trial_benefit
    assert ahead.risk == season_risk(*ESTIMATE, **GIVEN, lose_more_than=10)
    again = break_even_curve(*ESTIMATE, ahead.curve["price_per_t"].tolist())
    assert again.equals(ahead.curve)
    assert ahead.curve["price_per_t"].min() < 255 < 340 < ahead.curve["price_per_t"].max()


def test_without_the_farm_there_is_no_next_step_but_a_risk():
    ahead = look_ahead("dressed", *ESTIMATE, **GIVEN, pairs=6, strip_ha=1)
    assert ahead.step is None
    assert ahead.why_not == ""
    assert 0 < ahead.risk.chance_of_loss < 1


def test_too_few_strips_to_say_is_said():
    ahead = look_ahead("dressed", 0.1, 0.07, 1, **GIVEN, pairs=2, strip_ha=1, farm=FARM)
    assert ahead.step is None
    assert "It takes three pairs of strips or more" in ahead.why_not


def test_an_estimate_that_makes_no_sense_is_refused():
    with pytest.raises(MoneyError, match="error"):
        look_ahead("dressed", 0.1, -1.0, 5, **GIVEN, pairs=6, strip_ha=1)
