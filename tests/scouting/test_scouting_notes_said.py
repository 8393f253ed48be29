"""What was scouted, in another language: sentences and faults whole, codes in tables as before."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ScoutingError, noted
from trialkit.language import speaking
from trialkit.scouting import (
    clocks,
    cold_by_height,
    cold_places,
    compare_counts,
    compare_scores,
    damage,
    establishment,
    frost_nights,
    frost_risk,
    growth,
    growth_stages,
    logger_files,
    plant_counts,
    plant_table,
    read_temperatures,
    score_table,
    score_tests,
    score_words,
    scores,
    sterility,
    sterility_by_strip,
    strip_labels,
    temperatures,
)


def undated(sentence):
    """A sentence without day and month, which no template holds."""
    return re.sub(r"\d+\.? (August|September) ", "", sentence)


def fault(make):
    """The fault that a step is refused for."""
    with pytest.raises(ScoutingError) as error:
        make()
    return str(error.value)


@pytest.mark.parametrize("gone", [[], [0], [0, 9], [0, 9, 12, 20, 31]])
def test_counts(counts, layout, said_whole, gone):
    table = counts.assign(count=counts["count"].astype(float))
    table.loc[gone, "count"] = np.nan
    table.loc[[1, 2], "count"] = [0, 400]

    def told():
        found = compare_counts(plant_table(table, layout), against="untreated")
        yield from found.sentences
        yield from (note for note in found.notes if "record" in note)

    said = said_whole(told, establishment, strip_labels)
    assert "⟦This does not settle it.⟧" in said[0]
    assert any("records" in note for note in said) or not gone


def test_counts_with_decimal_marks(counts, layout, german):
    words = {
        "Without them the ratios to {control} are: {changes}.": "Sonst zu {control}: {changes}.",
        "{treatment} {ratio:.2f} ({low:.2f} to {high:.2f})": "{treatment} {ratio:.2f} "
        "({low:.2f} bis {high:.2f})",
    }
    table = counts.copy()
    table.loc[2, "count"] = 400
    with speaking(german(words)):
        found = compare_counts(plant_table(table, layout), against="untreated")
    assert any("Sonst zu untreated: dressed 1," in note for note in found.notes)
    assert found.means.index.tolist() == ["dressed", "untreated"]


def pairs(differences, kind):
    blocks = np.arange(len(differences)).repeat(2)
    value = np.column_stack([50 + np.asarray(differences, dtype=float),
                             np.full(len(differences), 50.0)]).ravel()  # fmt: skip
    return pd.DataFrame({
        "score": "vigour", "date": pd.Timestamp("2024-08-03"), "kind": kind,
        "strip": [f"S{n}" for n in range(len(value))], "block": blocks,
        "treatment": ["dressed", "untreated"] * len(differences), "value": value,
    })  # fmt: skip


@pytest.mark.parametrize("kind", ["percent", "ordinal", "number"])
@pytest.mark.parametrize(
    "differences", [[0] * 6, [1, 2, -1, 0, 3, 2], [4.5, 5, 6, 5, 5, 4], [1, 2]]
)
def test_scores(said_whole, kind, differences):
    def told():
        found = compare_scores(pairs(differences, kind), "vigour", against="untreated")
        assert set(found.rows["method"]) <= {
            "all strips alike",
            "mixed model of strip means",
            "exact signed-rank test",
        }
        yield from map(undated, found.sentences)

    said = said_whole(told, score_words, score_tests)
    assert "on 2024: dressed" in said[0]


def test_methods_are_said_and_stay_codes(german):
    words = {
        "{score} on {day}: {treatment} was {blocks} (against {control}; middle difference "
        "{difference}; {method}, p {p:.2g}).": "{score}, {day}: {method}, p {p:.2g}, {blocks}.",
        "exact signed-rank test": "exakter Vorzeichen-Rangtest",
        "higher in {higher} of {blocks} blocks": "höher in {higher} von {blocks} Blöcken",
    }
    with speaking(german(words)):
        found = compare_scores(pairs([1, 2, 1, 2, 1, 3], "ordinal"), "vigour", against="untreated")
    assert found.sentences[0].startswith(
        "vigour, 3. August 2024: exakter Vorzeichen-Rangtest, p 0,031, höher in 6 von 6 Blöcken."
    )
    assert found.rows["method"].tolist() == ["exact signed-rank test"]


def night(coldest, hours=3.0):
    times = pd.date_range("2024-09-13 12:00", "2024-09-14 12:00", freq="5min")
    away = np.asarray((times - pd.Timestamp("2024-09-14 03:00")) / pd.Timedelta(hours=1))
    values = np.where((away >= 0) & (away <= hours), coldest, 6.0)
    return pd.DataFrame({"logger": "hollow", "time": times, "temperature_c": values})


@pytest.mark.parametrize(("coldest", "stage"), [(-3.0, [65]), (-1.5, [39, 69]), (3.0, [65])])
@pytest.mark.parametrize("gap", [False, True])
@pytest.mark.parametrize("sensor", ["canopy", "screen"])
def test_frost(said_whole, coldest, stage, gap, sensor):
    table = night(coldest)
    if gap:
        table = table[~table["time"].between("2024-09-14 05:30", "2024-09-14 08:00")]
    days = pd.to_datetime(["2024-09-14"] if len(stage) == 1 else ["2024-09-04", "2024-09-24"])
    seen = pd.DataFrame({"date": days, "stage": stage})

    def told():
        for crop in ("wheat", "oats", "triticale", "lentil"):
            found = frost_risk(table, seen, sensor=sensor, crop=crop)
            assert set(found.nights["verdict"]) <= {
                "could have hurt", "may have hurt", "not known", "not cold enough",
            }  # fmt: skip
            yield from map(undated, found.sentences)
            # Where the limits come from holds numbers in words: the translator's to write.
            yield from found.notes[4:]

    said = said_whole(told, damage, growth)
    assert sensor == "canopy" or any("1,5 to 2" in note for note in said)


def test_a_night_in_german(german):
    words = {
        "Night to {day}, logger {logger}: down to {cold} °C, and {hours:.1f} hours colder than "
        "wheat has been harmed at {stage}. It could have hurt.": "Nacht zum {day}, {logger}: "
        "{cold} °C, {hours:.1f} h, {stage}.",
        "stage {stage:.0f} ({name})": "Stadium {stage:.0f} ({name})",
        "flowering": "Blüte",
        "could have hurt": "könnte geschadet haben",
    }
    seen = pd.DataFrame({"date": pd.to_datetime(["2024-09-14"]), "stage": [65]})
    with speaking(german(words)):
        found = frost_risk(night(-3.0), seen, sensor="canopy")
    assert found.sentences == (
        "Nacht zum 14. September 2024, hollow: −3,0 °C, 3,0 h, Stadium 65 (Blüte).",
    )
    assert found.nights[["stage_name", "verdict"]].to_numpy().tolist() == [
        ["flowering", "could have hurt"]
    ]


@pytest.mark.parametrize("nights", [1, 3])
@pytest.mark.parametrize("loggers", ["ab", "abcd"])
def test_cold_by_height(said_whole, nights, loggers):
    heights = dict(zip("abcd", (-2.0, -0.5, 0.5, 2.0), strict=True))
    times = pd.date_range("2024-09-10 12:00", periods=48 * nights + 1, freq="30min")
    cold = (times.hour > 1) & (times.hour < 7)
    table = pd.concat(
        pd.DataFrame({"logger": name, "time": times,
                      "temperature_c": np.where(cold, -4 + heights[name] + 0.3 * (name == "b"), 6)})
        for name in loggers
    )  # fmt: skip
    places = pd.DataFrame({"logger": list(loggers),
                           "relative_height_m": [heights[name] for name in loggers]})  # fmt: skip

    def told():
        frost = frost_nights(table)
        yield cold_by_height(frost, places).sentence
        yield fault(lambda: cold_by_height(frost, places[:1]))
        yield fault(lambda: cold_by_height(frost, places[:0]))
        yield fault(lambda: cold_by_height(frost, places.assign(relative_height_m=0.25)))

    said = said_whole(told, cold_places)
    assert ("over 1 night and" if nights == 1 else "over 3 nights and") in said[0]


LOGGER = "Date Time,Temp (°C)\n2024-09-13 12:00,6.5\n2024-09-13 13:00,7.5\n"


@pytest.mark.parametrize(
    "content",
    [
        "", "nothing here\n", LOGGER.splitlines()[0] + "\n", LOGGER.replace("6.5", "warm"),
        LOGGER.replace("6.5", "-80.5"), LOGGER.replace("6.5", "95.5"),
        LOGGER.replace(" (°C)", ""), LOGGER.replace(" (°C)", "").replace("7.5", "88.5"),
        LOGGER.replace("2024-09-13 12:00", "at noon"), LOGGER.replace("2024", "1904"),
        LOGGER.replace("2024-09-13 12:00", ""), LOGGER.replace("6.5", "").replace("7.5", ""),
        LOGGER + "2024-09-13 13:00,8.5\n", LOGGER.replace("2024-09-13", "05/06/2024"),
        LOGGER + LOGGER.splitlines()[1] + "\n",
    ],
)  # fmt: skip
def test_faults_of_loggers(tmp_path, said_whole, content):
    file = tmp_path / "hollow.csv"
    file.write_text(content)
    columns = {"time": "Date Time", "temperature_c": ["Temp (°C)", "Temp"]}

    def told():
        for given in (columns, None):
            with noted() as notes:
                try:
                    read_temperatures([file], columns=given)
                except ScoutingError as error:
                    yield str(error)
            yield from notes

    assert said_whole(told, logger_files, clocks, temperatures)


@pytest.mark.parametrize(
    ("column", "value"),
    [("count", -1), ("count", 2.5), ("count", "many"), ("row_length_m", 0), ("strip", "S99"),
     ("row_length_m", np.nan),
     ("date", "June"), ("count", 200_000), ("row_length_m", 90_000)],
)  # fmt: skip
@pytest.mark.parametrize("rows", [[3], [3, 7], [0, 1, 2, 3, 4]])
def test_faults_of_counts(counts, layout, said_whole, column, value, rows):
    table = counts.astype({column: object})
    table.loc[rows, column] = value
    said = said_whole(
        lambda: [fault(lambda: plant_table(table, layout))], plant_counts, strip_labels
    )
    assert ("⟦counts⟧" in said[0]) == (len(said) > 0)


def test_faults_of_scores_and_heads(layout, said_whole):
    score = pd.DataFrame({"strip": ["S1", "S2"], "date": "2024-08-03", "score": "rust_pct",
                          "value": [12.0, 130.5]})  # fmt: skip
    heads = pd.DataFrame({"strip": ["S1", "S2"], "sterile": [6, 40], "florets": [30, 28]})
    known = pairs([1, 2], "ordinal")

    def told():
        yield fault(lambda: score_table(score, layout))
        yield fault(lambda: score_table(score.assign(date=""), layout))
        yield fault(lambda: sterility_by_strip(heads, layout))
        yield fault(lambda: sterility_by_strip(heads.assign(florets=0, sterile=0), layout))
        yield fault(lambda: compare_scores(known, "rust", against="untreated"))
        yield fault(lambda: compare_scores(known, "vigour", against="other"))
        yield fault(
            lambda: growth_stages(pd.DataFrame({"date": ["2024-08-03"], "stage": [120]}), [])
        )

    said = said_whole(told, scores, sterility, score_tests, growth, strip_labels)
    assert "of the ⟦scores⟧" in said[0]
