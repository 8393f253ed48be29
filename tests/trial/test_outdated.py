"""An answer or a report that rests on other files than the folder has now is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from trialkit.result import InputFile
from trialkit.trial import open_trial
from trialkit.trial.outdated import (
    check_results,
    fingerprinted,
    report_inputs,
    since_last_report,
)
from trialkit.trial.provenance import input_files

PAGE = "<html><head><title>Season report</title></head><body></body></html>"


@pytest.fixture
def reported(trial_folder: Path) -> Path:
    """A trial folder with a report on it."""
    inputs = tuple(input_files(open_trial(trial_folder)))
    (trial_folder / "results").mkdir()
    (trial_folder / "results" / "report.html").write_text(fingerprinted(PAGE, inputs))
    return trial_folder


def test_what_stands_on_a_page_is_read_back(tmp_path):
    odd = '"><script>alert(1)</script>&amp;.csv'
    inputs = (InputFile("trial.toml", "0" * 64), InputFile(odd, "1" * 64))
    page = fingerprinted(PAGE, inputs)
    assert "<script>" not in page
    (tmp_path / "report.html").write_text(page)
    assert report_inputs(tmp_path / "report.html") == inputs


@pytest.mark.parametrize(
    "page",
    ["", PAGE, "\x00\xff", '<meta name="trialkit-inputs" content="{"><title>', "<" * 10_000,
     '<meta name="trialkit-inputs" content="[]">', '<meta name="trialkit-inputs">'],
)  # fmt: skip
def test_a_page_that_says_nothing(tmp_path, page):
    (tmp_path / "report.html").write_text(page)
    assert report_inputs(tmp_path / "report.html") is None
    assert report_inputs(tmp_path / "none.html") is None


def test_a_report_up_to_date_needs_no_note(reported):
    assert check_results(open_trial(reported)) == []
    assert since_last_report(open_trial(reported)) == []


def test_what_changed_since_the_report_is_told(reported):
    config = reported / "trial.toml"
    config.write_text(config.read_text() + "# a remark\n")
    (reported / "counts.csv").write_text("strip,count,area_m2\nS1,30,0.25\n")
    (note,) = check_results(open_trial(reported))
    assert note.outcome == "warning"
    assert note.file == "results/report.html"
    assert "counts.csv is new" in note.found
    assert "trial.toml has changed" in note.found
    (sentence,) = since_last_report(open_trial(reported))
    assert sentence.startswith("Since the report before: counts.csv is new")


def test_a_folder_without_results_needs_no_note(trial_folder):
    assert check_results(open_trial(trial_folder)) == []
