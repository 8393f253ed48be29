"""Whatever stands in a cell, the answer is a plan or one clear sentence."""

from __future__ import annotations

import contextlib
import inspect
import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import SowingError
from trialkit.sowing import (
    Product,
    auger_catches,
    compare_arms,
    fit_pump_line,
    match_flows,
    mix_plan,
    plants_sown,
    pump_catches,
    recalibrate,
    seed_needed,
    seeding_rate,
    sowing_order,
)

JUNK = [
    None, "", "12", "ml", b"l", [], [1, None], {}, {"a": "b"}, True, 0, -1, 1e-300, 1e300, 10**400,
    math.nan, -math.inf, np.float32(3), np.int64(4), np.bool_(True), np.array([1.0, math.nan]),
    np.array(5), pd.NA, pd.NaT, pd.Series([1.0]), Decimal("2"), Fraction(1, 3), 2 + 1j, object(),
    {1: 2}, (1, "x"), "untreated", ["root microbe"], [Product("kelp", "syrupy", 1)],
]  # fmt: skip

STRIPS = pd.DataFrame(
    {"strip": ["S1", "S2"], "block": ["B", "B"], "treatment": ["untreated", "dressed"]}
)

USUAL = {
    Product: {"name": "root microbe", "form": "watery", "per_t": 2.0, "unit": "l"},
    mix_plan: {"seed_t": 16, "products": [Product("root microbe", "watery", 2)], "rate_l_t": 10,
               "mixer_l": 20},
    auger_catches: {"kg": [300, 301], "seconds": 30},
    pump_catches: {"litres": [3, 3.1], "seconds": 30},
    match_flows: {"auger": auger_catches([300, 301], 30), "pump": pump_catches([3, 3.1], 30),
                  "rate_l_t": 10},
    fit_pump_line: {"dial": [2, 4], "flow_l_min": [3, 6]},
    seeding_rate: {"target_plants_m2": 200, "seed_weight_g_1000": 45, "germination_pct": 95},
    plants_sown: {"seed_kg_ha": 100, "seed_weight_g_1000": 45, "germination_pct": 95},
    seed_needed: {"areas_ha": {"untreated": 4, "dressed": 4}, "seed_kg_ha": 75},
    recalibrate: {"setting": 40, "bare_kg": 10, "dressed_kg": 9.8, "weight_gain_pct": 1},
    compare_arms: {"plants_m2": {"untreated": 150, "dressed": 140}, "control": "untreated"},
    sowing_order: {"strips": STRIPS, "untreated": "untreated"},
}  # fmt: skip


@pytest.mark.parametrize("function", USUAL, ids=lambda function: function.__name__)
def test_a_plan_or_a_sentence(function):
    for name in inspect.signature(function).parameters:
        for value in JUNK:
            with contextlib.suppress(SowingError):
                function(**(USUAL[function] | {name: value}))


@pytest.mark.parametrize("column", ["strip", "block", "treatment", "area_ha", "across_from_m"])
def test_any_cell_of_the_strips(column):
    for value in JUNK:
        cells = pd.Series([value, value], dtype=object)
        with contextlib.suppress(SowingError):
            sowing_order(STRIPS.assign(**{column: cells}), "untreated")
