"""The notebooks as stored, and the season report from top to bottom on a demo trial."""

from __future__ import annotations

import re
import shutil
from html import unescape
from html.parser import HTMLParser

import nbformat
import pypdf
import pytest
from nbclient import NotebookClient

from trialkit.report.render import render
from trialkit.season import analyse, write_results
from trialkit.shipped import copy_demo, demo_folders, demo_trials, shipped
from trialkit.trial import open_trial

NOTEBOOKS = sorted(shipped("notebooks").glob("*.ipynb"))
EACH = [pytest.param(path, id=path.stem) for path in NOTEBOOKS]

#: Lines of code a reader can take in at a glance.
SHORT = 18


def test_there_are_notebooks():
    assert "05-season-report" in [path.stem for path in NOTEBOOKS]


@pytest.mark.parametrize("path", EACH)
def test_notebooks_are_stored_without_results(path):
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None


@pytest.mark.parametrize("path", EACH)
def test_notebooks_have_one_parameter_cell_and_short_cells(path):
    cells = nbformat.read(path, as_version=4).cells
    tagged = [c for c in cells if "parameters" in c.metadata.get("tags", ())]
    assert len(tagged) == 1
    code = [c for c in cells if c.cell_type == "code"]
    assert max(len(c.source.splitlines()) for c in code) <= SHORT
    assert len({c.id for c in cells}) == len(cells)


@pytest.mark.parametrize("path", EACH)
def test_the_trial_a_notebook_starts_with_is_there(path):
    cells = nbformat.read(path, as_version=4).cells
    tagged = next(c for c in cells if "parameters" in c.metadata.get("tags", ()))
    folder = re.search(r'trial_folder = "([^"]+)"', tagged.source)[1]
    assert (path.parent / folder / "trial.toml").exists()


class Page(HTMLParser):
    """What the tests ask of a page: headings, pictures, tables, text."""

    def __init__(self, markup):
        super().__init__()
        self.headings, self.images, self.tables, self.headers, self.words = [], [], 0, 0, []
        self.feed(markup)

    def handle_starttag(self, tag, attrs):
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "img":
            self.images.append(dict(attrs))
        if tag == "table":
            self.tables += 1
        if tag == "thead":
            self.headers += 1

    def handle_data(self, data):
        self.words.append(data)


@pytest.fixture(scope="module")
def trial():
    # The season with scale weights as well as a monitor, so that nothing is left unshown.
    return next(path for name, path in demo_trials().items() if (path / "weights.csv").exists())


@pytest.fixture(scope="module")
def report(trial, tmp_path_factory):
    out = tmp_path_factory.mktemp("report") / "report.html"
    return render(trial, out, pdf_file=out.with_suffix(".pdf"))


@pytest.fixture(scope="module")
def markup(report):
    return report.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def paper(report):
    return pypdf.PdfReader(report.with_suffix(".pdf"))


def test_the_season_report_needs_nothing_else(markup):
    assert markup.startswith("<!doctype html>")
    assert not re.search(r"<script|<link|<iframe|@import|url\(", markup)
    assert [a for a in re.findall(r'(?:src|href)="([^"]*)"', markup) if a[:5] not in "data:#"] == []


def test_the_season_report_can_be_read_without_seeing_it(markup):
    page = Page(markup)
    assert page.headings[0] == 1
    assert page.headings.count(1) == 1
    steps = zip(page.headings, page.headings[1:], strict=False)
    assert all(after - before <= 1 for before, after in steps)
    assert len(page.images) >= 7
    assert all(len(image["alt"]) > 20 for image in page.images)
    assert page.tables == page.headers


