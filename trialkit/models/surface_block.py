"""The columns of a tensor-product P-spline, split into a flat part and three groups of bends.

A curve along one axis is B a, with cubic B-splines B and penalty |D a|^2 on second differences.
With D'D = U diag(d) U' over its positive eigenvalues, the bends are B U diag(d)^(-1/2) times
independent effects of one variance; what the penalty does not see is a straight line. Crossed
with the other axis, the bends in both are B_x U_x times B_y U_y, column by column, with
penalties d_x + d_y (Lee, Durban and Eilers 2013, CSDA 61:22-37).

From all bends the flat part is taken out over the records. Differences of treatments do not
change by that, but the level becomes that of the average record.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import BSpline

from trialkit.models.random_blocks import CHUNK
from trialkit.models.records import Codes, Floats

_DEGREE = 3
#: Share of a column's length beside the flat part, below which it is rounding.
_ROUNDING = 1e-10


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of the surface.

    Parameters
    ----------
    places
        Place of each record, shape (n,).
    middle, spread
        Their mean and standard deviation.
    edges
        Knots of the B-splines, those beyond both ends included.
    turn
        B-splines to bends, before the penalty acts, shape (splines, bends).
    penalties
        Penalty of each bend, shape (bends,).
    """

    places: Floats
    middle: float
    spread: float
    edges: Floats
    turn: Floats
    penalties: Floats

    @classmethod
    def of(cls, places: Floats, knots: int) -> Axis:
        """Lay B-splines with so many knots over the places."""
        low, high = float(places.min()), float(places.max())
        step = (high - low) / (knots - 1)
        edges: Floats = np.asarray(
            low + step * np.arange(-_DEGREE, knots + _DEGREE), dtype=np.float64
        )
        second = np.diff(np.eye(knots - 1 + _DEGREE), 2, axis=0)
        values, vectors = np.linalg.eigh(second.T @ second)
        return cls(
            places, float(places.mean()), float(places.std()), edges, vectors[:, 2:], values[2:]
        )

    def line(self, rows: slice) -> Floats:
        """Return the standardised places of some records."""
        return (self.places[rows] - self.middle) / self.spread

    def bends(self, rows: slice) -> Floats:
        """Return the bends of some records, shape (records, bends)."""
        first, last = self.edges[_DEGREE], self.edges[-_DEGREE - 1]
        inside = np.clip(self.places[rows], first, last)  # rounding must not leave the knots
        return np.asarray(BSpline.design_matrix(inside, self.edges, _DEGREE) @ self.turn)

    def arrange(self, order: Codes) -> Axis:
        """Return the same axis for records in another order."""
        return replace(self, places=self.places[order])


@dataclass(frozen=True, slots=True)
class SurfaceBlock:
    """The bends of a surface, as a block of random effects.

    Parameters
    ----------
    x, y
        The axes.
    flat
        What of the flat part is taken out of each column, shape (4, columns).
    scale
        What each column is multiplied by, so that a term's squares add up to the records.
    factor
        What each record's row is multiplied by, shape (n,); None for ones.
    """

    x: Axis
    y: Axis
    flat: Floats
    scale: Floats
    factor: Floats | None = None

    @property
    def terms(self) -> tuple[str, ...]:
        """Bends in x alone, in y alone, and in both."""
        return ("surface_x", "surface_y", "surface_xy")

    @property
    def sizes(self) -> tuple[int, ...]:
        """Columns of each term."""
        along_x, along_y = self.x.penalties.size, self.y.penalties.size
        return (along_x, along_y, along_x + along_y + along_x * along_y)

    def sums(self, columns: Floats, rows: slice) -> Floats:
        """Return Z'v, shape (columns of Z, m)."""
        begin, end, _ = rows.indices(self.x.places.size)
        total = np.zeros((sum(self.sizes), columns.shape[1]))
        for first in range(begin, end, CHUNK):
            last = min(first + CHUNK, end)
            total += self._columns(slice(first, last)).T @ columns[first - begin : last - begin]
        return total

    def spread(self, effects: Floats, rows: slice) -> Floats:
        """Return Z u, shape (records, m)."""
        return np.asarray(self._columns(rows) @ effects)

    def dense(self, rows: slice) -> tuple[Codes, Floats]:
        """Return all columns over a run of records."""
        return np.arange(sum(self.sizes)), self._columns(rows)

    def arrange(self, order: Codes) -> SurfaceBlock:
        """Return the same block for records in another order."""
        factor = None if self.factor is None else self.factor[order]
        return replace(self, x=self.x.arrange(order), y=self.y.arrange(order), factor=factor)

    def scaled(self, factor: Floats) -> SurfaceBlock:
        """Return the block with each record's row of Z multiplied."""
        return replace(self, factor=factor if self.factor is None else self.factor * factor)

    def _columns(self, rows: slice) -> Floats:
        plane = flat_part(self.x, self.y, rows)
        columns = (_bends(self.x, self.y, rows) - plane @ self.flat) * self.scale
        return columns if self.factor is None else columns * self.factor[rows, None]


