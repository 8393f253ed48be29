"""The task data we write, against the bindings of the standard's schemas and its own rules."""

from __future__ import annotations

import re
import zipfile
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal
from io import BytesIO
from xml.etree import ElementTree as ET

import pytest
import shapely
from isoxml.models.base import v3, v4
from pyproj import Geod
from shapely.geometry import Polygon, box
from xsdata.formats.dataclass.parsers import XmlParser
from xsdata.formats.dataclass.parsers.config import ParserConfig

from trialkit.design import Wishes, guidance_files, plan_trial, read_field_drawing
from trialkit.design.guidance import draw_guidance
from trialkit.design.guidance.field_drawing import obstacle_frame, strip_frame
from trialkit.design.guidance.task_export import task_data_xml, task_data_zip
from trialkit.errors import LayoutError

BINDINGS = {3: v3, 4: v4}

#: Attributes that must be there, in the public schemas TaskFile V3-3 and V4-3 of ISO 11783-10.
REQUIRED = {
    "ISO11783_TaskData": ["VersionMajor", "VersionMinor", "ManagementSoftwareManufacturer",
                          "ManagementSoftwareVersion", "DataTransferOrigin"],
    "CTR": "AB", "FRM": "AB", "PFD": "ACD", "PLN": "A", "LSG": "A", "PNT": "ACD", "GGP": "A",
    "GPN": "AC", "TZN": "A", "PDV": "AB", "PDT": "AB", "VPN": "ABCD", "TSK": "AG",
}  # fmt: skip
DESIGNATORS = {"CTR": "B", "FRM": "B", "PFD": "C", "PLN": "B", "LSG": "B", "GGP": "B", "GPN": "B",
               "TZN": "B", "PDT": "B", "TSK": "B"}  # fmt: skip
WISHES = Wishes(seeder_m=12, harvester_m=9)


@pytest.fixture(scope="module")
def field():
    dam = box(85.0005, -38.5035, 85.001, -38.503).exterior
    return Polygon(box(85.0, -38.504, 85.006, -38.5).exterior, [dam])


@pytest.fixture(scope="module")
def plan(field):
    return plan_trial(field, ["untreated", "dressed"], 4, WISHES, seed=3)


@pytest.fixture(scope="module")
def drawing(field, plan):
    return draw_guidance(plan, field, name="Invented field", seed_rates_kg_ha=82.5)


def root(drawing, version):
    return ET.fromstring(task_data_xml(drawing, version))


def strictly(xml, version):
    """Parse through the bindings, which refuse what the schema does not know."""
    config = ParserConfig(
        fail_on_unknown_properties=True,
        fail_on_unknown_attributes=True,
        fail_on_converter_warnings=True,
    )
    return XmlParser(config).from_bytes(xml, BINDINGS[version].Iso11783TaskData)


def broken_limits(element):
    """Limits of the schema, kept beside each attribute in the bindings, that an element breaks."""
    found = []
    for item in fields(element):
        value, limits = getattr(element, item.name), item.metadata
        for each in value if isinstance(value, list) else [value]:
            where = f"{type(element).__name__}.{item.name}={each!r}"
            if is_dataclass(each):
                found += broken_limits(each)
            elif each is None:
                found += [where] * bool(limits.get("required"))
            elif isinstance(each, str):
                found += [where] * (len(each) > limits.get("max_length", len(each)))
                found += [where] * (len(each) < limits.get("min_length", 0))
                pattern = limits.get("pattern")
                found += [where] * bool(pattern and not re.fullmatch(pattern, each))
            elif isinstance(each, int | Decimal) and not isinstance(each, bool):
                found += [where] * (each < limits.get("min_inclusive", each))
                found += [where] * (each > limits.get("max_inclusive", each))
                digits = -Decimal(each).as_tuple().exponent
                found += [where] * (digits > limits.get("fraction_digits", digits))
    return found


