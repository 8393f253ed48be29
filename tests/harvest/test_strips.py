"""Records into strips, and grain over ground."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import LayoutError, LogError, LogWarning
from trialkit.harvest import assign_strips, screen, strip_table
from trialkit.harvest.settings import Screening

#: Sums of the same doubles in another order.
EXACT = 1e-12

ALL_KEPT = Screening(pass_start_s=0, pass_end_s=0, beside_stop_s=0, least_pass_m=0)


@pytest.fixture
def harvested(drive):
    """Eight passes of 10 m: two to a strip of 20 m."""
    return screen(drive(), ALL_KEPT)


def test_records_get_strip_block_and_treatment(harvested, strips_beside):
    log = assign_strips(harvested, strips_beside())
    kept = log[log["kept"]]
    assert (kept["strip"] == [f"S{n // 2 + 1}" for n in kept["true_pass"]]).all()
    assert (kept["treatment"] == np.where(kept["true_pass"] // 2 % 2, "dressed", "untreated")).all()
    assert set(log.loc[log["strip"].isna(), "reason"]) <= {"outside the strips", "turning"}
    # 4 m off each end, records 2 m apart, 8 passes
    assert len(kept) == pytest.approx(8 * (300 - 2 * 4) / 2, abs=8)


def test_earlier_reasons_stay_and_nothing_is_deleted(harvested, strips_beside):
    harvested.loc[50, ["kept", "reason"]] = [False, "absurd yield"]
    log = assign_strips(harvested, strips_beside())
    assert log.loc[50, "reason"] == "absurd yield"
    assert len(log) == len(harvested)
    assert (log["kept"] == (log["reason"] == "")).all()


def test_a_pass_that_straddles_counts_for_neither(harvested, strips_beside):
    # strips moved by 5 m: every other pass runs along an edge
    log = assign_strips(harvested, strips_beside(west_m=-10.0))
    assert set(log.loc[log["kept"], "true_pass"]) == {0, 2, 4, 6}
    inside = log["true_y_m"].between(10, 290) & log["true_pass"].isin([1, 3, 5, 7])
    assert set(log.loc[inside, "reason"]) <= {"strip edge", "outside the strips"}


@pytest.mark.parametrize(
    ("off_m", "kept"),
    [(0.9, True), (1.1, False)],
)
def test_a_tenth_of_the_cut_may_lie_in_the_neighbour(harvested, strips_beside, off_m, kept):
    log = assign_strips(harvested, strips_beside(west_m=-5.0 + off_m))
    share = log.loc[log["true_pass"] == 2, "kept"].mean()
    assert share > 0.9 if kept else share == 0


def test_an_edge_may_be_given(harvested, strips_beside):
    assert assign_strips(harvested, strips_beside(), edge_m=0)["kept"].sum() > (
        assign_strips(harvested, strips_beside(), edge_m=3)["kept"].sum()
    )
    # with 6 m no pass 5 m from the edge can count
    with pytest.warns(LogWarning, match=r"No pass lies wholly inside strips S1, S2, S3, S4"):
        log = assign_strips(harvested, strips_beside(), edge_m=6)
    assert not log["kept"].any()


def test_without_a_width_there_is_no_edge(harvested, strips_beside):
    log = assign_strips(harvested.drop(columns="swath_m"), strips_beside())
    assert "strip edge" not in set(log["reason"])


def test_an_unscreened_log_counts_throughout(drive, strips_beside):
    log = assign_strips(drive(), strips_beside())
    assert set(log["reason"]) == {"", "strip edge", "outside the strips"}


def test_headlands_are_no_strips(harvested, strips_beside):
    layout = strips_beside().assign(role=["headland", "strip", "strip", "strip"])
    log = assign_strips(harvested, layout)
    assert set(log["strip"].dropna()) == {"S2", "S3", "S4"}


def test_a_layout_in_another_coordinate_system(harvested, strips_beside):
    layout = strips_beside()
    there = assign_strips(harvested, layout.to_crs("EPSG:32745"))
    here = assign_strips(harvested, layout)
    assert (there["strip"].fillna("") == here["strip"].fillna("")).all()


def test_swapped_longitude_and_latitude_are_told(harvested, strips_beside):
    swapped = harvested.rename(columns={"longitude": "latitude", "latitude": "longitude"})
    message = r"not of this trial's strips.*km from the middle.*Longitude and latitude are swapped"
    with pytest.raises(LogError, match=message):
        assign_strips(swapped, strips_beside())


def test_a_lost_minus_sign_is_told(harvested, strips_beside):
    north = harvested.assign(latitude=-harvested["latitude"])
    with pytest.raises(LogError, match="The latitude has lost its minus sign"):
        assign_strips(north, strips_beside())


def test_another_field_is_told_with_its_distance(harvested, strips_beside):
    away = harvested.assign(latitude=harvested["latitude"] + 0.1, file="north.csv")
    # 0.1° of latitude is 11.1 km
    with pytest.raises(
        LogError,
        match=r"north\.csv: the harvest log is not .* lies 11\.1 km .*another field",
    ):
        assign_strips(away, strips_beside())


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda layout: layout.drop(columns="block"), "the strips have no 'block'"),
        (lambda layout: layout.iloc[:0], "there is no strip in it"),
        (lambda layout: layout.assign(role="headland"), "there is no strip in it"),
    ],
)
def test_a_layout_without_strips_is_refused(harvested, strips_beside, change, message):
    with pytest.raises(LayoutError, match=message):
        assign_strips(harvested, change(strips_beside()))


def test_yield_is_grain_over_ground_not_the_mean_of_points():
    log = pd.DataFrame(
        {
            "strip": "S1",
            "block": "B1",
            "treatment": "t",
            "kept": True,
            "travel_m": [1.0, 3.0],
            "swath_m": 10.0,
            "yield_t_ha": [2.0, 4.0],
            "moisture_pct": [10.0, 14.0],
        }
    )
    row = strip_table(log).iloc[0]
    assert row["yield_t_ha"] == pytest.approx((2 * 1 + 4 * 3) / 4, rel=EXACT)
    assert row["area_ha"] == pytest.approx(40 / 1e4, rel=EXACT)
    # moisture weighted by grain: 2 and 12 parts
    assert row["moisture_pct"] == pytest.approx((10 * 2 + 14 * 12) / 14, rel=EXACT)
    assert row["n"] == 2


def test_the_table_in_layout_order_with_strips_that_lost_all(harvested, strips_beside):
    layout = strips_beside(5)
    layout = layout.iloc[::-1]
    log = assign_strips(harvested, layout)
    log.loc[log["strip"] == "S2", "kept"] = False
    with pytest.warns(LogWarning, match="No record counts in strips S5, S2"):
        table = strip_table(log, layout)
    assert table.columns.tolist() == [
        "strip", "block", "treatment", "yield_t_ha", "area_ha", "n", "moisture_pct"
    ]  # fmt: skip
    assert table["strip"].tolist() == ["S5", "S4", "S3", "S2", "S1"]
    assert table["n"].tolist()[0] == 0
    assert table["yield_t_ha"].isna().tolist() == [True, False, False, True, False]
    assert table["yield_t_ha"].dropna().tolist() == pytest.approx([4.0] * 3, rel=1e-9)


def test_without_the_layout_strips_stand_as_harvested(harvested, strips_beside):
    table = strip_table(assign_strips(harvested, strips_beside()))
    assert table["strip"].tolist() == ["S1", "S2", "S3", "S4"]
    assert table["area_ha"].tolist() == pytest.approx([2 * 292 * 10 / 1e4] * 4, rel=0.02)


def test_without_a_width_yield_is_weighted_by_distance(harvested, strips_beside):
    log = assign_strips(harvested.drop(columns="swath_m"), strips_beside())
    table = strip_table(log)
    assert table["area_ha"].isna().all()
    assert table["yield_t_ha"].tolist() == pytest.approx([4.0] * 4, rel=1e-9)
