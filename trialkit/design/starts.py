"""With which passes a strip may start, where wheel tracks and tramlines have a say."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.design.tramlines import is_multiple, place_cut
from trialkit.design.wishes import Wishes


@dataclass(frozen=True, slots=True)
class Starts:
    """One way the strips may start.

    Parameters
    ----------
    allowed
        Whether a strip may start with each pass, shape (passes,).
    passes
        Passes in a strip.
    clean
        Whether the tramlines stay out of every cut; otherwise they are the same in all strips.
    """

    allowed: NDArray[np.bool_]
    passes: int
    clean: bool


def ways_to_start(number: NDArray[np.int64], passes: int, wishes: Wishes) -> Iterator[Starts]:
    """Return the ways strips may start, the best first.

    Parameters
    ----------
    number
        Number of each pass, counted from the anchor, shape (passes,).
    passes
        Passes in a strip.
    wishes
        Machines, wheel tracks and tramlines.
    """
    on_track = np.array([_on_track(int(n), wishes) for n in number], dtype=bool)
    if wishes.tramlines is None:
        yield Starts(on_track, passes, clean=True)
        return
    wide = passes * wishes.seeder_m
    inside = [wishes.tramlines.inside(int(n) * wishes.seeder_m, wide) for n in number]
    fits = [
        place_cut(wide, wishes.harvester_m, wishes.edge_m, lines) is not None for lines in inside
    ]
    yield Starts(on_track & np.array(fits, dtype=bool), passes, clean=True)
    # Positions to the centimetre: two strips with the same tramlines share a pattern.
    patterns = [tuple(np.round(lines[:, 0], 2)) for lines in inside]
    for pattern in sorted(set(patterns)):
        same = np.array([each == pattern for each in patterns], dtype=bool)
        yield Starts(on_track & same, passes, clean=False)


def _on_track(number: int, wishes: Wishes) -> bool:
    return wishes.traffic_m is None or is_multiple(number * wishes.seeder_m, wishes.traffic_m)
