"""Outlines and guidance lines as terminals and map programs export them."""

from __future__ import annotations

import json
import re
import shutil
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from pyproj import CRS, Geod
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon, box, mapping

from trialkit.design import lay_out, read_field_drawing
from trialkit.errors import LayoutError

EARTH = Geod(ellps="WGS84")
SHARED = Path(__file__).parents[3] / "shared" / "data" / "taskdata"

#: An invented field at sea: an open ring of nine points, and a line of 342.06 m at 271.18 degrees
#: with a swath of 3 m, the same in both versions. Terminals write fields of this shape.
RING = [
    (-38.5001, 85.0001), (-38.5000, 85.0020), (-38.5002, 85.0040), (-38.5009, 85.0043),
    (-38.5016, 85.0041), (-38.5018, 85.0020), (-38.5017, 85.0004), (-38.5012, 84.9999),
    (-38.5006, 84.9999),
]  # fmt: skip
A = (-38.5009, 85.0040)
HEADING, LENGTH = 271.18, 342.06
B = EARTH.fwd(A[1], A[0], HEADING, LENGTH)[1::-1]
POLYGON = Polygon([(east, north) for north, east in RING])


def points(places, kinds="2"):
    kinds = [kinds] * len(places) if isinstance(kinds, str) else kinds
    return "".join(
        f'<PNT A="{kind}" C="{north:.9f}" D="{east:.9f}"/>'
        for kind, (north, east) in zip(kinds, places, strict=True)
    )


def outline(places=RING, kind="1"):
    return f'<PLN A="{kind}"><LSG A="1">{points(places)}</LSG></PLN>'


def pattern(kind="1", kinds=("6", "7"), places=(A, B), number=1, **more):
    extra = "".join(f' {name}="{value}"' for name, value in more.items())
    return (
        f'<GPN A="GPN{number}" B="line {number}" C="{kind}"{extra}><LSG A="5" C="3000">'
        f"{points(places, kinds)}</LSG></GPN>"
    )


VERSION_3 = f'<LSG A="5" B="line 1" C="3000">{points((A, B))}</LSG>'
VERSION_4 = f'<GGP A="GGP-1">{pattern()}</GGP>'


def task_data(*inside, version=4, fields=None, after=""):
    body = fields or f'<PFD A="PFD-1" C="Home" D="0">{"".join(inside)}</PFD>'
    return (
        f'<ISO11783_TaskData VersionMajor="{version}" VersionMinor="0" DataTransferOrigin="2" '
        f'ManagementSoftwareManufacturer="" ManagementSoftwareVersion="">{body}{after}'
        "</ISO11783_TaskData>"
    )


@pytest.fixture
def put(tmp_path):
    def write(content, name="TASKDATA.XML"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def collection(*features):
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": properties, "geometry": mapping(shape)}
                for shape, properties in features
            ],
        }
    )


# Task data


@pytest.mark.parametrize(
    ("version", "guidance"),
    [
        (3, VERSION_3),
        (4, VERSION_4),
        (4, f'<GGP A="GGP1">{pattern(kinds=("2", "2"))}</GGP>'),  # a version 3 line re-exported
        ("0", VERSION_3),
        ("", VERSION_4),
    ],
)
def test_the_same_field_in_every_version(put, version, guidance):
    drawing = read_field_drawing(put(task_data(outline(), guidance, version=version)))
    assert drawing.name == "Home"
    area = abs(EARTH.geometry_area_perimeter(POLYGON)[0])
    assert drawing.boundary["area_m2"].sum() == pytest.approx(area, abs=0.1)
    line = drawing.lines.iloc[0]
    assert (line["name"], line["kind"], line["swath_m"]) == ("line 1", "AB", 3.0)
    assert EARTH.geometry_length(line.geometry) == pytest.approx(LENGTH, abs=0.001)
    assert line["heading_deg"] == pytest.approx(HEADING, abs=1e-4)
    # The heading for the layout is that of its metre grid, which differs by the grid's convergence.
    assert drawing.heading_deg == pytest.approx(HEADING, abs=0.01)


