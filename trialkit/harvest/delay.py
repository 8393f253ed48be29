"""The grain-flow delay: seconds from the cut to the grain sensor, found.

Grain that passes the sensor now was cut some seconds ago, elsewhere. Going up the field the yield
map is drawn out one way, coming back the other: the delay is right when neighbouring passes in
opposite directions agree best.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogWarning
from trialkit.harvest.ground import (
    Floats,
    a_second,
    column,
    full_width_m,
    interval_s,
    seconds,
    speed_m_s,
    swath_m,
    usual_interval,
)
from trialkit.harvest.passes import NO_PASS, split_passes
from trialkit.harvest.shift import later
from trialkit.language import say

#: Delays looked at, s. Test benches saw 5 to 8 s (Univ. of Kentucky yield-monitor test facility,
#: table 2); long machines, slow elevators and clocks that disagree need room on both sides.
DELAYS_S = (-10.0, 30.0)

#: Passes whose headings differ from the field's by less are used, degrees.
_ALONG_DEG = 20.0

#: A neighbour is no farther than this many swaths, and 15 m where no width is known.
_NEIGHBOUR_SWATHS = 1.6
_NEIGHBOUR_M = 15.0

#: Fewest pairs of neighbouring records, and groups they are parted into for the standard error.
_LEAST_PAIRS = 100
_GROUPS = 10

#: Difference between declared and estimated delay that is said, s.
_APART_S = 3.0
#: Greatest standard error of a sharp optimum, s.
_SHARP_S = 1.0


@dataclass(frozen=True, slots=True)
class Delay:
    """The delay between the cut and the grain sensor.

    Parameters
    ----------
    delay_s
        Delay to take out, s; 0 where it cannot be known.
    source
        `"given"`, `"estimated"`, `"declared"` (by the machine) or `"none"` (nobody can tell).
    sharp
        Whether the data settle the delay to about a second; True for a given delay, False for one
        the machine declares.
    std_error_s
        Standard error over groups of passes, s; None unless estimated.
    curve
        How far neighbouring passes disagree at each delay: columns `delay_s` and `disagreement`
        (mean squared difference over twice the variance: 0 for perfect agreement, 1 for none);
        empty unless estimated.
    note
        What the user should know, in one sentence; empty where all is well.
    """

    delay_s: float
    source: str
    sharp: bool
    std_error_s: float | None
    curve: pd.DataFrame
    note: str = ""


def _no_curve() -> pd.DataFrame:
    return pd.DataFrame({"delay_s": [], "disagreement": []}, dtype=float)


def given_delay(delay_s: float) -> Delay:
    """Return a delay that the user knows.

    Parameters
    ----------
    delay_s
        Delay, s.
    """
    return Delay(float(delay_s), "given", True, None, _no_curve())


def find_delay(log: pd.DataFrame) -> Delay:
    """Return the delay that the data show or, where they do not settle it, the machine declares.

    Parameters
    ----------
    log
        From `read_log`; the declaration of task data stands in `latency_s`.

    Returns
    -------
    Delay
        The estimate where it is sharp or nothing is declared; else the declaration.

    Warns
    -----
    LogWarning
        If neither settles it, if the declaration was used, or if the two differ by over 3 s.
    """
    told = column(log, "latency_s")
    known = told[np.isfinite(told)] if told is not None else np.empty(0)
    if not known.size:
        return estimate_delay(log)
    declared = float(np.median(known))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", LogWarning)
        found = estimate_delay(log)
    if found.sharp and abs(found.delay_s - declared) <= _APART_S:
        return found
    if found.sharp:
        note = say(
            "The machine declares a grain-flow delay of {declared:.1f} s; neighbouring passes "
            "agree best at {found:.1f} s, which was taken. If you trust the machine more, give "
            "delay_s under [harvest] in trial.toml.",
            declared=declared, found=found.delay_s,
        )  # fmt: skip
        warnings.warn(note, LogWarning, stacklevel=2)
        return replace(found, note=note)
    note = say(
        "The grain-flow delay of {declared:.1f} s is what the machine declares; the data do not "
        "settle it. If you know it (grain arriving after the front goes into the crop), give "
        "delay_s under [harvest] in trial.toml.",
        declared=declared,
    )
    warnings.warn(note, LogWarning, stacklevel=2)
    return Delay(declared, "declared", False, None, found.curve, note)


def estimate_delay(log: pd.DataFrame, *, delays_s: tuple[float, float] = DELAYS_S) -> Delay:
    """Estimate the grain-flow delay from passes side by side in opposite directions.

    Parameters
    ----------
    log
        From `read_log`; passes are split where that is still to do.
    delays_s
        Least and greatest delay looked at, s.

    Returns
    -------
    Delay
        The delay at which neighbouring passes agree best, its standard error by leaving out one
        group of passes at a time, and whether the optimum is sharp.

    Warns
    -----
    LogWarning
        If the log cannot tell (the delay is then 0), or the optimum is not sharp.

    Notes
    -----
    Pairs of records side by side are fixed; for each delay the grain is moved back in time,
    spread over the ground at the speed and width there, and the mean squared difference over the
    pairs is taken, as a share of twice the variance. A monitor that has taken out its own delay
    gives an optimum near 0. The mean time on the way is what is found, smearing included. Most of
    what settles it happens at the ends of the passes, where grain begins and ends, so logs should
    hold the turns; there the rise and fall of the flow can move the optimum by half a second or
    so, which the standard error, the scatter between passes, does not show.

    At a constant speed a header that cuts ahead of the antenna looks like a shorter delay, by that
    distance over the speed (2.8 m at 1.9 m/s: 1.5 s), for both draw the map out along the pass.
    Where the offset is known, `split_passes` has moved the positions before and the estimate is of
    the grain's way alone; where it is not, the estimate holds both, and neighbouring passes still
    come to agree: the ground is right but where the speed changes. A delay that was found without
    the offset must not be given together with it.
    """
    if "pass_id" not in log:
        log = split_passes(log)
    clock = seconds(log)
    if clock is None:
        return _unknown(say("The grain-flow delay cannot be estimated: the log has no times."))
    one, two = opposite_neighbours(log)
    if len(one) < _LEAST_PAIRS:
        return _unknown(
            say(
                "The grain-flow delay cannot be estimated: no neighbouring passes run in opposite "
                "directions."
            )
        )
    step = max(1.0, usual_interval(clock))
    tried = np.arange(np.ceil(delays_s[0] / step), np.floor(delays_s[1] / step) + 1) * step
    squares, spreads = _disagreements(log, clock, tried, one, two)
    group = pass_groups(log["pass_id"].to_numpy()[one])
    total = np.array([[s[group == g].sum() for g in range(_GROUPS)] for s in squares])
    scale = np.array([[s[group == g].sum() for g in range(_GROUPS)] for s in spreads])
    # Without any one group of passes there must be something left to compare.
    if not (scale.sum(axis=1) > scale.max(axis=1)).all():
        return _unknown(
            say(
                "The grain-flow delay cannot be estimated: the yield is the same nearly "
                "everywhere, or there is none."
            )
        )
    curve = total.sum(axis=1) / scale.sum(axis=1)
    best = _lowest(tried, curve)
    filled = np.flatnonzero(scale[0] > 0)
    without = [
        _lowest(tried, np.delete(total, g, 1).sum(axis=1) / np.delete(scale, g, 1).sum(axis=1))
        for g in filled
    ]
    error = float(np.sqrt((len(filled) - 1) * np.var(without)))
    frame = pd.DataFrame({"delay_s": tried, "disagreement": curve})
    return _judged(best, error, frame, tried)


def _unknown(why: str) -> Delay:
    way_out = say(
        "None was taken out. If the monitor did not take it out either, give delay_s under "
        "[harvest] in trial.toml."
    )
    note = f"{why} {way_out}"
    warnings.warn(note, LogWarning, stacklevel=3)
    return Delay(0.0, "none", False, None, _no_curve(), note)


def _judged(best: float, error: float, curve: pd.DataFrame, tried: Floats) -> Delay:
    """Return the estimate, with a warning where the data do not settle it."""
    if not tried[0] < best < tried[-1]:
        return _unknown(
            say(
                "The grain-flow delay cannot be estimated: neighbouring passes agree best at the "
                "end of the range looked at ({best:g} s).",
                best=best,
            )
        )
    if error <= _SHARP_S:
        return Delay(best, "estimated", True, error, curve)
    note = say(
        "The grain-flow delay is not sharp: {best:.0f} s fits best, give or take {error:.0f} s. If "
        "you know it (grain arriving after the front goes into the crop), give delay_s under "
        "[harvest] in trial.toml.",
        best=best, error=error,
    )  # fmt: skip
    warnings.warn(note, LogWarning, stacklevel=3)
    return Delay(best, "estimated", False, error, curve, note)


def opposite_neighbours(log: pd.DataFrame) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return pairs of records side by side in passes of opposite direction.

    Parameters
    ----------
    log
        With its passes: `pass_id heading_deg x_m y_m`.

    Returns
    -------
    ndarray, ndarray
        Positions in the log of the one and of the other; empty where no passes run so.
    """
    from scipy.spatial import cKDTree

    heading = np.radians(log["heading_deg"].to_numpy(dtype=np.float64))
    on = (log["pass_id"].to_numpy() != NO_PASS) & np.isfinite(heading)
    if not on.any():
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    # The axis of travel, whichever way along it: the mean of the doubled angles.
    axis = np.angle(np.exp(2j * heading[on]).mean()) / 2
    along = np.where(on, np.cos(heading - axis), 0.0)
    there = np.flatnonzero(along > np.cos(np.radians(_ALONG_DEG)))
    back = np.flatnonzero(along < -np.cos(np.radians(_ALONG_DEG)))
    if len(there) == 0 or len(back) == 0:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    width = full_width_m(log)
    reach = _NEIGHBOUR_M if width is None else _NEIGHBOUR_SWATHS * width
    place = log[["x_m", "y_m"]].to_numpy(dtype=np.float64)
    away, nearest = cKDTree(place[back]).query(place[there], distance_upper_bound=reach)
    near = np.isfinite(away)
    return there[near], back[np.asarray(nearest)[near]]