def test_the_season_report_says_everything(markup, trial):
    text = " ".join(" ".join(Page(markup).words).split())
    config = open_trial(trial).config
    assert config.trial.name in text
    assert "Invented example" in text
    for part in (
        "What was left out",
        "Main analysis",
        "The same question by other methods",
        "randomisation test",
        "strip yields by the scales",
        "From the harvest log to strip yields",
        "Partial budget",
        "Limits",
        "Label and safety data sheet first",
        "SHA-256",
        "random seed",
    ):
        assert part in text, part
    assert f"{config.money.currency}/ha" in text
    assert "Traceback" not in text


def test_the_season_report_has_no_stray_numbers(markup):
    text = " ".join(Page(markup).words)
    assert not re.search(r"\bnan\b|\bNaN\b|\bNone\b|\binf\b", text)


def test_the_first_page_is_the_first_sheet_and_all_are_numbered(paper, trial):
    config = open_trial(trial).config
    texts = [" ".join(sheet.extract_text().split()) for sheet in paper.pages]
    assert "How to read this page" in texts[0]
    assert "What to know before you rely on it" not in texts[0]
    assert texts[1].startswith("What to know before you rely on it")
    for number, text in enumerate(texts, 1):
        assert f"{config.trial.name}, {config.trial.season}" in text
        assert f"{number} / {len(texts)}" in text
        assert len(text) > 200, "a sheet with next to nothing on it"


def test_no_heading_is_left_alone_at_the_foot_of_a_sheet(paper, markup):
    headings = re.findall(r"<h2[^>]*>(.*?)</h2>", markup)
    captions = re.findall(r'<figure class="tk-table"><figcaption>(.*?)</figcaption>', markup)
    assert len(headings) > 8
    for sheet in paper.pages:
        lines = [line.strip() for line in sheet.extract_text().splitlines() if line.strip()]
        # The last two lines are the foot: the trial and the number of the page.
        above = [line for line in lines if "Biological" not in line and " / " not in line]
        assert unescape(above[-1]) not in {unescape(text) for text in (*headings, *captions)}


def of_structure(node, found):
    """Collect what a tagged PDF is made of: kind and alternative text, in reading order."""
    node = node.get_object()
    if isinstance(node, list):
        for part in node:
            of_structure(part, found)
    elif hasattr(node, "get"):
        if "/S" in node:
            found.append((node["/S"], node.get("/Alt")))
        if "/K" in node:
            of_structure(node["/K"], found)
    return found


def test_the_pdf_can_be_read_without_seeing_it(paper, markup):
    root = paper.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    parts = of_structure(root["/StructTreeRoot"]["/K"], [])
    page = Page(markup)
    figures = [alt for kind, alt in parts if kind == "/Figure"]
    assert figures == [unescape(image["alt"]) for image in page.images]
    kinds = [kind for kind, _ in parts]
    assert [int(kind[2]) for kind in kinds if re.fullmatch("/H[1-6]", kind)] == page.headings
    # A table that goes on overleaf is two, each with its headings.
    assert kinds.count("/Table") == kinds.count("/THead") >= page.tables
    assert kinds.count("/TH") >= 3 * page.tables


def outputs_of(name, folder):
    """Run a notebook as JupyterLab would; the season report runs through `render` above."""
    notebook = nbformat.read(next(p for p in NOTEBOOKS if p.stem == name), as_version=4)
    for cell in notebook.cells:
        if "parameters" in cell.metadata.get("tags", ()):
            cell.source = f"trial_folder = {str(folder)!r}"
    NotebookClient(notebook, timeout=300, kernel_name="python3").execute()
    return {cell.id: cell.outputs for cell in notebook.cells if cell.cell_type == "code"}


# A paddock to plan in, and one that was sown long ago, without past yields or wishes.
@pytest.mark.parametrize("folder", ["oats-2025-to-plan", "oats-2023-hard-frost"])
def test_the_design_from_top_to_bottom(folder):
    outputs = outputs_of("01-design", demo_folders()[folder])
    for cell in ("price-picture", "layout", "season-rows", "verdicts", "compare-picture"):
        assert any("text/html" in output.get("data", {}) for output in outputs[cell]), cell
    assert "This trial cannot tell" in str(outputs["foresight"])
    assert "in four draws of five" in str(outputs["rehearsed"])
    invented = "invented ground 1" in str(outputs["season-rows"])
    assert invented == (folder == "oats-2023-hard-frost")


