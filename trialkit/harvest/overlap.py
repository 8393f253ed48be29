"""Ground already cut: the share of each record's cut that no earlier pass had taken.

A machine seldom knows that its front runs half over stubble. The positions do: every pass paints
its width on a fine raster, and a later pass finds what is left.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.harvest.ground import Floats
from trialkit.harvest.passes import NO_PASS

#: Least length and width of the raster's cells, m. Across the passes they bound the error of the
#: share; along them they are as long as a step, or earlier passes would leave holes.
_ALONG_M = 1.0
_ACROSS_M = 0.5

#: Room over the usual step, so that the longer ones leave no holes either.
_STEP_ROOM = 1.25

#: Sine of the angle to a raster's axis beyond which a record crosses it: 45°.
_CROSSING = np.sqrt(0.5)

#: Steps longer than this are painted in part only, m: no logger is so slow.
_LONGEST_STEP_M = 40.0

#: Empty ground wider than this is squeezed to this, m, so that stray positions cost no memory.
_WIDEST_GAP_M = 200.0

#: Cells of the raster at most; on more ground they grow longer.
_MOST_CELLS = 60_000_000

#: Records painted at once, to bound memory.
_CHUNK = 50_000

#: In a cell that nobody cut.
_NOBODY = np.iinfo(np.int32).max


@dataclass(frozen=True, slots=True)
class _Cuts:
    """Ground under the records, in slices as long as a cell: whose, its middle, points across."""

    record: NDArray[np.int64]
    along: Floats
    across: Floats
    sine: Floats
    cosine: Floats
    aside: Floats
    along_m: float

    @property
    def columns(self) -> int:
        """Cells across the raster."""
        return int((self.across.max() + np.abs(self.aside).max()) / _ACROSS_M) + 1

    @property
    def rows(self) -> int:
        """Cells along the raster."""
        return int((self.along.max() + np.abs(self.aside).max()) / self.along_m) + 1

    def cells(self, part: slice) -> NDArray[np.int64]:
        """Return the numbers of the cells under some slices, shape (slices, points)."""
        u = self.along[part, None] - self.sine[part, None] * self.aside
        v = self.across[part, None] + self.cosine[part, None] * self.aside
        row = (u * (1 / self.along_m)).astype(np.int64)
        row *= self.columns
        row += (v * (1 / _ACROSS_M)).astype(np.int64)
        return row


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
    The potential-area methods of the literature clip polygons; a raster of cells half a metre
    wide and a step long, laid along the passes (and another for those that run across, as on a
    headland), does the same in time linear in the records. Each pass is read on the raster along
    it and painted on both, so that one that crosses the trial takes its ground too; what it takes
    from a pass that it crosses begins and ends within a cell's length. The outer quarter metre on
    each side is not looked at, so that passes laid edge to edge do not count as overlapping.
    """
    share = np.full(len(log), np.nan)
    pass_id = log["pass_id"].to_numpy()
    on = np.flatnonzero((pass_id != NO_PASS) & np.isfinite(log["heading_deg"].to_numpy()))
    if len(on) == 0:
        return share
    driven = log.iloc[on]
    number, took = pass_id[on].astype(np.int32), cutting[on]
    heading = np.radians(driven["heading_deg"].to_numpy())
    main = np.angle(np.exp(2j * heading).mean()) / 2
    step = _steps(driven, number)
    for axis, aside in ((main, np.sin(heading - main)), (main + np.pi / 2, np.cos(heading - main))):
        reads = np.abs(aside) <= _CROSSING
        painted = np.flatnonzero(reads | _near(driven, reads, width_m))
        if not reads.any():
            continue
        part = driven.iloc[painted]
        cuts = _cuts(part, heading[painted] - axis, step[painted], axis, width_m)
        fresh = _fresh(cuts, number[painted], took[painted])
        share[on[reads]] = fresh[reads[painted]]
    return share


def _near(log: pd.DataFrame, some: NDArray[np.bool_], width_m: float) -> NDArray[np.bool_]:
    """Tell which records are near enough to some others to cut the same ground."""
    if some.all() or not some.any():
        return some
    size = width_m + _LONGEST_STEP_M
    column, row = (
        np.floor(_squeezed(log[name].to_numpy()) / size).astype(np.int64) for name in ("x_m", "y_m")
    )
    columns = int(column.max()) + 3
    cell = (row + 1) * columns + column + 1
    taken = np.unique(cell[some])
    around = np.add.outer([-columns, 0, columns], [-1, 0, 1]).ravel()
    return np.isin(cell, np.unique(np.add.outer(taken, around)))


