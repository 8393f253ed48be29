"""Bundles: what goes into one, what does not, and what is told of it."""

from __future__ import annotations

import csv
import hashlib
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import numpy as np
import pytest

import trialkit
from trialkit import bundles
from trialkit.bundle_check import check_bundle
from trialkit.bundles import make_bundle
from trialkit.errors import BundleError, TrialFolderError
from trialkit.repeated import SAME_SHARE, repeated
from trialkit.shipped import copy_demo, demo_trials
from trialkit.trial.outdated import fingerprinted
from trialkit.trial.provenance import input_files
from trialkit.trial.rewritten import NO_NAME
from trialkit.trial.stored_result import read_stored

#: Strips weighed: the dressed ones (S1, S2, S5, S6) some 250 kg heavier.
WEIGHTS_KG = (2010, 2260, 2300, 2080, 1950, 2210, 2180, 1990)


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {entry.filename: archive.read(entry) for entry in archive.infolist()}


@pytest.fixture(scope="module")
def answer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the answer of the weighed trial is kept: it is the same for every test."""
    return tmp_path_factory.mktemp("answer") / "results"


@pytest.fixture
def weighed(trial_folder: Path, answer: Path) -> Path:
    """A trial with weights and notes by strip, analysed."""
    rows = [f"S{n},{kg},12.0,gate by Hay road" for n, kg in enumerate(WEIGHTS_KG)]
    text = "strip,mass_kg,moisture_pct,note\n" + "\n".join(rows) + "\n"
    (trial_folder / "weights.csv").write_text(text)
    if not answer.exists():
        trial = trialkit.open_trial(trial_folder)
        trialkit.write_results(trial, trialkit.analyse(trial))
        shutil.copytree(trial_folder / "results", answer)
    shutil.copytree(answer, trial_folder / "results", dirs_exist_ok=True)
    return trial_folder


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo season with frost, analysed: log, loggers, counts, scores."""
    folder = tmp_path_factory.mktemp("season") / "low-end-2023"
    copy_demo(folder, min(demo_trials()))
    trial = trialkit.open_trial(folder)
    trialkit.write_results(trial, trialkit.analyse(trial))
    return folder


@pytest.fixture(scope="module")
def stranger(season: Path, tmp_path_factory: pytest.TempPathFactory) -> bundles.Bundle:
    """The same, shifted and without names."""
    out = tmp_path_factory.mktemp("stranger") / "sent.zip"
    rng = np.random.default_rng(20231205)
    return make_bundle(season, out, shift=True, without_names=True, rng=rng)


def test_the_inputs_go_in_as_they_are(season, tmp_path):
    bundle = make_bundle(season, tmp_path / "sent.zip")
    inside = members(bundle.path)
    inputs = {entry.file for entry in input_files(trialkit.open_trial(season))}
    extra = {"SHA256SUMS", "datapackage.json", "results/result.json"}
    assert set(inside) == inputs | extra
    for name in inputs | {"results/result.json"}:
        assert inside[name] == (season / name).read_bytes()
    assert bundle.files == tuple(sorted(inside))


def test_the_same_folder_makes_the_same_bytes(weighed, tmp_path):
    one = make_bundle(weighed, tmp_path / "one.zip")
    shutil.copytree(weighed, tmp_path / "elsewhere")
    other = make_bundle(tmp_path / "elsewhere", tmp_path / "other.zip")
    assert one.path.read_bytes() == other.path.read_bytes()
    assert one.sha256 == hashlib.sha256(one.path.read_bytes()).hexdigest()
    with zipfile.ZipFile(one.path) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert archive.namelist() == sorted(archive.namelist())


def test_the_folder_stays_as_it_is(weighed, tmp_path):
    before = {path: path.read_bytes() for path in weighed.rglob("*") if path.is_file()}
    make_bundle(weighed, tmp_path / "sent.zip", shift=True, without_names=True)
    assert before == {path: path.read_bytes() for path in weighed.rglob("*") if path.is_file()}


def test_what_trialkit_does_not_read_stays_at_home_and_is_told(weighed, tmp_path):
    for name in (".secret", "letter.docx", "results/notes.txt", "notebooks/05.ipynb"):
        (weighed / name).parent.mkdir(exist_ok=True)
        (weighed / name).write_text("not yours")
    (weighed / "harvest").mkdir()
    (weighed / "harvest" / ".log.csv").write_text("not yours")
    bundle = make_bundle(weighed, tmp_path / "sent.zip")
    assert not any(b"not yours" in raw for raw in members(bundle.path).values())
    assert any("letter.docx" in note for note in bundle.notes)
    assert not any("secret" in note or "05.ipynb" in note for note in bundle.notes)


