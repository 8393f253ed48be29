from __future__ import annotations

import re

import pandas as pd
import pytest

import trialkit
from trialkit.errors import LogError, TrialFolderError
from trialkit.trial import check_folder, check_harvest, open_trial
from trialkit.trial.template import new_folder
from trialkit.trial.writing import write_csv, write_whole


def test_open_trial_is_at_hand():
    assert trialkit.open_trial is open_trial


def test_all_faults_of_all_files_come_in_one_message(trial_folder):
    toml = trial_folder / "trial.toml"
    toml.write_text(toml.read_text().replace("season = 2024", "season = 1"))
    (trial_folder / "counts.csv").write_text("strip,count,area_m2\nS0,x,1\n")
    (trial_folder / "boundary.geojson").write_text("{}")
    with pytest.raises(TrialFolderError, match="has 3 faults") as raised:
        open_trial(trial_folder)
    for place in ("trial.toml, [trial] season", "counts.csv, row 2, count", "boundary.geojson"):
        assert place in str(raised.value)


def test_no_folder(tmp_path):
    with pytest.raises(TrialFolderError, match=r"There is no such folder.*trialkit new"):
        open_trial(tmp_path / "nowhere")


def test_a_trial_before_harvest_is_in_order_but_has_no_log(trial_folder):
    trial = open_trial(trial_folder)
    assert [check.outcome for check in check_harvest(trial)] == ["warning"]
    with pytest.raises(LogError, match="there is no harvest log"):
        trial.harvest_log()


@pytest.mark.parametrize("name", ["layout.geojson", "harvest/log.csv"])
def test_a_link_out_of_the_folder_is_refused(trial_folder, tmp_path, name):
    elsewhere = tmp_path / "elsewhere.txt"
    elsewhere.write_text("secret")
    link = trial_folder / name
    link.parent.mkdir(exist_ok=True)
    link.unlink(missing_ok=True)
    link.symlink_to(elsewhere)
    with pytest.raises(TrialFolderError, match=f"{name}: It points outside the trial folder"):
        open_trial(trial_folder)


def test_a_new_folder_is_accepted_once_its_blanks_are_filled(tmp_path, features, write_layout):
    folder = tmp_path / "mine"
    written = new_folder(folder)
    assert folder / "trial.toml" in written
    trial, checks = check_folder(folder)
    assert trial is None
    blanks = [check for check in checks if "blank" in check.found]
    toml = folder / "trial.toml"
    text, filled = re.subn(r'""(.*for example )("[^"]*"|[\d.]+)', r"\2\1\2", toml.read_text())
    assert filled == len(blanks)
    toml.write_text(text)
    write_layout(folder, features)
    trial, checks = check_folder(folder)
    assert checks == []
    assert trial is not None
    assert trial.config.machines.harvester_m == 12


def test_a_new_folder_is_never_written_over_another(tmp_path):
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(TrialFolderError, match="something here already"):
        new_folder(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["note.txt"]


def test_a_write_that_fails_leaves_the_last_good_file(tmp_path):
    path = write_whole(tmp_path / "result.txt", "good")
    with pytest.raises(UnicodeEncodeError, match="surrogates"):
        write_whole(path, "\ud800")
    assert path.read_text() == "good"
    assert [p.name for p in tmp_path.iterdir()] == ["result.txt"]


def test_no_cell_can_start_a_formula(tmp_path):
    table = pd.DataFrame({"strip": ["=1+1", "@x", "S1", "-2"], "gain": [-1.0, 2.0, 3.0, 4.0]})
    lines = write_csv(tmp_path / "t.csv", table, decimals=1).read_text().splitlines()
    assert lines == ["strip,gain", "'=1+1,-1.0", "'@x,2.0", "S1,3.0", "'-2,4.0"]