def test_a_field_is_laid_out_from_what_the_terminal_exported(put):
    """The passes lie on the terminal's own swaths, whole widths beside the line."""
    drawing = read_field_drawing(put(task_data(outline(), VERSION_4)))
    layout = lay_out(
        drawing.boundary,
        ["untreated", "dressed"],
        3,
        seeder_m=3,
        harvester_m=6,
        headland_m=15,
        heading_deg=drawing.heading_deg,
        anchor=drawing.pass_edge(3),
        seed=5,
    )
    grid = CRS.from_proj4(f"+proj=aeqd +lat_0={A[0]} +lon_0={A[1]} +datum=WGS84")
    start, end = (
        np.array(place.coords[0])
        for place in gpd.GeoSeries.from_xy([A[1], B[1]], [A[0], B[0]], crs=4326).to_crs(grid)
    )
    along = (end - start) / np.hypot(*(end - start))
    across = np.array([along[1], -along[0]])
    strips = layout[layout["role"] == "strip"].to_crs(grid)
    assert len(strips) == 6
    for strip in strips.geometry:
        aside = (np.array(strip.exterior.coords) - start) @ across
        edges = (aside - 1.5) / 3
        assert np.abs(edges - np.round(edges)).max() * 3 < 0.01


def test_open_and_closed_rings_are_the_same_field(put):
    opened = read_field_drawing(put(task_data(outline(RING))))
    closed = read_field_drawing(put(task_data(outline([*RING, RING[0]]))))
    assert opened.boundary.geometry.iloc[0].equals(closed.boundary.geometry.iloc[0])
    assert opened.heading_deg is None
    assert opened.pass_edge(12) is None


HOLE = [(-38.5008, 85.002), (-38.5008, 85.0022), (-38.501, 85.0022), (-38.501, 85.002)]
SECOND = [(north - 0.003, east) for north, east in RING]


@pytest.mark.parametrize(
    "inside",
    [
        # version 3: one polygon with several outer rings; version 4: one polygon each
        f'<PLN A="1"><LSG A="1">{points(RING)}</LSG><LSG A="1">{points(SECOND)}</LSG>'
        f'<LSG A="2">{points(HOLE)}</LSG></PLN>',
        f'{outline(SECOND)}<PLN A="1"><LSG A="2">{points(HOLE)}</LSG>'
        f'<LSG A="1">{points(RING)}</LSG></PLN>',
    ],
)
def test_several_rings_and_a_hole(put, inside):
    drawing = read_field_drawing(put(task_data(inside)))
    assert len(drawing.boundary) == 2
    assert sorted(len(part.interiors) for part in drawing.boundary.geometry) == [0, 1]
    hole = Polygon([(east, north) for north, east in HOLE])
    expected = 2 * POLYGON.area - hole.area
    found = sum(part.area for part in drawing.boundary.geometry)
    assert found == pytest.approx(expected, rel=1e-6)


def test_other_polygons_are_not_the_field(put):
    water = outline(HOLE, kind="3").replace('<PLN A="3">', '<PLN A="3" B="dam">')
    point = '<PNT A="5" B="rock" C="-38.5007" D="85.003"/>'
    line = f'<LSG A="9" B="fence">{points(HOLE[:2])}</LSG>'
    drawing = read_field_drawing(put(task_data(outline(), water, point, line)))
    assert len(drawing.boundary) == 1
    assert drawing.obstacles["name"].tolist() == ["dam", "rock", "fence"]
    main_field = read_field_drawing(put(task_data(outline(kind="9"), outline(kind="10"))))
    assert len(main_field.boundary) == 1


def test_a_line_with_one_point_and_a_heading(put):
    group = f'<GGP A="GGP1">{pattern("2", ("6",), (A,), G=HEADING)}</GGP>'
    drawing = read_field_drawing(put(task_data(outline(), group)))
    assert drawing.lines["kind"].tolist() == ["A+"]
    assert drawing.lines["heading_deg"].iloc[0] == pytest.approx(HEADING, abs=1e-4)
    start = drawing.lines.geometry.iloc[0].coords[0]
    assert start == pytest.approx(A[::-1], abs=1e-9)


