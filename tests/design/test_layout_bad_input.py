"""Boundaries, widths and wishes that cannot be: what is wrong, where, and what would fit."""

from __future__ import annotations

import json
import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, mapping

from trialkit.design import Tramlines, lay_out
from trialkit.errors import LayoutError

PAIR = ("untreated", "dressed")
MACHINES = {"seeder_m": 12, "harvester_m": 9, "seed": 1}


def square(x_m=0.0, y_m=0.0, east_m=600.0, north_m=400.0):
    """A field beside 85° E, 38.5° S, roughly in metres."""
    corners = [(0, 0), (east_m, 0), (east_m, north_m), (0, north_m)]
    return Polygon([(85 + (x_m + x) / 87_000, -38.5 + (y_m + y) / 111_000) for x, y in corners])


BOW = Polygon([(85, -38.5), (85.007, -38.496), (85.007, -38.5), (85, -38.496)])
UNCLOSED = {"type": "Polygon", "coordinates": [[[85, -38.5], [85.01, -38.5], [85.01, -38.49]]]}


@pytest.mark.parametrize(
    ("boundary", "words"),
    [
        (BOW, r"crosses itself or has a fault \(Self-intersection\[85\.0035 -38\.498\]"),
        (Polygon(), "boundary is empty"),
        (gpd.GeoDataFrame(geometry=[], crs=4326), "boundary is empty"),
        ({"type": "FeatureCollection", "features": []}, "boundary is empty"),
        (UNCLOSED, "not closed: it starts at 85, -38.5 and ends at 85.01, -38.49. Repeat"),
        (LineString(UNCLOSED["coordinates"][0]), "a line that is not closed: it starts at 85"),
        (
            Polygon([(-33, 117), (-33, 117.01), (-33.01, 117.01)]),
            "look swapped: the corner -33, 117 would lie at latitude 117",
        ),
        (Polygon([(5e5, 1), (5e5 + 600, 1), (5e5, 400)]), "corner 500000, 1 .* not in degrees"),
        (square(east_m=60_000), "boundary is 60 km across, which is no field"),
        (square(east_m=0.6, north_m=0.4), "holds 0.241 m².* in kilometres"),
        (Point(85, -38.5), "is a Point, not a polygon"),
        (LineString(BOW.exterior.coords), "boundary crosses itself"),
        ("boundary.geojson", "boundary is a str. Give a GeoDataFrame"),
        (None, "boundary is a NoneType"),
        ({"a": 1}, "no readable shape"),
        ({"type": "Polygon", "coordinates": 5}, "no readable shape"),
        (
            MultiPolygon([square(), square(700, 0, 200, 400)]),
            r"in 2 pieces: 24\.\d ha around 85\.003.*; 8\.\d ha .* 4 blocks fit in the piece of 24",
        ),
    ],
)
def test_boundaries(boundary, words):
    with pytest.raises(LayoutError, match=words):
        lay_out(boundary, PAIR, 4, **MACHINES)


def test_a_boundary_with_no_coordinate_system_in_metres():
    metres = gpd.GeoSeries([Polygon([(0, 0), (600, 0), (600, 400), (0, 400)])])
    with pytest.raises(LayoutError, match="Say which coordinate system it is in"):
        lay_out(metres, PAIR, 4, **MACHINES)


def test_an_exclusion_that_splits_the_field():
    gully = square(280, -10, 40, 420)
    with pytest.raises(LayoutError, match=r"split the field into 2 pieces: 11\.\d ha .*All 4 blo"):
        lay_out(square(), PAIR, 4, exclusions=gully, **MACHINES)
    with pytest.raises(LayoutError, match="The 15 blocks fit in none of them"):
        lay_out(square(), PAIR, 15, exclusions=gully, **MACHINES)


@pytest.mark.parametrize(
    ("zone", "words"),
    [
        (square(-10, -10, 700, 500), "leave nothing of the field"),
        (Point(0, 0), "None of the exclusion zones lies in the field"),
        (Point(-38.498, 85.003), "None of the exclusion zones lies in the field"),
        (Point(285, -38.5), "corner 285, -38.5 of the exclusion zone is not in degrees"),
        (BOW, "exclusion zone crosses itself"),
    ],
)
def test_exclusion_zones(zone, words):
    with pytest.raises(LayoutError, match=words):
        lay_out(square(), PAIR, 4, exclusions=zone, **MACHINES)


def test_no_exclusion_zones_at_all():
    none = gpd.GeoDataFrame(geometry=[], crs=4326)
    layout = lay_out(square(), PAIR, 4, exclusions=none, **MACHINES)
    assert layout.equals(lay_out(square(), PAIR, 4, **MACHINES))


@pytest.mark.parametrize("width", [0, -3, math.nan, math.inf, 1000, None, "12", True])
@pytest.mark.parametrize("machine", ["seeder", "harvester"])
def test_widths_of_machines(machine, width):
    with pytest.raises(LayoutError, match=f"width of the {machine} is .* Give its working width"):
        lay_out(square(), PAIR, 4, **(MACHINES | {f"{machine}_m": width}))


