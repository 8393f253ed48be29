"""Faults that are planted in a harvest: how many of what, and where they went."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.errors import LayoutError

#: What can happen on a pass, in the words the truth uses.
STOP = "stop"
CRAWL = "crawl"
PART_SWATH = "part swath, not recorded"
PART_SWATH_RECORDED = "part swath, recorded"
SPIKE = "flow spike"
JUMP = "position jump"
BRAKE = "sudden braking"
FREEZE = "frozen flow"
SURGE = "flow off for a while"
WET = "moisture spike"
REPEAT = "written twice"

#: Shares of a lane's length near which something can happen: far enough apart not to meet.
_PLACES = (0.2, 0.4, 0.6, 0.8)

#: Seconds kept free before and after a run of records that go wrong.
_ROOM_S = 20.0


@dataclass(frozen=True, slots=True)
class Mishaps:
    """How many faults of each kind a harvest has.

    Parameters
    ----------
    stops, stop_s
        Times the machine stops in the crop, and how long, s.
    crawls, crawl_s, crawl_share
        Times it creeps, how long, s, and its speed then as a share of its usual speed.
    part_swaths, part_swath_s
        Times the machine drifts over the lane it cut before and so cuts with part of its width,
        and for how long, s; on short lanes for a tenth of the lane at most. Of every two, it
        records the narrower width in the second only.
    part_swath_share
        Narrowest and widest of these cuts, where narrowest, as a share of the full width; less
        narrow where time is too short to drift that far.
    spikes, spike_kg_s
        Records with an absurd grain flow, and its lowest and highest value, kg/s.
    jumps, jump_m
        Records whose position is far off, and by how much, lowest and highest, m.
    brakes, brake_s, brake_share
        Times it brakes from one record to the next, for how long, s, and its speed then as a
        share of its usual speed.
    freezes, freeze_s
        Times the flow sensor hangs and shows one value, and for how long, lowest and highest, s.
    surges, surge_s, surge_share
        Times the flow sensor is off, for how long, s, and how far off at least and at most, as a
        share of the flow; too high and too low by turns.
    wet_slips, wet_slip_pct
        Records with an absurd moisture, and its lowest and highest value, %.
    repeats
        Records written twice.
    """

    stops: int = 2
    stop_s: float = 45.0
    crawls: int = 3
    crawl_s: float = 40.0
    crawl_share: float = 0.15
    part_swaths: int = 4
    part_swath_s: float = 40.0
    part_swath_share: tuple[float, float] = (0.4, 0.75)
    spikes: int = 8
    spike_kg_s: tuple[float, float] = (40.0, 150.0)
    jumps: int = 6
    jump_m: tuple[float, float] = (40.0, 400.0)
    brakes: int = 0
    brake_s: float = 6.0
    brake_share: float = 0.5
    freezes: int = 0
    freeze_s: tuple[float, float] = (25.0, 60.0)
    surges: int = 0
    surge_s: float = 3.0
    surge_share: tuple[float, float] = (0.5, 0.8)
    wet_slips: int = 0
    wet_slip_pct: tuple[float, float] = (35.0, 60.0)
    repeats: int = 0


#: A harvest in which everything goes wrong that can.
EVERY_MISHAP = Mishaps(brakes=6, freezes=4, surges=12, wet_slips=8, repeats=8)

#: A harvest in which nothing goes wrong.
NO_MISHAPS = Mishaps(stops=0, crawls=0, part_swaths=0, spikes=0, jumps=0)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happens on a lane.

    Parameters
    ----------
    lane
        Row of the lane.
    at
        Where, as a share of the lane's length.
    kind
        What.
    seconds
        How long.
    share
        Speed or cut width meanwhile, as a share of the usual one.
    """

    lane: int
    at: float
    kind: str
    seconds: float
    share: float


def plan_events(mishaps: Mishaps, lanes: int, draw: np.random.Generator) -> list[Event]:
    """Say what happens where, no two things at one place.

    Parameters
    ----------
    mishaps
        How many of each kind.
    lanes
        Number of lanes.
    draw
        The generator.

    Returns
    -------
    list of Event
        By lane, then by place.

    Raises
    ------
    LayoutError
        If there are more of them than places.
    """
    kinds = [STOP] * mishaps.stops + [CRAWL] * mishaps.crawls
    kinds += [PART_SWATH_RECORDED if at % 2 else PART_SWATH for at in range(mishaps.part_swaths)]
    kinds += [BRAKE] * mishaps.brakes
    places = [(lane, at) for lane in range(lanes) for at in _PLACES]
    if len(kinds) > len(places):
        raise LayoutError(
            f"{len(kinds)} stops, crawls, brakings and part swaths do not fit on {lanes} lanes. "
            f"Ask for {len(places)} at most."
        )
    taken = draw.permutation(len(places))[: len(kinds)]
    low, high = mishaps.part_swath_share
    seconds = {STOP: mishaps.stop_s, CRAWL: mishaps.crawl_s, BRAKE: mishaps.brake_s}
    share = {STOP: 0.0, CRAWL: mishaps.crawl_share, BRAKE: mishaps.brake_share}
    events = []
    for kind, place in zip(kinds, taken, strict=True):
        lane, at = places[place]
        moved, narrow = draw.uniform(-0.04, 0.04), draw.uniform(low, high)
        lasts = seconds.get(kind, mishaps.part_swath_s)
        events.append(Event(lane, at + moved, kind, lasts, share.get(kind, narrow)))
    return sorted(events, key=lambda event: (event.lane, event.at))