# A paddock to plan in with its recipe, and one that was sown long ago and says nothing of a mix.
@pytest.mark.parametrize("folder", ["oats-2025-to-plan", "oats-2023-hard-frost"])
def test_the_sowing_from_top_to_bottom(folder):
    outputs = outputs_of("02-sowing", demo_folders()[folder])
    for cell in ("dial", "match", "match-rows", "seed", "meter", "arms", "order", "clean-outs"):
        assert any("text/html" in output.get("data", {}) for output in outputs[cell]), cell
    planned = folder == "oats-2025-to-plan"
    assert ("says all that the run sheets need" in str(outputs["missing"])) == planned
    assert ("[dressing] mixer_l" in str(outputs["missing"])) != planned
    for cell in ("mix", "packs", "morning"):
        assert bool(outputs[cell]) == planned, cell


def test_the_harvest_from_top_to_bottom(trial):
    outputs = outputs_of("04-harvest", trial)
    for shown in ("passes", "delay", "ends", "left-out", "spread", "maps", "strips", "rows"):
        assert any("text/html" in output.get("data", {}) for output in outputs[shown]), shown
    assert "Height above surroundings" in str(outputs["relief"])


def test_across_seasons_from_top_to_bottom(tmp_path):
    # One season stored, so that only the others are to be worked out.
    for name, folder in demo_trials().items():
        shutil.copytree(folder, tmp_path / name)
    first = open_trial(tmp_path / min(demo_trials()))
    write_results(first, analyse(first))
    outputs = outputs_of("06-across-seasons", first.path)
    for cell in ("answer", "gains", "money", "rows", "frost"):
        assert any("text/html" in output.get("data", {}) for output in outputs[cell]), cell
    assert "2 seasons: " in str(outputs["answer"])
    (read,) = outputs["read"]
    told = read["data"]["text/html"]
    assert told.count("Worked out anew") == len(demo_trials()) - 1
    assert "Not pooled, since no other folder has its treatments" in told


def test_across_seasons_with_one_season(tmp_path):
    shutil.copytree(demo_folders()["oats-2025-to-plan"], tmp_path / "only")
    outputs = outputs_of("06-across-seasons", tmp_path / "only")
    assert "There is one season here" in str(outputs["read"])


def test_the_scouting_from_top_to_bottom():
    outputs = outputs_of("03-scouting", demo_folders()["oats-2023-hard-frost"])
    shown = ["plants", "plants-picture", "places-rows", "frost-picture", "frost-rows", "sterility"]
    for cell in (*shown, "scores", "cold", "gain-picture"):
        assert any("text/html" in output.get("data", {}) for output in outputs[cell]), cell
    assert "Everything is there" in str(outputs["missing"])
    assert "90% of untreated" in str(outputs["establishment"])
    assert "The gain grows with the cold" in str(outputs["gain"])


def test_the_scouting_of_a_folder_where_nobody_scouted(tmp_path):
    copy_demo(tmp_path / "bare", "oats-2024-no-frost")
    (tmp_path / "bare" / "counts.csv").unlink()
    for log in (tmp_path / "bare" / "harvest").iterdir():
        log.unlink()
    outputs = outputs_of("03-scouting", tmp_path / "bare")
    assert "Plants were not counted" in str(outputs["missing"])
    assert "There are no temperatures" in str(outputs["missing"])
    assert "Without a harvest log with heights" in str(outputs["harvest"])
    assert "to see a difference of 15%" in str(outputs["places-rows"])
    assert not any(outputs[cell] for cell in ("plants", "frost-picture", "scores", "gain"))
