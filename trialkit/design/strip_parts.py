"""Part of a strip, and a strip moved: distances and directions as a grower gives them."""

from __future__ import annotations

from math import cos, hypot, radians, sin

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from trialkit.errors import LayoutError

#: A direction must lie nearer than 60° to the one it names.
_CLEAR_COSINE = 0.5

#: How far beyond a strip's end a distance may lie: paces are no better. Share, and m.
_BEYOND_SHARE, _BEYOND_M = 0.02, 1.0


def polygons_of(geometry: BaseGeometry) -> BaseGeometry:
    """Return the polygons of a geometry: what only touches leaves lines and points behind.

    Parameters
    ----------
    geometry
        Any geometry.
    """
    parts = [part for part in shapely.get_parts(geometry) if part.geom_type == "Polygon"]
    return shapely.union_all(parts) if parts else shapely.Polygon()


def part_along(
    strip: BaseGeometry, toward_deg: float, from_m: float, to_m: float | None = None
) -> BaseGeometry:
    """Return the ground between two distances from one of a strip's ends.

    It reaches beyond the strip's sides, so that taking it away leaves no slivers along them.

    Parameters
    ----------
    strip
        The strip, in metres.
    toward_deg
        Where the end lies that is measured from, degrees clockwise from north.
    from_m, to_m
        Distances from that end, m; None for the far end.

    Raises
    ------
    LayoutError
        If the direction names neither end, or the strip is not so long.
    """
    along = _axis(strip)
    east, north = _direction(toward_deg)
    side = east * along[0] + north * along[1]
    if abs(side) < _CLEAR_COSINE:
        raise LayoutError(f"It runs {_runs(along)}, so that names neither end of it.")
    inward = -along if side > 0 else along
    corners = shapely.get_coordinates(strip)
    places = corners @ inward
    start, length = float(places.min()), float(np.ptp(places))
    end = length if to_m is None else to_m
    if not 0 <= from_m < end:
        raise LayoutError(f"From {from_m:g} to {end:g} m is no part of it: the first must be less.")
    if from_m >= length or end > length * (1 + _BEYOND_SHARE) + _BEYOND_M:
        raise LayoutError(f"It is {length:.0f} m long, not {max(from_m, end):g} m.")
    aside = np.array([-inward[1], inward[0]])
    middle, reach = float((corners @ aside).mean()), 2 * float(np.ptp(corners @ aside)) + 1.0
    edges = [(start + at, middle + side) for at in (from_m, end) for side in (-reach, reach)]
    return shapely.MultiPoint([tuple(a * inward + b * aside) for a, b in edges]).convex_hull


def moved_across(strip: BaseGeometry, distance_m: float, toward_deg: float) -> BaseGeometry:
    """Return a strip moved across its own direction.

    Parameters
    ----------
    strip
        The strip, in metres.
    distance_m
        How far, m.
    toward_deg
        To which side, degrees clockwise from north; the side nearest to it is taken.

    Raises
    ------
    LayoutError
        If the direction names neither side.
    """
    along = _axis(strip)
    aside = np.array([along[1], -along[0]])
    east, north = _direction(toward_deg)
    side = east * aside[0] + north * aside[1]
    if abs(side) < _CLEAR_COSINE:
        raise LayoutError(f"It runs {_runs(along)}, so that names neither side of it.")
    step = aside * distance_m * (1 if side > 0 else -1)
    return shapely.transform(strip, lambda corners: corners + step)


def _axis(strip: BaseGeometry) -> NDArray[np.float64]:
    """Return the direction of a strip's long side, east and north."""
    corners = shapely.get_coordinates(strip.minimum_rotated_rectangle)
    sides = np.diff(corners, axis=0)
    long = sides[np.argmax(np.hypot(*sides.T))]
    return np.asarray(long / hypot(*long))


def _direction(bearing_deg: float) -> tuple[float, float]:
    return sin(radians(bearing_deg)), cos(radians(bearing_deg))


def _runs(along: NDArray[np.float64]) -> str:
    """Return how a strip runs, in words of the compass."""
    names = (
        "north and south",
        "north-east and south-west",
        "east and west",
        "south-east and north-west",
    )
    bearing = np.degrees(np.arctan2(along[0], along[1])) % 180
    return names[round(bearing / 45) % 4]
