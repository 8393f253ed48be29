"""Seed rates against the worked examples of extension services."""

from __future__ import annotations

import math

import pandas as pd
import pytest

from trialkit.errors import SowingError
from trialkit.sowing import plants_sown, seed_needed, seeding_rate
from trialkit.units import convert

EXACT = 1e-12


# Table of sowing rates for cereals, New Zealand seed trade: germination 95%, establishment 90%;
# plants/m², then kg/ha as printed for thousand-seed weights of 45, 50 and 55 g.
@pytest.mark.parametrize(
    ("plants", "printed"),
    [
        (100, (53, 59, 64)),
        (125, (66, 73, 80)),
        (175, (92, 102, 113)),
        (200, (105, 117, 129)),
        (250, (132, 146, 161)),
        (300, (158, 175, 193)),
    ],
)
def test_a_printed_table(plants, printed):
    found = [seeding_rate(plants, grams, 95, 90) for grams in (45, 50, 55)]
    # The page rounds twice: 58.48 to 58.5, and that to 59.
    assert [math.floor(round(rate, 1) + 0.5) for rate in found] == list(printed)


@pytest.mark.parametrize(
    ("plants", "grams", "survive_pct", "printed", "digits"),
    [
        # agriland.co.uk, "Getting the right seed rate in your spring cereals".
        (300, 50, 85, 176, 0),
        # agriland.ie, "What factors affect seeding rate".
        (300, 51.9, 85, 183, 0),
        # Birchip Cropping Group, "Calculating canola seeding rates": 211,400 seeds a kg.
        (40, 1e6 / 211_400, 85, 2.23, 2),
    ],
)
def test_worked_examples(plants, grams, survive_pct, printed, digits):
    assert round(seeding_rate(plants, grams, survive_pct), digits) == printed
    assert seeding_rate(plants, grams, 100, survive_pct) == pytest.approx(
        seeding_rate(plants, grams, survive_pct), rel=EXACT
    )


@pytest.mark.parametrize(
    ("plants_ft2", "grams", "survive_pct", "printed", "off"),
    [
        # Canola Council of Canada, 2010-05-17; its constant 9.6 stands for 9.6033.
        (10, 4, 50, 7.7, 0.05),
        # Manitoba Agriculture; printed cut off, not rounded: the formula gives 4.7262.
        (8, 4, 65, 4.72, 0.01),
    ],
)
def test_worked_examples_in_pounds_an_acre(plants_ft2, grams, survive_pct, printed, off):
    plants_m2 = convert(plants_ft2, "1/ft**2", "1/m**2")
    pounds = convert(seeding_rate(plants_m2, grams, survive_pct), "kg/ha", "lb/ac")
    assert pounds == pytest.approx(printed, abs=off)
    # Alberta Agriculture, Agri-Facts 100/22-1: plants × weight / survival / 10.413 (with survival
    # as a share); 10.413 by unit arithmetic.
    assert pounds == pytest.approx(plants_ft2 * grams / (survive_pct / 100) / 10.413, rel=5e-5)


def test_plants_from_pounds_an_acre():
    # Canola Council of Canada, 2016-05-11: 5.5 lb/ac of 5 g seed is 11.5 seeds a square foot,
    # 7 plants at 60%.
    kg_ha = convert(5.5, "lb/ac", "kg/ha")
    seeds = convert(plants_sown(kg_ha, 5, 100), "1/m**2", "1/ft**2")
    assert seeds == pytest.approx(11.5, abs=0.05)
    plants = convert(plants_sown(kg_ha, 5, 100, 60), "1/m**2", "1/ft**2")
    assert plants == pytest.approx(7, abs=0.15)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"germination_pct": 110}, "germination is 110%. No more than 100 of 100"),
        ({"germination_pct": 0}, "germination is 0%. It must be 1 to 100%"),
        ({"germination_pct": 0.95}, r"germination is 0.95%; did you mean 95%\?"),
        ({"germination_pct": math.nan}, "germination is nan"),
        ({"germination_pct": "95%"}, "germination is '95%'"),
        ({"establishment_pct": 100.5}, "establishment is 100.5%"),
        ({"establishment_pct": True}, "establishment is True"),
        ({"seed_weight_g_1000": 0}, "weight of a thousand seeds is 0 g"),
        ({"seed_weight_g_1000": -45}, "weight of a thousand seeds is -45 g"),
        ({"seed_weight_g_1000": 0.045}, r"that is 0.045 g; did you mean 45\?"),
        ({"seed_weight_g_1000": 45_000}, r"that is 45,000 g; did you mean 45\?"),
        ({"seed_weight_g_1000": None}, "Say what a thousand seeds weigh"),
        ({"target_plants_m2": 0}, "plants wanted is 0 plants/m²"),
        ({"target_plants_m2": 200_000}, r"did you mean 200\?"),
        ({"target_plants_m2": math.inf}, "plants wanted is inf"),
    ],
)
def test_a_rate_that_makes_no_sense(change, says):
    usual = {"target_plants_m2": 200, "seed_weight_g_1000": 45, "germination_pct": 95}
    with pytest.raises(SowingError, match=says):
        seeding_rate(**(usual | change))


