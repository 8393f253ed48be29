"""Places of records: degrees on the globe, and metres on a grid about the field."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError
from trialkit.harvest.ground import Floats

_DEGREES = ("longitude", "latitude")


def has_position(log: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which records have a position: neither empty nor both zero."""
    longitude, latitude = (log[name].to_numpy(dtype=np.float64) for name in _DEGREES)
    known = np.isfinite(longitude) & np.isfinite(latitude)
    return np.asarray(known & ~((longitude == 0) & (latitude == 0)), dtype=bool)


def metre_grid(log: pd.DataFrame, grid: object | None = None) -> object:
    """Return the metre grid given, or one about the bulk of the log.

    Raises
    ------
    LogError
        If no record has a position.
    """
    known = has_position(log)
    if not known.any():
        raise LogError("No record of the log has a position, so there are no passes to find.")
    if grid is not None:
        return grid
    import geopandas as gpd
    from shapely.geometry import box

    from trialkit.position import local_grid

    # Whatever a few stray positions say.
    places = log[list(_DEGREES)].to_numpy(dtype=np.float64)[known]
    (west, south), (east, north) = np.percentile(places, [5, 95], axis=0)
    return local_grid(gpd.GeoSeries([box(west, south, east, north)], crs="EPSG:4326"))


def on_grid(log: pd.DataFrame, grid: object) -> tuple[Floats, Floats]:
    """Return east and north in metres, NaN where there is no position.

    Parameters
    ----------
    log
        From `read_log`.
    grid
        Metre grid, a `pyproj.CRS`.
    """
    from pyproj import Transformer

    known = has_position(log)
    longitude, latitude = (
        np.where(known, log[name].to_numpy(dtype=np.float64), np.nan) for name in _DEGREES
    )
    to_metres = Transformer.from_crs("EPSG:4326", grid, always_xy=True)
    x, y = to_metres.transform(longitude, latitude)
    finite = np.isfinite(x) & np.isfinite(y)
    return np.where(finite, x, np.nan), np.where(finite, y, np.nan)


def put_at(log: pd.DataFrame, x: Floats, y: Floats, grid: object) -> pd.DataFrame:
    """Return the log at other places, given in metres; where there is none a record stays.

    Parameters
    ----------
    log
        From `read_log`.
    x, y
        East and north, m.
    grid
        Their grid, a `pyproj.CRS`.
    """
    from pyproj import Transformer

    to_degrees = Transformer.from_crs(grid, "EPSG:4326", always_xy=True)
    known = np.isfinite(x)
    places = to_degrees.transform(x[known], y[known])
    moved = {}
    for name, degrees in zip(_DEGREES, places, strict=True):
        moved[name] = log[name].to_numpy(dtype=np.float64).copy()
        moved[name][known] = degrees
    return log.assign(**moved)
