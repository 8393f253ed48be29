"""Rehearsals against every draw worked out by hand, and on fields of known variation."""

from __future__ import annotations

from itertools import product

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from trialkit import simulate
from trialkit.design import (
    Wishes,
    detectable_difference,
    lay_out,
    plan_trial,
    rehearse,
    strip_variation,
)
from trialkit.errors import DesignError, LayoutError, ModelError
from trialkit.money import payoff

ROUNDING = 1e-9
#: A difference that keeps strips from being all alike.
TINY = 1e-5


def yields_of(layout, means, in_a_strip=12):
    """A map that gives each strip its own yield, the same all along it."""
    strips = layout[layout["role"] == "strip"] if "role" in layout else layout
    places = [
        pd.DataFrame(
            {
                "longitude": np.linspace(west, east, in_a_strip + 2)[1:-1],
                "latitude": np.linspace(south, north, in_a_strip + 2)[1:-1],
                "yield_t_ha": mean,
            }
        )
        for (west, south, east, north), mean in zip(
            strips.geometry.bounds.to_numpy(), means, strict=True
        )
    ]
    return pd.concat(places, ignore_index=True)


@pytest.fixture(scope="module")
def four_pairs(rectangle):
    return lay_out(rectangle, ["untreated", "dressed"], 4, seeder_m=12, harvester_m=9, seed=3)


MEANS = np.array([3.1, 2.8, 3.0, 3.05, 2.6, 2.9, 3.3, 3.15])


def test_four_pairs_in_all_sixteen_draws(four_pairs):
    found = rehearse(four_pairs, yields_of(four_pairs, MEANS))
    assert found.every_draw
    assert found.draws == 16
    gains, needed, wrong = [], [], []
    block = np.repeat(list("abcd"), 2)
    for flips in product([0, 1], repeat=4):
        dressed = np.ravel([(flip, 1 - flip) for flip in flips])
        table = pd.DataFrame({"y": MEANS, "block": block, "dressed": dressed})
        fit = smf.ols("y ~ C(block) + dressed", table).fit()
        gains.append(fit.params["dressed"])
        half = fit.conf_int().loc["dressed", 1] - gains[-1]
        needed.append(half - gains[-1])
        wrong.append(fit.pvalues["dressed"] < 0.05)
    assert np.sort(found.gains.ravel()) == pytest.approx(np.sort(gains), abs=ROUNDING)
    assert np.sort(found.enough_t_ha.ravel()) == pytest.approx(np.sort(needed), abs=ROUNDING)
    assert found.false_positive_pct == pytest.approx(100 * np.mean(wrong))
    assert found.std_error_t_ha == pytest.approx(np.sqrt(np.mean(np.square(gains))))
    assert found.false_positive_error_pct == 0
    assert any("only 16 draws" in note for note in found.notes)
    middle = (np.sort(needed)[7] + np.sort(needed)[8]) / 2
    assert found.chance_seen(middle) == 0.5


def test_a_gain_is_seen_as_often_as_if_it_had_been_sown(four_pairs):
    """Yields with a true gain put into the dressed strips, draw by draw."""
    means = yields_of(four_pairs, MEANS)
    found = rehearse(four_pairs, means)
    block, seen = np.repeat(list("abcd"), 2), []
    for flips in product([0, 1], repeat=4):
        dressed = np.ravel([(flip, 1 - flip) for flip in flips])
        table = pd.DataFrame({"y": MEANS + 0.35 * dressed, "block": block, "dressed": dressed})
        seen.append(smf.ols("y ~ C(block) + dressed", table).fit().conf_int().loc["dressed", 0] > 0)
    assert 0 < np.mean(seen) < 1
    assert found.chance_seen(0.35) == np.mean(seen)


def test_verdicts_are_those_of_the_payoff(four_pairs):
    """Each draw put through the season's own decision."""
    found = rehearse(four_pairs, yields_of(four_pairs, MEANS))
    said = [
        payoff(gain + 0.2, error, found.df, price_per_t=300, cost_per_ha=15).verdict
        for gain, error in zip(found.gains.ravel(), found.errors_t_ha.ravel(), strict=True)
    ]
    assert len(set(said)) == 2
    (row,) = found.verdicts([0.2], 0.05).itertuples()
    assert row.paid_pct == pytest.approx(100 * np.mean([each == "paid" for each in said]))
    assert row.not_settled_pct == pytest.approx(
        100 * np.mean([each == "not settled" for each in said])
    )
    steps = found.verdicts(np.linspace(-1, 1, 9), 0.05)
    assert steps["paid_pct"].is_monotonic_increasing
    assert steps["did_not_pay_pct"].iloc[[0, -1]].tolist() == [100, 0]
    with pytest.raises(DesignError, match="Give the first below the second"):
        found.verdicts([0.1], 0.05, paid_at=0.1, did_not_pay_at=0.9)