def flat_part(x: Axis, y: Axis, rows: slice) -> Floats:
    """Return level, slopes in x and in y, and their product, shape (records, 4)."""
    u, v = x.line(rows), y.line(rows)
    return np.column_stack([np.ones(u.size), u, v, u * v])


def _bends(x: Axis, y: Axis, rows: slice) -> Floats:
    """Return all bends, penalties in place, the flat part still in them."""
    bends_x, bends_y = x.bends(rows), y.bends(rows)
    curves_x, curves_y = bends_x / np.sqrt(x.penalties), bends_y / np.sqrt(y.penalties)
    both = np.sqrt(x.penalties[:, None] + y.penalties)
    crossed = bends_x[:, :, None] * bends_y[:, None, :] / both
    return np.column_stack(
        [
            curves_x,
            curves_y,
            y.line(rows)[:, None] * curves_x,
            x.line(rows)[:, None] * curves_y,
            crossed.reshape(len(bends_x), -1),
        ]
    )


def lay_surface(x: Floats, y: Floats, knots: tuple[int, int]) -> tuple[Floats, SurfaceBlock]:
    """Lay a surface over the records.

    Parameters
    ----------
    x, y
        Place of each record, shape (n,).
    knots
        Knots along each axis.

    Returns
    -------
    ndarray, SurfaceBlock
        x, y and their product, each with mean zero, shape (n, 3); and the bends.
    """
    axes = Axis.of(x, knots[0]), Axis.of(y, knots[1])
    plane = flat_part(*axes, slice(None))
    shared, squares = _products(*axes, plane)
    square = plane.T @ plane
    flat: Floats = np.asarray(np.linalg.lstsq(square, shared, rcond=_ROUNDING)[0], dtype=np.float64)
    left = np.maximum(squares - (flat * shared).sum(axis=0), 0.0)
    block = SurfaceBlock(*axes, flat, np.ones(squares.size))
    ends = np.cumsum(block.sizes)[:-1]
    parts = zip(np.split(left, ends), np.split(squares, ends), strict=True)
    scale = [
        np.full(
            part.size, np.sqrt(x.size / part.sum()) if part.sum() > _ROUNDING * whole.sum() else 0.0
        )
        for part, whole in parts
    ]
    slopes = np.column_stack([x - axes[0].middle, y - axes[1].middle])
    crossed = slopes.prod(axis=1)
    slopes = np.column_stack([slopes, crossed - crossed.mean()])
    return slopes, replace(block, scale=np.concatenate(scale))


def _products(x: Axis, y: Axis, plane: Floats) -> tuple[Floats, Floats]:
    """Return the bends' products with the flat part, and their squares, over all records."""
    columns = _bends(x, y, slice(0, 1)).shape[1]
    shared, squares = np.zeros((plane.shape[1], columns)), np.zeros(columns)
    for begin in range(0, len(plane), CHUNK):
        rows = slice(begin, begin + CHUNK)
        bends = _bends(x, y, rows)
        shared += plane[rows].T @ bends
        squares += (bends**2).sum(axis=0)
    return shared, squares
