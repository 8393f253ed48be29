import time
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from trialkit import simulate
from trialkit.columns import LOG_COLUMNS
from trialkit.errors import LayoutError
from trialkit.simulate.mishaps import plan_events

#: Machines differ in speed: ten times what one needs, and still a bound.
SMALL_SECONDS, LARGE_SECONDS = 2.0, 5.0


def metres_apart(log):
    """Distance between neighbouring positions, m, on a sphere that is flat nearby."""
    north = np.deg2rad(np.diff(log["latitude"])) * 6_371_009
    east = np.deg2rad(np.diff(log["longitude"])) * 6_371_009 * np.cos(np.deg2rad(38.5))
    return np.hypot(east, north)


def test_the_log_has_canonical_columns_in_their_order(season):
    expected = [name for name in LOG_COLUMNS if name in season.log]
    assert list(season.log) == expected
    assert len(season.records) == len(season.log)
    assert season.log.notna().all(axis=None)
    assert (season.log["time"].diff().dropna() == pd.Timedelta(seconds=1)).all()


def test_the_same_seed_gives_the_same_log(layout):
    one, two, other = (simulate.harvest_trial(layout, seed=seed).log for seed in (7, 7, 8))
    assert_frame_equal(one, two, check_exact=True)
    assert not one["flow_kg_s"].head(500).equals(other["flow_kg_s"].head(500))


def test_mishaps_leave_the_crop_alone(layout):
    clean = simulate.harvest_trial(layout, seed=7).truth
    rough = simulate.harvest_trial(layout, seed=7, mishaps=simulate.Mishaps()).truth
    columns = ["strip", "yield_t_ha", "undressed_t_ha"]
    assert_frame_equal(clean.strips[columns], rough.strips[columns])
    assert clean.mishaps.empty


def test_passes_run_both_ways_and_cover_every_strip(season):
    records = season.records
    cut = records[records["strip"] != ""]
    heading = cut.groupby("pass_id")["heading_deg"].median()
    up = np.cos(np.deg2rad(heading - 23)) > 0
    assert up.sum() == (~up).sum() == 12
    assert set(cut["strip"]) == set(season.truth.strips["strip"])
    ways = cut.assign(up=np.cos(np.deg2rad(cut["heading_deg"] - 23)) > 0).groupby("strip")["up"]
    assert (ways.nunique() == 2).all()


def test_the_machine_drives_in_the_middle_of_its_lanes(layout, season):
    plan = simulate.measure(layout)
    records = season.records[(season.records["strip"] != "") & (season.records["mishap"] == "")]
    driven = records.groupby("pass_id")["across_m"].median().sort_values().to_numpy()
    middles = plan.strips["across_from_m"].to_numpy()[:, None] + [6.0, 18.0]
    assert driven == pytest.approx(middles.ravel(), abs=0.1)


def test_grain_cut_is_yield_times_area_and_wet(layout):
    """At 20% moisture a tonne at 12.5% weighs 87.5 / 80 tonnes."""
    field = simulate.Field(moisture_pct=20, drying_pct_h=0)
    season = simulate.harvest_trial(layout, field, seed=1)
    records = season.records[season.records["header_down"]]
    cut_m2 = (season.log["speed_m_s"].loc[records.index] * records["cut_m"]).sum()
    dry_kg = (season.log["speed_m_s"] * records["cut_m"] * records["yield_t_ha"] / 10).sum()
    # Speeds in the log have noise of 0.02 m/s a record.
    assert records["intake_kg_s"].sum() / dry_kg == pytest.approx(87.5 / 80, rel=2e-3)
    assert cut_m2 == pytest.approx(24 * 200 * 11.9, rel=0.01)


def test_the_headland_is_cut_before_the_strips(season):
    """24 m of headland take two laps of 12 m."""
    records = season.records
    first_strip = np.flatnonzero(records["strip"] != "")[0]
    laps = records.iloc[:first_strip]
    assert set(laps.loc[laps["header_down"], "pass_id"]) >= {0, 1}
    lap = laps[laps["pass_id"] == 0]
    around = 2 * (12 * 24 + 48 - 12) + 2 * (200 + 48 - 12)
    assert lap["distance_m"].max() == pytest.approx(around, rel=0.01)


def test_a_last_lap_is_as_narrow_as_what_is_left():
    layout = simulate.lay_strips(["u", "d"], 2, seed=1, headland_m=18)
    boundary = simulate.field_boundary(layout)
    season = simulate.harvest_trial(layout, seed=1, boundary=boundary)
    narrow = season.records["pass_id"] == 1
    assert season.records.loc[narrow, "cut_m"].median() == pytest.approx(6 - 0.1, abs=0.1)
    assert set(season.log.loc[narrow, "swath_m"]) == {12.0, 6.0}
    assert (season.records.loc[narrow, "mishap"] != "").all()


