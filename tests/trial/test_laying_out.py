"""From a trial folder with a boundary to the strips in it, and what stands in the way."""

from __future__ import annotations

import json
import re

import pandas as pd
import pytest

from trialkit.design import possible_layouts
from trialkit.errors import LayoutError, TrialFolderError
from trialkit.shipped import copy_demo
from trialkit.trial import check_folder
from trialkit.trial.kept_layout import read_allocation
from trialkit.trial.laying_out import lay_out_folder


@pytest.fixture
def bare_folder(trial_folder, draw):
    """A trial folder with a boundary of 600 m by 500 m and no layout yet."""
    (trial_folder / "layout.geojson").unlink()
    content = {"type": "Polygon", "coordinates": draw(0, 0, 600, 500)["coordinates"]}
    (trial_folder / "boundary.geojson").write_text(json.dumps(content))
    return trial_folder


def add(folder, lines):
    settings = folder / "trial.toml"
    settings.write_text(settings.read_text() + "\n[design]\n" + lines)


def test_a_folder_is_laid_out_and_in_order(bare_folder):
    add(bare_folder, "blocks = 5\nseed = 3\n")
    laid_out = lay_out_folder(bare_folder)
    assert laid_out.written == bare_folder / "layout.geojson"
    trial, checks = check_folder(bare_folder)
    assert [check.sentence() for check in checks] == []
    assert trial is not None
    strips = trial.layout[trial.layout["role"] == "strip"]
    assert strips["treatment"].value_counts().to_dict() == {"untreated": 5, "dressed": 5}
    assert laid_out.plan.wishes.seeder_m == trial.config.machines.seeder_m


def test_the_layout_keeps_how_it_was_drawn(bare_folder):
    add(bare_folder, 'blocks = 6\nseed = 3\ndraw = "even sides"\n')
    laid_out = lay_out_folder(bare_folder)
    kept = read_allocation(bare_folder)
    assert kept == laid_out.plan.allocation
    assert len(possible_layouts(kept)) == 20
    trial, _ = check_folder(bare_folder)
    strips = trial.layout[trial.layout["role"] == "strip"]
    assert strips["treatment"].tolist() == [name for order in kept.orders for name in order]


def test_a_layout_drawn_by_hand_says_nothing_of_a_draw(trial_folder):
    assert read_allocation(trial_folder) is None


def test_the_same_seed_writes_the_same_file(bare_folder):
    add(bare_folder, "seed = 3\n")
    first = lay_out_folder(bare_folder).written.read_bytes()
    (bare_folder / "layout.geojson").unlink()
    assert lay_out_folder(bare_folder).written.read_bytes() == first


def test_strips_that_are_there_are_never_changed(trial_folder, draw):
    before = (trial_folder / "layout.geojson").read_bytes()
    boundary = {"type": "Polygon", "coordinates": draw(0, 0, 600, 500)["coordinates"]}
    (trial_folder / "boundary.geojson").write_text(json.dumps(boundary))
    with pytest.raises(TrialFolderError, match=r"a layout already\. It is never changed"):
        lay_out_folder(trial_folder)
    assert (trial_folder / "layout.geojson").read_bytes() == before


def test_the_empty_layout_of_a_new_folder_is_filled(bare_folder):
    empty = {"type": "FeatureCollection", "features": []}
    (bare_folder / "layout.geojson").write_text(json.dumps(empty))
    assert len(lay_out_folder(bare_folder).plan.strips) == 12


def test_all_faults_at_once(bare_folder):
    (bare_folder / "boundary.geojson").unlink()
    add(bare_folder, "block = 5\nheading_deg = 900\n")
    with pytest.raises(TrialFolderError) as refused:
        lay_out_folder(bare_folder)
    message = str(refused.value)
    assert "boundary.geojson: The file is missing. Draw the outline" in message
    assert "[design] block: There is no such key. Did you mean 'blocks'?" in message
    assert "[design] heading_deg: It should be at most 360, not 900" in message