def test_seed_by_treatment():
    need = seed_needed(
        {"untreated": 10, "dressed": 12},
        75,
        reserve_pct=10,
        purge_kg=40,
        fills={"untreated": 1, "dressed": 2},
        weight_gain_pct={"dressed": 1.2},
        cart_kg=500,
        cost_per_t={"untreated": 400, "dressed": 460},
    )
    table = need.table.set_index("treatment")
    # By hand: 0.75 t + 10% + 40 kg; 0.9 t + 10% + 80 kg.
    assert table["seed_t"].tolist() == pytest.approx([0.865, 1.07], rel=EXACT)
    assert table["load_t"].tolist() == pytest.approx([0.865, 1.08284], rel=EXACT)
    assert table["drill_kg_ha"].tolist() == pytest.approx([75, 75.9], rel=EXACT)
    assert table["cart_fills"].tolist() == [2, 3]
    assert table["ha_per_fill"].tolist() == pytest.approx([500 / 75, 500 / 75.9], rel=EXACT)
    assert table["cost"].tolist() == pytest.approx([346, 492.2], rel=EXACT)
    assert table["cost_per_ha"].tolist() == pytest.approx([34.6, 492.2 / 12], rel=EXACT)
    assert need.seed_t == pytest.approx(1.935, rel=EXACT)
    assert need.dressed_t == pytest.approx(1.07, rel=EXACT)
    assert any("not sown on the same area" in note for note in need.notes)


def test_what_was_not_given_is_blank_and_said():
    need = seed_needed({"untreated": 10, "dressed": 10}, 75)
    assert need.table[["cart_fills", "ha_per_fill", "cost", "cost_per_ha"]].isna().all(axis=None)
    text = " ".join(need.notes)
    assert "reserve of 5%" in text
    assert "give purge_kg" in text
    assert "cart's load was not given" in text
    assert seed_needed({"a": 1}, 75, cost_per_t=400).table.loc[0, "cost"] == pytest.approx(31.5)


@pytest.mark.parametrize(
    ("areas", "change", "says"),
    [
        ({}, {}, "Give the hectares by treatment"),
        ([10, 10], {}, "Give the hectares by treatment"),
        ({"dressed": 0}, {}, "area of 'dressed' is 0 ha"),
        ({"dressed": math.nan}, {}, "area of 'dressed' is nan"),
        ({"": 10}, {}, "name of the treatment is ''"),
        ({"dressed": 10}, {"seed_kg_ha": 75_000}, r"that is 75,000 kg/ha; did you mean 75\?"),
        ({"dressed": 10}, {"reserve_pct": -5}, "reserve is -5%"),
        ({"dressed": 10}, {"purge_kg": -1}, "seed to purge is -1 kg"),
        ({"dressed": 10}, {"cart_kg": 0}, "cart is 0 kg"),
        ({"dressed": 10}, {"fills": {"dresed": 1}}, "names a treatment 'dresed' that is not sown"),
        ({"dressed": 10}, {"fills": 2}, "fills is 2. Give it by treatment"),
        ({"dressed": 10}, {"weight_gain_pct": {"dressed": 80}}, "weight gain of 'dressed' is 80%"),
        ({"dressed": 10}, {"cost_per_t": -4}, "cost of seed is -4"),
    ],
)
def test_needs_that_make_no_sense(areas, change, says):
    with pytest.raises(SowingError, match=says):
        seed_needed(areas, **({"seed_kg_ha": 75} | change))


def test_areas_may_be_a_column():
    strips = pd.DataFrame({"treatment": ["bare", "dressed", "bare"], "area_ha": [1.0, 2.0, 1.0]})
    need = seed_needed(strips.groupby("treatment")["area_ha"].sum(), 75)
    assert need.table["area_ha"].tolist() == [2, 2]
