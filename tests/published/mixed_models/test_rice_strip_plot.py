"""Rice in a strip plot: six varieties across three rates of nitrogen, three blocks.

Gomez and Gomez 1984, Statistical Procedures for Agricultural Research, 2nd ed., p. 110,
table 3.15. Yields typed from memory; they reproduce every mean square of that table, as the
manual page of agridat `gomez.stripplot` shows it.
"""

from __future__ import annotations

import pandas as pd
import pytest

from trialkit.models import fit_mixed

#: kg/ha by variety and kg N/ha, blocks 1 to 3.
YIELDS = {
    ("IR8", 0): (2373, 3958, 4384),
    ("IR8", 60): (4076, 6431, 4889),
    ("IR8", 120): (7254, 6808, 8582),
    ("IR127-80", 0): (4007, 5795, 5001),
    ("IR127-80", 60): (5630, 7334, 7177),
    ("IR127-80", 120): (7053, 8284, 6297),
    ("IR305-4-12", 0): (2620, 4508, 5621),
    ("IR305-4-12", 60): (4676, 6672, 7019),
    ("IR305-4-12", 120): (7666, 7328, 8611),
    ("IR400-2-5", 0): (2726, 5630, 3821),
    ("IR400-2-5", 60): (4838, 7007, 4816),
    ("IR400-2-5", 120): (6881, 7735, 6667),
    ("IR665-58", 0): (4447, 3276, 4582),
    ("IR665-58", 60): (5549, 5340, 6011),
    ("IR665-58", 120): (6880, 5080, 6076),
    ("Peta", 0): (2572, 3724, 3326),
    ("Peta", 60): (3896, 2822, 4425),
    ("Peta", 120): (1556, 2706, 3214),
}


@pytest.fixture
def rice():
    rows = [
        (gen, nitro, rep, value)
        for (gen, nitro), values in YIELDS.items()
        for rep, value in enumerate(values, start=1)
    ]
    return pd.DataFrame(rows, columns=["gen", "nitro", "rep", "yield_kg_ha"])


# summary(aov(yield ~ gen * nitro + Error(rep + rep:gen + rep:nitro), gomez.stripplot))
def test_three_strata(rice, printed):
    fit = fit_mixed("yield_kg_ha ~ gen * C(nitro)", rice, ["rep", "rep:gen", "rep:nitro"])
    assert fit.variances["residual"] == printed("411646")
    assert fit.variances["residual"] + 3 * fit.variances["rep:gen"] == printed("1492262")
    assert fit.variances["residual"] + 6 * fit.variances["rep:nitro"] == printed("743727")
    for term, statistic, p, df_num, df_den in (
        ("gen", "7.653", "0.00337", 5, 10),
        ("nitro", "34.07", "0.00307", 2, 4),
        ("gen:nitro", "5.801", "0.000427", 10, 20),
    ):
        found = fit.test(term)
        assert found.statistic == printed(statistic)
        assert found.p == printed(p)
        assert (found.df_num, found.df_den) == (df_num, pytest.approx(df_den))
