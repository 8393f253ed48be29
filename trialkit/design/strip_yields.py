"""What each strip of a layout would have yielded in a past season."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from trialkit.errors import DesignError
from trialkit.position import local_grid

#: Fewer yields than this in a strip are no strip yield. Common practice, no source.
LEAST_RECORDS = 10


def proposed_strips(layout: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the strips of a layout without headlands, index from 0.

    Parameters
    ----------
    layout
        `strip block geometry`, and `role` where there is other ground too.

    Raises
    ------
    DesignError
        If there is no strip, or a column is missing.
    """
    for name in ("strip", "block"):
        if name not in layout:
            raise DesignError(f"The layout has no column '{name}'. Lay the strips out first.")
    strips = layout[layout["role"] == "strip"] if "role" in layout else layout
    if len(strips) == 0:
        raise DesignError("The layout has no strips. Lay the strips out first.")
    return strips.reset_index(drop=True)


def strip_yields(past_yield: pd.DataFrame, strips: gpd.GeoDataFrame) -> pd.Series[float]:
    """Lay strips over a past yield map and return the mean yield of each, t/ha.

    Parameters
    ----------
    past_yield
        Yields of a season in which the field was treated alike: `longitude latitude yield_t_ha`,
        and `kept` where it was screened.
    strips
        From `proposed_strips`.

    Returns
    -------
    Series
        In the order of the strips.

    Raises
    ------
    DesignError
        If a column is missing or the map does not cover the strips.
    """
    records = _usable(past_yield)
    grid = local_grid(strips)
    points = gpd.GeoSeries(
        gpd.points_from_xy(records["longitude"], records["latitude"]), crs="EPSG:4326"
    ).to_crs(grid)
    polygons = strips.to_crs(grid).geometry.to_numpy()
    strip, record = shapely.STRtree(points.to_numpy()).query(polygons, predicate="contains")
    found = records["yield_t_ha"].to_numpy(dtype=float)[record]
    count: NDArray[np.int64] = np.bincount(strip, minlength=len(strips))
    if (count < LEAST_RECORDS).any():
        place = int(count.argmin())
        raise DesignError(
            f"The past yield map has {count[place]} yields in strip {strips['strip'][place]}; at "
            f"least {LEAST_RECORDS} are needed in each. Check that it is of the same field, or "
            "lay the strips where it has yields."
        )
    means = pd.Series(np.bincount(strip, found, minlength=len(strips)) / count)
    if means.mean() <= 0:
        raise DesignError("The past yields of the strips are zero or less. Check the map.")
    return means


def _usable(past_yield: pd.DataFrame) -> pd.DataFrame:
    for name in ("longitude", "latitude", "yield_t_ha"):
        if name not in past_yield:
            raise DesignError(f"The past yields have no column '{name}'. Read them with read_log.")
    wanted = past_yield[["longitude", "latitude", "yield_t_ha"]].notna().all(axis=1)
    if "kept" in past_yield:
        wanted &= past_yield["kept"].astype(bool)
    return past_yield[wanted]