def test_curves_circles_and_lines_without_length(put):
    bend = (-38.5012, 85.002)
    group = "".join(
        (
            pattern("3", ("6", "9", "7"), (A, bend, B), 1),
            pattern("4", ("8",), (A,), 2),
            pattern("5", ("8",), (A,), 3),
            pattern("1", ("6", "7"), (A, A), 4),
            pattern("2", ("6",), (A,), 5),  # no heading
            '<GPN A="GPN6" B="empty" C="1"/>',
        )
    )
    drawing = read_field_drawing(put(task_data(outline(), f'<GGP A="GGP1">{group}</GGP>')))
    assert drawing.lines["kind"].tolist() == ["curve"]
    assert drawing.heading_deg is None
    assert drawing.notes == (
        "Guidance patterns that are circles, spirals or empty, left out: 3.",
        "Guidance lines that are faulty, left out: 2.",
    )


def test_a_line_under_the_field_with_points_along_it_is_straight(put):
    middle = EARTH.fwd(A[1], A[0], HEADING, LENGTH / 2)[1::-1]
    bent = (middle[0] + 2 / 111_000, middle[1])
    straight = f'<LSG A="5">{points((A, middle, B))}</LSG>'
    curve = f'<LSG A="5">{points((A, bent, B))}</LSG>'
    drawing = read_field_drawing(put(task_data(outline(), straight, curve)))
    assert drawing.lines["kind"].tolist() == ["AB", "curve"]


def test_zones_of_the_task_of_this_field(put):
    zone = '<TZN A="{}" B="{}">{}<PDV A="{}" B="22222"/></TZN>'
    polygon = outline(HOLE, kind="2")
    zones = "".join(
        [
            zone.format(1, "light soil", polygon, "0006"),
            zone.format(2, "", polygon, "6"),  # one digit: seen in the wild
            zone.format(3, "count", polygon, "000b"),
            zone.format(254, "out", "", "0006"),
            zone.format(5, "bad", outline(HOLE[:2], kind="2"), "0006"),
        ]
    )
    tasks = f'<TSK A="TSK1" E="PFD-1" G="1">{zones}</TSK><TSK A="TSK2" E="PFD-2">{zones}</TSK>'
    drawing = read_field_drawing(put(task_data(outline(), after=tasks)))
    assert drawing.strips["strip"].tolist() == ["light soil", "2", "count"]
    assert drawing.strips["treatment"].tolist() == ["", "", ""]
    np.testing.assert_allclose(drawing.strips["seed_kg_ha"], [222.22, 222.22, np.nan])
    assert drawing.notes == ("Treatment zones with faulty outlines, left out: 1.",)


def test_fields_in_files_of_their_own(put, tmp_path):
    field = f'<XFC><PFD A="PFD1" C="Far" D="0">{outline()}{VERSION_3}</PFD></XFC>'
    put(field, "Pfd00000.xml")
    home = put(task_data(fields='<XFR A="PFD00000" B="1"/><XFR A="TSK00000" B="1"/>'))
    assert read_field_drawing(home).name == "Far"
    assert len(read_field_drawing(tmp_path).lines) == 1


@pytest.mark.parametrize("name", ["TaskData.xml", "x/TASKDATA/TASKDATA.XML", "taskdata.xml"])
def test_sets_in_zips_and_folders(tmp_path, name):
    path = tmp_path / "set.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, task_data(outline()))
        archive.writestr("__MACOSX/._TASKDATA.XML", b"\x00")
    assert read_field_drawing(path).name == "Home"
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path / "open")
    assert read_field_drawing(tmp_path / "open").name == "Home"


def test_a_set_under_another_name_is_known_by_its_content(put):
    assert read_field_drawing(put(task_data(outline()), "from the cab.xml")).name == "Home"


@pytest.mark.skipif(not SHARED.is_dir(), reason="no data beside the project (../shared/data)")
def test_real_fields_of_a_terminal():
    """21 fields, coordinates stretched by their publisher: areas are some 5 % off what it wrote."""
    text = (SHARED / "TASKDATA.XML").read_text(encoding="utf-8")
    written = re.findall(r'<PFD A="(\S+)" B="(\d+)" C="([^"]*)" D="(\d+)"', text)
    assert len(written) == 21
    with pytest.raises(LayoutError, match=r"it holds 21 fields: 1 5uvmpgDU \(4\.4 ha\), 2 GCzd6bH"):
        read_field_drawing(SHARED)
    for place, (code, _, name, area) in enumerate(written, start=1):
        drawing = read_field_drawing(SHARED, field=code)
        assert drawing.name == name.strip()
        assert drawing.boundary["area_m2"].sum() == pytest.approx(int(area), rel=0.06)
        by_place = read_field_drawing(SHARED, field=place)
        assert by_place.boundary.geometry.iloc[0] == drawing.boundary.geometry.iloc[0]