def test_nothing_is_cut_in_a_turn(season):
    turns = season.records[~season.records["header_down"]]
    assert (turns["pass_id"] == -1).all()
    assert (turns["intake_kg_s"] == 0).all()
    assert (turns["strip"] == "").all()
    assert turns["distance_m"].isna().all()


def test_speed_and_position_agree(season):
    usual = season.records["mishap"] != "position jump"
    usual = (usual & usual.shift(1, fill_value=True)).to_numpy()[1:]
    moved = metres_apart(season.log)[usual]
    speed = season.log["speed_m_s"].to_numpy()[1:][usual]
    # A turn is logged in whole seconds, so the record that starts a pass can be off by one.
    assert np.median(np.abs(moved - speed)) < 0.05
    assert np.quantile(np.abs(moved - speed), 0.95) < 0.2


def test_each_mishap_is_where_the_truth_says(season):
    log, records = season.log, season.records
    kinds = season.truth.mishaps.groupby("kind")["record"].apply(list)
    counts = {kind: len(rows) for kind, rows in kinds.items()}
    planned = simulate.Mishaps()
    assert counts["flow spike"] == planned.spikes
    assert counts["position jump"] == planned.jumps
    assert counts["stop"] == planned.stops * planned.stop_s
    assert counts["crawl"] == planned.crawls * planned.crawl_s
    assert (log["flow_kg_s"].iloc[kinds["flow spike"]] >= planned.spike_kg_s[0]).all()
    assert log["flow_kg_s"].drop(kinds["flow spike"]).max() < planned.spike_kg_s[0] / 2
    assert (log["speed_m_s"].iloc[kinds["stop"]] < 0.15).all()
    crawl = planned.crawl_share * 1.9
    assert log["speed_m_s"].iloc[kinds["crawl"]].mean() == pytest.approx(crawl, abs=0.02)
    before = metres_apart(log)[np.array(kinds["position jump"]) - 1]
    assert (before > planned.jump_m[0] - 5).all()
    hidden, shown = kinds["part swath, not recorded"], kinds["part swath, recorded"]
    assert (log["swath_m"].iloc[hidden] == 12.0).all()
    assert records["cut_m"].iloc[hidden].max() < 0.95 * 12
    gap = log["swath_m"].iloc[shown] - records["cut_m"].iloc[shown]
    assert gap.abs().max() < 0.4


def test_a_part_swath_is_a_drift_over_the_lane_before():
    """The right edge of the header moves left by as much as is not cut."""
    layout = simulate.lay_strips(["u", "d"], 3, seed=1, length_m=800)
    mishaps = simulate.Mishaps(stops=0, crawls=0, part_swaths=6, spikes=0, jumps=0)
    season = simulate.harvest_trial(layout, seed=1, mishaps=mishaps)
    records = season.records
    drifted = records[records["mishap"] != ""]
    lanes = records[records["mishap"] == ""].groupby("pass_id")["across_m"].median()
    left = drifted["pass_id"].map(lanes) - drifted["across_m"]
    lost = 12 - drifted["cut_m"]
    # Overlap (0.1 m) and steering (0.04 m) come on top.
    assert (left - lost).abs().max() < 0.4
    assert lost.max() > 4
    assert len(set(drifted["pass_id"])) > 1
    # It still cuts the strip of its own lane.
    cut = records[records["strip"] != ""]
    assert len(cut[["pass_id", "strip"]].drop_duplicates()) == cut["pass_id"].nunique()


def test_sound_records_cut_nearly_their_full_width(season):
    records = season.records
    sound = (records["mishap"] == "") & records["header_down"]
    assert records.loc[sound, "cut_m"].between(0.95 * 12 - 0.4, 12.0).all()


def test_yields_by_flow_give_the_true_strip_yields_back(layout):
    """Shift the flow back by its delay, leave out the ends: strip means within 3% of the truth.

    What is left is noise along the pass near the ends, and overlap.
    """
    monitor = simulate.Monitor(calibration=1.0, moisture_drift_pct_h=0.0, delay_s=11, smear_s=1)
    machine = simulate.Machine(overlap_m=0.0, overlap_sd_m=0.0)
    season = simulate.harvest_trial(layout, seed=4, monitor=monitor, machine=machine)
    records, log = season.records, season.log
    flow = log["flow_kg_s"].shift(-11)
    inner = (records["strip"] != "") & (records["from_start_s"] > 8) & (records["to_end_s"] > 8)
    dry = (100 - records["moisture_pct"]) / (100 - 12.5)
    grain = (flow * dry)[inner].groupby(records["strip"]).sum()
    area = (records["cut_m"] * log["speed_m_s"])[inner].groupby(records["strip"]).sum()
    found = season.truth.strips["strip"].map(10 * grain / area)
    true = season.truth.strips["yield_t_ha"]
    assert found.to_numpy() == pytest.approx(true.to_numpy(), rel=0.03)


