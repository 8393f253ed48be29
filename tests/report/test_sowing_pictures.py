"""Pictures and tables of the sowing: what they draw, and the words in their place."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import SowingError
from trialkit.language import speaking
from trialkit.report import sowing_tables
from trialkit.report.sowing_pictures import dial_picture, morning_picture, order_picture
from trialkit.sowing import (
    Product,
    compare_arms,
    fit_pump_line,
    mix_plan,
    pump_by_auger,
    seed_needed,
    sowing_order,
)


@pytest.fixture
def mix():
    """Make a plan of eight mixes in two fillings, with changes."""

    def make(keeps_h=1.0, **change):
        broth = Product(
            "broth", "watery", 2, "l", pack=10, cost_per_pack=150, keeps_mixed_h=keeps_h
        )
        usual = {"rate_l_t": 10, "mixer_l": 20, "tank_l": 80, "auger_t_h": 40, "seed_kg_ha": 80}
        return mix_plan(16, [broth], **(usual | change))

    return make


@pytest.fixture
def strips():
    """Four strips as they lie."""
    return pd.DataFrame(
        {
            "strip": ["S1", "S2", "S3", "S4"],
            "block": ["B1", "B1", "B2", "B2"],
            "treatment": ["untreated", "dressed", "dressed", "untreated"],
            "from_m": [0.0, 12, 24, 36],
            "to_m": [12.0, 24, 36, 48],
            "start_m": [0.0, 0, 5, 5],
            "length_m": [300.0, 300, 290, 290],
            "area_ha": [0.36, 0.36, 0.348, 0.348],
        }
    )


def test_the_morning_is_drawn_to_the_hour_a_mix_keeps(mix):
    picture = morning_picture(mix(keeps_h=4), minutes_a_mix=10)
    bars = picture.plot.data
    assert bars["end"].max() == pytest.approx(2 * (40 + 12))
    assert (bars["end"] >= bars["start"]).all()
    assert picture.alt.startswith("8 mixes in 2 fillings; the last is on the seed after 104 min")
    assert "Too old: none." in picture.alt
    assert "Orange" in picture.caption
    assert picture.drawn("svg") == picture.drawn("svg")


def test_mixes_that_are_too_old_are_counted(mix):
    # The first of a filling is 52 minutes old, the second 42, the third 32, the last 22.
    assert "Too old: 4." in morning_picture(mix(keeps_h=0.6), minutes_a_mix=10).alt


@pytest.mark.parametrize(("keeps_h", "says"), [(None, "No product says"), (90, "further than")])
def test_a_mix_that_keeps_for_days_or_nobody_knows(mix, keeps_h, says):
    picture = morning_picture(mix(keeps_h=keeps_h))
    assert says in picture.caption
    picture.drawn("png")


def test_no_morning_without_the_auger(mix):
    with pytest.raises(SowingError, match="auger's flow is not known"):
        morning_picture(mix(auger_t_h=None))


def test_the_dial_and_the_band_it_must_hit():
    dial, flow = [2, 4, 6], [3.1, 6.0, 9.1]
    line = fit_pump_line(dial, flow)
    setting = line.dial_for(6.67)
    picture = dial_picture(line, dial, flow, setting, 5)
    assert picture.plot.data["flow"].tolist() == flow
    assert f"Set the dial to {setting.dial:.2f} for 6.67 l/min" in picture.alt
    assert "known to ±" in picture.alt
    picture.drawn("svg")
    two = fit_pump_line(dial[:2], flow[:2])
    words = dial_picture(two, dial[:2], flow[:2], two.dial_for(5), 5).alt
    assert "its error is not known" in words


def test_every_strip_has_its_place_and_its_way(strips):
    order = sowing_order(strips, "untreated")
    picture = order_picture(order, strips, control="untreated")
    drawn = picture.plot.data.set_index("strip")
    assert drawn["order"].to_dict() == {"S1": 1, "S4": 2, "S3": 3, "S2": 4}
    near = drawn["start_end"] == "near"
    assert np.array_equal(drawn["leaves_m"] < drawn["arrives_m"], near)
    assert "untreated: S1, S4; dressed: S3, S2." in picture.alt
    picture.drawn("svg")


def test_many_treatments_still_have_a_colour(strips):
    many = pd.concat([strips.assign(strip=strips["strip"] + f"-{n}") for n in range(4)])
    many["treatment"] = [f"arm {n % 8}" for n in range(16)]
    order = sowing_order(many, "arm 0")
    order_picture(order, many, control="arm 0").drawn("png")


def test_tables_hold_what_was_worked_out(mix, strips):
    plan = mix()
    html = sowing_tables.mix_rows(plan).html()
    assert "Fill" not in html
    assert "16 l" in html  # of water in one mix: 160 l less 32 l of broth, in eight
    assert "32 l" in html
    packs = sowing_tables.pack_rows(plan, "AUD").html()
    assert "To pay for the packs, AUD" in packs
    assert "600.00" in packs  # four packs of 10 l
    assert "2.40" in packs  # 2 l/t at 15 a litre and 80 kg/ha
    need = seed_needed({"untreated": 10, "dressed": 10}, 80)
    seed = sowing_tables.seed_rows(need).html()
    assert "Cart fills" not in seed
    assert "0.840" in seed
    assert "6.67" in sowing_tables.match_rows(pump_by_auger(10, 40)).html()
    check = compare_arms({"untreated": 150, "dressed": 138}, "untreated", yield_t_ha=3)
    assert "common practice, no source" in sowing_tables.arm_rows(check).html()


def test_tables_are_in_the_language(mix, german):
    words = {
        "water": "Wasser",
        "Product": "Mittel",
        "One mix, in the order it goes in": "Eine Mischung",
        "To pay for the packs": "Gebinde kosten",
    }
    plan = mix()
    with speaking(german(words)):
        mixed = sowing_tables.mix_rows(plan).html()
        packs = sowing_tables.pack_rows(plan, "AUD").html()
    assert "Wasser" in mixed
    assert "water" not in re.sub("<.*?>", "", mixed)
    assert "broth" in mixed
    assert "Eine Mischung" in mixed
    assert "Gebinde kosten, AUD" in packs
    assert "600,00" in packs
    assert "water" in set(plan.per_mix["product"])
