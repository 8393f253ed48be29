"""The demo of two dressings from end to end: costs, deductions, grades, ranking, what is stored."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import trialkit
from trialkit.across_seasons import pool_seasons
from trialkit.answer import outlooks
from trialkit.bundle_check import check_bundle
from trialkit.bundles import make_bundle
from trialkit.money import payoff
from trialkit.repeated import repeat
from trialkit.selling import budget_of, selling_of
from trialkit.shipped import copy_demo, demo_folders
from trialkit.trial.stored_result import read_stored

NAME = "oats-2024-two-dressings"
# 300 paid, 1% levy, 22 freight, 6 harvest; 322 for milling oats.
FEED, MILLING = 300 * 0.99 - 28, 322 * 0.99 - 28


@pytest.fixture(scope="module")
def worked_out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("two") / "trial"
    copy_demo(folder, NAME)
    trial = trialkit.open_trial(folder)
    result = trialkit.analyse(trial)
    trialkit.write_results(trial, result)
    return trial, result


def test_the_gains_hold_the_truth(worked_out):
    trial, result = worked_out
    truth = json.loads((trial.path / "truth.json").read_text())["gain_t_ha"]
    for one in result.summary.comparisons:
        assert one.low_t_ha < truth[one.treatment] < one.high_t_ha


def test_quality_by_treatment_is_least_squares_over_complete_blocks(worked_out):
    """In complete blocks a mean is the plain one; its error is that of the two-way table."""
    trial, result = worked_out
    strips = trial.layout[trial.layout["role"] == "strip"][["strip", "block", "treatment"]]
    table = trial.quality.merge(strips, on="strip")
    for one in result.summary.grain_quality.means:
        cells = table.pivot_table(index="block", columns="treatment", values=one.measure)
        left = (
            cells - cells.mean() - cells.mean(axis=1).to_numpy()[:, None] + cells.to_numpy().mean()
        )
        df = (len(cells) - 1) * (cells.shape[1] - 1)
        error = np.sqrt((left**2).to_numpy().sum() / df / len(cells))
        assert one.mean == pytest.approx(cells[one.treatment].mean())
        assert (one.std_error, one.df) == (pytest.approx(error), pytest.approx(df))
        if one.treatment != "untreated":
            apart = (cells[one.treatment] - cells["untreated"]).mean()
            reach = stats.t.ppf(0.975, df) * error * np.sqrt(2)
            assert one.difference == pytest.approx(apart)
            assert one.difference_low == pytest.approx(apart - reach)
            assert one.difference_high == pytest.approx(apart + reach)


def test_chances_of_milling_by_hand(worked_out):
    """Milling asks for a test weight of 51 and screenings up to 10: two t distributions."""
    _, result = worked_out
    quality = result.summary.grain_quality
    for name in ("untreated", "broth", "powder"):
        own = {one.measure: one for one in quality.means if one.treatment == name}
        weight, small = own["test_weight_kg_hl"], own["screenings_pct"]
        heavy = stats.t.cdf((weight.mean - 51) / weight.std_error, 10)
        clean = stats.t.cdf((10 - small.mean) / small.std_error, 10)
        (milling,) = (c for c in quality.chances if (c.treatment, c.grade) == (name, "milling"))
        assert milling.chance == pytest.approx(heavy * clean)
        assert milling.price_per_t == pytest.approx(MILLING)


def test_the_money_by_hand(worked_out):
    trial, result = worked_out
    chance = {
        c.treatment: c.chance for c in result.summary.grain_quality.chances if c.grade == "milling"
    }
    price = {name: FEED + share * (MILLING - FEED) for name, share in chance.items()}
    cost = {
        "broth": (92 + 5 + 0.3 * 45 + 0.2 * 60 + 8 * 0.0025) * 0.075 + 11,
        "powder": (210 + 9 + 0.6 * 45 + 0.2 * 60 + 15 * 0.0025) * 0.075 - 6.5,
    }
    yields = result.fit.means("treatment")["estimate"]
    for one in result.summary.comparisons:
        treated, control = yields[one.treatment], yields["untreated"]
        net = treated * price[one.treatment] - control * price["untreated"] - cost[one.treatment]
        assert one.net_per_ha == pytest.approx(net)
    budget = budget_of(yields.to_dict(), trial.config, result.selling).set_index("treatment")
    for one in result.summary.comparisons:
        apart = budget.loc[one.treatment, "net"] - budget.loc["untreated", "net"]
        assert one.net_per_ha == pytest.approx(apart)


def test_every_part_says_the_same(worked_out):
    """Payoff, what next, risk, break-even and ranking rest on one and the same sum."""
    trial, result = worked_out
    ahead = outlooks(
        result.summary.comparisons, result.harvested.strips, trial.config, result.selling
    )
    rows = result.ranking.table.set_index("treatment")
    for one, look in zip(result.summary.comparisons, ahead, strict=True):
        cost, saved = trial.config.extra_cost(one.treatment)
        alone = payoff(
            one.gain_t_ha, one.std_error_t_ha, one.df, price_per_t=result.selling.price_per_t,
            price_range=result.selling.price_range, cost_per_ha=cost, saved_per_ha=saved,
            price_gain=result.selling.price_gains[one.treatment],
        )  # fmt: skip
        assert one.chance_paid == alone.chance_paid
        assert look.step.chance_paid == pytest.approx(one.chance_paid)
        assert look.step.farm_low == pytest.approx(350 * one.net_low)
        assert rows.loc[one.treatment, "chance_paid"] == pytest.approx(one.chance_paid)
        assert rows.loc[one.treatment, "net_per_ha"] == pytest.approx(one.net_per_ha)
        at_price = look.curve.iloc[(look.curve["price_per_t"] - look.price_per_t).abs().argmin()]
        assert (at_price["paid_below"] > cost) == (one.verdict == "paid")
        assert (at_price["even_at"] > cost) == (one.net_per_ha > 0)
    assert result.ranking.best == max(rows["net_per_ha"].items(), key=lambda row: row[1])[0]


def test_the_answer_is_stored_read_and_comes_out_again(worked_out):
    trial, result = worked_out
    stored = read_stored(trial)
    assert stored.summary == result.summary
    assert list(json.loads(result.to_json()))[-2:] == ["grain_quality", "ranking"]
    again = repeat(trial)
    assert again.same_bytes
    assert selling_of(stored.summary.grain_quality, trial.config) == result.selling


def test_an_old_answer_without_the_new_keys_is_still_read(worked_out):
    trial, result = worked_out
    path = trial.results / "result.json"
    whole = path.read_bytes()
    content = json.loads(whole)
    for key in ("grain_quality", "ranking", "what_next"):
        del content[key]
    try:
        path.write_text(json.dumps(content))
        old = read_stored(trial).summary
    finally:
        path.write_bytes(whole)
    assert (old.grain_quality, old.ranking) == (None, None)
    assert old.comparisons == result.summary.comparisons
    assert "grain_quality" not in json.loads(old.to_json())


def test_a_bundle_comes_out_the_same_on_the_other_side(worked_out, tmp_path):
    trial, _ = worked_out
    make_bundle(trial.path, tmp_path / "two.zip")
    checked = check_bundle(tmp_path / "two.zip")
    assert checked.right
    assert checked.again.same_bytes


def test_a_bundle_without_names_has_no_names_of_grades(worked_out, tmp_path):
    trial, _ = worked_out
    folder = tmp_path / "trial"
    shutil.copytree(trial.path, folder)
    make_bundle(folder, tmp_path / "bare.zip", without_names=True)
    checked = check_bundle(tmp_path / "bare.zip")
    assert checked.right
    shutil.unpack_archive(tmp_path / "bare.zip", tmp_path / "out")
    text = (tmp_path / "out" / "trial.toml").read_text()
    assert "milling" not in text
    assert 'name = "grade 1"' in text


def test_seasons_pass_over_what_is_none_and_pool_the_rest_as_before():
    home = demo_folders()["oats-2025-to-plan"].parent
    everything = pool_seasons(sorted(home.iterdir()))
    two = pool_seasons([home / "oats-2023-hard-frost", home / "oats-2024-no-frost"])
    assert [one.treatment for one in everything.treatments] == ["dressed"]
    pd.testing.assert_frame_equal(everything.treatments[0].table, two.treatments[0].table)
    passed, *notes = everything.notes
    assert passed.startswith("Passed over, being no harvested trial folder: README.md")
    assert "oats-2025-to-plan" in passed
    assert any(
        note.startswith("Not pooled") and note.endswith(": 2024 Quarry Bank.") for note in notes
    )
    assert not any("sold by grade" in note for note in notes)
