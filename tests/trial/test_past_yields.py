"""Yield maps of earlier seasons: found, read by the trial's headings or our own, screened."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest

from trialkit.errors import LogError, TrialFolderError, TrialkitWarning
from trialkit.shipped import copy_demo, demo_folders, demo_trials
from trialkit.trial.config import read_config
from trialkit.trial.past_yields import read_past_yields

PLAN = next(name for name in demo_folders() if name not in demo_trials())


@pytest.fixture
def plan(tmp_path):
    copy_demo(tmp_path / "plan", PLAN)
    config, _ = read_config(tmp_path / "plan" / "trial.toml")
    return tmp_path / "plan", config


def test_each_file_is_a_season(plan):
    found = read_past_yields(*plan)
    assert list(found) == ["2022", "2023"]
    assert all(season["kept"].mean() > 0.98 for season in found.values())


def test_none(plan):
    folder, config = plan
    shutil.rmtree(folder / "past-yields")
    assert read_past_yields(folder, config) == {}


def test_the_same_monitor_as_the_trial(tmp_path):
    """A season's raw log is read by the headings that trial.toml has for its harvest."""
    folder = tmp_path / "frost"
    copy_demo(folder, min(demo_trials()))
    (folder / "harvest").rename(folder / "past-yields")
    config, _ = read_config(folder / "trial.toml")
    found = read_past_yields(folder, config)
    assert 2 < next(iter(found.values()))["yield_t_ha"].median() < 4
    # One with trialkit's own headings beside it.
    own = pd.DataFrame({"longitude": 85.0, "latitude": -38.5, "yield_t_ha": [2.9, 3.0, 3.1] * 10})
    own["latitude"] += own.index * 1e-5
    shutil.rmtree(folder / "past-yields")
    (folder / "past-yields").mkdir()
    own.to_csv(folder / "past-yields" / "2019.csv", index=False)
    assert len(read_past_yields(folder, config)["2019"]) == 30


def test_what_reading_has_to_say_names_the_season(plan):
    folder, config = plan
    stuck = pd.read_csv(folder / "past-yields" / "2022.csv").assign(yield_t_ha=3.0)
    stuck.to_csv(folder / "past-yields" / "2022.csv", index=False)
    with pytest.warns(TrialkitWarning, match=r"^past-yields/2022\.csv: .*frozen value"):
        read_past_yields(folder, config)


def test_what_holds_no_yields_is_named(plan):
    folder, config = plan
    (folder / "past-yields" / "2021.csv").write_text("hello\n1\n", encoding="utf-8")
    with pytest.raises(LogError, match=r"2021\.csv"):
        read_past_yields(folder, config)


def test_a_link_that_leads_out_is_refused(plan, tmp_path):
    folder, config = plan
    outside = tmp_path / "secret.csv"
    outside.write_text("longitude,latitude,yield_t_ha\n1,1,1\n", encoding="utf-8")
    (folder / "past-yields" / "x.csv").symlink_to(outside)
    with pytest.raises(TrialFolderError, match="outside the trial folder"):
        read_past_yields(folder, config)
