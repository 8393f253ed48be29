from __future__ import annotations

import re

import pytest

from trialkit.trial import check_folder


def sentences(folder):
    _, checks = check_folder(folder)
    return [check.sentence() for check in checks]


def test_strips_and_field_are_read(trial_folder, draw):
    boundary = draw(-5, -5, 210, 310)
    (trial_folder / "boundary.geojson").write_text(str(boundary).replace("'", '"'))
    trial, checks = check_folder(trial_folder)
    assert checks == []
    assert trial is not None
    assert len(trial.layout) == 8
    assert trial.layout.columns.tolist() == ["strip", "block", "treatment", "role", "geometry"]
    assert trial.boundary is not None


def test_no_untreated_strips(trial_folder, features, write_layout):
    for feature in features:
        feature["properties"]["treatment"] = "dressed"
    write_layout(trial_folder, features)
    found = sentences(trial_folder)
    assert any("There are no untreated strips: no strip says 'untreated'" in line for line in found)


def test_one_strip_a_treatment(trial_folder, features, write_layout):
    write_layout(trial_folder, features[:2])
    found = sentences(trial_folder)
    assert len(found) == 2
    assert all("has one strip only" in line and "cannot tell" in line for line in found)


def test_a_treatment_that_trial_toml_does_not_have(trial_folder, features, write_layout):
    features[1]["properties"]["treatment"] = "dresed"
    write_layout(trial_folder, features)
    assert sentences(trial_folder) == [
        "layout.geojson, strip S1: trial.toml has no treatment 'dresed'. Did you mean 'dressed'?",
    ]


def test_strips_that_overlap(trial_folder, features, write_layout, draw):
    features[3]["geometry"] = draw(24 * 3 - 2, 0, 24, 300)
    write_layout(trial_folder, features)
    (found,) = sentences(trial_folder)
    assert re.search(r"Strips S2 and S3 overlap by [56]\d\d m²", found)


def test_a_hair_of_overlap_is_how_people_draw(trial_folder, features, write_layout, draw):
    features[3]["geometry"] = draw(24 * 3 - 0.05, 0, 24, 300)
    write_layout(trial_folder, features)
    assert sentences(trial_folder) == []


def test_strips_outside_the_field(trial_folder, draw):
    boundary = draw(-5, -5, 185, 310)
    (trial_folder / "boundary.geojson").write_text(str(boundary).replace("'", '"'))
    (found,) = sentences(trial_folder)
    assert re.search(r"strip S7: 3,\d\d\d m² of strip S7 lie outside boundary.geojson", found)


def test_strips_of_another_field(trial_folder, draw):
    boundary = draw(5000, 0, 200, 310)
    (trial_folder / "boundary.geojson").write_text(str(boundary).replace("'", '"'))
    (found,) = sentences(trial_folder)
    assert "No strip lies in boundary.geojson: the nearest is 4.8 km off" in found
    assert "same field" in found


def test_strips_with_latitude_first(trial_folder, features, write_layout, draw):
    boundary = draw(-5, -5, 210, 310)
    (trial_folder / "boundary.geojson").write_text(str(boundary).replace("'", '"'))
    for feature in features:
        ring = feature["geometry"]["coordinates"][0]
        feature["geometry"]["coordinates"] = [[corner[::-1] for corner in ring]]
    write_layout(trial_folder, features)
    (found,) = sentences(trial_folder)
    assert "Longitude and latitude are swapped in one of the two files" in found


def test_a_block_with_one_treatment_only_is_a_note(trial_folder, features, write_layout):
    features[1]["properties"]["block"] = "B9"
    write_layout(trial_folder, features)
    trial, checks = check_folder(trial_folder)
    assert trial is not None
    assert {check.outcome for check in checks} == {"warning"}


def test_a_layout_with_one_order_in_every_block(trial_folder, write_layout, draw):
    # Eight pairs: a fair draw puts them all in one order 1 time in 128.
    def strip(number, treatment):
        properties = {"strip": f"S{number}", "block": f"B{number // 2}", "treatment": treatment}
        geometry = draw(24 * number, 0, 24, 300)
        return {"type": "Feature", "properties": properties, "geometry": geometry}

    strips = [strip(n, ["untreated", "dressed"][n % 2]) for n in range(16)]
    write_layout(trial_folder, strips)
    (found,) = sentences(trial_folder)
    assert "Every block has its treatments in the same order: untreated, dressed." in found
    strips[3]["properties"]["treatment"], strips[2]["properties"]["treatment"] = (
        "untreated",
        "dressed",
    )
    write_layout(trial_folder, strips)
    assert sentences(trial_folder) == []


@pytest.mark.parametrize(
    ("geometry", "says"),
    [
        ({"type": "Point", "coordinates": [85, -38]}, "is a Point, not a polygon"),
        (
            {"type": "Polygon", "coordinates": [[[85, -38], [85, -38.1]]]},
            "no readable",
        ),
        (
            {"type": "Polygon", "coordinates": [[[-38, 95], [-38, 96], [-37, 96], [-38, 95]]]},
            "Longitude and latitude look swapped",
        ),
        (
            {"type": "Polygon", "coordinates": [[[3e5, 6e6], [4e5, 6e6], [4e5, 7e6], [3e5, 6e6]]]},
            "not degrees on the earth",
        ),
        (
            {"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]]},
            "outline crosses itself",
        ),
        (None, "no readable shape"),
    ],
)
def test_a_drawing_that_is_no_strip(trial_folder, features, write_layout, geometry, says):
    features[2]["geometry"] = geometry
    write_layout(trial_folder, features)
    (found,) = sentences(trial_folder)
    assert found.startswith("layout.geojson, feature 3: ")
    assert says in found


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not valid JSON"),
        ("[1, 2]", "not GeoJSON"),
        ('{"type": "FeatureCollection"}', "not GeoJSON"),
        ('{"type": "FeatureCollection", "features": []}', "There is no strip in it"),
        ("[" * 100_000, "not valid JSON"),
    ],
)
def test_a_file_that_is_no_drawing(trial_folder, text, says):
    (trial_folder / "layout.geojson").write_text(text)
    (found,) = sentences(trial_folder)
    assert says in found


def test_a_missing_layout_says_what_to_draw(trial_folder):
    (trial_folder / "layout.geojson").unlink()
    (found,) = sentences(trial_folder)
    assert "Run `trialkit layout FOLDER`, or draw each strip as a polygon with the prop" in found
