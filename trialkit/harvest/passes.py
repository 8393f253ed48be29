"""Split a log into passes: straight or gently curved runs of the harvester through the crop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.harvest.ground import Floats, gaps, seconds
from trialkit.harvest.header import (
    AHEAD,
    RIGHT,
    header_offset,
    is_move,
    moved_to_header,
    warn_of_move,
)
from trialkit.harvest.metres import metre_grid, on_grid, put_at

Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

#: Number given to records that belong to no pass: turns, header up, no position.
NO_PASS = 0

#: Default for `Screening.jump_m_s`.
JUMP_M_S = 10.0

#: Least distance between points that carry the track, m: above the noise of a receiver that
#: stands still, below the length of a turn.
_KNOT_M = 3.0

#: Length of track looked back and ahead along to see a turn, m.
_LOOK_M = 6.0

#: Change of heading over that length that makes a turn, degrees; a curve of radius 23 m. Passes
#: along contours are wider, turns at the headland tighter.
_TURN_DEG = 30.0

#: Shorter runs between two turns are part of the turn, m.
_LEAST_RUN_M = 10.0

#: A run goes on after an interruption no longer than this, m, on the same line.
_BRIDGE_M = 20.0
_SAME_HEADING_DEG = 20.0
_SAME_LINE_M = 2.0

#: Longest excursion of a position that jumped, s, and records where there is no clock.
_LONGEST_JUMP_S = 60.0
_LONGEST_JUMP_RECORDS = 5

#: No leap is shorter than this, m: beyond the error of a receiver, and clocks that stutter.
_LEAP_M = 50.0

#: Two records closer in time than this are taken as this far apart, s: stamps are rounded.
_LEAST_STEP_S = 0.1


@dataclass(frozen=True, slots=True)
class Track:
    """The path driven, as points some metres apart.

    Parameters
    ----------
    x_m, y_m
        Points of the path, m, shape (K,).
    along_m
        Metres driven up to each point, shape (K,), never falling.
    at_m
        Metres driven up to each record, shape (N,).
    """

    x_m: Floats
    y_m: Floats
    along_m: Floats
    at_m: Floats

    def position(self, along_m: Floats) -> tuple[Floats, Floats]:
        """Return the place on the path after some metres driven."""
        return (
            np.interp(along_m, self.along_m, self.x_m),
            np.interp(along_m, self.along_m, self.y_m),
        )


def split_passes(
    log: pd.DataFrame, *, grid: object | None = None, jump_m_s: float = JUMP_M_S
) -> pd.DataFrame:
    """Find the passes of a harvest log.

    A pass ends where the heading turns, the monitor paused, the position leaps ahead, or the
    header was up (a recorded width of zero). Where the log says how far the header is from the
    antenna (`header_ahead_m header_right_m`), positions are moved to the header.

    Parameters
    ----------
    log
        From `read_log`, in the order driven.
    grid
        Metre grid (a `pyproj.CRS`, such as `trialkit.position.local_grid(boundary)`); by default
        one about the middle of the log.
    jump_m_s
        Speed between two positions, m/s, above which the position jumped; such records are
        bridged.

    Returns
    -------
    DataFrame
        The log with `x_m`, `y_m` (metres on the grid), `heading_deg` (clockwise from north),
        `pass_id` (from 1, in the order driven; 0 for turns and other records outside passes) and
        `distance_m` (metres from the start of the pass; NaN outside passes). Where positions were
        moved, longitude and latitude too; the header is then no distance from them.

    Raises
    ------
    LogError
        If no record has a position.

    Warns
    -----
    LogWarning
        If positions were moved to the header: how far and on whose word.

    Examples
    --------
    >>> import pandas as pd
    >>> up = pd.DataFrame({"longitude": 0.0, "latitude": [1 + i * 2e-5 for i in range(50)]})
    >>> split_passes(up)["pass_id"].unique().tolist()
    [1]
    """
    metres = metre_grid(log, grid)
    x, y = on_grid(log, metres)
    clock = seconds(log)
    heading = np.full(len(log), np.nan)
    pass_id = np.zeros(len(log), dtype=np.int64)
    distance = np.full(len(log), np.nan)
    usable = np.flatnonzero(np.isfinite(x) & ~jumped(x, y, clock, jump_m_s))
    if len(usable) > 1:
        time = None if clock is None else clock[usable]
        piece = _pieces(x[usable], y[usable], time, jump_m_s)
        track = _track(x[usable], y[usable], piece)
        off = _turning(track, piece) | _header_up(log)[usable]
        own = _numbered(track, piece, off)
        heading[usable] = _headings(track, own, piece)
        distance[usable] = _distances(track, own)
        pass_id[usable] = own
        _bridge(pass_id, distance, heading, np.isfinite(x))
    offset = header_offset(log)
    if is_move(offset):
        x, y = moved_to_header(x, y, heading, offset)
        log = put_at(log, x, y, metres).assign(**{AHEAD: 0.0, RIGHT: 0.0})
        warn_of_move(offset)
    return log.assign(x_m=x, y_m=y, heading_deg=heading, pass_id=pass_id, distance_m=distance)


def jumped(x: Floats, y: Floats, clock: Floats | None, jump_m_s: float) -> Flags:
    """Tell which positions jumped away from the track and came back.

    Parameters
    ----------
    x, y
        Positions, m; NaN where there is none.
    clock
        Seconds since the first record; None where the log has no clock.
    jump_m_s
        Greatest believable speed between two positions, m/s. Without a clock, steps of more than
        20 usual ones are looked at.

    Returns
    -------
    ndarray of bool
        True where a record's position jumped.
    """
    flags = np.zeros(len(x), dtype=bool)
    known = np.flatnonzero(np.isfinite(x))
    if len(known) < 3:
        return flags
    x, y = x[known], y[known]
    step = np.hypot(np.diff(x), np.diff(y))
    if clock is None:
        time = np.arange(len(known), dtype=np.float64)
        limit, longest = max(20.0 * float(np.median(step)), 1.0), float(_LONGEST_JUMP_RECORDS)
    else:
        time, limit, longest = clock[known], jump_m_s, _LONGEST_JUMP_S
    far = step > limit * np.maximum(np.diff(time), _LEAST_STEP_S)
    starts = np.concatenate(([0], np.flatnonzero(far) + 1)).tolist()
    ends = [start - 1 for start in starts[1:]] + [len(known) - 1]
    runs = [(a, b, bool(time[b] - time[a] <= longest)) for a, b in zip(starts, ends, strict=True)]
    anchor = next((number for number, run in enumerate(runs) if not run[2]), 0)
    backwards = [(end, start, brief) for start, end, brief in runs[anchor::-1]]
    for way in (runs[anchor:], backwards):
        for first, last in _strays(way, x, y, time, limit):
            flags[known[min(first, last) : max(first, last) + 1]] = True
    return flags


def _strays(
    runs: list[tuple[int, int, bool]], x: Floats, y: Floats, time: Floats, limit: float
) -> list[tuple[int, int]]:
    """Return the brief runs that cannot be reached from the sound one before them.

    Each run is (first, last, brief) in the direction walked; the first run is taken as sound.
    """
    strays = []
    sound = runs[0][1]
    for first, last, brief in runs[1:]:
        leap = np.hypot(x[first] - x[sound], y[first] - y[sound])
        if brief and leap > limit * max(abs(time[first] - time[sound]), _LEAST_STEP_S):
            strays.append((first, last))
        else:
            sound = last
    return strays


def _pieces(x: Floats, y: Floats, clock: Floats | None, jump_m_s: float) -> Whole:
    """Give numbers to stretches without a gap: no pause of the monitor, no leap ahead."""
    step = np.hypot(np.diff(x, prepend=x[:1]), np.diff(y, prepend=y[:1]))
    if clock is None:
        gap = step > max(5.0 * float(np.median(step)), 15.0)
    else:
        passed = np.maximum(np.diff(clock, prepend=clock[:1]), _LEAST_STEP_S)
        gap = gaps(clock) | (step > np.maximum(jump_m_s * passed, _LEAP_M))
    return np.cumsum(gap).astype(np.int64)


def _knots(x: Floats, y: Floats, piece: Whole) -> Whole:
    """Return the records that carry the track: the ends of pieces, and points 3 m apart."""
    edge = np.diff(piece, prepend=-1) != 0
    edge |= np.append(edge[1:], True)
    least = _KNOT_M**2
    xs, ys, edges = x.tolist(), y.tolist(), edge.tolist()
    kept = []
    last_x, last_y = xs[0], ys[0]
    for number, here in enumerate(zip(xs, ys, edges, strict=True)):
        if here[2] or (here[0] - last_x) ** 2 + (here[1] - last_y) ** 2 >= least:
            kept.append(number)
            last_x, last_y = here[0], here[1]
    return np.asarray(kept, dtype=np.int64)


def _track(x: Floats, y: Floats, piece: Whole) -> Track:
    """Return the path driven and how far along it each record is."""
    knots = _knots(x, y, piece)
    knot_x, knot_y = x[knots], y[knots]
    leg_x, leg_y = np.diff(knot_x), np.diff(knot_y)
    length = np.hypot(leg_x, leg_y)
    along = np.concatenate(([0.0], np.cumsum(length)))
    leg = np.clip(np.searchsorted(knots, np.arange(len(x)), side="right") - 1, 0, len(length) - 1)
    ahead = (x - knot_x[leg]) * leg_x[leg] + (y - knot_y[leg]) * leg_y[leg]
    share = np.clip(ahead / np.maximum(length[leg], 1e-9), 0.0, length[leg])
    at = along[leg] + share
    at[knots] = along
    return Track(knot_x, knot_y, along, np.maximum.accumulate(at))


def _bounds(at: Floats, group: Whole) -> tuple[Floats, Floats]:
    """Return where along the track each record's run of equal `group` begins and ends."""
    first = np.flatnonzero(np.diff(group, prepend=group[0] - 1))
    count = np.diff(first, append=len(group))
    return np.repeat(at[first], count), np.repeat(at[first + count - 1], count)