@pytest.mark.parametrize("place", ["past-yields/2020.csv", "weights.csv"])
def test_a_link_out_of_the_folder_is_refused(weighed, tmp_path, place):
    (tmp_path / "private.csv").write_text("strip,mass_kg\nS1,2000\n")
    (weighed / place).parent.mkdir(exist_ok=True)
    (weighed / place).unlink(missing_ok=True)
    (weighed / place).symlink_to(tmp_path / "private.csv")
    with pytest.raises((BundleError, TrialFolderError), match="points outside the trial folder"):
        make_bundle(weighed, tmp_path / "sent.zip")
    assert not (tmp_path / "sent.zip").exists()


def test_too_much_is_refused(weighed, tmp_path, monkeypatch):
    monkeypatch.setattr(bundles, "LARGEST_BYTES", 1000)
    with pytest.raises(BundleError, match="more than a bundle may"):
        make_bundle(weighed, tmp_path / "sent.zip")


def test_an_old_result_with_a_new_folder_is_refused(weighed, tmp_path):
    weights = weighed / "weights.csv"
    weights.write_text(weights.read_text().replace("2010", "2110"))
    with pytest.raises(BundleError, match=r"weights\.csv has changed .* Run `trialkit analyse"):
        make_bundle(weighed, tmp_path / "sent.zip")


def test_without_a_result_the_season_is_worked_out(weighed, tmp_path):
    answer = (weighed / "results" / "result.json").read_bytes()
    shutil.rmtree(weighed / "results")
    bundle = make_bundle(weighed, tmp_path / "sent.zip")
    assert members(bundle.path)["results/result.json"] == answer


def test_the_zip_lies_beside_the_folder_and_not_in_it(weighed):
    assert make_bundle(weighed).path == weighed.with_name("trial.zip")
    with pytest.raises(BundleError, match="outside the folder"):
        make_bundle(weighed, weighed / "harvest" / "sent.zip")
    with pytest.raises(BundleError, match="this is a folder"):
        make_bundle(weighed, weighed.parent)


def test_a_report_on_the_same_files_goes_in_and_another_is_made_anew(
    weighed, tmp_path, monkeypatch
):
    """The making of a report is tested elsewhere; here one page stands for it."""

    def one_page(folder: Path, out_file: Path) -> None:
        inputs = tuple(input_files(trialkit.open_trial(folder)))
        out_file.parent.mkdir(exist_ok=True)
        name = trialkit.open_trial(folder).config.trial.name
        out_file.write_text(fingerprinted(f"<title>{name}</title>", inputs))

    monkeypatch.setattr("trialkit.report.render.render", one_page)
    report = weighed / "results" / "report.html"
    one_page(weighed, report)
    sent = members(make_bundle(weighed, tmp_path / "sent.zip").path)
    assert sent["results/report.html"] == report.read_bytes()

    bundle = make_bundle(weighed, tmp_path / "stranger.zip", without_names=True)
    assert f"<title>{NO_NAME}".encode() in members(bundle.path)["results/report.html"]
    assert any("report was made anew" in note for note in bundle.notes)

    report.write_text("<title>made before there were fingerprints</title>")
    sent = members(make_bundle(weighed, tmp_path / "sent.zip").path)
    assert b"made before" not in sent["results/report.html"]


# What others say of the bundle ------------------------------------------------------------------


def test_the_checksums_are_those_of_coreutils(weighed, tmp_path):
    """Source: `sha256sum -c` of GNU coreutils."""
    program = shutil.which("sha256sum")
    if program is None:
        pytest.skip("there is no sha256sum here")
    with zipfile.ZipFile(make_bundle(weighed, tmp_path / "sent.zip").path) as archive:
        archive.extractall(tmp_path / "out")
    command = [program, "--strict", "-c", "SHA256SUMS"]
    assert subprocess.run(command, cwd=tmp_path / "out", check=False).returncode == 0
    (tmp_path / "out" / "weights.csv").write_text("strip,mass_kg\n")
    assert subprocess.run(command, cwd=tmp_path / "out", check=False).returncode == 1


