"""The field as one checked polygon in metres, from a boundary and what must be driven around."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.geometry import Polygon, box, shape
from shapely.geometry.base import BaseGeometry

from trialkit.errors import LayoutError
from trialkit.position import local_grid

#: What a boundary or an exclusion zone may be given as.
Drawing: TypeAlias = "gpd.GeoDataFrame | gpd.GeoSeries | BaseGeometry | Mapping[str, Any]"

_WGS84 = "EPSG:4326"

#: Longest and smallest field taken for one. Common practice, no source.
LONGEST_FIELD_M = 10_000.0
SMALLEST_FIELD_M2 = 1_000.0

#: A piece below this share of the field is a sliver of drawing, not ground to farm.
_SLIVER = 0.02

#: Detail of the outline below this is the hand that drew it, when its longest side is sought, m.
_HAND_M = 2.0


@dataclass(frozen=True, slots=True)
class Field:
    """A field in metres.

    Parameters
    ----------
    ground
        The field without its holes and exclusion zones: one polygon, m east and north.
    outer
        Its outline without any hole, m east and north.
    obstacles
        Holes and exclusion zones, m east and north; may be empty.
    crs
        The metre grid, centred on the field.
    """

    ground: Polygon
    outer: Polygon
    obstacles: BaseGeometry
    crs: CRS

    @property
    def area_ha(self) -> float:
        """Ground without holes and exclusion zones, ha."""
        return float(self.ground.area / 10_000)


class SplitFieldError(LayoutError):
    """The ground is in several pieces; `pieces` holds them, the largest first."""

    def __init__(self, message: str, pieces: list[Field]) -> None:
        super().__init__(message)
        self.pieces = pieces


def read_field(boundary: Drawing, exclusions: Drawing | None = None) -> Field:
    """Check a boundary and its exclusion zones, and bring them into metres.

    Parameters
    ----------
    boundary
        The field: a GeoDataFrame or GeoSeries, a shapely polygon or GeoJSON as a mapping, the
        last two in longitude and latitude, WGS 84. Holes are dams, trees, rocks.
    exclusions
        Further ground to stay off, the same way; points and lines too.

    Returns
    -------
    Field

    Raises
    ------
    LayoutError
        If it is no outline of one field; the message says what and where.
    """
    drawn = _polygons_only(_in_degrees(boundary, "boundary"))
    if not len(drawn):
        raise LayoutError("The boundary is empty. Draw the field as one polygon.")
    crs = local_grid(gpd.GeoDataFrame(geometry=drawn.values, crs=_WGS84))
    field = shapely.union_all(drawn.to_crs(crs).to_numpy())
    _check_size(field)
    off_limits: BaseGeometry = shapely.Polygon()
    if exclusions is not None:
        off_limits = _off_limits(_in_degrees(exclusions, "exclusion zone"), drawn, field, crs)
    ground = field.difference(off_limits) if off_limits.area > 0 else field
    pieces = [_piece(part, off_limits, crs) for part in _large_parts(ground, field)]
    if len(pieces) > 1:
        raise SplitFieldError(_split_words(pieces, crs, off_limits.area > 0), pieces)
    return pieces[0]


def longest_side_deg(field: Field) -> float:
    """Return the direction of the field's longest straight side, degrees from -45 to 135.

    Parameters
    ----------
    field
        The field; corners that bend a side by less than 2 m are not taken for corners.
    """
    ring = _simple(field.outer)
    # The ring may start in the middle of a straight side: start it at a real corner.
    ring = _simple(Polygon(np.roll(ring[:-1], -1, axis=0)))
    sides = np.diff(ring, axis=0)
    length = np.hypot(sides[:, 0], sides[:, 1])
    # Opposite sides of a rectangle differ by rounding only: take the first of the long ones.
    east, north = sides[np.flatnonzero(length >= length.max() - 0.05)[0]]
    return float((math.degrees(math.atan2(east, north)) + 45) % 180 - 45)


def _simple(outline: Polygon) -> NDArray[np.float64]:
    return shapely.get_coordinates(outline.simplify(_HAND_M))


def _in_degrees(drawing: Drawing, what: str) -> gpd.GeoSeries:
    """Return the shapes in longitude and latitude, checked for what can be seen there."""
    series = _as_series(drawing, what)
    series = series[~(series.is_empty | series.isna())]
    if series.crs is not None and not series.crs.equals(CRS(_WGS84)):
        series = series.to_crs(_WGS84)
    flat = gpd.GeoSeries(shapely.force_2d(series.to_numpy()), crs=None)
    corners = shapely.get_coordinates(flat.to_numpy())
    if not np.isfinite(corners).all():
        raise LayoutError(f"The {what} has corners that are no numbers. Draw it again.")
    _check_degrees(corners, what)
    for shape_drawn in flat:
        if not shape_drawn.is_valid:
            reason = shapely.is_valid_reason(shape_drawn)
            raise LayoutError(
                f"The outline of the {what} crosses itself or has a fault ({reason}, longitude "
                "and latitude). Redraw its corners in order around the field."
            )
    return flat.set_crs(_WGS84)


def _as_series(drawing: Drawing, what: str) -> gpd.GeoSeries:
    if isinstance(drawing, gpd.GeoDataFrame):
        return drawing.geometry.reset_index(drop=True)
    if isinstance(drawing, gpd.GeoSeries):
        return drawing.reset_index(drop=True)
    if isinstance(drawing, BaseGeometry):
        return gpd.GeoSeries([drawing])
    if isinstance(drawing, Mapping):
        return gpd.GeoSeries(_from_geojson(drawing, what))
    raise LayoutError(
        f"The {what} is a {type(drawing).__name__}. Give a GeoDataFrame, a shapely polygon or "
        "GeoJSON as a mapping."
    )


def _from_geojson(drawing: Mapping[str, Any], what: str) -> list[BaseGeometry]:
    features = drawing.get("features", [drawing])
    found = []
    for feature in features:
        geometry: Any = feature.get("geometry", feature) if isinstance(feature, Mapping) else None
        try:
            if geometry["type"] == "Polygon":
                _check_closed(geometry["coordinates"], what)
            found.append(shape(geometry))
        except LayoutError:
            raise
        except (ValueError, TypeError, AttributeError, LookupError, shapely.GEOSException):
            raise LayoutError(
                f"The {what} has no readable shape. Export it as GeoJSON polygons, WGS 84."
            ) from None
    return found


def _check_closed(rings: Any, what: str) -> None:
    for ring in rings:
        if len(ring) and tuple(ring[0]) != tuple(ring[-1]):
            raise LayoutError(
                f"The outline of the {what} is not closed: it starts at {_place(ring[0])} and "
                f"ends at {_place(ring[-1])}. Repeat the first corner at the end."
            )


def _check_degrees(corners: NDArray[np.float64], what: str) -> None:
    most = np.array([180.0, 90.0])
    outside = (np.abs(corners) > most).any(axis=1)
    if not outside.any():
        return
    first = corners[outside][0]
    if (np.abs(corners) <= most[::-1]).all():
        raise LayoutError(
            f"Longitude and latitude of the {what} look swapped: the corner {_place(first)} would "
            f"lie at latitude {first[1]:.6g}. Longitude comes first, then latitude."
        )
    raise LayoutError(
        f"The corner {_place(first)} of the {what} is not in degrees on the earth. Say "
        "which coordinate system it is in, or export it as longitude and latitude (WGS 84)."
    )


def _polygons_only(drawn: gpd.GeoSeries) -> gpd.GeoSeries:
    closed = [_closed_line(part) for part in drawn]
    for part in closed:
        if part.geom_type not in ("Polygon", "MultiPolygon"):
            raise LayoutError(
                f"The boundary is a {part.geom_type}, not a polygon. Draw the field's outline."
            )
    return gpd.GeoSeries(closed, crs=drawn.crs)


def _closed_line(part: BaseGeometry) -> BaseGeometry:
    """Return the polygon a closed line goes around; other shapes as they are."""
    if part.geom_type not in ("LineString", "LinearRing"):
        return part
    corners = shapely.get_coordinates(part)
    if len(corners) < 4 or not part.is_closed:
        raise LayoutError(
            f"The boundary is a line that is not closed: it starts at {_place(corners[0])} and "
            f"ends at {_place(corners[-1])}. End it where it starts, or draw a polygon."
        )
    polygon = Polygon(corners)
    if not polygon.is_valid:
        reason = shapely.is_valid_reason(polygon)
        raise LayoutError(f"The boundary crosses itself ({reason}). Redraw its corners in order.")
    return polygon


def _check_size(field: BaseGeometry) -> None:
    west, south, east, north = field.bounds
    longest = max(east - west, north - south)
    if longest > LONGEST_FIELD_M:
        raise LayoutError(
            f"The boundary is {longest / 1000:,.0f} km across, which is no field. Check its "
            "corners for one that lies far off, or give one paddock only."
        )
    if field.area < SMALLEST_FIELD_M2:
        raise LayoutError(
            f"The boundary holds {field.area:.3g} m², which is no field for strips. Check its "
            "coordinates: were they in kilometres, or is a decimal missing?"
        )


def _off_limits(
    zones: gpd.GeoSeries, drawn: gpd.GeoSeries, field: BaseGeometry, crs: CRS
) -> BaseGeometry:
    """Return the part of the exclusion zones inside the field, metres east and north."""
    if not len(zones):
        return shapely.Polygon()
    west, south, east, north = drawn.total_bounds
    # The metre grid is for the field; a zone on the other side of the earth has no place in it.
    near = shapely.intersects(zones.to_numpy(), box(west, south, east, north))
    inside = shapely.union_all(zones[near].to_crs(crs).to_numpy()).intersection(field)
    if inside.is_empty:
        raise LayoutError(
            "None of the exclusion zones lies in the field. Check their coordinates, or leave them "
            "out if they belong to another field."
        )
    return inside


def _large_parts(ground: BaseGeometry, field: BaseGeometry) -> list[Polygon]:
    parts = [part for part in shapely.get_parts(ground) if part.geom_type == "Polygon"]
    large = [part for part in parts if part.area > _SLIVER * field.area]
    if not large:
        raise LayoutError("The exclusion zones leave nothing of the field. Check where they lie.")
    return sorted(large, key=lambda part: -part.area)


def _piece(part: Polygon, off_limits: BaseGeometry, crs: CRS) -> Field:
    outer = Polygon(part.exterior)
    return Field(part, outer, shapely.union(outer.difference(part), off_limits), crs)


def _split_words(pieces: list[Field], crs: CRS, excluded: bool) -> str:
    middles = [piece.ground.representative_point() for piece in pieces]
    places = gpd.GeoSeries(middles, crs=crs).to_crs(_WGS84)
    listed = "; ".join(
        f"{piece.area_ha:,.1f} ha around {point.x:.5f}, {point.y:.5f}"
        for piece, point in zip(pieces, places, strict=True)
    )
    cause = "The exclusion zones split the field into" if excluded else "The boundary is in"
    return (
        f"{cause} {len(pieces)} pieces: {listed} (longitude, latitude). A trial must lie in one: "
        "give that piece as the boundary."
    )


def _place(corner: Any) -> str:
    return ", ".join(f"{float(value):.6g}" for value in corner[:2])
