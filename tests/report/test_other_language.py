"""The whole report in a language made up for this: what is not bracketed, nobody could translate.

Every sentence that can be translated comes out in brackets. What stands outside of them on a page
or in a picture is either data (names, files, units, versions) or a sentence that was forgotten.
"""

from __future__ import annotations

import ast
import re
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import pytest
from babel import Locale
from babel.messages import Catalog
from matplotlib.text import Text

import trialkit
from trialkit.across_seasons import pool_seasons
from trialkit.language import say, speaking
from trialkit.languages import collecting
from trialkit.report.pictures import Picture
from trialkit.report.render import NOTEBOOK, NOTEBOOK_ONLY
from trialkit.result import Summary
from trialkit.season import write_results
from trialkit.seasons_report import write_seasons
from trialkit.shipped import copy_demo, demo_trials, shipped
from trialkit.trial import read_scouting

OPEN, CLOSE = "⟦", "⟧"
#: Units and signs, the same in every language, and what a page is made of.
SAME = re.compile(
    r"\b(t/ha|kg/ha|[km]?g|km|m²|m2|plants/m²|m/s|kg/s|ha|mm|m|s|h|t|l|df|p|SHA-256|AUD(/ha|/t)?|"
    r"°C|T|C|D|N|[A-D]\d|S\d+|B\d+|x)\b"
)


def bracketed(folder: Path) -> Path:
    """Write the language: every sentence as it is, in brackets; a comma before decimals."""
    words, made = collecting.collected(), Catalog(locale="de", charset="utf-8")
    for message in words:
        if isinstance(message.id, tuple):
            made.add(message.id, tuple(f"{OPEN}{text}{CLOSE}" for text in message.id))
        elif message.id:
            signs, text = re.fullmatch(r"(#* ?)(.*)", message.id, re.S).groups()  # type: ignore[union-attr]
            made.add(message.id, f"{signs}{OPEN}{text}{CLOSE}")
    path = folder / "brackets.po"
    path.write_bytes(collecting.written(made))
    return path


class _Words(HTMLParser):
    """Collects what a page shows and says, in its order."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._unseen = 0

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self._unseen += tag in ("style", "script")
        self.found += [text or "" for name, text in attributes if name in ("alt", "title")]

    def handle_endtag(self, tag: str) -> None:
        self._unseen -= tag in ("style", "script")

    def handle_data(self, data: str) -> None:
        if not self._unseen:
            self.found.append(data)


def shown(html: str) -> list[str]:
    parser = _Words()
    parser.feed(html)
    return parser.found


def forgotten(texts: list[str], data: set[str]) -> str:
    """Return, line by line, what stands outside brackets and is not the same everywhere."""
    left, depth = [], 0
    known = sorted((name for name in data if name), key=len, reverse=True)
    for text in texts:
        outside = ""
        for sign in text:
            depth += (sign == OPEN) - (sign == CLOSE)
            outside += sign if depth == 0 and sign != CLOSE else " "
        for name in known:
            outside = outside.replace(name, " ")
        if re.search(r"[A-Za-z]{2}", SAME.sub(" ", outside)):
            left.append(text)
    assert depth == 0
    return "\n".join(dict.fromkeys(left))


def run_notebook(folder: Path) -> tuple[str, dict[str, object]]:
    """Run the report's cells here, and return the HTML of what they show and their names."""
    html: list[str] = []
    space: dict[str, object] = {"display": lambda piece: html.append(piece.html())}
    for cell in nbformat.read(shipped("notebooks") / NOTEBOOK, as_version=4).cells:
        tags = cell.metadata.get("tags", ())
        if NOTEBOOK_ONLY in tags:
            continue
        if cell.cell_type == "markdown":
            html.append(f"<div>{say(cell.source)}</div>")
            continue
        tree = ast.parse(cell.source)
        last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, "cell", "exec"), space)
        if "parameters" in tags:
            space["trial_folder"] = str(folder)
        if last is not None:
            piece = eval(compile(ast.Expression(last.value), "cell", "eval"), space)
            if piece is not None:
                html.append(piece.html())
    return "".join(html), space


@pytest.fixture
def drawn_texts(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Note what is written in pictures instead of drawing them."""
    texts: list[str] = []

    def noted(picture: Picture, kind: str) -> bytes:
        figure = picture.plot.draw()
        texts.extend(text.get_text() for text in figure.findobj(Text) if text.get_visible())
        return b""

    monkeypatch.setattr(Picture, "drawn", noted)
    return texts


def data_of(trial: trialkit.Trial, summary: Summary) -> set[str]:
    """Return what a translation must leave alone."""
    config, temperatures = trial.config, read_scouting(trial).temperatures
    about = config.trial
    return {
        *([] if temperatures is None else temperatures["logger"].unique()),
        *(treatment.name for treatment in config.treatments),
        *(product.name for treatment in config.treatments for product in treatment.products),
        *(grade.name for grade in config.money.grades),
        *trial.layout["block"].astype(str),
        *(about.name, about.paddock, about.crop, config.money.currency),
        *(entry.file for entry in summary.inputs),
        *(entry.sha256 for entry in summary.inputs),
        *summary.versions,
        *summary.versions.values(),
        *config.harvest.screening.model_dump(),
        *(name for names in Locale("de").months["format"].values() for name in names.values()),
        "trial.toml",
        "trialkit",
    }


@pytest.mark.parametrize("demo", sorted(demo_trials()))
def test_no_word_of_the_report_is_forgotten(
    demo: str, tmp_path: Path, drawn_texts: list[str]
) -> None:
    with speaking(bracketed(tmp_path)):
        html, names = run_notebook(demo_trials()[demo])
    page, data = shown(html), data_of(names["trial"], names["summary"])
    assert len(page) > 100
    assert len(drawn_texts) > 100
    assert forgotten(page, data) == ""
    assert forgotten(drawn_texts, data) == ""


def test_no_word_of_the_seasons_is_forgotten(tmp_path: Path, drawn_texts: list[str]) -> None:
    folders, data = [], set[str]()
    for demo in ("oats-2023-hard-frost", "oats-2024-no-frost"):
        folders.append(tmp_path / demo)
        copy_demo(folders[-1], demo)
        trial = trialkit.open_trial(folders[-1])
        result = trialkit.analyse(trial)
        write_results(trial, result)
        data |= data_of(trial, result.summary) | {demo}
    with speaking(bracketed(tmp_path)):
        page, _ = write_seasons(pool_seasons(folders), tmp_path / "seasons")
    text = re.sub(r"(?s)<head>.*</head>", "", page.read_text(encoding="utf-8"))
    assert forgotten(shown(text), data) == ""
    assert forgotten(drawn_texts, data) == ""
