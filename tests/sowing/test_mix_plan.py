"""Mixes against the arithmetic of the shed and published figures."""

from __future__ import annotations

import math

import pytest

from trialkit.sowing import Product, cells_per_seed, mix_plan, seed_moisture_after
from trialkit.sowing.living import published_minimum

# Sums of a few numbers near 1: only rounding of the machine.
EXACT = 1e-12


def test_the_lot_of_the_shed(plan):
    # Common practice, no source: 10 l/t at a tonne every 90 s needs 6.67 l/min, a 20 l mix does
    # 2 t, 16 t takes 160 l in 8 mixes, and 10 l/t of water adds 1% by mass.
    lot = plan(tank_l=80, auger_t_h=3600 / 90)
    assert (lot.total_l, lot.mixes, lot.seed_per_mix_t, lot.tank_fills) == (160, 8, 2, 2)
    assert lot.pump_l_min == pytest.approx(6.67, abs=0.005)
    assert lot.minutes == pytest.approx(16 * 1.5, rel=EXACT)
    assert lot.moisture_rise_pct == pytest.approx(1.0, rel=EXACT)
    assert lot.warnings == ()


def test_moisture_is_a_mass_balance(plan):
    # 10 l of water into 1,000 kg at 12%: 130 of 1,010 kg, 12.871%, not 13% (arithmetic of the
    # project's page of facts).
    assert seed_moisture_after(12, 10) == pytest.approx(100 * 130 / 1010, rel=EXACT)
    assert plan(seed_moisture_pct=12).moisture_after_pct == pytest.approx(12.871, abs=5e-4)
    assert plan().moisture_after_pct is None


# A slurry adds half to 1% of the weight of the seed, 5 to 10 l/t (teaching page, agriinfo.in).
@pytest.mark.parametrize(("rate_l_t", "rise_pct"), [(5, 0.5), (10, 1.0)])
def test_the_usual_slurry(plan, rate_l_t, rise_pct):
    assert plan(rate_l_t=rate_l_t).moisture_rise_pct == pytest.approx(rise_pct, rel=EXACT)


def test_water_of_a_product_whose_water_is_known(plan):
    syrup = Product("kelp syrup", "syrupy", 4, "l", density_kg_l=1.25, water_pct=60)
    lot = plan([syrup])
    assert lot.moisture_rise_pct == pytest.approx((6 + 4 * 1.25 * 0.6) / 10, rel=EXACT)
    assert lot.weight_gain_pct == pytest.approx((6 + 4 * 1.25) / 10, rel=EXACT)


def test_one_mix_in_order_with_water_first(plan):
    table = plan().per_mix
    assert table["product"].tolist() == ["water", "root microbe", "mineral powder", "humic liquid"]
    assert table["step"].tolist() == [1, 2, 3, 4]
    assert table["amount"].tolist() == [13, 4, 1000, 3]
    assert table["unit"].tolist() == ["l", "l", "g", "l"]
    assert table["measure"].tolist() == ["13 l", "4 l", "1 kg", "3 l"]


def test_all_mixes_are_alike_as_few_as_the_mixer_allows(plan):
    lot = plan(seed_t=17)
    assert lot.mixes == 9
    assert lot.mix_l == pytest.approx(170 / 9, rel=EXACT)
    assert any("9 full mixes of 20 l would do for 18 t" in note for note in lot.notes)


@pytest.mark.parametrize("seed_t", [0.3, 0.6, 1.2, 2.1, 3.3, 0.7 * 3])
def test_a_full_mix_that_rounding_overshoots_is_no_second_one(seed_t):
    # 0.1 + 0.2 is more than 0.3: the mixer must not feel it.
    mixer_l = math.nextafter(seed_t * 7, 0)
    water = [Product("thin stimulant", "watery", 1, "l")]
    assert mix_plan(seed_t, water, rate_l_t=7, mixer_l=mixer_l).mixes == 1


def test_the_tank_takes_whole_mixes(plan):
    lot = plan(tank_l=70)
    assert (lot.mixes_per_fill, lot.tank_fills) == (3, 3)
    assert plan(tank_l=1000).tank_fills == 1
    assert plan().tank_fills is None


def test_water_takes_up_the_rounding_and_the_mixer_does_not_run_over(plan):
    odd = [Product("root microbe", "watery", 1.2344, "l"), Product("kelp", "syrupy", 0.71, "l")]
    table = plan(odd, seed_t=2).per_mix.set_index("product")
    assert table.loc["root microbe", "measure"] == "2.45 l"
    assert table.loc["kelp", "measure"] == "1.4 l"
    assert table.loc["water", "measure"] == "16.1 l"
    rounding = table.loc["root microbe", "rounding_pct"]
    assert rounding == pytest.approx(100 * (2.45 / 2.4688 - 1), abs=1e-8)
    whole = plan(odd, seed_t=2).totals.set_index("product").loc["root microbe"]
    assert whole["per_t"] == pytest.approx(1.2344, rel=EXACT)
    assert whole["per_t_measured"] == pytest.approx(1.225, rel=1e-9)


def test_whole_jugs(plan):
    table = plan(jug_l=3).per_mix.set_index("product")
    assert table.loc["water", "measure"] == "4 jugs of 3 l + 1 l"
    assert table.loc["humic liquid", "measure"] == "1 jug of 3 l"
    assert table.loc["mineral powder", "measure"] == "1 kg"


