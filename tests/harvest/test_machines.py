"""Two harvesters in one field."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from trialkit.errors import LogWarning
from trialkit.harvest import by_machine, level_machines, read_log, split_passes


def cut(strips, machines, gains=None, reads=(1.0, 1.0), noise=0.0, seed=1):
    """Records of strips in pairs, each cut by the machines named, with their own readings."""
    rng = np.random.default_rng(seed)
    rows = []
    for number in range(strips):
        block, treatment = number // 2, ("untreated", "dressed")[(number + number // 2) % 2]
        grows = (3 + 0.2 * block) * (1 + (gains or {}).get(treatment, 0.0)) + noise * rng.normal()
        for machine in machines(number, treatment):
            value = grows * reads[machine - 1] * (1 + noise / 3 * rng.normal())
            rows += [(machine, f"S{number}", f"B{block}", treatment, value)] * 40
    log = pd.DataFrame(rows, columns=["machine", "strip", "block", "treatment", "yield_t_ha"])
    return log.assign(kept=True, swath_m=10.0, travel_m=2.0, grain_kg=log["yield_t_ha"] * 2)


def test_what_one_reads_more_is_taken_out():
    log = cut(12, lambda *_: (1, 2), {"dressed": 0.2}, reads=(1.05, 0.95))
    levelled, factors = level_machines(log)
    assert factors["factor"].to_numpy() == pytest.approx(
        [np.sqrt(0.95 / 1.05), np.sqrt(1.05 / 0.95)]
    )
    by_strip = levelled.pivot_table("yield_t_ha", "strip", "machine")
    assert by_strip[1].to_numpy() == pytest.approx(by_strip[2].to_numpy())
    assert (levelled["grain_kg"] / levelled["yield_t_ha"]).to_numpy() == pytest.approx(2.0)


def test_the_gain_stays_where_the_machines_change_with_the_strips():
    # Machine 1 cuts the dressed strips of the first blocks and the others of the last ones.
    log = cut(
        16, lambda n, t: (1,) if (t == "dressed") == (n < 8) else (2,), {"dressed": 0.06},
        reads=(1.1, 1.0),
    )  # fmt: skip

    def gains(log):
        means = log.pivot_table("yield_t_ha", "block", "treatment")
        return (means["dressed"] / means["untreated"] - 1).to_numpy()

    assert np.ptp(gains(log)) > 0.15
    assert gains(level_machines(log)[0]) == pytest.approx(0.06)


def test_factors_and_errors_are_those_of_statsmodels():
    log = cut(12, lambda n, _: (1, 2) if n % 3 else (1,), {"dressed": 0.2}, (1.05, 0.95), 0.1)
    cells = log.groupby(["machine", "strip", "block", "treatment"], as_index=False).agg(
        value=("yield_t_ha", "mean"), area=("yield_t_ha", "size")
    )
    other = smf.wls(
        "np.log(value) ~ C(machine, Sum) + block + treatment", cells, weights=cells["area"]
    ).fit()
    _, factors = level_machines(log)
    name = "C(machine, Sum)[S.1]"
    assert np.log(factors["factor"][0]) == pytest.approx(-other.params[name])
    assert factors["std_error"].to_numpy() == pytest.approx([other.bse[name]] * 2)


def test_a_machine_for_each_treatment_is_said_and_left_alone():
    log = cut(8, lambda _, t: (1,) if t == "dressed" else (2,), {"dressed": 0.2}, (1.1, 1.0))
    with pytest.warns(LogWarning, match="Harvester and treatment cannot be told apart"):
        levelled, factors = level_machines(log)
    pd.testing.assert_frame_equal(levelled, log)
    assert factors["factor"].tolist() == [1.0, 1.0]


def test_a_machine_for_each_block_does_no_harm():
    log = cut(8, lambda n, _: (1,) if n < 4 else (2,), {"dressed": 0.2}, (1.1, 1.0))
    with pytest.warns(LogWarning, match="Each block was cut by one harvester alone.*no harm"):
        levelled, _ = level_machines(log)
    pd.testing.assert_frame_equal(levelled, log)


def write_both(drive, tmp_path, start_later_s):
    paths = []
    for number in range(2):
        log = drive(passes=4, length_m=200.0)
        log["longitude"] += 0.001 * number
        log["time"] += pd.Timedelta(seconds=start_later_s * number)
        path = tmp_path / f"{'ab'[number]}.csv"
        names = ["time", "longitude", "latitude", "swath_m", "flow_kg_s", "moisture_pct"]
        log[names].to_csv(path, index=False)
        paths.append(path)
    return paths


def test_files_that_overlap_in_time_are_two_machines(drive, tmp_path):
    paths = write_both(drive, tmp_path, 100)
    with pytest.warns(LogWarning, match=r"2 harvesters were at work at one time .1: a.csv; 2: b"):
        log = read_log(paths, standard_moisture_pct=12.5)
    assert log.groupby("file", observed=True)["machine"].unique().tolist() == [[1], [2]]
    # Each keeps its own clock and steps: the yields are those of the files by themselves.
    alone = [read_log(path, standard_moisture_pct=12.5) for path in paths]
    expected = pd.concat(alone, ignore_index=True)["yield_t_ha"]
    np.testing.assert_array_equal(log["yield_t_ha"], expected)
    split = by_machine(log, split_passes)
    passes = split.loc[split["pass_id"] > 0].groupby("machine")["pass_id"].unique()
    assert [list(numbers) for numbers in passes] == [[1, 2, 3, 4], [5, 6, 7, 8]]


def test_files_one_after_the_other_are_one_machine(drive, tmp_path):
    log = read_log(write_both(drive, tmp_path, 3600), standard_moisture_pct=12.5)
    assert "machine" not in log
    assert by_machine(log, split_passes)["pass_id"].max() == 8


@pytest.mark.parametrize("order", ["time", "one after the other"])
def test_two_machines_in_one_file_are_told_apart(drive, tmp_path, order):
    first, second = drive(passes=6), drive(passes=6)
    second["longitude"] += 0.004
    second["time"] += pd.Timedelta(seconds=0.4)
    both = pd.concat([first, second])
    if order == "time":
        both = both.sort_values("time", kind="stable")
    path = tmp_path / "both.csv"
    names = ["time", "longitude", "latitude", "swath_m", "flow_kg_s", "moisture_pct"]
    both[names].to_csv(path, index=False)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        log = read_log(path, standard_moisture_pct=12.5)
    said = " ".join(str(warning.message) for warning in caught)
    assert "2 machines wrote into one file by turns" in said
    assert ("the time falls back" in said) == (order != "time")
    sizes = log.groupby("machine").size()
    assert sizes.tolist() == [len(first), len(second)]
    assert by_machine(log, split_passes)["pass_id"].max() == 12
    assert log.loc[log["machine"] == 1, "longitude"].max() < second["longitude"].min()


def test_stray_positions_are_no_second_machine(drive, tmp_path):
    log = drive(passes=6)
    stray = np.random.default_rng(1).random(len(log)) < 0.05
    log.loc[stray, "latitude"] += 0.01
    path = tmp_path / "stray.csv"
    log[["time", "longitude", "latitude", "swath_m", "flow_kg_s"]].to_csv(path, index=False)
    with pytest.warns(LogWarning, match="no column for moisture_pct"):
        assert "machine" not in read_log(path)
