"""Faults of the sensors and the log: planted where the truth says, and nothing else moved."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit import simulate
from trialkit.errors import LayoutError
from trialkit.simulate import mishaps
from trialkit.simulate.mishaps import plan_slips


@pytest.fixture(scope="module")
def field():
    return simulate.lay_strips(["untreated", "dressed"], blocks=8, seed=1, length_m=500)


@pytest.fixture(scope="module")
def harvests(field):
    """The same harvest with the usual mishaps, and with faults of the sensors on top."""
    usual = simulate.Mishaps()
    more = simulate.Mishaps(freezes=4, surges=12, wet_slips=8)
    return [simulate.harvest_trial(field, seed=7, mishaps=m) for m in (usual, more)]


def rows(season, kind):
    truth = season.truth.mishaps
    return truth.loc[truth["kind"] == kind, "record"].to_numpy()


def test_new_faults_leave_the_old_ones_and_all_else_alone(harvests):
    usual, more = harvests
    for kind in (mishaps.STOP, mishaps.PART_SWATH, mishaps.SPIKE, mishaps.JUMP):
        assert rows(usual, kind).tolist() == rows(more, kind).tolist()
    planted = np.concatenate([rows(more, k) for k in (mishaps.FREEZE, mishaps.SURGE, mishaps.WET)])
    others = usual.log.index.difference(pd.Index(planted))
    pd.testing.assert_frame_equal(usual.log.loc[others], more.log.loc[others], check_exact=True)


def test_a_frozen_flow_is_one_value_for_the_seconds_asked(harvests):
    season = harvests[1]
    frozen = rows(season, mishaps.FREEZE)
    runs = np.split(frozen, np.flatnonzero(np.diff(frozen) > 1) + 1)
    assert len(runs) == 4
    for run in runs:
        assert 25 <= len(run) <= 60
        flow = season.log["flow_kg_s"].to_numpy()[run]
        assert (flow == flow[0]).all()
        assert flow[0] > 0


def test_a_flow_that_is_off_is_off_both_ways(harvests):
    usual, more = harvests
    at = rows(more, mishaps.SURGE)
    assert len(at) == 12 * 3
    factor = (more.log["flow_kg_s"] / usual.log["flow_kg_s"]).to_numpy()[at]
    assert ((np.abs(factor - 1) > 0.49) & (np.abs(factor - 1) < 0.81)).all()
    assert (factor > 1).sum() == (factor < 1).sum() == 18


def test_an_absurd_moisture_makes_its_yield_absurd_too(harvests):
    season = harvests[1]
    wet = rows(season, mishaps.WET)
    assert len(wet) == 8
    assert season.log["moisture_pct"].to_numpy()[wet].min() >= 35
    assert season.log["moisture_pct"].drop(wet).max() < 20


def test_sudden_braking_is_from_one_record_to_the_next(field):
    braking = simulate.Mishaps(0, crawls=0, part_swaths=0, spikes=0, jumps=0, brakes=5)
    season = simulate.harvest_trial(field, seed=3, mishaps=braking)
    at = rows(season, mishaps.BRAKE)
    assert len(at) == 5 * 6
    first = at[np.diff(at, prepend=-9) > 1]
    speed = season.log["speed_m_s"].to_numpy()
    assert (speed[first] / speed[first - 1] < 0.75).all()


def test_a_record_written_twice_stands_behind_its_twin(field):
    season = simulate.harvest_trial(field, seed=3, mishaps=simulate.Mishaps(repeats=6))
    clean = simulate.harvest_trial(field, seed=3, mishaps=simulate.Mishaps())
    twice = rows(season, mishaps.REPEAT)
    assert len(twice) == 6
    assert len(season.log) == len(season.records) == len(clean.log) + 6
    again, before = (season.log.iloc[at].reset_index(drop=True) for at in (twice, twice - 1))
    pd.testing.assert_frame_equal(again, before)
    left = season.log.drop(index=twice).reset_index(drop=True)
    pd.testing.assert_frame_equal(left, clean.log)
    pd.testing.assert_frame_equal(season.truth.strips, clean.truth.strips)


def test_runs_of_faults_that_do_not_fit_are_refused():
    sound = np.ones(200, dtype=bool)
    many = simulate.Mishaps(0, crawls=0, part_swaths=0, spikes=0, jumps=0, freezes=9)
    with pytest.raises(LayoutError, match="9 runs of faulty records do not fit"):
        plan_slips(sound, many, np.random.default_rng(1))


def test_faults_of_the_sensors_lie_apart():
    sound = np.ones(5000, dtype=bool)
    slips = plan_slips(sound, simulate.EVERY_MISHAP, np.random.default_rng(2))
    at = np.sort(np.concatenate([*slips.of_kinds().values(), slips.repeats]))
    assert len(np.unique(at)) == len(at)
    starts = np.sort([first for first, _ in (*slips.freezes, *slips.surges)])
    assert np.diff(starts).min() > 20
