"""Fields drawn for the tests: a rectangle, an L with a dam, a paddock with twelve sides; at sea."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import geopandas as gpd
import pytest
from pyproj import CRS
from shapely.geometry import Polygon

Corners = Sequence[tuple[float, float]]
Draw = Callable[..., gpd.GeoDataFrame]

#: Radii of the paddock with twelve sides, m, one every 30 degrees.
RADII = [330, 410, 380, 455, 430, 350, 390, 470, 445, 360, 425, 400]


@pytest.fixture(scope="session")
def draw_field() -> Draw:
    """Corners in metres east and north of a place, as a boundary in WGS 84."""

    def draw(
        corners: Corners,
        holes: Sequence[Corners] = (),
        longitude: float = 85.0,
        latitude: float = -38.5,
    ) -> gpd.GeoDataFrame:
        # Not the grid the code uses: distances true from the middle, not along a meridian.
        grid = CRS.from_proj4(f"+proj=aeqd +lat_0={latitude} +lon_0={longitude} +datum=WGS84")
        return gpd.GeoDataFrame(geometry=[Polygon(corners, holes)], crs=grid).to_crs(4326)

    return draw


@pytest.fixture(scope="session")
def rectangle(draw_field) -> gpd.GeoDataFrame:
    """620 m east to west, 410 m south to north."""
    return draw_field([(0, 0), (620, 0), (620, 410), (0, 410)])


@pytest.fixture(scope="session")
def ell(draw_field) -> gpd.GeoDataFrame:
    """An L of 700 m by 620 m with a dam of 90 m by 70 m in its foot."""
    turns = [2 * math.pi * step / 24 for step in range(24)]
    dam = [(430 + 45 * math.cos(turn), 170 + 35 * math.sin(turn)) for turn in turns]
    corners = [(0, 0), (700, 0), (700, 320), (300, 320), (300, 620), (0, 620)]
    return draw_field(corners, [dam])


@pytest.fixture(scope="session")
def twelve_sides(draw_field) -> gpd.GeoDataFrame:
    """A paddock about 1,100 m by 850 m."""
    turns = [2 * math.pi * step / 12 for step in range(12)]
    return draw_field(
        [
            (1.3 * radius * math.cos(turn), radius * math.sin(turn))
            for radius, turn in zip(RADII, turns, strict=True)
        ]
    )
