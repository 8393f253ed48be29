"""Larvae on rice under nine treatments, log10(count + 1), four blocks.

Gomez and Gomez 1984, Statistical Procedures for Agricultural Research, 2nd ed., p. 300,
table 7.16. Counts typed from memory; they reproduce every figure of that table, as the manual
page of agridat `gomez.nonnormal1` shows it.
"""

from __future__ import annotations

import pandas as pd

from trialkit.models import fit_mixed

COUNTS = (
    (9, 12, 0, 1), (4, 8, 5, 1), (6, 15, 6, 2), (9, 6, 4, 5), (27, 17, 10, 10),
    (35, 28, 2, 15), (1, 0, 0, 0), (10, 0, 2, 1), (4, 10, 15, 5),
)  # fmt: skip


# summary(aov(log10(larvae + 1) ~ rep + trt, gomez.nonnormal1))
def test_transformed_response(printed):
    rows = [
        (f"T{treatment}", f"R{rep}", count)
        for treatment, counts in enumerate(COUNTS, start=1)
        for rep, count in enumerate(counts, start=1)
    ]
    larvae = pd.DataFrame(rows, columns=["trt", "rep", "larvae"])
    fit = fit_mixed("np.log10(larvae + 1) ~ rep + trt", larvae)
    assert fit.variances["residual"] == printed("0.08734")
    rep, trt = fit.test("rep"), fit.test("trt")
    assert rep.statistic == printed("3.6511")
    assert rep.p == printed("0.0267")
    assert trt.statistic == printed("5.6995")
    assert trt.p == printed("0.0004092")
    assert trt.statistic * 8 * fit.variances["residual"] == printed("3.9823")
