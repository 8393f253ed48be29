"""A season worked out again: the same to the byte, or what differs and by how much."""

from __future__ import annotations

import json
import math
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import Result
from typer.testing import CliRunner

import trialkit
from trialkit.cli import BAD_INPUT, app
from trialkit.errors import BundleError, TrialFolderError
from trialkit.repeated import SAME_SHARE, repeat, repeated
from trialkit.result import Comparison, CrossCheck, InputFile, Summary

#: Strips weighed: the dressed ones (S1, S2, S5, S6) some 250 kg heavier.
WEIGHTS_KG = (2010, 2260, 2300, 2080, 1950, 2210, 2180, 1990)


@pytest.fixture
def weighed(trial_folder: Path) -> Path:
    rows = [f"S{n},{kg},12.0" for n, kg in enumerate(WEIGHTS_KG)]
    text = "strip,mass_kg,moisture_pct\n" + "\n".join(rows) + "\n"
    (trial_folder / "weights.csv").write_text(text)
    trial = trialkit.open_trial(trial_folder)
    trialkit.write_results(trial, trialkit.analyse(trial))
    return trial_folder


@pytest.fixture
def summary() -> Summary:
    comparison = Comparison(
        "dressed", "untreated", 0.2, 0.1, 0.3, 0.04, 5.0, 0.01, "strips", 0.05, 45.0, 15.0, 75.0,
        0.99, "paid",
    )  # fmt: skip
    check = CrossCheck("shuffling", "dressed", "untreated", 0.2, None, None, 0.02)
    return Summary(
        "Trial", 2024, "oats", "AUD", (comparison,), {"n": 8, "by_treatment": {"dressed": 4}},
        {"read": 0, "kept": 0, "reasons": {}}, (check,), ("A note.",),
        (InputFile("trial.toml", "0" * 64),), {"numpy": "2.0"}, 1,
    )  # fmt: skip


def with_gain(summary: Summary, gain_t_ha: float) -> Summary:
    (one,) = summary.comparisons
    return replace(summary, comparisons=(replace(one, gain_t_ha=gain_t_ha),))


def test_the_same_inputs_give_the_same_bytes(weighed):
    found = repeat(trialkit.open_trial(weighed))
    assert found.same
    assert found.same_bytes
    assert found.sentences() == ["Worked out again: the same to the byte."]


def test_nothing_is_written(weighed):
    before = {path: path.stat().st_mtime_ns for path in weighed.rglob("*")}
    repeat(trialkit.open_trial(weighed))
    assert before == {path: path.stat().st_mtime_ns for path in weighed.rglob("*")}


def test_an_answer_touched_by_hand_is_not_the_same_to_the_byte(weighed):
    answer = weighed / "results" / "result.json"
    answer.write_text(answer.read_text().replace("  ", " "))
    found = repeat(trialkit.open_trial(weighed))
    assert found.same
    assert not found.same_bytes


def test_a_changed_weight_is_named_with_what_it_changes(weighed):
    weights = weighed / "weights.csv"
    weights.write_text(weights.read_text().replace("2260", "2360"))
    found = repeat(trialkit.open_trial(weighed))
    assert found.inputs == ("weights.csv has changed since the answer was worked out.",)
    places = {difference.place for difference in found.numbers}
    assert "dressed against untreated, gain_t_ha" in places
    assert "season" not in places


def test_without_an_answer(weighed):
    (weighed / "results" / "result.json").unlink()
    with pytest.raises(TrialFolderError, match=r"result\.json: there is no answer to compare"):
        repeat(trialkit.open_trial(weighed))


def test_rounding_is_the_same_and_more_is_not(summary):
    near = repeated(summary, with_gain(summary, 0.2 * (1 + SAME_SHARE / 2)))
    assert near.same
    assert not near.same_bytes
    assert math.isclose(near.largest, SAME_SHARE / 2, rel_tol=1e-6)
    assert "every number is the same (largest difference 5e-07 of it)" in near.sentences()[0]
    far = repeated(summary, with_gain(summary, 0.2 * (1 + SAME_SHARE * 2)))
    assert not far.same
    (one,) = far.numbers
    assert one.place == "dressed against untreated, gain_t_ha"
    assert one.sentence().endswith("(2e-06 of it).")


