"""Yield from flow, mass and scales against published constants and worked numbers.

Sources, as given beside each check:

- Yield of a row-crop strip in bu/ac = (100 - moisture) × lb × K / length (ft) / row (in) / rows:
  extension strip-trial sheet; K printed to three decimals.
- Purdue Univ. Extension, on wandering swath width: 20 ft cut and 17.5 ft logged.
- Weigh-wagon strips: acres = length × width / 43,560 (extension column, 2012).
- Luck and Fulton, Univ. of Nebraska, EC2004: yield from flow, time, distance and width.
- Bushels an acre: 56, 60, 48 and 32 lb (Rankin, Univ. of Wisconsin, Harvest Time Math 101), unit
  arithmetic.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from trialkit.harvest import (
    at_standard_moisture,
    weigh_strips,
    yield_from_flow,
    yield_from_mass,
)
from trialkit.units import convert

POUND_KG, FOOT_M, INCH_M = 0.45359237, 0.3048, 0.0254

#: Half of the last digit of K, on 100.138.
PRINTED = 6e-6

#: The same doubles in another order.
EXACT = 1e-12


@pytest.mark.parametrize(
    ("crop", "unit", "standard_pct", "k"),
    [
        ("maize", "bu/ac", 15.5, 110.465),
        ("soybean", "bu/ac", 13.0, 100.138),
        ("sorghum", "lb/ac", 14.0, 6078.14),
    ],
)
def test_constants_of_strip_sheets(crop, unit, standard_pct, k):
    pounds, moisture_pct, length_ft, row_in, rows = 1_840.0, 18.2, 605.0, 30.0, 6
    sheet = (100 - moisture_pct) * pounds * k / length_ft / row_in / rows
    wet = yield_from_mass(pounds * POUND_KG, length_ft * FOOT_M, rows * row_in * INCH_M)
    ours = convert(at_standard_moisture(wet, moisture_pct, standard_pct), "t/ha", unit, crop=crop)
    assert ours == pytest.approx(sheet, rel=PRINTED)


def test_a_width_logged_too_narrow_inflates_the_yield():
    # 20 / 17.5 = 1.1429
    right = yield_from_flow(8.0, 1.0, 2.0, 20 * FOOT_M)
    wrong = yield_from_flow(8.0, 1.0, 2.0, 17.5 * FOOT_M)
    assert wrong / right == pytest.approx(1.1429, abs=0.00005)


def test_kilograms_a_second_to_tonnes_a_hectare():
    # EC2004 in metric units: kg/s × s / (m × m) × 10
    assert yield_from_flow(9.0, 1.0, 1.5, 12.0) == pytest.approx(5.0, rel=EXACT)
    assert yield_from_flow(9.0, 1.0, 1.5, 12.0, 20.0, 12.5) == pytest.approx(
        5.0 * 80 / 87.5, rel=EXACT
    )
    flow = pd.Series([9.0, 18.0])
    two = yield_from_flow(flow, pd.Series([1.0, 1.0]), pd.Series([1.5, 1.5]), pd.Series([12, 12.0]))
    assert two.tolist() == pytest.approx([5, 10], rel=EXACT)


def test_one_moisture_without_the_other_is_refused():
    with pytest.raises(ValueError, match="both moisture_pct and standard_moisture_pct"):
        yield_from_flow(9.0, 1.0, 1.5, 12.0, 20.0)


@pytest.mark.parametrize(
    ("crop", "t_ha"),
    [("maize", 0.0627677), ("wheat", 0.0672511), ("barley", 0.0538009), ("oats", 0.0358673)],
)
def test_a_bushel_an_acre(crop, t_ha):
    # printed to seven decimals; oats' last digit is rounded up from 0.03586724
    assert convert(1.0, "bu/ac", "t/ha", crop=crop) == pytest.approx(t_ha, abs=1e-7)


def test_strips_from_the_weigh_wagon():
    # (lb / 56 / acres) × (100 - m) / 84.5 with acres = length × width / 43,560
    pounds, moisture_pct, length_ft, width_ft = 2_350.0, 19.4, 800.0, 15.0
    acres = length_ft * width_ft / 43_560
    wagon = pounds / 56 / acres * (100 - moisture_pct) / 84.5
    layout = gpd.GeoDataFrame(
        {"strip": ["S1"], "block": ["B1"], "treatment": ["t"]},
        geometry=[box(85, -38.5, 85.001, -38.499)],
        crs="EPSG:4326",
    )
    weights = pd.DataFrame(
        {
            "strip": ["S1"],
            "mass_kg": [pounds * POUND_KG],
            "moisture_pct": [moisture_pct],
            "area_ha": [length_ft * width_ft * FOOT_M**2 / 1e4],
        }
    )
    table = weigh_strips(weights, layout, standard_moisture_pct=15.5)
    ours = convert(float(table["yield_t_ha"].iloc[0]), "t/ha", "bu/ac", crop="maize")
    assert ours == pytest.approx(wagon, rel=EXACT)


def test_the_mean_of_points_is_not_the_yield_of_a_strip():
    # grain over ground: 1 t/ha on a third and 4 t/ha on two thirds of the ground is 3, not 2.5
    grain = yield_from_mass(np.array([10.0, 80.0]), np.array([10.0, 20.0]), np.array([10.0, 10.0]))
    assert grain.tolist() == pytest.approx([1, 4], rel=EXACT)
    assert yield_from_mass(90.0, 30.0, 10.0) == pytest.approx(3.0, rel=EXACT)
