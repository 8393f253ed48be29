"""Where the harvester cuts inside a strip, and how that meets the sprayer's tramlines."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.errors import LayoutError

Floats = NDArray[np.float64]

#: Positions across nearer than this are the same, m: no seeder holds its line better.
SAME_M = 0.02


@dataclass(frozen=True, slots=True)
class Tramlines:
    """The sprayer's wheelings, which carry little crop.

    Parameters
    ----------
    sprayer_m
        Working width of the sprayer: distance from one tramline's middle to the next, m.
    first_m
        From the left edge of the first pass (or from the anchor) to the middle of the first
        tramline, m; None for half the sprayer's width.
    width_m
        Ground lost to a tramline, from the outer edge of one wheeling to that of the other, m.
    """

    sprayer_m: float
    first_m: float | None = None
    width_m: float = 3.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sprayer_m) and 0 < self.sprayer_m <= 100):
            raise LayoutError(
                f"The sprayer's width is {self.sprayer_m} m. Give its working width, such as 36."
            )
        if not (math.isfinite(self.width_m) and 0 < self.width_m < self.sprayer_m):
            raise LayoutError(
                f"A tramline {self.width_m} m wide does not fit a sprayer of {self.sprayer_m:g} m. "
                "Give the width over both wheelings, such as 3."
            )
        if self.first_m is not None and not math.isfinite(self.first_m):
            raise LayoutError("The place of the first tramline is no number. Give it in metres.")

    def inside(self, left_m: float, width_m: float) -> Floats:
        """Return the tramlines that touch a strip, m from its left edge, shape (tramlines, 2).

        Parameters
        ----------
        left_m
            Left edge of the strip, m from the first pass or the anchor.
        width_m
            Width of the strip, m.
        """
        first = self.sprayer_m / 2 if self.first_m is None else self.first_m
        half = self.width_m / 2
        from_number = math.ceil((left_m + SAME_M - half - first) / self.sprayer_m)
        to_number = math.floor((left_m + width_m - SAME_M + half - first) / self.sprayer_m)
        middles = first + np.arange(from_number, to_number + 1) * self.sprayer_m - left_m
        return np.column_stack([middles - half, middles + half])


@dataclass(frozen=True, slots=True)
class Cut:
    """What the harvester takes from a strip.

    Parameters
    ----------
    from_m
        Left edge of the cut, m from the left edge of the strip.
    number
        Full cuts side by side.
    """

    from_m: float
    number: int


def place_cut(
    width_m: float, harvester_m: float, edge_m: float, tramlines: Floats | None = None
) -> Cut | None:
    """Return the most full cuts that fit a strip, as near its middle as can be.

    Parameters
    ----------
    width_m
        Width of the strip, m.
    harvester_m
        Width of one cut, m.
    edge_m
        Margin left along both sides of the strip, m.
    tramlines
        Ground to be kept out of the cut, m from the left edge of the strip, shape (n, 2).

    Returns
    -------
    Cut or None
        None where not even one full cut fits.
    """
    most = math.floor((width_m - 2 * edge_m + SAME_M) / harvester_m)
    for number in range(most, 0, -1):
        wide = number * harvester_m
        slack = max(width_m - edge_m - wide, edge_m)
        middle = (width_m - wide) / 2
        places = [middle, edge_m, slack]
        if tramlines is None:
            return Cut(middle, number)
        for start, end in tramlines:
            places += [end, start - wide]
        for place in sorted(places, key=lambda at: abs(at - middle)):
            fits = edge_m - SAME_M <= place <= slack + SAME_M
            if fits and _clear(place, place + wide, tramlines):
                return Cut(place, number)
    return None


def _clear(start_m: float, end_m: float, tramlines: Floats) -> bool:
    overlap = np.minimum(tramlines[:, 1], end_m) - np.maximum(tramlines[:, 0], start_m)
    return bool((overlap <= SAME_M).all())


def is_multiple(width_m: float, of_m: float) -> bool:
    """Return whether one width is a whole number of times another, to 2 cm.

    Parameters
    ----------
    width_m, of_m
        Widths, m.
    """
    return abs(width_m - round(width_m / of_m) * of_m) < SAME_M
