from __future__ import annotations

import pytest

from trialkit.errors import TrialFolderError
from trialkit.shipped import copy_demo, demo_trials
from trialkit.trial import open_trial


@pytest.mark.parametrize("name", sorted(demo_trials()))
def test_each_demo_trial_opens_and_says_that_it_is_invented(name, tmp_path):
    copy_demo(tmp_path / "demo", name)
    trial = open_trial(tmp_path / "demo")
    assert trial.config.trial.invented


def test_there_are_two_seasons_and_a_trial_of_two_dressings():
    assert len(demo_trials()) == 3


def test_a_demo_trial_that_is_not_there(tmp_path):
    with pytest.raises(TrialFolderError, match=r"There is no demo trial 'rye'\. There are: "):
        copy_demo(tmp_path / "demo", "rye")


def test_a_demo_never_overwrites(tmp_path):
    (tmp_path / "mine.txt").write_text("x")
    with pytest.raises(TrialFolderError, match="something here already"):
        copy_demo(tmp_path)
