"""Whatever is handed to the reader ends in a drawing or in one clear sentence."""

from __future__ import annotations

import json
import zipfile

import geopandas as gpd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon, box, mapping

from trialkit.design import Wishes, guidance_files, plan_trial, read_field_drawing
from trialkit.errors import LayoutError, TrialkitError

FIELD = Polygon(
    box(85.0, -38.504, 85.006, -38.5).exterior, [box(85.0005, -38.5035, 85.001, -38.503).exterior]
)
HEAD = (
    '<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="x" '
    'ManagementSoftwareVersion="1" DataTransferOrigin="1">'
)
TAIL = "</ISO11783_TaskData>"
RING = '<PNT A="2" C="-38.5" D="85"/><PNT A="2" C="-38.5" D="85.01"/><PNT A="2" C="-38.51" D="85"/>'


def pfd(ring, name="Home"):
    return (
        f'{HEAD}<PFD A="PFD1" C="{name}" D="0"><PLN A="1"><LSG A="1">{ring}</LSG></PLN></PFD>{TAIL}'
    )


def geojson(*shapes):
    return json.dumps(
        {
            "type": "FeatureCollection",
            "features": [
                {"type": "Feature", "properties": {}, "geometry": mapping(shape)}
                for shape in shapes
            ],
        }
    )


def kml(inside):
    return (
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><Polygon><outerBoundaryIs>'
        f"<LinearRing><coordinates>{inside}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
        "</Placemark></kml>"
    )


BOW_TIE = Polygon([(85, -38.5), (85.01, -38.51), (85.01, -38.5), (85, -38.51)])
SWAPPED = Polygon([(-38.5, 145), (-38.51, 145), (-38.51, 145.01)])
BOMB = (
    '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'
    f'{HEAD}<PFD A="PFD1" C="&b;" D="0"/>{TAIL}'
)
ELSEWHERE = f'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>{HEAD}<PFD C="&a;"/>{TAIL}'


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("field.kml", "", r"field\.kml: it does not begin as a drawing of a field does"),
        ("field.shp", b"\x00\x01\x02", "it does not begin as a drawing of a field does"),
        ("field.gpkg", b"SQLite format 3\x00" + b"\x00" * 200, r"field\.gpkg: it cannot be read"),
        ("field.shp", b"\x00\x00\x27\x0a" + b"\x00" * 96, r"at least three files .* copy all"),
        ("a.geojson", "{", r"a\.geojson: this is not whole JSON"),
        ("a.geojson", "[" * 100_000, r"a\.geojson: this is not whole JSON"),
        ("a.geojson", "[1, 2]", "this is JSON, but no GeoJSON"),
        ("a.geojson", b'{"type": "\xff"}', "not UTF-8 text"),
        ("a.geojson", '{"type": "FeatureCollection"}', "the collection has no features"),
        (
            "a.geojson",
            '{"type": "FeatureCollection", "features": [7]}',
            "feature 1 has no readable",
        ),
        ("a.geojson", geojson(), "there is no outline of a field in it"),
        ("a.geojson", geojson(LineString([(85, -38), (85.1, -38)])), "It holds lines: 1"),
        ("a.geojson", geojson(BOW_TIE), r"feature 1: the outline crosses itself .*Self-inters"),
        ("a.geojson", geojson(SWAPPED), "longitude and latitude look swapped.*latitude 145"),
        ("a.geojson", geojson(box(5e5, 5e6, 5.01e5, 5.01e6)), "is not in degrees on the earth"),
        ("a.geojson", '{"type":"Point","coordinates":[NaN,1]}', "a corner that is no number"),
        ("a.geojson", '{"type":"Polygon","coordinates":[[["a",1],[2,3],[4,5]]]}', "no readable sh"),
        (
            "a.geojson",
            '{"crs": {"properties": {"name": "nowhere"}}, ' + geojson(FIELD)[1:],
            "its coordinate system 'nowhere' is not known",
        ),
        ("TASKDATA.XML", BOMB, r"TASKDATA\.XML: it holds entities or references to other files"),
        ("field.kml", BOMB.replace("ISO11783_TaskData", "kml"), "entities or references"),
        ("TASKDATA.XML", ELSEWHERE, "entities or references to other files"),
        ("TASKDATA.XML", pfd(RING)[:-20], "breaks off before its end. Copy the set"),
        ("field.kml", kml("85,-38")[:-9], "breaks off before its end"),
        ("TASKDATA.XML", HEAD + TAIL, "It holds no field. Record or draw the boundary"),
        (
            "TASKDATA.XML",
            f'{HEAD}<PFD A="PFD1" C="Home" D="0"/>{TAIL}',
            "Fields without one: 1",
        ),
        (
            "TASKDATA.XML",
            pfd(RING.split("/>")[0] + "/>" + RING.split("/>")[1] + "/>"),
            "field Home: an outline has 2 corners; it needs three",
        ),
        ("TASKDATA.XML", pfd(RING.replace('C="-38.51"', 'C="x"')), "points without a position"),
        (
            "TASKDATA.XML",
            pfd('<PNT A="2" J="PNT00000" K="90"/>'),
            "points in a file of their own",
        ),
        ("TASKDATA.XML", pfd(RING.replace('"85"', '"nan"')), "a corner is no number"),
        (
            "TASKDATA.XML",
            pfd(RING.replace("-38.5", "145.5")),
            "field Home: longitude and latitude look swapped",
        ),
        (
            "TASKDATA.XML",
            pfd(RING + '<PNT A="2" C="-38.4" D="85.005"/><PNT A="2" C="-38.52" D="85.002"/>'),
            "field Home: the outline crosses itself",
        ),
        (
            "a.xml",
            "<gpx><trk/></gpx>",
            r"this XML .<gpx>. is neither ISO 11783-10 task data nor KML",
        ),
        ("a.kml", kml("85,-38 85,x 85.1,-38.1"), "a shape is damaged"),
        ("a.kml", kml("85 86 87"), "a shape is damaged"),
        ("a.kml", kml("85,-38"), "a shape is damaged"),
        ("a.kml", "<kml><Placemark><Polygon/></Placemark></kml>", "no outer ring"),
        ("a.kml", "<kml/>", "there is no outline"),
        ("field.dbf", b"\x03" + b"\x00" * 40, "Give the part that ends in .shp"),
    ],
)
def test_one_clear_sentence(tmp_path, name, content, message):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    with pytest.raises(LayoutError, match=message):
        read_field_drawing(path)


