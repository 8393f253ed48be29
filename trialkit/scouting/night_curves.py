"""The temperature between records, as straight lines, cut at noon into nights."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import ScoutingError
from trialkit.language import marked, say
from trialkit.scouting.strip_labels import Floats, require_columns

#: Records further apart than so many usual steps, and than so many hours, leave a gap.
_GAP_STEPS, _GAP_HOURS = 3.0, 1.0
#: No line is drawn between records further apart, whatever the logger's step, h.
_LONGEST_STEP_HOURS = 3.0
_HOUR_MS = 3_600_000.0


@dataclass(frozen=True, slots=True)
class NightCurves:
    """Pieces of straight line of one logger, none of which crosses noon.

    Parameters
    ----------
    morning
        Day on which the night of each piece ends; a night runs from noon to noon.
    since_noon
        When each piece begins, h after noon on the clock.
    hours
        Length of each piece, h.
    begin_c, end_c
        Temperature at its ends, °C.
    """

    morning: NDArray[np.datetime64]
    since_noon: Floats
    hours: Floats
    begin_c: Floats
    end_c: Floats


def one_clock(temperatures: pd.DataFrame) -> pd.DataFrame:
    """Return the records checked: sound columns, times and numbers.

    Parameters
    ----------
    temperatures
        From `read_temperatures`, or `logger time temperature_c` alike.

    Raises
    ------
    ScoutingError
        If a column is missing, or times are no times.
    """
    require_columns(temperatures, ["logger", "time", "temperature_c"], marked("temperatures"))
    if not pd.api.types.is_datetime64_any_dtype(temperatures["time"]):
        raise ScoutingError(
            "The times of the temperatures are text or mixed zones, not times. Read the files with "
            "read_temperatures, or convert them with pandas.to_datetime."
        )
    known = temperatures.dropna(subset=["time", "temperature_c"])
    if known.empty:
        raise ScoutingError(say("There are no temperatures. Check the files of the loggers."))
    return known


def night_curves(record: pd.DataFrame) -> NightCurves:
    """Join the records of one logger by straight lines, leaving gaps out.

    Parameters
    ----------
    record
        `time temperature_c` of one logger.

    Returns
    -------
    NightCurves
    """
    record = record.sort_values("time", kind="stable")
    own = pd.DatetimeIndex(record["time"])
    there, wall = _milliseconds(own, utc=True), _milliseconds(own, utc=False)
    values = record["temperature_c"].to_numpy(dtype=np.float64)
    step = np.diff(there) / _HOUR_MS
    kept = (step > 0) & (step <= longest_step_hours(step))
    begin, end = np.flatnonzero(kept), np.flatnonzero(kept) + 1
    # Days counted from noon, in whole milliseconds: a piece that begins on one and ends on the
    # next crosses noon.
    whole_day = 24 * _HOUR_MS
    day = np.floor((wall[begin] + whole_day / 2) / whole_day)
    since_ms = wall[begin] + whole_day / 2 - whole_day * day
    since, hours = since_ms / _HOUR_MS, step[begin]
    crosses = whole_day - since_ms < there[end] - there[begin]
    share = np.where(crosses, (24 - since) / hours, 1.0)
    noon = values[begin] + share * (values[end] - values[begin])
    late = begin[crosses]
    return NightCurves(
        morning=_days(np.concatenate([day, day[crosses] + 1])),
        since_noon=np.concatenate([since, np.zeros(late.size)]),
        hours=np.concatenate([hours * share, (hours * (1 - share))[crosses]]),
        begin_c=np.concatenate([values[begin], noon[crosses]]),
        end_c=np.concatenate([noon, values[end][crosses]]),
    )


def _milliseconds(times: pd.DatetimeIndex, *, utc: bool) -> Floats:
    if times.tz is not None:
        times = times.tz_convert("UTC").tz_localize(None) if utc else times.tz_localize(None)
    return np.asarray(times.as_unit("ms").asi8, dtype=np.float64)


def _days(day: Floats) -> NDArray[np.datetime64]:
    """Return the day that a night ends on, from days counted from the noon before 1970."""
    return day.astype(np.int64).astype("datetime64[D]")


def longest_step_hours(steps: Floats) -> float:
    """Return the longest time between records over which a line is drawn, h.

    Parameters
    ----------
    steps
        Hours between records.
    """
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    return min(max(_GAP_STEPS * usual, _GAP_HOURS), _LONGEST_STEP_HOURS)


def below(
    begin_c: Floats, end_c: Floats, hours: Floats, threshold_c: float | Floats
) -> tuple[Floats, Floats]:
    """Return hours and degree-hours that straight pieces spend below a threshold.

    Parameters
    ----------
    begin_c, end_c
        Temperature at the ends of each piece, °C.
    hours
        Length of each piece, h.
    threshold_c
        One for all, or one for each, °C.

    Returns
    -------
    hours, degree_hours
        One a piece; exact for straight lines.
    """
    first, last = threshold_c - begin_c, threshold_c - end_c
    low, high = np.minimum(first, last), np.maximum(first, last)
    span = high - low
    share = np.where(high <= 0, 0.0, np.where(low >= 0, 1.0, high / np.where(span > 0, span, 1.0)))
    depth = np.where(low >= 0, (low + high) / 2, np.maximum(high, 0.0) / 2)
    return hours * share, hours * share * depth
