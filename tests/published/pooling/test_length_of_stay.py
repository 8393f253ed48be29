"""Two worked examples of Normand 1999, Statistics in Medicine 18:321-359.

Tables VIII and IX (differences in length of stay at nine sites, pp. 351-352) and III and VII
(six trials). R 4.2 with metafor 3.8-1 for what the paper does not print.
"""

from __future__ import annotations

import numpy as np

from trialkit.models import pool


def test_nine_sites(nine_sites, printed):
    effects, errors = nine_sites
    assert errors[0] ** 2 == printed("40.5863")
    found = pool(effects, errors, knapp_hartung=False)
    assert found.tau2 == printed("685.1965")
    assert found.estimate == printed("-15.1217")
    assert (found.low, found.high) == (printed("-32.6716"), printed("2.4282"))
    assert found.q == printed("241.059")


def test_nine_sites_by_knapp_and_hartung(nine_sites, printed):
    found = pool(*nine_sites)
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