def references(content):
    """Every reference to an element of the set, and the elements there are."""
    ids = {
        found.get("A") for found in content.iter() if re.match(r"[A-Z]{3}\d", found.get("A", ""))
    }
    wanted = {
        value
        for found in content.iter()
        for name, value in found.attrib.items()
        if name != "A" and re.fullmatch(r"(CTR|FRM|PFD|PDT|VPN|GGP)-?\d+", value)
    }
    return wanted, ids


@pytest.mark.parametrize("version", [3, 4])
@pytest.mark.parametrize("rates", [None, 82.5, {"untreated": 80, "dressed": 85.25}])
def test_the_bindings_take_it_strictly(field, plan, version, rates):
    drawing = draw_guidance(plan, field, name="Feld Süd <&\" 'x'", seed_rates_kg_ha=rates)
    parsed = strictly(task_data_xml(drawing, version), version)
    assert broken_limits(parsed) == []
    assert parsed.partfields[0].designator == "Feld Süd <&\" 'x'"
    assert len(parsed.tasks[0].treatment_zones) == 8 + (0 if rates is None else 3)
    assert parsed.tasks[0].status.value == "1"


def test_the_check_on_limits_can_fail():
    zone = v4.TreatmentZone(code=255, designator="x" * 33)
    assert len(broken_limits(zone)) == 2
    assert len(broken_limits(v4.Point(north=Decimal("1.0000000001"), east=Decimal(181)))) == 3
    assert broken_limits(v4.Task(id="TSK 1", status=v4.TaskStatus("1"))) == ["Task.id='TSK 1'"]


@pytest.mark.parametrize("version", [3, 4])
def test_required_attributes_ids_and_designators(drawing, version):
    content = root(drawing, version)
    assert content.get("VersionMajor") == str(version)
    assert content.get("DataTransferOrigin") == "1"
    for element in content.iter():
        for name in REQUIRED[element.tag]:
            assert element.get(name), (element.tag, name)
        if element.tag in DESIGNATORS:
            assert len(element.get(DESIGNATORS[element.tag], "")) <= 32
        assert not any(
            "-" in value and re.match("[A-Z]{3}-", value) for value in element.attrib.values()
        )
    wanted, ids = references(content)
    assert wanted
    assert wanted <= ids


@pytest.mark.parametrize("version", [3, 4])
def test_numbers_are_plain_and_rings_closed(version):
    near_zero = box(-0.003, -0.002, 0.003, 0.002)  # where floats would print an exponent
    plan = plan_trial(near_zero, ["untreated", "dressed"], 4, WISHES, seed=3)
    content = root(draw_guidance(plan, near_zero, name="Gulf of Guinea"), version)
    for point in content.iter("PNT"):
        for name in "CD":
            assert re.fullmatch(r"-?\d{1,3}\.\d{1,9}", point.get(name))
            assert point.get(name) != "-0.000000000"
    rings = [line for line in content.iter("LSG") if line.get("A") in "12"]
    assert len(rings) == 1 + 8
    for ring in rings:
        places = [(point.get("C"), point.get("D")) for point in ring]
        assert places[0] == places[-1]
        assert len(set(places)) == len(places) - 1


@pytest.mark.parametrize("version", [3, 4])
def test_the_area_of_the_field_is_the_geodesic_one(drawing, field, version):
    area = Geod(ellps="WGS84").geometry_area_perimeter(shapely.orient_polygons(field))[0]
    content = root(drawing, version)
    assert int(content.find("PFD").get("D")) == round(area)
    assert int(content.find("PFD/PLN").get("C")) == round(area)


