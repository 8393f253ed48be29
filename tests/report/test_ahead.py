"""What next in the report: every answer, the keys that are missing, several treatments."""

from __future__ import annotations

import re

import pytest

from trialkit.money import Farm, look_ahead
from trialkit.report import ahead, money_words
from trialkit.trial.config import Money

MONEY = {"currency": "AUD", "price_per_t": 300, "price_range": (255, 340)}
KEYS = {"area_ha": 400, "seasons": 5, "labour_per_h": 45}
FARM = Farm(**KEYS)
#: Gain, its error and degrees of freedom, and what they come to.
EACH = {
    "use it": (0.4, 0.05, 10),
    "stop": (-0.15, 0.05, 8),
    "test again": (0.1, 0.07, 5),
}


def outlook(gain, *, name="Dressed", farm=FARM, **changes):
    given = {"price_per_t": 300, "price_range": (255, 340), "cost_per_ha": 20, "pairs": 6}
    return look_ahead(name, *gain, **{**given, "strip_ha": 1.0, "farm": farm, **changes})


@pytest.mark.parametrize("answer", EACH)
def test_each_answer_comes_with_its_sum_and_pictures(answer):
    one = outlook(EACH[answer])
    assert one.step is not None
    assert one.step.answer == answer
    markup = ahead.what_next([one], Money(**MONEY, **KEYS)).html()
    for sentence in money_words.next_step_sentences(one.step, "Dressed", "AUD"):
        assert sentence in markup
    alts = re.findall(r'<img [^>]*alt="([^"]+)"', markup)
    assert len(alts) == 2
    assert min(map(len, alts)) > 40
    assert "give" not in markup.split("<ul")[0]
    (line,) = ahead.in_short([one], "AUD")
    assert line.startswith(money_words.next_step_headline(one.step, "Dressed"))
    assert "can be expected to bring about" in line
    assert ("A trial of" in line) == (answer != "test again")


def test_missing_keys_are_named_and_only_those():
    one = outlook(EACH["use it"], farm=None)
    markup = ahead.what_next([one], Money(**MONEY, seasons=5)).html()
    assert "give area_ha (where the dressing would be used, ha) and labour_per_h" in markup
    assert "seasons (" not in markup
    assert "The chance that it loses money on average" in markup
    assert markup.count("<img") == 1
    assert ahead.in_short([one], "AUD") == []


def test_the_reason_stands_where_it_cannot_be_said():
    one = outlook((0.1, 0.07, 1), pairs=2)
    markup = ahead.what_next([one], Money(**MONEY, **KEYS)).html()
    assert "It takes three pairs of strips or more" in markup


def test_no_room_and_one_season_have_no_sum():
    tiny = outlook(EACH["use it"], farm=Farm(4, 5, 45))
    last = outlook(EACH["use it"], farm=Farm(400, 1, 45))
    for one in (tiny, last):
        (line,) = ahead.in_short([one], "AUD")
        assert line == money_words.next_step_headline(one.step, "Dressed")
        assert ahead.what_next([one], Money(**MONEY, **KEYS)).html()


def test_several_treatments_have_a_heading_each_and_names_are_text():
    bad = "<b>x</b>"
    several = [outlook(EACH["use it"], name=bad), outlook(EACH["stop"], name="Water")]
    markup = ahead.what_next(several, Money(**MONEY, **KEYS)).html()
    assert "<h3>&lt;b&gt;x&lt;/b&gt;</h3>" in markup
    assert "<h3>Water</h3>" in markup
    assert bad not in markup
    # What holds for all of them stands once, below them.
    assert markup.count(money_words.CAUTION) == 1
    assert markup.index(money_words.CAUTION) > markup.rindex("<img")
    assert ahead.in_short(several, "AUD") == [
        f"Use {bad}, as long as other seasons are like this one.",
        "Stop, leave out: Water, as long as other seasons are like this one.",
    ]


def test_treatments_to_test_again_are_named_with_their_pairs():
    several = [outlook(EACH["test again"], name=name) for name in ("A", "B")]
    pairs = several[0].step.pairs
    assert ahead.in_short(several, "AUD") == [
        f"Test again next season: A ({pairs} pairs) and B ({pairs} pairs)."
    ]
