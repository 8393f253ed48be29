"""What is written for terminals and maps reads back as it was, and steers the seeder right."""

from __future__ import annotations

import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS, Geod

from trialkit.design import (
    Wishes,
    guidance_files,
    lay_out,
    plan_trial,
    read_field_drawing,
    write_guidance,
)

#: Coordinates have nine decimals, 0.1 mm; the issue asks for a centimetre.
SAME_PLACE_M = 0.01
SAME_PLACE_DEG = 1e-8
#: Strips are kept to eight decimals, about a millimetre, and two such are compared.
SAME_STRIP_M = 0.005
SAME_AREA = 0.001

FORMATS = [
    "taskdata-version-4.zip",
    "taskdata-version-3.zip",
    "shapefiles.zip",
    "field.gpkg",
    "field.geojson",
    "field.kml",
]
#: Longitude and latitude at sea: both hemispheres, east and west, a UTM zone's border (90° E, with
#: the field on both sides), high latitude.
PLACES = {
    "south": (85.0, -38.5),
    "zone border": (89.996, -38.5),
    "north west": (-30.0, 52.0),
    "high latitude": (2.0, 68.0),
}
TURNS = np.radians(np.arange(0, 360, 15))
DAM = [(430 + 45 * np.cos(turn), 170 + 35 * np.sin(turn)) for turn in TURNS]
CORNERS = [(0, 0), (700, 40), (690, 330), (300, 320), (310, 620), (0, 600)]
TREATMENTS = ["untreated", "microbes, 2 l/t", "água"]
WISHES = Wishes(seeder_m=12, harvester_m=9, heading_deg=23.0, passes_per_strip=2, headland_m=20)


@pytest.fixture(scope="module", params=list(PLACES))
def field(request, draw_field):
    longitude, latitude = PLACES[request.param]
    return draw_field(CORNERS, [DAM], longitude, latitude)


@pytest.fixture(scope="module")
def plan(field):
    return plan_trial(field, TREATMENTS, 3, WISHES, seed=11)


