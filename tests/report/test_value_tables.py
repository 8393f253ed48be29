"""Prices, costs by item, grades and the ranking in the report: words and tables."""

from __future__ import annotations

import math
import re
from html import unescape

import numpy as np
import pytest

from trialkit.money import Farm, PriceGain, look_ahead, next_step, rank_treatments
from trialkit.money.decision import TrialCost
from trialkit.report import (
    ahead,
    captions,
    cost_tables,
    grade_tables,
    grade_words,
    price_words,
    ranking_tables,
    wording,
)
from trialkit.report.what_if import season_answer, what_if
from trialkit.result import Comparison, GradeChance, GrainQuality, QualityMean
from trialkit.selling import Selling, selling_of
from trialkit.trial.config import Money, TrialConfig

BAD = "<script>alert(1)</script>"
MONEY = {
    "currency": "AUD", "price_per_t": 300, "price_range": (255, 340), "freight_per_t": 22,
    "levy_per_t": 1.5, "levy_pct": 1.0, "harvest_per_t": 6, "labour_per_h": 40,
    "machine_per_h": 60, "water_per_kl": 2.5, "pass_per_ha": 11,
}  # fmt: skip
QUALITY = GrainQuality(
    (
        QualityMean("untreated", "protein_pct", 6, 10.9, 0.2, 10.0),
        QualityMean("dressed", "protein_pct", 6, 11.4, 0.2, 10.0, 0.5, -0.1, 1.1, 0.09),
    ),
    (
        GradeChance("untreated", "milling", 300.0, 0.3),
        GradeChance("untreated", "feed", 250.0, 0.7),
        GradeChance("dressed", "milling", 300.0, 0.9),
        GradeChance("dressed", "feed", 250.0, 0.1),
    ),
    3.0,
)


def config(money=None, **dressed):
    return TrialConfig.model_validate(
        {
            "trial": {"name": "Flat", "season": 2025, "crop": "wheat"},
            "treatments": [
                {"name": "untreated", "control": True},
                {"name": "dressed", **(dressed or {"cost_per_ha": 14.5})},
            ],
            "machines": {"seeder_m": 12, "harvester_m": 12},
            "sowing": {"seed_kg_ha": 80},
            "money": money or {"currency": "AUD", "price_per_t": 300},
        }
    )


def cells(markup):
    """Return the text of each row of the body of the tables."""
    bodies = re.findall(r"(?s)<tbody[^>]*>(.*?)</tbody>", markup)
    rows = re.findall(r"(?s)<tr>(.*?)</tr>", "".join(bodies))
    return [
        [
            unescape(re.sub(r"<[^>]+>", "", cell))
            for cell in re.findall(r"(?s)<td[^>]*>(.*?)</td>", r)
        ]
        for r in rows
    ]


def comparison(**changes):
    given = {
        "treatment": "dressed", "control": "untreated", "gain_t_ha": 0.1, "low_t_ha": -0.02,
        "high_t_ha": 0.22, "std_error_t_ha": 0.05, "df": 8.0, "p_value": 0.08, "method": "m",
        "break_even_t_ha": 0.05, "net_per_ha": 15.0, "net_low": -20.0, "net_high": 50.0,
        "chance_paid": 0.8, "verdict": "not settled",
    }  # fmt: skip
    return Comparison(**{**given, **changes})


def test_a_price_and_a_cost_alone_need_no_table():
    plain = config()
    assert cost_tables.basis(plain).html() == ""
    assert price_words.prices_in_short(plain, selling_of(None, plain)) == ""
    assert price_words.beside_the_budget(plain, selling_of(None, plain)) == ""
    assert grade_tables.quality_section(None, selling_of(None, plain), plain).html() == ""
    assert ranking_tables.ranking_section(None, "AUD").html() == ""


def test_what_comes_off_the_price_is_shown_line_by_line():
    rows = cells(cost_tables.prices(Money(**MONEY)).html())
    assert rows == [
        ["paid", "255.00", "300.00", "340.00"],
        ["freight", "−22.00", "−22.00", "−22.00"],
        ["levies by weight", "−1.50", "−1.50", "−1.50"],
        ["harvest, handling and storage", "−6.00", "−6.00", "−6.00"],
        ["levies, 1% of the price", "−2.55", "−3.00", "−3.40"],
        ["left, and used in every sum here", "222.95", "267.50", "307.10"],
    ]
    one = cells(cost_tables.prices(Money(**{**MONEY, "price_range": None})).html())
    assert one[0] == ["paid", "300.00"]
    assert one[-1][1] == "267.50"


def test_costs_item_by_item():
    items = {
        "cost_per_t_seed": 100, "labour_h_per_t_seed": 0.5, "water_l_per_t_seed": 10,
        "extra_passes": 1, "saved_per_ha": 6.5,
    }  # fmt: skip
    rows = cells(cost_tables.costs(config(MONEY, **items)).html())
    assert rows == [
        ["dressed", "products", "0.08 t of seed", "100.00", "8.00"],
        ["dressed", "labour", "0.04 h", "40.00", "1.60"],
        ["dressed", "water", "0.8 l, priced by 1,000 l", "2.50", "0.00"],
        ["dressed", "extra passes", "1 pass", "11.00", "11.00"],
        ["dressed", "saved inputs", "", "6.50", "−6.50"],
        ["dressed", "all together", "", "–", "14.10"],
    ]