# Several fields

NORTH, SOUTH = box(85, -38.502, 85.005, -38.5), box(85, -38.506, 85.005, -38.504)


@pytest.fixture
def two_fields(put):
    line = LineString([(85.001, -38.505), (85.004, -38.505)])
    other = LineString([(86.0, -38.501), (86.004, -38.501)])
    return put(
        collection((NORTH, {"name": "North"}), (SOUTH, {"Name": "South"}), (line, {}), (other, {})),
        "farm.geojson",
    )


def test_two_fields_are_named_and_one_is_chosen(two_fields):
    message = (
        r"farm\.geojson: it holds 2 fields: 1 North \(9\.7 ha\), 2 South \(9\.7 ha\)\. Say which, "
        r"by name or number: field='North'\."
    )
    with pytest.raises(LayoutError, match=message):
        read_field_drawing(two_fields)
    for choice in ("South", "south ", 2):
        drawing = read_field_drawing(two_fields, field=choice)
        assert drawing.name == "South"
        assert drawing.boundary.geometry.iloc[0].equals(SOUTH)
        assert drawing.heading_deg == pytest.approx(90, abs=0.01)
        assert drawing.notes == ("Guidance lines of another field, left out: 1 of 2.",)


@pytest.mark.parametrize("choice", ["West", 0, 3, True, ""])
def test_a_choice_that_is_not_there(two_fields, choice):
    with pytest.raises(LayoutError, match=r"there is no field .*It holds 1 North \(9\.7 ha\), 2 S"):
        read_field_drawing(two_fields, field=choice)


def test_two_fields_of_one_name_in_task_data(put):
    fields = "".join(
        f'<PFD A="PFD{n}" C="Home" D="0">{outline(ring)}</PFD>'
        for n, ring in enumerate((RING, SECOND), 1)
    )
    path = put(task_data(fields=fields + '<PFD A="PFD3" C="No outline" D="0"/>'))
    with pytest.raises(LayoutError, match=r"it holds 2 fields: .*number: field=1"):
        read_field_drawing(path)
    with pytest.raises(LayoutError, match=r"2 fields are called 'home'.*field=1 or field=2"):
        read_field_drawing(path, field="home")
    assert read_field_drawing(path, field="PFD2").boundary.total_bounds[1] < -38.504


# Maps


def test_a_plain_outline_with_a_dam_and_lines(put):
    dam = box(85.001, -38.5015, 85.0015, -38.501)
    lines = MultiLineString([[(85.001, -38.5005), (85.004, -38.5005)],
                             [(85.001, -38.5007), (85.002, -38.5007)]])  # fmt: skip
    drawing = read_field_drawing(
        put(
            collection((NORTH, {"Field_Name": "Top"}), (dam, {}), (lines, {"Name": "AB 3"})),
            "a.json",
        )
    )
    assert drawing.name == "Top"
    assert drawing.obstacles.geometry.iloc[0].equals(dam)
    assert drawing.notes == (
        "Shapes inside the field that do not say what they are, taken for ground to stay off: 1.",
    )
    assert drawing.lines["name"].tolist() == ["AB 3", "AB 3"]
    layout = lay_out(
        drawing.boundary, ["untreated", "dressed"], 3, seeder_m=6, harvester_m=6,
        exclusions=drawing.obstacles, heading_deg=drawing.heading_deg, seed=1,
    )  # fmt: skip
    assert not layout[layout["role"] == "strip"].intersects(dam).any()


def test_strips_drawn_by_hand(put):
    strips = [
        (
            box(85.001, -38.5015 + n * 1e-4, 85.004, -38.5014 + n * 1e-4),
            {"Strip": n, "TREATMENT": arm},
        )
        for n, arm in enumerate(["untreated", "dressed"], 1)
    ]
    drawing = read_field_drawing(put(collection((NORTH, {}), *strips), "a.geojson"))
    assert drawing.strips["strip"].tolist() == ["1", "2"]
    assert drawing.strips["treatment"].tolist() == ["untreated", "dressed"]