def test_even_sides_are_drawn_as_the_design_draws(rectangle):
    plan = plan_trial(
        rectangle, ["untreated", "dressed"], 4, Wishes(12, 9), seed=3, draw="even sides"
    )
    # Every block rises from left to right by the same: sides that are even see none of it.
    means = np.tile([3.0, 3.2], 4) + np.tile([TINY, -TINY, -TINY, TINY], 2)
    found = rehearse(plan, yields_of(plan.layout, means))
    assert found.draws == 6
    assert found.std_error_t_ha == pytest.approx(0, abs=10 * TINY)
    # The layout alone knows how it was drawn; without that it is drawn freely.
    assert rehearse(plan.layout, yields_of(plan.layout, means)).draws == 6
    forgotten = plan.layout.copy()
    forgotten.attrs.clear()
    freely = rehearse(forgotten, yields_of(plan.layout, means))
    assert freely.draws == 16
    assert freely.std_error_t_ha == pytest.approx(0.1, abs=10 * TINY)


def test_a_layout_that_is_not_drawn_shows_its_bias_and_nothing_else(rectangle):
    plan = plan_trial(
        rectangle, ["untreated", "dressed"], 6, Wishes(12, 9), seed=3, draw="same order"
    )
    found = rehearse(plan, yields_of(plan.layout, 3 + 0.05 * np.arange(12) + TINY * np.eye(12)[4]))
    assert found.draws == 1
    assert found.gains.ravel() == pytest.approx(0.05, abs=TINY)
    assert np.isnan([found.detectable_t_ha, found.chance_seen(0.3)]).all()
    assert found.verdicts([0.1], 0.05).iloc[:, 1:].isna().all(axis=None)
    assert "shown a difference of 0.050 t/ha" in found.sentence(0.1)
    assert any("not drawn" in note for note in found.notes)


def test_uneven_blocks_drawn_by_hand_are_shuffled_inside_their_blocks(four_pairs):
    strips = four_pairs[four_pairs["role"] == "strip"].copy()
    strips.attrs.clear()
    strips["block"] = ["a"] * 5 + ["b"] * 3
    found = rehearse(strips, yields_of(strips, MEANS), draws=4000, seed=5)
    assert not found.every_draw
    assert found.draws == 4000
    pooled = np.sqrt((MEANS[:5].var() * 5 + MEANS[5:].var() * 3) / 6)
    assert found.by_map["cv_pct"][0] == pytest.approx(100 * pooled / MEANS.mean())
    assert found.false_positive_pct == pytest.approx(5, abs=3)


def test_against_the_formula_where_strips_are_independent(rectangle):
    layout = lay_out(rectangle, ["untreated", "dressed"], 10, seeder_m=12, harvester_m=9, seed=3)
    alike = yields_of(layout, np.full(20, 3.0))
    found = rehearse(layout, alike, draws=20_000, strip_sd_t_ha=0.12)
    assert found.std_error_t_ha == pytest.approx(0.12 * np.sqrt(2 / 10), rel=0.02)
    wanted = detectable_difference(10, 4.0, mean=3.0)
    assert found.detectable_t_ha == pytest.approx(wanted, rel=0.02)
    assert found.false_positive_pct == pytest.approx(5, abs=4 * found.false_positive_error_pct)


def test_three_treatments_in_blocks(rectangle):
    layout = lay_out(rectangle, ["untreated", "a", "b"], 6, seeder_m=12, harvester_m=9, seed=3)
    means = np.random.default_rng(2).normal(3, 0.15, 18)
    found = rehearse(layout, yields_of(layout, means), draws=20_000)
    blocks = means.reshape(6, 3)
    exact = np.sqrt(2 * blocks.var(axis=1, ddof=1).sum()) / 6
    assert found.treatments == 3
    assert found.std_error_t_ha == pytest.approx(exact, rel=0.02)


