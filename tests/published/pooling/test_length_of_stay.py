"""Two worked examples of Normand 1999, Statistics in Medicine 18:321-359.

Tables VIII and IX (differences in length of stay at nine sites, pp. 351-352) and III and VII
(six trials). R 4.2 with metafor 3.8-1 for what the paper does not print.
"""

from __future__ import annotations

import numpy as np

from trialkit.models import pool

#: n, mean and standard deviation of special care, then of routine care.
SITES = np.array([
    (155, 55, 47, 156, 75, 64), (31, 27, 7, 32, 29, 4), (75, 64, 17, 71, 119, 29),
    (18, 66, 20, 18, 137, 48), (8, 14, 8, 13, 18, 11), (57, 19, 7, 52, 18, 4),
    (34, 52, 45, 33, 41, 34), (110, 21, 16, 183, 31, 27), (60, 30, 27, 52, 23, 20),
])  # fmt: skip


def nine_sites():
    n1, m1, s1, n2, m2, s2 = SITES.T.astype(float)
    pooled = ((n1 - 1) * s1**2 + (n2 - 1) * s2**2) / (n1 + n2 - 2)
    return m1 - m2, np.sqrt(pooled * (1 / n1 + 1 / n2))


def test_nine_sites(printed):
    effects, errors = nine_sites()
    assert errors[0] ** 2 == printed("40.5863")
    found = pool(effects, errors, knapp_hartung=False)
    assert found.tau2 == printed("685.1965")
    assert found.estimate == printed("-15.1217")
    assert (found.low, found.high) == (printed("-32.6716"), printed("2.4282"))
    assert found.q == printed("241.059")


def test_nine_sites_by_knapp_and_hartung(printed):
    found = pool(*nine_sites())
    assert found.std_error == printed("9.202796")
    assert (found.low, found.high) == (printed("-36.34337"), printed("6.10000"))


def test_six_trials_that_do_not_differ(printed):
    effects = [2.8026, 0, 1.9711, 1.7961, 3.5334, 4.4031]
    variances = np.array([17.7575, 37.5657, 8.1323, 10.8998, 8.0114, 6.1320])
    found = pool(effects, np.sqrt(variances), knapp_hartung=False)
    assert found.tau2 == 0.0
    assert found.estimate == printed("2.9444")
    assert (found.low, found.high) == (printed("0.3831"), printed("5.5058"))


def test_six_trials_by_knapp_and_hartung_keep_the_wider_interval(printed):
    effects = [2.8026, 0, 1.9711, 1.7961, 3.5334, 4.4031]
    variances = np.array([17.7575, 37.5657, 8.1323, 10.8998, 8.0114, 6.1320])
    found = pool(effects, np.sqrt(variances))
    assert (found.low, found.high) == (printed("0.3831"), printed("5.5058"))
    assert "would be narrower than the ordinary one" in found.notes[-1]
