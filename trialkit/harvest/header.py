"""Positions are the antenna's; the crop was cut at the header, some metres from it."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd

from trialkit.errors import LogWarning
from trialkit.harvest.ground import Floats, column
from trialkit.language import marked, say

#: Columns that say where the header is.
AHEAD, RIGHT = "header_ahead_m", "header_right_m"

#: Less than this is no move, m: receivers are no better.
_LEAST_M = 0.01

#: Where the header cuts, by the signs of ahead and right.
_CUTS: dict[tuple[int, ...], str] = {
    (1, 0): marked(
        "The header cuts {along:.2f} m ahead of the antenna, as the task data or trial.toml say."
    ),
    (-1, 0): marked(
        "The header cuts {along:.2f} m behind the antenna, as the task data or trial.toml say."
    ),
    (0, 1): marked(
        "The header cuts {aside:.2f} m to the right of the antenna, as the task data or trial.toml "
        "say."
    ),
    (0, -1): marked(
        "The header cuts {aside:.2f} m to the left of the antenna, as the task data or trial.toml "
        "say."
    ),
    (1, 1): marked(
        "The header cuts {along:.2f} m ahead of and {aside:.2f} m to the right of the antenna, as "
        "the task data or trial.toml say."
    ),
    (1, -1): marked(
        "The header cuts {along:.2f} m ahead of and {aside:.2f} m to the left of the antenna, as "
        "the task data or trial.toml say."
    ),
    (-1, 1): marked(
        "The header cuts {along:.2f} m behind and {aside:.2f} m to the right of the antenna, as "
        "the task data or trial.toml say."
    ),
    (-1, -1): marked(
        "The header cuts {along:.2f} m behind and {aside:.2f} m to the left of the antenna, as the "
        "task data or trial.toml say."
    ),
}


def header_offset(log: pd.DataFrame) -> tuple[float, float]:
    """Return how far the header is ahead and to the right of the positions, m; 0 if unknown."""
    ahead, right = (column(log, name) for name in (AHEAD, RIGHT))
    return _told(ahead), _told(right)


def _told(values: Floats | None) -> float:
    known = np.empty(0) if values is None else values[np.isfinite(values)]
    return float(np.median(known)) if known.size else 0.0


def moved_to_header(
    x: Floats, y: Floats, heading_deg: Floats, offset: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Return positions moved along the heading and aside; where there is none, as they are.

    Parameters
    ----------
    x, y
        East and north of the antenna, m.
    heading_deg
        Direction of travel, clockwise from north; NaN where unknown.
    offset
        How far the header is ahead and to the right, m.
    """
    ahead, right = offset
    heading = np.radians(heading_deg)
    sine, cosine = np.sin(heading), np.cos(heading)
    known = np.isfinite(heading)
    return (
        np.where(known, x + ahead * sine + right * cosine, x),
        np.where(known, y + ahead * cosine - right * sine, y),
    )


def is_move(offset: tuple[float, float]) -> bool:
    """Tell whether a header is far enough from the antenna to matter."""
    return max(abs(offset[0]), abs(offset[1])) >= _LEAST_M


def warn_of_move(offset: tuple[float, float]) -> None:
    """Say that positions were moved: never silently."""
    ahead, right = offset
    signs = tuple(int(np.sign(far)) if abs(far) >= _LEAST_M else 0 for far in (ahead, right))
    where = say(_CUTS[signs], along=abs(ahead), aside=abs(right))
    what = say(
        "Every record was moved there along its heading. If the positions are the header's "
        "already, write header_ahead_m = 0 and header_right_m = 0 under [harvest] in trial.toml. "
        "A delay_s that was found without this has it in it: find it anew."
    )
    warnings.warn(f"{where} {what}", LogWarning, stacklevel=3)
