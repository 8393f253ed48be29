"""Passes: found at any logging rate, whatever the receiver does."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import LogError
from trialkit.harvest import split_passes
from trialkit.harvest.passes import jumped

#: A pass begins and ends within the metres in which a turn can be told from a straight line.
PASS_END_M = 12.0


def of_passes(log: pd.DataFrame) -> pd.DataFrame:
    return log[log["pass_id"] > 0].groupby("pass_id")


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("noise_m", [0.0, 0.05, 0.3])
def test_every_pass_is_found_once_at_any_rate(drive, interval_s, noise_m):
    log = split_passes(drive(interval_s=interval_s, noise_m=noise_m))
    inside = log["true_y_m"].between(PASS_END_M, 300 - PASS_END_M)
    crop = log[(log["true_pass"] >= 0) & inside]
    pairs = crop[["true_pass", "pass_id"]].drop_duplicates()
    assert len(pairs) == 8
    assert (pairs["pass_id"].to_numpy() == np.arange(1, 9)).all()
    length = of_passes(log)["distance_m"].max()
    # a record at each end may count to the turn; noise lengthens the way, but not by much
    records_m = 2 * 2.0 * interval_s
    assert length.between(300 - PASS_END_M - records_m, 300 + 2 * PASS_END_M).all()


def test_headings_and_distances(drive):
    log = split_passes(drive(noise_m=0.05))
    middle = log[(log["distance_m"] > 50) & (log["distance_m"] < 250)]
    off = (middle["heading_deg"] - np.where(middle["pass_id"] % 2 == 1, 0, 180) + 180) % 360 - 180
    assert np.abs(off).max() < 3.0
    driven = middle.groupby("pass_id")["distance_m"].diff().dropna()
    # 2 m/s at 1 s, give or take the noise of two positions
    assert driven.median() == pytest.approx(2.0, abs=0.02)
    assert (driven >= 0).all()


def test_metres_lie_about_the_middle(drive):
    log = split_passes(drive())
    true = log[["true_x_m", "true_y_m"]].to_numpy()
    own = log[["x_m", "y_m"]].to_numpy()
    # the tests' degrees are spherical, the grid ellipsoidal: up to 0.4% of 300 m
    np.testing.assert_allclose(own - own[0], true - true[0], atol=1.5)


def test_turns_belong_to_no_pass(drive):
    log = split_passes(drive(swath_m=20.0))
    turn = log[(log["true_pass"] < 0)]
    assert (turn["pass_id"] == 0).mean() > 0.6
    assert turn.loc[turn["pass_id"] == 0, "distance_m"].isna().all()


def test_a_stop_does_not_split_a_pass(drive):
    log = drive(passes=1)
    stop = log.iloc[[60] * 90].assign(speed_m_s=0.0)
    draw = np.random.default_rng(3)
    for name in ("longitude", "latitude"):
        stop[name] += draw.normal(0, 1e-6, len(stop))
    log = pd.concat([log.iloc[:60], stop, log.iloc[60:]], ignore_index=True)
    log["time"] = pd.Timestamp("2025-11-24") + pd.to_timedelta(np.arange(len(log)), unit="s")
    assert split_passes(log)["pass_id"].unique().tolist() == [1]


def test_a_gap_in_time_splits_a_pass(drive):
    log = drive(passes=1)
    log.loc[60:, "time"] += pd.Timedelta(seconds=120)
    assert split_passes(log)["pass_id"].value_counts(sort=False).tolist() == [60, 90]


def test_a_leap_ahead_splits_a_log_without_a_clock(drive):
    log = drive(passes=2)
    log = log[log["true_pass"] >= 0].drop(columns=["time", "speed_m_s"])
    log.loc[log["true_pass"] == 1, "longitude"] += 0.001
    split = split_passes(log.reset_index(drop=True))
    assert split.groupby("true_pass")["pass_id"].unique().str.len().tolist() == [1, 1]
    assert split["pass_id"].max() == 2


def test_header_up_splits_a_pass(drive):
    log = drive(passes=1)
    log.loc[60:80, "swath_m"] = 0.0
    assert (split_passes(log).loc[60:80, "pass_id"] == 0).all()


def test_a_dodge_and_a_curve_stay_one_pass(drive):
    log = drive(passes=1, noise_m=0.02)
    along = np.arange(len(log)) * 2.0
    # 1 m aside about a pole, on a curve of radius 150 m
    angle = along / 150.0
    dodge = np.exp(-(((along - 150) / 6) ** 2))
    east = 150 * (1 - np.cos(angle)) + dodge
    log["longitude"] = 85 + east / (111_195 * np.cos(np.radians(38.5)))
    log["latitude"] = -38.5 + 150 * np.sin(angle) / 111_195
    assert split_passes(log)["pass_id"].unique().tolist() == [1]


def test_jumps_are_bridged(drive):
    log = drive(passes=2)
    log.loc[50:53, "latitude"] += 40 / 111_195
    log.loc[100, "longitude"] += 0.002
    log.loc[0:1, "latitude"] += 0.002
    split = split_passes(log)
    assert split["pass_id"].max() == 2
    assert (split.loc[50:53, "pass_id"] == 1).all()
    # the jumped ones lie on the straight between their neighbours
    np.testing.assert_allclose(split.loc[49:54, "distance_m"].diff().dropna(), 2.0, atol=0.05)
    flags = jumped(*split[["x_m", "y_m"]].to_numpy().T, np.arange(len(log)) * 1.0, 10.0)
    assert np.flatnonzero(flags).tolist() == [0, 1, 50, 51, 52, 53, 100]


def test_records_without_position_are_kept_outside_passes(drive):
    log = drive(passes=1)
    log.loc[10, ["longitude", "latitude"]] = np.nan
    log.loc[20, ["longitude", "latitude"]] = 0.0
    split = split_passes(log)
    assert split.loc[[10, 20], "pass_id"].tolist() == [0, 0]
    assert split.loc[[10, 20], ["x_m", "heading_deg", "distance_m"]].isna().all(axis=None)
    assert (split.drop(index=[10, 20])["pass_id"] == 1).all()


def test_no_position_at_all_is_refused(drive):
    with pytest.raises(LogError, match="No record of the log has a position"):
        split_passes(drive(passes=1).assign(longitude=0.0, latitude=0.0))


@pytest.mark.parametrize("records", [1, 2, 3])
def test_a_few_records_are_no_pass(drive, records):
    assert (split_passes(drive(passes=1).iloc[:records])["pass_id"] == 0).all()


def test_a_leap_to_another_field_ends_the_pass_without_a_pause(drive):
    first, second = drive(passes=1, length_m=400.0), drive(passes=1, length_m=400.0)
    second["latitude"] += 0.05
    second["time"] += first["time"].iloc[-1] - first["time"].iloc[0] + pd.Timedelta(seconds=1)
    split = split_passes(pd.concat([first, second], ignore_index=True))
    assert split.groupby("pass_id").size().tolist() == [len(first), len(second)]
    assert split["distance_m"].max() < 400
