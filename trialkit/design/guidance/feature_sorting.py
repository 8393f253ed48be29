"""Which shape of a drawing is the field, a strip, a guidance line or an obstacle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from trialkit.design.guidance.candidates import Candidate
from trialkit.design.guidance.field_drawing import (
    AB,
    CURVE,
    PASS,
    REFERENCE,
    FieldDrawing,
    LineRow,
    StripRow,
    boundary_frame,
    check_degrees,
    geodesic_area_m2,
    line_frame,
    lines_near,
    obstacle_frame,
    straight,
    strip_frame,
)
from trialkit.design.guidance.map_export import BOUNDARY, OBSTACLE, STRIP
from trialkit.errors import LayoutError

#: Attributes that hold a name, the likeliest first.
_NAMES = (
    "name",
    "field",
    "field_name",
    "fieldname",
    "paddock",
    "designator",
    "label",
    "title",
    "id",
)


@dataclass(frozen=True, slots=True)
class Feature:
    """A shape with its attributes.

    Parameters
    ----------
    attributes
        By name, as text or number.
    geometry
        In longitude and latitude, if the file says so or says nothing.
    words
        Where it stands, for messages.
    """

    attributes: dict[str, str | float]
    geometry: BaseGeometry
    words: str

    def text(self, name: str) -> str:
        """Return an attribute as text, whatever the case of its name; empty where absent."""
        for key, value in self.attributes.items():
            if key.casefold() == name:
                if isinstance(value, str):
                    return value
                return "" if math.isnan(value) else f"{value:g}"
        return ""

    def number(self, name: str) -> float:
        """Return an attribute as a number; not a number where it is none."""
        value = self.attributes.get(name, math.nan)
        return value if isinstance(value, float) else math.nan

    @property
    def name(self) -> str:
        """What it is called; may be empty."""
        return next((found for found in map(self.text, _NAMES) if found), "")


@dataclass(frozen=True, slots=True)
class _Sorted:
    """Shapes by what they are; polygons that do not say are `plain`."""

    boundary: list[Feature]
    plain: list[Feature]
    strips: list[Feature]
    obstacles: list[Feature]
    lines: list[Feature]
    notes: list[str]


def fields_of(features: Sequence[Feature], file: str) -> list[Candidate]:
    """Return the fields among the shapes of a drawing.

    Parameters
    ----------
    features
        All shapes.
    file
        Name of the file, for messages.

    Raises
    ------
    LayoutError
        If none is an outline, or one is faulty.
    """
    for feature in features:
        check_degrees(feature.geometry, feature.words)
    parts = _sort(features)
    _check_outlines([*parts.boundary, *parts.plain])
    notes = list(parts.notes)
    obstacles = list(parts.obstacles)
    outlines = parts.boundary
    if outlines:
        obstacles += parts.plain
    else:
        outlines, inner = _outermost(parts.plain)
        obstacles += inner
        if inner:
            notes.append(
                "Shapes inside the field that do not say what they are, taken for ground to stay "
                f"off: {len(inner)}."
            )
    if not outlines:
        raise LayoutError(_no_outline(parts, file))
    groups = _by_name(outlines)
    alone = len(groups) == 1
    return [
        _candidate(
            name, group, _Sorted(group, [], parts.strips, obstacles, parts.lines, notes), alone
        )
        for name, group in groups
    ]


def _sort(features: Sequence[Feature]) -> _Sorted:
    found = _Sorted([], [], [], [], [], [])
    closed: list[Feature] = []
    for feature in features:
        kind = feature.text("kind").casefold()
        for part in _parts(feature):
            if part.geometry.geom_type == "LineString":
                outline = _closed(part)
                (found.lines if outline is None else closed).append(outline or part)
            elif part.geometry.geom_type not in ("Polygon", "MultiPolygon"):
                continue
            elif kind == BOUNDARY:
                found.boundary.append(part)
            elif kind == OBSTACLE:
                found.obstacles.append(part)
            elif kind == STRIP or (part.text("strip") and part.text("treatment")):
                found.strips.append(part)
            else:
                found.plain.append(part)
    if closed and not (found.boundary or found.plain):
        found.plain.extend(closed)
        found.notes.append("The outline is drawn as a closed line: taken for the field's edge.")
    elif closed:
        found.notes.append(f"Closed lines, which guide nobody, left out: {len(closed)}.")
    return found


def _parts(feature: Feature) -> list[Feature]:
    """Return the feature with collections and lines of several parts taken apart."""
    geometry = feature.geometry
    if geometry.geom_type == "LinearRing":
        geometry = LineString(geometry.coords)
    if geometry.geom_type not in ("GeometryCollection", "MultiLineString"):
        return [Feature(feature.attributes, geometry, feature.words)]
    parts = shapely.get_parts(geometry)
    return [
        piece
        for part in parts
        for piece in _parts(Feature(feature.attributes, part, feature.words))
    ]


def _closed(feature: Feature) -> Feature | None:
    corners = shapely.get_coordinates(feature.geometry)
    if len(corners) < 4 or not (corners[0] == corners[-1]).all():
        return None
    return Feature(feature.attributes, Polygon(corners), feature.words)


def _check_outlines(outlines: Sequence[Feature]) -> None:
    for feature in outlines:
        if not feature.geometry.is_valid:
            called = f" '{feature.name[:40]}'" if feature.name else ""
            raise LayoutError(
                f"{feature.words}: the outline{called} crosses itself or has a fault "
                f"({shapely.is_valid_reason(feature.geometry)}, longitude and latitude). Redraw "
                "its corners in order around the field."
            )


def _outermost(plain: Sequence[Feature]) -> tuple[list[Feature], list[Feature]]:
    """Return the polygons that lie in no other, and those that do."""
    shapes = np.array([feature.geometry for feature in plain], dtype=object)
    tree = shapely.STRtree(shapes)
    inside, around = tree.query(shapes, predicate="covered_by")
    areas = shapely.area(shapes)
    # Of two drawn alike the first is the outer one.
    outer_is_other = (areas[around] > areas[inside]) | (
        (areas[around] == areas[inside]) & (around < inside)
    )
    inner = set(inside[outer_is_other].tolist())
    return (
        [feature for place, feature in enumerate(plain) if place not in inner],
        [feature for place, feature in enumerate(plain) if place in inner],
    )


def _by_name(outlines: Sequence[Feature]) -> list[tuple[str, list[Feature]]]:
    """Return the outlines by name: those that share one are parts of one field."""
    groups: dict[object, list[Feature]] = {}
    for place, feature in enumerate(outlines):
        groups.setdefault(feature.name or place, []).append(feature)
    return [(group[0].name, group) for group in groups.values()]


def _candidate(name: str, group: list[Feature], parts: _Sorted, alone: bool) -> Candidate:
    area = sum(geodesic_area_m2(feature.geometry) for feature in group)
    return Candidate(name, "", area, lambda: _drawing(name, group, parts, alone))


def _drawing(name: str, group: list[Feature], parts: _Sorted, alone: bool) -> FieldDrawing:
    polygons = [part for feature in group for part in shapely.get_parts(feature.geometry)]
    field = shapely.union_all(polygons)
    notes = list(parts.notes)
    rows = [row for line in parts.lines if (row := _line_row(line)) is not None]
    lines = lines_near(polygons, rows, notes)
    strips = [each for each in parts.strips if alone or each.geometry.intersects(field)]
    obstacles = [each for each in parts.obstacles if _in(each.geometry, field)]
    return FieldDrawing(
        name,
        boundary_frame(name, polygons),
        strip_frame([_strip_row(each) for each in strips]),
        line_frame(lines),
        obstacle_frame([(each.name, each.geometry) for each in obstacles]),
        tuple(notes),
    )


def _in(shape: BaseGeometry, field: BaseGeometry) -> bool:
    return bool(shape.intersects(field) and not shape.touches(field))


def _strip_row(feature: Feature) -> StripRow:
    return {
        "strip": feature.text("strip") or feature.name,
        "block": feature.text("block"),
        "treatment": feature.text("treatment"),
        "seed_kg_ha": feature.number("seed_kg_ha"),
        "geometry": feature.geometry,
    }


def _line_row(feature: Feature) -> LineRow | None:
    """Return a guidance line; None where it has no length."""
    line = LineString(feature.geometry.coords)
    if line.coords[0] == line.coords[-1]:
        return None
    kind = feature.text("kind")
    if kind not in (REFERENCE, PASS, AB):
        kind = AB if straight(line) else CURVE
    return {
        "name": feature.name,
        "kind": kind,
        "strip": feature.text("strip"),
        "swath_m": feature.number("swath_m"),
        "geometry": line,
    }


def _no_outline(parts: _Sorted, file: str) -> str:
    held = [
        f"{word}: {len(found)}"
        for found, word in ((parts.strips, "strips"), (parts.lines, "lines"))
        if found
    ]
    there = f" It holds {', '.join(held)}." if held else ""
    return (
        f"{file}: there is no outline of a field in it.{there} Export the boundary as a polygon, "
        "in one folder, zip or file with the lines."
    )
