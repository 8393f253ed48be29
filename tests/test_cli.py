"""Each command as a new user types it, with wrong input too."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from trialkit.cli import BAD_INPUT
from trialkit.shipped import copy_demo, demo_trials

FROST = min(demo_trials())


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own, as the installed `trialkit` does."""
    code = "from trialkit.cli import main; main()"
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    copy_demo(tmp_path / "demo", FROST)
    return tmp_path / "demo"


@pytest.fixture(scope="session")
def analysed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("analysed") / "demo"
    copy_demo(folder, FROST)
    assert run("analyse", folder).returncode == 0
    return folder


def log_of(folder: Path) -> Path:
    (log,) = (folder / "harvest").iterdir()
    return log


def snapshot(folder: Path) -> dict[Path, bytes]:
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_help_names_every_command():
    shown = run("--help")
    assert shown.returncode == 0
    for command in ("new", "check", "layout", "harvest", "analyse", "report", "demo", "lab"):
        assert re.search(rf"\b{command}\b", shown.stdout)


def test_from_a_new_folder_to_a_check(tmp_path):
    made = run("new", tmp_path / "mine")
    assert made.returncode == 0
    assert "trial.toml" in made.stdout
    checked = run("check", tmp_path / "mine")
    assert checked.returncode == BAD_INPUT
    assert "[money] currency: It is still blank. Fill it in." in checked.stdout
    assert re.search(r"Faults to mend: \d+\.", checked.stdout)


def test_check_of_the_demo_says_what_is_in_it(demo):
    shown = run("check", demo)
    assert shown.returncode == 0
    assert "16 strips (8 untreated, 8 dressed)" in shown.stdout


def test_harvest_shows_strips_and_what_was_left_out(demo):
    shown = run("harvest", demo)
    assert shown.returncode == 0
    assert "Grain-flow delay: 12 s" in shown.stdout
    assert "part swath" in shown.stdout
    assert (demo / "results" / "records.csv").exists()
    drawn = sorted(path.name for path in (demo / "results" / "pictures").iterdir())
    assert drawn == [
        "before-after.png",
        "delay.png",
        "kept.png",
        "left-out.png",
        "pass-ends.png",
        "passes.png",
        "yield.png",
    ]
    assert f"Wrote {demo / 'results' / 'pictures' / 'passes.png'}" in shown.stdout


def test_analyse_says_the_verdict_and_what_it_wrote(demo):
    shown = run("analyse", demo)
    assert shown.returncode == 0
    assert "dressed" in shown.stdout
    assert f"Wrote {demo / 'results' / 'result.json'}" in shown.stdout
    assert shown.stderr == ""


@pytest.mark.parametrize(
    "command",
    [("check",), ("harvest",), ("analyse",)],
)
def test_json_is_json_and_nothing_else(demo, command):
    shown = run(*command, demo, "--json")
    assert shown.returncode == 0
    assert isinstance(json.loads(shown.stdout), dict)


def test_the_result_has_the_contracted_keys(demo):
    shown = json.loads(run("analyse", demo, "--json").stdout)
    assert list(shown) == [
        "trial",
        "season",
        "crop",
        "currency",
        "comparisons",
        "strips",
        "records",
        "cross_checks",
        "warnings",
        "inputs",
        "versions",
        "seed",
        "what_next",  # beyond the contract, and after it
    ]
    assert list(shown["comparisons"][0]) == [
        "treatment",
        "control",
        "gain_t_ha",
        "low_t_ha",
        "high_t_ha",
        "std_error_t_ha",
        "df",
        "p_value",
        "method",
        "break_even_t_ha",
        "net_per_ha",
        "net_low",
        "net_high",
        "chance_paid",
        "verdict",
    ]
    assert {"method", "gain_t_ha", "low_t_ha", "high_t_ha", "p_value"} <= set(
        shown["cross_checks"][0]
    )
    assert set(shown["records"]) == {"read", "kept", "reasons"}
    assert set(shown["inputs"][0]) == {"file", "sha256"}


def edit(path: Path, pattern: str, new: str) -> None:
    text, changed = re.subn(pattern, new, path.read_text())
    assert changed
    path.write_text(text)


def no_untreated(folder: Path) -> None:
    edit(folder / "layout.geojson", '"treatment": "untreated"', '"treatment": "dressed"')


def one_strip_each(folder: Path) -> None:
    layout = folder / "layout.geojson"
    content = json.loads(layout.read_text())
    strips = [f for f in content["features"] if f["properties"]["role"] == "strip"]
    content["features"] = strips[:2]
    layout.write_text(json.dumps(content))
    (folder / "counts.csv").unlink()


