"""statsmodels' `combine_effects` as a second opinion.

It has no restricted maximum likelihood, but where all studies are equally exact its estimates
of tau2 (DerSimonian and Laird; Paule and Mandel) are the same as that, and where tau2 is zero
its Knapp-Hartung standard error is too. The mean of a common effect and Q are always comparable.
Where studies are not equally exact the three estimates of tau2 can lie far apart: published cases
are held here against both sides, with the figures of R 4.2, metafor 3.8-1.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2
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


# rma(method = "EE"), rma(method = "DL"), rma(method = "REML")
def test_length_of_stay(nine_sites, printed):
    effects, errors = nine_sites
    found = pool(effects, errors)
    other = combine_effects(effects, errors**2, method_re="chi2", use_t=True)
    assert other.mean_effect_fe == printed("-3.4939")
    assert other.tau2 == printed("218.7216")
    assert other.mean_effect_re == printed("-14.0972")
    assert found.tau2 == printed("685.1965")
    assert found.q == pytest.approx(other.q)
    # With 219 the scatter would be too large for chance: the profile of Q leaves that out.
    assert other.tau2 < found.tau2_low < found.tau2 < found.tau2_high


def test_barley_whose_years_hardly_differ(barley_years):
    effects, errors = barley_years
    found = pool(effects, errors)
    other = combine_effects(effects, errors**2, method_re="chi2", use_t=True)
    # The inputs have five digits, so Q errs by 2e-5; tau2 comes from the 0.24 of it above 5.
    slack = 2e-5 * other.q / (other.q - 5)
    assert other.tau2 == pytest.approx(3.2527696, rel=slack)
    assert other.mean_effect_re == pytest.approx(12.905039, rel=1e-5)
    assert other.mean_effect_fe == pytest.approx(12.820578, rel=1e-5)
    assert (found.tau2, found.estimate) == (0.0, pytest.approx(other.mean_effect_fe))
    assert found.tau2_low == 0.0
    assert found.tau2_high > other.tau2


# Paule and Mandel's tau2 is where the profile of Q stands at its degrees of freedom, so the
# interval at the level whose lower end lies there is that estimate.
def test_the_profile_of_q_passes_through_paule_and_mandels_estimate(nine_sites):
    effects, errors = nine_sites
    other = combine_effects(effects, errors**2, method_re="iterated", use_t=True, atol=1e-9)
    above = chi2.sf(8, 8)
    low = pool(effects, errors, confidence=1 - 2 * above).tau2_low
    assert low == pytest.approx(other.tau2, rel=1e-5)
