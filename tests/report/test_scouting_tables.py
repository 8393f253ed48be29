"""Tables and pictures of frost and scouting hold the numbers they were given."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from trialkit.language import speaking
from trialkit.report import frost_pictures, numbers
from trialkit.report.frost_pictures import cold_by_height_plot, gain_along_plot
from trialkit.report.scouting_tables import (
    harmful_rows,
    places_rows,
    score_rows,
    stand_rows,
    sterility_rows,
)
from trialkit.scouting import (
    ColdByHeight,
    compare_counts,
    compare_scores,
    counts_for_difference,
    frost_risk,
    plant_table,
    score_table,
    sterility_by_strip,
)


def cells(piece):
    rows = re.findall(r"<tr.*?</tr>", piece.html(), re.S)
    return [
        [re.sub(r"<.*?>", "", cell).strip() for cell in re.findall(r"<t[dh].*?</t[dh]>", row, re.S)]
        for row in rows
    ]


@pytest.fixture
def layout():
    return pd.DataFrame(
        {
            "strip": [f"S{n}" for n in range(1, 13)],
            "block": [f"B{n // 2 + 1}" for n in range(12)],
            "treatment": ["dressed", "untreated"] * 6,
        }
    )


def test_stands_with_the_change_beside_the_treatment_it_is_of(layout):
    counts = layout[["strip"]].assign(count=[60, 40] * 5 + [64, 36], area_m2=0.25)
    found = compare_counts(plant_table(counts, layout), against="untreated")
    rows = {row[0]: row[1:] for row in cells(stand_rows(found))}
    ratio = found.ratios.loc["dressed"]
    assert rows["dressed"][1] == f"+{100 * (ratio['estimate'] - 1):.0f}%"
    assert rows["dressed"][0].startswith(f"{found.means.loc['dressed', 'estimate']:.0f} (")
    assert rows["untreated"][1:] == ["", "", ""]


def test_what_counting_shows():
    wanted = counts_for_difference(15, mean_count=40, strip_cv_pct=8, pairs=8)
    rows = cells(places_rows(wanted))
    assert [row[0] for row in rows[1:]] == ["1", "2", "3", "5", "10", "20", "50"]
    assert rows[1][1] == f"{wanted.table['detectable_pct'].iloc[0]:.0f}"


def night(coldest):
    times = pd.date_range("2024-09-13 12:00", "2024-09-14 12:00", freq="30min")
    record = pd.DataFrame({"logger": "hollow", "time": times, "temperature_c": 6.0})
    record.loc[28:36, "temperature_c"] = coldest
    return record


def test_only_nights_to_follow_up_are_listed():
    stages = pd.DataFrame({"date": pd.to_datetime(["2024-09-04", "2024-09-24"]), "stage": [55, 69]})
    risk = frost_risk(night(-3.0), stages, sensor="canopy")
    (_, row) = cells(harmful_rows(risk))
    assert row[:5] == ["14 September", "hollow", "−3.0", "flowering (62)", "−1.1"]
    assert row[-1] == "could have hurt"
    mild = frost_risk(night(2.0), stages, sensor="canopy")
    assert harmful_rows(mild).html() == ""


def test_sterility_stands_in_counting_order(layout):
    heads = layout[["strip"]].iloc[::-1].assign(sterile=3, florets=30)
    rows = cells(sterility_rows(sterility_by_strip(heads, layout)))
    assert [row[0] for row in rows[1:13]] == layout["strip"].tolist()
    assert rows[1][-2:] == ["10.0", "10.0"]


@pytest.mark.parametrize("score", ["vigour", "rust_pct"])
def test_scores_show_an_interval_where_there_is_one(layout, score):
    values = [7, 5, 6, 5, 8, 6, 7, 4, 6, 6, 7, 5]
    table = layout[["strip"]].assign(date="2024-08-03", score=score, value=values)
    found = compare_scores(score_table(table, layout), score, against="untreated")
    header, row = cells(score_rows(found))
    shown = dict(zip(header, row, strict=True))
    assert shown["Day"] == "3 August"
    assert (shown["Interval"] == "") == (score == "vigour")
    assert ("p, logit scale" in shown) == (score == "rust_pct")
    assert shown["Blocks higher / lower / equal"] == "5 / 0 / 1"


def test_the_gain_along_the_cold_in_words_and_drawn():
    gains = pd.DataFrame(
        {
            "treatment": ["dressed"] * 3 + ["$x$ <b>"] * 3,
            "at": [0.0, 30, 60] * 2,
            "estimate": [0.01, 0.4, 0.9, 0, 0, 0],
            "low": [-0.2, 0.2, 0.7, -0.1, -0.1, -0.1],
            "high": [0.2, 0.6, 1.1, 0.1, 0.1, 0.1],
        }
    )
    picture = gain_along_plot(gains, "cold_degree_hours", control="untreated", confidence=0.9)
    assert "dressed from +0.01 t/ha at 0 to +0.90 t/ha at 60" in picture.alt
    assert "90% interval" in picture.caption
    assert picture.drawn("svg").startswith(b"<?xml")
    assert "<b>" not in picture.html()


def test_cold_by_height_is_drawn_with_its_sentence():
    loggers = pd.DataFrame(
        {"logger": ["a", "b"], "relative_height_m": [-1.0, 1], "degree_hours": [9.0, 1]}
    )
    inf, nan = float("inf"), float("nan")
    line = ColdByHeight(-4.0, nan, -inf, inf, 5.0, 0.0, nan, loggers, -2.0, 3, 0.95, "Said so.")
    picture = cold_by_height_plot(line)
    assert picture.caption == "Said so."
    assert picture.drawn("png")[:4] == b"\x89PNG"


def test_nights_are_written_as_the_language_does(german):
    stages = pd.DataFrame({"date": pd.to_datetime(["2024-09-04", "2024-09-24"]), "stage": [55, 69]})
    risk = frost_risk(night(-3.0), stages, sensor="canopy")
    words = {
        "could have hurt": "konnte schaden",
        "flowering": "Blüte",
        "Morning of": "Morgen des",
        "Nights to follow up": "Nächte",
    }
    with speaking(german(words)):
        table = harmful_rows(risk)
    (header, row) = cells(table)
    assert header[0] == "Morgen des"
    assert row[:5] == ["14. September", "hollow", "−3,0", "Blüte (62)", "−1,1"]
    assert row[-1] == "konnte schaden"
    assert "Nächte" in table.html()
    assert risk.nights["verdict"].iloc[-1] == "could have hurt"


def test_stands_and_scores_are_written_as_the_language_does(layout, german):
    counts = layout[["strip"]].assign(count=[600, 400] * 5 + [640, 360], area_m2=0.25)
    found = compare_counts(plant_table(counts, layout), against="untreated")
    values = [70, 50, 60, 50, 80, 60, 70, 40, 60, 60, 70, 50]
    table = layout[["strip"]].assign(date="2024-08-03", score="rust_pct", value=values)
    words = {
        "{plants} ({low} to {high})": "{plants} ({low} bis {high})",
        "{low} to {high}": "{low} bis {high}",
        "Plants/m², from {counts} counts in {strips} strips": "{strips} Streifen",
        "{score}: difference from {against}": "{score} gegen {against}",
        "Day": "Tag",
    }
    with speaking(german(words)):
        stands = stand_rows(found)
        scores = score_rows(
            compare_scores(score_table(table, layout), "rust_pct", against="untreated")
        )
    rows = {row[0]: row[1:] for row in cells(stands)}
    assert re.fullmatch(r"2\.\d{3} \(2\.\d{3} bis \d\.\d{3}\)", rows["dressed"][0])
    assert re.fullmatch(r"\+\d+\N{NO-BREAK SPACE}%", rows["dressed"][1])
    assert " bis " in rows["dressed"][2]
    assert "12 Streifen" in stands.html()
    header, row = cells(scores)
    shown = dict(zip(header, row, strict=True))
    assert shown["Tag"] == "3. August"
    assert re.fullmatch(r"\+\d+,\d", shown["Difference"])
    assert "rust_pct gegen untreated" in scores.html()


def test_pictures_of_frost_are_described_whole(said_whole):
    gains = pd.DataFrame(
        {
            "treatment": ["dressed"] * 2,
            "at": [0.0, 6.5],
            "estimate": [0.01, 0.4],
            "low": [-0.2, 0.2],
            "high": [0.2, 0.6],
        }
    )

    def told():
        for measure in ("cold_degree_hours", "below_surroundings_m"):
            picture = gain_along_plot(gains, measure, control="untreated")
            yield from (picture.alt, picture.caption, picture.plot.labels.x, picture.plot.labels.y)

    assert "6,5" in said_whole(told, frost_pictures, numbers)[0]
