"""Fields out of ISO 11783-10 task data, versions 3 and 4, as terminals really write them.

Read by content, never refused for a version: rings open or closed, lines under the field or in
groups, points of any type.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import PurePosixPath
from xml.etree.ElementTree import Element

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from trialkit.design.guidance.candidates import Candidate
from trialkit.design.guidance.field_drawing import (
    A_PLUS,
    AB,
    CURVE,
    EARTH,
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
from trialkit.design.guidance.from_plan import REFERENCE_NAME
from trialkit.design.guidance.task_export import MG_M2_A_KG_HA, SEED_RATE_DDI
from trialkit.errors import LayoutError
from trialkit.incoming.file_set import FileSet
from trialkit.incoming.task_xml import attribute, external_elements, parse_xml

#: Name of the file a set begins with, and of its root.
TASK_FILE = "taskdata.xml"
TASK_ROOT = "ISO11783_TaskData"

_OUTLINE, _MAIN_FIELD = "1", "9"
#: Water, building, road, obstacle, windbreak.
_OBSTACLES = ("3", "4", "5", "6", "12")
_INTERIOR, _GUIDANCE_LINE, _OBSTACLE_LINE, _OBSTACLE_POINT = "2", "5", "9", "5"
_SWATHS = {"1": AB, "2": A_PLUS, "3": CURVE}

#: An A+ line has one point and a heading; its B is set so far off, m.
_A_PLUS_M = 1_000.0


def task_fields(files: FileSet, home: str) -> list[Candidate]:
    """Return the fields of a task-data set.

    Parameters
    ----------
    files
        The set.
    home
        Path of `TASKDATA.XML` in it.

    Raises
    ------
    LayoutError, LogError
        If it cannot be read or holds no field with an outline.
    """
    name = PurePosixPath(home).name
    root, whole = parse_xml(files.read(home), name)
    if root.tag != TASK_ROOT:
        raise LayoutError(
            f"{files.name}: {home} is no task data of ISO 11783-10 (<{root.tag[:40]}>)."
        )
    if not whole:
        raise LayoutError(
            f"{files.name}: {home} breaks off before its end. Copy the set from the terminal again."
        )
    elements = [*root, *external_elements(root, files, home)]
    fields = [element for element in elements if element.tag == "PFD"]
    tasks = [element for element in elements if element.tag == "TSK"]
    found = []
    for field in fields:
        outlines = _outlines(field)
        if outlines:
            own = [task for task in tasks if _is_of(task, field, alone=len(fields) == 1)]
            found.append(
                Candidate(
                    attribute(field, "C"),
                    attribute(field, "A"),
                    _rough_area(outlines),
                    partial(_drawing, field, outlines, own, name),
                )
            )
    if not found:
        held = f"Fields without one: {len(fields)}" if fields else "It holds no field"
        raise LayoutError(
            f"{files.name}: there is no outline of a field in it. {held}. Record or draw the "
            "boundary on the terminal, and export again."
        )
    return found


def _is_of(task: Element, field: Element, alone: bool) -> bool:
    reference = attribute(task, "E")
    return reference == attribute(field, "A") or (alone and not reference)


def _outlines(field: Element) -> list[Element]:
    polygons = [child for child in field if child.tag == "PLN"]
    outlines = [each for each in polygons if attribute(each, "A") in (_OUTLINE, "")]
    return outlines or [each for each in polygons if attribute(each, "A") == _MAIN_FIELD]


def _rough_area(outlines: Sequence[Element]) -> float:
    """Return the area for a list of fields; zero where the outline cannot be read."""
    try:
        return sum(geodesic_area_m2(part) for each in outlines for part in _polygons(each, ""))
    except LayoutError:
        return 0.0


def _drawing(
    field: Element, outlines: Sequence[Element], tasks: Sequence[Element], file: str
) -> FieldDrawing:
    name = attribute(field, "C") or attribute(field, "A")
    words = f"{file}, field {name[:40]}"
    parts = [part for each in outlines for part in _polygons(each, words)]
    if not parts:
        raise LayoutError(
            f"{words}: its outline holds no points. Record it again on the terminal, or draw it."
        )
    for part in parts:
        if not part.is_valid:
            raise LayoutError(
                f"{words}: the outline crosses itself or has a fault "
                f"({shapely.is_valid_reason(part)}, longitude and latitude). Record it again, or "
                "draw it."
            )
    notes: list[str] = []
    strips = list(_zones(tasks, notes))
    lines = lines_near(parts, list(_lines(field, notes)), notes)
    obstacles = list(_obstacles(field, notes))
    return FieldDrawing(
        name,
        boundary_frame(name, parts),
        strip_frame(strips),
        line_frame(lines),
        obstacle_frame(obstacles),
        tuple(notes),
    )


def _polygons(element: Element, words: str) -> list[Polygon]:
    """Return the polygons of a PLN: each outer ring with the inner rings that lie in it.

    Raises
    ------
    LayoutError
        If a ring is faulty.
    """
    outer: list[list[tuple[float, float]]] = []
    inner: list[list[tuple[float, float]]] = []
    for line in (child for child in element if child.tag == "LSG"):
        corners = _corners(line, words)
        if len(set(corners)) < 3:
            raise LayoutError(
                f"{words}: an outline has {len(set(corners))} corners; it needs three. Record it "
                "again, or draw it."
            )
        check_degrees(LineString(corners), words)
        (inner if attribute(line, "A") == _INTERIOR else outer).append(corners)
    shells = [Polygon(ring) for ring in outer]
    holes: list[list[list[tuple[float, float]]]] = [[] for _ in shells]
    for ring in inner:
        middle = Polygon(ring).representative_point() if Polygon(ring).is_valid else Point(ring[0])
        owner = next((n for n, shell in enumerate(shells) if _covers(shell, middle)), None)
        if owner is not None:
            holes[owner].append(ring)
    return [Polygon(ring, inside) for ring, inside in zip(outer, holes, strict=True)]


def _covers(shell: Polygon, point: Point) -> bool:
    return bool(shell.is_valid and shell.covers(point))


def _corners(line: Element, words: str) -> list[tuple[float, float]]:
    """Return the points of a line, longitude and latitude."""
    found = []
    for point in (child for child in line if child.tag == "PNT"):
        try:
            place = float(attribute(point, "D")), float(attribute(point, "C"))
        except ValueError:
            where = "in a file of their own" if attribute(point, "J") else "without a position"
            raise LayoutError(
                f"{words}: a line has points {where}, which cannot be read. Export it again, as "
                "points in TASKDATA.XML."
            ) from None
        if not (math.isfinite(place[0]) and math.isfinite(place[1])):
            raise LayoutError(f"{words}: a corner is no number. Export it again.")
        found.append(place)
    return found


def _zones(tasks: Sequence[Element], notes: list[str]) -> Iterator[StripRow]:
    """Return the treatment zones; those that are faulty are noted."""
    faulty = 0
    for task in tasks:
        for zone in task.iter("TZN"):
            polygons = [child for child in zone if child.tag == "PLN"]
            try:
                parts = [part for each in polygons for part in _polygons(each, "")]
                shape = _one_shape(parts)
            except LayoutError:
                faulty += 1
                continue
            if shape is not None:
                strip, treatment = _strip_and_treatment(zone)
                yield {
                    "strip": strip,
                    "block": attribute(polygons[0], "B"),
                    "treatment": treatment,
                    "seed_kg_ha": _seed_rate(zone),
                    "geometry": shape,
                }
    if faulty:
        notes.append(f"Treatment zones with faulty outlines, left out: {faulty}.")


def _one_shape(parts: Sequence[Polygon]) -> BaseGeometry | None:
    """Return the parts of a zone as one shape, checked; None where there are none."""
    if not all(part.is_valid for part in parts):
        raise LayoutError("A zone crosses itself.")
    return shapely.MultiPolygon(parts) if len(parts) > 1 else (parts[0] if parts else None)


def _strip_and_treatment(zone: Element) -> tuple[str, str]:
    name = attribute(zone, "B")
    ours = re.fullmatch(r"(S\d+) (.+)", name)
    if ours:
        return ours[1], ours[2]
    return name or attribute(zone, "A"), ""


def _seed_rate(zone: Element) -> float:
    for value in zone.iter("PDV"):
        try:
            if int(attribute(value, "A"), 16) == SEED_RATE_DDI:
                return int(attribute(value, "B")) / MG_M2_A_KG_HA
        except ValueError:
            continue
    return math.nan


def _lines(field: Element, notes: list[str]) -> Iterator[LineRow]:
    """Return the guidance lines under the field (version 3) and in its groups (version 4)."""
    faulty, other = 0, 0
    plain = [
        (AB, "", child)
        for child in field
        if child.tag == "LSG" and attribute(child, "A") == _GUIDANCE_LINE
    ]
    grouped = []
    for pattern in field.iter("GPN"):
        kind = _SWATHS.get(attribute(pattern, "C"))
        drawn = [(kind, attribute(pattern, "B"), pattern, line) for line in pattern.iter("LSG")
                 if attribute(line, "A") not in ("1", _INTERIOR)]  # fmt: skip
        if kind is None or not drawn:
            other += 1
        else:
            grouped.append(drawn[0])
    for kind, name, line in plain:
        row = _line_row(kind, name, line, None)
        if row is None:
            faulty += 1
        else:
            yield row
    for kind, name, pattern, line in grouped:
        row = _line_row(kind or AB, name, line, pattern)
        if row is None:
            faulty += 1
        else:
            yield row
    if other:
        notes.append(f"Guidance patterns that are circles, spirals or empty, left out: {other}.")
    if faulty:
        notes.append(f"Guidance lines that are faulty, left out: {faulty}.")


def _line_row(kind: str, name: str, line: Element, pattern: Element | None) -> LineRow | None:
    try:
        corners = _corners(line, "")
        if kind == A_PLUS and corners and pattern is not None:
            corners = [corners[0], _ahead(corners[0], float(attribute(pattern, "G")))]
        if len(set(corners)) < 2 or corners[0] == corners[-1]:
            return None
        drawn = LineString(corners)
        check_degrees(drawn, "A line")
    except (LayoutError, ValueError):
        return None
    named = name or attribute(line, "B")
    ours = re.fullmatch(r"(S\d+) pass \d+", named)
    if ours:
        kind = PASS
    elif named == REFERENCE_NAME:
        kind = REFERENCE
    elif kind != A_PLUS:
        kind = AB if straight(drawn) else CURVE
    return {
        "name": named,
        "kind": kind,
        "strip": ours[1] if ours else "",
        "swath_m": _metres(attribute(line, "C")),
        "geometry": drawn,
    }


def _ahead(place: tuple[float, float], heading_deg: float) -> tuple[float, float]:
    if not math.isfinite(heading_deg):
        raise ValueError("no heading")
    check_degrees(Point(place), "A line")
    longitude, latitude, _ = EARTH.fwd(place[0], place[1], heading_deg, _A_PLUS_M)
    return float(longitude), float(latitude)


def _metres(millimetres: str) -> float:
    try:
        width = int(millimetres) / 1000
    except ValueError:
        return math.nan
    return width if width > 0 else math.nan


def _obstacles(field: Element, notes: list[str]) -> Iterator[tuple[str, BaseGeometry]]:
    """Return what is drawn inside the field to be driven around."""
    faulty = 0
    for child in field:
        kind, name = attribute(child, "A"), attribute(child, "B")
        shapes: list[BaseGeometry] = []
        try:
            if child.tag == "PLN" and kind in _OBSTACLES:
                shapes += _polygons(child, "")
            elif child.tag == "LSG" and kind == _OBSTACLE_LINE:
                shapes.append(LineString(_corners(child, "")))
            elif child.tag == "PNT" and kind == _OBSTACLE_POINT:
                shapes.append(Point(float(attribute(child, "D")), float(attribute(child, "C"))))
            for shape in shapes:
                check_degrees(shape, "An obstacle")
                if not shape.is_valid:
                    raise LayoutError("An obstacle crosses itself.")
        except (LayoutError, ValueError, shapely.errors.ShapelyError):
            faulty += 1
            continue
        for shape in shapes:
            yield name, shape
    if faulty:
        notes.append(f"Obstacles that are faulty, left out: {faulty}. Look where they are.")
