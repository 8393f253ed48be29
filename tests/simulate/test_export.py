import json
import tomllib

import numpy as np
import pandas as pd
import pytest

from trialkit import simulate
from trialkit.trial.config import read_config
from trialkit.trial.folder import check_folder


def test_a_plain_log_reads_back(season, tmp_path):
    path = simulate.write_log(season.log, tmp_path / "harvest" / "log.csv")
    back = pd.read_csv(path, parse_dates=["time"])
    assert list(back) == [name for name in season.log if name != "yield_t_ha"]
    assert (back["time"] == season.log["time"]).all()
    assert (back["flow_kg_s"] - season.log["flow_kg_s"]).abs().max() <= 0.0005 + 1e-9
    assert (back["longitude"] - season.log["longitude"]).abs().max() <= 0.5e-7 + 1e-12


def test_headings_units_delimiter_and_decimal_comma(season, tmp_path):
    export = simulate.Export(
        columns={"time": "Time", "speed_m_s": "Speed", "swath_m": "Width", "yield_t_ha": "Yield"},
        units={"speed_m_s": "mph", "swath_m": "in", "yield_t_ha": "bu/ac"},
        decimals={"swath_m": 0, "yield_t_ha": 2},
        delimiter=";",
        decimal_mark=",",
        encoding="utf-16",
    )
    path = simulate.write_log(season.log, tmp_path / "log.txt", export, crop="oats")
    back = pd.read_csv(path, sep=";", decimal=",", encoding="utf-16")
    assert list(back) == ["Time", "Speed", "Width", "Yield"]
    assert back["Width"].iloc[0] == round(12 / 0.0254)
    # 1 mph is 0.44704 m/s; 1 bu/ac of oats (32 lb) 0.0358673 t/ha: unit arithmetic.
    assert back["Speed"].to_numpy() * 0.44704 == pytest.approx(
        season.log["speed_m_s"].to_numpy(), abs=3e-4
    )
    assert back["Yield"].to_numpy() * 0.0358673 == pytest.approx(
        season.log["yield_t_ha"].to_numpy(), rel=1e-5, abs=2e-4
    )


def test_other_columns_and_parts_of_a_second_are_written(layout, tmp_path):
    season = simulate.harvest_trial(layout, seed=1, monitor=simulate.Monitor(interval_s=0.2))
    log = season.log.head(3).assign(header=["down", "down", "up"])
    export = simulate.Export({"time": "Time", "header": "Header", "moisture_pct": "Moisture"})
    lines = simulate.write_log(log, tmp_path / "log.csv", export).read_text().splitlines()
    assert lines[0] == "Time,Header,Moisture"
    assert lines[2].startswith("2024-12-05T10:00:00.200,down,")


def test_no_minus_zero_is_written(tmp_path):
    log = pd.DataFrame({"flow_kg_s": [-1e-9, 1.0]})
    export = simulate.Export({"flow_kg_s": "Flow"}, decimals={"flow_kg_s": 1})
    assert simulate.write_log(log, tmp_path / "log.csv", export).read_text() == "Flow\n0.0\n1.0\n"


def test_a_folder_passes_its_own_checks(layout, season, tmp_path):
    weights = simulate.trailer_weights(season, seed=1).round(3)
    folder = simulate.write_trial(tmp_path / "x", layout, season, tables={"weights": weights})
    trial, checks = check_folder(folder)
    assert checks == []
    assert trial is not None
    assert trial.config.control == "untreated"
    assert len(trial.layout) == len(layout)
    assert len(trial.weights) == 12
    assert [path.name for path in trial.harvest_logs] == ["log.csv"]


def test_a_folder_without_a_harvest_passes_too(layout, tmp_path):
    trial, checks = check_folder(simulate.write_trial(tmp_path / "x", layout))
    assert checks == []
    assert trial is not None
    assert trial.harvest_logs == ()


def test_the_short_settings_name_the_columns_of_the_log(layout, season, tmp_path):
    export = simulate.Export({"time": "When", "flow_kg_s": 'Flow "wet"'}, {"flow_kg_s": "lb/s"})
    text = simulate.short_settings(layout, 12.0, cost_per_ha=9.5, price_per_t=250, export=export)
    (tmp_path / "trial.toml").write_text(text)
    config, checks = read_config(tmp_path / "trial.toml")
    assert checks == []
    assert config is not None
    assert config.harvest.columns == {"time": "When", "flow_kg_s": 'Flow "wet"'}
    assert config.harvest.units == {"flow_kg_s": "lb/s"}
    assert config.cost_per_ha("a") == 9.5
    assert tomllib.loads(text)["money"]["price_per_t"] == 250


def test_truth_as_json_says_where_the_mishaps_are(season):
    truth = json.loads(simulate.truth_as_json(season))
    assert truth["control"] == "untreated"
    assert truth["gain_t_ha"] == {"a": 0.3, "b": -0.1}
    for kind, runs in truth["mishap_records"].items():
        rows = np.concatenate([np.arange(first, last + 1) for first, last in runs])
        planted = season.truth.mishaps
        assert list(rows) == list(planted.loc[planted["kind"] == kind, "record"])
        assert len(rows) == truth["mishaps"][kind]