@pytest.mark.parametrize(
    ("wish", "words"),
    [
        ({"passes_per_strip": 2.5}, "strip of 2.5 passes cannot be sown"),
        ({"passes_per_strip": 0}, "strip of 0 passes cannot be sown"),
        (
            {"seeder_m": 6, "passes_per_strip": 1},
            r"1 pass is 6 m wide. It must hold a full cut of 9 m and 0.5 m .*2 passes would fit",
        ),
        (
            {"traffic_m": 18, "passes_per_strip": 2},
            "24 m wide.*be a multiple of 18 m. 3 passes would fit: 36 m",
        ),
        ({"traffic_m": 7.31}, "No strip of up to 24 passes of 12 m .* multiple of 7.31 m"),
        ({"heading_deg": math.nan}, "heading is nan. Give degrees clockwise from north"),
        ({"heading_deg": 400}, "heading is 400"),
        ({"heading_deg": "north"}, "heading is 'north'"),
        ({"gradient_deg": "up"}, "direction of the gradient is 'up'"),
        ({"headland_m": math.nan}, "headland is nan m"),
        ({"headland_m": -1}, "headland is -1 m"),
        ({"clear_m": "2"}, "clearance is '2' m"),
        ({"edge_m": -1}, "edge margin is -1 m"),
        ({"least_length_m": 0}, "least strip length is 0 m"),
        ({"anchor": (400, 2)}, r"anchor is \(400, 2\)"),
        ({"anchor": "here"}, "anchor is 'here'"),
        ({"anchor": (95, -38.5)}, "anchor 95, -38.5 is not near the field"),
        ({"seed": 1.5}, "seed is 1.5. Give a whole number"),
        ({"seed": "tomorrow"}, "seed is 'tomorrow'"),
        ({"draw": "dice"}, "no draw 'dice'"),
    ],
)
def test_wishes(wish, words):
    with pytest.raises(LayoutError, match=words):
        lay_out(square(), PAIR, 4, **(MACHINES | wish))


@pytest.mark.parametrize(
    ("treatments", "words"),
    [
        (["dressed"], "only 'dressed': nothing to compare it with. Add strips of an untreated"),
        ("dressed", "only 'dressed'"),
        ([], "There is no treatment"),
        (["a", "a"], "'a' stands twice"),
        (["a", None], "Treatment 2 has no name"),
    ],
)
def test_treatments(treatments, words):
    with pytest.raises(LayoutError, match=words):
        lay_out(square(), treatments, 4, **MACHINES)


@pytest.mark.parametrize("blocks", [0, -1, 2.5, "4", True, 10**6])
def test_numbers_of_blocks(blocks):
    with pytest.raises(LayoutError, match="is no number of blocks"):
        lay_out(square(), PAIR, blocks, **MACHINES)


@pytest.mark.parametrize(
    ("sprayer", "words"),
    [
        ({"sprayer_m": 0}, "sprayer's width is 0 m"),
        ({"sprayer_m": 24, "width_m": 30}, "does not fit a sprayer of 24 m"),
        ({"sprayer_m": 24, "first_m": math.nan}, "first tramline is no number"),
    ],
)
def test_tramlines(sprayer, words):
    with pytest.raises(LayoutError, match=words):
        Tramlines(**sprayer)


def fits_when_told(message, boundary, blocks, **wishes):
    """Follow the first way out that a message names."""
    ways = message.split("What would fit: ")[1].rstrip(".").split("; ")
    for way in ways:
        changed, number = dict(wishes), blocks
        words = way.split()
        if words[1].startswith("block"):
            number = int(words[0])
        elif way.startswith("strips") and "long" in way:
            changed["least_length_m"] = float(words[1])
        elif way.startswith("strips of"):
            changed.pop("passes_per_strip")
        elif way.startswith("headlands"):
            changed["headland_m"] = float(words[2])
        elif "at heading" in way:
            changed["heading_deg"] = float(words[-1].rstrip("°"))
        elif "no tramlines" in way:
            changed.pop("tramlines")
        elif "wheel tracks" in way:
            changed.pop("traffic_m")
        else:
            raise AssertionError(way)
        layout = lay_out(boundary, PAIR, number, **changed)
        assert (layout["role"] == "strip").sum() == 2 * number
    return ways


@pytest.mark.parametrize(
    ("size", "blocks", "wish", "said"),
    [
        ((600, 120), 4, {}, ["3 blocks", "headlands of 12 m"]),
        ((600, 400), 40, {}, ["14 blocks"]),
        (
            (600, 400),
            12,
            {"passes_per_strip": 3},
            ["4 blocks", "strips of 12 m (1 seeder pass each)"],
        ),
        ((300, 800), 15, {"heading_deg": 0}, ["the same strips at heading 90°"]),
        ((600, 400), 4, {"headland_m": 190}, ["headlands of 24 m", "headlands of 12 m"]),
        ((600, 400), 4, {"least_length_m": 700}, ["strips 5"]),
        ((600, 200), 4, {"traffic_m": 36}, ["off the wheel tracks"]),
        ((600, 160), 4, {"tramlines": Tramlines(24, width_m=6)}, ["with no tramlines"]),
    ],
)
def test_what_is_said_to_fit_fits(size, blocks, wish, said):
    boundary, wishes = square(east_m=size[0], north_m=size[1]), MACHINES | wish
    with pytest.raises(LayoutError, match=r"do not fit at heading .* What would fit: ") as refused:
        lay_out(boundary, PAIR, blocks, **wishes)
    ways = fits_when_told(str(refused.value), boundary, blocks, **wishes)
    for words in said:
        assert any(words in way for way in ways), (words, ways)


def test_a_field_too_narrow_for_anything():
    with pytest.raises(
        LayoutError, match=r"600? ?\d* m by 40 m, and .* no room for one pass .*Not one"
    ):
        lay_out(square(north_m=40), PAIR, 4, **MACHINES)


def test_geojson_as_text_files_hold_it():
    feature = json.loads(json.dumps({"type": "Feature", "geometry": mapping(square())}))
    layout = lay_out(feature, PAIR, 4, **MACHINES)
    assert np.isfinite(shapely.get_coordinates(layout.geometry.to_numpy())).all()
