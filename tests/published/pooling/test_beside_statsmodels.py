"""statsmodels' `combine_effects` as a second opinion.

It has no restricted maximum likelihood, but where all studies are equally exact its estimates
of tau2 (DerSimonian and Laird; Paule and Mandel) are the same as that, and where tau2 is zero
its Knapp-Hartung standard error is too. The mean of a common effect and Q are always comparable.
"""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from trialkit.models import pool

EFFECTS = np.array([0.31, -0.08, 0.55, 0.12, 0.79, -0.21, 0.4])


@pytest.mark.parametrize(("method", "digits"), [("chi2", 1e-9), ("iterated", 1e-5)])
def test_equally_exact_studies(method, digits):
    errors = np.full(7, 0.2)
    found = pool(EFFECTS, errors)
    other = combine_effects(EFFECTS, errors**2, method_re=method, use_t=True)
    assert found.tau2 == pytest.approx(other.tau2, rel=digits)
    assert found.estimate == pytest.approx(other.mean_effect_re, rel=digits)
    assert found.std_error == pytest.approx(other.sd_eff_w_re_hksj, rel=digits)
    *_, hartung = other.conf_int(use_t=True)
    assert [found.low, found.high] == pytest.approx(list(hartung), rel=digits)
    assert found.i2_pct == pytest.approx(100 * other.i2)


def test_studies_that_hardly_differ():
    errors = np.array([0.5, 0.3, 0.4, 0.35, 0.6, 0.45, 0.3])
    found = pool(EFFECTS, errors)
    other = combine_effects(EFFECTS, errors**2, method_re="chi2", use_t=True)
    assert other.tau2 < 0  # not cut off there
    assert found.tau2 == 0
    assert found.estimate == pytest.approx(other.mean_effect_fe)
    assert found.q == pytest.approx(other.q)
    assert found.std_error == pytest.approx(other.sd_eff_w_fe_hksj)
