"""Results as a terminal and a notebook show them: short, whole, and with everything escaped."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import trialkit
from trialkit import across_seasons, design, models, money, scouting, season, sowing, trial
from trialkit.result import Comparison, Summary
from trialkit.shown import as_line, as_table, heading

MARKUP = "<img src=x onerror=alert(1)>"
#: What fits on a few lines of a terminal.
SHORT = 700

#: Every result that a notebook leaves at the end of a cell.
RESULTS = [
    (design, ("Allocation", "Foresight", "Rehearsal", "StripVariation", "TrialPlan")),
    (sowing, ("MixPlan", "SeedNeed", "SowingOrder")),
    (scouting, ("CountComparison", "FrostNights", "ScoreComparison")),
    (models, ("CountFit", "MixedFit", "Pooled", "RateResponse")),
    (money, ("NextStep", "Payoff", "Ranking", "Risk")),
    (trial, ("Trial",)),
    (season, ("Harvested", "Result")),
    (across_seasons, ("AcrossSeasons", "PooledTreatment")),
]


class Cells(HTMLParser):
    """Text of a table's cells; and whether every tag is closed in its turn."""

    def __init__(self, markup):
        super().__init__()
        self.text, self.open, self.tags = [], [], set()
        self.feed(markup)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        if tag != "br":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data.strip())


@dataclass(frozen=True, slots=True)
class Part:
    name: str
    share_pct: float


@dataclass(frozen=True, slots=True, eq=False)
class Whole:
    __repr__ = as_line
    _repr_html_ = as_table

    note: str
    gain_t_ha: float
    strips: int
    sure: bool
    worst: float | None
    path: Path
    table: pd.DataFrame
    series: pd.Series
    array: np.ndarray
    parts: tuple[Part, ...]
    notes: tuple[str, ...]
    counts: dict[str, object]
    hidden: int = field(repr=False, default=0)


@pytest.fixture
def whole():
    table = pd.DataFrame({"strip": ["S1", MARKUP], "yield_t_ha": [3.123456, np.nan]})
    return Whole(
        note=MARKUP,
        gain_t_ha=0.123456,
        strips=np.int64(12),
        sure=True,
        worst=None,
        path=Path("farm") / MARKUP,
        table=table,
        series=pd.Series([1.5], index=[MARKUP]),
        array=np.zeros((2, 3)),
        parts=(Part(MARKUP, 10.0), Part("b", np.inf)),
        notes=(f"A sentence about {MARKUP} that is long enough.",),
        counts={MARKUP: {MARKUP: 3}},
    )


def test_a_line_holds_plain_values_and_the_size_of_the_rest(whole):
    line = repr(whole)
    assert line.startswith(f"Whole(note={MARKUP!r}, gain_t_ha=0.1235, strips=12, sure=True, worst=")
    assert "table=<DataFrame 2 × 2>" in line
    assert "array=<ndarray 2 × 3>" in line
    assert "parts=<tuple of 2>" in line
    assert "hidden" not in line
    assert "\n" not in line


def test_a_table_holds_every_field_and_no_markup_from_data(whole):
    markup = whole._repr_html_()
    shown = Cells(markup)
    assert shown.tags <= {"table", "caption", "thead", "tbody", "tr", "th", "td", "br"}
    assert "onerror=alert(1)&gt;" in markup
    assert markup.count("&lt;img") == 8
    for words in ("Gain, t/ha", "0.1235", "Yield, t/ha", "3.123", "yes", "–", "Share, %", "inf"):
        assert words in shown.text, words
    assert "Hidden" not in shown.text


def test_long_tables_are_cut():
    frame = pd.DataFrame({"strip": [f"S{n}" for n in range(500)]})
    parts = tuple(Part(f"p{n}", n) for n in range(40))
    shown = as_table(Whole("", 0, 0, False, None, Path(), frame, pd.Series(), 0, parts, (), {}))
    assert "S499" in shown
    assert "S250" not in shown
    assert "and 28 more" in shown


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("net_per_ha", "Net, a hectare"),
        ("std_error_t_ha", "Standard error, t/ha"),
        ("pump_l_min", "Pump, l/min"),
        ("moisture_pct", "Moisture, %"),
        ("t", "t"),
        ("df", "Degrees of freedom"),
        ("at_boundary", "At boundary"),
    ],
)
def test_names_as_words(name, words):
    assert heading(name) == words


def test_a_few_long_records_stand_side_by_side():
    one = Comparison("dressed", "untreated", *[0.5] * 6, "paired t", *[1.0] * 5, "paid")
    whole = Whole("", 0, 0, False, None, Path(), pd.DataFrame(), pd.Series(), 0, (one, one), (), {})
    text = Cells(as_table(whole)).text
    place = text.index("Verdict")
    assert text[place + 1 : place + 3] == ["paid", "paid"]


def test_only_dataclasses_are_shown():
    with pytest.raises(TypeError, match="int is no dataclass"):
        as_table(3)


@pytest.mark.parametrize(
    "kind",
    [getattr(home, name) for home, names in RESULTS for name in names] + [Comparison, Summary],
)
def test_every_result_shows_itself(kind):
    assert kind.__repr__ is as_line
    assert callable(kind._repr_html_)


def test_a_season_on_the_screen(trial_folder):
    opened = trialkit.open_trial(trial_folder)
    assert len(repr(opened)) < SHORT
    assert "Invented trial" not in repr(opened)
    assert str(trial_folder) in Cells(opened._repr_html_()).text


def test_a_fit_on_the_screen():
    data = pd.DataFrame({"y": [1.0, 2.0, 2.5, 3.0, 3.5, 5.0], "x": list("ababab")})
    fit = trialkit.fit_mixed("y ~ x", data)
    assert len(repr(fit)) < SHORT
    assert "x[T.b]" in Cells(fit._repr_html_()).text
