"""Pictures of counts, frost and scores show what the tables hold, and say it in words."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from trialkit.language import speaking
from trialkit.report import numbers, scouting_captions
from trialkit.report.scouting_pictures import counts_plot, frost_plot, scores_plot
from trialkit.scouting import frost_nights, frost_risk, plant_table, score_table


@pytest.fixture
def layout():
    """Eight strips of an invented trial in four pairs."""
    return pd.DataFrame(
        {
            "strip": [f"S{n}" for n in range(1, 9)],
            "block": [f"B{n // 2 + 1}" for n in range(8)],
            "treatment": ["dressed", "untreated"] * 4,
        }
    )


@pytest.fixture
def counts(layout):
    """Three counts a strip, one of them far off and one blank."""
    draw = np.random.default_rng(1)
    table = pd.DataFrame(
        {"strip": layout["strip"].repeat(3), "count": draw.poisson(40, 24), "area_m2": 0.25}
    ).astype({"count": float})
    table.iloc[4, 1], table.iloc[7, 1] = 300, np.nan
    return plant_table(table, layout)


def season(loggers=("hollow",), days=40):
    times = pd.date_range("2024-08-20 12:00", periods=48 * days + 1, freq="30min")
    day = np.asarray((times - times[0]) / pd.Timedelta(days=1))
    parts = []
    for place, logger in enumerate(loggers):
        base = 8 + 5 * np.sin(day) + 2 * place
        wave = 8 * np.cos((day % 1 - 0.15) * 2 * np.pi)
        parts.append(pd.DataFrame({"logger": logger, "time": times, "temperature_c": base + wave}))
    return pd.concat(parts)


STAGES = pd.DataFrame(
    {"date": pd.to_datetime(["2024-08-25", "2024-09-10", "2024-09-20"]), "stage": [39, 55, 65]}
)


@pytest.fixture
def scores(layout):
    draw = np.random.default_rng(2)
    rows = [
        layout[["strip"]].assign(date=day, score=score, value=draw.integers(2, 9, 8) * times)
        for day in ("2024-08-03", "2024-09-07")
        for score, times in (("vigour", 1.0), ("mildew_pct", 5.0))
    ]
    return score_table(pd.concat(rows), layout)


def layer_data(picture, geom):
    return [
        layer._data
        for layer in picture.plot.layers
        if type(layer.geom).__name__ == geom and isinstance(layer._data, pd.DataFrame)
    ]


def test_counts_by_strip(counts):
    picture = counts_plot(counts, control="untreated")
    assert picture.plot.data["plants_m2"].notna().all()
    assert picture.plot.data["treatment"].cat.categories.tolist() == ["untreated", "dressed"]
    plain, odd = layer_data(picture, "geom_point")
    assert (len(plain), len(odd)) == (22, 1)
    assert odd["count"].tolist() == [300]
    assert picture.alt.startswith("Plants/m² by strip: untreated ")
    assert "A cross marks a count far" in picture.caption
    assert picture.drawn("png").startswith(b"\x89PNG")


def test_strips_are_in_counting_order(counts, layout):
    many = pd.concat([counts.assign(strip=counts["strip"].str.replace("S", "S1")), counts])
    order = counts_plot(many, control="untreated").plot.data["strip"].cat.categories.tolist()
    assert order == [f"S{n}" for n in (*range(1, 9), *range(11, 19))]


def test_frost_through_the_season():
    temperatures = season()
    risk = frost_risk(temperatures, STAGES, sensor="screen")
    picture = frost_plot(frost_nights(temperatures), risk=risk, stages=STAGES)
    drawn = sum(len(data) for data in layer_data(picture, "geom_point"))
    assert drawn == len(risk.nights)
    could = risk.nights["verdict"].eq("could have hurt").sum()
    assert could > 0
    assert f"could have hurt: {could};" in picture.alt
    words = layer_data(picture, "geom_label")[0]["words"].tolist()
    assert words == ["39\nstem elongation", "55\near emergence", "65\nflowering"]
    assert "no forecast of loss" in picture.caption
    assert picture.drawn("svg") == picture.drawn("svg")


def test_frost_without_stages_shows_the_thresholds():
    found = frost_nights(season(days=10), thresholds_c=(0, -2, -4))
    picture = frost_plot(found)
    kinds = [type(layer.geom).__name__ for layer in picture.plot.layers]
    assert kinds.count("geom_hline") == 3
    assert "could have hurt" not in picture.alt
    assert picture.caption == ""
    picture.drawn("png")


def test_loggers_stand_below_each_other_and_the_rest_is_named():
    loggers = [f"L{n}" for n in range(8)]
    picture = frost_plot(frost_nights(season(loggers, days=4)))
    assert picture.plot.data["logger"].nunique() == 6
    assert picture.caption == "Not drawn: L6 and L7."
    assert picture.height_in > frost_plot(frost_nights(season(days=4))).height_in
    picture.drawn("png")


@pytest.mark.parametrize(("score", "axis"), [("vigour", "vigour"), ("mildew_pct", "mildew_pct, %")])
def test_scores_by_date(scores, score, axis):
    picture = scores_plot(scores, score, control="untreated")
    assert picture.plot.labels.y == axis
    assert len(picture.plot.data) == 4
    dots = layer_data(picture, "geom_point")[0]
    assert dots["strips"].sum() == 16
    assert ("median" if score == "vigour" else "mean") in picture.alt
    assert "03 August: " in picture.alt
    picture.drawn("png")


def test_one_day_of_scores_can_be_drawn(scores):
    first = scores[scores["date"] == scores["date"].min()]
    scores_plot(first, "vigour", control="untreated").drawn("png")


def test_pictures_are_described_whole(said_whole, counts, scores):
    def told():
        found = counts_plot(counts, control="untreated")
        yield from (found.alt, found.caption)
        for score in ("vigour", "mildew_pct"):
            yield scores_plot(scores, score, control="untreated").caption
        loggers = frost_plot(frost_nights(season([f"L{n}" for n in range(8)], days=4)))
        yield loggers.caption

    said_whole(told, scouting_captions, numbers)


def test_days_axes_and_stages_are_in_the_language(german, scores, words_in):
    temperatures = season()
    risk = frost_risk(temperatures, STAGES, sensor="screen")
    words = {
        "Coldest of the night, °C": "Tiefstwert, °C",
        "flowering": "Blüte",
        "{name} {value:.3g}": "{name} {value:.3g}",
        "{score}, median of the strips. {days}.": "{score}, Median. {days}.",
        "Coldest of each night, {first} to {last}: below 0 °C on {nights} nights, down to "
        "{coldest} °C on {day}.": "{first} bis {last}: {nights} Nächte, {coldest} °C am {day}.",
    }
    with speaking(german(words)):
        frost = frost_plot(frost_nights(temperatures), risk=risk, stages=STAGES)
        vigour = scores_plot(scores, "vigour", control="untreated")
        on_frost, on_scores = words_in(frost), words_in(vigour)
    assert re.match(r"21\. August bis 29\. September 2024: \d+ Nächte, −\d,\d °C am ", frost.alt)
    assert {"Tiefstwert, °C", "65\nBlüte"} <= on_frost
    assert {"3. Aug.", "7. Sept."} <= on_scores
    assert re.search(r"3\. August: dressed 4,5, untreated 3,5", vigour.alt)
    assert set(risk.nights["verdict"]) <= {"could have hurt", "may have hurt", "not cold enough",
                                           "not known"}  # fmt: skip