def test_what_is_not_there(tmp_path):
    with pytest.raises(LayoutError, match=r"no such file or folder"):
        read_field_drawing(tmp_path / "nothing.shp")
    with pytest.raises(
        LayoutError, match=r"there is no drawing of a field in it .it holds nothing"
    ):
        read_field_drawing(tmp_path)
    with pytest.raises(LayoutError, match=r"no such file or folder|cannot be opened"):
        read_field_drawing("a\0b")
    (tmp_path / "notes.txt").write_text("hello")
    with pytest.raises(LayoutError, match=r"it holds notes\.txt"):
        read_field_drawing(tmp_path)


def test_two_sets_in_one_zip(tmp_path):
    path = tmp_path / "two.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a/TASKDATA.XML", pfd(RING))
        archive.writestr("b/TASKDATA.XML", pfd(RING))
    with pytest.raises(LayoutError, match=r"two\.zip: it holds 2 sets of task data: a/TASKDATA"):
        read_field_drawing(path)


def test_a_zip_that_would_fill_the_disk(tmp_path):
    path = tmp_path / "bomb.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("field.geojson", b" " * 60_000_000)
    with pytest.raises(LayoutError, match="would unpack to 1 files and 60 MB, more than the files"):
        read_field_drawing(path)


def test_names_that_lead_out_of_the_zip_write_nothing(tmp_path):
    inside = tmp_path / "inside"
    inside.mkdir()
    path = inside / "slip.zip"
    gpd.GeoDataFrame({"name": ["Top"]}, geometry=[FIELD], crs=4326).to_file(inside / "x.shp")
    with zipfile.ZipFile(path, "w") as archive:
        for part in ("shp", "shx", "dbf"):
            archive.write(inside / f"x.{part}", f"../../y.{part}")
            archive.write(inside / f"x.{part}", f"/a/x.{part}")
    before = sorted(tmp_path.rglob("*"))
    assert read_field_drawing(path).name == "Top"
    assert sorted(tmp_path.rglob("*")) == before


def test_a_file_too_large_for_a_drawing(tmp_path, monkeypatch):
    monkeypatch.setattr("trialkit.design.guidance.map_import._LARGEST_BYTES", 100)
    path = tmp_path / "a.geojson"
    path.write_text(geojson(FIELD))
    with pytest.raises(LayoutError, match="MB are more than a drawing of fields needs"):
        read_field_drawing(path)


@pytest.fixture(scope="module")
def written():
    plan = plan_trial(FIELD, ["untreated", "dressed"], 2, Wishes(12, 9), seed=3)
    files = guidance_files(plan, FIELD, name="x", seed_rates_kg_ha=80)
    files.pop("read-me.txt")
    return files


