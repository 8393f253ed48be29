"""The papers in another language: every word of them is translated, no number or caution is lost.

The language here is made up: it has each sentence of trialkit with its letters masked, so a word
that stands on a page in Latin letters is one that no translator could reach.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from string import Formatter

import pytest
from babel.messages import Catalog
from babel.messages.pofile import write_po

from trialkit.counting_papers import make_counting_sheet
from trialkit.design.notes import said_again
from trialkit.field_papers import make_field_papers
from trialkit.language import speaking
from trialkit.languages import collecting
from trialkit.report import card_words
from trialkit.report.sowing_words import CATCH, NO_STOP
from trialkit.shipped import copy_demo
from trialkit.sowing import CAUTIONS
from trialkit.sowing_papers import CAUTION as SHEETS_CAUTION
from trialkit.sowing_papers import make_run_sheets
from trialkit.trial.laying_out import CAUTION as WALK_FIRST

PAPERS = ("field-card", "run-sheet-shed", "run-sheet-cab", "counting-sheet")
#: What is the trial's own, and units.
OWN = {
    *("Biological", "seed", "dressing", "on", "oats", "Dam", "Hill", "paddock"),
    *("untreated", "dressed", "root", "microbe", "broth", "mineral", "powder", "kelp", "syrup"),
    *("kg", "ha", "ml", "min"),
}
NUMBER = re.compile(r"\d[\d.,]*\d|\d")


class Words(HTMLParser):
    """All that a reader sees of a page, or hears of its pictures."""

    def __init__(self, html):
        super().__init__()
        self.said, self.inside = [], ""
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.inside = tag
        self.said += [value for name, value in attrs if name in ("alt", "data-foot")]

    def handle_data(self, data):
        if self.inside != "style":
            self.said.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.said).split())


def masked(template):
    """Return a sentence with its letters masked, its places as they are, points as commas."""
    parts = []
    for literal, name, spec, _ in Formatter().parse(template):
        text = re.sub(r"(?<=\d)\.(?=\d)", ",", re.sub("[A-Za-z]", "ж", literal))
        parts.append(text.replace("{", "{{").replace("}", "}}"))
        if name is not None:
            parts.append(f"{{{name}:{spec}}}" if spec else f"{{{name}}}")
    return "".join(parts)


@pytest.fixture(scope="module")
def masks(tmp_path_factory):
    catalog = Catalog("de")
    for message in collecting.collected():
        if message.id:
            several = isinstance(message.id, tuple)
            words = tuple(map(masked, message.id)) if several else masked(message.id)
            catalog.add(message.id, words)
    path = tmp_path_factory.mktemp("language") / "masks.po"
    with path.open("wb") as file:
        write_po(file, catalog)
    return path


def made(folder):
    """Make all papers of the plan that comes along; return what they say."""
    copy_demo(folder, "oats-2025-to-plan")
    says = [*make_field_papers(folder).says, *make_run_sheets(folder).sentences()]
    says += make_counting_sheet(folder).says
    pages = {
        name: (folder / "results" / f"{name}.html").read_text(encoding="utf-8") for name in PAPERS
    }
    return pages, says


@pytest.fixture(scope="module")
def folders(tmp_path_factory):
    return [tmp_path_factory.mktemp(name) / "plan" for name in ("english", "masked")]


@pytest.fixture(scope="module")
def english(folders):
    return made(folders[0])


@pytest.fixture(scope="module")
def translated(folders, masks):
    with speaking(masks):
        return made(folders[1])


def latin(text):
    without_files = re.sub(r"[\w-]+\.(csv|geojson|toml)\b", "", text)
    return set(re.findall("[A-Za-z]{2,}", without_files)) - OWN


@pytest.mark.parametrize("paper", PAPERS)
def test_every_word_of_a_paper_is_translated(translated, paper):
    page = translated[0][paper]
    assert '<html lang="de">' in page
    # A fingerprint of the layout holds letters too.
    assert latin(re.sub(r"\b[0-9a-f]{12}\b", "", Words(page).text)) == set()


def test_every_word_on_the_terminal_is_translated(translated):
    assert latin(" ".join(translated[1])) == set()


def numbers(text, decimal):
    thousands = {".": ",", ",": "."}[decimal]
    plain = (number.replace(thousands, "").replace(decimal, ".") for number in NUMBER.findall(text))
    return sorted(plain)


@pytest.mark.parametrize("paper", PAPERS)
def test_no_quantity_is_lost_or_changed(english, translated, paper):
    here, there = Words(english[0][paper]).text, Words(translated[0][paper]).text
    assert numbers(here, ".") == numbers(there, ",")
    assert re.findall(r"\d,\d", there) != []


def test_every_caution_is_there_and_translated(english, translated):
    both = {
        name: (Words(english[0][name]).text, Words(translated[0][name]).text) for name in PAPERS
    }
    wanted = [
        *((f"run-sheet-{page}", words) for c in CAUTIONS for page in c.pages
          for words in (c.topic, c.text)),
        *(("field-card", words) for words in (*card_words.cautions(), WALK_FIRST)),
        ("field-card", card_words.CLEAN_OUT),
        ("run-sheet-shed", CATCH),
        ("run-sheet-shed", NO_STOP),
    ]  # fmt: skip
    for name, words in wanted:
        here, there = both[name]
        assert words in here
        assert masked(words) in there
        assert words not in there
    assert masked(SHEETS_CAUTION) in translated[1]
    assert masked(WALK_FIRST) in translated[1]


@pytest.mark.usefixtures("english", "translated")
def test_what_machines_read_is_the_same(folders):
    here, there = folders
    files = ["layout.geojson", "results/counting-sheet.csv"]
    guidance = [path.name for path in (here / "results" / "guidance").iterdir()]
    files += [f"results/guidance/{name}" for name in guidance if name != "read-me.txt"]
    assert len(files) > 6
    for name in files:
        assert (here / name).read_bytes() == (there / name).read_bytes(), name
    read_me = (there / "results" / "guidance" / "read-me.txt").read_text(encoding="utf-8")
    assert masked("The terminal knows no power lines, wet holes or people.") in read_me


def test_a_layout_made_in_english_is_told_in_another_language(german):
    note = "The smallest p a randomisation test of this layout can give is 0.12: it cannot reach 5%"
    language = german(
        {
            "The smallest p a randomisation test of this layout can give is {smallest}: it cannot "
            "reach 5%, whatever the yields.": "Das kleinste p ist {smallest}.",
        }
    )
    with speaking(language):
        assert said_again(f"{note}, whatever the yields.") == "Das kleinste p ist 0,12."
        assert said_again("Somebody wrote this.") == "Somebody wrote this."
        assert said_again("") == ""


def run(*arguments):
    code = "import sys; from trialkit.cli import main; sys.argv[0] = 'trialkit'; main()"
    command = [sys.executable, "-c", code, *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    ("command", "page", "english_words", "german_words"),
    [
        ("layout", "field-card", "Sowing order", "Reihenfolge der Aussaat"),
        ("runsheet", "run-sheet-cab", "Sowing order", "Reihenfolge der Aussaat"),
        ("countsheet", "counting-sheet", "counted by", "gezählt von"),
    ],
)
@pytest.mark.usefixtures("english")
def test_the_commands_take_a_file_of_translations(
    tmp_path, german, folders, command, page, english_words, german_words
):
    shutil.copytree(folders[0], tmp_path / "plan")
    words = german({english_words: german_words})
    done = run(command, tmp_path / "plan", "--language", words)
    assert done.returncode == 0, done.stderr
    html = (tmp_path / "plan" / "results" / f"{page}.html").read_text(encoding="utf-8")
    assert german_words in html
    assert english_words not in html
    wrong = run(command, tmp_path / "plan", "--language", "xx")
    assert wrong.returncode == 2
    assert "There is no language 'xx'" in wrong.stderr
