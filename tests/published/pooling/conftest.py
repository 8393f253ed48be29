"""Compare with figures as printed."""

from __future__ import annotations

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
