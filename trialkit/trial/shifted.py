"""Positions moved elsewhere on the earth, all alike, for sharing without saying where."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from trialkit.errors import BundleError
from trialkit.position import local_grid

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pyproj import Transformer

#: Nearest and farthest that positions are moved, m.
_NEAREST_M, _FARTHEST_M = 100_000.0, 1_000_000.0

#: Positions farther from the field than this are none of it, m; a grid of metres is exact to here.
_BEYOND_M = 300_000.0

#: Decimals of a degree that are written. With nine, a record on the edge of a strip or of a limit
#: now and then fell to the other side, and a number changed by up to a thousandth (measured).
DECIMALS = 12

#: Not so near the poles that longitudes run together.
_HIGHEST_LATITUDE = 65.0
_HIGHEST_LONGITUDE = 175.0
_NARROWEST = 0.1

_DEGREE_M = 111_000.0

_WGS84 = "EPSG:4326"


@dataclass(frozen=True)
class Shift:
    """A move of everything in a field, alike in metres about the field's middle.

    A plain shift in degrees would widen or narrow the strips, because meridians draw together
    towards the poles. So positions go to metres about the middle, and back from another middle.

    Parameters
    ----------
    from_middle, to_middle
        Longitude and latitude of the field's middle, °, where it lies and where it goes.
    """

    from_middle: tuple[float, float]
    to_middle: tuple[float, float]

    @cached_property
    def _ways(self) -> tuple[Transformer, Transformer]:
        from pyproj import Transformer

        there, back = (_grid_about(middle) for middle in (self.from_middle, self.to_middle))
        return (
            Transformer.from_crs(_WGS84, there, always_xy=True),
            Transformer.from_crs(back, _WGS84, always_xy=True),
        )

    def moved(
        self, longitude: NDArray[np.float64], latitude: NDArray[np.float64], where: str
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return positions moved; those that are empty or both zero stay as they are.

        Parameters
        ----------
        longitude, latitude
            Positions, °, WGS 84.
        where
            The file, for messages.

        Raises
        ------
        BundleError
            If a position is far from the field: moved, it would still tell where that is.
        """
        known = np.isfinite(longitude) & np.isfinite(latitude)
        known &= ~((longitude == 0) & (latitude == 0))
        x, y = self._ways[0].transform(longitude[known], latitude[known])
        far = ~(np.hypot(x, y) <= _BEYOND_M)
        if far.any():
            place = int(np.flatnonzero(known)[int(far.argmax())]) + 1
            raise BundleError(
                f"{where}: position {place} lies more than {_BEYOND_M / 1000:.0f} km from the "
                "field, so it cannot be shifted with it. Correct it or take it out in a copy of "
                "the folder, or bundle without --shift."
            )
        moved = longitude.astype(np.float64), latitude.astype(np.float64)
        for target, values in zip(moved, self._ways[1].transform(x, y), strict=True):
            target[known] = np.round(values, DECIMALS)
        return moved

    def moved_drawing(self, content: Any, where: str) -> Any:
        """Return GeoJSON moved; what it says of coordinate systems and bounds is left out.

        Parameters
        ----------
        content
            GeoJSON as read.
        where
            The file, for messages.

        Raises
        ------
        BundleError
            If a position is far from the field, or no position at all.
        """
        if isinstance(content, Mapping):
            return {
                key: self.moved_places(value, where)
                if key == "coordinates"
                else self.moved_drawing(value, where)
                if key in ("features", "geometry", "geometries")
                else value
                for key, value in content.items()
                if key not in ("bbox", "crs")
            }
        if isinstance(content, list):
            return [self.moved_drawing(part, where) for part in content]
        return content

    def moved_places(self, places: Any, where: str) -> Any:
        """Return a position, or lists of positions to any depth, moved.

        Parameters
        ----------
        places
            `[longitude, latitude]`, further numbers after these stay; or a list of such.
        where
            The file, for messages.

        Raises
        ------
        BundleError
            If it is no position, or one far from the field.
        """
        flat: list[list[Any]] = []
        copied = _copied(places, flat, where)
        if flat:
            degrees = np.array([place[:2] for place in flat], dtype=np.float64)
            moved = self.moved(degrees[:, 0], degrees[:, 1], where)
            for place, longitude, latitude in zip(flat, *moved, strict=True):
                place[:2] = [float(longitude), float(latitude)]
        return copied


def _copied(places: Any, flat: list[list[Any]], where: str) -> list[Any]:
    """Return a copy of nested lists, and put every position of it into `flat`."""
    if not isinstance(places, list | tuple):
        raise BundleError(f"{where}: {places!r:.40} is no position. Draw it again.")
    numbers = [isinstance(part, int | float) and not isinstance(part, bool) for part in places]
    if len(places) >= 2 and all(numbers):
        flat.append(list(places))
        return flat[-1]
    return [_copied(part, flat, where) for part in places]


def _grid_about(middle: tuple[float, float]) -> Any:
    import geopandas as gpd
    from shapely.geometry import Point

    return local_grid(gpd.GeoDataFrame(geometry=[Point(middle)], crs=_WGS84))


def random_shift(field: GeoDataFrame, rng: np.random.Generator | None = None) -> Shift:
    """Draw where a field goes: 100 to 1,000 km away, in any direction.

    Parameters
    ----------
    field
        Boundary, or strips where there is none, WGS 84: what a plan's grid is about.
    rng
        Source of the draw; by default the system's, which nobody can repeat.

    Returns
    -------
    Shift
        It is kept nowhere.
    """
    west, south, east, north = (float(value) for value in field.total_bounds)
    middle = _rounded((west + east) / 2, (south + north) / 2)
    rng = np.random.default_rng() if rng is None else rng
    distance_m = rng.uniform(_NEAREST_M, _FARTHEST_M)
    bearing = rng.uniform(0, 2 * math.pi)
    latitude = middle[1] + distance_m * math.cos(bearing) / _DEGREE_M
    width = max(math.cos(math.radians(middle[1])), _NARROWEST)
    longitude = middle[0] + distance_m * math.sin(bearing) / (_DEGREE_M * width)
    return Shift(
        middle,
        _rounded(
            min(max(longitude, -_HIGHEST_LONGITUDE), _HIGHEST_LONGITUDE),
            min(max(latitude, -_HIGHEST_LATITUDE), _HIGHEST_LATITUDE),
        ),
    )


def _rounded(longitude: float, latitude: float) -> tuple[float, float]:
    """Return a middle as `local_grid` has it, so that the grid of a plan goes where it should."""
    return round(longitude, 6), round(latitude, 6)
