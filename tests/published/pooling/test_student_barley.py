"""Archer less Goldthorpe barley, pooled over six years.

Student 1923, Biometrika 15:271-293; year means and standard deviations of the differences
(stones an acre) from agridat's `student.barley`. R 4.2 with metafor 3.8-1, which leaves tau2
at 4e-07 where it is zero.
"""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.models import pool

FARMS = np.array([4, 6, 8, 10, 11, 12])
MEANS = [35.75, 7.5, 16.75, 6.4, 15.364, 10.583]
SPREADS = np.array([23.726, 24.761, 31.377, 22.197, 23.867, 20.878])
#: Means and standard deviations are given to five digits.
INPUTS = 1e-5


def test_years(printed):
    found = pool(MEANS, SPREADS / np.sqrt(FARMS), labels=range(1901, 1907))
    assert found.tau2 == 0.0
    assert found.estimate == pytest.approx(12.820578, rel=INPUTS)
    assert found.std_error == pytest.approx(3.3715903, rel=INPUTS)
    assert (found.low, found.high) == pytest.approx((4.15363, 21.48753), rel=INPUTS)
    assert found.q == pytest.approx(5.2378076, rel=2 * INPUTS)
    assert found.table.loc[1901, "estimate"] == 35.75


def test_years_with_the_normal_distribution():
    found = pool(MEANS, SPREADS / np.sqrt(FARMS), knapp_hartung=False)
    assert found.std_error == pytest.approx(3.2941625, rel=INPUTS)