@pytest.mark.parametrize("interval_s", [0.2, 5.0])
def test_other_intervals_cover_the_same_ground(layout, interval_s):
    monitor = simulate.Monitor(interval_s=interval_s)
    season = simulate.harvest_trial(layout, seed=4, monitor=monitor)
    area_m2 = (season.records["cut_m"] * season.log["speed_m_s"]).sum() * interval_s
    assert area_m2 == pytest.approx(12 * 24 * 200, rel=0.05)
    steps = season.log["time"].diff().dropna().dt.total_seconds()
    assert steps.to_numpy() == pytest.approx(np.full(len(steps), interval_s))


def test_a_harvester_can_straddle_strips(layout):
    machine = simulate.Machine(swath_m=10.0, follow_strips=False)
    season = simulate.harvest_trial(layout, seed=4, machine=machine)
    assert season.records["pass_id"].max() + 1 == np.ceil(288 / 10)


def test_scales_weigh_the_grain_as_harvested(season):
    weights = simulate.trailer_weights(season, seed=1, scale_sd_pct=0, moisture_sd_pct=0)
    dry_kg = weights["mass_kg"] * (100 - weights["moisture_pct"]) / (100 - 12.5)
    true = season.truth.strips
    assert (dry_kg / weights["area_ha"] / 1000).to_numpy() == pytest.approx(true["yield_t_ha"])
    assert list(weights) == ["strip", "mass_kg", "moisture_pct", "area_ha"]
    noisy = simulate.trailer_weights(season, seed=1)
    assert (noisy["mass_kg"] / weights["mass_kg"] - 1).abs().max() < 0.02
    assert not noisy["mass_kg"].equals(weights["mass_kg"])


def test_points_are_centred_on_the_truth(layout):
    plan = simulate.measure(layout)
    points = simulate.points(plan, effects={"a": simulate.Effect(0.5)}, seed=1, spacing_m=5)
    assert set(points["strip"]) == set(plan.strips["strip"])
    assert points.groupby("pass_id")["distance_m"].is_monotonic_increasing.all()
    assert points.groupby(["strip"])["pass_id"].nunique().eq(2).all()
    many = [
        simulate.points(plan, effects={"a": simulate.Effect(0.5)}, seed=seed, spacing_m=20)
        for seed in range(60)
    ]
    means = pd.concat(many).groupby("treatment")["yield_t_ha"].mean()
    # 60 draws of 4 strips with a standard deviation of some 0.12: error of the difference 0.01.
    assert means["a"] - means["b"] == pytest.approx(0.5, abs=0.04)


def test_points_lie_in_their_strips(layout):
    plan = simulate.measure(layout)
    points = simulate.points(plan, seed=1)
    strips = layout[layout["strip"] == "S5"].to_crs(plan.crs).geometry.iloc[0]
    mine = points[points["strip"] == "S5"]
    bounds = strips.bounds
    assert mine["x_m"].between(bounds[0], bounds[2]).all()
    assert mine["y_m"].between(bounds[1], bounds[3]).all()


def test_mishaps_that_do_not_fit_are_refused(layout):
    crowded = simulate.Mishaps(stops=200)
    with pytest.raises(LayoutError, match="do not fit on 24 lanes"):
        simulate.harvest_trial(layout, seed=1, mishaps=crowded)
    with pytest.raises(LayoutError, match="spikes and jumps do not fit"):
        simulate.harvest_trial(layout, seed=1, mishaps=simulate.Mishaps(spikes=10**6))


def test_no_two_events_share_a_place():
    events = plan_events(simulate.Mishaps(stops=40, crawls=40), 21, np.random.default_rng(1))
    assert len(events) == 84
    for one, two in pairwise(events):
        assert one.lane < two.lane or two.at - one.at > 0.1


def test_it_is_quick():
    small = simulate.lay_strips(["untreated", "a", "b"], 4, seed=1, length_m=200)
    started = time.perf_counter()
    season = simulate.harvest_trial(small, seed=1)
    assert time.perf_counter() - started < SMALL_SECONDS
    assert 2000 < len(season.log) < 4000
    large = simulate.lay_strips(["untreated", "dressed"], 8, seed=1, length_m=1100)
    started = time.perf_counter()
    season = simulate.harvest_trial(large, seed=1)
    assert time.perf_counter() - started < LARGE_SECONDS
    assert len(season.log) > 18_000
