"""Shapefiles and GeoPackages from elsewhere, by way of a folder of their own."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import Point, box

from trialkit.errors import LogError
from trialkit.incoming import vector_layers
from trialkit.incoming.file_set import open_beside
from trialkit.incoming.vector_layers import read_layers

FIELD = gpd.GeoDataFrame({"name": ["Top"]}, geometry=[box(85, -38.5, 85.01, -38.49)], crs=4326)
POINTS = gpd.GeoDataFrame({"mass": [1.0]}, geometry=[Point(85, -38.5)], crs=4326)


def test_layers_of_points_are_passed_over(tmp_path):
    path = tmp_path / "a.gpkg"
    FIELD.to_file(path, layer="field")
    POINTS.to_file(path, layer="log")
    layers = read_layers(open_beside(path), "a.gpkg", ".gpkg")
    assert list(layers) == ["field"]
    assert layers["field"]["name"].tolist() == ["Top"]


@pytest.mark.parametrize("change", [str.upper, str.lower])
def test_the_parts_of_a_shapefile_in_any_case(tmp_path, change):
    FIELD.to_file(tmp_path / "a.shp")
    for part in list(tmp_path.iterdir()):
        part.rename(tmp_path / f"a{change(part.suffix)}")
    name = f"a{change('.shp')}"
    layers = read_layers(open_beside(tmp_path / name), name, ".shp")
    assert layers["a"].crs == "EPSG:4326"


def test_a_part_is_missing(tmp_path):
    FIELD.to_file(tmp_path / "a.shp")
    (tmp_path / "a.shx").unlink()
    with pytest.raises(LogError, match=r"a\.shp: it cannot be read .*at least three files"):
        read_layers(open_beside(tmp_path / "a.shp"), "a.shp", ".shp")


def test_more_than_a_drawing_has(tmp_path, monkeypatch):
    path = tmp_path / "a.gpkg"
    for layer in "abc":
        FIELD.to_file(path, layer=layer)
    monkeypatch.setattr(vector_layers, "_MOST_LAYERS", 2)
    with pytest.raises(LogError, match="3 layers are more than a drawing of fields has"):
        read_layers(open_beside(path), "a.gpkg", ".gpkg")
    monkeypatch.setattr(vector_layers, "_MOST_LAYERS", 100)
    monkeypatch.setattr(vector_layers, "_MOST_SHAPES", 0)
    with pytest.raises(LogError, match="1 shapes in a are more than a drawing of fields has"):
        read_layers(open_beside(path), "a.gpkg", ".gpkg")


def test_nothing_is_left_behind_and_nothing_beside_is_opened(tmp_path):
    path = tmp_path / "a.gpkg"
    FIELD.to_file(path)
    before = {each.name: each.read_bytes() for each in tmp_path.iterdir()}
    read_layers(open_beside(path), "a.gpkg", ".gpkg")
    assert {each.name: each.read_bytes() for each in tmp_path.iterdir()} == before