def _steps(log: pd.DataFrame, number: NDArray[np.int32]) -> Floats:
    """Return the metres from the record before in the same pass; 0 for the first of each."""
    x, y = log["x_m"].to_numpy(), log["y_m"].to_numpy()
    step = np.hypot(np.diff(x, prepend=x[:1]), np.diff(y, prepend=y[:1]))
    same = np.diff(number, prepend=-1) == 0
    return np.where(same, np.minimum(step, _LONGEST_STEP_M), 0.0)


def _fresh(cuts: _Cuts, number: NDArray[np.int32], took: NDArray[np.bool_]) -> Floats:
    """Return the share of each record's cut that no earlier pass painted."""
    first = np.full(cuts.rows * cuts.columns, _NOBODY, dtype=np.int32)
    parts = [slice(start, start + _CHUNK) for start in range(0, len(cuts.record), _CHUNK)]
    for part in reversed(parts):
        record = cuts.record[part]
        paints = took[record]
        cells = cuts.cells(part)[paints]
        # Backwards, so that where passes meet the earliest is written last and stays.
        backwards = np.repeat(number[record[paints]], cells.shape[1])[::-1].copy()
        first[cells.ravel()[::-1].copy()] = backwards
    fresh = np.empty(len(cuts.record))
    for part in parts:
        own = number[cuts.record[part], None]
        fresh[part] = (first[cuts.cells(part)] >= own).mean(axis=1)
    return np.asarray(np.bincount(cuts.record, fresh) / np.bincount(cuts.record))


def _cuts(log: pd.DataFrame, way: Floats, step: Floats, axis: float, width_m: float) -> _Cuts:
    """Lay a raster along an axis and return where each record, heading `way` off it, cuts on it."""
    x, y = log["x_m"].to_numpy(), log["y_m"].to_numpy()
    along = _squeezed(x * np.sin(axis) + y * np.cos(axis))
    across = _squeezed(x * np.cos(axis) - y * np.sin(axis))
    sine, cosine = np.sin(way), np.cos(way)
    # Who drives aslant steps over several columns: one slice for each.
    slices = np.maximum(1, np.ceil(step * np.abs(sine) / _ACROSS_M)).astype(np.int64)
    record = np.repeat(np.arange(len(step)), slices)
    rank = np.arange(len(record)) - np.repeat(np.cumsum(slices) - slices, slices)
    back = (rank + 0.5) / slices[record] * step[record]
    half = width_m / 2 - _ACROSS_M / 2
    room = half + _LONGEST_STEP_M
    usual = float(np.percentile(step[step > 0], 95)) if (step > 0).any() else 0.0
    cuts = _Cuts(
        record=record,
        along=along[record] - back * cosine[record] + room,
        across=across[record] - back * sine[record] + room,
        sine=sine[record],
        cosine=cosine[record],
        aside=np.linspace(-half, half, max(2, round(width_m / _ACROSS_M))),
        along_m=max(_ALONG_M, _STEP_ROOM * usual),
    )
    longer = cuts.rows * cuts.columns / _MOST_CELLS
    if longer > 1:
        cuts = replace(cuts, along_m=1.01 * longer * cuts.along_m)
    # Who crosses paints whole cells: half a cell less on each side is the width on the average.
    crossing = np.abs(cuts.sine) > _CROSSING
    inner = (width_m / 2 - cuts.along_m / 2 * np.abs(cuts.sine)) / half
    scale = np.where(crossing, np.clip(inner, 0.1, 1.0), 1.0)
    return replace(cuts, sine=cuts.sine * scale, cosine=cuts.cosine * scale)


def _squeezed(place: Floats) -> Floats:
    """Return places from 0 on, in their order, without wide empty ground between them."""
    order = np.argsort(place)
    steps = np.minimum(np.diff(place[order], prepend=place[order[:1]]), _WIDEST_GAP_M)
    squeezed = np.empty_like(place)
    squeezed[order] = np.cumsum(steps)
    return squeezed
