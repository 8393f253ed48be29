"""Two Latin squares: dusting wheat against rust, and measuring shoots.

Yields typed from memory of Goulden 1957, Methods of Statistical Analysis, and of Cochran and
Cox 1957, Experimental Designs; they reproduce every sum of squares below, which R 4.2 (aov)
gave from the data sets agridat `goulden.latin` and `cochran.latin`.
"""

from __future__ import annotations

import pandas as pd
import pytest

from trialkit.models import fit_mixed

GOULDEN = """
B 4.9  D 6.4  E 3.3  A 9.5  C 11.8
C 9.3  A 4.0  B 6.2  E 5.1  D 5.4
D 7.6  C 15.4 A 6.5  B 6.0  E 4.6
E 5.3  B 7.6  C 13.2 D 8.6  A 4.9
A 9.3  E 6.3  D 11.8 C 15.9 B 7.6
"""

COCHRAN = """
F 3.5  B 4.2  A 6.7  D 6.6  C 4.1  E 3.8
B 8.9  F 1.9  D 5.8  A 4.5  E 2.4  C 5.8
C 9.6  E 3.7  F -2.7 B 3.7  D 6.0  A 7.0
D 10.5 C 10.2 B 4.6  E 3.7  A 5.1  F 3.8
E 3.1  A 7.2  C 4.0  F -3.3 B 3.5  D 5.0
A 5.9  D 7.6  E -0.7 C 3.0  F 4.0  B 8.6
"""


def square(text: str) -> pd.DataFrame:
    rows = []
    for row, line in enumerate(text.strip().splitlines(), start=1):
        cells = line.split()
        for col, (treatment, value) in enumerate(
            zip(cells[::2], cells[1::2], strict=True), start=1
        ):
            rows.append((row, col, treatment, float(value)))
    return pd.DataFrame(rows, columns=["row", "col", "treatment", "value"])


# summary(aov(yield ~ row + col + trt, goulden.latin))
def test_goulden(printed):
    fit = fit_mixed("value ~ C(row) + C(col) + treatment", square(GOULDEN))
    error = fit.variances["residual"]
    assert error * 12 == printed("28.04")
    for term, total in (("row", "46.67"), ("col", "14.02"), ("treatment", "196.61")):
        assert fit.test(term).statistic * error * 4 == printed(total)
    assert fit.test("treatment").statistic == printed("21.032")
    assert fit.test("treatment").p == pytest.approx(2.37e-5, abs=0.005e-5)


# summary(aov(diff ~ row + col + operator, cochran.latin))
def test_cochran(printed):
    fit = fit_mixed("value ~ C(row) + C(col) + treatment", square(COCHRAN))
    assert fit.variances["residual"] * 20 == printed("66.5633333")
    assert fit.variances["residual"] == printed("3.32816667")
    assert fit.test("row").statistic == printed("1.71861")
    assert fit.test("col").statistic == printed("4.73950")
    operator = fit.test("treatment")
    assert operator.statistic == printed("9.35024")
    assert operator.p == printed("0.0001027")
    assert operator.df_den == 20


@pytest.mark.parametrize(("text", "statistic"), [(GOULDEN, "21.032"), (COCHRAN, "9.35024")])
def test_random_rows_and_columns_give_the_same_test(text, statistic, printed):
    # Balanced, and both variances above zero: the mixed model is the analysis of variance.
    fit = fit_mixed("value ~ treatment", square(text), ["row", "col"])
    assert fit.at_boundary == ()
    assert fit.test("treatment").statistic == printed(statistic)
