"""Scales: strips without a monitor, and the monitor put right by loads."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import LogError, LogWarning, TrialFolderError
from trialkit.harvest import calibrate, weigh_strips

#: Sums of the same doubles in another order.
EXACT = 1e-12

#: The strips are drawn on a spherical earth and measured on the ellipsoid.
DRAWN = 0.01


@pytest.fixture
def weights():
    return pd.DataFrame(
        {
            "strip": ["S1", "S2", "S2", "S3", "S4"],
            "mass_kg": [2400.0, 1300.0, 1200.0, 2500.0, 2600.0],
            "moisture_pct": [12.5, 14.0, 13.0, 12.5, 11.0],
            "area_ha": [0.5, 0.25, 0.25, 0.5, 0.5],
        }
    )


def test_strips_from_the_scales(weights, strips_beside):
    table = weigh_strips(weights, strips_beside(), standard_moisture_pct=12.5)
    assert table["strip"].tolist() == ["S1", "S2", "S3", "S4"]
    assert table["n"].tolist() == [1, 2, 1, 1]
    expected = [4.8, (1.3 * 86 + 1.2 * 87) / 87.5 / 0.5, 5.0, 5.2 * 89 / 87.5]
    assert table["yield_t_ha"].tolist() == pytest.approx(expected, rel=EXACT)
    assert table["moisture_pct"].iloc[1] == pytest.approx((1300 * 14 + 1200 * 13) / 2500, rel=EXACT)


def test_the_area_is_the_strips_own_where_none_is_given(weights, strips_beside):
    table = weigh_strips(
        weights.drop(columns="area_ha"), strips_beside(), standard_moisture_pct=12.5
    )
    assert table["area_ha"].tolist() == pytest.approx([20 * 300 / 1e4] * 4, rel=DRAWN)


def test_without_moisture_yield_stays_as_harvested(weights, strips_beside):
    with pytest.warns(LogWarning, match=r"weights\.csv: no moisture was measured"):
        table = weigh_strips(
            weights.drop(columns="moisture_pct"), strips_beside(), standard_moisture_pct=12.5
        )
    assert table["yield_t_ha"].iloc[1] == pytest.approx(5.0, rel=EXACT)
    assert table["moisture_pct"].isna().all()


def test_a_strip_not_weighed_is_said(weights, strips_beside):
    with pytest.warns(LogWarning, match=r"no weight for S4\."):
        table = weigh_strips(weights.iloc[:4], strips_beside(), standard_moisture_pct=12.5)
    assert np.isnan(table["yield_t_ha"].iloc[3])
    assert table["n"].iloc[3] == 0


@pytest.mark.parametrize(
    ("change", "standard", "message"),
    [
        ({}, None, r"which moisture to bring the yields to.*standard_moisture_pct ="),
        ({"strip": "S9"}, 12.5, r"weights\.csv: S9 is not a strip of .*S1, S2, S3, S4"),
        ({"mass_kg": 0.0}, 12.5, r"strip S1: mass_kg 0 makes no sense"),
        ({"area_ha": -1.0}, 12.5, r"strip S1: area_ha -1 makes no sense"),
        ({"moisture_pct": [12, None, 12, 12, 12]}, 12.5, r"strip S2: the moisture is missing"),
    ],
)
def test_weights_that_make_no_sense(weights, strips_beside, change, standard, message):
    with pytest.raises(TrialFolderError, match=message):
        weigh_strips(weights.assign(**change), strips_beside(), standard_moisture_pct=standard)


@pytest.fixture
def loads():
    return pd.DataFrame(
        {
            "load": ["one", "two"],
            "start": ["2025-11-24 10:00:00", "2025-11-24 10:12:00"],
            "end": ["2025-11-24 10:12:00", "2025-11-24 11:00:00"],
            "mass_kg": [1.0, 1.0],
        }
    )


def in_load(log, loads, number):
    start, end = pd.Timestamp(loads["start"][number]), pd.Timestamp(loads["end"][number])
    return (log["time"] >= start) & (log["time"] < end)


def test_loads_put_the_monitor_right(drive, loads):
    log = drive()
    true = [log.loc[in_load(log, loads, n), "flow_kg_s"].sum() for n in range(2)]
    loads["mass_kg"] = [true[0] * 0.95, true[1] * 1.04]
    with pytest.warns(LogWarning, match="no moisture was measured"):
        corrected, factors = calibrate(log, loads)
    assert factors["factor"].tolist() == pytest.approx([0.95, 1.04], rel=EXACT)
    assert factors["remark"].tolist() == ["", ""]
    assert factors["monitor_kg"].tolist() == pytest.approx(true, rel=EXACT)
    for number, factor in enumerate([0.95, 1.04]):
        mine = in_load(log, loads, number)
        for name in ("yield_t_ha", "flow_kg_s", "grain_kg"):
            assert corrected.loc[mine, name].sum() == pytest.approx(
                log.loc[mine, name].sum() * factor, rel=EXACT
            )
    assert log["flow_kg_s"].max() == drive()["flow_kg_s"].max()


def test_loads_compare_dry_matter(drive, loads):
    log = drive()
    standard = [log.loc[in_load(log, loads, n), "grain_kg"].sum() for n in range(2)]
    # the same dry matter weighed at 15%: more kilograms, and the factor stays 1
    loads["mass_kg"] = [kg * 87.5 / 85 for kg in standard]
    loads["moisture_pct"] = 15.0
    _, factors = calibrate(log, loads, 12.5)
    assert factors["factor"].tolist() == pytest.approx([1, 1], rel=EXACT)
    with pytest.raises(TrialFolderError, match=r"standard_moisture_pct ="):
        calibrate(log, loads)


def test_records_outside_the_loads_get_the_common_factor(drive, loads):
    log = drive()
    true = log.loc[in_load(log, loads, 0), "flow_kg_s"].sum()
    first = loads.iloc[:1].assign(mass_kg=true * 0.9, moisture_pct=12.5)
    with pytest.warns(LogWarning, match=r"of the records lie outside the loads"):
        corrected, _ = calibrate(log, first, 12.5)
    late = ~in_load(log, loads, 0)
    assert corrected.loc[late, "yield_t_ha"].max() == pytest.approx(4 * 0.9, rel=EXACT)


def test_an_absurd_factor_is_flagged(drive, loads):
    log = drive()
    true = [log.loc[in_load(log, loads, n), "flow_kg_s"].sum() for n in range(2)]
    # the second load was written in pounds
    loads = loads.assign(mass_kg=[true[0], true[1] * 2.2046], moisture_pct=12.5)
    with pytest.warns(LogWarning, match=r"load two: a factor of 2\.20 is absurd"):
        _, factors = calibrate(log, loads, 12.5)
    assert factors["remark"].tolist()[0] == ""
    assert "absurd" in factors["remark"].tolist()[1]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"end": "2025-11-24 09:00:00"}, r"load one: it ends before it starts"),
        ({"start": "2025-11-24 10:00:00"}, r"load two: it starts before load one ends"),
        ({"start": "at noon"}, r"start or end of a load is not a time"),
        (
            {
                "start": ["2024-11-24 10:00", "2024-11-24 11:00"],
                "end": ["2024-11-24 11:00", "2024-11-24 12:00"],
            },
            r"load one: the log has no grain between 2024-11-24 10:00:00",
        ),
    ],
)
def test_loads_that_make_no_sense(drive, loads, change, message):
    loads = loads.assign(moisture_pct=12.5)
    with pytest.raises(TrialFolderError, match=message):
        calibrate(drive(), loads.assign(**change), 12.5)


def test_loads_need_a_log_with_times(drive, loads):
    with pytest.raises(LogError, match="The log has no times"):
        calibrate(drive().drop(columns="time"), loads)


def test_a_log_of_recorded_yields_is_corrected_too(drive, loads):
    log = drive().drop(columns=["flow_kg_s", "grain_kg"])
    true = [
        (log.loc[in_load(log, loads, n), "yield_t_ha"] * 2.0 * 10.0 / 10).sum() for n in range(2)
    ]
    _, factors = calibrate(log, loads.assign(mass_kg=true, moisture_pct=12.5), 12.5)
    assert factors["factor"].tolist() == pytest.approx([1, 1], rel=EXACT)
