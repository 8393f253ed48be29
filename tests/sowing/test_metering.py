"""The meter for dressed seed, and arms that were not sown alike."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trialkit.errors import SowingError
from trialkit.sowing import compare_arms, recalibrate
from trialkit.sowing.stand import RESPONSE_PCT

EXACT = 1e-12


def test_weight_alone_needs_no_other_setting():
    # Seed that only gained weight: as many seeds, each 1.5% heavier.
    found = recalibrate(40, 10.0, 10.15, weight_gain_pct=1.5)
    assert found.seeds_change_pct == pytest.approx(0, abs=1e-9)
    assert found.new_setting == pytest.approx(40, rel=EXACT)
    assert not found.needed


def test_the_new_setting_gives_the_seeds_of_the_old():
    # A meter in proportion to its setting that lost 8% of its seeds to damp.
    bare, gain, loss = 10.0, 1.2, 0.92
    found = recalibrate(40, bare, bare * (1 + gain / 100) * loss, weight_gain_pct=gain)
    assert found.seeds_change_pct == pytest.approx(-8, rel=1e-9)
    assert found.needed
    seeds_at_new = loss * found.new_setting / 40
    assert seeds_at_new == pytest.approx(1, rel=EXACT)
    assert found.catch_kg == pytest.approx(10.12, rel=EXACT)


def test_catches_that_spread_more_than_they_differ_say_so():
    found = recalibrate(40, [9.0, 10.0, 11.0], [9.2, 10.3, 10.8], weight_gain_pct=1)
    assert found.low_pct < found.seeds_change_pct < found.high_pct
    assert "the meter may not differ at all" in found.warnings[0]
    assert "single catch" in recalibrate(40, 10, 9.5, weight_gain_pct=1).warnings[0]
    same = recalibrate(40, [10, 10], [10, 10], weight_gain_pct=0)
    assert (same.low_pct, same.high_pct, same.warnings) == (0, 0, ())


def test_a_meter_that_bridges():
    found = recalibrate(40, [10, 10.1], [6, 6.1], weight_gain_pct=1)
    assert any("bridging or a blocked meter" in warning for warning in found.warnings)
    assert any("Lock out" in warning for warning in found.warnings)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"setting": 0}, "setting of the meter is 0"),
        ({"bare_kg": 0}, "catch of bare seed is 0 kg"),
        ({"bare_kg": []}, "no catch of bare seed"),
        ({"dressed_kg": [9, math.nan]}, "catch of dressed seed is nan"),
        ({"dressed_kg": "9"}, "catch of dressed seed is '9'"),
        ({"weight_gain_pct": -1}, "weight gain is -1%"),
        ({"weight_gain_pct": 101}, "weight gain is 101%"),
    ],
)
def test_a_meter_that_makes_no_sense(change, says):
    usual = {"setting": 40, "bare_kg": 10, "dressed_kg": 9.6, "weight_gain_pct": 1}
    with pytest.raises(SowingError, match=says):
        recalibrate(**(usual | change))


def test_arms_sown_alike():
    check = compare_arms({"untreated": 150, "dressed": 145}, "untreated")
    assert (check.alike, check.warnings) == (True, ())
    assert check.table["difference_pct"].tolist() == pytest.approx([0, -100 / 30])
    assert check.table["bias_t_ha"].isna().all()
    assert "common practice, no source" in check.assumption


def test_a_thicker_arm_is_flattered_and_the_assumption_is_said():
    check = compare_arms(
        {"untreated": 150, "dressed": 168}, "untreated", response_pct=2, yield_t_ha=3
    )
    # By hand: 12% more plants, 2% of yield for 10%: 2.4% of 3 t/ha.
    assert check.table.loc[1, "bias_t_ha"] == pytest.approx(0.072, rel=EXACT)
    assert not check.alike
    sentence = check.warnings[0]
    assert "sown 12% thicker than 'untreated'. That alone flatters its yield by about 2.4%" in (
        sentence
    )
    assert "0.07 t/ha" in sentence
    assert sentence.endswith("10% more plants are taken to bring 2% of yield.")


def test_a_thinner_arm_is_held_back_unless_thin_stands_yield_more():
    stands = {"untreated": 150, "dressed": 120}
    assert "holds back" in compare_arms(stands, "untreated").warnings[0]
    assert "flatters" in compare_arms(stands, "untreated", response_pct=-1).warnings[0]


def test_the_response_assumed_beside_a_published_trial():
    # Gomez and Gomez 1984, Statistical Procedures for Agricultural Research, table 2.5, p. 26:
    # rice, kg/ha by seed rate, four reps. The slope of log yield on log rate is that of yield, %,
    # on plants, %.
    yields = {
        25: (5113, 5398, 5307, 4678),
        50: (5346, 5952, 4719, 4264),
        75: (5272, 5713, 5483, 4749),
        100: (5164, 4831, 4986, 4410),
        125: (4804, 4848, 4432, 4748),
        150: (5254, 4542, 4919, 4098),
    }
    means = [np.mean(row) for row in yields.values()]
    slope = float(np.polyfit(np.log(list(yields)), np.log(means), 1)[0])
    assert slope == pytest.approx(-0.052, abs=5e-4)
    assert 10 * abs(slope) < RESPONSE_PCT


@pytest.mark.parametrize(
    ("stands", "control", "change", "says"),
    [
        ({"untreated": 150}, "untreated", {}, "two treatments or more"),
        ([150, 140], "untreated", {}, "two treatments or more"),
        ({"untreated": 150, "dressed": 0}, "untreated", {}, "stand of 'dressed' is 0"),
        ({"untreated": 150, "dressed": 140}, "bare", {}, "There is no treatment 'bare'"),
        ({"a": 150, "b": 140}, "a", {"response_pct": 50}, "response of the yield is 50%"),
        ({"a": 150, "b": 140}, "a", {"tolerance_pct": 0}, "tolerance is 0%"),
        ({"a": 150, "b": 140}, "a", {"yield_t_ha": 3000}, r"did you mean 3\?"),
    ],
)
def test_arms_that_make_no_sense(stands, control, change, says):
    with pytest.raises(SowingError, match=says):
        compare_arms(stands, control, **change)
