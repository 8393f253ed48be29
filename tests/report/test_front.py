from __future__ import annotations

import re
from html.parser import HTMLParser

import numpy as np
import pytest

from trialkit.language import speaking
from trialkit.report import figures, maps
from trialkit.report.front import front_page
from trialkit.report.pieces import Piece
from trialkit.trial.config import TrialConfig


def config(names=("Dressed",), **trial):
    return TrialConfig.model_validate(
        {
            "trial": {"name": "River flat oats", "season": 2025, "crop": "oats", **trial},
            "treatments": [
                {"name": "Untreated", "control": True},
                *({"name": name, "cost_per_ha": 20} for name in names),
            ],
            "machines": {"seeder_m": 12, "harvester_m": 12},
            "money": {"currency": "AUD", "price_per_t": 250, "price_range": [220, 280]},
        }
    )


class Text(HTMLParser):
    """The text of a page, its headings and what stands in alt attributes."""

    def __init__(self, markup):
        super().__init__()
        self.words, self.headings, self.alts = [], [], []
        self.feed(markup)

    def handle_starttag(self, tag, attrs):
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(tag)
        if tag == "img":
            self.alts.append(dict(attrs)["alt"])

    def handle_data(self, data):
        self.words.append(data.strip())

    def __str__(self):
        return " ".join(word for word in self.words if word)


GAINS, MAP = Piece('<img alt="gains">'), Piece('<img alt="map">')


@pytest.fixture
def page(strips, make_summary):
    def make(comparisons, *, about=None, gains=GAINS, strip_map=MAP, what_next=(), **changes):
        names = [c.treatment for c in comparisons]
        summary = make_summary(comparisons, **changes)
        return front_page(
            summary,
            about or config(names),
            strips,
            gains=gains,
            strip_map=strip_map,
            what_next=what_next,
        ).html()

    return make


def test_it_answers_in_the_order_a_grower_asks(page, compare):
    text = str(Text(page([compare(0.2)])))
    parts = [
        "River flat oats",
        "Yes: Dressed paid.",
        "Dressed yielded 0.20 t/ha more than Untreated",
        "+0.20",
        "+0.07 to +0.33",
        "Chance it paid",
        "96 in 100",
        "Of 20,000 harvest records, 1,885 (9.4%) were left out.",
        "Grain at 250 AUD/t (220 to 280). Extra cost: Dressed 20 AUD/ha.",
    ]
    assert [part for part in parts if part not in text] == []
    assert "Net money, AUD/ha" in text


def test_the_headings_are_in_order_and_the_pictures_described(page, compare, layout, strips):
    gains = figures.gains([compare(0.2)])
    strip_map = maps.strip_map(layout, strips, control="Untreated")
    text = Text(page([compare(0.2)], gains=gains, strip_map=strip_map))
    assert text.headings == ["h1", "h2", "h2", "h2"]
    assert text.alts == [gains.alt, strip_map.alt]


@pytest.mark.parametrize(
    ("gain", "tone"), [(0.4, "tk-paid"), (-0.4, "tk-did-not-pay"), (0.1, "tk-not-settled")]
)
def test_the_tone_follows_the_verdict(page, compare, gain, tone):
    assert f'<section class="tk-front {tone}">' in page([compare(gain)])


def test_no_word_of_significance(page, compare):
    for gain in (0.4, 0.1, -0.4):
        assert "significan" not in page([compare(gain)]).lower()


def test_several_treatments_have_a_row_each(page, compare):
    comparisons = [compare(0.4, treatment="A"), compare(-0.4, treatment="B")]
    text = str(Text(page(comparisons)))
    assert "A paid. B did not pay." in text
    assert "more than 99 in 100" in text
    assert "less than 1 in 100" in text


def test_text_from_data_is_shown_as_text(page, compare):
    bad = '<script>alert(1)</script><img src="http://x.example/y">'
    markup = page([compare(treatment=bad)], about=config([bad], name=bad, paddock=bad), trial=bad)
    assert "<script" not in markup
    assert 'src="http' not in markup
    assert bad in str(Text(markup))


def test_only_the_main_reasons_are_named(page, compare):
    reasons = {f"reason {n}": n for n in range(1, 9)}
    text = str(Text(page([compare()], records={"read": 99, "kept": 63, "reasons": reasons})))
    assert "reason 8 8 reason 7 7 reason 6 6 reason 5 5 reason 4 4 other reasons 6" in text


def test_scales_only(page, compare):
    text = str(Text(page([compare()], records={"read": 0, "kept": 0, "reasons": {}})))
    assert "scale weights" in text
    assert "Reason" not in text


def test_strips_without_a_yield_are_named(page, compare, strips):
    strips.loc[3, "yield_t_ha"] = np.nan
    assert "Strip S4 has no usable yield" in page([compare()])


def test_notes_are_pointed_to(page, compare):
    assert "read the 2 notes after this page" in page([compare()], warnings=("a", "b"))
    assert "Before you rely" not in page([compare()])


def test_an_invented_trial_says_so(page, compare):
    assert "Invented example" in page([compare()], about=config(invented=True))
    assert "Invented" not in page([compare()])


def test_what_next_stands_on_the_page_where_it_is_known(page, compare):
    text = str(Text(page([compare()], what_next=["Stop: leave <x> out.", "Use y."])))
    assert "What next? Stop: leave <x> out. Use y." in text
    assert "What next?" not in page([compare()])


def test_the_page_in_another_language(page, compare, german):
    words = {
        "Net money, {currency}/ha": "Netto, {currency}/ha",
        "Yes: {treatment} paid.": "Ja: {treatment} lohnte.",
        "pass end": "Ende",
        "{low} to {high}": "{low} bis {high}",
    }
    with speaking(german(words)):
        markup = page([compare(0.4)])
    text = str(Text(markup))
    assert "Ja: Dressed lohnte." in text
    # 0.4 t/ha at 250 AUD/t less the cost of 20.
    assert "Netto, AUD/ha" in text
    assert "+0,40 +0,27 bis +0,53 80 48 bis 112" in text
    assert "Ende 1.240" in text
    # What the page is made of knows one language.
    assert "tk-front tk-paid" in markup
    assert re.search(r'style="width: \d+\.\d%"', markup)
