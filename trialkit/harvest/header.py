"""Positions are the antenna's; the crop was cut at the header, some metres from it."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd

from trialkit.errors import LogWarning
from trialkit.harvest.ground import Floats, column

#: Columns that say where the header is.
AHEAD, RIGHT = "header_ahead_m", "header_right_m"

#: Less than this is no move, m: receivers are no better.
_LEAST_M = 0.01


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
    where = [
        f"{abs(far):.2f} m {words[far < 0]}"
        for far, words in (
            (ahead, ("ahead of", "behind")),
            (right, ("to the right of", "to the left of")),
        )
        if abs(far) >= _LEAST_M
    ]
    warnings.warn(
        f"The header cuts {' and '.join(where)} the antenna, as the task data or trial.toml say. "
        "Every record was moved there along its heading. If the positions are the header's "
        "already, write header_ahead_m = 0 and header_right_m = 0 under [harvest] in trial.toml. "
        "A delay_s that was found without this has it in it: find it anew.",
        LogWarning,
        stacklevel=3,
    )
