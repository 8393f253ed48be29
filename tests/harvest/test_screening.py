"""Screening: each rule takes what it should and nothing else; nothing is deleted."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pydantic import ValidationError

from trialkit.errors import LogWarning
from trialkit.harvest import Screening, screen, screening_account, shift_flow, split_passes
from trialkit.harvest.overlap import fresh_share
from trialkit.harvest.rules import RULES
from trialkit.harvest.settings import IMPOSSIBLE, RULE_NAMES, screening_levels

#: No rule but the one under test.
LENIENT = {
    "pass_start_s": 0,
    "pass_end_s": 0,
    "beside_stop_s": 0,
    "beside_jump_s": 0,
    "speed_jump_share": 10,
    "beside_part_s": 0,
}


@pytest.fixture
def one_pass(drive):
    return drive(passes=1)


def reasons(log: pd.DataFrame, **limits: float) -> pd.Series:
    return screen(log, Screening(**(LENIENT | limits)))["reason"]


def flagged(reason: pd.Series, name: str) -> list[int]:
    return reason.index[reason == name].tolist()


def test_a_sound_pass_is_kept_whole(one_pass):
    screened = screen(one_pass, Screening(**LENIENT))
    assert screened["kept"].all()
    assert (screened["reason"] == "").all()
    assert {"pass_id", "distance_m"} <= set(screened)


def test_nothing_is_deleted_or_changed(drive):
    log = drive(passes=3)
    before = log.copy()
    screened = screen(log)
    pd.testing.assert_frame_equal(screened[list(log)], before)
    pd.testing.assert_frame_equal(log, before)
    assert (screened["kept"] == (screened["reason"] == "")).all()


@pytest.mark.parametrize(
    ("column", "value", "reason"),
    [
        ("speed_m_s", 0.2, "stopped or too slow"),
        ("speed_m_s", 5.5, "too fast"),
        ("yield_t_ha", 40.0, "absurd yield"),
        ("yield_t_ha", 0.05, "absurd yield"),
        ("yield_t_ha", np.nan, "missing value"),
        ("moisture_pct", 3.0, "moisture out of range"),
        ("moisture_pct", 45.0, "moisture out of range"),
        ("swath_m", 6.0, "part swath"),
    ],
)
def test_one_value_out_of_range(one_pass, column, value, reason):
    one_pass.loc[70, column] = value
    assert flagged(reasons(one_pass), reason) == [70]
    assert (reasons(one_pass) != "").sum() == 1


def test_no_position_and_a_jump(one_pass):
    one_pass.loc[70, ["longitude", "latitude"]] = 0.0
    one_pass.loc[90, "latitude"] += 0.01
    found = reasons(one_pass)
    assert flagged(found, "no position") == [70]
    assert flagged(found, "position jump") == [90]
    assert (found != "").sum() == 2


def test_header_up(one_pass):
    one_pass.loc[70:72, "swath_m"] = 0.0
    assert flagged(reasons(one_pass), "header up") == [70, 71, 72]


def test_starts_and_ends_of_passes_in_seconds(one_pass):
    found = reasons(one_pass, pass_start_s=10, pass_end_s=5)
    assert flagged(found, "start of pass") == list(range(10))
    assert flagged(found, "end of pass") == list(range(len(one_pass) - 5, len(one_pass)))


def test_a_pass_starts_where_grain_comes(one_pass):
    # 20 s over the headland that is cut already, then the crop
    one_pass.loc[:19, "yield_t_ha"] = 0.0
    found = reasons(one_pass, pass_start_s=10)
    assert flagged(found, "start of pass") == list(range(30))


def test_beside_a_stop(one_pass):
    one_pass.loc[70:75, "speed_m_s"] = 0.0
    found = reasons(one_pass, beside_stop_s=3)
    assert flagged(found, "stopped or too slow") == list(range(70, 76))
    assert flagged(found, "beside a stop") == [67, 68, 69, 76, 77, 78]


def test_a_short_pass(drive):
    log = drive(passes=3)
    last = log["true_pass"] == 2
    brief = log[~last | (log["true_y_m"] < 40)]
    found = reasons(brief, least_pass_m=60)
    assert set(found[last[brief.index]]) <= {"turning", "short pass"}
    assert flagged(found, "short pass") == [
        i for i in found.index[found == "short pass"] if last[i]
    ]
    assert len(flagged(found, "short pass")) > 10


def test_turns(drive):
    found = reasons(drive(passes=3))
    assert "turning" in set(found)


def test_outside_the_field(one_pass):
    split = split_passes(one_pass)
    field = gpd.GeoSeries.from_wkt(
        ["POLYGON((84.9 -38.6,85.1 -38.6,85.1 -38.499,84.9 -38.499,84.9 -38.6))"]
    )
    boundary = gpd.GeoDataFrame(geometry=field, crs="EPSG:4326")
    found = screen(split, Screening(**LENIENT), boundary=boundary)["reason"]
    north = one_pass["latitude"] > -38.499
    assert 0 < north.sum() < len(one_pass)
    assert ((found == "outside the field") == north).all()


def test_the_first_reason_wins(one_pass):
    one_pass.loc[70, ["speed_m_s", "yield_t_ha", "moisture_pct"]] = [0.1, 90.0, 0.0]
    assert reasons(one_pass)[70] == "stopped or too slow"


def test_a_log_without_clock_speed_width_or_moisture(one_pass):
    log = one_pass[["longitude", "latitude", "yield_t_ha"]]
    screened = screen(log)
    assert screened["kept"].all()
    assert "swath_m" not in screened
    assert (screen(log, harvester_m=10.0)["swath_m"] == 10.0).all()


def test_ground_cut_before_is_found(drive):
    log = drive(passes=5)
    # the second pass runs 4 m over the first one's ground: 6 of 10 m are fresh
    aside = 4.0 / (111_195 * np.cos(np.radians(38.5)))
    second = log["true_pass"] == 1
    log.loc[second, "longitude"] -= aside
    found = reasons(log)
    inside = log["true_y_m"].between(20, 280)
    assert (found[second & inside] == "overlap").all()
    assert (found[~second & inside & (log["true_pass"] >= 0)] == "").all()
    split = split_passes(log)
    share = fresh_share(split, 10.0, (log["true_pass"] >= 0).to_numpy())
    # the raster's cells are 0.5 m wide, on a width of 10 m
    assert np.median(share[second & inside]) == pytest.approx(0.6, abs=0.05)


def test_passes_edge_to_edge_do_not_overlap(drive):
    log = drive(passes=6, noise_m=0.1)
    share = fresh_share(split_passes(log), 10.0, (log["true_pass"] >= 0).to_numpy())
    assert np.nanpercentile(share[log["true_pass"] >= 0], 5) > 0.9


def test_driving_over_standing_crop_takes_nothing_from_later_passes(drive):
    log = drive(passes=6)
    # the first pass is driven with the front up; the second then cuts the same ground
    log.loc[log["true_pass"] == 0, "yield_t_ha"] = 0.0
    log.loc[log["true_pass"] == 1, "longitude"] = log["longitude"].iloc[0]
    found = reasons(log)
    assert "overlap" not in set(found)
    inside = log["true_y_m"].between(20, 280)
    assert (found[(log["true_pass"] == 1) & inside] == "").all()


def test_a_sensor_that_fails_does_not_hide_what_was_cut(drive):
    log = drive(passes=5)
    first = (log["true_pass"] == 0) & log["true_y_m"].between(100, 200)
    log.loc[first, "yield_t_ha"] = 0.0
    aside = 4.0 / (111_195 * np.cos(np.radians(38.5)))
    log.loc[log["true_pass"] == 1, "longitude"] -= aside
    beside = (log["true_pass"] == 1) & log["true_y_m"].between(20, 280)
    assert (reasons(log)[beside] == "overlap").all()


def test_a_driver_who_always_overlaps_loses_nothing_and_is_told(drive):
    log = drive(passes=8, swath_m=8.0).assign(swath_m=10.0)
    with pytest.warns(LogWarning, match=r"usually overlap earlier ones: 2.% of the width"):
        found = reasons(log)
    assert (found[log["true_pass"] >= 1] != "overlap").all()


def test_a_rule_that_takes_too_much_is_questioned(one_pass):
    with pytest.warns(LogWarning, match=r"100% of the records .*'too fast'.*speed_high_m_s under"):
        screen(one_pass.assign(speed_m_s=7.0))


def test_widths_that_disagree_are_questioned(one_pass):
    # 20 ft logged as 17.5: the wrong width by one ninth (Purdue extension, in the handbook facts)
    with pytest.warns(LogWarning, match=r"full cut width is 10\.00 m, but harvester_m is 12 m"):
        screen(one_pass, Screening(**(LENIENT | {"swath_least_share": 0.5})), harvester_m=12.0)


def test_the_account_adds_up(drive, rough_field):
    log = shift_flow(drive(delay_s=8.0, yield_t_ha=rough_field), 8.0)
    log.loc[70:80, "speed_m_s"] = 0.1
    screened = screen(log)
    account = screening_account(screened)
    assert account["records"].sum() == (~screened["kept"]).sum()
    assert account["share_pct"].sum() == pytest.approx(100 * (~screened["kept"]).mean())
    order = [name for name in RULES if name in set(account["reason"])]
    assert account["reason"].tolist() == order
    by_reason = account.set_index("reason")
    # 11 records of 0.1 m on 10 m
    slow = by_reason.loc["stopped or too slow"]
    assert slow["area_ha"] == pytest.approx(11 * 0.1 * 10 / 1e4)
    yields = screened.loc[70:80, "yield_t_ha"]
    assert slow["grain_t"] == pytest.approx((yields * 0.1 * 10 / 1e4).sum())


def test_an_account_of_nothing(one_pass):
    account = screening_account(screen(one_pass, Screening(**LENIENT)))
    assert account.empty
    assert list(account) == ["reason", "records", "share_pct", "area_ha", "grain_t"]


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ({"speed_low_m_s": 5}, r"speed_low_m_s \(5\) must be below speed_high_m_s \(4\)"),
        ({"yield_high_t_ha": 0.05}, r"yield_low_t_ha \(0\.1\) must be below"),
        ({"moisture_low_pct": 40}, r"moisture_low_pct \(40\) must be below"),
        ({"speed_low": 1}, "Extra inputs are not permitted"),
        ({"rules": ("turnin",)}, r"'turnin' is no rule\. Did you mean 'turning'\?"),
        ({"rules": ("turning", "turning")}, "the rule 'turning' stands twice"),
        ({"pass_start_s": "soon"}, r"must be 'found' or seconds from 0 to 120, not 'soon'"),
        ({"pass_end_s": -1}, "must be 'found' or seconds from 0 to 120"),
    ],
)
def test_limits_that_make_no_sense(limits, message):
    with pytest.raises(ValidationError, match=message):
        Screening(**limits)


def test_every_rule_names_its_source():
    for name, rule in RULES.items():
        assert rule.__doc__, name
        assert any(word in rule.__doc__ for word in ("et al.", "common practice")), name


def test_rules_are_used_in_the_order_given(one_pass):
    one_pass.loc[70, ["speed_m_s", "yield_t_ha"]] = [0.1, 90.0]
    assert reasons(one_pass, rules=("absurd yield", "stopped or too slow"))[70] == "absurd yield"
    assert reasons(one_pass, rules=("too fast",))[70] == ""
    assert set(IMPOSSIBLE) <= set(RULE_NAMES)


def test_a_record_written_twice(one_pass):
    twice = pd.concat([one_pass.iloc[:71], one_pass.iloc[70:]], ignore_index=True)
    assert flagged(reasons(twice), "duplicate") == [71]


def test_a_logger_faster_than_its_clock_writes_no_duplicates(drive):
    log = drive(passes=1, interval_s=0.2)
    slow = log.assign(time=log["time"].dt.floor("s"))
    for name in ("longitude", "latitude"):
        slow[name] = log[name].iloc[log.index // 5 * 5].to_numpy()
    assert "duplicate" not in set(reasons(slow, rules=("duplicate",)))


def test_one_export_put_in_twice(one_pass):
    both = pd.concat([one_pass.assign(file="a.csv"), one_pass.assign(file="b.csv")])
    both = both.sort_values("time", kind="stable", ignore_index=True)
    found = reasons(both)
    assert (found[both["file"] == "b.csv"] == "duplicate").all()
    assert (found[both["file"] == "a.csv"] != "duplicate").all()


def test_a_flow_that_hangs(one_pass):
    one_pass.loc[60:79, "flow_kg_s"] = 7.77
    assert flagged(reasons(one_pass), "frozen value") == list(range(60, 80))
    assert flagged(reasons(one_pass, frozen_s=30), "frozen value") == []
    one_pass.loc[60:79, "flow_kg_s"] = 0.0  # nothing to thresh is no frozen sensor
    assert flagged(reasons(one_pass), "frozen value") == []


def test_a_yield_that_hangs_where_there_is_no_clock(one_pass):
    log = one_pass[["longitude", "latitude", "yield_t_ha"]].copy()
    log.loc[60:79, "yield_t_ha"] = 3.3
    assert flagged(reasons(log), "frozen value") == list(range(60, 80))


def test_a_yield_that_hangs_is_seen_after_a_delay_was_taken_out(one_pass):
    """A monitor that writes its yield alone, at a speed that changes: grain is spread anew."""
    log = one_pass.drop(columns=["flow_kg_s", "grain_kg"])
    log["speed_m_s"] = 2.0 + 0.3 * np.sin(np.arange(len(log)) / 7)
    log["yield_t_ha"] = 4.0 + 0.2 * np.sin(np.arange(len(log)))
    log.loc[60:79, "yield_t_ha"] = 3.3
    for delay_s in (0, 5, 11):
        shifted = shift_flow(split_passes(log), delay_s)
        found = flagged(reasons(shifted), "frozen value")
        assert found == list(range(60 - delay_s, 80 - delay_s))


def test_a_yield_that_the_machine_holds(one_pass):
    one_pass["yield_held"] = 0.0
    one_pass.loc[60:69, "yield_held"] = 1.0
    one_pass.loc[70:79, "yield_held"] = np.nan
    assert flagged(reasons(one_pass), "held yield") == list(range(60, 70))
    # What is held is the sensor's reading: its ground was cut before.
    shifted = shift_flow(split_passes(one_pass), 11.0)
    assert flagged(reasons(shifted), "held yield") == list(range(49, 59))
    assert "held yield" in IMPOSSIBLE


def test_a_sudden_change_of_speed(one_pass):
    one_pass.loc[70:, "speed_m_s"] = 1.2
    found = reasons(one_pass, speed_jump_share=0.25, beside_jump_s=2)
    assert flagged(found, "speed jump") == [68, 69, 70, 71, 72]
    one_pass.loc[40, "speed_m_s"] = 1.3  # a flicker is no change
    again = reasons(one_pass, speed_jump_share=0.25, beside_jump_s=2)
    assert flagged(again, "speed jump") == [68, 69, 70, 71, 72]
    slowly = one_pass.assign(speed_m_s=np.linspace(2.0, 1.0, len(one_pass)))
    assert flagged(reasons(slowly, speed_jump_share=0.25), "speed jump") == []


def test_what_a_part_swath_smears_over_goes_with_it(one_pass):
    one_pass.loc[70:75, "swath_m"] = 6.0
    found = reasons(one_pass, beside_part_s=2)
    assert flagged(found, "part swath") == list(range(68, 78))


def test_every_limit_that_a_warning_names_is_a_setting():
    from trialkit.harvest.screening import _LIMIT_OF

    for name, limits in _LIMIT_OF.items():
        assert name in RULES
        assert all(limit in Screening.model_fields for limit in limits.split(" and "))


def test_the_levels_get_harder():
    levels = screening_levels(Screening(), 8.0, 6.0)
    assert list(levels) == ["none", "light", "default", "hard"]
    assert [len(level.rules) for level in levels.values()] == [0, len(IMPOSSIBLE), 22, 22]
    assert levels["default"] == Screening(pass_start_s=8.0, pass_end_s=6.0)
    hard = Screening.model_validate(levels["hard"].model_dump())  # copies are not checked
    assert hard.pass_start_s == 18.0