@pytest.mark.parametrize(("then", "now"), [(0.0, 1e-12), (-0.0, 0.0), (3, 3.0)])
def test_next_to_nothing_is_nothing(summary, then, now):
    assert repeated(with_gain(summary, then), with_gain(summary, now)).same


def test_a_sign_turned_round_is_told(summary):
    found = repeated(summary, with_gain(summary, -0.2))
    assert found.largest == pytest.approx(2.0)
    assert not found.same


def test_a_verdict_and_a_count_are_compared_too(summary):
    (one,) = summary.comparisons
    other = replace(
        summary,
        comparisons=(replace(one, verdict="not settled"),),
        strips={"n": 7, "by_treatment": {"dressed": 3}},
        cross_checks=(),
    )
    said = repeated(summary, other).sentences()
    assert "dressed against untreated, verdict: paid then, not settled now." in said
    assert "strips, n: 8 then, 7 now (0.12 of it)." in said
    assert any("cross-check 1 (shuffling)" in one and "nothing now" in one for one in said)


def test_software_and_notes_are_told_and_change_nothing(summary):
    other = replace(summary, versions={"numpy": "2.1", "scipy": "1"}, warnings=("Another.",))
    found = repeated(summary, other)
    assert found.same
    assert found.sentences()[1:] == [
        "Other software: numpy: 2.0 then, 2.1 now.",
        "Other software: scipy: nothing then, 1 now.",
        "Said then only: A note.",
        "Said now only: Another.",
    ]
    assert json.loads(json.dumps(found.as_plain(), allow_nan=False))["same"] is True


# The commands ----------------------------------------------------------------------------------


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_the_commands_there_and_back(weighed, tmp_path):
    again = run("analyse", weighed, "--again")
    assert (again.exit_code, again.stdout) == (0, "Worked out again: the same to the byte.\n")

    made = run("bundle", weighed, "--out", tmp_path / "sent.zip", "--shift", "--without-names")
    assert made.exit_code == 0
    assert "SHA-256 of the bundle: " in made.stdout
    checked = run("check", tmp_path / "sent.zip", "--json")
    assert checked.exit_code == 0
    assert json.loads(checked.stdout)["right"] is True

    weights = weighed / "weights.csv"
    weights.write_text(weights.read_text().replace("2260", "2360"))
    other = run("analyse", weighed, "--again", "--json")
    assert other.exit_code == BAD_INPUT
    assert json.loads(other.stdout)["inputs"] == [
        "weights.csv has changed since the answer was worked out."
    ]
    stale = run("check", weighed)
    assert stale.exit_code == 0
    assert "note   results/result.json: It does not rest on the files as they are" in stale.stdout
    assert isinstance(run("bundle", weighed).exception, BundleError)


def test_a_changed_bundle_as_it_is_typed(weighed, tmp_path):
    assert run("bundle", weighed, "--json").exit_code == 0
    sent = weighed.with_name("trial.zip")
    with zipfile.ZipFile(sent) as archive:
        inside = {entry.filename: archive.read(entry) for entry in archive.infolist()}
    with zipfile.ZipFile(sent, "w") as archive:
        for name, raw in inside.items():
            archive.writestr(name, raw.replace(b"2260", b"2360"))
    code = "from trialkit.cli import main; main()"
    command = [sys.executable, "-c", code, "check", str(sent)]
    checked = subprocess.run(command, capture_output=True, text=True, check=False)
    assert checked.returncode == BAD_INPUT
    assert "FAULT  weights.csv: It was changed after the checksums were made." in checked.stdout
    assert "Traceback" not in checked.stderr
