"""A folder rewritten for strangers: each kind of file, with what must and must not go along."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import BundleError
from trialkit.harvest import read_log
from trialkit.trial.config import read_config
from trialkit.trial.drawings import read_boundary, read_layout
from trialkit.trial.kept_layout import read_plan
from trialkit.trial.laying_out import lay_out_folder
from trialkit.trial.rewritten import Rewriting, rewrite
from trialkit.trial.shifted import Shift, random_shift

#: Two corners of a strip, both kept to about a millimetre in the file.
KEPT_M = 0.003

#: Positions are written to a millionth of a millionth of a degree, and the grid's middle to a
#: millionth.
NEAR_DEG = 1e-6

AWAY = Shift((85.0012, -38.4985), (20.0, 10.0))


@pytest.fixture
def rewritten(trial_folder: Path, tmp_path: Path):
    """Rewrite the files of the folder, and return where they went."""

    def make(shift: Shift | None = AWAY, without_names: bool = True) -> Path:
        config, checks = read_config(trial_folder / "trial.toml")
        assert config is not None, checks
        job = Rewriting(trial_folder, tmp_path / "out", config, shift, without_names)
        rewrite(job, [path for path in trial_folder.rglob("*") if path.is_file()])
        return tmp_path / "out"

    return make


def add_to(folder: Path, text: str) -> None:
    path = folder / "trial.toml"
    path.write_text(path.read_text() + text)


def test_a_layout_is_the_same_plan_elsewhere(trial_folder, draw, rewritten):
    (trial_folder / "layout.geojson").unlink()
    content = {"type": "Polygon", "coordinates": draw(0, 0, 600, 500)["coordinates"]}
    (trial_folder / "boundary.geojson").write_text(json.dumps(content))
    add_to(trial_folder, "[design]\nseed = 1\nblocks = 4\nsprayer_m = 36\nheading_deg = 33\n")
    plan = lay_out_folder(trial_folder).plan
    field, _ = read_boundary(trial_folder)
    out = rewritten(random_shift(field, np.random.default_rng(8)))
    layout, _ = read_layout(out)
    boundary, _ = read_boundary(out)
    again = read_plan(out, layout, boundary)
    assert again.allocation == plan.allocation
    pd.testing.assert_frame_equal(again.strips, plan.strips, atol=KEPT_M, check_dtype=False)
    metres = [each.tramlines.to_crs(each.crs).length.sum() for each in (again, plan)]
    assert metres[0] == pytest.approx(metres[1], abs=KEPT_M)
    assert "85.0" not in (out / "layout.geojson").read_text()


def test_places_in_the_configuration_move_and_comments_go(trial_folder, rewritten):
    add_to(
        trial_folder,
        "# my neighbour's gate is at 85.0012, -38.4985\n"
        "[design]\nanchor = [85.0012, -38.4985]\n"
        '[scouting.temperatures]\nsensor = "canopy"\n'
        '[scouting.temperatures.places."old gate"]\nlongitude = 85.0012\nlatitude = -38.4985\n'
        '[scouting.temperatures.places.rise]\nstrip = "S1"\n',
    )
    text = (rewritten() / "trial.toml").read_text()
    said = tomllib.loads(text)
    assert said["design"]["anchor"] == pytest.approx([20.0, 10.0], abs=NEAR_DEG)
    places = said["scouting"]["temperatures"]["places"]
    assert places["logger-01"]["longitude"] == pytest.approx(20.0, abs=NEAR_DEG)
    assert places["logger-02"] == {"strip": "S1"}
    assert "gate" not in text
    assert "85." not in text


def test_a_table_keeps_its_form_and_loses_its_notes(trial_folder, rewritten):
    (trial_folder / "counts.csv").write_text(
        "strip;count;area_m2;longitude;latitude;note\n"
        "S1;30;0,25;85,0012;-38,4985;near Hill's gate\n"
        "S1;31;0,25;;;\n",
        encoding="utf-8-sig",
    )
    rows = (rewritten() / "counts.csv").read_text().splitlines()
    assert rows[0] == "strip;count;area_m2;longitude;latitude"
    assert rows[2] == "S1;31;0,25;;"
    cells = rows[1].split(";")
    assert cells[:3] == ["S1", "30", "0,25"]
    assert [float(cell) for cell in cells[3:]] == pytest.approx([20.0, 10.0], abs=NEAR_DEG)


def test_a_log_reads_the_same_but_for_its_place(trial_folder, rewritten):
    add_to(
        trial_folder,
        '[harvest.columns]\ntime = "Time"\nlongitude = "Lon"\nlatitude = "Lat"\n'
        'yield_t_ha = "Yield, dry (kg/ha)"\n',
    )
    (trial_folder / "harvest").mkdir()
    log = trial_folder / "harvest" / "Hill's.txt"
    log.write_bytes(
        'Grower\tTime\tLat\tLon\t"Yield, dry (kg/ha)"\n'
        "José\t2024-11-01T10:00:00\t-38,4985\t85,0012\t3100,5\n"
        "José\t2024-11-01T10:00:01\t-38,4986\t85,0012\t2900\n"
        "José\t2024-11-01T10:00:02\t0\t0\t\n".encode("latin-1")
    )
    config, _ = read_config(trial_folder / "trial.toml")
    out = rewritten() / "harvest" / "log-01.txt"
    assert b"Jos" not in out.read_bytes()
    mine, theirs = (
        read_log(path, columns=config.harvest.columns, standard_moisture_pct=12.5)
        for path in (log, out)
    )
    kept = ["time", "yield_t_ha", "row"]
    pd.testing.assert_frame_equal(mine[kept], theirs[kept], check_exact=True)
    assert theirs["longitude"][0] == pytest.approx(20.0, abs=NEAR_DEG)
    assert (theirs["longitude"][2], theirs["latitude"][2]) == (0, 0)


def test_a_drawn_log_keeps_what_is_read(trial_folder, rewritten):
    def feature(x: float, yields: float) -> dict[str, object]:
        return {
            "type": "Feature",
            "id": "Hill's",
            "properties": {"yield_t_ha": yields, "farm": "Hill's"},
            "geometry": {"type": "Point", "coordinates": [x, -38.4985, 210.5]},
        }

    content = {"type": "FeatureCollection", "name": "Hill's", "features": [
        feature(85.0012, 3.1), feature(85.0013, 2.9)]}  # fmt: skip
    (trial_folder / "past-yields").mkdir()
    (trial_folder / "past-yields" / "Hill's.geojson").write_text(json.dumps(content))
    out = rewritten() / "past-yields" / "past-01.geojson"
    assert "Hill" not in out.read_text()
    log = read_log(out)
    assert log["yield_t_ha"].tolist() == [3.1, 2.9]
    assert log["longitude"][0] == pytest.approx(20.0, abs=NEAR_DEG)


def test_files_keep_apart_whatever_they_are_called(trial_folder, rewritten):
    """A name to come may be that of another file; each must end with its own content."""
    (trial_folder / "past-yields").mkdir()
    for number, name in enumerate(("a.csv", "past-01.csv", "past-02.csv")):
        (trial_folder / "past-yields" / name).write_text(
            f"longitude,latitude,yield_t_ha\n85.001,-38.499,{number}.5\n"
        )
    out = rewritten() / "past-yields"
    last = [path.read_text().strip()[-3:] for path in sorted(out.iterdir())]
    assert last == ["0.5", "1.5", "2.5"]


def test_loggers_in_one_file_keep_apart_and_lose_their_names(trial_folder, rewritten):
    (trial_folder / "temperatures").mkdir()
    (trial_folder / "temperatures" / "all.csv").write_text(
        "Owner: Hill\nlogger,time,temperature_c\ngate,2024-09-01 00:00,-1.5\n"
        "creek,2024-09-01 00:00,-2.5\ngate,2024-09-01 01:00,-1.0\n"
    )
    (out,) = (rewritten() / "temperatures").iterdir()
    rows = [line.split(";") for line in out.read_text().splitlines()]
    assert rows[0] == ["logger", "time", "temperature_c"]
    names = [row[0] for row in rows[1:]]
    assert names[0] == names[2] != names[1]
    assert "Hill" not in out.read_text()
    assert "gate" not in out.read_text()


def test_shift_alone_leaves_names_and_notes(trial_folder, rewritten):
    (trial_folder / "weights.csv").write_text("strip,mass_kg,note\nS1,2000,wet\n")
    out = rewritten(without_names=False)
    assert (out / "weights.csv").read_text() == "strip,mass_kg,note\nS1,2000,wet\n"
    assert tomllib.loads((out / "trial.toml").read_text())["trial"]["name"] == "Invented trial"


def test_without_names_alone_leaves_positions(trial_folder, rewritten):
    before = json.loads((trial_folder / "layout.geojson").read_text())
    after = json.loads((rewritten(shift=None) / "layout.geojson").read_text())
    assert after == before


def test_records_picked_by_a_name_are_refused(trial_folder, rewritten):
    text = (trial_folder / "trial.toml").read_text()
    only = '[harvest]\nonly = { Field = "Hill\'s" }'
    (trial_folder / "trial.toml").write_text(text.replace("[harvest]", only))
    with pytest.raises(BundleError, match=r"\[harvest\] only"):
        rewritten()


@pytest.mark.parametrize(
    "content", ["", "[]", "{", '{"type": "Point", "coordinates": "x"}', "[" * 100_000]
)
def test_a_drawing_that_is_none_is_refused(trial_folder, rewritten, content):
    (trial_folder / "exclusions.geojson").write_text(content)
    with pytest.raises(BundleError, match=r"exclusions\.geojson"):
        rewritten()


def test_a_drawing_in_other_coordinates_is_refused(trial_folder, rewritten):
    crs = {"type": "name", "properties": {"name": "EPSG:32755"}}
    (trial_folder / "exclusions.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "crs": crs, "features": []})
    )
    with pytest.raises(BundleError, match="coordinate system of its own"):
        rewritten()


def test_a_set_of_task_data_is_refused(trial_folder, rewritten):
    (trial_folder / "harvest" / "TASKDATA").mkdir(parents=True)
    (trial_folder / "harvest" / "TASKDATA" / "TASKDATA.XML").write_text("<x/>")
    with pytest.raises(BundleError, match=r"TASKDATA\.XML: this format cannot be rewritten"):
        rewritten()


def test_numbers_come_back_as_they_were(trial_folder, rewritten):
    values = np.random.default_rng(3).lognormal(size=50)
    (trial_folder / "harvest").mkdir()
    lines = [f"85.001,-38.499,{value!r}" for value in values.tolist()]
    (trial_folder / "harvest" / "log.csv").write_text(
        "longitude,latitude,yield_t_ha\n" + "\n".join(lines) + "\n"
    )
    before = read_log(trial_folder / "harvest" / "log.csv")["yield_t_ha"]
    after = read_log(rewritten() / "harvest" / "log-01.csv")["yield_t_ha"]
    assert before.to_numpy() == pytest.approx(after.to_numpy(), rel=1e-15)
