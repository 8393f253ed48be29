"""The field boundary and the strips: GeoJSON in, checked polygons out."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry import shape
from shapely.geometry.base import BaseGeometry

from trialkit.checks import Check
from trialkit.language import say
from trialkit.position import local_grid
from trialkit.trial.config import TrialConfig, suggestion

BOUNDARY_FILE = "boundary.geojson"
LAYOUT_FILE = "layout.geojson"

LARGEST_DRAWING_BYTES = 50_000_000

#: Share of a strip that may overlap its neighbour or lie outside the field: drawing by hand is
#: not exact, and half a per cent of a strip moves no yield. Common practice, no source.
DRAWING_TOLERANCE = 0.005

#: A draw this unlikely is taken for none: common practice, no source.
UNLIKELY_DRAW = 0.01

_WGS84 = "EPSG:4326"


def read_boundary(folder: Path) -> tuple[gpd.GeoDataFrame | None, list[Check]]:
    """Read `boundary.geojson`, the field as one polygon or several.

    Returns
    -------
    boundary, checks
        Polygons in WGS 84, or None where the file is absent or faulty; and its faults.
    """
    path = folder / BOUNDARY_FILE
    if not path.exists():
        return None, []
    features, checks = read_features(path)
    polygons = [geometry for _, geometry, _ in features]
    if not checks and not polygons:
        found, remedy = say("There is no polygon in it."), say("Draw the field.")
        checks = [Check(BOUNDARY_FILE, "", found, remedy)]
    if checks:
        return None, checks
    return gpd.GeoDataFrame(geometry=polygons, crs=_WGS84), []


def read_layout(folder: Path) -> tuple[gpd.GeoDataFrame | None, list[Check]]:
    """Read `layout.geojson`, the strips as they were sown.

    Returns
    -------
    layout, checks
        Columns `strip block treatment role geometry` in WGS 84, one row a strip or headland, in
        the order of the file; None where the file is absent or faulty. And all its faults.
    """
    path = folder / LAYOUT_FILE
    if not path.exists():
        remedy = say(
            "Run `trialkit layout FOLDER`, or draw each strip as a polygon with the properties "
            "strip, block and treatment."
        )
        return None, [Check(LAYOUT_FILE, "", say("The file is missing."), remedy)]
    features, checks = read_features(path)
    rows = []
    for place, geometry, properties in features:
        row = {"role": str(properties.get("role") or "strip"), "geometry": geometry}
        for name in ("strip", "block", "treatment"):
            value = properties.get(name)
            row[name] = "" if value is None else str(value).strip()
            if row["role"] == "strip" and not row[name]:
                found = say("The strip has no {property}.", property=name)
                remedy = say("Add the property '{property}'.", property=name)
                checks.append(Check(LAYOUT_FILE, place, found, remedy))
        rows.append(row)
    if not checks and not any(row["role"] == "strip" for row in rows):
        found, remedy = say("There is no strip in it."), say("Draw the strips.")
        checks = [Check(LAYOUT_FILE, "", found, remedy)]
    if checks:
        return None, checks
    order = ["strip", "block", "treatment", "role", "geometry"]
    return gpd.GeoDataFrame(rows, crs=_WGS84)[order], []


def read_features(
    path: Path,
) -> tuple[list[tuple[str, BaseGeometry, dict[str, Any]]], list[Check]]:
    """Return place, polygon and properties of each feature, and what is wrong with the file.

    Parameters
    ----------
    path
        A GeoJSON file of polygons in WGS 84.
    """
    file = path.name
    if path.stat().st_size > LARGEST_DRAWING_BYTES:
        found, remedy = say("It is too large for a drawing of one field."), say("Thin it out.")
        return [], [Check(file, "", found, remedy)]
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except UnicodeDecodeError:
        found, remedy = say("The file is not UTF-8 text."), say("Export it as GeoJSON.")
        return [], [Check(file, "", found, remedy)]
    except (json.JSONDecodeError, RecursionError) as error:
        found = say("This is not valid JSON: {error}.", error=str(error))
        return [], [Check(file, "", found, say("Export it again."))]
    kind = content.get("type") if isinstance(content, dict) else None
    features = content.get("features") if kind == "FeatureCollection" else [content]
    if kind is None or not isinstance(features, list):
        found, remedy = say("This is not GeoJSON."), say("Export it as GeoJSON, WGS 84.")
        return [], [Check(file, "", found, remedy)]
    shapes: list[tuple[str, BaseGeometry, dict[str, Any]]] = []
    checks: list[Check] = []
    for number, feature in enumerate(features, 1):
        place = say("feature {number}", number=number) if len(features) > 1 else ""
        is_feature = isinstance(feature, dict) and feature.get("type") == "Feature"
        geometry, fault = _polygon(feature.get("geometry") if is_feature else feature)
        properties = feature.get("properties") if is_feature else None
        if geometry is None:
            checks.append(Check(file, place, *fault))
        else:
            shapes.append((place, geometry, properties if isinstance(properties, dict) else {}))
    return shapes, checks


def _polygon(raw: Any) -> tuple[BaseGeometry | None, tuple[str, str]]:
    try:
        geometry = shapely.force_2d(shape(raw))
    except (ValueError, TypeError, AttributeError, KeyError, IndexError, shapely.GEOSException):
        return None, (say("It has no readable shape."), say("Draw it as a polygon."))
    if geometry.geom_type not in ("Polygon", "MultiPolygon") or geometry.is_empty:
        found = say("It is a {kind}, not a polygon.", kind=geometry.geom_type)
        return None, (found, say("Draw it as a polygon."))
    west, south, east, north = geometry.bounds
    if not (-180 <= west <= east <= 180 and -90 <= south <= north <= 90):
        remedy = say("Longitude comes first, then latitude, both in degrees (WGS 84).")
        if -90 <= west <= east <= 90 and -180 <= south <= north <= 180:
            return None, (say("Longitude and latitude look swapped."), remedy)
        return None, (say("Its coordinates are not degrees on the earth."), remedy)
    if not geometry.is_valid:
        reason = shapely.is_valid_reason(geometry)
        found = say("Its outline crosses itself ({reason}).", reason=reason)
        return None, (found, say("Redraw its corners in order."))
    return geometry, ("", "")


def check_ground(
    config: TrialConfig, boundary: gpd.GeoDataFrame | None, layout: gpd.GeoDataFrame
) -> list[Check]:
    """Check the strips against the treatments, each other and the field.

    Parameters
    ----------
    config
        What `trial.toml` says.
    boundary
        The field, WGS 84, where it is known.
    layout
        The strips, WGS 84.
    """
    strips = layout[layout["role"] == "strip"]
    checks = [
        _of_strip(name, say("Two strips have this name."), say("Name each one its own."))
        for name in strips["strip"][strips["strip"].duplicated()].unique()
    ]
    checks += _check_treatments(config, strips)
    grid = local_grid(strips)
    polygons = strips.to_crs(grid).set_index("strip").geometry
    checks += _same_order(strips, polygons)
    checks += _overlaps(polygons)
    if boundary is not None:
        field = boundary.to_crs(grid).union_all()
        if polygons.disjoint(field).all():
            checks.append(_elsewhere(strips, boundary, polygons.distance(field).min()))
        else:
            checks += _outside(polygons, field)
    return checks


def _check_treatments(config: TrialConfig, strips: gpd.GeoDataFrame) -> Iterator[Check]:
    named = [treatment.name for treatment in config.treatments]
    counts = strips["treatment"].value_counts()
    for treatment in counts.index:
        if treatment not in named:
            remedy = suggestion(treatment, named).strip() or say(
                "It has {names}.", names=", ".join(named)
            )
            first = strips.loc[strips["treatment"] == treatment, "strip"].iloc[0]
            found = say("trial.toml has no treatment '{treatment}'.", treatment=treatment)
            yield _of_strip(first, found, remedy)
    for treatment in named:
        number = int(counts.get(treatment, 0))
        if number == 0 and treatment == config.control:
            found = say(
                "There are no untreated strips: no strip says '{treatment}'.", treatment=treatment
            )
            remedy = say(
                "Without them nobody can tell what the dressing did. Leave some next time."
            )
            yield Check(LAYOUT_FILE, "", found, remedy)
        elif number == 0:
            found = say(
                "No strip has the treatment '{treatment}' of trial.toml.", treatment=treatment
            )
            remedy = say("Add its strips, or take it out of trial.toml.")
            yield Check(LAYOUT_FILE, "", found, remedy)
        elif number == 1:
            found = say("The treatment '{treatment}' has one strip only.", treatment=treatment)
            remedy = say(
                "One strip cannot show how much strips differ by chance: this trial cannot tell. "
                "Lay out at least four strips of each treatment next season."
            )
            yield Check(LAYOUT_FILE, "", found, remedy)
    for block, group in strips.groupby("block", sort=False):
        if group["treatment"].nunique() < 2:
            found = say(
                "Block {block} has only '{treatment}' in it.",
                block=str(block), treatment=group["treatment"].iloc[0],
            )  # fmt: skip
            remedy = say("It adds little: a block compares treatments side by side.")
            place = say("block {block}", block=str(block))
            yield Check(LAYOUT_FILE, place, found, remedy, "warning")


def _same_order(strips: gpd.GeoDataFrame, polygons: gpd.GeoSeries) -> Iterator[Check]:
    """Say where every block has its treatments in one order, as no fair draw would likely give."""
    middles = shapely.get_coordinates(shapely.centroid(polygons.to_numpy()))
    table = pd.DataFrame(middles, columns=["x", "y"]).assign(
        block=strips["block"].to_numpy(), treatment=strips["treatment"].to_numpy()
    )
    apart = table[["x", "y"]] - table.groupby("block")[["x", "y"]].transform("mean")
    across = np.linalg.svd(apart.to_numpy(), full_matrices=False)[2][0]
    table["place"] = apart.to_numpy() @ across
    ordered = table.sort_values("place").groupby("block", sort=False)["treatment"]
    orders = [tuple(order) for _, order in ordered]
    draws = math.factorial(len(orders[0])) / math.prod(
        math.factorial(number) for number in Counter(orders[0]).values()
    )
    if len(set(orders)) == 1 and draws ** (1 - len(orders)) < UNLIKELY_DRAW:
        found = say(
            "Every block has its treatments in the same order: {treatments}.",
            treatments=", ".join(orders[0]),
        )
        remedy = say(
            "Unless that order was drawn for each block, the randomisation test does not hold, "
            "and a trend across the field can look like a gain. Draw each block anew next time."
        )
        yield Check(LAYOUT_FILE, "", found, remedy, "warning")


def _overlaps(polygons: gpd.GeoSeries) -> Iterator[Check]:
    left, right = polygons.sindex.query(polygons.to_numpy(), predicate="intersects")
    for first, second in zip(left, right, strict=True):
        if first >= second:
            continue
        one, other = polygons.iloc[first], polygons.iloc[second]
        shared_m2 = one.intersection(other).area
        if shared_m2 > DRAWING_TOLERANCE * min(one.area, other.area):
            found = say(
                "Strips {first} and {second} overlap by {area:,.0f} m².",
                first=str(polygons.index[first]), second=str(polygons.index[second]),
                area=shared_m2,
            )  # fmt: skip
            yield _of_strip(polygons.index[first], found, say("Move their edges."))


def _outside(polygons: gpd.GeoSeries, field: BaseGeometry) -> Iterator[Check]:
    for name, polygon in polygons.items():
        outside_m2 = polygon.difference(field).area
        if outside_m2 > DRAWING_TOLERANCE * polygon.area:
            found = say(
                "{area:,.0f} m² of strip {strip} lie outside {file}.",
                area=outside_m2, strip=str(name), file=BOUNDARY_FILE,
            )  # fmt: skip
            yield _of_strip(name, found, say("Correct the strip or the boundary."))


def _of_strip(strip: object, found: str, wanted: str) -> Check:
    """Return a fault of one strip of the layout."""
    return Check(LAYOUT_FILE, say("strip {strip}", strip=str(strip)), found, wanted)


def _elsewhere(strips: gpd.GeoDataFrame, boundary: gpd.GeoDataFrame, distance_m: float) -> Check:
    """Say that no strip lies in the field, and whether swapped coordinates are the cause."""
    found = say(
        "No strip lies in {file}: the nearest is {distance:,.1f} km off.",
        file=BOUNDARY_FILE, distance=distance_m / 1000,
    )  # fmt: skip
    swapped = shapely.transform(strips.geometry.to_numpy(), lambda corners: corners[:, ::-1])
    if shapely.intersects(swapped, boundary.union_all()).any():
        remedy = say("Longitude and latitude are swapped in one of the two files: longitude first.")
    else:
        remedy = say("Check that both files are of the same field, in degrees (WGS 84).")
    return Check(LAYOUT_FILE, "", found, remedy)
