"""Frost nights: how cold, how long, and where the logger missed part of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError
from trialkit.scouting.night_curves import below, night_curves, one_clock
from trialkit.scouting.strip_labels import Floats
from trialkit.shown import as_line, as_table

#: A night with more than this missing is told as 'at least', h.
_WHOLE_WITHIN_HOURS = 0.25
#: When it freezes, h after noon: 6 in the evening to 9 in the morning. Common practice, no source.
_COLD_FROM, _COLD_TO = 6.0, 21.0


@dataclass(frozen=True, slots=True, eq=False)
class FrostNights:
    """Nights of each logger, from noon to noon.

    Parameters
    ----------
    nights
        One row a logger and night: `logger date minimum_c minimum_time hours_missing at_least`.
        `date` is the day the night ends on. `hours_missing` counts from 6 in the evening to 9 in
        the morning, when it freezes; `at_least` says that more than a quarter of an hour of that
        is missing, so that it may have been colder and for longer. A night without any record
        is there, with NaN.
    below
        One row a logger, night and threshold: `logger date threshold_c hours degree_hours`.
    thresholds_c
        As given, °C.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    nights: pd.DataFrame
    below: pd.DataFrame
    thresholds_c: tuple[float, ...]


def frost_nights(
    temperatures: pd.DataFrame, *, thresholds_c: Sequence[float] = (0.0, -2.0, -4.0)
) -> FrostNights:
    """Tell the nights: the minimum, and the hours and degree-hours below thresholds.

    Parameters
    ----------
    temperatures
        From `read_temperatures`: `logger time temperature_c`.
    thresholds_c
        Temperatures looked below, °C; for those that harm a crop see `frost_risk`.

    Returns
    -------
    FrostNights

    Raises
    ------
    ScoutingError
        If there are no temperatures, or a threshold is no number.

    Notes
    -----
    The temperature between records is a straight line, of which hours and degree-hours (the area
    below the threshold) are exact. Records further apart than three usual steps and an hour leave
    a gap, over which nothing is assumed. The minimum is the lowest record: between two records it
    may have been a little colder. A logger says how cold its own place and height was.

    Examples
    --------
    >>> import pandas as pd
    >>> record = pd.DataFrame({
    ...     "logger": "hollow", "temperature_c": [8.0, 0.0, -2.0, 0.0, 8.0],
    ...     "time": pd.to_datetime(["2024-09-13 19:00", "2024-09-13 21:00", "2024-09-13 23:00",
    ...                             "2024-09-14 01:00", "2024-09-14 03:00"])})
    >>> found = frost_nights(record, thresholds_c=[0])
    >>> found.nights[["date", "minimum_c", "at_least"]].to_dict("list")
    {'date': [Timestamp('2024-09-14 00:00:00')], 'minimum_c': [-2.0], 'at_least': [True]}
    >>> found.below[["hours", "degree_hours"]].to_dict("list")
    {'hours': [4.0], 'degree_hours': [4.0]}
    """
    limits = tuple(float(limit) for limit in thresholds_c)
    if not limits or not np.isfinite(limits).all() or len(set(limits)) < len(limits):
        raise ScoutingError(f"thresholds_c={list(thresholds_c)} are no different temperatures.")
    known = one_clock(temperatures)
    nights, hours = [], []
    for logger, record in known.groupby("logger", sort=True):
        own = _nights_of(record)
        nights.append(own.assign(logger=str(logger)))
        hours += [_hours_of(record, own["date"], limit).assign(logger=str(logger))
                  for limit in limits]  # fmt: skip
    head = ["minimum_c", "minimum_time", "hours_missing", "at_least"]
    return FrostNights(
        nights=pd.concat(nights, ignore_index=True)[["logger", "date", *head]],
        below=pd.concat(hours, ignore_index=True)[
            ["logger", "date", "threshold_c", "hours", "degree_hours"]
        ].sort_values(["logger", "date", "threshold_c"], ascending=[True, True, False],
                      ignore_index=True),
        thresholds_c=limits,
    )  # fmt: skip


def _morning_of(times: pd.Series) -> pd.Series:
    """Return the day on which the night of each time ends, without a zone.

    Parameters
    ----------
    times
        On the clock where the field lies.
    """
    wall = times.dt.tz_localize(None) if times.dt.tz is not None else times
    return (wall + pd.Timedelta(hours=12)).dt.normalize().dt.as_unit("s")


def _nights_of(record: pd.DataFrame) -> pd.DataFrame:
    record = record.assign(date=_morning_of(record["time"]))
    coldest = record.loc[record.groupby("date")["temperature_c"].idxmin()].set_index("date")
    curves = night_curves(record)
    ends = np.minimum(curves.since_noon + curves.hours, _COLD_TO)
    cold = np.maximum(ends - np.maximum(curves.since_noon, _COLD_FROM), 0.0)
    recorded = pd.Series(cold).groupby(curves.morning).sum()
    recorded.index = pd.DatetimeIndex(recorded.index).as_unit("s")
    days = _nights_spanned(record, recorded.index)
    hours = recorded.reindex(days).fillna(0.0).to_numpy(dtype=np.float64)
    # A hundredth of an hour is rounding, and the clock that was moved inside a piece.
    short = np.maximum(_cold_hours(days, record["time"].dt.tz) - hours, 0.0).round(2)
    found = coldest.reindex(days)
    return pd.DataFrame(
        {
            "date": days,
            "minimum_c": found["temperature_c"].to_numpy(),
            "minimum_time": found["time"].array,
            "hours_missing": short,
            "at_least": short > _WHOLE_WITHIN_HOURS,
        }
    )


def _nights_spanned(record: pd.DataFrame, joined: pd.Index) -> pd.DatetimeIndex:
    """Return the nights from the first to the last; a reading at noon alone opens no new one."""
    wall = pd.DatetimeIndex(record["time"]).tz_localize(None)
    at_noon = np.asarray(wall - wall.normalize() == pd.Timedelta(hours=12))
    met = pd.DatetimeIndex(record["date"])
    if not at_noon.all():
        met = met[~at_noon]
    if len(joined):
        met = met.union(pd.DatetimeIndex(joined))
    return pd.date_range(met.min(), met.max(), freq="D", unit="s")


def _cold_hours(days: pd.DatetimeIndex, zone: tzinfo | None) -> Floats:
    """Return hours in which it freezes: one less or more where the clock was moved."""
    noons = days - pd.Timedelta(hours=12)
    ends = [noons + pd.Timedelta(hours=hours) for hours in (_COLD_FROM, _COLD_TO)]
    if zone is not None:
        ends = [end.tz_localize(zone).tz_convert("UTC") for end in ends]
    first, last = (np.asarray(end.as_unit("ms").asi8, dtype=np.float64) for end in ends)
    return (last - first) / 3_600_000.0


def _hours_of(record: pd.DataFrame, days: pd.Series, limit: float) -> pd.DataFrame:
    curves = night_curves(record)
    hours, degrees = below(curves.begin_c, curves.end_c, curves.hours, limit)
    sums = pd.DataFrame({"hours": hours, "degree_hours": degrees}).groupby(curves.morning).sum()
    sums.index = pd.DatetimeIndex(sums.index).as_unit("s")
    found = sums.reindex(pd.DatetimeIndex(days))
    return found.rename_axis("date").reset_index().assign(threshold_c=limit)
