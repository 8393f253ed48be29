"""How far each record stands from its pass, and from its neighbours along and across the passes.

A trial must not lose its difference to the screening. So every pass is measured on its own scale,
from its own middle: adding to the yields of a pass or multiplying them changes nothing here, and a
record in a good strip is never held against the yield of a poor one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.harvest.ground import Floats
from trialkit.harvest.passes import NO_PASS, Flags

#: Neighbours along the pass lie within this, m, each way.
_ALONG_M = 20.0

#: Passes beside this one lie within so many widths, and within so many metres where no width is
#: known. They are looked at in stretches of some metres: enough for a median, short enough to see
#: a track that runs across the field.
_BESIDE_WIDTHS, _BESIDE_M = 1.6, 15.0
_STRETCH_M = 8.0

#: Stretches searched, own ones included; nearest of other passes taken; and fewest of them.
_SEARCHED, _MOST_BESIDE, _LEAST_BESIDE = 16, 4, 2

#: Fewest records of a pass that can be judged by each other.
_LEAST_RECORDS = 20

#: The scale of a pass is no finer than this share of its yield: no sensor is.
_FINEST_SHARE = 0.02

#: From quartiles to standard deviation, for normal values.
_SD_OF_QUARTILES = 1.349


@dataclass(frozen=True, slots=True, eq=False)
class Deviations:
    """Yields as deviations from the middle of their pass, on the scale of their pass.

    Parameters
    ----------
    own
        Of each record, shape (N,); NaN where it was not looked at.
    along
        The median of its neighbours along the pass.
    across_low, across_high
        The lowest and the highest of the passes beside it at the same place; NaN where there are
        none.
    share
        Of each record, as a share of the middle yield of its pass.
    """

    own: Floats
    along: Floats
    across_low: Floats
    across_high: Floats
    share: Floats


def deviations(log: pd.DataFrame, kept: Flags, width_m: float | None) -> Deviations:
    """Return how far records stand from their pass and their neighbours.

    Parameters
    ----------
    log
        From `split_passes`.
    kept
        Records that still count; others are no neighbours either.
    width_m
        Full cutting width, m; None where nobody knows it.
    """
    value = log["yield_t_ha"].to_numpy(dtype=np.float64)
    number = log["pass_id"].to_numpy()
    at = np.flatnonzero(kept & (number != NO_PASS) & np.isfinite(value))
    # A pass is one run of records, so equal numbers stand together.
    first = np.flatnonzero(np.diff(number[at], prepend=NO_PASS))
    count = np.diff(first, append=len(at))
    full = count >= _LEAST_RECORDS
    at = at[np.repeat(full, count)]
    count = count[full]
    out = Deviations(*(np.full(len(log), np.nan) for _ in range(5)))
    if len(at) == 0:
        return out
    own, share = _standardised(value[at], count)
    distance = log["distance_m"].to_numpy()[at]
    along = _along(distance, own, count, _ALONG_M)
    out.own[at], out.along[at], out.share[at] = own, along, share
    beside = _BESIDE_M if width_m is None else _BESIDE_WIDTHS * width_m
    near = _along(distance, own, count, _STRETCH_M / 2)
    out.across_low[at], out.across_high[at] = _across(log.iloc[at], near, count, beside)
    return out


def _standardised(value: Floats, count: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Return deviations on the scale of each pass, and as shares of its middle yield."""
    owner = np.repeat(np.arange(len(count)), count)
    ordered = value[np.lexsort((value, owner))]
    first = np.cumsum(count) - count
    low, middle, high = (ordered[first + (q * (count - 1)).astype(int)] for q in (0.25, 0.5, 0.75))
    scale = np.maximum((high - low) / _SD_OF_QUARTILES, _FINEST_SHARE * np.abs(middle))
    scale = np.where(scale > 0, scale, 1.0)
    off = value - middle[owner]
    return off / scale[owner], off / np.where(middle > 0, middle, 1.0)[owner]


def _along(distance: Floats, own: Floats, count: NDArray[np.int64], each_way_m: float) -> Floats:
    """Return the running median along each pass; near its ends that of the last whole window."""
    from scipy.ndimage import median_filter

    steps = np.diff(distance)
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else each_way_m
    half = max(2, round(each_way_m / usual))
    median = median_filter(own, 2 * half + 1, mode="nearest")
    first = np.repeat(np.cumsum(count) - count, count)
    last = first + np.repeat(count, count) - 1
    inner = np.clip(
        np.arange(len(own)), np.minimum(first + half, last), np.maximum(last - half, first)
    )
    # In a pass shorter than the window the middle of the pass is all there is: zero.
    return np.where(np.repeat(count, count) > 2 * half, median[inner], 0.0)


def _across(
    log: pd.DataFrame, near: Floats, count: NDArray[np.int64], beside_m: float
) -> tuple[Floats, Floats]:
    """Return the lowest and highest of the nearest stretches of other passes beside each record."""
    from scipy.spatial import cKDTree

    owner = np.repeat(np.arange(len(count)), count)
    place = np.floor(log["distance_m"].to_numpy() / _STRETCH_M).astype(np.int64)
    fresh = (np.diff(owner, prepend=-1) != 0) | (np.diff(place, prepend=-1) != 0)
    starts = np.flatnonzero(fresh)
    middle = (starts + np.append(starts[1:], len(owner)) - 1) // 2
    points = log[["x_m", "y_m"]].to_numpy(dtype=np.float64)[middle]
    # Missing neighbours are as far as infinity, so more may be asked for than there are.
    away, found = cKDTree(points).query(points, k=_SEARCHED, distance_upper_bound=beside_m)
    known = np.isfinite(np.asarray(away))
    found = np.where(known, found, 0)
    other = known & (owner[middle][found] != owner[middle][:, None])
    other &= np.cumsum(other, axis=1) <= _MOST_BESIDE
    values = near[middle][found]
    enough = other.sum(axis=1) >= _LEAST_BESIDE
    of_record = np.cumsum(fresh) - 1
    low = np.where(enough, np.where(other, values, np.inf).min(axis=1), np.nan)
    high = np.where(enough, np.where(other, values, -np.inf).max(axis=1), np.nan)
    return low[of_record], high[of_record]
