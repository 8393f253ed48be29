"""The gains that a randomisation test does not reject."""

from __future__ import annotations

from dataclasses import dataclass
from math import floor

import numpy as np

from trialkit.models.records import Floats


@dataclass(frozen=True, slots=True)
class Drawn:
    """Differences that other allocations give.

    Parameters
    ----------
    of_yields
        Difference of the yields, by allocation.
    of_marks
        Difference of the marks of what was sown: 1 for the layout sown itself, -1 for its mirror
        image.
    exact
        Whether these are all allocations.
    smallest_p
        The smallest p that the design can give.
    """

    of_yields: Floats
    of_marks: Floats
    exact: bool
    smallest_p: float


def not_rejected(found: float, drawn: Drawn, level: float) -> tuple[float, float]:
    """Return the smallest and the largest constant gain whose p is above a level.

    Parameters
    ----------
    found
        The difference found.
    drawn
        Those that other allocations give.
    level
        The level, such as 0.05.
    """
    own = 0 if drawn.exact else 1  # the allocation drawn in the field, were it not counted
    rank = floor(level * (drawn.of_yields.size + own) + 1e-9) - own
    if rank < 0:
        return -np.inf, np.inf
    # At one, the layout sown or its mirror image: as extreme for every gain. Listed layouts
    # with other numbers of strips may pass one; they are then counted for every gain too.
    open_ended = np.abs(drawn.of_marks) >= 1 - 1e-9
    marks = np.where(open_ended, 0.0, drawn.of_marks)
    ends = np.stack(
        [(found - drawn.of_yields) / (1 - marks), (found + drawn.of_yields) / (1 + marks)]
    )
    low = np.where(open_ended, -np.inf, ends.min(axis=0))
    high = np.where(open_ended, np.inf, ends.max(axis=0))
    return float(np.sort(low)[rank]), float(np.sort(high)[::-1][rank])
