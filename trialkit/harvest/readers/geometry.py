"""Where the header is seen from the antenna, by the geometry that task data declare.

Every part of a machine may state its place from the machine's reference point: ahead (DDI 134) and
to the right (DDI 135), mm, in driving direction. A part without one stands where the part it
belongs to stands. A header that is a machine of its own hangs on the harvester by a connector on
either side.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from trialkit.harvest.readers.task_set import Part

_AHEAD, _RIGHT = 134, 135
_SECTION, _CONNECTOR, _ANTENNA = 4, 6, 7

#: No cut is farther from the antenna than this, m: what is larger is a slip of the pen.
FARTHEST_M = 20.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where something is on a machine, m from its reference point."""

    ahead_m: float
    right_m: float


def header_place(
    parts: Mapping[str, Part],
    joints: Sequence[tuple[str, str]],
    headers: Sequence[str],
) -> Place | None:
    """Return where the header is, seen from the antenna.

    Parameters
    ----------
    parts
        The parts of all machines, by their id.
    joints
        Pairs of connectors that are joined, by their id.
    headers
        Parts that may be the header, by their id, the likeliest first.

    Returns
    -------
    Place or None
        None where the task data do not settle it.
    """
    antennas = {
        part.machine: place
        for part in reversed(list(parts.values()))
        if part.kind == _ANTENNA and (place := _own(part)) is not None
    }
    for name in headers:
        header = parts.get(name)
        place = None if header is None else _place(parts, header)
        if header is None or place is None:
            continue
        for machine, root in _roots(parts, joints, header.machine, list(antennas)):
            at = antennas[machine]
            ahead = root.ahead_m + place.ahead_m - at.ahead_m
            right = root.right_m + place.right_m - at.right_m
            if max(abs(ahead), abs(right)) <= FARTHEST_M:
                return Place(round(ahead, 3), round(right, 3))
    return None


def _own(part: Part) -> Place | None:
    ahead = part.constants.get(_AHEAD)
    if ahead is None:
        return None
    return Place(ahead / 1000.0, part.constants.get(_RIGHT, 0) / 1000.0)


def _place(parts: Mapping[str, Part], part: Part) -> Place | None:
    """Return the place of a part: its own, its sections' middle, or that of the part above."""
    machine = [other for other in parts.values() if other.machine == part.machine]
    seen: set[int] = set()
    while True:
        own = _own(part) or _middle([other for other in machine if other.above == part.number])
        if own is not None:
            return own
        seen.add(part.number)
        above = [other for other in machine if other.number == part.above]
        if not above or above[0].number in seen:
            return None
        part = above[0]


def _middle(below: Sequence[Part]) -> Place | None:
    """Return the middle of the sections of a part."""
    places = [place for part in below if part.kind == _SECTION and (place := _own(part))]
    if not places:
        return None
    right = [place.right_m for place in places]
    ahead = sum(place.ahead_m for place in places) / len(places)
    return Place(ahead, (min(right) + max(right)) / 2)


def _roots(
    parts: Mapping[str, Part], joints: Sequence[tuple[str, str]], header: str, others: list[str]
) -> Iterator[tuple[str, Place]]:
    """Yield machines with an antenna and where the header's reference point is seen from theirs."""
    if header in others:
        yield header, Place(0.0, 0.0)
        return
    pairs = [(parts[a], parts[b]) for a, b in joints if a in parts and b in parts]
    for here, there in [*pairs, *((b, a) for a, b in pairs)]:
        ours, theirs = _own(here), _own(there)
        if here.machine in others and there.machine == header and ours and theirs:
            yield here.machine, _apart(ours, theirs)
    if not pairs and len(others) == 1:
        ours, theirs = (_foremost(parts, machine) for machine in (others[0], header))
        if ours and theirs:
            yield others[0], _apart(ours, theirs)


def _apart(ours: Place, theirs: Place) -> Place:
    return Place(ours.ahead_m - theirs.ahead_m, ours.right_m - theirs.right_m)


def _foremost(parts: Mapping[str, Part], machine: str) -> Place | None:
    """Return a machine's connector, of several the foremost: there a header hangs."""
    places = [
        place
        for part in parts.values()
        if part.machine == machine and part.kind == _CONNECTOR and (place := _own(part))
    ]
    return max(places, key=lambda place: place.ahead_m, default=None)