def test_the_prices_in_short():
    settings = config(MONEY)
    short = price_words.prices_in_short(settings, selling_of(None, settings))
    assert short == (
        "Grain paid at 300 AUD/t leaves 267.50 (222.95 to 307.10) once freight, levies and harvest "
        "are off. Extra cost: dressed 14.50 AUD/ha."
    )
    plain = config()
    by_grade = price_words.prices_in_short(plain, selling_of(QUALITY, plain))
    assert by_grade == (
        "Grain at 300 AUD/t. By grade the grain is expected to leave: untreated 265.00 AUD/t and "
        "dressed 295.00 AUD/t. Net money and chances count that, and how unsure the grade is. "
        "Extra cost: dressed 14.50 AUD/ha."
    )


def test_the_section_on_grain():
    settings = config()
    markup = grade_tables.quality_section(QUALITY, selling_of(QUALITY, settings), settings).html()
    rows = cells(markup)
    assert rows[0] == ["Protein, %", "untreated", "6", "10.90", "0.20", "–", "–", "–", "–"]
    assert rows[1][5:] == ["0.50", "−0.10", "1.10", "0.090"]
    assert rows[2:6] == [
        ["untreated", "milling", "300.00", "30.0%"], ["untreated", "feed", "250.00", "70.0%"],
        ["dressed", "milling", "300.00", "90.0%"], ["dressed", "feed", "250.00", "10.0%"],
    ]  # fmt: skip
    # 0.6 x 50 more; two independent steps: 50 x sqrt(0.3 x 0.7 + 0.9 x 0.1) about it.
    spread = 50 * math.sqrt(0.3 * 0.7 + 0.9 * 0.1)
    assert rows[7] == ["dressed", "295.00", "30.00", f"{spread:.2f}", "90.00"]
    assert "expected to fetch 30.00 AUD/t more than that of untreated: on 3.00 t/ha" in markup


def test_quality_without_grades_asks_for_them():
    only = GrainQuality(QUALITY.means, (), None)
    grades = [{"name": "feed", "price_per_t": 280}]
    for given, asked in (
        (None, True),
        ({"currency": "AUD", "price_per_t": 300, "grades": grades}, False),
    ):
        settings = config(given)
        markup = grade_tables.quality_section(only, selling_of(only, settings), settings).html()
        assert ("give each under [[money.grades]]" in markup) == asked
        assert "Chance of each grade" not in markup


@pytest.mark.parametrize(
    ("treated", "control", "says"),
    [
        (250.0, 300.0, "50.00 AUD/t less than that of b: on 3.00 t/ha that costs 150 AUD/ha"),
        (300.0, 250.0, "50.00 AUD/t more than that of b: on 3.00 t/ha that is 150 AUD/ha"),
        (300.0, 300.0, "as much a tonne as that of b"),
    ],
)
def test_what_the_grade_is_worth_in_words(treated, control, says):
    gain = PriceGain.by_steps([(treated, 1.0)], [(control, 1.0)], 3.0)
    assert says in grade_words.through_grade("a", "b", gain, "AUD")


def test_names_from_the_data_are_escaped():
    chances = tuple(GradeChance(c.treatment, BAD, c.price_per_t, c.chance) for c in QUALITY.chances)
    bad = GrainQuality(QUALITY.means, chances, 3.0)
    settings = config()
    markup = grade_tables.quality_section(bad, selling_of(bad, settings), settings).html()
    ranking = rank_treatments(
        {BAD: 0.1, "b": 0.2}, 0.0025 * (np.eye(2) + 1), 8, price_per_t=300,
        costs_per_ha={BAD: 5, "b": 5}, control="untreated",
    )  # fmt: skip
    named = TrialConfig.model_validate(
        {
            **config().model_dump(by_alias=True),
            "treatments": [
                {"name": "untreated", "control": True},
                {"name": BAD, "cost_per_ha": 5, "saved_per_ha": 1},
            ],
        }
    )
    for shown in (
        markup,
        ranking_tables.ranking_section(ranking, "AUD").html(),
        cost_tables.basis(named).html(),
    ):
        assert "alert(1)" in shown
        assert "<script" not in shown


def ranking(gains=(0.2, 0.1), costs=(10.0, 10.0), df=10):
    names = ("powder", "liquid")
    return rank_treatments(
        dict(zip(names, gains, strict=True)), 0.0025 * (np.eye(2) + 1), df, price_per_t=300,
        costs_per_ha=dict(zip(names, costs, strict=True)),
    )  # fmt: skip


