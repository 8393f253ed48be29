"""Words on several seasons in another language: every verdict, and few seasons and many."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from trialkit.language import speaking
from trialkit.models import pool
from trialkit.money import payoff
from trialkit.report import captions, numbers, season_page
from trialkit.report import season_words as words
from trialkit.report.season_pictures import gain_forest, net_forest

MODULES = (words, captions, numbers)
VERDICTS = {"paid": 0.4, "not settled": 0.05, "did not pay": -0.4}


def taken_together(gains):
    return pool(gains, [0.05] * len(gains), labels=[str(2019 + n) for n in range(len(gains))])


@pytest.mark.parametrize("verdict", VERDICTS)
@pytest.mark.parametrize("seasons", [2, 5])
def test_every_verdict_is_said_whole(said_whole, verdict, seasons):
    gain = taken_together([VERDICTS[verdict] + 0.01 * n for n in range(seasons)])
    pays = payoff(gain.estimate, 0.02, 5, price_per_t=300, cost_per_ha=15)
    assert pays.verdict == verdict

    def told():
        yield words.headline("D", pays, seasons)
        yield words.mean_sentence(gain, pays, "untreated")
        yield words.next_sentence(gain, pays)
        yield words.few_sentence(seasons)

    said = said_whole(told, *MODULES)
    assert "0,050 t/ha" in said[1]
    assert "\N{NO-BREAK SPACE}%" in said[1]
    assert bool(said[3]) == (seasons < 5)


def seasons_of(gains):
    pooled = taken_together(gains)
    table = pd.DataFrame({"label": pooled.table.index, "gain_t_ha": gains})
    table = table.assign(
        low_t_ha=table["gain_t_ha"] - 0.1,
        high_t_ha=table["gain_t_ha"] + 0.1,
        net_per_ha=1000 * table["gain_t_ha"],
        net_low=1000 * (table["gain_t_ha"] - 0.1),
        net_high=1000 * (table["gain_t_ha"] + 0.1),
        weight_pct=pooled.table["weight_pct"].to_numpy(),
    )
    return table, pooled


@pytest.mark.parametrize("gains", [[0.23, 0.03], [0.11, 0.12, 0.10, 0.12]])
def test_pictures_of_seasons_are_described_whole(said_whole, gains):
    table, pooled = seasons_of(gains)
    net = pool(table["net_per_ha"], [50.0] * len(gains))

    def told():
        for picture in (
            gain_forest(table, pooled, break_even_t_ha=0.05, control="untreated"),
            net_forest(table, net, currency="AUD"),
        ):
            yield from (picture.alt, picture.caption)

    said = said_whole(told, *MODULES)
    assert f"{gains[0]:.2f}".replace(".", ",") in said[0]


def test_pictures_of_seasons_are_labelled_in_the_language(german, words_in):
    table, pooled = seasons_of([0.23, 0.03])
    language = german(
        {
            "All seasons": "Alle Jahre",
            "One more season": "Ein weiteres Jahr",
            "Net gain, {currency} a hectare": "Netto, {currency} je Hektar",
            "pays": "lohnt sich",
            "Gain over {control}, t/ha": "Mehrertrag gegen {control}, t/ha",
        }
    )
    net = pool(table["net_per_ha"], [50.0, 50.0])
    with speaking(language):
        on_gain = words_in(gain_forest(table, pooled, break_even_t_ha=0.05, control="untreated"))
        on_net = words_in(net_forest(table, net, currency="AUD"))
    rows = {"2019", "2020", "Alle Jahre", "Ein weiteres Jahr"}
    assert rows | {"Mehrertrag gegen untreated, t/ha"} <= on_gain
    assert rows | {"Netto, AUD je Hektar", " lohnt sich"} <= on_net
    assert any("," in text and text.strip("−-0123456789,") == "" for text in on_gain)


def test_tables_of_seasons_name_verdicts_and_frost_in_the_language(german):
    table = pd.DataFrame(
        {
            "label": ["2019", "2020", "2021"],
            "frost": [True, False, None],
            "gain_t_ha": [0.234, 0.0, -0.1],
            "low_t_ha": 0.0,
            "high_t_ha": 0.5,
            "weight_pct": 33.0,
            "net_per_ha": 1234.5,
            "chance_paid": 0.5,
            "verdict": list(VERDICTS),
        }
    )
    language = german(
        {
            "yes": "ja",
            "no": "nein",
            "paid": "lohnt",
            "not settled": "offen",
            "did not pay": "lohnt nicht",
            "Net, {currency}/ha": "Netto, {currency}/ha",
            "Season by season": "Jahr für Jahr",
        }
    )
    with speaking(language):
        markup = season_page.season_table(table, "EUR").html()
    cells = re.findall("<td[^>]*>(.*?)</td>", markup)
    assert cells[1::9] == ["ja", "nein", ""]
    assert cells[8::9] == ["lohnt", "offen", "lohnt nicht"]
    assert cells[2] == "0,23"
    assert cells[6] == "1.234,50"
    assert "Netto, EUR/ha" in markup
    assert "Jahr für Jahr" in markup
    assert table["verdict"].tolist() == list(VERDICTS)
