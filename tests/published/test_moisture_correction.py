"""Moisture correction against worked numbers of extension services.

Sources, as given beside each check:

- Mulvaney and Devkota, Univ. of Florida IFAS, AG442: maize, 10,000 lb/ac at 20% to 15.5%, and the
  mistake that is often made.
- South Dakota State Univ. Extension (Karki): shrink of maize from 25% and 25.5% to 15.5%.
- Agronomy note: 1,000 lb of maize at 25.5% is 17.9 bushels wet and 15.8 at 15.5%.
- Shrink a point of moisture, 100 / (100 - standard), as printed to two decimals.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.harvest import at_standard_moisture

#: Half of the last digit printed.
CENT = 0.005


def test_dry_matter_is_what_stays():
    # AG442: 10,000 × 80 / 84.5
    assert at_standard_moisture(10_000.0, 20.0, 15.5) == pytest.approx(9467.46, abs=CENT)


def test_the_common_mistake_is_not_made():
    # AG442: 8,000 + 8,000 × 0.155, the standard's per cent put on the dry matter
    mistake = 8_000 * 1.155
    assert mistake == pytest.approx(9240, rel=1e-12)
    assert at_standard_moisture(10_000.0, 20.0, 15.5) > mistake + 200


@pytest.mark.parametrize(("moisture_pct", "shrink_pct"), [(25.0, 11.24), (25.5, 11.83)])
def test_shrink_of_maize(moisture_pct, shrink_pct):
    shrink = 100 - at_standard_moisture(100.0, moisture_pct, 15.5)
    assert shrink == pytest.approx(shrink_pct, abs=CENT)


def test_bushels_wet_and_standard():
    # 1,000 lb is 17.857 bushels of 56 lb wet, 15.744 standard; the note prints 17.9 and 15.8
    # because it goes on with the rounded 17.9
    wet = 1_000 / 56
    assert wet == pytest.approx(17.9, abs=0.05)
    assert at_standard_moisture(wet, 25.5, 15.5) == pytest.approx(15.744, abs=0.0005)
    assert at_standard_moisture(17.9, 25.5, 15.5) == pytest.approx(15.8, abs=0.05)


@pytest.mark.parametrize(
    ("standard_pct", "printed"), [(15.5, 1.18), (15, 1.18), (14, 1.16), (13, 1.15), (12, 1.14)]
)
def test_shrink_a_point(standard_pct, printed):
    loss = at_standard_moisture(100.0, standard_pct, standard_pct) - at_standard_moisture(
        100.0, standard_pct + 1, standard_pct
    )
    assert loss == pytest.approx(printed, abs=CENT)


def test_grain_at_the_standard_is_left_alone_and_kinds_are_kept():
    grain = pd.Series([4.0, 5.0], name="grain")
    same = at_standard_moisture(grain, pd.Series([12.5, 12.5]), 12.5)
    pd.testing.assert_series_equal(same, grain, check_names=False)
    assert isinstance(at_standard_moisture(np.array([4.0]), np.array([10.0]), 12.5), np.ndarray)
