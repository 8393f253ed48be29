"""From a trial folder to what is taken into the field; a layout that is there stays as it is."""

from __future__ import annotations

import hashlib
import json
import re
from io import BytesIO

import pytest
from matplotlib.image import imread

from trialkit.design import TrialPlan
from trialkit.errors import LayoutError, TrialFolderError
from trialkit.field_papers import STEPS, make_field_papers


@pytest.fixture
def bare_folder(trial_folder, draw):
    """A trial folder with a boundary of 600 m by 500 m and no layout yet."""
    (trial_folder / "layout.geojson").unlink()
    content = {"type": "Polygon", "coordinates": draw(0, 0, 600, 500)["coordinates"]}
    (trial_folder / "boundary.geojson").write_text(json.dumps(content))
    with (trial_folder / "trial.toml").open("a") as settings:
        settings.write("\n[design]\nblocks = 5\nseed = 3\n")
    return trial_folder


def names(papers, folder):
    return [path.relative_to(folder).as_posix() for path in papers.written]


def test_layout_map_and_card_are_written_and_made_again_just_so(bare_folder):
    told = []
    first = make_field_papers(bare_folder, progress=told.append)
    papers = ["results/layout.png", "results/field-card.html"]
    listed = names(first, bare_folder)
    assert [name for name in listed if "/guidance/" not in name] == ["layout.geojson", *papers]
    assert "results/guidance/field.geojson" in listed
    assert first.new
    assert told == [step for step in STEPS if "PDF" not in step]
    before = {path: path.read_bytes() for path in first.written}
    assert imread(BytesIO(before[first.written[1]])).shape[2] in (3, 4)
    second = make_field_papers(bare_folder)
    assert not second.new
    assert names(second, bare_folder) == listed[1:]
    assert isinstance(second.layout, TrialPlan)
    assert "it stays as it is" in second.says[0]
    assert any("seed 3" in sentence for sentence in second.says)
    # Read back from the file, the plan gives the same to the byte.
    assert {path: path.read_bytes() for path in first.written} == before


def test_the_card_names_the_file_it_is_of(bare_folder):
    papers = make_field_papers(bare_folder, pdf=True)
    assert "results/field-card.pdf" in names(papers, bare_folder)
    digest = hashlib.sha256((bare_folder / "layout.geojson").read_bytes()).hexdigest()
    card = (bare_folder / "results" / "field-card.html").read_text()
    assert f"begins with {digest[:12]}" in card
    assert "Field card: Invented trial" in card
    assert "Invented example" in card


def test_strips_drawn_by_hand_get_a_map_and_a_card(trial_folder):
    before = (trial_folder / "layout.geojson").read_bytes()
    papers = make_field_papers(trial_folder)
    assert "as one drawn by hand" in papers.says[1]
    assert (trial_folder / "layout.geojson").read_bytes() == before
    card = (trial_folder / "results" / "field-card.html").read_text()
    assert "8 strips in 4 blocks" in card
    assert re.search(r"24\.\d m wide: 2 passes of 12 m", card)
    record = papers.record()
    assert len(record["strips"]) == 8
    json.dumps(record, allow_nan=False)


def test_a_layout_changed_by_hand_is_said_to_be_on_the_card(bare_folder):
    make_field_papers(bare_folder)
    path = bare_folder / "layout.geojson"
    content = json.loads(path.read_text())
    del content["features"][3]
    path.write_text(json.dumps(content))
    papers = make_field_papers(bare_folder)
    said = "layout.geojson was changed by hand: 10 strips were drawn, and 9 are in it."
    assert said in papers.says
    assert said in (bare_folder / "results" / "field-card.html").read_text()


def test_zones_to_stay_off_are_on_the_map(bare_folder, draw):
    zone = draw(280, 230, 40, 40)
    point = {"type": "Feature", "properties": {}, "geometry": zone}
    content = {"type": "FeatureCollection", "features": [point]}
    (bare_folder / "exclusions.geojson").write_text(json.dumps(content))
    make_field_papers(bare_folder)
    assert "ground to stay off" in (bare_folder / "results" / "field-card.html").read_text()
    (bare_folder / "exclusions.geojson").write_text('{"type": "Polygon", "coordinates": 1}')
    with pytest.raises(LayoutError, match=r"exclusions\.geojson: It has no readable shape"):
        make_field_papers(bare_folder)


def test_all_faults_at_once_and_the_last_papers_stay(trial_folder, draw):
    make_field_papers(trial_folder)
    card = trial_folder / "results" / "field-card.html"
    before = card.read_bytes()
    layout = json.loads((trial_folder / "layout.geojson").read_text())
    layout["features"][0]["properties"]["treatment"] = "dresed"
    layout["features"][1]["geometry"] = layout["features"][2]["geometry"]
    (trial_folder / "layout.geojson").write_text(json.dumps(layout))
    (trial_folder / "boundary.geojson").write_text("{")
    with pytest.raises(TrialFolderError) as refused:
        make_field_papers(trial_folder)
    message = str(refused.value)
    assert "there is no field card of it" in message
    assert "Did you mean 'dressed'?" in message
    assert "overlap by" in message
    assert "boundary.geojson: This is not valid JSON" in message
    assert card.read_bytes() == before


def test_strips_that_do_not_fit_leave_nothing(bare_folder):
    settings = bare_folder / "trial.toml"
    settings.write_text(settings.read_text().replace("blocks = 5", "blocks = 50"))
    with pytest.raises(LayoutError, match="What would fit: "):
        make_field_papers(bare_folder)
    assert not (bare_folder / "layout.geojson").exists()
    assert not (bare_folder / "results").exists()


def test_results_that_lead_out_of_the_folder_are_refused(bare_folder, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (bare_folder / "results").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(TrialFolderError, match="results: It points outside the trial folder"):
        make_field_papers(bare_folder)
    assert not (bare_folder / "layout.geojson").exists()
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(TrialFolderError, match=r"trial.toml: The file is missing. Make a folder"):
        make_field_papers(tmp_path / "nothing")