def _turning(track: Track, piece: Whole) -> Flags:
    """Tell which records are in a turn: the heading ahead differs from the heading behind."""
    low, high = _bounds(track.at_m, piece)
    x, y = track.position(track.at_m)
    x_back, y_back = track.position(np.maximum(track.at_m - _LOOK_M, low))
    x_on, y_on = track.position(np.minimum(track.at_m + _LOOK_M, high))
    behind = np.arctan2(x - x_back, y - y_back)
    ahead = np.arctan2(x_on - x, y_on - y)
    enough = (np.hypot(x - x_back, y - y_back) > 1.0) & (np.hypot(x_on - x, y_on - y) > 1.0)
    sharp = np.abs(_turn(ahead - behind)) > np.radians(_TURN_DEG)
    return np.asarray(enough & sharp, dtype=bool)


def _turn(angle: Floats) -> Floats:
    """Bring angles in radians between −π and π."""
    return (angle + np.pi) % (2 * np.pi) - np.pi


def _header_up(log: pd.DataFrame) -> Flags:
    if "swath_m" not in log:
        return np.zeros(len(log), dtype=bool)
    return log["swath_m"].to_numpy(dtype=np.float64) <= 0


def _numbered(track: Track, piece: Whole, off: Flags) -> Whole:
    """Give numbers to passes: runs outside turns, joined over brief interruptions, long enough."""
    change = np.flatnonzero(
        (np.diff(off, prepend=~off[:1]) != 0) | (np.diff(piece, prepend=-1) != 0)
    )
    ends = np.append(change[1:], len(off))
    runs = [(int(a), int(b)) for a, b in zip(change, ends, strict=True) if not off[a]]
    joined: list[tuple[int, int]] = []
    for start, end in runs:
        if joined and _same_run(track, piece, joined[-1], (start, end)):
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    own = np.full(len(off), NO_PASS, dtype=np.int64)
    number = NO_PASS
    for start, end in joined:
        if track.at_m[end - 1] - track.at_m[start] >= _LEAST_RUN_M:
            number += 1
            own[start:end] = number
    return own


