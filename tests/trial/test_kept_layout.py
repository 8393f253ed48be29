"""A layout that was written is the same plan when it is read back."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from trialkit.errors import LayoutError
from trialkit.trial.drawings import read_boundary, read_layout
from trialkit.trial.kept_layout import changes_since_draw, layout_text, read_plan
from trialkit.trial.laying_out import lay_out_folder

#: The file keeps corners to a hundred-millionth of a degree, about a millimetre; two corners of a
#: strip, both rounded, and a turned axis.
KEPT_M = 0.003

SETTINGS = {
    "plain": "seed = 3\nblocks = 5\n",
    "turned": "seed = 3\nblocks = 4\nheading_deg = 33\n",
    "clean tramlines": "seed = 1\nblocks = 4\nsprayer_m = 36\nedge_m = 0\nfirst_tramline_m = 5\n",
    "even sides": 'seed = 2\nblocks = 6\ndraw = "even sides"\nheadland_m = 30\n',
}


@pytest.fixture
def lay_out(trial_folder, draw):
    """Return a maker of laid-out folders: 600 m by 500 m, with these settings."""

    def make(settings):
        (trial_folder / "layout.geojson").unlink()
        content = {"type": "Polygon", "coordinates": draw(0, 0, 600, 500)["coordinates"]}
        (trial_folder / "boundary.geojson").write_text(json.dumps(content))
        toml = trial_folder / "trial.toml"
        toml.write_text(toml.read_text() + "\n[design]\n" + settings)
        return trial_folder, lay_out_folder(trial_folder).plan

    return make


def read_back(folder, with_boundary=True):
    layout, _ = read_layout(folder)
    boundary, _ = read_boundary(folder)
    return read_plan(folder, layout, boundary if with_boundary else None)


def edit(folder, change):
    path = folder / "layout.geojson"
    content = json.loads(path.read_text())
    change(content)
    path.write_text(json.dumps(content))


@pytest.mark.parametrize("settings", SETTINGS.values(), ids=SETTINGS)
def test_a_plan_comes_back_as_it_was_written(lay_out, settings):
    folder, plan = lay_out(settings)
    again = read_back(folder)
    assert again.allocation == plan.allocation
    assert again.notes == plan.notes
    assert again.passes_per_strip == plan.passes_per_strip
    assert again.heading_deg == pytest.approx(plan.heading_deg, abs=1e-6)
    assert again.crs == plan.crs
    pd.testing.assert_frame_equal(again.strips, plan.strips, atol=KEPT_M, check_dtype=False)
    assert again.layout.drop(columns="geometry").equals(plan.layout.drop(columns="geometry"))
    for mine, own in ((again.cuts, plan.cuts), (again.tramlines, plan.tramlines)):
        assert len(mine) == len(own)
        off = mine.to_crs(plan.crs).geometry.hausdorff_distance(own.to_crs(plan.crs).geometry)
        assert (off < KEPT_M).all()
    for name in ("seeder_m", "harvester_m", "edge_m", "tramlines", "headland"):
        assert getattr(again.wishes, name) == getattr(plan.wishes, name)


@pytest.mark.parametrize("settings", SETTINGS.values(), ids=SETTINGS)
def test_written_again_it_is_the_same_but_for_rounding(lay_out, settings):
    folder, plan = lay_out(settings)
    first, second = (json.loads(layout_text(each)) for each in (plan, read_back(folder)))
    assert second["features"] == first["features"]
    for member in ("allocation", "machines", "grid_middle"):
        assert second["design"][member] == first["design"][member]


def test_without_the_boundary_or_with_another_the_strips_are_the_same(lay_out, draw):
    folder, plan = lay_out(SETTINGS["turned"])
    for again in (read_back(folder, with_boundary=False), read_back(folder)):
        assert again.crs == plan.crs
        pd.testing.assert_frame_equal(again.strips, plan.strips, atol=KEPT_M, check_dtype=False)
        larger = {"type": "Polygon", "coordinates": draw(-90, -80, 700, 900)["coordinates"]}
        (folder / "boundary.geojson").write_text(json.dumps(larger))


def test_a_layout_drawn_by_hand_is_no_plan(trial_folder):
    layout, _ = read_layout(trial_folder)
    assert read_plan(trial_folder, layout, None) is None


def test_a_strip_that_was_taken_out_or_changed_since_is_said(lay_out):
    folder, _ = lay_out(SETTINGS["plain"])
    assert changes_since_draw(read_back(folder)) == []

    def other(content):
        properties = content["features"][2]["properties"]
        names = {"untreated": "dressed", "dressed": "untreated"}
        properties["treatment"] = names[properties["treatment"]]

    edit(folder, other)
    (said,) = changes_since_draw(read_back(folder))
    assert said.endswith("not what was drawn stands for S3.")
    edit(folder, lambda content: content["features"].pop(4))
    again = read_back(folder)
    assert "S5" not in again.strips["strip"].tolist()
    assert changes_since_draw(again) == [
        "layout.geojson was changed by hand: 10 strips were drawn, and 9 are in it."
    ]


def test_a_layout_without_its_cuts_is_a_plan_without_them(lay_out):
    folder, _ = lay_out(SETTINGS["clean tramlines"])
    edit(folder, lambda content: content["design"].pop("machines"))
    again = read_back(folder)
    assert len(again.cuts) == len(again.tramlines) == 0
    assert again.strips["cuts"].tolist() == [0] * 8


DAMAGE = {
    "middle off the earth": lambda design: design.update(grid_middle=[1e9, 0]),
    "middle in words": lambda design: design.update(grid_middle="here"),
    "no heading": lambda design: design.pop("heading_deg"),
    "heading in words": lambda design: design.update(heading_deg="north"),
    "no width": lambda design: design.update(seeder_m=None),
    "machines a list": lambda design: design.update(machines=[1, 2]),
    "cuts in words": lambda design: design["machines"].update(cuts={"S1": "one"}),
    "cuts without end": lambda design: design["machines"]["cuts"]["S1"].update(number=10**12),
    "half a tramline": lambda design: design["machines"]["sprayer"].update(tramlines=[[[1, 2]]]),
    "notes a number": lambda design: design.update(notes=3),
    "endless passes": lambda design: design.update(passes_per_strip=float("inf")),
}


@pytest.mark.parametrize("damage", DAMAGE.values(), ids=DAMAGE)
def test_a_damaged_record_is_said_to_be_one(lay_out, damage):
    folder, _ = lay_out(SETTINGS["clean tramlines"])
    edit(folder, lambda content: damage(content["design"]))
    with pytest.raises(LayoutError, match=r"'design' is damaged|width of the seeder is None"):
        read_back(folder)