def pass_groups(pass_id: NDArray[np.int64]) -> NDArray[np.int64]:
    """Part passes into groups of neighbours in time.

    Parameters
    ----------
    pass_id
        Pass of each record.

    Returns
    -------
    ndarray
        Group of each record, from 0.
    """
    names, rank = np.unique(pass_id, return_inverse=True)
    return np.asarray(rank * _GROUPS // len(names), dtype=np.int64)


def _disagreements(
    log: pd.DataFrame,
    clock: Floats,
    tried: Floats,
    one: NDArray[np.int64],
    two: NDArray[np.int64],
) -> tuple[list[Floats], list[Floats]]:
    """Return squared differences and twice the variance of each pair, at each delay."""
    rate, ground_rate = _rates(log)
    flowing = (rate > 0) & np.isfinite(ground_rate)
    typical = float(np.median(rate[flowing] / ground_rate[flowing])) if flowing.any() else 1.0
    squares, spreads = [], []
    for delay in tried:
        with np.errstate(divide="ignore", invalid="ignore"):
            value = later(rate, clock, float(delay)) / ground_rate
        value = np.clip(value / typical, 0.0, 2.5)
        a, b = value[one], value[two]
        both = np.isfinite(a) & np.isfinite(b)
        middle = (np.mean(a[both]) + np.mean(b[both])) / 2 if both.any() else 0.0
        squares.append(np.where(both, (a - b) ** 2, 0.0))
        spreads.append(np.where(both, (a - middle) ** 2 + (b - middle) ** 2, 0.0))
    return squares, spreads


def _rates(log: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return grain a second, and the ground a second it is spread over (1 where unknown)."""
    width, speed = swath_m(log), speed_m_s(log)
    if width is None or speed is None:
        return log["yield_t_ha"].to_numpy(dtype=np.float64), np.ones(len(log))
    ground = np.where((speed > 0.3) & (width > 0), speed * width, np.nan)
    flow = column(log, "flow_kg_s")
    if flow is not None:
        return flow, ground
    grain, interval = column(log, "grain_kg"), interval_s(log)
    if grain is not None and interval is not None:
        return a_second(grain, interval), ground
    return log["yield_t_ha"].to_numpy(dtype=np.float64) * np.nan_to_num(ground), ground


def _lowest(tried: Floats, curve: Floats) -> float:
    """Return where a curve is lowest, between its points by a parabola."""
    low = int(np.argmin(curve))
    if low in (0, len(curve) - 1):
        return float(tried[low])
    left, middle, right = curve[low - 1 : low + 2]
    bend = left - 2 * middle + right
    offset = 0.0 if bend <= 0 else 0.5 * (left - right) / bend
    return float(tried[low] + offset * (tried[1] - tried[0]))