def _same_run(track: Track, piece: Whole, one: tuple[int, int], two: tuple[int, int]) -> bool:
    """Tell whether the second run goes on where the first was interrupted: same line, same way."""
    if piece[one[0]] != piece[two[0]]:
        return False
    at = track.at_m
    if at[two[0]] - at[one[1] - 1] > _BRIDGE_M:
        return False
    ends = np.array([max(at[one[0]], at[one[1] - 1] - _BRIDGE_M), at[one[1] - 1]])
    starts = np.array([at[two[0]], min(at[two[1] - 1], at[two[0]] + _BRIDGE_M)])
    x1, y1 = track.position(ends)
    x2, y2 = track.position(starts)
    heading1 = np.arctan2(x1[1] - x1[0], y1[1] - y1[0])
    heading2 = np.arctan2(x2[1] - x2[0], y2[1] - y2[0])
    if abs(_turn(heading2 - heading1)) > np.radians(_SAME_HEADING_DEG):
        return False
    across = (x2[0] - x1[1]) * np.cos(heading1) - (y2[0] - y1[1]) * np.sin(heading1)
    return bool(abs(across) <= _SAME_LINE_M)


def _headings(track: Track, own: Whole, piece: Whole) -> Floats:
    """Return headings in degrees, along the pass without a look into the turns."""
    low, high = _bounds(track.at_m, own * (piece.max() + 1) + piece)
    x_back, y_back = track.position(np.maximum(track.at_m - _LOOK_M, low))
    x_on, y_on = track.position(np.minimum(track.at_m + _LOOK_M, high))
    return np.degrees(np.arctan2(x_on - x_back, y_on - y_back)) % 360.0


def _distances(track: Track, own: Whole) -> Floats:
    low, _ = _bounds(track.at_m, own)
    return np.where(own == NO_PASS, np.nan, track.at_m - low)


def _bridge(pass_id: Whole, distance: Floats, heading: Floats, known: Flags) -> None:
    """Count records whose position jumped to the pass they stand in, in place."""
    sound = np.flatnonzero(np.isfinite(heading))
    if len(sound) == 0:
        return
    odd = np.flatnonzero(known & ~np.isfinite(heading))
    after = np.searchsorted(sound, odd)
    inner = (after > 0) & (after < len(sound))
    odd, after = odd[inner], after[inner]
    before, behind = sound[after - 1], sound[after]
    same = (pass_id[before] == pass_id[behind]) & (pass_id[before] != NO_PASS)
    odd, before, behind = odd[same], before[same], behind[same]
    share = (odd - before) / (behind - before)
    pass_id[odd] = pass_id[before]
    distance[odd] = distance[before] + share * (distance[behind] - distance[before])
    heading[odd] = heading[before]
