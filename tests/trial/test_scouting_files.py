"""What was scouted in a folder: read where it is right, told file and row where it is wrong."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from trialkit.errors import ScoutingError, TrialFolderError
from trialkit.trial import check_folder, check_scouting, open_trial, read_scouting
from trialkit.trial.scouting_files import logger_files

SCOUTING = """
[scouting]
sown = 2024-05-12
sterile_without_frost_pct = 5

[scouting.scores.vigour]
low = 1
high = 9
better = "high"
"""
TEMPERATURES = """
[scouting.temperatures]
sensor = "canopy"
zone = "+09:30"
[scouting.temperatures.columns]
time = "When"
temperature_c = "Air (°C)"
[scouting.temperatures.places.hollow]
relative_height_m = -1.5
[scouting.temperatures.places.ridge]
strip = "S7"
"""
LOGGED = "Serial 9\nWhen;Air (°C)\n2024-09-14 00:00;4.5\n2024-09-14 03:00;-1,5\n".replace(",", ".")


@pytest.fixture
def settle(trial_folder):
    """Write settings and files into a trial folder."""

    def write(settings="", **files):
        with (trial_folder / "trial.toml").open("a") as toml:
            toml.write(settings)
        for name, text in files.items():
            (trial_folder / f"{name}.csv").write_text(text)
        return trial_folder

    return write


@pytest.fixture
def logged(settle):
    folder = settle(SCOUTING + TEMPERATURES)
    (folder / "temperatures").mkdir()
    for name in ("hollow", "ridge"):
        (folder / "temperatures" / f"{name}.csv").write_text(LOGGED, encoding="utf-8")
    return folder


def faults_of(folder):
    _, checks = check_folder(folder)
    return "\n".join(check.sentence() for check in checks if check.outcome == "fault")


def told(folder, outcome):
    return [c.sentence() for c in check_scouting(open_trial(folder)) if c.outcome == outcome]


def test_a_folder_without_any_of_it_is_in_order_and_names_what_is_missing(trial_folder):
    trial = open_trial(trial_folder)
    assert check_scouting(trial) == []
    scouted = read_scouting(trial)
    assert len(scouted.missing) == 5
    assert "trialkit countsheet" in scouted.missing[0]
    assert scouted.temperatures is scouted.places is scouted.plants is scouted.scores is None
    with pytest.raises(ScoutingError, match="temperatures/: there is no logger file"):
        trial.temperatures()


def test_everything_is_read_and_ready_for_the_station(logged, settle):
    settle(
        counts="strip,place,count,area_m2\nS0,1,20,0.25\nS0,2,,0.25\nS1,1,0,0.25\n",
        stages="date,zadoks\n2024-08-01,31\n2024-09-20,65\n",
        scores="strip,date,score,value\nS0,2024-08-01,vigour,7\nS1,2024-08-01,vigour,\n",
        heads="strip,date,sterile,florets\nS0,2024-10-20,5,25\nS1,2024-10-20,,\n",
    )
    scouted = read_scouting(open_trial(logged))
    assert scouted.missing == ()
    assert scouted.notes == ()
    assert scouted.plants["plants_m2"].tolist()[::2] == [80, 0]
    assert scouted.plants["plants_m2"].isna().tolist() == [False, True, False]
    assert scouted.stages["stage"].tolist() == [31, 65]
    assert scouted.scores["kind"].unique().tolist() == ["ordinal"]
    assert scouted.sterility["sterile_pct"].tolist() == [20]
    assert scouted.sterility["loss_pct"].tolist() == [pytest.approx(100 * 0.15 / 0.95)]
    assert scouted.sensor == "canopy"
    assert scouted.temperatures["logger"].unique().tolist() == ["hollow", "ridge"]
    assert str(scouted.temperatures["time"].iloc[0]) == "2024-09-14 00:00:00+09:30"
    places = scouted.places.set_index("logger")
    assert places.loc["hollow", "relative_height_m"] == -1.5
    assert places.loc["ridge", "strip"] == "S7"


def test_tables_of_blanks_only_count_as_missing(settle):
    folder = settle(
        counts="strip,count,area_m2\nS0,,0.25\nS1,,0.25\n",
        heads="strip,date,sterile,florets\nS0,2024-10-20,,\n",
    )
    scouted = read_scouting(open_trial(folder))
    assert scouted.plants is None
    assert scouted.sterility is None


@pytest.mark.parametrize(
    ("files", "says"),
    [
        (
            {"counts": "strip,count,area_m2\nS0,20,0.25\nS1,20.5,0.25\n"},
            r"counts\.csv, row 3, count: 20\.5 is no whole number of plants\. Enter each place",
        ),
        (
            {
                "counts": "strip,count,row_length_m,row_spacing_m,area_m2\n"
                "S0,20,1,0.25,0.25\nS1,20,1,0.25,2.5\n"
            },
            r"counts\.csv, row 3, area_m2: 2\.5 m² is not the length of row times its spacing",
        ),
        (
            {"counts": "strip,count,area_m2,date\nS0,20,0.25,2023-06-04\n"},
            r"row 2, date: 2023-06-04 is before the crop was sown, 2024-05-12\. Correct it,",
        ),
        (
            {"counts": "strip,place,count,area_m2\nS0,0,20,0.25\n"},
            r"row 2, place: '0' cannot be right\. Expected 1 to 1000",
        ),
        (
            {"stages": "date,zadoks\n2024-08-01,39\n2024-09-01,31\n"},
            r"stages\.csv, row 3, zadoks: 31 is younger than what was seen .* cannot run backward",
        ),
        ({"stages": "date,zadoks\n2024-08-01,131\n"}, r"'131' cannot be right\. Expected 0 to 99"),
        (
            {"scores": "strip,date,score,value\nS0,2024-08-01,vigour,77\n"},
            r"row 2, value: vigour of 77 is off its scale, 1 to 9\. .*\[scouting\.scores\.vigour\]",
        ),
        (
            {"scores": "strip,date,score,value\nS0,2024-08-01,rust_pct,120\n"},
            r"rust_pct of 120 is off its scale, 0 to 100",
        ),
        (
            {"heads": "strip,date,sterile,florets\nS0,2024-10-20,31,30\n"},
            r"heads\.csv, row 2, sterile: 31 sterile florets are more than the florets",
        ),
        (
            {"heads": "strip,date,sterile,florets\nS0,2024-10-20,,30\n"},
            r"row 2, sterile: It is blank, and the other number is 30\. Fill in both",
        ),
        ({"heads": "strip,date,sterile,florets\nS0,2024-10-20,0,0\n"}, r"florets: '0' cannot be"),
        ({"heads": "strip,date,sterile,florets\nS77,2024-10-20,0,9\n"}, r"has no strip 'S77'"),
    ],
)
def test_a_fault_names_file_row_and_remedy(settle, files, says):
    found = faults_of(settle(SCOUTING, **files))
    assert re.search(says, found), found
    assert len(found.splitlines()) == 1


def test_all_faults_come_at_once_and_many_of_a_kind_are_counted(settle):
    rows = "".join("S0,20.5,0.25\n" for _ in range(20))
    folder = settle(
        SCOUTING,
        counts="strip,count,area_m2\n" + rows,
        stages="date,zadoks\n2024-08-01,39\n2024-09-01,31\n",
    )
    found = faults_of(folder)
    assert "17 more rows have the same fault" in found
    assert "stages.csv" in found
    with pytest.raises(TrialFolderError, match=r"20\.5 is no whole number"):
        open_trial(folder)


def test_the_spread_of_one_day_does_not_run_backward(settle):
    stages = "date,zadoks\n2024-08-01,31\n2024-08-01,37\n2024-08-09,33\n2024-08-09,39\n"
    assert faults_of(settle(SCOUTING, stages=stages)) == ""


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ("[scouting]\nplace = 5\n", r"\[scouting\] place: There is no such key\. Did you mean"),
        ("[scouting]\nplaces = 0\n", r"\[scouting\] places: It should be at least 1"),
        (
            "[scouting.scores.vigour]\nlo = 1\n",
            r"\[scouting\.scores\.vigour\] lo: There is no such key\. Did you mean 'low'\?",
        ),
        (
            "[scouting.scores.low]\nlo = 1\n",
            r"\[scouting\.scores\.low\] lo: There is no such key\. Did you mean 'low'\?",
        ),
        (
            "[scouting.scores.vigour]\nlow = 9\nhigh = 1\n",
            r"Low \(9\) must be below high \(1\)",
        ),
        ("[scouting.temperatures]\nunit = 'C'\n", r"\[scouting\.temperatures\] sensor: .* missing"),
        (
            "[scouting.temperatures]\nsensor = 'leaf'\n",
            r"sensor: It should be 'canopy' or 'screen', not 'leaf'",
        ),
        (
            "[scouting.temperatures]\nsensor = 'canopy'\nzone = 'Adelaide'\n",
            r"zone: Zone='Adelaide' is no time zone\. Give one like 'Australia/Adelaide'",
        ),
        (
            "[scouting.temperatures]\nsensor = 'canopy'\n[scouting.temperatures.columns]\n"
            "tme = 'When'\ntemperature_c = 'T'\n",
            r"'tme' is not a column of a logger's file\. Did you mean 'time'\?",
        ),
        (
            "[scouting.temperatures]\nsensor = 'canopy'\n[scouting.temperatures.columns]\n"
            "time = 'When'\n",
            r"It must name the heading of temperature_c",
        ),
        (
            "[scouting.temperatures]\nsensor = 'canopy'\n[scouting.temperatures.places.low]\n"
            "longitude = 85\n",
            r"places\] low: Longitude and latitude belong together",
        ),
        (
            "[scouting.temperatures]\nsensor = 'canopy'\n[scouting.temperatures.places.low]\n",
            r"It does not say where the logger hangs\. Give longitude and latitude",
        ),
    ],
)
def test_faults_of_trial_toml_say_where_and_what_would_be_right(settle, settings, says):
    found = faults_of(settle("\n" + settings))
    assert re.search(says, found), found
    assert len(found.splitlines()) == 1


def test_logger_files_are_among_what_the_answer_can_rest_on(logged):
    trial = open_trial(logged)
    files = [path.relative_to(logged).as_posix() for path in trial.input_files]
    assert files[-2:] == ["temperatures/hollow.csv", "temperatures/ridge.csv"]
    assert told(logged, "fault") == told(logged, "warning") == []
    assert told(logged, "ok") == ["temperatures/: 4 temperatures of 2 loggers read."]


def test_the_faults_of_every_logger_file_come_at_once(logged):
    (logged / "temperatures" / "ridge.csv").write_text(LOGGED.replace("4.5", "warm"), "utf-8")
    (logged / "temperatures" / "third.csv").write_text("When;Air\n2024-09-14 00:00;4.5\n", "utf-8")
    found = told(logged, "fault")
    assert len(found) == 2
    assert found[0].startswith("temperatures/ridge.csv, row 3, column 'Air (°C)': 'warm' is not a")
    assert found[1].startswith("temperatures/third.csv: No line holds the headings 'When', 'Air")


def test_a_unit_that_nobody_says_leads_to_trial_toml(logged):
    text = (logged / "trial.toml").read_text().replace('"Air (°C)"', '"Air"')
    (logged / "trial.toml").write_text(text)
    for file in logger_files(logged):
        file.write_text(LOGGED.replace("Air (°C)", "Air"), "utf-8")
    found = told(logged, "fault")
    assert len(found) == 2
    assert "does not say its unit" in found[0]
    assert "Keys such as unit stand under [scouting.temperatures] in trial.toml" in found[0]


def test_names_that_do_not_match_are_told_with_the_near_one(logged):
    text = (logged / "trial.toml").read_text()
    text = text.replace("places.hollow", "places.holow").replace('"S7"', '"S70"')
    (logged / "trial.toml").write_text(text)
    found = told(logged, "fault")
    assert "The layout has no strip 'S70'. Did you mean 'S7'?" in found[0]
    assert "No logger is called 'holow'. Did you mean 'hollow'?" in found[1]


def test_what_may_be_right_is_only_noticed(settle):
    folder = settle(
        SCOUTING,
        scores="strip,date,score,value\nS0,2024-08-01,rust_pct,0.2\nS1,2024-08-01,rust_pct,0.4\n"
        "S1,2024-08-01,lodging,4\n",
    )
    (folder / "temperatures").mkdir()
    logger = "time,temperature_c\n2024-09-14 00:00,4.5\n2024-09-14 03:00,-1.5\n"
    (folder / "temperatures" / "a.csv").write_text(logger)
    notes = told(folder, "warning")
    assert any("rust_pct runs up to 0.4 only" in note for note in notes)
    assert any("lodging has no scale" in note for note in notes)
    assert any("'vigour' has a scale, and no such thing was scored" in note for note in notes)
    assert any("does not say where the loggers hang" in note for note in notes)


def test_links_out_of_the_folder_are_refused(logged, tmp_path):
    (tmp_path / "elsewhere.csv").write_text(LOGGED)
    (logged / "temperatures" / "far.csv").symlink_to(tmp_path / "elsewhere.csv")
    assert "temperatures/far.csv: It points outside the trial folder" in faults_of(logged)


def test_strips_lost_at_sowing_are_left_out(settle):
    folder = settle(counts="strip,count,area_m2\nS0,20,0.25\nS3,20,0.25\n")
    (folder / "as-sown.csv").write_text("strip,lost\nS3,yes\n")
    scouted = read_scouting(open_trial(folder))
    assert scouted.plants["strip"].tolist() == ["S0"]
    assert scouted.notes == ("counts.csv: S3 left out, as sown.",)


def test_several_loggers_in_one_file_by_a_list_of_headings(settle):
    folder = settle(
        '\n[scouting.temperatures]\nsensor = "canopy"\n[scouting.temperatures.columns]\n'
        'time = "When"\ntemperature_c = ["Low (°C)", "High (°C)"]\n'
    )
    (folder / "temperatures").mkdir()
    text = "When,Low (°C),High (°C)\n2024-09-14 00:00,1,2\n2024-09-14 01:00,0,1\n"
    (folder / "temperatures" / "both.csv").write_text(text, "utf-8")
    found = open_trial(folder).temperatures()
    assert found["logger"].unique().tolist() == ["High (°C)", "Low (°C)"]
    assert pd.Series(found["temperature_c"]).tolist() == [2, 1, 1, 0]
