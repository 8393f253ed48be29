"""Shapes with their attributes out of GeoJSON, KML, shapefile and GeoPackage."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.geometry import shape

from trialkit.design.guidance.candidates import Candidate
from trialkit.design.guidance.feature_sorting import Feature, fields_of
from trialkit.design.guidance.field_drawing import WGS84
from trialkit.design.guidance.kml import read_placemarks
from trialkit.design.guidance.map_export import SHAPEFILE_NAMES
from trialkit.design.guidance.task_import import TASK_ROOT, task_fields
from trialkit.errors import LayoutError
from trialkit.incoming.file_set import FileSet
from trialkit.incoming.task_xml import parse_xml
from trialkit.incoming.vector_layers import BEGINS, read_layers

#: Endings of the files looked for in a folder or zip.
ENDINGS = (".shp", ".gpkg", ".geojson", ".json", ".kml")

#: A drawing of fields is no larger than this.
_LARGEST_BYTES = 50_000_000

_COLUMNS = {short: name for name, short in SHAPEFILE_NAMES.items()}


def readable(files: FileSet) -> list[str]:
    """Return the files of a set that are drawings by their endings.

    Parameters
    ----------
    files
        The set.
    """
    return files.ending(*ENDINGS)


def map_fields(files: FileSet, paths: list[str]) -> list[Candidate]:
    """Return the fields drawn in some files of a set.

    Parameters
    ----------
    files
        The set.
    paths
        The files to read.

    Raises
    ------
    LayoutError, LogError
        If a file cannot be read or holds no outline.
    """
    features: list[Feature] = []
    for path in paths:
        raw = files.read(path)
        name = PurePosixPath(path).name
        if len(raw) > _LARGEST_BYTES:
            raise LayoutError(
                f"{name}: {len(raw) / 1e6:,.0f} MB are more than a drawing of fields needs. Export "
                "this field alone."
            )
        text = raw.lstrip(b"\xef\xbb\xbf \t\r\n")
        ending = next((end for end, begin in BEGINS.items() if raw.startswith(begin)), None)
        if ending is not None:
            features += _from_layers(files, path, ending)
        elif text[:1] in (b"{", b"["):
            features += _from_geojson(text, name)
        elif _looks_like_xml(raw):
            root, whole = parse_xml(raw, name, keep_text=True)
            if root.tag == TASK_ROOT:
                return task_fields(files, path)
            features += _from_kml(root, whole, name)
        else:
            raise LayoutError(_unknown(name))
    return fields_of(features, files.name)


def _looks_like_xml(raw: bytes) -> bool:
    return raw[:200].replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").startswith(b"<")


def _unknown(name: str) -> str:
    ending = PurePosixPath(name).suffix.lower()
    if ending in (".dbf", ".shx", ".prj", ".cpg"):
        return f"{name}: this is one part of a shapefile. Give the part that ends in .shp."
    return (
        f"{name}: it does not begin as a drawing of a field does. It is damaged, empty, or "
        "something else. Give ISO 11783-10 task data, shapefile, GeoPackage, GeoJSON or KML."
    )


def _from_layers(files: FileSet, path: str, ending: str) -> list[Feature]:
    name = PurePosixPath(path).name
    found = []
    for layer, frame in read_layers(files, path, ending).items():
        words = name if ending == ".shp" else f"{name}, layer {layer}"
        found += _features(frame, words)
    return found


def _features(frame: gpd.GeoDataFrame, words: str) -> list[Feature]:
    shapes = frame.geometry
    if shapes.crs is not None:
        shapes = _in_degrees(shapes, words)
    table = frame.drop(columns=[frame.geometry.name]).rename(columns=_COLUMNS)
    return [
        Feature({str(key): _value(value) for key, value in row.items()}, drawn, words)
        for row, drawn in zip(table.to_dict("records"), shapes, strict=True)
        if drawn is not None and not drawn.is_empty
    ]


def _value(value: Any) -> str | float:
    """Return an attribute as text, or as a number where it is one."""
    if isinstance(value, bool | str):
        return str(value).strip()
    if isinstance(value, int | float):
        return float(value)
    return "" if value is None or pd.isna(value) is True else str(value)[:200]


def _from_geojson(text: bytes, name: str) -> list[Feature]:
    try:
        content = json.loads(text.decode("utf-8"))
    except UnicodeDecodeError:
        raise LayoutError(f"{name}: the file is not UTF-8 text. Export it as GeoJSON.") from None
    except (ValueError, RecursionError) as error:
        raise LayoutError(
            f"{name}: this is not whole JSON ({str(error)[:80]}). Copy or export it again."
        ) from None
    kind = content.get("type") if isinstance(content, dict) else None
    if not isinstance(kind, str):
        raise LayoutError(f"{name}: this is JSON, but no GeoJSON. Export it as GeoJSON, WGS 84.")
    listed = content.get("features") if kind == "FeatureCollection" else [content]
    if not isinstance(listed, list):
        raise LayoutError(f"{name}: the collection has no features. Export it again.")
    found = [_from_feature(each, name, number) for number, each in enumerate(listed, start=1)]
    features = [feature for feature in found if feature is not None]
    crs = _geojson_crs(content, name)
    if crs is None:
        return features
    shapes = _in_degrees(gpd.GeoSeries([each.geometry for each in features], crs=crs), name)
    return [
        Feature(each.attributes, drawn, each.words)
        for each, drawn in zip(features, shapes, strict=True)
    ]


def _from_feature(each: Any, name: str, number: int) -> Feature | None:
    words = f"{name}, feature {number}"
    is_feature = isinstance(each, dict) and each.get("type") == "Feature"
    drawn = each.get("geometry") if is_feature else each
    if drawn is None:
        return None
    try:
        geometry = shapely.force_2d(shape(drawn))
    except (ValueError, TypeError, AttributeError, LookupError, RecursionError,
            OverflowError, shapely.errors.ShapelyError):  # fmt: skip
        raise LayoutError(
            f"{words} has no readable shape. Export it as GeoJSON polygons and lines, WGS 84."
        ) from None
    properties = each.get("properties") if is_feature else None
    table = properties if isinstance(properties, Mapping) else {}
    attributes = {str(key): _value(value) for key, value in table.items() if _is_plain(value)}
    return None if geometry.is_empty else Feature(attributes, geometry, words)


def _is_plain(value: Any) -> bool:
    if isinstance(value, int) and not isinstance(value, bool):
        return abs(value) < 2**63
    return value is None or isinstance(value, bool | float | str)


def _geojson_crs(content: dict[str, Any], name: str) -> CRS | None:
    """Return the system older GeoJSON may name; None for WGS 84."""
    try:
        named = content["crs"]["properties"]["name"]
    except (KeyError, TypeError):
        return None
    try:
        return CRS.from_user_input(str(named))
    except CRSError:
        raise LayoutError(
            f"{name}: its coordinate system '{str(named)[:60]}' is not known. Export it as "
            "longitude and latitude (WGS 84)."
        ) from None


def _in_degrees(shapes: gpd.GeoSeries, words: str) -> gpd.GeoSeries:
    if shapes.crs.equals(CRS(WGS84)):
        return shapes
    try:
        return shapes.to_crs(WGS84)
    except Exception as error:  # the projection library raises errors of several families
        raise LayoutError(
            f"{words}: its coordinate system {shapes.crs.name[:60]} cannot be brought to longitude "
            "and latitude. Export it as WGS 84."
        ) from error


def _from_kml(root: Any, whole: bool, name: str) -> list[Feature]:
    if not str(root.tag).endswith("kml"):
        raise LayoutError(
            f"{name}: this XML (<{str(root.tag)[:40]}>) is neither ISO 11783-10 task data nor KML. "
            "Export the field as one of these."
        )
    if not whole:
        raise LayoutError(f"{name}: it breaks off before its end. Copy or export it again.")
    try:
        return [
            Feature(
                {key: _number_or_text(key, text) for key, text in attributes.items()}, drawn, name
            )
            for attributes, shapes in read_placemarks(root)
            for drawn in shapes
        ]
    except (ValueError, IndexError, shapely.errors.ShapelyError) as error:
        raise LayoutError(
            f"{name}: a shape is damaged ({str(error)[:80]}). Export it again."
        ) from None


def _number_or_text(key: str, text: str) -> str | float:
    """Return an attribute as a number where the column is one; KML holds text only."""
    if key in ("seed_kg_ha", "swath_m", "heading_deg", "area_m2"):
        try:
            return float(text)
        except ValueError:
            return math.nan
    return text
