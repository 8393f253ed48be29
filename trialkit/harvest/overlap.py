"""Ground already cut: the share of each record's cut that no earlier pass had taken.

A machine seldom knows that its front runs half over stubble. The positions do: every pass paints
its width on a fine raster, and a later pass finds what is left.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.harvest.ground import Floats
from trialkit.harvest.passes import NO_PASS

#: Cells of the raster, m: along the passes and across them. Across they bound the error of the
#: share; along, cells as long as a step leave no holes.
_ALONG_M = 1.0
_ACROSS_M = 0.5

#: Steps longer than this are painted in part only, m: no logger is so slow.
_LONGEST_STEP_M = 40.0

#: Cells a plain array is made for; wider-flung logs are sorted first.
_MOST_CELLS = 60_000_000

#: Cells from the middle beyond which a log is so far-flung that the edge of the raster will do.
_FARTHEST = 1_000_000_000

#: Records painted at once, to bound memory.
_CHUNK = 100_000


def fresh_share(log: pd.DataFrame, width_m: float, cutting: NDArray[np.bool_]) -> Floats:
    """Return the share of the full width that each record cut for the first time.

    Parameters
    ----------
    log
        From `split_passes`, in the order driven.
    width_m
        Full cutting width, m.
    cutting
        True where grain came: only these records take ground away from later passes.

    Returns
    -------
    ndarray
        0 to 1; NaN outside passes. The width is taken as lying evenly about the position.

    Notes
    -----
    The potential-area methods of the literature clip polygons; a raster of 1 m by 0.5 m cells
    laid along the passes does the same in time linear in the records. The outer quarter metre on
    each side is not looked at, so that passes laid edge to edge do not count as overlapping.
    """
    share = np.full(len(log), np.nan)
    pass_id = log["pass_id"].to_numpy()
    on = np.flatnonzero((pass_id != NO_PASS) & np.isfinite(log["heading_deg"].to_numpy()))
    if len(on) == 0:
        return share
    number = pass_id[on].astype(np.int32)
    cells = _painted(log.iloc[on], number, width_m)
    took = cutting[on]
    first = np.full(int(cells.max()) + 1, np.iinfo(np.int32).max, dtype=np.int32)
    np.minimum.at(first, cells[took].ravel(), np.repeat(number[took], cells.shape[1]))
    share[on] = (first[cells] >= number[:, None]).mean(axis=1)
    return share


def _painted(log: pd.DataFrame, number: NDArray[np.int32], width_m: float) -> NDArray[np.integer]:
    """Return the raster cells under each record's cut, shape (records, points)."""
    heading = np.radians(log["heading_deg"].to_numpy())
    axis = np.angle(np.exp(2j * heading).mean()) / 2
    x, y = log["x_m"].to_numpy(), log["y_m"].to_numpy()
    # Turn the field so that the passes run along the first axis.
    along, across = x * np.sin(axis) + y * np.cos(axis), x * np.cos(axis) - y * np.sin(axis)
    way = heading - axis
    same = np.diff(number, prepend=-1) == 0
    step = np.hypot(np.diff(along, prepend=along[:1]), np.diff(across, prepend=across[:1]))
    step = np.where(same, np.minimum(step, _LONGEST_STEP_M), 0.0)
    many = max(1, int(np.ceil(np.percentile(step[same], 95) / _ALONG_M))) if same.any() else 1
    back = (np.arange(many) + 0.5) / many
    half = width_m / 2 - _ACROSS_M / 2
    aside = np.linspace(-half, half, max(2, round(width_m / _ACROSS_M)))
    cell_along = np.empty((len(along), many, len(aside)), dtype=np.int32)
    cell_across = np.empty_like(cell_along)
    for start in range(0, len(along), _CHUNK):
        part = slice(start, start + _CHUNK)
        behind = (step[part, None] * back)[:, :, None]
        cosine, sine = np.cos(way[part])[:, None, None], np.sin(way[part])[:, None, None]
        u = along[part, None, None] - behind * cosine - aside * sine
        v = across[part, None, None] - behind * sine + aside * cosine
        cell_along[part] = np.clip(np.floor(u / _ALONG_M), -_FARTHEST, _FARTHEST)
        cell_across[part] = np.clip(np.floor(v / _ACROSS_M), -_FARTHEST, _FARTHEST)
    return _one_number(cell_along, cell_across).reshape(len(along), -1)


def _one_number(row: NDArray[np.int32], column: NDArray[np.int32]) -> NDArray[np.integer]:
    """Make one number of row and column, in place where the cells are few enough."""
    row -= row.min()
    column -= column.min()
    columns = int(column.max()) + 1
    if (int(row.max()) + 1) * columns < _MOST_CELLS:
        row *= columns
        row += column
        return row
    wide = row.astype(np.int64) * columns + column
    return np.asarray(np.unique(wide, return_inverse=True)[1]).reshape(wide.shape)
