"""Keyhole markup (OGC 12-007r2): a field for globes and pocket maps, written and read.

Written by hand rather than by GDAL, whose older driver holds one layer a file and whose newer one
is not in every build; neither gives the strips colours. GDAL reads what is written here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import Any
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import shapely
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from trialkit.design.guidance.field_drawing import DECIMALS, FieldDrawing
from trialkit.design.guidance.map_export import layers

_SPACE = "http://www.opengis.net/kml/2.2"

#: Fill colours of treatments, red, green, blue: chosen to be told apart by the colour-blind
#: (Okabe and Ito 2008). The name stands on each strip as well.
_FILLS = ("E69F00", "56B4E9", "009E73", "F0E442", "0072B2", "D55E00", "CC79A7", "999999")
_HEADINGS = {
    "boundary": "Boundary",
    "obstacles": "Obstacles",
    "strips": "Strips",
    "lines": "Guidance lines",
}


def as_kml(drawing: FieldDrawing) -> bytes:
    """Return a field as KML: strips coloured by treatment, each with its name on it.

    Parameters
    ----------
    drawing
        The field.
    """
    root = Element("kml", xmlns=_SPACE)
    document = SubElement(root, "Document")
    SubElement(document, "name").text = drawing.name
    styles = _styles(document, drawing)
    for heading, layer in layers(drawing).items():
        folder = _folder(document, _HEADINGS[heading])
        for row in layer.to_dict("records"):
            label = f"{row['strip']} {row['treatment']}" if heading == "strips" else row["name"]
            style = styles.get(row.get("treatment", ""), heading)
            mark = _placemark(folder, label, row["geometry"], style)
            _attributes(mark, row)
    names = _folder(document, "Strip names")
    for row in drawing.strips.to_dict("records"):
        label = f"{row['strip']} {row['treatment']}"
        _placemark(names, label, row["geometry"].representative_point(), "label")
    indent(root, " ")
    return bytes(tostring(root, encoding="utf-8", xml_declaration=True)) + b"\n"


def _folder(parent: Element, name: str) -> Element:
    folder = SubElement(parent, "Folder")
    SubElement(folder, "name").text = name
    return folder


def _styles(document: Element, drawing: FieldDrawing) -> dict[str, str]:
    """Write the styles; return the name of each treatment's."""
    named = {}
    for number, treatment in enumerate(dict.fromkeys(drawing.strips["treatment"])):
        named[treatment] = f"treatment{number + 1}"
        _style(document, named[treatment], "ff404040", 1, _abgr(_FILLS[number % len(_FILLS)], "99"))
    _style(document, "boundary", "ff000000", 2, None)
    _style(document, "obstacles", "ff404040", 1, "99606060")
    _style(document, "lines", "ff000000", 1, None)
    label = SubElement(document, "Style", id="label")
    SubElement(SubElement(label, "IconStyle"), "scale").text = "0"  # the name alone
    return named


def _abgr(colour: str, opacity: str) -> str:
    return (opacity + colour[4:6] + colour[2:4] + colour[0:2]).lower()


def _style(document: Element, name: str, line: str, width: int, fill: str | None) -> None:
    style = SubElement(document, "Style", id=name)
    stroke = SubElement(style, "LineStyle")
    SubElement(stroke, "color").text = line
    SubElement(stroke, "width").text = str(width)
    area = SubElement(style, "PolyStyle")
    if fill is None:
        SubElement(area, "fill").text = "0"
    else:
        SubElement(area, "color").text = fill


def _placemark(folder: Element, name: str, shape: BaseGeometry, style: str) -> Element:
    mark = SubElement(folder, "Placemark")
    SubElement(mark, "name").text = name
    SubElement(mark, "styleUrl").text = f"#{style}"
    _write_shape(mark, shape)
    return mark


def _attributes(mark: Element, row: dict[Any, Any]) -> None:
    data = Element("ExtendedData")
    for name, value in row.items():
        known = not (isinstance(value, float) and math.isnan(value)) and value != ""
        if name not in ("geometry", "name") and known:
            SubElement(SubElement(data, "Data", name=str(name)), "value").text = str(value)
    mark.insert(2, data)  # the schema has attributes before the shape


def _write_shape(parent: Element, shape: BaseGeometry) -> None:
    if isinstance(shape, Polygon):
        polygon = SubElement(parent, "Polygon")
        sides = [("outerBoundaryIs", shape.exterior)]
        sides += [("innerBoundaryIs", hole) for hole in shape.interiors]
        for side, ring in sides:
            _write_corners(SubElement(SubElement(polygon, side), "LinearRing"), ring)
    elif isinstance(shape, LineString | Point):
        name = "LineString" if isinstance(shape, LineString) else "Point"
        _write_corners(SubElement(parent, name), shape)
    else:
        many = SubElement(parent, "MultiGeometry")
        for part in shapely.get_parts(shape):
            _write_shape(many, part)


def _write_corners(parent: Element, shape: BaseGeometry) -> None:
    SubElement(parent, "coordinates").text = " ".join(
        f"{x:.{DECIMALS}f},{y:.{DECIMALS}f}" for x, y in shapely.get_coordinates(shape)
    )


def read_placemarks(root: Element) -> Iterator[tuple[dict[str, str], list[BaseGeometry]]]:
    """Return the attributes and the shapes of each placemark.

    Parameters
    ----------
    root
        The document, parsed with its text.

    Raises
    ------
    ValueError
        If a shape is damaged.
    """
    for mark in _all(root, "Placemark"):
        # A placemark's own name is for the eye; an attribute of that name is the one meant.
        named = next((child.text or "" for child in mark if _tag(child) == "name"), "")
        attributes = {"name": named.strip()}
        for data in _all(mark, "Data"):
            value = next((child.text or "" for child in data if _tag(child) == "value"), "")
            attributes[data.get("name", "")] = value.strip()
        for data in _all(mark, "SimpleData"):
            attributes[data.get("name", "")] = (data.text or "").strip()
        yield attributes, list(_shapes(mark))


def _shapes(mark: Element) -> Iterator[BaseGeometry]:
    for polygon in _all(mark, "Polygon"):
        sides = {
            side: [
                _corners(ring)
                for holder in _all(polygon, side)
                for ring in _all(holder, "LinearRing")
            ]
            for side in ("outerBoundaryIs", "innerBoundaryIs")
        }
        if len(sides["outerBoundaryIs"]) != 1:
            raise ValueError("a polygon has no outer ring, or two")
        yield Polygon(sides["outerBoundaryIs"][0], sides["innerBoundaryIs"])
    for line in _all(mark, "LineString"):
        yield LineString(_corners(line))


def _corners(element: Element) -> list[tuple[float, float]]:
    text = " ".join(child.text or "" for child in _all(element, "coordinates"))
    places = re.sub(r"\s*,\s*", ",", text).split()
    corners = []
    for place in places:
        values = [float(value) for value in place.split(",")]
        corners.append((values[0], values[1]))
    return corners


def _all(element: Element, tag: str) -> Iterator[Element]:
    return (found for found in element.iter() if _tag(found) == tag)


def _tag(element: Element) -> str:
    return element.tag.rsplit("}", 1)[-1]