def foreign_treatment(folder: Path) -> None:
    edit(folder / "trial.toml", 'name = "dressed"', 'name = "dressing"')


def empty_log(folder: Path) -> None:
    log_of(folder).write_text("")


def cut_log(folder: Path) -> None:
    log = log_of(folder)
    log.write_text(log.read_text()[:200_000])


def bytes_of_another_kind(folder: Path) -> None:
    log = log_of(folder)
    log.write_bytes(bytes(range(256)) * 200)


def wrong_delimiter(folder: Path) -> None:
    log = log_of(folder)
    log.write_text(log.read_text().replace(";", "~"))


def no_units(folder: Path) -> None:
    log = log_of(folder)
    head, rest = log.read_text().split("\n", 1)
    log.write_text(re.sub(r" \([^)]*\)", "", head) + "\n" + rest)
    edit(folder / "trial.toml", r'(= "[^"]*) \([^)]*\)"', r'\1"')
    edit(folder / "trial.toml", r"(?ms)^\[harvest.units\].*?(?=^\[)", "")


def swapped(folder: Path) -> None:
    edit(folder / "trial.toml", 'latitude = "Latitude"', 'latitude = "x"')
    edit(folder / "trial.toml", 'longitude = "Longitude"', 'longitude = "Latitude"')
    edit(folder / "trial.toml", 'latitude = "x"', 'latitude = "Longitude"')


def no_grain(folder: Path) -> None:
    edit_column(log_of(folder), "Grain flow (kg/s)", lambda _: "0.00")


def another_field(folder: Path) -> None:
    edit_column(log_of(folder), "Longitude", lambda value: f"{float(value) + 0.05:.7f}")


def edit_column(log: Path, heading: str, change) -> None:
    lines = log.read_text().splitlines()
    place = lines[0].split(";").index(heading)
    out = [lines[0]]
    for line in lines[1:]:
        cells = line.split(";")
        cells[place] = change(cells[place])
        out.append(";".join(cells))
    log.write_text("\n".join(out) + "\n")


def no_harvest(folder: Path) -> None:
    shutil.rmtree(folder / "harvest")


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (no_untreated, r"layout\.geojson: There are no untreated strips.*Leave some next time"),
        (one_strip_each, r"layout\.geojson: The treatment 'untreated' has one strip only"),
        (foreign_treatment, r"layout\.geojson, strip S\d+: trial\.toml has no treatment 'dressed'"),
        (empty_log, r"low-end.*\.csv: the file is empty"),
        (cut_log, r"low-end.*\.csv, row \d+: .*last line is cut"),
        (bytes_of_another_kind, r"low-end.*\.csv"),
        (wrong_delimiter, r"low-end.*\.csv, row 1: .*commas, semicolons, tabs"),
        (no_units, r"low-end.*\.csv.*\[harvest\.units\]"),
        (swapped, r"Longitude and latitude are swapped"),
        (no_grain, r"yield"),
        (another_field, r"not of this trial's strips.*km"),
        (no_harvest, r"harvest/: there is no harvest log.*weights\.csv"),
    ],
)
def test_bad_input_gets_one_message_and_status_2(analysed, tmp_path, spoil, says):
    demo = tmp_path / "demo"
    shutil.copytree(analysed, demo)
    spoil(demo)
    before = snapshot(demo)
    shown = run("analyse", demo)
    assert shown.returncode == BAD_INPUT
    assert "Traceback" not in shown.stderr
    assert re.search(says, shown.stderr, re.S)
    assert shown.stdout == ""
    assert snapshot(demo) == before


def test_strips_that_overlap_or_lie_outside_are_refused(demo):
    layout = demo / "layout.geojson"
    content = json.loads(layout.read_text())
    first, second = (f for f in content["features"][:2])
    second["geometry"] = first["geometry"]
    layout.write_text(json.dumps(content))
    shown = run("analyse", demo)
    assert shown.returncode == BAD_INPUT
    assert re.search(r"Strips \w+ and \w+ overlap by [\d,]+ m²", shown.stderr)


def test_decimal_commas_give_the_same_answer(analysed, demo):
    expected = json.loads((analysed / "results" / "result.json").read_text())
    log = log_of(demo)
    log.write_text(re.sub(r"(\d)\.(\d)", r"\1,\2", log.read_text()))
    found = json.loads(run("analyse", demo, "--json").stdout)
    assert found["comparisons"] == expected["comparisons"]


