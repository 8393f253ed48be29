"""Rendering, with small notebooks of our own: the season's notebook has its own tests."""

from __future__ import annotations

import sys

import nbformat
import psutil
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

import trialkit
from trialkit import simulate
from trialkit.errors import LogError, TrialkitError
from trialkit.report.render import render


@pytest.fixture
def notebook(tmp_path):
    """Return a maker of notebooks: a parameter cell, then the cells given."""

    def make(*cells):
        parameters = new_code_cell(
            "trial_folder = 'none'", id="parameters", metadata={"tags": ["parameters"]}
        )
        path = tmp_path / "small.ipynb"
        nbformat.write(new_notebook(cells=[parameters, *cells]), path)
        return path

    return make


@pytest.fixture
def rendered(notebook, tmp_path):
    def make(*cells, folder="trial", **options):
        (tmp_path / folder).mkdir(exist_ok=True)
        out = tmp_path / "results" / "report.html"
        return render(tmp_path / folder, out, notebook=notebook(*cells), **options)

    return make


def shows(*expressions):
    """Return a cell that shows values, each as a paragraph."""
    values = " + ".join(f"'<p>' + str({expression}) + '</p>'" for expression in expressions)
    return new_code_cell(f"from IPython.display import HTML\nHTML({values})", id="shows")


def test_the_page_holds_words_and_results_but_no_code(rendered, tmp_path):
    seen = []
    # A folder whose name would break out of a string put together carelessly.
    folder = "it's a \"trial\"'; 1+x #"
    out = rendered(
        new_markdown_cell("## A heading"),
        new_code_cell("import sys, trialkit; print('noise', file=sys.stderr); print('noise')"),
        shows("6 * 7", "sys.executable", "trialkit.__file__", "len(trial_folder)"),
        new_markdown_cell("for the notebook", metadata={"tags": ["notebook-only"]}),
        folder=folder,
        progress=seen.append,
    )
    page = out.read_text(encoding="utf-8")
    assert "<h2>A heading</h2>" in page
    assert "<p>42</p>" in page
    # The kernel is this interpreter, with the packages that this interpreter sees.
    assert f"<p>{sys.executable}</p>" in page
    assert f"<p>{trialkit.__file__}</p>" in page
    assert f"<p>{len(str((tmp_path / folder).resolve()))}</p>" in page
    for hidden in ("6 * 7", "noise", "for the notebook", "<script", "http:", "https:"):
        assert hidden not in page
    assert "A heading" in seen
    assert seen[-1] == "Writing the report"


def test_folders_of_earlier_seasons_reach_the_notebook(rendered, tmp_path):
    for name in ("it's 2022", "2023"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "trial.toml").touch()
    earlier = [tmp_path / "it's 2022", tmp_path / "2023"]
    out = rendered(shows("[folder[-9:] for folder in earlier]", "len(earlier)"), earlier=earlier)
    page = out.read_text(encoding="utf-8")
    assert "<p>2</p>" in page
    assert "it's 2022" in page


def test_an_earlier_season_that_is_not_there(rendered, tmp_path):
    with pytest.raises(TrialkitError, match=r"there is no trial\.toml here"):
        rendered(shows("1"), earlier=[tmp_path / "nowhere"])


def test_our_own_error_is_told_as_it_is_and_the_last_report_stays(rendered, tmp_path):
    earlier = tmp_path / "results" / "report.html"
    earlier.parent.mkdir()
    earlier.write_text("earlier")
    cell = new_code_cell(
        "from trialkit.errors import LogError\nraise LogError('a.csv, row 7: no yield. Mend it.')"
    )
    with pytest.raises(LogError, match=r"^a\.csv, row 7: no yield\. Mend it\.$"):
        rendered(cell)
    assert earlier.read_text() == "earlier"
    assert list(earlier.parent.iterdir()) == [earlier]


def test_a_cell_for_the_notebook_only_is_neither_run_nor_shown(rendered, tmp_path):
    ran = tmp_path / "ran"
    only = new_code_cell(
        f"open({str(ran)!r}, 'w').close(); 'control'", metadata={"tags": ["notebook-only"]}
    )
    page = rendered(only, shows("6 * 7")).read_text(encoding="utf-8")
    assert "<p>42</p>" in page
    assert "control" not in page
    assert not ran.exists()


def test_a_kernel_that_dies(rendered):
    with pytest.raises(TrialkitError, match="Python stopped while running it"):
        rendered(new_code_cell("import os; os._exit(3)"))


def test_the_same_notebook_gives_the_same_bytes_and_leaves_no_kernel(rendered):
    before = {child.pid for child in psutil.Process().children(recursive=True)}
    first = rendered(shows("1")).read_bytes()
    assert rendered(shows("1")).read_bytes() == first
    with pytest.raises(
        TrialkitError, match=r"^The report stopped\. ZeroDivisionError: div"
    ) as stop:
        rendered(new_code_cell("1 / 0"))
    assert "Traceback" not in str(stop.value)
    after = psutil.Process().children(recursive=True)
    assert [child for child in after if child.pid not in before and child.is_running()] == []


def test_several_treatments_are_judged_together_on_the_adviser_s_pages(tmp_path):
    layout = simulate.lay_strips(["untreated", "water", "dressed"], 3, seed=2)
    simulate.write_trial(tmp_path / "trial", layout, simulate.harvest_trial(layout, seed=2))
    page = render(tmp_path / "trial", tmp_path / "out.html").read_text(encoding="utf-8")
    assert "Low, together" in page
    assert "With 2 treatments against untreated, one may look different by luck" in page
    for name in ("water", "dressed"):
        assert f"{name}: leaving out one strip at a time, the gain lies within" in page
    assert "What treatment and block leave over of 9 strips" in page
    # Three blocks of three, one pair in each: no p under 0.25, and no interval from the draw.
    assert "so it gives no 95% interval" in page


def test_a_notebook_without_parameters(tmp_path):
    path = tmp_path / "bare.ipynb"
    nbformat.write(new_notebook(cells=[new_code_cell("1")]), path)
    with pytest.raises(TrialkitError, match="no cell tagged 'parameters'"):
        render(tmp_path, tmp_path / "out.html", notebook=path)


@pytest.mark.parametrize("content", [None, "not json", '{"cells": 3}'])
def test_a_notebook_that_cannot_be_read(tmp_path, content):
    path = tmp_path / "broken.ipynb"
    if content is not None:
        path.write_text(content)
    with pytest.raises(TrialkitError, match=r"broken\.ipynb: this notebook cannot be read"):
        render(tmp_path, tmp_path / "out.html", notebook=path)
