"""Counts to plants/m2, held against published worked examples."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import trialkit.scouting as scouting
from trialkit.errors import ScoutingError, ScoutingWarning
from trialkit.scouting import establishment_pct, plant_table, plants_per_m2, seeds_per_m2

#: Arithmetic in double precision.
EXACT = 1e-12

SQUARE_METRES_SQUARE_FOOT = 0.3048**2


# Canola Council of Canada: count per metre x 100 / row spacing in cm; 25 a metre at 25 cm is 100.
def test_a_metre_of_row():
    assert plants_per_m2(25, row_length_m=1, row_spacing_m=0.25) == 100.0


# AHDB, How to measure cereal plant populations: 30 cm stick, rows 20 cm apart, 18 plants: 300/m2.
def test_a_stick_along_a_row():
    assert plants_per_m2(18, row_length_m=0.3, row_spacing_m=0.2) == pytest.approx(300, rel=EXACT)


# The same: a frame of 0.5 x 0.5 m is counted times four.
def test_a_frame():
    assert plants_per_m2(37, area_m2=0.25) == 148.0


# Canola Council of Canada: a hoop of 56 cm inside diameter is called 0.25 m2, exactly 0.24630 m2;
# one of 19 inches is called two square feet, exactly 1.96895.
def test_hoops():
    metric, feet = np.pi * 0.28**2, np.pi * (19 / 2 / 12) ** 2
    assert plants_per_m2(10, area_m2=metric) == pytest.approx(10 / 0.24630, rel=2e-5)
    assert plants_per_m2(10, area_m2=feet * SQUARE_METRES_SQUARE_FOOT) == pytest.approx(
        10 / 1.96895 * 10.7639, rel=1e-5
    )


def test_each_kind_comes_back_as_it_went_in():
    series = pd.Series([10, np.nan], index=["a", "b"])
    found = plants_per_m2(series, row_length_m=1.0, row_spacing_m=[0.25, 0.5])
    assert found.index.tolist() == ["a", "b"]
    assert found["a"] == 40.0
    assert np.isnan(found["b"])
    assert isinstance(plants_per_m2(np.int64(5), area_m2=1), float)
    assert plants_per_m2(np.array([[1, 2], [3, 4]]), area_m2=0.5).tolist() == [[2, 4], [6, 8]]
    assert plants_per_m2([8], area_m2=2).tolist() == [4.0]


@given(
    st.integers(0, 500),
    st.floats(0.1, 10),
    st.floats(0.1, 1),
    st.floats(0.5, 4),
)
def test_units_of_ground_do_not_matter(count, length, spacing, factor):
    there = plants_per_m2(count, row_length_m=length, row_spacing_m=spacing)
    assert there >= 0
    assert plants_per_m2(count, area_m2=length * spacing) == pytest.approx(there, rel=1e-9)
    longer = plants_per_m2(count * factor, row_length_m=length * factor, row_spacing_m=spacing)
    assert longer == pytest.approx(there, rel=1e-9)


@pytest.mark.parametrize(
    ("given_ground", "message"),
    [
        ({}, r"How much ground was counted is not said.*row_length_m with row_spacing_m"),
        ({"row_length_m": 1}, r"without the distance between rows.*Give row_spacing_m"),
        ({"row_spacing_m": 0.25}, r"Give row_length_m"),
        ({"row_length_m": 1, "area_m2": 1}, "Both a length of row and an area"),
        ({"row_length_m": 1, "row_spacing_m": 25}, r"25 m apart. If that is 25 cm, write 0.25"),
        ({"row_length_m": 1, "row_spacing_m": 9}, r"if it is in inches, 0.2286"),
        ({"area_m2": 0}, "area_m2 must be above zero"),
        ({"area_m2": float("nan")}, "area_m2 must be above zero"),
        ({"area_m2": "a frame"}, "not a number"),
        ({"area_m2": [1, 2]}, "There are 3 counts, but 2"),
    ],
)
def test_ground_that_cannot_be(given_ground, message):
    with pytest.raises(ScoutingError, match=message):
        plants_per_m2([10, 20, 30], **given_ground)


def test_counts_below_zero_are_refused():
    with pytest.raises(ScoutingError, match=r"A count of -3 cannot be.*Enter 0"):
        plants_per_m2([4, -3], area_m2=1)
    with pytest.raises(ScoutingError, match="count is infinite"):
        plants_per_m2(float("inf"), area_m2=1)


def test_the_table_joins_strips_and_numbers_places(counts, layout):
    counts["count"] = counts["count"].astype(object)
    counts.loc[2, "count"] = ""
    table = plant_table(counts, layout, sown=dt.date(2024, 5, 10))
    assert table["place"].tolist()[:5] == [1, 2, 3, 4, 1]
    assert table["treatment"].tolist()[:8] == ["dressed"] * 4 + ["untreated"] * 4
    assert np.isnan(table.loc[2, "plants_m2"])
    assert table.loc[0, "plants_m2"] == 4 * table.loc[0, "count"]


def test_rows_and_frames_may_stand_in_one_table(layout):
    counts = pd.DataFrame(
        {
            "strip": ["S1", "S2"],
            "count": [20, 20],
            "row_length_m": [1.0, None],
            "row_spacing_m": [0.2, None],
            "area_m2": [None, 0.25],
        }
    )
    assert plant_table(counts, layout)["plants_m2"].tolist() == [100.0, 80.0]


def test_the_demo_tables_read(data_demo):
    for season in ("oats-2023-hard-frost", "oats-2024-no-frost"):
        layout = gpd.read_file(data_demo / season / "layout.geojson")
        counts = pd.read_csv(data_demo / season / "counts.csv")
        assert len(plant_table(counts, layout)) == len(counts)


def edited(**cells):
    def edit(counts):
        for name, value in cells.items():
            counts[name] = counts[name].astype(object) if name in counts else None
            counts.loc[3, name] = value
        return counts

    return edit


@pytest.mark.parametrize(
    ("edit", "message"),
    [
        (edited(count=-1), r"record 4 of the counts \(strip S1\): a count below zero"),
        (edited(count=12.5), r"record 4 of the counts \(strip S1\): a count with a fraction"),
        (edited(count=1e6), r"record 4 .*more than 100,000 plants at one place"),
        (edited(row_length_m=1e6), r"record 4 .*is no place to count"),
        (edited(date="in June"), r"record 4 .*'in June' is not a date. Write it year first"),
        (edited(count="many"), r"record 4 .*count holds 'many', which is not a number"),
        (edited(strip="S13"), r"record 4 of the counts \(strip S13\): .*no strip 'S13'. Did you"),
        (edited(strip=None), "the layout has no strip"),
        (edited(row_spacing_m=None), r"record 4 .*a length of row without the distance"),
        (edited(row_spacing_m=25), r"record 4 .*25 cm is 0.25"),
        (edited(row_spacing_m=0), r"record 4 .*above zero"),
        (edited(row_length_m=None, row_spacing_m=None), "how much ground was counted"),
        (edited(area_m2=3), r"record 4 .*both ways are filled in"),
        (edited(date=pd.Timestamp("2024-05-01")), r"2024-05-01, before the crop was sown on 2024-"),
        (lambda counts: counts.drop(columns="count"), r"no column 'count'. They have: strip"),
        (lambda counts: counts.iloc[:0], "There are no counts yet"),
        (lambda counts: counts["count"], "not a table"),
    ],
)
def test_records_that_cannot_be(counts, layout, edit, message):
    with pytest.raises(ScoutingError, match=message):
        plant_table(edit(counts), layout, sown=dt.date(2024, 5, 10))


def test_a_layout_with_a_strip_twice_is_refused(counts, layout):
    with pytest.raises(ScoutingError, match="strip S1 twice"):
        plant_table(counts, pd.concat([layout, layout.iloc[:1]]))


# Extension tables: 200 plants/m2 of 45 g seed at 95% germination and 90% establishment take
# 105 kg/ha (exactly 105.263); so that rate, counted at 200, established 90%.
def test_establishment_turns_the_seeding_rate_round():
    sown = seeds_per_m2(200 * 45 / (0.95 * 0.90) / 100, 45)
    assert establishment_pct(200, sown, germination_pct=95) == pytest.approx(90, rel=EXACT)
    assert establishment_pct(200, sown) == pytest.approx(85.5, rel=EXACT)


# Birchip Cropping Group, calculating canola seeding rates: 211,400 seeds/kg, 40 plants/m2, 85%
# survive: 2.23 kg/ha.
def test_establishment_of_small_seed():
    sown = seeds_per_m2(2.226056, 1e6 / 211_400)
    assert establishment_pct(40, sown) == pytest.approx(85, rel=1e-5)


def test_establishment_keeps_the_kind():
    assert establishment_pct(pd.Series([50.0], index=["S1"]), 100.0)["S1"] == 50.0
    assert establishment_pct(np.array([50.0, 25.0]), [100, 50]).tolist() == [50.0, 50.0]


def test_more_plants_than_seeds_is_said():
    with pytest.warns(ScoutingWarning, match=r"establishment 120%.*weeds or volunteers"):
        establishment_pct(240, 200)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: establishment_pct(100, 0), "seeds_m2 must be above zero"),
        (lambda: establishment_pct(-1, 100), "below zero"),
        (lambda: establishment_pct(1, 100, germination_pct=101), "no percentage"),
        (lambda: seeds_per_m2(0, 45), "seed_kg_ha=0 must be above zero"),
        (lambda: seeds_per_m2(90, float("nan")), "seed_weight_g_1000=nan must be"),
    ],
)
def test_seeds_that_cannot_be(call, message):
    with pytest.raises(ScoutingError, match=message):
        call()


def test_every_name_is_there_and_no_other():
    for name in scouting.__all__:
        assert getattr(scouting, name) is not None
    with pytest.raises(AttributeError, match="attribute yields"):
        _ = scouting.yields
