"""What each record of a log stands for: seconds, metres driven, width, ground covered.

Taken from the log where it says so, worked out where it does not. Column by column, so that any
mix of what a machine writes will do.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Metres a degree of latitude, near enough for the step between two records.
M_DEGREE = 111_195.0

#: A pause longer than this many usual intervals is a gap: the monitor was off.
GAP_INTERVALS = 5.0

#: No record is shorter than this, s.
_LEAST_INTERVAL_S = 0.001

#: No pause shorter than this is a gap, s: loggers miss a record or two now and then.
LEAST_GAP_S = 6.0


def column(log: pd.DataFrame, name: str) -> Floats | None:
    """Return a column as floats, or None where the log has no such column."""
    if name not in log:
        return None
    return log[name].to_numpy(dtype=np.float64, na_value=np.nan)


def seconds(log: pd.DataFrame) -> Floats | None:
    """Return seconds since the first record, never falling; None where the log has no clock.

    Several records with one time stamp (a logger faster than its clock) are spread evenly up to
    the next one. Without a time column the intervals are added up.
    """
    if "time" in log and log["time"].notna().any():
        time = log["time"].ffill().bfill()
        stamp = time.to_numpy(dtype="datetime64[ms]").astype(np.int64) / 1000.0
        return _spread_ties(np.maximum.accumulate(stamp - stamp[0]))
    interval = column(log, "interval_s")
    if interval is None or len(interval) == 0:
        return None
    interval = np.nan_to_num(interval)
    return np.asarray(np.cumsum(interval) - interval[0])


def _spread_ties(stamp: Floats) -> Floats:
    """Spread records of equal time over the time to the next stamp."""
    first = np.flatnonzero(np.diff(stamp, prepend=stamp[:1] - 1.0))
    count = np.diff(first, append=len(stamp))
    if count.max() == 1:
        return stamp
    usual = float(np.median(np.diff(stamp[first]))) if len(first) > 1 else 1.0
    span = np.minimum(np.diff(stamp[first], append=stamp[-1] + usual), usual)
    group = np.repeat(np.arange(len(first)), count)
    rank = np.arange(len(stamp)) - first[group]
    return np.asarray(stamp + rank * (span / count)[group])


def usual_interval(clock: Floats) -> float:
    """Return the usual time between two records, s."""
    steps = np.diff(clock)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 1.0


def gaps(clock: Floats) -> NDArray[np.bool_]:
    """Tell which records come after a gap: the first after the monitor was off."""
    limit = max(GAP_INTERVALS * usual_interval(clock), LEAST_GAP_S)
    return np.diff(clock, prepend=clock[:1]) > limit


def interval_s(log: pd.DataFrame) -> Floats | None:
    """Return the seconds each record stands for; a record after a gap stands for a usual one."""
    recorded = column(log, "interval_s")
    if recorded is not None:
        return recorded
    clock = seconds(log)
    if clock is None or len(clock) == 0:
        return None
    usual = usual_interval(clock)
    steps = np.diff(clock, prepend=clock[0] - usual)
    return np.where(gaps(clock), usual, steps)


def step_m(log: pd.DataFrame) -> Floats:
    """Return the distance from the position before, m; 0 for the first record."""
    if "x_m" in log:
        x, y = (log[name].to_numpy(dtype=np.float64) for name in ("x_m", "y_m"))
        return np.hypot(np.diff(x, prepend=x[:1]), np.diff(y, prepend=y[:1]))
    latitude = log["latitude"].to_numpy(dtype=np.float64)
    longitude = log["longitude"].to_numpy(dtype=np.float64)
    north = np.diff(latitude, prepend=latitude[:1])
    east = np.diff(longitude, prepend=longitude[:1]) * np.cos(np.radians(latitude))
    return np.asarray(M_DEGREE * np.hypot(east, north))


def travel_m(log: pd.DataFrame) -> Floats:
    """Return the metres driven in each record: recorded, speed × interval, or from positions.

    Positions alone say how far apart records usually are, but not in which order they were
    written: without a clock every record stands for the usual step.
    """
    recorded = column(log, "travel_m")
    if recorded is not None:
        return recorded
    speed, interval = column(log, "speed_m_s"), interval_s(log)
    if speed is not None and interval is not None:
        return speed * interval
    steps = step_m(log)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    clock = seconds(log)
    if clock is None:
        return np.full(len(log), usual)
    return np.where(gaps(clock), usual, steps)


def speed_m_s(log: pd.DataFrame) -> Floats | None:
    """Return ground speed: recorded, or travel over interval; None without a clock."""
    recorded = column(log, "speed_m_s")
    if recorded is not None:
        return recorded
    interval = interval_s(log)
    if interval is None:
        return None
    return a_second(travel_m(log), interval)


def a_second(amount: Floats, interval: Floats) -> Floats:
    """Return amounts a record as amounts a second; NaN where the record took no time.

    Parameters
    ----------
    amount
        One a record, in any unit.
    interval
        Seconds each record stands for.
    """
    lasting = interval >= _LEAST_INTERVAL_S
    return np.where(lasting, amount / np.where(lasting, interval, 1.0), np.nan)


def swath_m(log: pd.DataFrame, full_m: float | None = None) -> Floats | None:
    """Return the cut width: recorded, else the machine's full width, else None."""
    recorded = column(log, "swath_m")
    if recorded is not None:
        return recorded
    return None if full_m is None else np.full(len(log), float(full_m))


def full_width_m(log: pd.DataFrame) -> float | None:
    """Return the width the log most often gives as cut: the machine's full width, m."""
    recorded = column(log, "swath_m")
    if recorded is None:
        return None
    cutting = np.round(recorded[recorded > 0], 2)
    if len(cutting) == 0:
        return None
    widths, counts = np.unique(cutting, return_counts=True)
    # A part swath may be logged often on a field of odd shape: take the widest common one.
    common = widths[counts >= 0.05 * len(cutting)]
    return float(common.max() if len(common) else np.median(cutting))


def area_ha(log: pd.DataFrame, full_m: float | None = None) -> Floats | None:
    """Return the ground each record covers, ha; None where no width is known."""
    swath = swath_m(log, full_m)
    return None if swath is None else travel_m(log) * swath / 10_000.0
