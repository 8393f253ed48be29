"""Ground that was cut and whose records were left out: what stands beside it speaks for it.

A strip that lost its poorest corner to the screening must not look better for it. Left out, a
stretch would take the mean of its strip; it is more like the ground next to it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit.harvest.ground import Floats, swath_m
from trialkit.harvest.passes import NO_PASS, Flags

#: Records along the pass up to this far away speak for ground left out, m; what lies farther from
#: them takes the mean of its strip. Yields along a pass are alike over some tens of metres, and
#: anything from 20 to 40 m mends simulated strips equally well.
_BESIDE_M = 30.0

#: Ground of which no record belongs to the strip, by the reason it was left out.
_NOT_OURS = "outside the field"


def beside_it(log: pd.DataFrame, weight: Floats) -> tuple[Floats, Floats]:
    """Return yield and ground of records left out, by the records that count beside them.

    Parameters
    ----------
    log
        From `assign_strips`.
    weight
        Ground of each record, in any unit.

    Returns
    -------
    yield_t_ha, ground
        One a record, shape (N,). The yield is grain over ground of the records that count within
        30 m along the same pass in the same strip; the ground is the way to the record before
        times the width, in the unit of `weight`, since a speed that was left out may be absurd.
        NaN and 0 where the record counts itself, stands outside passes, strips or the field, or
        has no such neighbour.
    """
    value, ground = np.full(len(log), np.nan), np.zeros(len(log))
    if not {"pass_id", "distance_m", "reason"} <= set(log):
        return value, ground
    number = log["pass_id"].to_numpy()
    distance = log["distance_m"].to_numpy(dtype=np.float64)
    strip = pd.factorize(log["strip"])[0]
    on = (strip >= 0) & (number != NO_PASS) & np.isfinite(distance)
    own = log["yield_t_ha"].to_numpy(dtype=np.float64)
    kept = on & log["kept"].to_numpy() & np.isfinite(own * weight)
    spare = np.flatnonzero(on & ~log["kept"].to_numpy() & (log["reason"] != _NOT_OURS).to_numpy())
    if len(spare) == 0 or not kept.any():
        return value, ground
    # Passes in strips end to end on one line, so far apart that none reaches into the next.
    line = (number * (strip.max() + 1) + strip) * (np.nanmax(distance) + 3 * _BESIDE_M) + distance
    value[spare] = _means(line, own, weight, np.flatnonzero(kept), line[spare])
    known = spare[np.isfinite(value[spare])]
    ground[known] = _driven(log, number, distance, weight, kept)[known]
    return value, ground


def _means(line: Floats, own: Floats, weight: Floats, at: np.ndarray, wanted: Floats) -> Floats:
    """Return grain over ground of the records that count beside some places on the line."""
    at = at[np.argsort(line[at], kind="stable")]
    grain = np.concatenate(([0.0], np.cumsum(own[at] * weight[at])))
    ground = np.concatenate(([0.0], np.cumsum(weight[at])))
    first = np.searchsorted(line[at], wanted - _BESIDE_M)
    after = np.searchsorted(line[at], wanted + _BESIDE_M, side="right")
    covered = ground[after] - ground[first]
    safe = np.where((after > first) & (covered > 0), covered, np.nan)
    return np.asarray((grain[after] - grain[first]) / safe)


def _driven(
    log: pd.DataFrame, number: np.ndarray, distance: Floats, weight: Floats, kept: Flags
) -> Floats:
    """Return the ground of each record by the way along its pass, in the unit of the weights."""
    step = np.diff(distance, prepend=distance[:1])
    way = np.where(np.diff(number, prepend=NO_PASS) == 0, np.maximum(step, 0.0), 0.0)
    width = swath_m(log)
    covers = way if width is None else way * np.maximum(np.nan_to_num(width), 0.0)
    covers = np.nan_to_num(covers)
    # What the records that count weigh for the ground they cover tells the unit.
    known = kept & (covers > 0)
    total = float(covers[known].sum())
    return covers * (float(weight[known].sum()) / total if total > 0 else 0.0)
