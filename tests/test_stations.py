"""The stations before harvest: each where the folder has something, and none stops the report."""

from __future__ import annotations

import re
import shutil

import pandas as pd
import pytest

from trialkit.answer import fit_strips
from trialkit.language import speaking
from trialkit.report import numbers, station_words
from trialkit.shipped import demo_folders
from trialkit.stations import before_harvest, design_section, where_section
from trialkit.trial import open_trial

STATIONS = {
    station_words.DRESSING: ["dressing.csv"],
    station_words.PLANTS: ["counts.csv"],
    station_words.SCORES: ["scores.csv"],
    station_words.FROST: ["temperatures"],
}


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(demo_folders()["oats-2023-hard-frost"], tmp_path / "trial")


def headings(folder):
    return re.findall("<h3>(.*?)</h3>", before_harvest(open_trial(folder), None).html())


def test_every_station_has_its_section_with_words_pictures_and_tables(folder):
    markup = before_harvest(open_trial(folder), None).html()
    assert re.findall("<h3>(.*?)</h3>", markup) == list(STATIONS)
    assert "&lt;" not in markup
    assert "Dressed: 2 mixes, 2023-05-11 and 2023-05-12 on 1.30 t of seed." in markup
    assert "seeds/m² came up" in markup
    alts = re.findall(r'<img [^>]*alt="([^"]+)"', markup)
    assert [alt.split(" ")[0] for alt in alts] == ["Plants/m²", "Coldest"]
    assert markup.count("<table") == markup.count("<thead") == 2
    assert "nan" not in markup.lower().replace("dominan", "")


@pytest.mark.parametrize("station", STATIONS)
def test_a_station_without_its_files_is_left_out(folder, station):
    for name in STATIONS[station]:
        path = folder / name
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    assert headings(folder) == [name for name in STATIONS if name != station]


def test_a_folder_with_harvest_only_says_so(folder):
    for name in ("dressing.csv", "counts.csv", "scores.csv", "heads.csv", "stages.csv"):
        (folder / name).unlink()
    shutil.rmtree(folder / "temperatures")
    assert station_words.NOTHING in before_harvest(open_trial(folder), None).html()


def test_what_cannot_be_read_is_said_in_its_place(folder):
    (folder / "temperatures" / "slope.csv").write_text("no log\n<b>1</b>\n")
    markup = before_harvest(open_trial(folder), None).html()
    assert "slope.csv" in markup
    assert "<b>1" not in markup
    assert f"<h3>{station_words.DRESSING}</h3>" in markup


def test_counts_that_cannot_answer_are_said_in_their_place(folder):
    lines = (folder / "counts.csv").read_text().splitlines()
    (folder / "counts.csv").write_text("\n".join([lines[0], *lines[1:3]]) + "\n")
    markup = before_harvest(open_trial(folder), None).html()
    assert headings(folder) == list(STATIONS)
    assert "<table" in markup  # of the frost


def test_the_design_says_how_it_was_drawn_and_what_it_could_see(folder):
    trial = open_trial(folder)
    strips = trial.layout[trial.layout["role"] == "strip"][["strip", "block", "treatment"]].copy()
    block = strips["block"].str[1:].astype(int)
    strips["yield_t_ha"] = 3 + 0.1 * block + 0.01 * (strips.reset_index().index % 3)
    text = design_section(trial, fit_strips(strips, trial.config)).html()
    assert "16 strips in 8 blocks: 8 of untreated and 8 of dressed. Sown at 75 kg/ha." in text
    assert station_words.BY_HAND in text
    assert "in four seasons of five" in text


def test_words_at_their_edges():
    batch = {"treatment": "a", "date": "2024-05-09", "seed_t": 0.7, "litres": 8.4}
    one = pd.DataFrame([batch])
    assert station_words.mixed(one) == ["A: one mix, 2024-05-09 on 0.70 t of seed, 12.0 l a tonne."]
    blank = pd.DataFrame([batch | {"seed_t": float("nan"), "litres": float("nan")}])
    assert station_words.mixed(blank) == ["A: one mix, 2024-05-09."]
    said = station_words.laid_out({"a": 1}, 1, seed_kg_ha=None)
    assert said == "One strip in one block: 1 of a."
    assert station_words.came_up(208.3, {"a": 95.2}) == "Of 208 seeds/m² came up: 95% of a."


def test_words_are_said_whole(said_whole):
    batch = {"treatment": "A", "date": "2024-05-09", "seed_t": 0.7, "litres": 8.4}
    blank = float("nan")
    rows = [batch, batch | {"litres": blank}, batch | {"seed_t": blank, "litres": blank}]

    def told():
        for row in rows:
            for mixes in (1, 2):
                yield from station_words.mixed(pd.DataFrame([row] * mixes))
        for counts, blocks in (({"a": 1}, 1), ({"a": 2, "b": 2}, 1), ({"a": 8, "b": 8}, 8)):
            yield station_words.laid_out(counts, blocks, seed_kg_ha=None)
            yield station_words.laid_out(counts, blocks, seed_kg_ha=1234.5)
        yield station_words.could_see(0.25)
        yield station_words.came_up(1208.3, {"a": 95.2, "b": 90.0})

    said = said_whole(told, station_words, numbers)
    assert "0,70 t" in said[0]
    assert "1.208 seeds" in said[-1]


def test_stations_are_named_in_the_language(folder, german):
    words = {
        "Dressing": "Beizung",
        "Plants": "Pflanzen",
        "Scores": "Bonituren",
        "Frost": "Frost",
        "Plants/m² by strip: {each}.": "Pflanzen/m² je Streifen: {each}.",
    }
    with speaking(german(words)):
        markup = before_harvest(open_trial(folder), None).html()
    assert re.findall("<h3>(.*?)</h3>", markup) == list(words.values())[:4]
    assert "Pflanzen/m² je Streifen: untreated " in markup
    assert "1,30 t of seed" in markup


def test_where_it_worked_needs_heights(trial_folder):
    trial = open_trial(trial_folder)
    assert "holds no heights" in where_section(trial, None).html()