def test_several_seasons(four_pairs):
    flat, rough = (yields_of(four_pairs, 3 + scale * (MEANS - 3)) for scale in (0.5, 2.0))
    found = rehearse(four_pairs, [flat, rough])
    assert len(found.by_map) == 2
    once = rehearse(four_pairs, rough)
    assert found.by_map["std_error_t_ha"][1] == pytest.approx(once.std_error_t_ha)
    assert found.by_map["std_error_t_ha"][0] == pytest.approx(once.std_error_t_ha / 4)
    assert found.std_error_t_ha == pytest.approx(
        np.sqrt((found.by_map["std_error_t_ha"] ** 2).mean())
    )
    assert not any("one season" in note for note in found.notes)
    assert any("one season" in note for note in once.notes)


def test_on_a_simulated_field_it_agrees_with_its_own_variation(twelve_sides):
    layout = lay_out(twelve_sides, ["untreated", "dressed"], 12, seeder_m=12, harvester_m=9, seed=3)
    yields = simulate.past_yield(twelve_sides, seed=4)
    found = rehearse(layout, yields, draws=10_000)
    spread = strip_variation(yields, layout)
    assert found.by_map["cv_pct"][0] == pytest.approx(spread.cv_pct)
    assert found.mean_t_ha == pytest.approx(spread.mean_t_ha)
    # Pairs: the standard error is the strips' standard deviation by the root of 2 / 12.
    wanted = spread.cv_pct / 100 * spread.mean_t_ha * np.sqrt(2 / 12)
    assert found.std_error_t_ha == pytest.approx(wanted, rel=0.03)
    assert found.claimed_error_t_ha == pytest.approx(wanted, rel=0.03)


def test_same_seed_same_answer(four_pairs):
    yields = yields_of(four_pairs, MEANS)
    first, again, other = (
        rehearse(four_pairs, yields, strip_sd_t_ha=0.1, seed=seed) for seed in (7, 7, 8)
    )
    assert np.array_equal(first.gains, again.gains)
    assert not np.array_equal(first.gains, other.gains)


def test_sentence_says_what_would_be_seen(four_pairs):
    found = rehearse(four_pairs, yields_of(four_pairs, MEANS))
    chance = f"{found.chance_seen(0.3):.0%}"
    assert found.sentence(0.3).endswith(f"would be seen in {chance} of draws.")
    with pytest.raises(DesignError, match="break-even gain is -1"):
        found.sentence(-1)


@pytest.mark.parametrize("draws", [0, -3, 2.5, True, "many"])
def test_no_number_of_draws(four_pairs, draws):
    with pytest.raises(DesignError, match="no number of draws"):
        rehearse(four_pairs, yields_of(four_pairs, MEANS), draws=draws)


def test_bad_input_is_named(four_pairs):
    yields = yields_of(four_pairs, MEANS)
    with pytest.raises(DesignError, match="no past yield map"):
        rehearse(four_pairs, [])
    with pytest.raises(DesignError, match=r"standard deviation is -0\.1"):
        rehearse(four_pairs, yields, strip_sd_t_ha=-0.1)
    with pytest.raises(LayoutError, match="The seed is 'x'"):
        rehearse(four_pairs, yields, seed="x")
    with pytest.raises(DesignError, match="all have the same past yield"):
        rehearse(four_pairs, yields.assign(yield_t_ha=3.0))
    with pytest.raises(DesignError, match="0 yields in strip S5"):
        rehearse(four_pairs, yields[:48])
    with pytest.raises(DesignError, match="no column 'treatment'"):
        rehearse(four_pairs.drop(columns="treatment"), yields)
    with pytest.raises(DesignError, match="no column 'block'"):
        rehearse(four_pairs.drop(columns="block"), yields)
    with pytest.raises(DesignError, match="The layout has no strips"):
        rehearse(four_pairs[four_pairs["role"] == "headland"], yields)
    changed = four_pairs.copy()
    changed.loc[0, "treatment"] = changed.loc[1, "treatment"]
    with pytest.raises(DesignError, match="do not match the draw recorded"):
        rehearse(changed, yields)
    one = gpd.GeoDataFrame(four_pairs[four_pairs["role"] == "strip"])
    one.attrs.clear()
    with pytest.raises(ModelError, match="nothing to hold against"):
        rehearse(one.assign(treatment="untreated"), yields)