def test_a_powder_takes_the_room_its_density_says(plan):
    light = plan([Product("mineral powder", "powder", 1, "kg")], seed_t=1)
    dense = plan([Product("mineral powder", "powder", 1, "kg", density_kg_l=2.5)], seed_t=1)
    assert light.per_mix.loc[0, "amount"] == 10
    assert dense.per_mix.loc[0, "amount"] == pytest.approx(9.6)
    assert any("takes up to 1 l" in note for note in light.notes)
    assert dense.moisture_rise_pct == pytest.approx(0.96)


def test_a_rate_a_hectare(plan):
    # 4 l/t at 75 kg/ha is 0.30 l/ha (arithmetic of the project's page of facts).
    by_area = plan([Product("root microbe", "watery", per_ha=0.30)], seed_kg_ha=75)
    by_tonne = plan([Product("root microbe", "watery", 4)], seed_kg_ha=75)
    found = by_area.per_mix.set_index("product")["amount"]
    assert found["root microbe"] == pytest.approx(8, rel=EXACT)
    assert found.tolist() == pytest.approx(by_tonne.per_mix["amount"].tolist())


def test_a_recipe_without_room_for_water(plan):
    lot = plan([Product("thin stimulant", "watery", 10, "l")])
    assert lot.per_mix["product"].tolist() == ["thin stimulant"]
    # A third a tonne three times is the rate, though floats say a little more.
    thirds = [Product(f"part {n}", "watery", 0.7 / 3, "l") for n in range(3)]
    assert "water" not in mix_plan(2, thirds, rate_l_t=0.7, mixer_l=5).per_mix["product"].tolist()


def test_packs_costs_and_what_is_left(plan):
    products = [
        Product("root microbe", "watery", 2000, "ml", pack=10, pack_unit="l", cost_per_pack=90),
        Product("mineral powder", "powder", 0.5, "kg", pack=5000, pack_unit="g", cost_per_kg=4),
        Product("humic liquid", "syrupy", 1.5, "l", density_kg_l=1.2, cost_per_kg=5),
    ]
    lot = plan(products, seed_kg_ha=75)
    table = lot.purchase.set_index("product")
    assert table["need"].tolist() == [32_000, 8, 24]
    assert table["packs"].tolist()[:2] == [4, 2]
    assert table["left_over"].tolist()[:2] == [8000, 2]
    assert math.isnan(table.loc["humic liquid", "packs"])
    assert table["cost_per_t"].tolist() == pytest.approx([18, 2, 9])
    assert table["outlay"].tolist() == pytest.approx([360, 40, 144])
    assert lot.cost_per_t == pytest.approx(29)
    assert lot.cost_per_ha == pytest.approx(29 * 0.075)


def test_a_cost_is_not_made_up(plan, recipe):
    priced = [*recipe[:2], Product("mineral powder", "powder", 500, "g", cost_per_kg=4)]
    lot = plan(priced)
    assert lot.cost_per_t is None
    assert any("No price is known for 'humic liquid' and 'root microbe'" in n for n in lot.notes)


def test_living_cells_on_a_seed():
    # 10⁹ a gram, 250 g on 100 kg of seed, 40 g a thousand: 10⁵ a seed (arithmetic of the
    # project's page of facts).
    assert cells_per_seed(1e9 * 2500, 40) == pytest.approx(1e5, rel=EXACT)


# Least viable cells a seed: Canada Fertilizers Regulations, C.R.C. c. 666, s. 10.2(1), in force
# 2006-03-22 to 2013-04-25.
@pytest.mark.parametrize(
    ("crop", "cells"),
    [
        ("alfalfa", 1e3),
        ("lucerne", 1e3),
        ("Clover", 1e3),
        ("birdsfoot trefoil", 1e3),
        ("sainfoin", 1e4),
        ("beans", 1e5),
        ("field peas", 1e5),
        ("soybean", 1e5),
        ("oats", None),
        ("", None),
        (None, None),
    ],
)
def test_published_minimums(crop, cells):
    assert published_minimum(crop) == cells


@pytest.mark.parametrize(("per_t", "enough"), [(2500, True), (2499, False)])
def test_living_cells_against_the_minimum(plan, per_t, enough):
    peat = Product("nodule microbe", "powder", per_t, "g", living_per_g=1e9, keeps_on_seed_h=24,
                   keeps_mixed_h=5)  # fmt: skip
    lot = plan([peat], seed_weight_g_1000=40, crop="peas")
    row = lot.living.iloc[0]
    assert (row["minimum_per_seed"], row["enough"]) == (1e5, enough)
    assert any("at least 100,000 are wanted" in warning for warning in lot.warnings) != enough


def test_the_makers_minimum_goes_before_the_published(plan):
    microbe = Product("root microbe", "watery", 2, "l", living_per_ml=1e8, minimum_per_seed=2e4)
    row = plan([microbe], seed_weight_g_1000=40, crop="oats").living.iloc[0]
    assert row["cells_per_seed"] == pytest.approx(8000)
    assert (row["enough"], row["source"]) == (False, "given with the product")


def test_living_cells_without_a_seed_weight_are_not_known(plan):
    microbe = Product("root microbe", "watery", 2, "l", living_per_ml=1e8)
    lot = plan([microbe], crop="peas")
    assert lot.living.iloc[0]["enough"] is None
    assert any("weight of a thousand seeds" in note for note in lot.notes)


def test_the_plan_cannot_be_changed_and_says_it_again(plan):
    first, second = plan(tank_l=80), plan(tank_l=80)
    assert first.per_mix.equals(second.per_mix)
    with pytest.raises(AttributeError, match="cannot assign"):
        first.mixes = 3