def test_the_description_and_the_data_agree_by_the_open_standard(season, tmp_path):
    """Source: PyPI's frictionless, which the authors of the specification publish."""
    from frictionless import Package, validate

    with zipfile.ZipFile(make_bundle(season, tmp_path / "sent.zip").path) as archive:
        archive.extractall(tmp_path / "out")
    descriptor = json.loads((tmp_path / "out" / "datapackage.json").read_text())
    assert list(Package.metadata_validate(descriptor)) == []

    # The log's 20,000 rows are looked at in part: the rest has the same columns.
    report = validate(str(tmp_path / "out" / "datapackage.json"), limit_rows=300)
    wrong = [error for task in report.tasks for error in task.errors]
    assert {error.type for error in wrong} <= {"hash-count", "byte-count"}  # of the part looked at
    tables = {task.place for task in report.tasks if task.type == "table"}
    assert {"counts.csv", "dressing.csv", "harvest/low-end-2023-12-05.csv"} <= tables

    counts = tmp_path / "out" / "counts.csv"
    text = counts.read_text()
    counts.write_text(text.replace(",46,", ",many,", 1))
    resource = next(entry for entry in descriptor["resources"] if entry["path"] == "counts.csv")
    found = validate(resource, basepath=str(tmp_path / "out"))
    kinds = {error.type for task in found.tasks for error in task.errors}
    assert {"type-error", "hash-count"} <= kinds


def test_every_resource_has_what_the_specification_wants(season, tmp_path):
    """Source: https://specs.frictionlessdata.io, Data Package and Data Resource, version 1."""
    inside = members(make_bundle(season, tmp_path / "sent.zip").path)
    descriptor = json.loads(inside["datapackage.json"])
    names = [entry["name"] for entry in descriptor["resources"]]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[-a-z0-9._/]+", name) for name in [descriptor["name"], *names])
    for entry in descriptor["resources"]:
        raw = inside[entry["path"]]
        assert entry["bytes"] == len(raw)
        assert entry["hash"] == "sha256:" + hashlib.sha256(raw).hexdigest()
    by_path = {entry["path"]: entry for entry in descriptor["resources"]}
    log = by_path["harvest/low-end-2023-12-05.csv"]
    assert log["dialect"] == {"delimiter": ";"}
    fields = {field["name"]: field for field in log["schema"]["fields"]}
    assert fields["Ground speed (km/h)"]["unit"] == "km/h"
    assert fields["Record"] == {"name": "Record", "type": "any"}
    counts = {field["name"]: field for field in by_path["counts.csv"]["schema"]["fields"]}
    assert counts["count"]["type"] == "number"
    assert counts["strip"]["type"] == "string"


def test_markup_and_script_in_names_stay_text(weighed, tmp_path):
    bad = '<script>alert("x")</script> ../../etc'
    config = weighed / "trial.toml"
    config.write_text(config.read_text().replace('"Invented trial"', json.dumps(bad)))
    shutil.rmtree(weighed / "results")
    inside = members(make_bundle(weighed, tmp_path / "sent.zip").path)
    descriptor = json.loads(inside["datapackage.json"])
    assert descriptor["title"] == f"{bad}, 2024"
    assert re.fullmatch(r"[-a-z0-9]+", descriptor["name"])
    assert check_bundle(tmp_path / "sent.zip").right


# Shifted, and without names ---------------------------------------------------------------------


def test_a_stranger_gets_the_same_numbers(season, stranger, tmp_path):
    with zipfile.ZipFile(stranger.path) as archive:
        archive.extractall(tmp_path / "out")
    mine = read_stored(trialkit.open_trial(season)).summary
    theirs = read_stored(trialkit.open_trial(tmp_path / "out")).summary
    compared = repeated(mine, theirs)
    assert compared.largest < SAME_SHARE
    assert [one.place for one in compared.numbers] == ["trial"]


def test_a_stranger_learns_no_place(season, stranger):
    """Longitudes of the field begin with 84.99 or 85.00, latitudes with -38.49 or -38.50."""
    true = re.compile(rb"\b(84\.99|85\.00)\d{3}|\b38\.(49|50)\d{3}")
    assert any(true.search(path.read_bytes()) for path in season.rglob("*.csv"))
    for name, raw in members(stranger.path).items():
        assert not true.search(raw), name


