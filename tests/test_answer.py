"""Looking ahead from the strips of a season: what it rests on, and what result.json says."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pandas as pd
import pytest

from trialkit.answer import FARM_KEYS, compare, fit_strips, outlooks, what_next
from trialkit.errors import noted
from trialkit.money import TrialCost, next_step
from trialkit.report.money_words import KEY_WORDS
from trialkit.trial.config import TrialConfig

FARM = {"area_ha": 400, "seasons": 5, "labour_per_h": 45}


def config(**money):
    return TrialConfig.model_validate(
        {
            "trial": {"name": "Flat", "season": 2025, "crop": "oats"},
            "treatments": [
                {"name": "untreated", "control": True, "cost_per_ha": 3},
                {"name": "dressed", "cost_per_ha": 20},
            ],
            "machines": {"seeder_m": 12, "harvester_m": 12},
            "money": {"currency": "AUD", "price_per_t": 300, **money},
        }
    )


@pytest.fixture
def strips():
    draw = np.random.default_rng(5)
    rows = [(f"B{b}", name) for b in range(1, 7) for name in ("untreated", "dressed")]
    table = pd.DataFrame(rows, columns=["block", "treatment"])
    table["strip"] = [f"S{n}" for n in range(1, 13)]
    table["yield_t_ha"] = 3 + 0.1 * (table["treatment"] == "dressed") + draw.normal(0, 0.1, 12)
    table["area_ha"] = 1.5
    return table


def looked(strips, settings):
    gains = compare(fit_strips(strips, settings), settings)
    return gains, outlooks(gains, strips, settings)


def test_it_rests_on_the_trial_s_own_numbers(strips):
    settings = config(**FARM)
    (gain,), (ahead,) = looked(strips, settings)
    wanted = next_step(
        gain.gain_t_ha, gain.std_error_t_ha, gain.df, price_per_t=300, cost_per_ha=17,
        area_ha=400, seasons=5, pairs=6, trial=TrialCost(labour_per_h=45, strip_ha=1.5),
    )  # fmt: skip
    (told,) = what_next([ahead])
    assert told.treatment == "dressed"
    assert {name: getattr(wanted, name) for name in asdict(told) if name != "treatment"} == {
        name: value for name, value in asdict(told).items() if name != "treatment"
    }
    assert json.loads(json.dumps(asdict(told), allow_nan=False))["answer"] == wanted.answer
    assert ahead.cost_per_ha == 17


def test_a_block_that_lost_a_strip_is_no_pair(strips):
    settings = config(**FARM)
    strips.loc[0, "yield_t_ha"] = np.nan
    with noted():
        (gain,), (ahead,) = looked(strips, settings)
    assert ahead.step is not None
    first = ahead.step.table.iloc[0]
    pair_sd = gain.std_error_t_ha * np.sqrt(5)
    assert first["std_error_t_ha"] * np.sqrt(first["pairs"]) == pytest.approx(pair_sd)


@pytest.mark.parametrize("missing", FARM_KEYS)
def test_a_key_that_is_missing_leaves_no_next_step(strips, missing):
    money = {key: value for key, value in FARM.items() if key != missing}
    _, ahead = looked(strips, config(**money))
    assert ahead[0].step is None
    assert what_next(ahead) == ()


def test_every_key_that_is_needed_has_words():
    assert tuple(KEY_WORDS) == FARM_KEYS
