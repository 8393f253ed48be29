"""Uniformity trials as yield maps: a grid of plots, drawn somewhere at sea."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from pyproj import CRS, Transformer
from shapely.geometry import box

GRID = CRS.from_proj4("+proj=aeqd +lat_0=-38.5 +lon_0=85 +datum=WGS84")

#: Yields drawn in a plot, so that each strip has enough of them; all the same.
IN_A_PLOT = 12


@pytest.fixture(scope="session")
def as_map() -> Callable[..., pd.DataFrame]:
    """Plot yields, shape (rows, columns), as points; a plot is `tall_m` by `wide_m`."""

    def spread(yields: np.ndarray, tall_m: float, wide_m: float) -> pd.DataFrame:
        rows, columns = yields.shape
        share = (np.arange(IN_A_PLOT) + 0.5) / IN_A_PLOT
        row, column, place = np.meshgrid(np.arange(rows), np.arange(columns), share, indexing="ij")
        east, north = (column + 0.5) * wide_m, -(row + place) * tall_m
        back = Transformer.from_crs(GRID, "EPSG:4326", always_xy=True)
        longitude, latitude = back.transform(east.ravel(), north.ravel())
        return pd.DataFrame(
            {
                "longitude": longitude,
                "latitude": latitude,
                "yield_t_ha": np.repeat(yields.ravel(), IN_A_PLOT),
            }
        )

    return spread


@pytest.fixture(scope="session")
def as_strips() -> Callable[..., gpd.GeoDataFrame]:
    """Plots joined to strips of `high` rows by `broad` columns, in blocks of neighbours."""

    def join(
        shape: tuple[int, int],
        high: int,
        broad: int,
        tall_m: float,
        wide_m: float,
        treatments: tuple[str, ...] = ("untreated", "dressed"),
    ) -> gpd.GeoDataFrame:
        rows, columns = shape
        across = columns // broad // len(treatments) * len(treatments)
        cells = [(band, at) for band in range(rows // high) for at in range(across)]
        return gpd.GeoDataFrame(
            {
                "strip": [f"S{number + 1}" for number in range(len(cells))],
                "block": [f"B{band}-{at // len(treatments)}" for band, at in cells],
                "treatment": [treatments[at % len(treatments)] for _, at in cells],
            },
            geometry=[
                box(
                    at * broad * wide_m,
                    -(band + 1) * high * tall_m,
                    (at + 1) * broad * wide_m,
                    -band * high * tall_m,
                )
                for band, at in cells
            ],
            crs=GRID,
        ).to_crs(4326)

    return join