def test_guidance_by_version(drawing):
    """Version 3 has lines under the field, version 4 patterns in groups (the public schemas)."""
    three, four = root(drawing, 3).find("PFD"), root(drawing, 4).find("PFD")
    assert three.find("GGP") is None
    lines = [line for line in three.findall("LSG") if line.get("A") == "5"]
    assert [point.get("A") for line in lines for point in line] == ["2"] * 2 * len(lines)
    assert four.find("LSG") is None
    patterns = four.findall("GGP/GPN")
    assert [(each.get("C"), each.get("I")) for each in patterns] == [("1", "16")] * len(patterns)
    assert {tuple(point.get("A") for point in each.find("LSG")) for each in patterns} == {
        ("6", "7")
    }
    assert len({each.get("A") for each in patterns}) == len(patterns)
    assert [each.get("B") for each in patterns] == [line.get("B") for line in lines]
    assert {line.get("C") for line in lines} == {"12000"}
    assert [each.find("LSG").get("C") for each in patterns] == ["12000"] * len(patterns)


@pytest.mark.parametrize("version", [3, 4])
def test_one_rate_for_all(drawing, version):
    """82.5 kg/ha is 8250 mg/m² under DDI 6 (0006), by the data dictionary of ISO 11783-11."""
    task = root(drawing, version).find("TSK")
    zones = {int(zone.get("A")): zone for zone in task.findall("TZN")}
    assert len(zones) == len(task.findall("TZN"))
    rates = {
        code: (zone.find("PDV").get("A"), zone.find("PDV").get("B")) for code, zone in zones.items()
    }
    rest, lost, outside = (int(task.get(name)) for name in "HIJ")
    assert rates.pop(outside) == ("0006", "0")
    assert rates[rest] == rates[lost] == ("0006", "8250")
    assert set(rates.values()) == {("0006", "8250")}
    assert [len(zone.findall("PLN")) for zone in zones.values()] == [1] * 8 + [0] * 3


def test_rates_that_differ_stop_the_seeder_where_none_is_known(field, plan):
    rates = {"untreated": 80, "dressed": 85.25}
    drawing = draw_guidance(plan, field, name="x", seed_rates_kg_ha=rates)
    task = root(drawing, 4).find("TSK")
    found = {zone.get("B"): int(zone.find("PDV").get("B")) for zone in task.findall("TZN")}
    assert {found.pop(name) for name in ("Rest of field", "Position lost", "Out of field")} == {0}
    assert {(name.split(" ", 1)[1], rate) for name, rate in found.items()} == {
        ("untreated", 8000),
        ("dressed", 8525),
    }


def test_without_rates_no_zone_commands_the_seeder(field, plan):
    content = root(draw_guidance(plan, field, name="x"), 4)
    assert list(content.iter("PDV")) == []
    assert not {"H", "I", "J"} & set(content.find("TSK").attrib)
    assert len(content.findall("TSK/TZN")) == 8


def test_names_are_cut_and_stay_apart(field):
    long = "microbes with a carrier of clay, two litres"
    treatments = ["untreated", f"{long} a tonne", f"{long} a bag", "microbes with a carrier of"]
    plan = plan_trial(field, treatments, 3, WISHES, seed=3)
    drawing = draw_guidance(plan, field, name="The long paddock behind the old shearing shed")
    content = root(drawing, 4)
    names = [zone.get("B") for zone in content.findall("TSK/TZN")]
    assert len(set(names)) == 12
    assert max(len(name) for name in names) <= 32
    assert {name.split(" ", 1)[1] for name in names} == {
        "untreated",
        "microbes with a carrier of",
        "microbes with a carrier of c",
        "microbes with a carrier of~2",
    }
    assert content.find("PFD").get("C") == "The long paddock behind the old "[:32].rstrip()
    assert broken_limits(strictly(task_data_xml(drawing, 4), 4)) == []
    told = guidance_files(plan, field, name="x")["read-me.txt"].decode()
    for name, treatment in zip(names, drawing.strips["treatment"], strict=True):
        cut = not name.endswith(f" {treatment}")
        assert (f"{treatment} (the terminal shows: {name})" in told) == cut