def test_without_a_column_map_a_proposal_is_shown_and_nothing_is_guessed(demo):
    edit(demo / "trial.toml", r"(?ms)^\[harvest.columns\].*?(?=^\[harvest.screening\])", "")
    shown = run("harvest", demo)
    assert shown.returncode == BAD_INPUT
    assert "[harvest.columns]" in shown.stderr
    assert 'flow_kg_s = "Grain flow (kg/s)"' in shown.stderr
    assert not (demo / "results").exists()


def test_the_message_of_an_error_is_in_the_json_too(tmp_path):
    shown = run("analyse", tmp_path / "nowhere", "--json")
    assert shown.returncode == BAD_INPUT
    assert "There is no such folder" in json.loads(shown.stdout)["error"]


@pytest.mark.parametrize("arguments", [("analyse",), ("analysis", "x"), ("check", "a", "b")])
def test_a_command_typed_wrongly(arguments):
    shown = run(*arguments)
    assert shown.returncode == BAD_INPUT
    assert "Traceback" not in shown.stderr


def test_our_own_fault_is_said_to_be_ours(tmp_path):
    code = (
        "import trialkit.trial, trialkit.cli\n"
        "def broken(path): raise RuntimeError('a bug')\n"
        "trialkit.trial.open_trial = broken\n"
        "trialkit.cli.main()"
    )
    command = [sys.executable, "-c", code, "analyse", str(tmp_path)]
    shown = subprocess.run(command, capture_output=True, text=True, check=False)
    assert shown.returncode == 1
    assert "This is a fault of trialkit's, not yours: RuntimeError: a bug" in shown.stderr


def test_lab_sets_the_notebooks_to_the_trial_and_keeps_work_that_is_there(demo):
    from trialkit.notebooks import lay_out_notebooks

    written = lay_out_notebooks(demo)
    assert "05-season-report.ipynb" in {path.name for path in written}
    text = written[0].read_text()
    assert 'trial_folder = \\"..\\"' in text
    assert lay_out_notebooks(demo) == []


def test_layout_writes_strips_where_there_are_none_with_map_and_card(demo):
    (demo / "layout.geojson").unlink()
    shown = run("layout", demo, "--json")
    assert shown.returncode == 0, shown.stderr
    answer = json.loads(shown.stdout)
    wrote = [Path(path).relative_to(demo).as_posix() for path in answer["wrote"]]
    assert wrote[:3] == ["layout.geojson", "results/layout.png", "results/field-card.html"]
    assert sorted(wrote[3:]) == [
        "results/guidance/field.geojson",
        "results/guidance/field.gpkg",
        "results/guidance/field.kml",
        "results/guidance/read-me.txt",
        "results/guidance/shapefiles.zip",
        "results/guidance/taskdata-version-3.zip",
        "results/guidance/taskdata-version-4.zip",
    ]
    assert answer["new"] is True
    assert answer["allocation"]["seed"] >= 0
    assert len(answer["strips"]) == 12


def test_new_from_what_the_terminal_exports(demo, tmp_path):
    (demo / "layout.geojson").unlink()
    run("layout", demo)
    export = demo / "results" / "guidance" / "taskdata-version-3.zip"
    shown = run("new", tmp_path / "next", "--field", export)
    assert shown.returncode == 0, shown.stderr
    assert (tmp_path / "next" / "boundary.geojson").exists()
    assert "\nguidance_point = [" in (tmp_path / "next" / "trial.toml").read_text(encoding="utf-8")
    wrong = run("new", tmp_path / "other", "--field", demo / "trial.toml")
    assert wrong.returncode == BAD_INPUT
    assert "trial.toml" in wrong.stderr
    assert not (tmp_path / "other").exists()


def test_layout_again_leaves_the_strips_and_writes_map_and_card(demo):
    before = (demo / "layout.geojson").read_bytes()
    shown = run("layout", demo, "--pdf")
    assert shown.returncode == 0, shown.stderr
    assert "There is a layout already; it stays as it is." in shown.stdout
    assert f"Wrote {demo / 'results' / 'field-card.pdf'}" in shown.stdout
    assert (demo / "layout.geojson").read_bytes() == before
    assert (demo / "results" / "field-card.pdf").read_bytes().startswith(b"%PDF-")


def test_layout_with_a_pace_that_nobody_takes_writes_nothing(demo):
    before = snapshot(demo)
    shown = run("layout", demo, "--pace-m", "9")
    assert shown.returncode == BAD_INPUT
    assert "A pace of 9 m is none. Walk 100 m" in shown.stderr
    assert snapshot(demo) == before
