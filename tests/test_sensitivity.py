"""The gain under no, light, declared and hard screening, and the warning where it hangs on it."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from trialkit import analyse, open_trial, simulate
from trialkit.language import speaking
from trialkit.sensitivity import Sensitivity, _hanging
from trialkit.shipped import copy_demo, demo_trials

LEVELS = ["none", "light", "default", "hard"]

#: Gain of the simulated trials, t/ha, and how near to it screened records come, of the gain.
GAIN_T_HA, NEAR = 0.3, 0.06


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo") / "trial"
    copy_demo(folder, sorted(demo_trials())[1])
    return analyse(open_trial(folder))


@pytest.fixture(scope="module")
def hanging(tmp_path_factory):
    """A trial without a gain, whose flow sensor hung too high in the dressed strips."""
    layout = simulate.lay_strips(["untreated", "dressed"], blocks=4, seed=1, length_m=400)
    season = simulate.harvest_trial(layout, seed=2)
    records, log = season.records, season.log
    stuck = (records["treatment"] == "dressed") & records["distance_m"].between(170, 230)
    log.loc[stuck, "flow_kg_s"] = 2.5 * log.loc[stuck, "flow_kg_s"].max()
    folder = tmp_path_factory.mktemp("hanging") / "trial"
    simulate.write_trial(folder, layout, season)
    monitor = season.monitor.calibration
    return analyse(open_trial(folder)), season.truth.difference_t_ha(
        "dressed", "untreated"
    ) * monitor


def test_the_declared_level_is_the_main_analysis(demo):
    table = demo.sensitivity.table
    assert table["level"].tolist() == LEVELS
    main = demo.summary.comparisons[0]
    row = table[table["level"] == "default"].iloc[0]
    assert row["gain_t_ha"] == pytest.approx(main.gain_t_ha, rel=1e-9)
    assert (row["low_t_ha"], row["verdict"]) == (pytest.approx(main.low_t_ha), main.verdict)


def test_each_level_leaves_out_more(demo):
    shares = demo.sensitivity.table["share_pct"].tolist()
    assert shares[0] == 0
    assert shares == sorted(shares)
    assert shares[1] < 3
    assert shares[3] < 20


def test_an_answer_that_holds_raises_no_warning(demo):
    assert demo.sensitivity.hangs == ()
    assert not any("hangs on which records" in note for note in demo.summary.warnings)


def test_an_answer_that_hangs_is_the_first_warning(hanging):
    result, true = hanging
    gains = result.sensitivity.table.set_index("level")["gain_t_ha"]
    assert gains["light"] > true + 0.9
    assert gains["default"] == pytest.approx(true, abs=0.03)
    assert gains["hard"] == pytest.approx(true, abs=0.03)
    (note,) = result.sensitivity.hangs
    assert note.startswith("The answer hangs on which records are left out: dressed shows +0.")
    assert "('paid') under light screening" in note
    written = json.loads(result.to_json())
    assert written["warnings"][0] == note


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_true_gain_survives_every_level(tmp_path, seed):
    layout = simulate.lay_strips(["untreated", "dressed"], blocks=8, seed=seed, length_m=400)
    season = simulate.harvest_trial(
        layout,
        seed=seed,
        effects={"dressed": simulate.Effect(GAIN_T_HA)},
        mishaps=simulate.EVERY_MISHAP,
    )
    folder = tmp_path / "trial"
    simulate.write_trial(folder, layout, season)
    table = analyse(open_trial(folder)).sensitivity.table.set_index("level")
    true = season.truth.difference_t_ha("dressed", "untreated") * season.monitor.calibration
    for level in LEVELS[2:]:
        assert table.loc[level, "gain_t_ha"] == pytest.approx(true, rel=NEAR), level


def test_scales_have_no_records_to_screen(tmp_path):
    folder = tmp_path / "trial"
    copy_demo(folder, "oats-2024-no-frost")
    text = (folder / "trial.toml").read_text()
    (folder / "trial.toml").write_text(
        text.replace("[analysis]", '[analysis]\nyield_from = "scales"', 1)
        if "yield_from" not in text
        else text.replace('yield_from = "monitor"', 'yield_from = "scales"')
    )
    assert analyse(open_trial(folder)).sensitivity is None


def told(*rows):
    table = pd.DataFrame(rows, columns=["level", "gain_t_ha", "verdict"])
    return list(_hanging(table.assign(treatment="dressed")))


def test_what_counts_as_hanging():
    sound = [("light", 0.3, "paid"), ("default", 0.2, "paid"), ("hard", 0.2, "paid")]
    assert told(*sound) == []
    assert told(("none", -0.5, "did not pay"), *sound) == []
    (note,) = told(*sound[:2], ("hard", 0.1, "not settled"))
    assert "+0.10 t/ha ('not settled') under hard screening" in note
    same = [("light", 0.02, "not settled"), ("default", 0.01, "not settled")]
    (note,) = told(*same, ("hard", -0.01, "not settled"))
    assert "−0.010 t/ha" in note
    (note,) = told(*sound[:2], ("hard", np.nan, ""))
    assert "no answer under hard screening" in note


def test_the_sensitivity_is_plain_data(demo):
    assert isinstance(demo.sensitivity, Sensitivity)
    assert list(demo.sensitivity.table) == [
        *("level", "treatment", "share_pct", "gain_t_ha", "low_t_ha", "high_t_ha"),
        *("chance_paid", "verdict"),
    ]


def test_an_answer_that_hangs_is_told_in_another_language(german):
    template = (
        "The answer hangs on which records are left out: {treatment} shows {light} under light "
        "screening, {declared} under the screening declared and {hard} under hard screening. Look "
        "at what the screening takes, or weigh the strips, before you act on it."
    )
    words = {
        template: "{treatment}: hart {hard}, leicht {light}",
        "{gain} t/ha ('{verdict}')": "{gain} t/ha, {verdict}",
        "paid": "gelohnt",
    }
    with speaking(german(words)):
        (note,) = told(("light", 0.3, "paid"), ("default", 0.2, "paid"), ("hard", np.nan, ""))
        (below,) = told(("light", 0.3, "paid"), ("default", 0.2, "paid"), ("hard", -0.1, "paid"))
    assert note == "dressed: hart no answer, leicht +0,30 t/ha, gelohnt"
    assert "hart −0,10 t/ha" in below