def test_zones_to_stay_off(bare_folder, draw):
    zone = {"type": "Polygon", "coordinates": draw(280, 230, 40, 40)["coordinates"]}
    (bare_folder / "exclusions.geojson").write_text(json.dumps(zone))
    add(bare_folder, "blocks = 9\nseed = 1\nheadland_m = 24\n")
    strips = lay_out_folder(bare_folder).plan.strips
    assert (strips["along_to_m"] - strips["along_from_m"]).min() < 300


@pytest.mark.parametrize("content", ["{", "[]", '{"type": "Polygon", "coordinates": 1}'])
def test_zones_that_cannot_be_read(bare_folder, content):
    (bare_folder / "exclusions.geojson").write_text(content)
    with pytest.raises(LayoutError, match=r"not GeoJSON|no readable shape"):
        lay_out_folder(bare_folder)


def test_strips_that_do_not_fit_leave_no_file(bare_folder):
    add(bare_folder, "blocks = 50\n")
    with pytest.raises(LayoutError, match="What would fit: "):
        lay_out_folder(bare_folder)
    assert not (bare_folder / "layout.geojson").exists()


def test_tramlines_and_wheel_tracks_from_the_settings(bare_folder):
    add(bare_folder, "seed = 1\nsprayer_m = 36\ntraffic_m = 12\nblocks = 4\nedge_m = 0\n")
    laid_out = lay_out_folder(bare_folder)
    assert len(laid_out.plan.tramlines) > 0
    assert any("tramlines" in sentence for sentence in laid_out.sentences())


def test_what_the_trial_could_see_is_said_where_yield_and_variation_are_given(bare_folder):
    add(bare_folder, "seed = 1\nyield_t_ha = 3\ncv_pct = 5\nhoped_gain_t_ha = 0.25\n")
    (said,) = lay_out_folder(bare_folder).foresight
    assert said.startswith("dressed: With 6 pairs you can see a difference of 0.30 t/ha")
    assert "pays from 0.05 t/ha and you expect 0.25, so 0.20 t/ha must be seen" in said


def test_every_layout_tells_to_walk_the_strips_first(bare_folder):
    assert "Walk the strips before you drive them" in " ".join(
        lay_out_folder(bare_folder).sentences()
    )


def test_a_link_out_of_the_folder_is_refused(bare_folder, tmp_path):
    elsewhere = tmp_path / "elsewhere.geojson"
    (bare_folder / "boundary.geojson").rename(elsewhere)
    (bare_folder / "boundary.geojson").symlink_to(elsewhere)
    with pytest.raises(TrialFolderError, match="points outside the trial folder"):
        lay_out_folder(bare_folder)


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(TrialFolderError, match=r"trial.toml: The file is missing. Make a folder"):
        lay_out_folder(tmp_path / "nothing")


def test_a_folder_with_past_yields_is_rehearsed(tmp_path):
    folder = tmp_path / "plan"
    copy_demo(folder, "oats-2025-to-plan")
    said = lay_out_folder(folder).sentences()
    (rehearsed,) = [line for line in said if line.startswith("Rehearsed on 2 past seasons: 16 ")]
    assert "in four draws of five" in rehearsed
    (verdicts,) = [line for line in said if "The season report says" in line]
    shares = [int(number) for number in re.findall(r"in (\d+)", verdicts)]
    assert shares[0] > 50
    assert abs(sum(shares) - 100) <= 1


def test_past_yields_of_another_field_are_said_and_do_no_harm(tmp_path):
    folder = tmp_path / "plan"
    copy_demo(folder, "oats-2025-to-plan")
    for file in (folder / "past-yields").iterdir():
        yields = pd.read_csv(file)
        yields.assign(longitude=yields["longitude"] + 0.1).to_csv(file, index=False)
    laid_out = lay_out_folder(folder)
    assert laid_out.written.exists()
    assert any(
        line.startswith("Not rehearsed on the past yields: The past yield map has 0 yields")
        for line in laid_out.sentences()
    )