@dataclass(frozen=True, slots=True, eq=False)
class Slips:
    """Single records that go wrong, and runs of them.

    Parameters
    ----------
    spikes, spike_kg_s
        Records (rows of the log, from 0) with an absurd flow, and that flow, kg/s.
    jumps, jump_along_m, jump_across_m
        Records whose position is off, and by how much along and across, m.
    freezes
        First record of each hanging of the flow sensor, and the one after its last.
    surges, surge_factor
        First record of each while in which the flow is off, and the one after its last; and what
        the flow is multiplied by.
    wet, wet_pct
        Records with an absurd moisture, and that moisture, %.
    repeats
        Records written twice.
    """

    spikes: NDArray[np.int64]
    spike_kg_s: NDArray[np.float64]
    jumps: NDArray[np.int64]
    jump_along_m: NDArray[np.float64]
    jump_across_m: NDArray[np.float64]
    freezes: list[tuple[int, int]]
    surges: list[tuple[int, int]]
    surge_factor: NDArray[np.float64]
    wet: NDArray[np.int64]
    wet_pct: NDArray[np.float64]
    repeats: NDArray[np.int64]

    def of_kinds(self) -> dict[str, NDArray[np.int64]]:
        """Return the records of each kind but the repeats, which come on top."""
        return {
            SPIKE: self.spikes,
            JUMP: self.jumps,
            FREEZE: _all_of(self.freezes),
            SURGE: _all_of(self.surges),
            WET: self.wet,
        }


def _all_of(runs: list[tuple[int, int]]) -> NDArray[np.int64]:
    return np.concatenate([np.arange(0), *(np.arange(first, after) for first, after in runs)])


def plan_slips(
    sound: NDArray[np.bool_],
    mishaps: Mishaps,
    draw: np.random.Generator,
    *,
    interval_s: float = 1.0,
    inner: NDArray[np.bool_] | None = None,
) -> Slips:
    """Say which single records go wrong, and how.

    Parameters
    ----------
    sound
        Whether a record can be picked.
    mishaps
        How many of each kind.
    draw
        The generator.
    interval_s
        Seconds between records.
    inner
        Whether a record is far enough from the ends of its lane for its sensors to have something
        to measure; all are where it is not given.

    Returns
    -------
    Slips
        No record has two of them; runs lie apart.

    Raises
    ------
    LayoutError
        If there are not enough sound records.
    """
    free = sound if inner is None else sound & inner
    candidates = np.flatnonzero(sound)
    number = mishaps.spikes + mishaps.jumps
    if number > len(candidates):
        raise LayoutError(f"{number} spikes and jumps do not fit on {len(candidates)} records.")
    picked = draw.permutation(candidates)[:number]
    angle = draw.uniform(0, 2 * np.pi, mishaps.jumps)
    far = draw.uniform(*mishaps.jump_m, mishaps.jumps)
    spikes, jumps = np.sort(picked[: mishaps.spikes]), np.sort(picked[mishaps.spikes :])
    spike_kg_s = draw.uniform(*mishaps.spike_kg_s, mishaps.spikes)
    # What is drawn later leaves the draws above as they were before it existed.
    free = free.copy()
    room = max(1, round(_ROOM_S / interval_s))
    for record in picked:
        free[max(0, record - room) : record + room] = False
    low, high = np.divide(mishaps.freeze_s, interval_s)
    freezes = _runs(free, draw.integers(int(low), int(high) + 1, mishaps.freezes), room, draw)
    surge = max(1, round(mishaps.surge_s / interval_s))
    surges = _runs(free, np.full(mishaps.surges, surge), room, draw)
    off = draw.uniform(*mishaps.surge_share, mishaps.surges)
    wet = _runs(free, np.ones(mishaps.wet_slips, dtype=np.int64), room, draw)
    wet_pct = draw.uniform(*mishaps.wet_slip_pct, mishaps.wet_slips)
    repeats = _runs(free, np.ones(mishaps.repeats, dtype=np.int64), room, draw)
    return Slips(
        spikes=spikes,
        spike_kg_s=spike_kg_s,
        jumps=jumps,
        jump_along_m=far * np.cos(angle),
        jump_across_m=far * np.sin(angle),
        freezes=freezes,
        surges=surges,
        surge_factor=1 + off * np.where(np.arange(mishaps.surges) % 2, -1.0, 1.0),
        wet=_all_of(wet),
        wet_pct=wet_pct,
        repeats=_all_of(repeats),
    )


def _runs(
    free: NDArray[np.bool_], lengths: NDArray[np.int64], room: int, draw: np.random.Generator
) -> list[tuple[int, int]]:
    """Return runs of free records, first and one after the last, and take them, in place."""
    runs: list[tuple[int, int]] = []
    if len(lengths) == 0:
        return runs
    for first in draw.permutation(np.flatnonzero(free)).tolist():
        after = first + int(lengths[len(runs)])
        around = slice(max(0, first - room), after + room)
        if after + room <= len(free) and free[around].all():
            free[around] = False
            runs.append((first, after))
            if len(runs) == len(lengths):
                return runs
    raise LayoutError(f"{len(lengths)} runs of faulty records do not fit on the lanes.")
