"""A new trial folder from what a terminal exports: outline, ground to stay off, guidance line."""

from __future__ import annotations

import dataclasses
import tomllib

import numpy as np
import pytest
import shapely

from trialkit.design import plan_trial, read_field_drawing, write_guidance
from trialkit.errors import LayoutError
from trialkit.shipped import copy_demo, demo_folders
from trialkit.trial.config import read_config
from trialkit.trial.planning import open_planning, wishes_of
from trialkit.trial.template import new_folder

#: A pass starts within this of where it did, m: coordinates are written to 9 decimals.
SAME_PLACE_M = 0.02

FILES = ["taskdata-version-4.zip", "taskdata-version-3.zip", "field.kml", "field.gpkg"]


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    folder = tmp_path_factory.mktemp("exported")
    planning = open_planning(demo_folders()["oats-2025-to-plan"])
    plan = plan_trial(planning.boundary, planning.treatments, 8, planning.wishes, seed=3)
    write_guidance(plan, planning.boundary, folder, name="Dam Hill")
    return folder, plan


def filled(folder):
    text = (folder / "trial.toml").read_text(encoding="utf-8")
    for blank, value in {
        '\nname = ""                # for example "Dressing': '\nname = "T"  # "Dressing',
        'season = ""': "season = 2025",
        'crop = ""': 'crop = "oats"',
        'name = ""                # for example "dressed"': 'name = "dressed"',
        'cost_per_ha = "" ': "cost_per_ha = 14.2 ",
        'seeder_m = ""': "seeder_m = 12",
        'harvester_m = ""': "harvester_m = 9",
        'standard_moisture_pct = ""': "standard_moisture_pct = 12.5",
        'currency = ""': 'currency = "AUD"',
        'price_per_t = ""': "price_per_t = 300",
        "blocks = 6": "blocks = 8",
    }.items():
        assert blank in text, blank
        text = text.replace(blank, value, 1)
    (folder / "trial.toml").write_text(text, encoding="utf-8")


@pytest.mark.parametrize("file", FILES)
def test_strips_laid_out_from_an_export_lie_where_they_lay(exported, tmp_path, file):
    source, plan = exported
    new_folder(tmp_path / "new", read_field_drawing(source / file))
    filled(tmp_path / "new")
    planning = open_planning(tmp_path / "new")
    again = plan_trial(planning.boundary, planning.treatments, 8, planning.wishes, seed=3)
    assert again.heading_deg % 180 == pytest.approx(plan.heading_deg % 180, abs=1e-3)
    grid, heading = plan.crs, np.radians(plan.heading_deg)
    across = np.array([np.cos(heading), -np.sin(heading)])
    for one, other in zip(
        plan.layout[plan.layout["role"] == "strip"].to_crs(grid).geometry,
        again.layout[again.layout["role"] == "strip"].to_crs(grid).geometry,
        strict=True,
    ):
        assert shapely.hausdorff_distance(one, other) < 0.5  # ends follow the outline
        # Sides are those of the passes: the middles of both strips lie on one line.
        middle = np.array(other.centroid.coords[0]) - np.array(one.centroid.coords[0])
        assert abs(middle @ across) < SAME_PLACE_M


def test_a_field_without_a_line_keeps_the_blanks(exported, tmp_path):
    source, _ = exported
    drawing = read_field_drawing(source / "field.geojson")
    bare = dataclasses.replace(drawing, lines=drawing.lines[:0], name='Tab\there \U0001f33e "q"')
    new_folder(tmp_path / "new", bare)
    text = (tmp_path / "new" / "trial.toml").read_text(encoding="utf-8")
    assert "# heading_deg = 12" in text
    assert tomllib.loads(text)["trial"]["paddock"] == 'Tabhere \U0001f33e "q"'


def test_ground_to_stay_off_goes_along(exported, tmp_path):
    source, plan = exported
    drawing = read_field_drawing(source / "field.geojson")
    pond = drawing.boundary[["name", "geometry"]].set_geometry(
        shapely.buffer(drawing.boundary.to_crs(plan.crs).centroid.to_numpy(), 5), crs=plan.crs
    )
    new_folder(tmp_path / "new", dataclasses.replace(drawing, obstacles=pond.to_crs(4326)))
    filled(tmp_path / "new")
    assert open_planning(tmp_path / "new").exclusions is not None


def test_guidance_point_moves_half_a_pass_to_the_right(tmp_path):
    folder = tmp_path / "plan"
    copy_demo(folder, "oats-2025-to-plan")
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("blocks = 8", "blocks = 8\nguidance_point = [85.07, -38.504]"))
    config, _ = read_config(path)
    wishes = wishes_of(config)
    # 6 m to the right of heading 64°: south by 6 sin 64°, east by 6 cos 64°.
    assert wishes.anchor[1] == pytest.approx(-38.504 - 6 * 0.8988 / 111_013, abs=2e-8)
    assert wishes.anchor[0] == pytest.approx(85.07 + 6 * 0.4384 / 87_250, abs=2e-8)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("anchor = [85, -38]\nguidance_point = [85, -38]\nheading_deg = 3", "Give one of them"),
        ("guidance_point = [85, -38]", "Give heading_deg beside it"),
    ],
)
def test_a_place_said_twice_or_half_is_a_fault(tmp_path, keys, said):
    folder = tmp_path / "plan"
    copy_demo(folder, "oats-2025-to-plan")
    path = folder / "trial.toml"
    text = path.read_text(encoding="utf-8").replace("heading_deg = 64", "")
    path.write_text(text.replace("blocks = 8", f"blocks = 8\n{keys}"), encoding="utf-8")
    _, checks = read_config(path)
    assert any(said in check.sentence() for check in checks)


def test_an_export_that_holds_no_field(tmp_path):
    (tmp_path / "x.geojson").write_text("{}", encoding="utf-8")
    with pytest.raises(LayoutError, match=r"x\.geojson"):
        read_field_drawing(tmp_path / "x.geojson")
