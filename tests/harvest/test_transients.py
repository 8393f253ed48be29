"""How long starts and ends of passes are left out: found from the flow curve."""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.harvest import find_pass_ends, shift_flow, split_passes
from trialkit.harvest.transients import USUAL_S

#: The curve has a point a second.
WITHIN_S = 1.5


@pytest.fixture
def filling(drive):
    """Make a log whose yields rise for some seconds at the start and fall at the end."""

    def make(rise_s=8.0, fall_s=4.0, passes=12, slope=0.0, **drive_with):
        log = drive(passes=passes, length_m=400, **drive_with)
        draw = np.random.default_rng(5)
        on = log["true_pass"] >= 0
        clock = (log["time"] - log["time"].iloc[0]).dt.total_seconds()
        since = clock - clock.groupby(log["true_pass"]).transform("min")
        left = clock.groupby(log["true_pass"]).transform("max") - clock
        share = np.minimum(1, 0.2 + 0.8 * since / rise_s) * np.minimum(1, 0.2 + 0.8 * left / fall_s)
        better_ends = 1 + slope * np.abs(log["true_y_m"] - 200) / 200
        noise = 1 + 0.05 * draw.standard_normal(len(log))
        log["yield_t_ha"] = np.where(on, 4 * share * better_ends * noise, 0.0)
        return split_passes(log)

    return make


@pytest.mark.parametrize(("rise_s", "fall_s"), [(8, 4), (15, 6), (5, 12)])
def test_both_ends_are_found(filling, rise_s, fall_s):
    ends = find_pass_ends(filling(rise_s, fall_s))
    assert ends.start_found
    assert ends.end_found
    assert ends.start_s == pytest.approx(rise_s, abs=WITHIN_S)
    assert ends.end_s == pytest.approx(fall_s, abs=WITHIN_S)
    start = ends.curve[ends.curve["end"] == "start"].set_index("seconds")["share"]
    assert start.loc[0] < 0.4
    assert start.loc[30:].mean() == pytest.approx(1, abs=0.01)
    assert ends.passes == 12


def test_a_field_that_is_better_at_its_ends_loses_no_more(filling):
    ends = find_pass_ends(filling(8, 4, slope=0.15))
    assert ends.start_s == pytest.approx(8, abs=WITHIN_S)
    assert ends.end_s == pytest.approx(4, abs=WITHIN_S)


def test_at_a_record_each_two_seconds(filling):
    ends = find_pass_ends(filling(8, 4, interval_s=2.0))
    assert ends.start_s == pytest.approx(8, abs=2)


def test_the_machines_own_limits_are_the_least(filling):
    log = filling(8, 4).assign(lead_ignore_s=15.0, lag_ignore_s=2.0)
    ends = find_pass_ends(log)
    assert ends.start_s == 15.0
    assert ends.end_s == pytest.approx(4, abs=WITHIN_S)
    assert ends.start_found


@pytest.mark.parametrize(("delay_s", "left_s"), [(0, 15.0), (6, 9.0), (20, 0.0), (-3, 15.0)])
def test_the_seconds_a_machine_ignores_count_on_its_own_clock(drive, delay_s, left_s):
    """What it writes in the first 15 s of work was cut before by as much as grain is late."""
    log = drive(passes=2).assign(lead_ignore_s=15.0, lag_ignore_s=10.0)
    shifted = shift_flow(log, delay_s)
    assert shifted["lead_ignore_s"].unique().tolist() == [left_s]
    assert shifted["lag_ignore_s"].unique().tolist() == [10.0]


def test_too_few_passes_get_the_usual_seconds(filling):
    ends = find_pass_ends(filling(passes=4))
    assert (ends.start_s, ends.end_s) == (USUAL_S, USUAL_S)
    assert not ends.start_found
    assert ends.curve.empty


def test_a_log_without_a_clock_gets_the_usual_seconds(filling):
    ends = find_pass_ends(filling().drop(columns="time"))
    assert (ends.start_s, ends.start_found) == (USUAL_S, False)


def test_a_curve_too_rough_tells_nothing(filling):
    log = filling(passes=6)
    draw = np.random.default_rng(2)
    log["yield_t_ha"] *= draw.lognormal(0, 1.0, len(log))
    ends = find_pass_ends(log)
    assert not ends.start_found
    assert ends.start_s == USUAL_S
