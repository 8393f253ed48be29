"""A field as GeoJSON, GeoPackage and shapefiles, for map programs and terminals that read them."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
from shapely.geometry import mapping

from trialkit.design.guidance.field_drawing import FieldDrawing
from trialkit.design.guidance.task_export import packed

#: What a shape is, as the column `kind` says; a line says which kind of line.
BOUNDARY, STRIP, OBSTACLE = "boundary", "strip", "obstacle"

#: Our column by its name in a shapefile, where names have at most ten characters.
SHAPEFILE_NAMES = {"heading_deg": "head_deg"}

#: Parts of a shapefile, in the order they are packed.
_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")

#: The same trial gives the same bytes: no file holds the day it was made.
_DAY = "1980-01-01"


def as_geojson(drawing: FieldDrawing) -> bytes:
    """Return a field as GeoJSON (RFC 7946): one collection, the property `kind` says what is what.

    Parameters
    ----------
    drawing
        The field.
    """
    features = [
        {"type": "Feature", "properties": _plain(row), "geometry": mapping(row["geometry"])}
        for layer in layers(drawing).values()
        for row in layer.to_dict("records")
    ]
    content = {"type": "FeatureCollection", "name": drawing.name, "features": features}
    return (json.dumps(content, ensure_ascii=False, allow_nan=False) + "\n").encode("utf-8")


def as_geopackage(drawing: FieldDrawing) -> bytes:
    """Return a field as GeoPackage, one layer each for outline, strips and lines.

    Parameters
    ----------
    drawing
        The field.
    """
    with TemporaryDirectory() as folder, _no_clock():
        path = Path(folder, "field.gpkg")
        for name, layer in layers(drawing).items():
            layer.to_file(path, layer=name, driver="GPKG", engine="pyogrio")
        return path.read_bytes()


def as_shapefiles(drawing: FieldDrawing) -> bytes:
    """Return a field as a zip of shapefiles, one each for outline, strips and lines.

    Parameters
    ----------
    drawing
        The field.
    """
    files = {}
    with TemporaryDirectory() as folder:
        for name, layer in layers(drawing).items():
            path = Path(folder, f"{name}.shp")
            layer.rename(columns=SHAPEFILE_NAMES).to_file(
                path,
                driver="ESRI Shapefile",
                engine="pyogrio",
                encoding="UTF-8",
                layer_options={"DBF_DATE_LAST_UPDATE": _DAY},
            )
            for part in _PARTS:
                files[f"{name}{part}"] = path.with_suffix(part).read_bytes()
    return packed(files)


def layers(drawing: FieldDrawing) -> dict[str, gpd.GeoDataFrame]:
    """Return the layers of a field that are not empty, each with a column `kind`.

    Parameters
    ----------
    drawing
        The field.
    """
    found = {
        "boundary": drawing.boundary.assign(kind=BOUNDARY),
        "obstacles": drawing.obstacles.assign(kind=OBSTACLE),
        "strips": drawing.strips.assign(kind=STRIP),
        "lines": drawing.lines,
    }
    return {name: layer for name, layer in found.items() if len(layer)}


def _plain(row: dict[Any, Any]) -> dict[str, Any]:
    """Return the attributes of a row; what is not known is null."""
    return {
        str(name): None if isinstance(value, float) and math.isnan(value) else value
        for name, value in row.items()
        if name != "geometry"
    }


@contextmanager
def _no_clock() -> Iterator[None]:
    """Let GDAL write a fixed time into a GeoPackage."""
    import pyogrio

    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{_DAY}T00:00:00.000Z"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