def test_the_ranking_is_told_and_shown():
    found = ranking()
    markup = ranking_tables.ranking_section(found, "AUD").html()
    assert "powder looks best, with 50 AUD/ha over untreated" in markup
    assert "To know the best for certain would be worth" in markup
    rows = cells(markup)
    assert [row[0] for row in rows] == ["untreated", "powder", "liquid"]
    assert rows[1][1:3] == ["0.200", "50.00"]
    assert rows[0][3] == "–"
    assert sum(float(row[4].rstrip("%")) for row in rows) == pytest.approx(100, abs=0.2)
    markup = ranking_tables.ranking_section(ranking(df=2), "AUD").html()
    assert "it takes three degrees of freedom or more" in markup
    assert "None is expected to pay: untreated looks best" in ranking_tables.ranking_section(
        ranking((-0.1, -0.2)), "AUD"
    ).html()  # fmt: skip


def outlook(name, gain, cost=10.0, **changes):
    return look_ahead(
        name, gain, math.sqrt(0.005), 10, price_per_t=300, cost_per_ha=cost, pairs=6, strip_ha=1.0,
        farm=Farm(400, 5, 40), **changes,
    )  # fmt: skip


def test_the_first_page_tells_the_best_alone_what_to_do_next():
    both = [outlook("powder", 0.2), outlook("liquid", 0.1)]
    first, *rest = ahead.in_short(both, "AUD", ranking())
    assert first.startswith("powder looks best")
    assert all("liquid" not in line for line in rest)
    none = [outlook("powder", -0.2), outlook("liquid", -0.3)]
    lines = ahead.in_short(none, "AUD", ranking((-0.2, -0.3)))
    assert lines[0].startswith("None is expected to pay")
    assert "powder and liquid" in lines[1]
    markup = ahead.what_next(both, Money(**MONEY, area_ha=400, seasons=5), ranking()).html()
    assert markup.index("Which treatment?") < markup.index("Here each is weighed by itself")
    assert "Which treatment?" not in ahead.what_next(both, Money(**MONEY)).html()


def test_what_next_says_what_the_grade_still_hides():
    steps = PriceGain.by_steps([(330.0, 0.8), (290.0, 0.2)], [(330.0, 0.4), (290.0, 0.6)], 3.0)
    one = outlook("dressed", 0.0, price_gain=steps, saved_per_ha=4.0)
    markup = ahead.what_next([one], Money(**MONEY, area_ha=400, seasons=5)).html()
    assert "Tests of the grain would teach of the grade, too" in markup
    assert "The 4.00 AUD/ha that it saves are counted as earned" in markup
    assert "48 AUD/ha that the grade is expected to bring are counted" in markup
    assert one.step.answer == "use it"
    assert "So the answer hangs on the grade more than on the yield" in markup
    down = PriceGain.by_steps([(290.0, 1.0)], [(330.0, 1.0)], 3.0)
    markup = ahead.what_next(
        [outlook("dressed", 0.0, price_gain=down)], Money(**MONEY, area_ha=400, seasons=5)
    ).html()
    assert "120 AUD/ha that the grade is expected to cost are counted" in markup
    assert "Tests of the grain" not in markup


def test_nothing_to_learn_of_a_grade_is_nothing_to_say():
    step = next_step(
        0.1, 0.05, 8, price_per_t=300, cost_per_ha=20, area_ha=400, seasons=5, pairs=6,
        trial=TrialCost(labour_per_h=40),
    )  # fmt: skip
    assert grade_words.grade_to_learn(step, "AUD") == ""


def test_what_pays_even_at_a_loss_is_not_said_to_cost_nothing():
    covered = comparison(break_even_t_ha=-0.05)
    said = wording.evidence(covered, currency="AUD", confidence=0.95)
    assert "down to −0.05 t/ha it pays" in said
    assert "cost nothing" not in said
    assert captions.pays_from(-0.05, 2) == "pays down to −0.05 t/ha"
    assert captions.pays_from(0.0, 2) == "pays from any gain"
    assert "It cost nothing extra" in wording.evidence(
        comparison(break_even_t_ha=0.0), currency="AUD", confidence=0.95
    )


def test_what_if_holds_on_to_grade_and_savings():
    settings = config({"currency": "AUD", "price_per_t": 300}, cost_per_ha=14.5, saved_per_ha=4)
    sold = selling_of(QUALITY, settings)
    told, picture, beside = season_answer(
        comparison(), settings, price_per_t=sold.price_per_t, cost_per_ha=14.5, selling=sold
    )
    # 0.1 x 295 + 3 x 30 - 10.5
    assert "net 109 AUD/ha" in told.html()
    assert "it saves are counted" in beside.html()
    assert "90 AUD/ha that the grade is expected to bring" in beside.html()
    assert picture is not None
    plain = season_answer(comparison(), config(), price_per_t=300, cost_per_ha=14.5)
    assert plain[-1].html() == ""
    panel = what_if(comparison(), settings)
    assert panel.children[1].children[0].value == 14.5


def test_prices_below_what_a_grade_costs_are_not_drawn():
    deep = Selling(300.0, None, {"dressed": PriceGain.by_steps([(100.0, 1)], [(300.0, 1)], 3.0)})
    parts = season_answer(
        comparison(), config(), price_per_t=300, cost_per_ha=5, selling=deep,
        prices_per_t=(150.0, 450.0),
    )  # fmt: skip
    assert "did not pay" in parts[0].html()
