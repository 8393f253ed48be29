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

#: Shares of a lane's length near which something can happen: far enough apart not to meet.
_PLACES = (0.2, 0.4, 0.6, 0.8)


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
    places = [(lane, at) for lane in range(lanes) for at in _PLACES]
    if len(kinds) > len(places):
        raise LayoutError(
            f"{len(kinds)} stops, crawls and part swaths do not fit on {lanes} lanes. "
            f"Ask for {len(places)} at most."
        )
    taken = draw.permutation(len(places))[: len(kinds)]
    low, high = mishaps.part_swath_share
    seconds = {STOP: mishaps.stop_s, CRAWL: mishaps.crawl_s}
    share = {STOP: 0.0, CRAWL: mishaps.crawl_share}
    events = []
    for kind, place in zip(kinds, taken, strict=True):
        lane, at = places[place]
        moved, narrow = draw.uniform(-0.04, 0.04), draw.uniform(low, high)
        lasts = seconds.get(kind, mishaps.part_swath_s)
        events.append(Event(lane, at + moved, kind, lasts, share.get(kind, narrow)))
    return sorted(events, key=lambda event: (event.lane, event.at))


@dataclass(frozen=True, slots=True, eq=False)
class Slips:
    """Single records that go wrong.

    Parameters
    ----------
    spikes, spike_kg_s
        Records (rows of the log, from 0) with an absurd flow, and that flow, kg/s.
    jumps, jump_along_m, jump_across_m
        Records whose position is off, and by how much along and across, m.
    """

    spikes: NDArray[np.int64]
    spike_kg_s: NDArray[np.float64]
    jumps: NDArray[np.int64]
    jump_along_m: NDArray[np.float64]
    jump_across_m: NDArray[np.float64]


def plan_slips(sound: NDArray[np.bool_], mishaps: Mishaps, draw: np.random.Generator) -> Slips:
    """Say which single records go wrong, and how.

    Parameters
    ----------
    sound
        Whether a record can be picked.
    mishaps
        How many of each kind.
    draw
        The generator.

    Returns
    -------
    Slips
        Spikes and jumps; no record has both.

    Raises
    ------
    LayoutError
        If there are not enough sound records.
    """
    candidates = np.flatnonzero(sound)
    number = mishaps.spikes + mishaps.jumps
    if number > len(candidates):
        raise LayoutError(f"{number} spikes and jumps do not fit on {len(candidates)} records.")
    picked = draw.permutation(candidates)[:number]
    angle = draw.uniform(0, 2 * np.pi, mishaps.jumps)
    far = draw.uniform(*mishaps.jump_m, mishaps.jumps)
    return Slips(
        spikes=np.sort(picked[: mishaps.spikes]),
        spike_kg_s=draw.uniform(*mishaps.spike_kg_s, mishaps.spikes),
        jumps=np.sort(picked[mishaps.spikes :]),
        jump_along_m=far * np.cos(angle),
        jump_across_m=far * np.sin(angle),
    )
