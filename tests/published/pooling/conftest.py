"""Figures as printed, and data that several checks use."""

from __future__ import annotations

import numpy as np
import pytest

#: R's search for tau2 ends at 1e-5 or so of it; half of that reaches what is built on it.
SEARCH = 2e-6


@pytest.fixture(scope="session")
def printed():
    """Half a unit of the last digit, and R's search for tau2."""

    def expected(text: str):
        _, _, decimals = text.partition(".")
        value = float(text)
        return pytest.approx(value, rel=0, abs=0.5 * 10.0 ** -len(decimals) + SEARCH * abs(value))

    return expected


@pytest.fixture(scope="session")
def nine_sites():
    """Differences in length of stay and their errors: Normand 1999, tables VIII and IX."""
    # n, mean and standard deviation of special care, then of routine care.
    sites = np.array([
        (155, 55, 47, 156, 75, 64), (31, 27, 7, 32, 29, 4), (75, 64, 17, 71, 119, 29),
        (18, 66, 20, 18, 137, 48), (8, 14, 8, 13, 18, 11), (57, 19, 7, 52, 18, 4),
        (34, 52, 45, 33, 41, 34), (110, 21, 16, 183, 31, 27), (60, 30, 27, 52, 23, 20),
    ])  # fmt: skip
    n1, m1, s1, n2, m2, s2 = sites.T.astype(float)
    pooled = ((n1 - 1) * s1**2 + (n2 - 1) * s2**2) / (n1 + n2 - 2)
    return m1 - m2, np.sqrt(pooled * (1 / n1 + 1 / n2))


@pytest.fixture(scope="session")
def barley_years():
    """Archer less Goldthorpe barley, stones an acre, 1901 to 1906: Student 1923, by year."""
    farms = np.array([4, 6, 8, 10, 11, 12])
    spreads = np.array([23.726, 24.761, 31.377, 22.197, 23.867, 20.878])
    return np.array([35.75, 7.5, 16.75, 6.4, 15.364, 10.583]), spreads / np.sqrt(farms)
