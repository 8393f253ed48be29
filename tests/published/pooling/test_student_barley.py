"""Archer less Goldthorpe barley, pooled over six years.

Student 1923, Biometrika 15:271-293; year means and standard deviations of the differences
(stones an acre) from agridat's `student.barley`. R 4.2 with metafor 3.8-1, which leaves tau2
at 4e-07 where it is zero.
"""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.models import pool
from trialkit.units import convert

STONE_LB = 14

#: Means and standard deviations are given to five digits.
INPUTS = 1e-5


def test_years(barley_years):
    found = pool(*barley_years, labels=range(1901, 1907))
    assert found.tau2 == 0.0
    assert found.estimate == pytest.approx(12.820578, rel=INPUTS)
    assert found.std_error == pytest.approx(3.3715903, rel=INPUTS)
    assert (found.low, found.high) == pytest.approx((4.15363, 21.48753), rel=INPUTS)
    assert found.q == pytest.approx(5.2378076, rel=2 * INPUTS)
    assert found.table.loc[1901, "estimate"] == 35.75
    assert found.tau2_low == 0.0
    assert found.heterogeneity.startswith(
        "The studies differ no more than their own errors say (Q 5.24 on 5 degrees, p = 0.39), "
    )


def test_years_with_the_normal_distribution(barley_years):
    found = pool(*barley_years, knapp_hartung=False)
    assert found.std_error == pytest.approx(3.2941625, rel=INPUTS)


# Over the 51 farms: 13.37255 stones an acre, 0.2098409 t/ha, with error 3.401033 and 0.05336873.
def test_stones_an_acre():
    t_ha = convert(np.array([13.37255, 3.401033]) * STONE_LB, "lb/ac", "t/ha")
    assert t_ha == pytest.approx([0.2098409, 0.05336873], rel=1e-6)
