"""What a record stands for: seconds, metres and hectares."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pyproj import Geod

from trialkit.harvest import ground


def stamps(*seconds: float) -> pd.DataFrame:
    start = pd.Timestamp("2025-11-24 10:00")
    return pd.DataFrame({"time": [start + pd.Timedelta(seconds=s) for s in seconds]})


def test_records_of_one_stamp_are_spread_over_it():
    # Five records a second, stamped in whole seconds.
    clock = ground.seconds(stamps(0, 0, 0, 0, 0, 1, 1, 1, 1, 1))
    np.testing.assert_allclose(np.diff(clock), 0.2)


def test_a_clock_never_falls_and_bridges_empty_stamps():
    log = stamps(0, 1, 2, 1.5, 4)
    log.loc[2, "time"] = pd.NaT
    assert ground.seconds(log).tolist() == [0, 1, 1.5, 2, 4] or np.all(
        np.diff(ground.seconds(log)) >= 0
    )


def test_intervals_make_a_clock_where_there_are_no_stamps():
    assert ground.seconds(pd.DataFrame({"interval_s": [2.0, 2.0, 1.0]})).tolist() == [0, 2, 3]
    assert ground.seconds(pd.DataFrame({"yield_t_ha": [1.0]})) is None


def test_a_record_after_a_gap_stands_for_a_usual_interval():
    log = stamps(0, 1, 2, 60, 61)
    assert ground.gaps(ground.seconds(log)).tolist() == [False, False, False, True, False]
    assert ground.interval_s(log).tolist() == [1, 1, 1, 1, 1]


def test_travel_is_recorded_or_speed_times_interval_or_steps():
    log = stamps(0, 2, 4).assign(x_m=[0.0, 3.0, 3.0], y_m=[0.0, 4.0, 4.0])
    assert ground.travel_m(log).tolist() == [0, 5, 0]
    assert ground.travel_m(log.assign(speed_m_s=2.0)).tolist() == [4, 4, 4]
    assert ground.travel_m(log.assign(speed_m_s=2.0, travel_m=1.0)).tolist() == [1, 1, 1]


def test_area_needs_a_width():
    log = stamps(0, 1).assign(speed_m_s=2.0)
    assert ground.area_ha(log.assign(longitude=0.0, latitude=0.0)) is None
    np.testing.assert_allclose(ground.area_ha(log, 10.0), 0.002)


@pytest.mark.parametrize(
    ("widths", "full"),
    [([12, 12, 6, 0], 12.0), ([12] * 60 + [6] * 30 + [40], 12.0), ([0, 0], None)],
)
def test_the_full_width_is_the_widest_that_is_common(widths, full):
    log = pd.DataFrame({"swath_m": np.asarray(widths, dtype=float)})
    assert ground.full_width_m(log) == full


@pytest.mark.parametrize("heading_deg", [0, 45, 90, 200])
@pytest.mark.parametrize("longitude", [-179.0, 0.0, 85.0, 147.0])
def test_steps_are_as_long_as_the_ellipsoid_has_them(longitude, heading_deg):
    # pyproj's geodesics, WGS 84: a pass of steps of 2 m, far from the equator and Greenwich.
    geod = Geod(ellps="WGS84")
    place, places = (longitude, -38.5), []
    for _ in range(40):
        places.append(place)
        place = geod.fwd(*place, heading_deg, 2.0)[:2]
    log = pd.DataFrame(places, columns=["longitude", "latitude"])
    assert ground.step_m(log)[1:] == pytest.approx(2.0, rel=0.005)
