"""Where blocks of neighbouring strips fit between the headlands, on whole passes of the seeder.

All positions are metres along the heading and across it, to the right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

#: Drawn boundaries are good to a few centimetres: a pass that misses by less fits, m.
DRAWN_M = 0.02

#: Blocks side by side are worth this share of the length they could have apart: neighbouring
#: ground is alike, and strips in one place are easier to sow and find. Common practice, no source.
_TOGETHER_SHARE = 0.8

#: Places as good as the best to within this share count as equal; the most central is taken.
_AS_GOOD = 0.98


@dataclass(frozen=True, slots=True)
class Lanes:
    """The seeder's passes across the field, and where along them ground is not free.

    Parameters
    ----------
    number
        Number of each pass, counted from the anchor, shape (passes,).
    left_m
        Left edge of each pass, m across, shape (passes,).
    blocked
        For each pass the stretches that are not free in its whole width, m along, shape (n, 2).
    near_m, far_m
        Where the free ground begins and ends, m along.
    seeder_m
        Width of a pass, m.
    """

    number: NDArray[np.int64]
    left_m: Floats
    blocked: tuple[Floats, ...]
    near_m: float
    far_m: float
    seeder_m: float

    def free(self, passes: list[int]) -> list[tuple[float, float]]:
        """Return the stretches free in all of some passes, m along, in order."""
        closed = np.concatenate([self.blocked[place] for place in passes])
        closed = closed[np.argsort(closed[:, 0], kind="stable")]
        found, at = [], self.near_m
        for start, end in closed:
            if start > at:
                found.append((at, float(start)))
            at = max(at, float(end))
        if self.far_m > at:
            found.append((at, self.far_m))
        return found


@dataclass(frozen=True, slots=True)
class Site:
    """Where a block could lie.

    Parameters
    ----------
    starts
        Place among the lanes of the first pass of each strip, from left to right.
    end
        Place of the pass after the last strip.
    free
        Stretches free over the whole block, m along; the longest first.
    """

    starts: tuple[int, ...]
    end: int
    free: tuple[tuple[float, float], ...]

    @property
    def length_m(self) -> float:
        """Length of the longest free stretch, m."""
        return self.free[0][1] - self.free[0][0] if self.free else 0.0

    def count(self, length_m: float, several: bool) -> int:
        """Return how many blocks of at least a length fit here, one unless several may."""
        fitting = sum(end - start >= length_m for start, end in self.free)
        return fitting if several else min(fitting, 1)


@dataclass(frozen=True, slots=True)
class Block:
    """Where a block lies: first passes of its strips, and its ends, m along."""

    starts: tuple[int, ...]
    from_m: float
    to_m: float


def find_lanes(
    inner: BaseGeometry, seeder_m: float, anchor_m: float | None, give_m: float
) -> Lanes:
    """Return the passes that the ground between the headlands holds.

    Parameters
    ----------
    inner
        Ground free for strips, m along and across.
    seeder_m
        Width of a pass, m.
    anchor_m
        Edge of some pass, m across; None for the left end of the ground.
    give_m
        How far a pass may stick out of the ground, m.

    Returns
    -------
    Lanes
        May be none.
    """
    near, left, far, right = inner.bounds
    anchor = left if anchor_m is None else anchor_m
    first = int(np.ceil((left - give_m - anchor) / seeder_m))
    last = int(np.floor((right + give_m - anchor) / seeder_m))
    number = np.arange(first, last, dtype=np.int64)
    edges = np.asarray(anchor + number * seeder_m, dtype=np.float64)
    boxes = [box(near, edge + give_m, far, edge + seeder_m - give_m) for edge in edges]
    shapely.prepare(inner)
    parts, owner = shapely.get_parts(shapely.difference(boxes, inner), return_index=True)
    bounds = shapely.bounds(parts)[:, [0, 2]] if len(parts) else np.zeros((0, 2))
    blocked = tuple(bounds[owner == place] for place in range(len(number)))
    return Lanes(number, edges, blocked, near, far, seeder_m)


def find_sites(lanes: Lanes, allowed: NDArray[np.bool_], passes: int, strips: int) -> list[Site]:
    """Return where a block could lie, from left to right.

    Parameters
    ----------
    lanes
        The passes.
    allowed
        Whether a strip may start with each pass, shape (passes,).
    passes
        Passes in a strip.
    strips
        Strips in a block. Between neighbours there may be a gap of a strip's width at most,
        where tramlines or wheel tracks force one.
    """
    starts = np.flatnonzero(allowed[: max(len(allowed) - passes + 1, 0)])
    sites = []
    for at in range(len(starts)):
        chain = [int(starts[at])]
        while len(chain) < strips:
            after = int(np.searchsorted(starts, chain[-1] + passes))
            if after == len(starts) or starts[after] > chain[-1] + 2 * passes:
                break
            chain.append(int(starts[after]))
        if len(chain) < strips:
            continue
        free = lanes.free([start + step for start in chain for step in range(passes)])
        free = sorted(free, key=lambda stretch: stretch[0] - stretch[1])
        sites.append(Site(tuple(chain), chain[-1] + passes, tuple(free)))
    return sites


def choose_blocks(
    sites: list[Site], number: int, least_m: float, middle: float, passes: int
) -> list[Block] | None:
    """Return the best places for a number of blocks, or None where they do not fit.

    Blocks side by side come first, then blocks apart, then several blocks in the same lanes,
    before and behind an obstacle. Among equals the most central place is taken.

    Parameters
    ----------
    sites
        Where a block could lie, from left to right.
    number
        Blocks wanted.
    least_m
        Least length of a strip, m.
    middle
        The middle of the lanes, in passes.
    passes
        Passes in a strip: the widest gap between neighbouring blocks.
    """
    apart_m = longest_for(sites, number, several=False)
    together, together_m = _side_by_side(sites, number, middle, passes)
    if together and together_m >= max(least_m, _TOGETHER_SHARE * apart_m):
        return [Block(site.starts, *site.free[0]) for site in together]
    if apart_m >= least_m:
        return _take(sites, number, apart_m, several=False)
    several_m = longest_for(sites, number, several=True)
    if several_m >= least_m:
        return _take(sites, number, several_m, several=True)
    return None


def most_blocks(sites: list[Site], least_m: float) -> int:
    """Return how many blocks fit with strips of at least a length.

    Parameters
    ----------
    sites
        Where a block could lie, from left to right.
    least_m
        Least length of a strip, m.
    """
    return _fitting(sites, least_m, several=True)[0][0]


def longest_for(sites: list[Site], number: int, *, several: bool) -> float:
    """Return the longest that the shortest of a number of blocks can be, m; 0 if they never fit.

    Parameters
    ----------
    sites
        Where a block could lie, from left to right.
    number
        Blocks wanted.
    several
        Whether several blocks may lie in the same lanes, before and behind an obstacle.
    """
    lengths = np.unique([end - start for site in sites for start, end in site.free])
    low, high = 0, len(lengths)  # the answer is lengths[low - 1]
    while low < high:
        half = (low + high) // 2
        if _fitting(sites, lengths[half], several)[0][0] >= number:
            low = half + 1
        else:
            high = half
    return float(lengths[low - 1]) if low else 0.0


def _side_by_side(
    sites: list[Site], number: int, middle: float, passes: int
) -> tuple[list[Site], float]:
    """Return the run of neighbouring blocks whose shortest is longest, and that length, m."""
    first = np.array([site.starts[0] for site in sites], dtype=np.int64)
    runs: list[tuple[float, float, int, list[Site]]] = []
    for at, site in enumerate(sites):
        run = [site]
        while len(run) < number:
            after = int(np.searchsorted(first, run[-1].end))
            if after == len(sites) or first[after] > run[-1].end + passes:
                break
            run.append(sites[after])
        if len(run) == number:
            shortest = min(each.length_m for each in run)
            off_middle = abs((run[0].starts[0] + run[-1].end) / 2 - middle)
            runs.append((shortest, off_middle, at, run))
    if not runs:
        return [], 0.0
    best = max(run[0] for run in runs)
    chosen = min((run for run in runs if run[0] >= _AS_GOOD * best), key=lambda run: run[1:3])
    return chosen[3], chosen[0]


def _fitting(sites: list[Site], length_m: float, several: bool) -> list[tuple[int, int]]:
    """Return for each site the most blocks from it on, and the next site if it is taken.

    The next site is -1 where the site is better left out.
    """
    first = np.array([site.starts[0] for site in sites], dtype=np.int64)
    best: list[tuple[int, int]] = [(0, -1)] * (len(sites) + 1)
    for at in range(len(sites) - 1, -1, -1):
        after = int(np.searchsorted(first, sites[at].end))
        with_it = sites[at].count(length_m, several) + best[after][0]
        without = best[at + 1][0]
        best[at] = (with_it, after) if with_it > without else (without, -1)
    return best


def _take(sites: list[Site], number: int, length_m: float, several: bool) -> list[Block]:
    best = _fitting(sites, length_m, several)
    blocks: list[Block] = []
    at = 0
    while at < len(sites) and len(blocks) < number:
        after = best[at][1]
        if after < 0:
            at += 1
            continue
        stretches = [s for s in sites[at].free if s[1] - s[0] >= length_m]
        stretches = sorted(stretches if several else stretches[:1])
        blocks += [Block(sites[at].starts, *stretch) for stretch in stretches]
        at = after
    return blocks[:number]
