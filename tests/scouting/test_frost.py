"""Frost nights, held against triangles worked by hand and scipy's trapezoids."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from scipy.integrate import trapezoid

from trialkit.errors import ScoutingError
from trialkit.scouting import frost_nights
from trialkit.scouting.night_curves import below

#: Sums of a few hundred pieces in double precision.
ROUNDING = 1e-9


def record(times, values, logger="hollow"):
    return pd.DataFrame({"logger": logger, "time": times, "temperature_c": values})


def triangle(coldest, zone=None, step="15min"):
    """A night from 10 °C at 6 pm to `coldest` at 6 am and back to 10 °C at noon."""
    times = pd.date_range("2024-09-13 12:00", "2024-09-14 12:00", freq=step, tz=zone)
    hours = np.arange(len(times)) * (24 / (len(times) - 1))
    values = np.interp(hours, [0, 6, 18, 24], [10, 10, coldest, 10])
    return record(times, values)


@pytest.mark.parametrize("limit", [0.0, -1.0, -3.5])
@pytest.mark.parametrize("zone", [None, "Australia/Adelaide"])
def test_a_triangle_worked_by_hand(limit, zone):
    found = frost_nights(triangle(-5.0, zone), thresholds_c=[limit])
    depth = limit + 5.0
    hours = depth * (12 / 15 + 6 / 15)  # 15 degrees down in 12 hours, up in 6
    row = found.below.iloc[0]
    assert row["hours"] == pytest.approx(hours, rel=ROUNDING)
    assert row["degree_hours"] == pytest.approx(depth * hours / 2, rel=ROUNDING)
    night = found.nights.iloc[0]
    assert night["minimum_c"] == -5.0
    assert night["minimum_time"].hour == 6
    assert (night["hours_missing"], night["at_least"]) == (0.0, False)
    assert len(found.nights) == 1


@given(
    st.lists(st.floats(-12, 12), min_size=3, max_size=30),
    st.floats(-6, 3),
)
def test_degree_hours_are_the_area_below_the_threshold(values, limit):
    values = np.asarray(values)
    fine = np.linspace(0, len(values) - 1, 20 * (len(values) - 1) * 50 + 1)
    depth = np.maximum(limit - np.interp(fine, np.arange(len(values)), values), 0)
    hours, degree_hours = below(values[:-1], values[1:], np.ones(len(values) - 1), limit)
    assert degree_hours.sum() == pytest.approx(trapezoid(depth, fine), abs=1e-3)
    assert hours.sum() <= len(values) - 1 + ROUNDING
    assert (hours >= 0).all()
    assert (degree_hours >= 0).all()


@hypothesis_settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(-8, 8), min_size=49, max_size=97))
def test_nights_add_up_to_the_whole(values):
    times = pd.date_range("2024-09-13 00:00", periods=len(values), freq="30min")
    found = frost_nights(record(times, values), thresholds_c=[0, -2])
    values = np.asarray(values)
    for limit in (0, -2):
        _, whole = below(values[:-1], values[1:], np.full(len(values) - 1, 0.5), float(limit))
        own = found.below[found.below["threshold_c"] == limit]
        assert own["degree_hours"].sum() == pytest.approx(whole.sum(), abs=1e-9)
    deep = found.below.sort_values(["date", "threshold_c"])
    assert (deep.groupby("date")["hours"].diff().dropna() >= -1e-9).all()


def test_a_night_runs_from_noon_to_noon():
    times = pd.date_range("2024-09-13 12:00", "2024-09-15 12:00", freq="h")
    values = np.where(pd.Index(times.hour).isin([23, 0, 1]), -1.0, 5.0)
    found = frost_nights(record(times, values), thresholds_c=[0])
    assert found.nights["date"].dt.day.tolist() == [14, 15]
    assert found.below["hours"].tolist() == pytest.approx([2 + 1 / 3, 2 + 1 / 3])


def test_missing_hours_make_a_night_at_least():
    whole = triangle(-5.0)
    gap = whole[~whole["time"].dt.hour.isin([2, 3, 4])]
    night = frost_nights(gap).nights.iloc[0]
    assert night["at_least"]
    assert night["hours_missing"] == pytest.approx(3.25)  # 1:45 to 5:00
    less = frost_nights(gap, thresholds_c=[0]).below["hours"][0]  # below zero from 2:00 on
    assert less == pytest.approx(frost_nights(whole, thresholds_c=[0]).below["hours"][0] - 3)


def test_an_afternoon_missing_is_no_frost_missing():
    late = triangle(-5.0)
    assert not frost_nights(late[late["time"].dt.hour != 13]).nights["at_least"][0]
    assert not frost_nights(late.iloc[20:]).nights["at_least"][0]  # hung out at 5 pm


def test_a_night_nobody_recorded_stands_empty():
    days = pd.date_range("2024-09-10 12:00", "2024-09-15 12:00", freq="30min")
    table = record(days, 4.0)
    table = table[(table["time"] < "2024-09-12 12:00") | (table["time"] > "2024-09-13 11:59")]
    found = frost_nights(table)
    empty = found.nights.set_index("date").loc["2024-09-13"]
    assert np.isnan(empty["minimum_c"])
    assert empty["at_least"]
    assert empty["hours_missing"] == pytest.approx(15)
    assert len(found.nights) == 5


# Daylight saving in Adelaide ended on 2024-04-07 and began on 2024-10-06.
@pytest.mark.parametrize(("day", "hours"), [("2024-04-07", 16), ("2024-10-06", 14)])
def test_nights_on_which_the_clock_is_moved(day, hours):
    end = pd.Timestamp(day)
    times = pd.date_range(
        end - pd.Timedelta(hours=12), end + pd.Timedelta(hours=12), freq="30min",
        tz="Australia/Adelaide",
    )  # fmt: skip
    found = frost_nights(record(times, -1.0), thresholds_c=[0])
    assert found.nights["at_least"].tolist() == [False]
    assert found.below["hours"][0] == pytest.approx(hours + 9)  # noon to 6 pm, 9 am to noon
    half = frost_nights(record(times[: len(times) // 2], -1.0)).nights
    assert half["at_least"].all()


def test_loggers_are_kept_apart():
    both = pd.concat([triangle(-5.0), triangle(-1.0).assign(logger="ridge")])
    found = frost_nights(both.sample(frac=1, random_state=1), thresholds_c=(0, -2))
    assert found.nights.set_index("logger")["minimum_c"].to_dict() == {
        "hollow": -5.0,
        "ridge": -1.0,
    }
    cold = found.below.set_index(["logger", "threshold_c"])["degree_hours"]
    assert cold["ridge", -2.0] == 0
    assert cold["hollow", 0.0] == pytest.approx(15)


def test_the_unit_of_the_clock_does_not_matter():
    base = triangle(-5.0)
    expected = frost_nights(base).below
    for unit in ("s", "ns"):
        other = base.assign(time=base["time"].dt.as_unit(unit))
        pd.testing.assert_frame_equal(frost_nights(other).below, expected)


@pytest.mark.parametrize(
    ("table", "limits", "message"),
    [
        (triangle(-5.0), [], "no different temperatures"),
        (triangle(-5.0), [0, 0.0], "no different temperatures"),
        (triangle(-5.0), [float("nan")], "no different temperatures"),
        (triangle(-5.0).assign(time="then"), [0], "text or mixed zones, not times"),
        (triangle(-5.0).assign(temperature_c=np.nan), [0], "no temperatures"),
        (triangle(-5.0).drop(columns="logger"), [0], "no column 'logger'"),
    ],
)
def test_what_has_no_nights(table, limits, message):
    with pytest.raises(ScoutingError, match=message):
        frost_nights(table, thresholds_c=limits)
