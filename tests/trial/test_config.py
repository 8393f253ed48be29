from __future__ import annotations

import re
from pathlib import Path

import pytest

from trialkit.trial.config import read_config


@pytest.fixture
def toml(trial_folder: Path) -> Path:
    return trial_folder / "trial.toml"


def change(toml: Path, old: str, new: str) -> None:
    text = toml.read_text()
    assert old in text
    toml.write_text(text.replace(old, new, 1))


def sentences(toml: Path) -> list[str]:
    config, checks = read_config(toml)
    assert config is None
    return [check.sentence() for check in checks]


def test_a_good_file_has_no_faults(toml):
    config, checks = read_config(toml)
    assert checks == []
    assert config is not None
    assert config.control == "untreated"
    assert config.cost_per_ha("dressed") == 14.5
    assert config.cost_per_ha("untreated") == 0


def test_a_cost_by_the_tonne_of_seed_is_turned_into_hectares(toml):
    change(toml, "cost_per_ha = 14.5", "cost_per_t_seed = 180")
    change(toml, "[machines]", "[sowing]\nseed_kg_ha = 80\n[machines]")
    config, _ = read_config(toml)
    assert config is not None
    assert config.cost_per_ha("dressed") == pytest.approx(180 * 80 / 1000)


def test_every_fault_is_listed_at_once(toml):
    change(toml, "season = 2024", 'season = "soon"')
    change(toml, "seeder_m = 12", "seeder_m = 0")
    change(toml, "price_per_t = 300", "price_per_tonne = 300")
    change(toml, "cost_per_ha = 14.5", "cost_per_ha = -1")
    found = sentences(toml)
    assert found == [
        "trial.toml, [trial] season: It should be a whole number, not 'soon'.",
        "trial.toml, [[treatments]] number 2 cost_per_ha: It should be at least 0, not -1.",
        "trial.toml, [machines] seeder_m: It should be above 0, not 0.",
        "trial.toml, [money] price_per_t: It is missing. Add it.",
        "trial.toml, [money] price_per_tonne: There is no such key. Did you mean 'price_per_t'? "
        "Known here: currency, price_per_t, price_range, area_ha, seasons, labour_per_h, "
        "lose_more_than, machine_per_h, water_per_kl, pass_per_ha, freight_per_t, levy_per_t, "
        "levy_pct, harvest_per_t, grades.",
    ]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("seeder_m = 12", "seeder_m = 12\nseedr = 1", "Did you mean 'seeder_m'"),
        ("control = true", "control = false", "Exactly one treatment must say control = true"),
        ('name = "dressed"', 'name = "untreated"', "'untreated' stands twice"),
        ("cost_per_ha = 14.5", "cost_per_t_seed = 180", "needs the seed rate"),
        ("cost_per_ha = 14.5", "cost_per_ha = 1\ncost_per_t_seed = 1", "counted twice"),
        ("control = true", "control = true\ncost_per_ha = 20", "the control the lower cost"),
        ('currency = "AUD"', 'currency = "$"', "three capital letters"),
        ("price_per_t = 300", "price_per_t = 300\nprice_range = [310, 340]", "between them"),
        ("price_per_t = 300", 'price_per_t = ""', "It is still blank. Fill it in."),
        ("[harvest]", '[harvest]\ndelay_s = "guess"', "'estimate' or seconds from 0 to 60"),
        ("[harvest]", "[harvest]\ncolumns = {flow_kgs = 'x'}", "Did you mean 'flow_kg_s'"),
        ("[harvest]", "[harvest]\nscreening = {speed_low = 1}", "Did you mean 'speed_low_m_s'"),
        ('name = "Invented trial"', "name = Invented trial", "not valid TOML.*line 2"),
    ],
)
def test_faults_name_place_and_remedy(toml, old, new, says):
    change(toml, old, new)
    found = sentences(toml)
    assert len(found) == 1
    assert re.search(says, found[0])


def test_a_misspelled_table_is_named_with_the_right_word(toml):
    change(toml, "[machines]", "[machins]")
    missing, misspelled = sentences(toml)
    assert missing == "trial.toml, [machines]: It is missing. Add it."
    assert misspelled.startswith(
        "trial.toml, [machins]: There is no such key. Did you mean 'machines'?"
    )


def test_a_missing_file_says_how_to_make_one(tmp_path):
    assert sentences(tmp_path / "trial.toml") == [
        "trial.toml: The file is missing. Make a folder with `trialkit new FOLDER`."
    ]


def test_another_encoding_is_named(toml):
    toml.write_bytes('[trial]\nname = "Café"\n'.encode("latin-1"))
    assert "not UTF-8" in sentences(toml)[0]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("area_ha = 0", "[money] area_ha: It should be above 0, not 0."),
        ("seasons = 2.5", "[money] seasons: It should be a whole number, not 2.5."),
        ("seasons = 0", "[money] seasons: It should be at least 1, not 0."),
        ("labour_per_h = -1", "[money] labour_per_h: It should be at least 0, not -1."),
        ("lose_more_than = -5", "[money] lose_more_than: It should be at least 0, not -5."),
    ],
)
def test_what_the_farm_would_do_with_the_answer(toml, line, wanted):
    change(toml, "price_per_t = 300", f"price_per_t = 300\n{line}")
    assert sentences(toml) == [f"trial.toml, {wanted}"]