def test_an_outline_drawn_as_a_closed_line(put):
    ring = LineString(NORTH.exterior.coords)
    drawing = read_field_drawing(put(collection((ring, {"name": "Ring"})), "a.geojson"))
    assert drawing.boundary.geometry.iloc[0].equals(NORTH)
    assert drawing.notes == ("The outline is drawn as a closed line: taken for the field's edge.",)


@pytest.mark.parametrize(
    "content",
    [
        mapping(NORTH),
        {"type": "Feature", "properties": None, "geometry": mapping(MultiPolygon([NORTH]))},
    ],
)
def test_bare_geojson(put, content):
    drawing = read_field_drawing(put("\ufeff" + json.dumps(content), "any.txt"))
    assert drawing.boundary.geometry.iloc[0].equals(NORTH)


@pytest.mark.parametrize("ending", ["shp", "gpkg", "geojson"])
def test_metre_grids_are_brought_to_degrees(tmp_path, ending):
    path = tmp_path / f"field.{ending}"
    frame = gpd.GeoDataFrame({"name": ["Top"]}, geometry=[NORTH], crs=4326).to_crs(32745)
    if ending == "geojson":  # as it was before RFC 7946: the system named in the file
        content = json.loads(frame.to_json())
        content["crs"] = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32745"}}
        path.write_text(json.dumps(content))
    else:
        frame.to_file(path)
    drawing = read_field_drawing(path)
    assert drawing.boundary.geometry.iloc[0].hausdorff_distance(NORTH) < 1e-8


def test_only_the_file_that_was_given_is_read(tmp_path):
    for ending in ("shp", "gpkg", "geojson"):
        gpd.GeoDataFrame({"name": [ending]}, geometry=[NORTH], crs=4326).to_file(
            tmp_path / f"field.{ending}"
        )
    assert read_field_drawing(tmp_path / "field.shp").name == "shp"
    assert read_field_drawing(tmp_path / "field.gpkg").name == "gpkg"
    with pytest.raises(LayoutError, match=r"3 formats \(\.geojson, \.gpkg, \.shp\).*Give the one"):
        read_field_drawing(tmp_path)
    with pytest.raises(LayoutError, match=r"one part of a shapefile\. Give the part .* \.shp"):
        read_field_drawing(tmp_path / "field.dbf")


def test_outline_and_lines_in_shapefiles_side_by_side(tmp_path):
    gpd.GeoDataFrame({"name": ["Top"]}, geometry=[NORTH], crs=4326).to_file(tmp_path / "a.shp")
    line = LineString([(85.001, -38.501), (85.004, -38.501)])
    gpd.GeoDataFrame({"name": ["AB"]}, geometry=[line], crs=4326).to_file(tmp_path / "b.shp")
    both = read_field_drawing(tmp_path)
    assert (both.name, both.lines["name"].tolist()) == ("Top", ["AB"])
    with pytest.raises(LayoutError, match=r"b\.shp: there is no outline .* It holds lines: 1"):
        read_field_drawing(tmp_path / "b.shp")


def test_kml_in_a_zip_by_another_ending(put, tmp_path):
    corners = " ".join(f"{x},{y},0" for x, y in NORTH.exterior.coords)
    kml = (
        '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark>'
        "<name>Top &amp; tail</name><MultiGeometry><Polygon><outerBoundaryIs><LinearRing>"
        f"<coordinates>\n {corners}\n</coordinates></LinearRing></outerBoundaryIs></Polygon>"
        "<Point><coordinates>85,-38.5</coordinates></Point></MultiGeometry></Placemark></Document></kml>"
    )
    path = tmp_path / "field.kmz"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("doc.kml", kml)
    drawing = read_field_drawing(path)
    assert drawing.name == "Top & tail"
    assert drawing.boundary.geometry.iloc[0].equals(NORTH)


def test_what_was_read_is_not_changed(put, tmp_path):
    path = put(task_data(outline(), VERSION_4))
    before = path.read_bytes()
    copy = shutil.copytree(tmp_path, tmp_path.parent / f"{tmp_path.name}-copy")
    read_field_drawing(path)
    assert path.read_bytes() == before
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted(
        each.name for each in copy.iterdir()
    )
