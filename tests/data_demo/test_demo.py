"""The demo trials: remade byte for byte, and what their truth says is so."""

import importlib.util
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.design import rehearse
from trialkit.shipped import copy_demo
from trialkit.trial.config import read_config
from trialkit.trial.folder import check_folder
from trialkit.trial.laying_out import lay_out_folder
from trialkit.trial.past_yields import read_past_yields
from trialkit.trial.sowing_remarks import check_sowing
from trialkit.units import convert

HERE = Path(__file__).resolve().parents[2] / "data-demo"
FOLDERS = ("oats-2023-hard-frost", "oats-2024-no-frost")
PLAN = "oats-2025-to-plan"
TWO_DRESSINGS = "oats-2024-two-dressings"

#: Largest file of the demo, bytes.
LARGEST = 2_500_000

#: Metres in a degree of latitude, near enough to see a jump.
DEGREE_M = 111_000


@pytest.fixture(scope="module")
def remade(tmp_path_factory):
    spec = importlib.util.spec_from_file_location("make_demo", HERE / "make_demo.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    folder = tmp_path_factory.mktemp("demo")
    module.make_all(folder)
    return folder


def truth_of(name):
    return json.loads((HERE / name / "truth.json").read_text(encoding="utf-8"))


def log_of(name):
    """Read a log with the column map and the units of `trial.toml`, and nothing else of ours."""
    trial, _ = check_folder(HERE / name)
    file = trial.harvest_logs[0]
    with file.open(encoding="utf-8") as lines:
        delimiter = ";" if ";" in next(lines) else ","
    raw = pd.read_csv(file, sep=delimiter)
    units = {"speed_m_s": "m/s", "swath_m": "m", "flow_kg_s": "kg/s", "yield_t_ha": "t/ha"}
    log = pd.DataFrame()
    for column, heading in trial.config.harvest.columns.items():
        log[column] = raw[heading]
        if column in units:
            unit = trial.config.harvest.units[column]
            log[column] = convert(raw[heading].to_numpy(dtype=float), unit, units[column])
    header = raw["Header"] if "Header" in raw else raw["Header position"]
    log["down"] = header.isin(["down", 1])
    if "flow_kg_s" not in log:
        log["flow_kg_s"] = log["yield_t_ha"] * log["speed_m_s"] * log["swath_m"] / 10
    return log


def rows_of(truth, kind):
    runs = truth["mishap_records"][kind]
    return np.concatenate([np.arange(first, last + 1) for first, last in runs])


def files_in(folder):
    return sorted(
        path.relative_to(folder).as_posix()
        for name in (*FOLDERS, TWO_DRESSINGS, PLAN)
        for path in (folder / name).rglob("*")
        if path.is_file() and "results" not in path.parts
    )


def test_every_file_is_remade_byte_for_byte(remade):
    files = files_in(remade)
    assert files == files_in(HERE)
    for file in files:
        assert (remade / file).read_bytes() == (HERE / file).read_bytes(), file


def test_no_file_is_large():
    assert all((HERE / file).stat().st_size < LARGEST for file in files_in(HERE))


def test_the_readme_says_that_all_is_invented():
    text = (HERE / "README.md").read_text(encoding="utf-8")
    assert "Everything here is invented" in text
    assert "at\nsea" in text or "at sea" in text
    assert all(f"`{name}`" in text for name in (*FOLDERS, TWO_DRESSINGS, PLAN))


@pytest.mark.parametrize("name", FOLDERS)
def test_the_folder_has_no_fault_and_says_it_is_invented(name):
    trial, checks = check_folder(HERE / name)
    assert checks == []
    assert trial.config.trial.invented
    assert trial.boundary is not None
    assert trial.dressing is not None
    assert len(trial.counts) == 32
    assert (trial.weights is not None) == (name == "oats-2024-no-frost")
    assert set(trial.layout["role"]) == {"strip", "headland"}
    strips = trial.layout[trial.layout["role"] == "strip"]
    assert (strips.groupby("block")["treatment"].nunique() == 2).all()
    assert 12 < trial.config.cost_per_ha("dressed") < 16


@pytest.mark.parametrize("name", FOLDERS)
def test_the_truth_agrees_with_itself(name):
    truth = truth_of(name)
    strips = pd.DataFrame(truth["strips"])
    means = strips.groupby("treatment")["yield_t_ha"].mean()
    stated = truth["difference_of_strip_means_t_ha"]["dressed"]
    assert means["dressed"] - means["untreated"] == pytest.approx(stated, abs=2e-4)
    untreated = strips[strips["treatment"] == "untreated"]
    assert (untreated["yield_t_ha"] == untreated["undressed_t_ha"]).all()
    dressed = strips[strips["treatment"] == "dressed"]
    gained = (dressed["yield_t_ha"] - dressed["undressed_t_ha"]).mean()
    # The gain over all ground against that on the dressed half: they differ by the frost's share.
    assert gained == pytest.approx(truth["gain_t_ha"]["dressed"], abs=0.03)
    assert 2.7 < strips["yield_t_ha"].mean() < 3.3


def test_the_gains_are_what_the_readme_says():
    frost, none = (truth_of(name)["gain_t_ha"]["dressed"] for name in FOLDERS)
    assert frost == pytest.approx(0.27, abs=0.005)
    assert none == pytest.approx(0.04, abs=1e-9)
    text = (HERE / "README.md").read_text(encoding="utf-8")
    assert f"{frost:.2f} t/ha on the ground" in text
    assert f"{truth_of(FOLDERS[0])['difference_of_strip_means_t_ha']['dressed']:.2f} t/ha" in text


@pytest.mark.parametrize("name", FOLDERS)
def test_strips_vary_as_real_strips_do(name):
    """Standard error of the mean difference of the eight pairs, from the true strip yields."""
    strips = pd.DataFrame(truth_of(name)["strips"])
    pairs = strips.pivot_table(index="block", columns="treatment", values="yield_t_ha")
    difference = pairs["dressed"] - pairs["untreated"]
    assert 0.04 <= difference.std() / np.sqrt(8) <= 0.08


@pytest.mark.parametrize("name", FOLDERS)
def test_the_log_has_the_records_stated(name):
    log, truth = log_of(name), truth_of(name)
    assert len(log) == truth["records"]
    assert 15_000 <= len(log) <= 30_000
    seconds = pd.to_datetime(log["time"]).diff().dropna().dt.total_seconds()
    assert (seconds == 1).all()


@pytest.mark.parametrize("name", FOLDERS)
def test_planted_faults_are_where_the_truth_says(name):
    log, truth = log_of(name), truth_of(name)
    assert (log["speed_m_s"].iloc[rows_of(truth, "stop")] < 0.15).all()
    assert log["speed_m_s"].iloc[rows_of(truth, "crawl")].between(0.15, 0.45).all()
    spikes = rows_of(truth, "flow spike")
    assert log["flow_kg_s"].iloc[spikes].min() > 30
    assert log["flow_kg_s"].drop(spikes).max() < 20
    part = log["swath_m"].iloc[rows_of(truth, "part swath, recorded")]
    assert part.max() < 0.96 * 12
    assert part.median() < 8
    assert (log["swath_m"].iloc[rows_of(truth, "part swath, not recorded")] == 12).all()
    jumps = rows_of(truth, "position jump")
    east = log["longitude"].diff() * DEGREE_M * np.cos(np.deg2rad(38.5))
    moved = np.hypot(east, log["latitude"].diff() * DEGREE_M)
    assert (moved.iloc[jumps] > 30).all()
    landed = set(jumps) | {row + 1 for row in jumps}
    assert moved.drop(list(landed)).max() < 30


@pytest.mark.parametrize("name", FOLDERS)
def test_passes_run_both_ways(name):
    trial, _ = check_folder(HERE / name)
    log = log_of(name)
    east = log["longitude"].diff() * np.cos(np.deg2rad(38.5))
    heading = np.rad2deg(np.arctan2(east, log["latitude"].diff())) % 360
    along = {"oats-2023-hard-frost": 23, "oats-2024-no-frost": 112}[name]
    up = (np.abs(heading - along) < 10) & log["down"]
    down = (np.abs(heading - along - 180) < 10) & log["down"]
    assert up.sum() > 7000
    assert down.sum() > 7000
    assert trial.config.machines.harvester_m == 12


@pytest.mark.parametrize("name", FOLDERS)
def test_the_flow_lags_the_header_by_the_stated_delay(name):
    """Ground cut a second, known at once, against grain flow: they match best at the delay."""
    log, truth = log_of(name), truth_of(name)
    cut = (log["speed_m_s"] * log["swath_m"] * log["down"]).to_numpy()
    flow = log["flow_kg_s"].clip(upper=20).to_numpy()
    lags = np.arange(30)
    alike = [np.corrcoef(cut[: len(cut) - lag], flow[lag:])[0, 1] for lag in lags]
    assert lags[np.argmax(alike)] == pytest.approx(truth["delay_s"], abs=1.0)


def test_the_scales_tell_the_truth():
    name = "oats-2024-no-frost"
    trial, _ = check_folder(HERE / name)
    weights = trial.weights.set_index("strip")
    dry = weights["mass_kg"] * (100 - weights["moisture_pct"]) / (100 - 12.5)
    found = dry / weights["area_ha"] / 1000
    true = pd.DataFrame(truth_of(name)["strips"]).set_index("strip")["yield_t_ha"]
    assert found[true.index].to_numpy() == pytest.approx(true.to_numpy(), rel=0.015)


def test_the_cost_of_the_plan_follows_from_its_invented_recipe():
    config, _ = read_config(HERE / PLAN / "trial.toml")
    assert config.trial.invented
    dressed = config.treatment("dressed")
    assert dressed.cost_per_ha is None
    assert dressed.cost_per_t_seed is None
    # 4 l at 18.50, 2 kg at 8.75 and 3 l at 12 a tonne, 50 for the work; 80 kg/ha.
    by_hand = (4 * 18.5 + 2 * 8.75 + 3 * 12 + 50) * 0.08
    assert config.cost_per_ha("dressed") == pytest.approx(by_hand)
    assert by_hand == pytest.approx(14.2)
    assert check_sowing(config) == []
    said = dressed.description.lower().replace("microbe broth", "root microbe broth")
    assert all(product.name in said for product in dressed.recipe)


def test_the_costs_of_the_two_dressings_by_hand():
    trial, checks = check_folder(HERE / TWO_DRESSINGS)
    assert checks == []
    config = trial.config
    assert config.trial.invented
    # 75 kg/ha of seed; an hour costs 45, the machines 60, a pass 11, 1,000 l of water 2.50.
    broth = (92 + 5 + 0.3 * 45 + 0.2 * 60 + 8 * 0.0025) * 0.075 + 11
    powder = (210 + 9 + 0.6 * 45 + 0.2 * 60 + 15 * 0.0025) * 0.075
    assert config.extra_cost("broth") == pytest.approx((broth, 0))
    assert config.extra_cost("powder") == pytest.approx((powder, 6.5))
    assert config.money.price_per_t == pytest.approx(300 * 0.99 - 28)
    assert [grade.price_per_t for grade in config.money.graded] == pytest.approx(
        [322 * 0.99 - 28, 300 * 0.99 - 28]
    )


def test_the_two_dressings_are_what_the_readme_says():
    truth = truth_of(TWO_DRESSINGS)
    assert truth["gain_t_ha"] == pytest.approx({"broth": 0.15, "powder": 0.05})
    trial, _ = check_folder(HERE / TWO_DRESSINGS)
    strips = trial.layout[trial.layout["role"] == "strip"]
    assert (strips.groupby("block")["treatment"].nunique() == 3).all()
    assert strips["treatment"].value_counts().tolist() == [6, 6, 6]
    tested = trial.quality.merge(strips[["strip", "treatment"]], on="strip")
    weights = tested.groupby("treatment")["test_weight_kg_hl"].mean()
    # One sample a strip, six strips: a mean is off by 0.5 / sqrt(6) = 0.2, thrice that at most.
    assert weights.to_dict() == pytest.approx(
        {"untreated": 50.6, "broth": 50.8, "powder": 51.7}, abs=0.6
    )
    text = (HERE / "README.md").read_text(encoding="utf-8")
    for said in ("0.15 t/ha", "0.05 t/ha", "50.6 kg/hl", "1.1 kg/hl", "51 kg/hl"):
        assert said in " ".join(text.split())


def test_the_plan_can_be_laid_out_over_its_past_yields(tmp_path):
    copy_demo(tmp_path / "plan", PLAN)
    laid_out = lay_out_folder(tmp_path / "plan")
    config, _ = read_config(tmp_path / "plan" / "trial.toml")
    past = read_past_yields(tmp_path / "plan", config)
    assert list(past) == ["2022", "2023"]
    found = rehearse(laid_out.plan, list(past.values()))
    assert found.strips == 16
    assert found.by_map["mean_t_ha"].tolist() == pytest.approx([3.4, 2.6], abs=0.2)