def test_a_stranger_learns_no_name(season, stranger):
    inside = members(stranger.path)
    for name, raw in inside.items():
        for word in (b"low end", b"low-end", b"biological", b"clean tank", b"microbe broth, min"):
            assert word not in raw.lower(), name
        assert "low" not in name
    assert "harvest/log-01.csv" in inside
    assert {name for name in inside if name.startswith("temperatures/")} == {
        f"temperatures/logger-{n:02}.csv" for n in (1, 2, 3)
    }
    assert b"#" not in inside["trial.toml"]
    assert "note" not in next(csv.reader([inside["dressing.csv"].decode().split("\n")[0]]))
    assert not any("still stands" in note for note in stranger.notes)


def test_a_stranger_gets_the_same_loggers(season, stranger, tmp_path):
    with zipfile.ZipFile(stranger.path) as archive:
        archive.extractall(tmp_path / "out")
    mine, theirs = (trialkit.open_trial(folder) for folder in (season, tmp_path / "out"))
    kept = ["time", "temperature_c"]
    assert mine.temperatures()[kept].equals(theirs.temperatures()[kept])
    assert len(theirs.config.scouting.temperatures.places) == 3


def test_strangers_bundles_go_to_different_places(weighed, tmp_path):
    sent = [make_bundle(weighed, tmp_path / f"{n}.zip", shift=True).path for n in (1, 2)]
    one, other = (members(path)["layout.geojson"] for path in sent)
    assert one != other


def test_a_name_that_stays_is_told(weighed, tmp_path):
    config = weighed / "trial.toml"
    config.write_text(config.read_text().replace('"Invented trial"', '"S1 against S2"'))
    config.write_text(config.read_text().replace('name = "dressed"', 'name = "S1 against S2"'))
    layout = weighed / "layout.geojson"
    layout.write_text(layout.read_text().replace('"dressed"', '"S1 against S2"'))
    shutil.rmtree(weighed / "results")
    bundle = make_bundle(weighed, tmp_path / "sent.zip", without_names=True)
    assert any("'S1 against S2' still stands in" in note for note in bundle.notes)


def test_other_formats_are_not_shifted(weighed, tmp_path):
    shutil.rmtree(weighed / "results")
    (weighed / "harvest").mkdir()
    for ending in ("shp", "dbf", "shx"):
        (weighed / "harvest" / f"log.{ending}").write_bytes(b"\x00")
    for wish in ({"shift": True}, {"without_names": True}):
        with pytest.raises(BundleError, match=r"harvest/log\.dbf: this format cannot be rewritten"):
            make_bundle(weighed, tmp_path / "sent.zip", **wish)


def log_text(longitude: float) -> str:
    return f"longitude,latitude,yield_t_ha\n85.001,-38.499,3.1\n{longitude},-38.498,3.0\n"


def test_a_position_far_from_the_field_is_refused(weighed, tmp_path):
    (weighed / "past-yields").mkdir()
    (weighed / "past-yields" / "2020.csv").write_text(log_text(12.0))
    with pytest.raises(BundleError, match=r"past-yields/2020\.csv: position 2 lies more than"):
        make_bundle(weighed, tmp_path / "sent.zip", shift=True)


def test_eastings_are_refused(weighed, tmp_path):
    config = weighed / "trial.toml"
    config.write_text(config.read_text().replace("[harvest]", '[harvest]\ncrs = "EPSG:32644"'))
    shutil.rmtree(weighed / "results")
    (weighed / "past-yields").mkdir()
    (weighed / "past-yields" / "2020.csv").write_text(log_text(85.0))
    with pytest.raises(BundleError, match="positions are in EPSG:32644"):
        make_bundle(weighed, tmp_path / "sent.zip", shift=True)


def test_of_a_log_only_what_is_read_goes_along(weighed, tmp_path):
    (weighed / "past-yields").mkdir()
    (weighed / "past-yields" / "home-2020.csv").write_text(
        "Farm,longitude,latitude,Easting,yield_t_ha\nMyfarm,85.001,-38.499,1234.5,3.1\n"
        "Myfarm,85.001,-38.498,1234.5,3\n"
    )
    rows = members(make_bundle(weighed, tmp_path / "sent.zip", shift=True).path)[
        "past-yields/home-2020.csv"
    ].decode()
    assert rows.split("\n")[0] == "longitude,latitude,yield_t_ha"
    assert "Myfarm" not in rows
    assert "1234.5" not in rows
    assert [line.split(",")[-1] for line in rows.split("\n")[1:3]] == ["3.1", "3"]