BEGINNINGS = [b"", b"{", b"<kml>", HEAD.encode(), b"PK\x03\x04", b"SQLite format 3\x00",
              b"\x00\x00\x27\x0a", b'{"type":"FeatureCollection","features":[']  # fmt: skip


@settings(
    deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(begin=st.sampled_from(BEGINNINGS), content=st.binary(max_size=300))
def test_any_bytes_end_in_a_drawing_or_an_error_of_our_own(tmp_path, begin, content):
    path = tmp_path / "field"
    path.write_bytes(begin + content)
    try:
        drawing = read_field_drawing(path)
    except TrialkitError as error:
        assert str(error).endswith(".")  # noqa: PT017
        return
    assert len(drawing.boundary) >= 1


@settings(
    deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    which=st.integers(0, 5),
    place=st.floats(0, 1),
    junk=st.binary(min_size=1, max_size=20),
    cut=st.booleans(),
)
@pytest.mark.filterwarnings("ignore::UserWarning:zipfile")
def test_any_damage_ends_in_a_drawing_or_an_error_of_our_own(
    tmp_path, written, which, place, junk, cut
):
    name = sorted(written)[which]
    raw = bytearray(written[name])
    at = int(place * len(raw))
    raw[at : at + len(junk)] = junk
    path = tmp_path / name
    path.write_bytes(bytes(raw[:at] if cut else raw))
    try:
        drawing = read_field_drawing(path)
    except TrialkitError:
        return
    assert len(drawing.boundary) >= 1


NUMBERS = st.one_of(st.floats(), st.integers(), st.just(1e308))
CORNERS = st.lists(st.lists(NUMBERS, max_size=4), max_size=6)
JUNK = st.recursive(
    st.one_of(st.none(), st.booleans(), NUMBERS, st.text(max_size=5)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(
            st.sampled_from(["type", "coordinates", "geometry", "geometries", "features",
                             "properties", "crs", "name"]), inner, max_size=4),
    ),
    max_leaves=12,
)  # fmt: skip


@settings(
    deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    kind=st.sampled_from(
        ["Polygon", "MultiPolygon", "LineString", "GeometryCollection", "Feature"]
    ),
    inside=st.one_of(JUNK, CORNERS, st.lists(CORNERS, max_size=2)),
    key=st.sampled_from(["coordinates", "geometries", "geometry"]),
    properties=JUNK,
)
def test_any_geojson_ends_in_a_drawing_or_an_error_of_our_own(
    tmp_path, kind, inside, key, properties
):
    content = {"type": "Feature", "properties": properties, "geometry": {"type": kind, key: inside}}
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [content]}))
    try:
        drawing = read_field_drawing(path)
    except TrialkitError:
        return
    assert len(drawing.boundary) >= 1


TEXT = st.one_of(st.sampled_from(["-38.5", "85", "1", "2", "5", "6", "nan", "1e999", "", "x"]),
                 st.floats().map(str))  # fmt: skip
POINTS = st.lists(st.tuples(TEXT, TEXT, TEXT), max_size=5)


@settings(
    deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    rings=st.lists(st.tuples(TEXT, POINTS), max_size=3),
    pattern=st.tuples(TEXT, TEXT, POINTS),
    zone=st.tuples(TEXT, TEXT, POINTS),
)
def test_any_task_data_end_in_a_drawing_or_an_error_of_our_own(tmp_path, rings, pattern, zone):
    def line(kind, points):
        inside = "".join(f'<PNT A="{a}" C="{c}" D="{d}"/>' for a, c, d in points)
        return f'<LSG A="{kind}" C="{kind}">{inside}</LSG>'

    drawn = "".join(line(kind, points) for kind, points in rings)
    guide = f'<GGP><GPN C="{pattern[0]}" G="{pattern[1]}">{line("5", pattern[2])}</GPN></GGP>'
    task = (
        f'<TSK E="PFD1"><TZN><PLN A="2">{line("1", zone[2])}</PLN>'
        f'<PDV A="{zone[0]}" B="{zone[1]}"/></TZN></TSK>'
    )
    for outline in (drawn, line("1", [("2", "-38.5", "85"), ("2", "-38.5", "85.01"),
                                      ("2", "-38.51", "85")])):  # fmt: skip
        path = tmp_path / "TASKDATA.XML"
        path.write_text(
            f'{HEAD}<PFD A="PFD1"><PLN A="1">{outline}</PLN>{outline}{guide}</PFD>{task}{TAIL}'
        )
        try:
            drawing = read_field_drawing(path)
        except TrialkitError:
            continue
        assert len(drawing.boundary) >= 1
        assert drawing.lines.geometry.is_valid.all()
        assert drawing.heading_deg is None or 0 <= drawing.heading_deg <= 360