def test_more_strips_than_a_task_has_zones(drawing, tmp_path):
    first = drawing.strips.iloc[0].to_dict()
    names = [f"S{number}" for number in range(1, 301)]
    many = replace(drawing, strips=strip_frame([first | {"strip": name} for name in names]))
    tasks = root(many, 4).findall("TSK")
    assert [len(task.findall("TZN")) - 3 for task in tasks] == [252, 48]
    assert [task.get("B") for task in tasks] == ["Sow 1 Invented field", "Sow 2 Invented field"]
    for task in tasks:
        codes = [int(zone.get("A")) for zone in task.findall("TZN")]
        assert len(set(codes)) == len(codes)
        assert 0 <= min(codes) <= max(codes) <= 254
    assert broken_limits(strictly(task_data_xml(many, 4), 4)) == []
    path = tmp_path / "many.zip"
    path.write_bytes(task_data_zip(many))
    assert list(read_field_drawing(path).strips["strip"]) == names


@pytest.mark.parametrize("version", [3, 4])
def test_parts_and_obstacles(drawing, version, tmp_path):
    """Two outer rings: one polygon in version 3, one each in version 4 (common practice)."""
    west, east = box(85, -38.504, 85.002, -38.5), box(85.004, -38.504, 85.006, -38.5)
    parts = drawing.boundary.iloc[[0, 0]].set_geometry([west, east], crs=4326)
    rock = box(85.001, -38.502, 85.0011, -38.5019)
    two = replace(drawing, boundary=parts, obstacles=obstacle_frame([("rock", rock)]))
    outline = [each for each in root(two, version).findall("PFD/PLN") if each.get("A") == "1"]
    assert [len(each) for each in outline] == ([2] if version == 3 else [1, 1])
    path = tmp_path / "two.zip"
    path.write_bytes(task_data_zip(two, version))
    back = read_field_drawing(path)
    assert [shape.normalize() for shape in back.boundary.geometry] == [
        west.normalize(),
        east.normalize(),
    ]
    assert back.obstacles["name"].tolist() == ["rock"]
    assert back.obstacles.geometry.iloc[0].normalize() == rock.normalize()


def test_the_zip_is_a_folder_taskdata_with_a_fixed_date(drawing):
    with zipfile.ZipFile(BytesIO(task_data_zip(drawing))) as archive:
        assert [entry.filename for entry in archive.infolist()] == ["TASKDATA/TASKDATA.XML"]
        assert archive.infolist()[0].date_time == (1980, 1, 1, 0, 0, 0)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"name": " \x07 "}, "The field has no name"),
        ({"name": "x" * 61}, "has 61 characters. Terminals show 32; give one of up to 60"),
        ({"seed_rates_kg_ha": 0}, "The seed rate of 'dressed' is 0. Give kg/ha, above 0"),
        ({"seed_rates_kg_ha": float("nan")}, "The seed rate of 'dressed' is nan"),
        ({"seed_rates_kg_ha": {"dressed": 80}}, "'untreated' has none. Give one rate for all"),
        ({"seed_rates_kg_ha": {"dresed": 80}}, "no treatment is called 'dresed'"),
        ({"seed_rates_kg_ha": {"dressed": "80", "untreated": 80}}, "of 'dressed' is '80'"),
    ],
)
def test_names_and_rates_that_make_no_sense(field, plan, change, message):
    with pytest.raises(LayoutError, match=message):
        draw_guidance(plan, field, **({"name": "x"} | change))


def test_signs_no_terminal_shows_are_taken_out(field):
    plan = plan_trial(field, ["untreated", "dressed\x0b\ttwice"], 3, WISHES, seed=3)
    drawing = draw_guidance(plan, field, name="a\x00b")
    assert drawing.name == "a b"
    assert set(drawing.strips["treatment"]) == {"untreated", "dressed twice"}
    assert broken_limits(strictly(task_data_xml(drawing, 3), 3)) == []
    alike = plan_trial(field, ["untreated", "dressed  a", "dressed a"], 3, WISHES, seed=3)
    with pytest.raises(LayoutError, match="Two treatments differ only in blanks"):
        draw_guidance(alike, field, name="x")