@pytest.fixture(scope="module")
def folder(field, plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("guidance")
    write_guidance(plan, field, folder, name="Invented paddock", seed_rates_kg_ha=80)
    return folder


def metres(frame, like):
    """An azimuthal equidistant grid: not the one the code uses."""
    west, south, east, north = like.total_bounds
    grid = CRS.from_proj4(
        f"+proj=aeqd +lat_0={(south + north) / 2} +lon_0={(west + east) / 2} +datum=WGS84"
    )
    return frame.to_crs(grid)


@pytest.mark.parametrize("name", FORMATS)
def test_the_strips_read_back(folder, plan, name):
    back = read_field_drawing(folder / name)
    planned = plan.layout[plan.layout["role"] == "strip"].reset_index(drop=True)
    pd.testing.assert_frame_equal(
        pd.DataFrame(back.strips[["strip", "block", "treatment"]]),
        pd.DataFrame(planned[["strip", "block", "treatment"]]).astype(object),
        check_dtype=False,
    )
    assert (back.strips["seed_kg_ha"] == 80.0).all()
    assert shapely.equals_exact(
        back.strips.geometry.to_numpy(), planned.geometry.to_numpy(), SAME_PLACE_DEG
    ).all()
    for read, drawn in zip(metres(back.strips, planned).geometry,
                           metres(planned, planned).geometry, strict=True):  # fmt: skip
        assert read.hausdorff_distance(drawn) < SAME_PLACE_M


@pytest.mark.parametrize("name", FORMATS)
def test_the_outline_reads_back_with_its_dam(folder, field, name):
    back = read_field_drawing(folder / name)
    assert back.name == "Invented paddock"
    assert back.notes == ()
    read = metres(back.boundary, field).union_all()
    drawn = metres(field, field).union_all()
    assert len(read.interiors) == 1
    assert read.hausdorff_distance(drawn) < SAME_PLACE_M
    assert read.symmetric_difference(drawn).area < 1
    ellipsoid = Geod(ellps="WGS84")
    area = abs(ellipsoid.geometry_area_perimeter(shapely.orient_polygons(field.union_all()))[0])
    assert back.boundary["area_m2"].sum() == pytest.approx(area, rel=SAME_AREA)


@pytest.mark.parametrize("name", FORMATS[1:])
def test_every_format_says_the_same(folder, name):
    first, other = read_field_drawing(folder / FORMATS[0]), read_field_drawing(folder / name)
    for layer in ("boundary", "strips", "lines", "obstacles"):
        one, two = getattr(first, layer), getattr(other, layer)
        pd.testing.assert_frame_equal(
            pd.DataFrame(one.drop(columns="geometry")), pd.DataFrame(two.drop(columns="geometry"))
        )
        assert shapely.equals_exact(one.geometry.to_numpy(), two.geometry.to_numpy(), 0.5e-9).all()
        assert one.crs == two.crs


def test_every_pass_has_its_line_in_the_middle_of_its_ground(folder, plan):
    back = read_field_drawing(folder / FORMATS[0])
    passes = back.lines[back.lines["kind"] == "pass"]
    assert list(passes["strip"]) == [name for name in plan.strips["strip"] for _ in range(2)]
    assert (passes["swath_m"] == 12).all()
    lines = metres(passes, back.boundary).geometry
    strips = metres(back.strips, back.boundary).set_index("strip").geometry
    for strip, group in zip(strips, np.array_split(lines.to_numpy(), len(strips)), strict=True):
        swaths = [line.buffer(6, cap_style="flat") for line in group]
        assert shapely.union_all(swaths).symmetric_difference(strip).area < SAME_PLACE_M * 1000
        assert swaths[0].intersection(swaths[1]).area < SAME_PLACE_M * 1000


def test_the_swaths_of_the_reference_line_fall_on_every_pass(folder):
    back = read_field_drawing(folder / FORMATS[0])
    lines = metres(back.lines, back.boundary)
    reference = lines.geometry.iloc[0]
    assert back.lines["kind"].iloc[0] == "reference"
    start, end = shapely.get_coordinates(reference)
    along = (end - start) / np.hypot(*(end - start))
    across = np.array([along[1], -along[0]])
    for line in lines.geometry.iloc[1:]:
        aside = (shapely.get_coordinates(line) - start) @ across
        number = np.round(aside.mean() / 12)
        assert np.abs(aside - 12 * number).max() < SAME_PLACE_M


def test_headings_are_those_of_the_ellipsoid(folder):
    back = read_field_drawing(folder / FORMATS[0])
    for line, heading in zip(back.lines.geometry, back.lines["heading_deg"], strict=True):
        (x1, y1), (x2, y2) = line.coords
        expected = Geod(ellps="WGS84").inv(x1, y1, x2, y2)[0] % 360
        assert heading == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("name", FORMATS)
def test_the_layout_starts_again_from_what_was_read(folder, plan, name):
    """Boundary, heading and the edge of a pass out of the file give the strips that were drawn."""
    back = read_field_drawing(folder / name)
    again = lay_out(
        back.boundary,
        TREATMENTS,
        3,
        seeder_m=12,
        harvester_m=9,
        headland_m=20,
        passes_per_strip=2,
        heading_deg=back.heading_deg,
        anchor=back.pass_edge(12),
        seed=11,
    )
    assert back.heading_deg == pytest.approx(23.0, abs=1e-4)
    mine = metres(again[again["role"] == "strip"], plan.layout)
    theirs = metres(plan.layout[plan.layout["role"] == "strip"], plan.layout)
    assert list(mine["treatment"]) == list(theirs["treatment"])
    # The anchor fixes the passes across; along, strips start where the free ground does.
    for one, two in zip(mine.geometry, theirs.geometry, strict=True):
        assert one.hausdorff_distance(two) < SAME_STRIP_M


def test_the_same_trial_gives_the_same_bytes(field, plan, folder):
    again = guidance_files(plan, field, name="Invented paddock", seed_rates_kg_ha=80.0)
    assert again == {path.name: path.read_bytes() for path in folder.iterdir()}


def test_gdal_reads_what_we_wrote(folder, field, plan):
    """Outside check: GDAL's own drivers see the same strips, names and treatments."""
    planned = plan.layout[plan.layout["role"] == "strip"]
    for frame in (
        gpd.read_file(folder / "field.gpkg", layer="strips"),
        gpd.read_file(folder / "field.kml", layer="Strips"),
        gpd.read_file(f"zip://{folder / 'shapefiles.zip'}!strips.shp"),
        gpd.read_file(folder / "field.geojson").query("kind == 'strip'"),
    ):
        assert frame.crs == "EPSG:4326"
        assert list(frame["strip"]) == list(planned["strip"])
        assert list(frame["treatment"]) == list(planned["treatment"])
        assert shapely.equals_exact(
            shapely.normalize(shapely.force_2d(frame.geometry.to_numpy())),
            shapely.normalize(planned.geometry.to_numpy()),
            SAME_PLACE_DEG,
        ).all()
    with zipfile.ZipFile(folder / "shapefiles.zip") as archive:
        assert {name.rsplit(".", 1)[1] for name in archive.namelist()} == {
            "shp", "shx", "dbf", "prj", "cpg"
        }  # fmt: skip
    names = gpd.read_file(f"zip://{folder / 'shapefiles.zip'}!lines.shp").columns
    assert max(len(name) for name in names if name != "geometry") <= 10


def test_names_stand_on_the_strips_of_the_map(folder, plan):
    labels = gpd.read_file(folder / "field.kml", layer="Strip names")
    expected = plan.strips["strip"] + " " + plan.strips["treatment"]
    assert list(labels["Name"]) == list(expected)
    shapes = plan.layout[plan.layout["role"] == "strip"].geometry
    assert shapes.contains(labels.geometry.set_axis(shapes.index)).all()


def test_we_read_the_kml_that_gdal_writes(tmp_path, plan, field):
    path = tmp_path / "strips.kml"
    outline = field.assign(Name="Home", kind="boundary")
    outline.to_file(path, driver="KML", engine="pyogrio")
    back = read_field_drawing(path)
    assert back.name == "Home"
    assert back.boundary.union_all().hausdorff_distance(field.union_all()) < SAME_PLACE_DEG


@pytest.mark.parametrize("name", FORMATS)
def test_ground_to_stay_off_reads_back_as_obstacles(field, tmp_path, name):
    rocks = metres(field, field)
    at = rocks.union_all().centroid.coords[0]
    zones = gpd.GeoSeries([shapely.Point(at).buffer(15), shapely.Point(at)], crs=rocks.crs)
    plan = plan_trial(field, TREATMENTS[:2], 2, WISHES, seed=11, exclusions=zones)
    written = write_guidance(plan, field, tmp_path, name="x", exclusions=zones)
    back = read_field_drawing(tmp_path / name)
    assert len(written) == len(FORMATS) + 1
    assert back.obstacles["name"].tolist() == ["Stay off 1"]
    read = metres(back.obstacles, field).geometry.iloc[0]
    assert read.hausdorff_distance(zones.iloc[0]) < SAME_PLACE_M
    assert back.boundary.union_all().hausdorff_distance(field.union_all()) < SAME_PLACE_DEG
    assert not back.strips.intersects(back.obstacles.union_all()).any()


def test_an_interrupted_write_leaves_the_last_good_file(plan, field, tmp_path, monkeypatch):
    first = write_guidance(plan, field, tmp_path, name="x")[0]
    before = first.read_bytes()

    def full(_path, _target):
        raise OSError("the disk is full")

    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(OSError, match="the disk is full"):
        write_guidance(plan, field, tmp_path, name="other")
    assert first.read_bytes() == before
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*FORMATS, "read-me.txt"])
