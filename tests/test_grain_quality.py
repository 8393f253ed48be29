"""Grain quality by treatment: what is told, what is only noted, and what is refused."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.answer import check_costs, compare, fit_strips, outlooks
from trialkit.errors import MoneyError, noted
from trialkit.grain_quality import grain_quality
from trialkit.money import payoff
from trialkit.selling import Selling, budget_of, selling_of
from trialkit.several_treatments import best_of, ranked
from trialkit.trial.config import TrialConfig
from trialkit.trial.folder import check_folder

MILLING = {"name": "milling", "price_per_t": 340, "least_protein_pct": 11}
FEED = {"name": "feed", "price_per_t": 280}
NAMES = ("untreated", "dressed", "other")


def config(grades=(MILLING, FEED), names=NAMES[:2], cost=20.0, saved=0.0, **money):
    treatments = [{"name": "untreated", "control": True}]
    treatments += [{"name": name, "cost_per_ha": cost, "saved_per_ha": saved} for name in names[1:]]
    return TrialConfig.model_validate(
        {
            "trial": {"name": "Flat", "season": 2025, "crop": "wheat"},
            "treatments": treatments,
            "machines": {"seeder_m": 12, "harvester_m": 12},
            "money": {"currency": "AUD", "price_per_t": 300, "grades": grades, **money},
        }
    )


def strips(names=NAMES[:2], blocks=6, seed=5):
    draw = np.random.default_rng(seed)
    rows = [(f"B{b}", name) for b in range(blocks) for name in names]
    table = pd.DataFrame(rows, columns=["block", "treatment"])
    table["strip"] = [f"S{n}" for n in range(1, len(rows) + 1)]
    table["yield_t_ha"] = 3 + 0.05 * (table["treatment"] != "untreated")
    table["yield_t_ha"] += draw.normal(0, 0.08, len(rows))
    return table


def sampled(table, apart=0.8, spread=0.2, seed=6):
    draw = np.random.default_rng(seed)
    protein = 10.8 + apart * (table["treatment"] != "untreated")
    return pd.DataFrame(
        {"strip": table["strip"], "protein_pct": protein + draw.normal(0, spread, len(table))}
    )


def graded(quality, table=None, settings=None):
    table = strips() if table is None else table
    settings = settings or config()
    with noted():
        fit = fit_strips(table, settings)
    found, notes = grain_quality(quality, table, fit, settings)
    return found, fit, settings, notes


def test_a_treatment_pays_through_grade_alone():
    table = strips()
    found, fit, settings, notes = graded(sampled(table), table)
    selling = selling_of(found, settings)
    (plain,) = compare(fit, settings)
    (by_grade,) = compare(fit, settings, selling)
    assert plain.verdict != "paid"
    assert by_grade.verdict == "paid"
    assert by_grade.gain_t_ha == plain.gain_t_ha
    assert by_grade.break_even_t_ha < 0
    assert notes == ()


def test_the_price_is_what_the_control_s_grain_is_expected_to_fetch():
    table = strips()
    found, _, settings, _ = graded(sampled(table), table, config(price_range=(240, 360)))
    chances = {(c.treatment, c.grade): c.chance for c in found.chances}
    selling = selling_of(found, settings)
    expected = 280 + 60 * chances["untreated", "milling"]
    assert selling.price_per_t == pytest.approx(expected)
    assert selling.price_range == pytest.approx((240 * expected / 300, 360 * expected / 300))
    assert selling.price_of("dressed") == pytest.approx(280 + 60 * chances["dressed", "milling"])
    assert found.control_yield_t_ha == pytest.approx(
        table.loc[table["treatment"] == "untreated", "yield_t_ha"].mean()
    )


def test_without_quality_or_grades_prices_stay_to_the_digit():
    found, _, settings, _ = graded(None, settings=config(grades=()))
    assert found is None
    assert selling_of(found, settings) == Selling(300, None)


def test_grades_without_quality_are_noted_and_change_no_sum():
    found, fit, settings, notes = graded(None)
    (note,) = notes
    assert note.startswith("trial.toml gives grades, and there is no quality.csv")
    assert selling_of(found, settings) == Selling(300, None)
    assert compare(fit, settings, selling_of(found, settings)) == compare(fit, settings)


def test_quality_without_grades_is_told_and_changes_no_sum():
    table = strips()
    found, _, settings, notes = graded(sampled(table), table, config(grades=()))
    assert [one.treatment for one in found.means] == ["untreated", "dressed"]
    assert (found.chances, found.control_yield_t_ha, notes) == ((), None, ())
    assert selling_of(found, settings) == Selling(300, None)


@pytest.mark.parametrize("column", [None, "blank"])
def test_a_measure_that_the_grades_need_and_nobody_took(column):
    table = strips()
    quality = pd.DataFrame({"strip": table["strip"], "screenings_pct": 4.0})
    if column == "blank":
        quality["protein_pct"] = np.nan
    found, _, _, notes = graded(quality, table)
    (note,) = notes
    assert note.startswith("The grades have limits on Protein, %, and quality.csv does not tell it")
    assert found.chances == ()


def test_a_treatment_with_one_sample_is_not_graded():
    table = strips()
    quality = sampled(table)
    quality = quality[(table["treatment"] == "untreated") | (table["strip"] == "S2")]
    found, _, _, notes = graded(quality, table)
    assert found is None
    first, second = notes
    assert first.startswith("quality.csv: Protein, % cannot be compared between treatments")
    assert second.startswith("The grades have limits on Protein, %")


def test_strips_that_were_not_tested_are_counted():
    table = strips()
    quality = sampled(table)
    quality.loc[3, "protein_pct"] = np.nan
    found, _, _, notes = graded(quality, table)
    assert notes == ("quality.csv: Protein, % is known of 11 of 12 strips.",)
    assert [one.strips for one in found.means] == [6, 5]
    assert found.chances


def test_the_grain_of_a_strip_that_is_left_out_does_not_count():
    table = strips()
    quality = sampled(table)
    found, _, _, notes = graded(quality, table[table["strip"] != "S12"])
    assert notes == ("quality.csv: the grain of S12 does not count: left out as sown.",)
    assert [one.strips for one in found.means] == [6, 5]


def test_several_samples_of_a_strip_are_averaged():
    table = strips()
    once = sampled(table)
    twice = pd.concat([once.assign(protein_pct=once["protein_pct"] + d) for d in (-0.3, 0.3)])
    found, _, _, _ = graded(twice, table)
    same, _, _, _ = graded(once, table)
    assert [one.mean for one in found.means] == pytest.approx([one.mean for one in same.means])
    assert [one.std_error for one in found.means] == pytest.approx(
        [one.std_error for one in same.means]
    )


def test_strips_that_all_measured_the_same_are_sure():
    table = strips()
    quality = pd.DataFrame({"strip": table["strip"], "protein_pct": 11.0})
    found, _, settings, _ = graded(quality, table)
    assert [(one.mean, one.std_error, one.df) for one in found.means] == [(11.0, 0.0, None)] * 2
    # On the limit belongs to the grade.
    assert [(c.grade, c.chance) for c in found.chances] == [("milling", 1), ("feed", 0)] * 2
    gain = selling_of(found, settings).price_gains["dressed"]
    assert (gain.per_t, gain.std_error) == (0, 0)


def test_strips_that_differ_by_their_block_alone():
    table = strips()
    block = table["block"].str[1:].astype(int)
    quality = pd.DataFrame({"strip": table["strip"], "protein_pct": 10.5 + 0.25 * block})
    found, _, _, notes = graded(quality, table)
    # One sample of both copied to each: nothing is left to judge a difference by.
    assert found is None
    assert "those of a block all have one value" in notes[0]


def test_grades_that_no_measure_divides():
    found, _, settings, _ = graded(sampled(strips()), settings=config(grades=(FEED,)))
    assert [(c.grade, c.chance) for c in found.chances] == [("feed", 1), ("feed", 1)]
    assert selling_of(found, settings).price_per_t == 280


def test_the_treatments_side_by_side_share_the_control_s_grade():
    table = strips(NAMES)
    settings = config(names=NAMES)
    found, fit, _, _ = graded(sampled(table, apart=0.3), table, settings)
    selling = selling_of(found, settings)
    gains = compare(fit, settings, selling)
    ranking = ranked(fit, gains, settings, selling)
    rows = ranking.table.set_index("treatment")
    for one in gains:
        assert rows.loc[one.treatment, "chance_paid"] == pytest.approx(one.chance_paid)
        assert rows.loc[one.treatment, "net_per_ha"] == pytest.approx(one.net_per_ha)
    stored = best_of(ranking)
    assert stored.best == ranking.best
    assert stored.treatments[0].chance_paid is None
    assert sum(one.chance_best for one in stored.treatments) == pytest.approx(1)


def test_one_treatment_is_not_ranked():
    table = strips()
    found, fit, settings, _ = graded(sampled(table), table)
    selling = selling_of(found, settings)
    assert ranked(fit, compare(fit, settings, selling), settings, selling) is None
    assert best_of(None) is None


def test_with_two_degrees_the_worth_of_knowing_is_none():
    table = strips(NAMES, blocks=2)
    settings = config(names=NAMES)
    fit = fit_strips(table, settings)
    selling = selling_of(None, settings)
    stored = best_of(ranked(fit, compare(fit, settings, selling), settings, selling))
    assert stored.value_of_knowing_per_ha is None
    assert stored.treatments[1].expected_loss_per_ha is None


def test_a_treatment_that_saves_more_than_it_costs_is_judged():
    table = strips()
    settings = config(grades=(), cost=6.0, saved=20.0, area_ha=300, seasons=4, labour_per_h=40)
    fit = fit_strips(table, settings)
    (gain,) = compare(fit, settings)
    alone = payoff(
        gain.gain_t_ha, gain.std_error_t_ha, gain.df, price_per_t=300, cost_per_ha=6,
        saved_per_ha=20,
    )  # fmt: skip
    assert gain.break_even_t_ha == pytest.approx(-14 / 300)
    assert gain.chance_paid == alone.chance_paid
    (ahead,) = outlooks((gain,), table, settings)
    assert ahead.step.chance_paid == pytest.approx(gain.chance_paid)
    assert (ahead.cost_per_ha, ahead.saved_per_ha) == (6, 20)
    # In the budget the control bears what the treatment saves, and the difference is the net.
    budget = budget_of(
        fit.means("treatment")["estimate"].to_dict(), settings, selling_of(None, settings)
    )
    assert budget["costs_per_ha"].tolist() == [14, 0]
    assert budget["net"].diff().iloc[1] == pytest.approx(gain.net_per_ha)


def test_a_cost_a_tonne_given_as_one_a_hectare_is_refused():
    settings = config(grades=(), cost=260.0)
    fit = fit_strips(strips(), settings)
    with pytest.raises(MoneyError, match=r"treatment 'dressed'.* give it as cost_per_t_seed"):
        check_costs(fit, settings)
    check_costs(fit, config(grades=(), cost=200.0))
    failed = strips().assign(yield_t_ha=lambda table: table["yield_t_ha"] - 2.2)
    check_costs(fit_strips(failed, settings), settings)


def test_strips_that_are_not_in_the_layout_and_measures_that_cannot_be(trial_folder):
    (trial_folder / "quality.csv").write_text(
        "strip,protein_pct,screenings_pct,test_weight_kg_hl\nS0,11.2,4,52\nS99,11,4,52\nS1,112,4,52\n"
        "S2,11,-1,52\nS3,high,4,520\n"
    )
    trial, checks = check_folder(trial_folder)
    assert trial is None
    said = [check.sentence() for check in checks]
    assert any("row 3, strip: The layout has no strip 'S99'" in line for line in said)
    assert any(
        "row 4, protein_pct: '112' cannot be right. Expected 0 to 40" in line for line in said
    )
    assert any("row 5, screenings_pct: '-1' cannot be right" in line for line in said)
    assert any("row 6, protein_pct: 'high' is not a number" in line for line in said)
    assert any("row 6, test_weight_kg_hl: '520' cannot be right" in line for line in said)
