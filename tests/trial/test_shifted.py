"""Positions moved elsewhere keep every distance, and everything moves alike."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely.geometry import box

from trialkit.errors import BundleError
from trialkit.trial.shifted import Shift, random_shift

#: The ellipsoid's own distances, by pyproj: what the shift must keep.
EARTH = Geod(ellps="WGS84")

#: A grid of metres stretches by 1 in 10⁸ at a kilometre from its middle, more farther out.
STRETCH = 1e-6

#: The middle of a grid is rounded to this, °.
GRID = 1e-6

MIDDLE = (85.0, -38.5)


def field(middle: tuple[float, float] = MIDDLE) -> gpd.GeoDataFrame:
    x, y = middle
    return gpd.GeoDataFrame(geometry=[box(x - 0.01, y - 0.01, x + 0.01, y + 0.01)], crs=4326)


@settings(deadline=None, max_examples=40)  # a projection is set up for each
@given(
    longitude=st.floats(-179.9, 179.9),
    latitude=st.floats(-60, 60),
    seed=st.integers(0, 2**32 - 1),
    offsets=st.lists(
        st.tuples(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02)), min_size=2, max_size=5
    ),
)
def test_distances_stay(longitude, latitude, seed, offsets):
    x = np.array([longitude + dx for dx, _ in offsets])
    y = np.array([latitude + dy for _, dy in offsets])
    assume(not ((x == 0) & (y == 0)).any())
    way = random_shift(field((longitude, latitude)), np.random.default_rng(seed))
    new_x, new_y = way.moved(x, y, "a file")
    before = EARTH.inv(x[:-1], y[:-1], x[1:], y[1:])[2]
    after = EARTH.inv(new_x[:-1], new_y[:-1], new_x[1:], new_y[1:])[2]
    assert after == pytest.approx(before, rel=STRETCH, abs=1e-6)


@given(longitude=st.floats(-180, 180), latitude=st.floats(-60, 60), seed=st.integers(0, 10**6))
def test_a_field_goes_far_and_stays_on_the_earth(longitude, latitude, seed):
    way = random_shift(field((longitude, latitude)), np.random.default_rng(seed))
    new = way.to_middle
    assert abs(new[0]) <= 175
    assert abs(new[1]) <= 65
    assert EARTH.inv(*way.from_middle, *new)[2] > 50_000


def test_no_position_stays_none():
    way = random_shift(field(), np.random.default_rng(1))
    x, y = np.array([0.0, np.nan, 85.0]), np.array([0.0, -38.5, -38.5])
    new_x, new_y = way.moved(x, y, "a file")
    assert (new_x[0], new_y[0]) == (0, 0)
    assert np.isnan(new_x[1])
    assert (new_x[2], new_y[2]) == pytest.approx(way.to_middle, abs=GRID)
    assert x[2] == 85.0


def test_the_draw_cannot_be_repeated_unless_asked():
    assert random_shift(field()) != random_shift(field())
    one, other = (random_shift(field(), np.random.default_rng(5)) for _ in range(2))
    assert one == other


@pytest.mark.parametrize("far", [(12.0, 50.0), (-38.5, 85.0), (999.0, 99.0)])
def test_a_far_position_is_refused(far):
    way = random_shift(field(), np.random.default_rng(1))
    with pytest.raises(BundleError, match=r"log\.csv: position 2 lies more than 300 km"):
        way.moved(np.array([85.0, far[0]]), np.array([-38.5, far[1]]), "log.csv")


def test_a_drawing_is_moved_whole_and_says_no_more_where_it_was():
    way = Shift(MIDDLE, (20.0, 10.0))
    ring = [[85.0, -38.5, 210.0], [85.001, -38.5, 211.0], [85.0, -38.499, 212.0]]
    drawing = {
        "type": "FeatureCollection",
        "bbox": [85, -39, 86, -38],
        "features": [
            {
                "type": "Feature",
                "bbox": [85, -39, 86, -38],
                "properties": {"coordinates": "S1"},
                "geometry": {
                    "type": "GeometryCollection",
                    "geometries": [
                        {"type": "Polygon", "coordinates": [ring]},
                        {"type": "Point", "coordinates": [85.0, -38.5]},
                    ],
                },
            },
            {"type": "Feature", "properties": {}, "geometry": None},
        ],
    }
    kept = json.dumps(drawing)
    moved = way.moved_drawing(drawing, "a file")
    assert json.dumps(drawing) == kept
    assert "bbox" not in json.dumps(moved)
    polygon, point = moved["features"][0]["geometry"]["geometries"]
    assert point["coordinates"] == pytest.approx([20.0, 10.0], abs=GRID)
    assert [corner[2] for corner in polygon["coordinates"][0]] == [210, 211, 212]
    assert moved["features"][0]["properties"] == {"coordinates": "S1"}
    east = EARTH.inv(85.0, -38.5, 85.001, -38.5)[2]
    assert EARTH.inv(*polygon["coordinates"][0][0][:2], *polygon["coordinates"][0][1][:2])[
        2
    ] == pytest.approx(east, rel=STRETCH)


@pytest.mark.parametrize("places", ["85", None, [["a", "b"]], [{"x": 1}]])
def test_what_is_no_position_is_refused(places):
    with pytest.raises(BundleError, match="is no position"):
        Shift(MIDDLE, (20.0, 10.0)).moved_places(places, "a file")
