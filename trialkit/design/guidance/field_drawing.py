"""A field as a terminal or a map program has it: outline, strips, guidance lines, obstacles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypedDict

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import Geod
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from trialkit.errors import LayoutError
from trialkit.position import local_grid

WGS84 = "EPSG:4326"
EARTH = Geod(ellps="WGS84")

#: Decimals of a coordinate in degrees, 0.1 mm; ISO 11783-10 version 4 allows no more.
DECIMALS = 9

#: Points of a line off its straight by less than this are on it, m.
_STRAIGHT_M = 0.1

#: The kinds of line: ours first, then what terminals have.
REFERENCE, PASS, AB, A_PLUS, CURVE = "reference", "pass", "AB", "A+", "curve"


class StripRow(TypedDict):
    """A strip or a treatment zone; what is not known is empty or not a number."""

    strip: str
    block: str
    treatment: str
    seed_kg_ha: float
    geometry: BaseGeometry


class LineRow(TypedDict):
    """A guidance line; what is not known is empty or not a number."""

    name: str
    kind: str
    strip: str
    swath_m: float
    geometry: LineString


@dataclass(frozen=True, slots=True, eq=False)
class FieldDrawing:
    """What a terminal or a map program knows of a field. All shapes are in WGS 84.

    Parameters
    ----------
    name
        Name of the field.
    boundary
        Columns `name area_m2 geometry`: one row a polygon; holes are not field. The area is
        that on the ellipsoid, m².
    strips
        Columns `strip block treatment seed_kg_ha geometry`: the strips of a trial, or the
        treatment zones of a task. May be empty.
    lines
        Columns `name kind strip swath_m heading_deg geometry`: guidance lines from A to B. `kind`
        is `reference` or `pass` for ours, else `AB`, `A+` or `curve`; the heading is that at
        A, degrees clockwise from true north. May be empty.
    obstacles
        Columns `name geometry`: water, buildings, rocks drawn as shapes of their own. Give them
        to `lay_out` as `exclusions`. May be empty.
    notes
        Sentences on what was left out or taken for granted.
    """

    name: str
    boundary: gpd.GeoDataFrame
    strips: gpd.GeoDataFrame
    lines: gpd.GeoDataFrame
    obstacles: gpd.GeoDataFrame
    notes: tuple[str, ...] = ()

    @property
    def heading_deg(self) -> float | None:
        """Direction of the guidance line for `lay_out`; None where there is no straight line.

        Degrees clockwise from the north of the metre grid about the field, which is true north
        at its middle.
        """
        line = self._main_line()
        if line is None:
            return None
        (east_a, north_a), (east_b, north_b) = self._in_metres(line)
        return float(np.degrees(np.arctan2(east_b - east_a, north_b - north_a)) % 360)

    @property
    def line_point(self) -> tuple[float, float] | None:
        """Longitude and latitude where the guidance line begins; None where there is none."""
        line = self._main_line()
        return None if line is None else (float(line.coords[0][0]), float(line.coords[0][1]))

    def pass_edge(self, seeder_m: float) -> tuple[float, float] | None:
        """Return a point on the edge of a pass, longitude and latitude, for `lay_out`'s `anchor`.

        A guidance line is the middle of a pass, so its edge lies half a width to the side.

        Parameters
        ----------
        seeder_m
            Working width of the seeder, m.

        Returns
        -------
        tuple or None
            None where there is no straight line.
        """
        line = self._main_line()
        if line is None:
            return None
        start, end = self._in_metres(line)
        along = (end - start) / np.hypot(*(end - start))
        edge = Point(start + seeder_m / 2 * np.array([along[1], -along[0]]))
        back = gpd.GeoSeries([edge], crs=local_grid(self.boundary)).to_crs(WGS84)
        return float(back.x.iloc[0]), float(back.y.iloc[0])

    def _main_line(self) -> LineString | None:
        """Return the reference line, or the longest straight one."""
        straight = self.lines[self.lines["kind"] != CURVE]
        ours = straight[straight["kind"] == REFERENCE]
        pool = ours if len(ours) else straight
        if not len(pool):
            return None
        lengths = [EARTH.geometry_length(line) for line in pool.geometry]
        return LineString(pool.geometry.iloc[int(np.argmax(lengths))])

    def _in_metres(self, line: LineString) -> NDArray[np.float64]:
        grid = gpd.GeoSeries([line], crs=WGS84).to_crs(local_grid(self.boundary))
        corners: NDArray[np.float64] = shapely.get_coordinates(grid.iloc[0])
        return corners[[0, -1]]


def geodesic_area_m2(polygon: BaseGeometry) -> float:
    """Return an area on the WGS 84 ellipsoid without its holes, m².

    Parameters
    ----------
    polygon
        Polygon or MultiPolygon, longitude and latitude.
    """
    return float(EARTH.geometry_area_perimeter(shapely.orient_polygons(polygon))[0])


def heading_at_start(line: BaseGeometry) -> float:
    """Return the true heading from the first to the last point of a line, degrees 0 to 360.

    Parameters
    ----------
    line
        Longitude and latitude.
    """
    first, last = line.coords[0], line.coords[-1]
    azimuth = EARTH.inv(first[0], first[1], last[0], last[1])[0]
    return float(round(azimuth % 360, 6)) % 360


def straight(line: LineString) -> bool:
    """Return whether a line runs straight from its first to its last point, to 10 cm.

    Parameters
    ----------
    line
        Longitude and latitude.
    """
    if len(line.coords) == 2:
        return True
    here = gpd.GeoDataFrame(geometry=[line], crs=WGS84)
    corners = shapely.get_coordinates(here.to_crs(local_grid(here)).geometry.iloc[0])
    chord = LineString([corners[0], corners[-1]])
    return bool(shapely.distance(shapely.points(corners), chord).max() <= _STRAIGHT_M)


def boundary_frame(name: str, parts: Sequence[Polygon]) -> gpd.GeoDataFrame:
    """Return the outline of a field as rows, each with its area.

    Parameters
    ----------
    name
        Name of the field.
    parts
        Its polygons, longitude and latitude.
    """
    tidy = _tidy(parts)
    areas: list[object] = [round(geodesic_area_m2(part), 1) for part in tidy]
    return _frame({"name": [name] * len(parts), "area_m2": areas}, tidy)


def strip_frame(rows: Sequence[StripRow]) -> gpd.GeoDataFrame:
    """Return strips as a GeoDataFrame.

    Parameters
    ----------
    rows
        One a strip.
    """
    columns: dict[str, list[object]] = {
        "strip": [row["strip"] for row in rows],
        "block": [row["block"] for row in rows],
        "treatment": [row["treatment"] for row in rows],
        "seed_kg_ha": [float(row["seed_kg_ha"]) for row in rows],
    }
    return _frame(columns, _tidy([row["geometry"] for row in rows]))


def line_frame(rows: Sequence[LineRow]) -> gpd.GeoDataFrame:
    """Return guidance lines as a GeoDataFrame, each with its heading.

    Parameters
    ----------
    rows
        One a line.
    """
    columns: dict[str, list[object]] = {
        "name": [row["name"] for row in rows],
        "kind": [row["kind"] for row in rows],
        "strip": [row["strip"] for row in rows],
        "swath_m": [float(row["swath_m"]) for row in rows],
    }
    lines = _tidy([row["geometry"] for row in rows])
    columns["heading_deg"] = [heading_at_start(line) for line in lines]
    return _frame(columns, lines)


def lines_near(
    parts: Sequence[Polygon], rows: Sequence[LineRow], notes: list[str]
) -> list[LineRow]:
    """Return the guidance lines about a field; those of another are noted.

    Parameters
    ----------
    parts
        The polygons of the field, longitude and latitude.
    rows
        Guidance lines.
    notes
        Where to note what is left out.
    """
    west, south, east, north = shapely.total_bounds(parts)
    # Lines may start beyond the hedge; one further off than the field is wide is of another.
    about = box(2 * west - east, 2 * south - north, 2 * east - west, 2 * north - south)
    near = [row for row in rows if row["geometry"].intersects(about)]
    if len(near) < len(rows):
        far = len(rows) - len(near)
        notes.append(f"Guidance lines of another field, left out: {far} of {len(rows)}.")
    return near


def obstacle_frame(rows: Sequence[tuple[str, BaseGeometry]]) -> gpd.GeoDataFrame:
    """Return obstacles as a GeoDataFrame.

    Parameters
    ----------
    rows
        Name and shape of each.
    """
    return _frame({"name": [name for name, _ in rows]}, _tidy([shape for _, shape in rows]))


def _tidy(shapes: Sequence[BaseGeometry]) -> list[BaseGeometry]:
    """Return shapes flat, to 9 decimals, outer rings anticlockwise (RFC 7946, section 3.1.6)."""
    flat = shapely.force_2d(np.array(shapes, dtype=object))
    rounded = shapely.transform(flat, lambda corners: np.round(corners, DECIMALS) + 0.0)
    return list(shapely.orient_polygons(rounded))


def _frame(columns: dict[str, list[object]], shapes: Sequence[BaseGeometry]) -> gpd.GeoDataFrame:
    numbers = ("area_m2", "seed_kg_ha", "swath_m", "heading_deg")
    series = {
        name: pd.Series(values, dtype="float64" if name in numbers else "object")
        for name, values in columns.items()
    }
    return gpd.GeoDataFrame(series, geometry=gpd.GeoSeries(list(shapes), crs=WGS84))


def check_degrees(shape: BaseGeometry, words: str) -> None:
    """Raise a LayoutError if a shape is not in longitude and latitude on the earth.

    Parameters
    ----------
    shape
        What was read.
    words
        File and place, for the message.
    """
    corners = shapely.get_coordinates(shape)
    if not np.isfinite(corners).all():
        raise LayoutError(f"{words} has a corner that is no number. Export it again.")
    east, north = np.abs(corners[:, 0]), np.abs(corners[:, 1])
    outside = (east > 180) | (north > 90)
    if not outside.any():
        return
    x, y = (float(value) for value in corners[int(np.argmax(outside))])
    if (east <= 90).all() and (north <= 180).all():
        raise LayoutError(
            f"{words}: longitude and latitude look swapped. A corner would lie at latitude "
            f"{y:.6g}. Longitude comes first, then latitude: export it again, or swap them."
        )
    raise LayoutError(
        f"{words}: the corner {x:.6g}, {y:.6g} is not in degrees on the earth, and the file does "
        "not say what else it is in. Export it as longitude and latitude (WGS 84)."
    )
