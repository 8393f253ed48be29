"""The delay of the moisture sensor: seconds from the cut to the reading, found or given.

Moisture is read elsewhere than flow, often later. It changes slowly along a pass, so most fields
cannot tell; a field with wet ground in it can, by neighbouring passes in opposite directions.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.harvest.delay import Delay, opposite_neighbours, pass_groups
from trialkit.harvest.ground import Floats, column, seconds, usual_interval
from trialkit.harvest.passes import split_passes

#: Delays looked at, s; none is as long as grain takes to the tank and back.
DELAYS_S = (-5.0, 45.0)

#: Fewest and most pairs of neighbouring records; of more, evenly chosen ones are enough.
_LEAST_PAIRS, _MOST_PAIRS = 200, 50_000

#: Share of its usual height that the curve has to fall to, or the field is too even to tell.
_DEEP_SHARE = 0.85

#: Greatest standard error of a sharp optimum, s.
_SHARP_S = 1.0

#: Seconds each way over which the bottom of the curve is taken as a parabola.
_BOTTOM_S = 6.0

#: Share of the usual flow below which a moisture sensor has nothing new to read.
_FED_SHARE = 0.1


def find_moisture_delay(
    log: pd.DataFrame, grain_delay_s: float, asked: float | str = "estimate"
) -> Delay:
    """Return the seconds from the cut to the moisture reading: given, found, or as the grain's.

    Parameters
    ----------
    log
        From `split_passes`, with no delay taken out yet.
    grain_delay_s
        Delay of the grain flow, s: what is taken where the moisture itself does not tell.
    asked
        Seconds that the user knows, or `"estimate"`.

    Returns
    -------
    Delay
        `source` is `"given"`, `"estimated"` or `"grain flow"`; only an estimate has a standard
        error. No warning: a moisture that is some seconds late moves a yield by hundredths.
    """
    if not isinstance(asked, str):
        return Delay(float(asked), "given", True, None, _curve_of([], []))
    if "pass_id" not in log:
        log = split_passes(log)
    clock, moisture = seconds(log), column(log, "moisture_pct")
    otherwise = Delay(float(grain_delay_s), "grain flow", False, None, _curve_of([], []))
    if clock is None or moisture is None or len(log) < 2:
        return otherwise
    step = max(1.0, usual_interval(clock))
    tried = np.arange(np.ceil(DELAYS_S[0] / step), np.floor(DELAYS_S[1] / step) + 1) * step
    one, two = opposite_neighbours(log)
    every = max(1, len(one) // _MOST_PAIRS)
    one, two = one[::every], two[::every]
    fed = np.where(_fed(log), moisture, np.nan)
    here, there = (_read_at(fed, clock, clock[rows], tried) for rows in (one, two))
    whole = np.isfinite(here).all(axis=0) & np.isfinite(there).all(axis=0)
    if whole.sum() < _LEAST_PAIRS:
        return otherwise
    group = pass_groups(log["pass_id"].to_numpy()[one[whole]])
    squares, spreads = _sums(here[:, whole], there[:, whole], group)
    if not (spreads.sum(axis=1) > spreads.max(axis=1)).all():
        return otherwise  # moisture that differs in one group of passes at most
    disagreement = squares.sum(axis=1) / spreads.sum(axis=1)
    curve = _curve_of(tried, disagreement)
    best = _bottom(tried, disagreement)
    filled = np.flatnonzero(spreads[0] > 0)
    without = [
        _bottom(tried, np.delete(squares, g, 1).sum(axis=1) / np.delete(spreads, g, 1).sum(axis=1))
        for g in filled
    ]
    error = float(np.sqrt((len(filled) - 1) * np.var(without)))
    deep = disagreement.min() <= _DEEP_SHARE * np.median(disagreement)
    if not (deep and error <= _SHARP_S and tried[0] < best < tried[-1]):
        return Delay(float(grain_delay_s), "grain flow", False, None, curve)
    return Delay(best, "estimated", True, error, curve)


def _curve_of(tried: Floats | list[float], disagreement: Floats | list[float]) -> pd.DataFrame:
    return pd.DataFrame({"delay_s": tried, "disagreement": disagreement}, dtype=float)


def _fed(log: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell where grain ran past the sensors; everywhere where no flow was logged."""
    flow = column(log, "flow_kg_s")
    if flow is None or not (flow > 0).any():
        return np.ones(len(log), dtype=bool)
    return np.asarray(flow > _FED_SHARE * np.median(flow[flow > 0]), dtype=bool)


def _read_at(moisture: Floats, clock: Floats, cut: Floats, tried: Floats) -> Floats:
    """Return what was read at each delay after each cut, shape (delays, cuts); NaN in pauses."""
    out = np.empty((len(tried), len(cut)))
    near_s = 0.75 * usual_interval(clock)
    for row, delay in enumerate(tried.tolist()):
        after = np.clip(np.searchsorted(clock, cut + delay), 1, len(clock) - 1)
        nearest = after - (cut + delay - clock[after - 1] < clock[after] - cut - delay)
        near = np.abs(clock[nearest] - cut - delay) <= near_s
        out[row] = np.where(near, moisture[nearest], np.nan)
    return out


def _sums(here: Floats, there: Floats, group: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Return squared differences and twice the variance, summed by group, at each delay."""
    squares, spreads = [], []
    for a, b in zip(here, there, strict=True):
        middle = (a.mean() + b.mean()) / 2
        squares.append(np.bincount(group, (a - b) ** 2))
        spreads.append(np.bincount(group, (a - middle) ** 2 + (b - middle) ** 2))
    return np.stack(squares), np.stack(spreads)


def _bottom(tried: Floats, curve: Floats) -> float:
    """Return where a curve is lowest, by a parabola through its bottom."""
    low = int(np.argmin(curve))
    near = np.abs(tried - tried[low]) <= _BOTTOM_S
    if low in (0, len(curve) - 1) or near.sum() < 4:
        return float(tried[low])
    bend, slope, _ = np.polyfit(tried[near] - tried[low], curve[near], 2)
    if bend <= 0:
        return float(tried[low])
    offset = float(np.clip(-slope / (2 * bend), -_BOTTOM_S, _BOTTOM_S))
    return float(tried[low]) + offset
