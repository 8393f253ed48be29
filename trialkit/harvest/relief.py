"""The lie of the land from the heights a harvester logs: low ground is where frost settles."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError, LogWarning
from trialkit.harvest.ground import Floats, column
from trialkit.harvest.passes import split_passes
from trialkit.language import say

#: Side of the cells that heights are gathered in, m, and the smoothing of their surface, m: above
#: the width of a harvester, below the size of a hollow.
_CELL_M, _SMOOTH_M = 5.0, 15.0
#: Most cells of a field: 5,000 ha.
_MOST_CELLS = 2_000_000
#: Heights that differ less than this over a field, m, are the receiver's noise.
_FLAT_M = 0.5


def add_relief(log: pd.DataFrame, *, around_m: float = 150.0) -> pd.DataFrame:
    """Add slope and relative height to each record, from a smoothed surface of its heights.

    Parameters
    ----------
    log
        From `read_log` or later, with `elevation_m`. Passes are split where still to do.
    around_m
        Radius of the ground that a record's height is compared with, m.

    Returns
    -------
    DataFrame
        The log with `slope_pct` (rise over run of the smoothed surface) and `relative_height_m`
        (height of that surface above its mean within `around_m`: below zero in a hollow). NaN
        where no height was logged nearby.

    Raises
    ------
    LogError
        If the log has no heights, or the field is too wide.

    Warns
    -----
    LogWarning
        If the ground is so flat that the heights are the receiver's noise.

    Notes
    -----
    Height above the mean of the surroundings is the topographic position index of Weiss 2001
    (from memory). Height above the ellipsoid or the sea, both will do: only differences count.
    The smoothing evens out neighbouring passes, between which a receiver drifts.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> east, north = (axis.ravel() for axis in np.meshgrid(np.arange(60), np.arange(60)))
    >>> hollow = 5 - 2 * np.exp(-((east - 30) ** 2 + (north - 30) ** 2) / 100)
    >>> log = pd.DataFrame({"x_m": 5.0 * east, "y_m": 5.0 * north, "elevation_m": hollow})
    >>> low = add_relief(log).sort_values("relative_height_m").iloc[0]
    >>> float(low["x_m"]), float(low["y_m"])
    (150.0, 150.0)
    """
    from scipy.ndimage import map_coordinates

    height = column(log, "elevation_m")
    if height is None or not np.isfinite(height).any():
        raise LogError(
            say(
                "The log has no heights (elevation_m), so nothing can be said on low and high "
                "ground. Name their column under [harvest.columns], or join a map of heights."
            )
        )
    if "x_m" not in log:
        log = split_passes(log)
    x, y = (log[name].to_numpy(dtype=np.float64) for name in ("x_m", "y_m"))
    known = np.isfinite(x) & np.isfinite(y) & np.isfinite(height)
    cell, place, shape = _cells(x, y, known)
    surface = _smooth(*_gathered(height[known], cell[known], shape), _SMOOTH_M)
    around = _mean_around(surface, around_m)
    north, east = np.gradient(np.nan_to_num(surface, nan=float(np.nanmean(surface))), _CELL_M)
    maps = {
        "slope_pct": 100.0 * np.hypot(north, east),
        "relative_height_m": surface - around,
    }
    if float(np.nanmax(surface) - np.nanmin(surface)) < _FLAT_M:
        warnings.warn(
            say(
                "The heights of the log differ by less than {flat:g} m over the field, no more "
                "than a receiver's noise. Do not read hills and hollows into them.",
                flat=_FLAT_M,
            ),
            LogWarning,
            stacklevel=2,
        )
    added = {}
    for name, values in maps.items():
        found = map_coordinates(np.where(np.isnan(surface), np.nan, values), place, order=1,
                                mode="nearest")  # fmt: skip
        added[name] = np.where(known, found, np.nan)
    return log.assign(**added)


def _cells(
    x: Floats, y: Floats, known: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], Floats, tuple[int, int]]:
    """Return each record's cell, its place among the cells' middles, and rows and columns."""
    west, south = float(x[known].min()), float(y[known].min())
    across = np.where(known, (x - west) / _CELL_M, 0.0)
    up = np.where(known, (y - south) / _CELL_M, 0.0)
    shape = (int(up.max()) + 1, int(across.max()) + 1)
    if shape[0] * shape[1] > _MOST_CELLS:
        raise LogError(
            say(
                "The log reaches over {east:.0f} km by {north:.0f} km, more than one field. Take "
                "out the stray positions, or export this field alone.",
                east=shape[1] * _CELL_M / 1000, north=shape[0] * _CELL_M / 1000,
            )
        )  # fmt: skip
    cell = up.astype(np.int64) * shape[1] + across.astype(np.int64)
    return cell, np.stack([up - 0.5, across - 0.5]), shape


def _gathered(
    height: Floats, cell: NDArray[np.int64], shape: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Return the mean height of each cell, and one where there is any record."""
    size = shape[0] * shape[1]
    count = np.bincount(cell, minlength=size).astype(np.float64)
    total = np.bincount(cell, weights=height - height.mean(), minlength=size)
    mean = np.where(count > 0, total / np.maximum(count, 1), 0.0)
    return mean.reshape(shape), (count > 0).astype(np.float64).reshape(shape)


def _smooth(values: Floats, weight: Floats, width_m: float) -> Floats:
    """Smooth over the cells that hold something; NaN where none does within reach."""
    from scipy.ndimage import gaussian_filter

    sigma = width_m / _CELL_M
    near = gaussian_filter(weight, sigma, mode="constant", truncate=3.0)
    total = gaussian_filter(values * weight, sigma, mode="constant", truncate=3.0)
    return np.where(near > 1e-4, total / np.maximum(near, 1e-4), np.nan)


def _mean_around(surface: Floats, radius_m: float) -> Floats:
    """Return the mean of the surface within a radius of each cell."""
    from scipy.signal import fftconvolve

    reach = max(1, round(radius_m / _CELL_M))
    steps = np.arange(-reach, reach + 1)
    disc = (np.hypot(*np.meshgrid(steps, steps)) <= reach).astype(np.float64)
    known = np.isfinite(surface).astype(np.float64)
    near = fftconvolve(known, disc, mode="same")
    total = fftconvolve(np.nan_to_num(surface), disc, mode="same")
    return np.where(known > 0, total / np.maximum(near, 0.5), np.nan)
