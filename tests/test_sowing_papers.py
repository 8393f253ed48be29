"""From a trial folder to the run sheets, as the command writes them."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from trialkit.errors import TrialFolderError
from trialkit.shipped import copy_demo
from trialkit.sowing_papers import STEPS, make_run_sheets
from trialkit.trial.laying_out import lay_out_folder

PLAN = "oats-2025-to-plan"
SHEETS = ["results/run-sheet-shed.html", "results/run-sheet-cab.html"]


@pytest.fixture
def demo(tmp_path):
    copy_demo(tmp_path / "plan", PLAN)
    return tmp_path / "plan"


def names(sheets, folder):
    return [path.relative_to(folder).as_posix() for path in sheets.written]


def run(*arguments):
    code = "import sys; from trialkit.cli import main; sys.argv[0] = 'trialkit'; main()"
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def snapshot(folder):
    return {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_before_the_layout_and_after_it(demo):
    told = []
    before = make_run_sheets(demo, progress=told.append)
    assert told == list(STEPS[:2])
    assert names(before, demo) == SHEETS
    assert before.sowing.order is None
    assert any("one full mix of 3 l dresses 250 kg" in line for line in before.sentences())
    lay_out_folder(demo)
    after = make_run_sheets(demo)
    # Sixteen strips of about 1.16 ha, eight of them dressed, 80 kg/ha, 5% and 40 kg on top.
    assert 800 < 1000 * after.sowing.dressed[0].seed_t < 850
    assert any("is sown on S1, " in line for line in after.sentences())


def test_the_same_folder_gives_the_same_bytes_and_no_input_is_touched(demo):
    lay_out_folder(demo)
    inputs = snapshot(demo)
    first = make_run_sheets(demo, pdf=True)
    assert names(first, demo) == [
        *SHEETS,
        "results/run-sheet-shed.pdf",
        "results/run-sheet-cab.pdf",
    ]
    before = snapshot(demo)
    make_run_sheets(demo, pdf=True)
    assert snapshot(demo) == before
    assert all(before[path] == content for path, content in inputs.items())


def test_answers_in_dressing_csv_are_on_the_sheet_made_again(demo):
    lay_out_folder(demo)
    make_run_sheets(demo)
    sheet = demo / SHEETS[0]
    assert "Written down so far" not in sheet.read_text()
    rows = ["date,product,amount,unit,seed_t", "2025-05-12,kelp syrup,1.2,l,0.2"]
    (demo / "dressing.csv").write_text("\n".join(rows) + "\n")
    sheets = make_run_sheets(demo)
    text = sheet.read_text()
    assert "Written down so far" in text
    assert "6 l of &#39;kelp syrup&#39; on a tonne of seed, and 3 l were planned" in text
    assert any("and 3 l were planned" in line for line in sheets.sentences())


def test_everything_as_plain_values(demo):
    lay_out_folder(demo)
    record = make_run_sheets(demo).as_plain()
    text = json.dumps(record, allow_nan=False)
    assert "NaN" not in text
    (dressed,) = record["dressed"]
    assert dressed["mixes"] * dressed["mix_l"] == pytest.approx(12 * dressed["seed_t"])
    for one, total in zip(dressed["per_mix"], dressed["totals"], strict=True):
        assert one["amount"] * dressed["mixes"] == pytest.approx(total["amount"])
    assert len(record["order"]) == 16
    assert record["clean_outs"][1]["comes"] == "dressed"
    assert record["written_down"] is None


def test_the_command_says_what_is_missing_and_what_it_looks_like(trial_folder):
    before = snapshot(trial_folder)
    shown = run("runsheet", trial_folder)
    assert shown.returncode == 2
    assert "trial.toml says too little for run sheets." in shown.stderr
    for words in ("[dressing] mixer_l", "[[treatments.products]]", 'form = "watery"'):
        assert words in shown.stderr
    assert "Traceback" not in shown.stderr
    assert snapshot(trial_folder) == before


def test_the_command_writes_and_prints(demo):
    shown = run("runsheet", demo)
    assert shown.returncode == 0, shown.stderr
    assert f"Wrote {demo / SHEETS[0]}" in shown.stdout
    assert "Dressed seed is never food or feed." in shown.stdout
    answer = run("runsheet", demo, "--json", "--pdf")
    assert len(json.loads(answer.stdout)["wrote"]) == 4


def test_a_mix_that_cannot_be_made_is_one_sentence(demo):
    path = demo / "trial.toml"
    path.write_text(path.read_text().replace("tank_l = 5", "tank_l = 1"))
    shown = run("runsheet", demo)
    assert shown.returncode == 2
    assert "dressing of 'dressed': The tank holds 1 l, and one mix is 3 l" in shown.stderr


@pytest.mark.parametrize("name", ["nowhere", "trial.toml"])
def test_what_is_no_trial_folder(trial_folder, name):
    with pytest.raises(
        TrialFolderError, match=r"there is no trial\.toml here. Give a trial folder"
    ):
        make_run_sheets(trial_folder / name)


def test_results_that_lead_out_of_the_folder_are_refused(demo, tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (demo / "results").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(TrialFolderError, match="results: It points outside the trial folder"):
        make_run_sheets(demo)
    assert list((tmp_path / "elsewhere").iterdir()) == []
