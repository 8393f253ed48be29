"""What must not change the answer: the unit of yield, a constant, the order of rows."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.models import fit_mixed

#: Rounding of a change of unit, through a search that ends at rounding.
ROUNDING = 1e-9
#: A constant a thousand times the yields costs three to four digits of the yields themselves.
CONSTANT = 1e-6

FORMULA = "value ~ treatment + slope"
RANDOM = ("row", "column")


@pytest.fixture(params=["kenward-roger", "satterthwaite"])
def method(request):
    return request.param


@pytest.mark.parametrize("factor", [1e3, 1e6, 14.87, 1e-9])
def test_the_unit_of_yield(uneven, method, factor):
    plain = fit_mixed(FORMULA, uneven, RANDOM, df=method)
    scaled = fit_mixed(FORMULA, uneven.assign(value=uneven["value"] * factor), RANDOM, df=method)
    free, moved = ["df", "t", "p"], ["estimate", "std_error", "low", "high"]
    assert scaled.coefficients[free].to_numpy() == pytest.approx(
        plain.coefficients[free].to_numpy(), rel=ROUNDING
    )
    assert scaled.coefficients[moved].to_numpy() == pytest.approx(
        plain.coefficients[moved].to_numpy() * factor, rel=ROUNDING
    )
    assert scaled.variances.to_numpy() == pytest.approx(
        plain.variances.to_numpy() * factor**2, rel=ROUNDING
    )
    one, two = plain.test("treatment"), scaled.test("treatment")
    assert (one.statistic, one.df_den) == pytest.approx((two.statistic, two.df_den), rel=ROUNDING)
    spare = len(uneven) - 4
    assert scaled.reml_criterion - plain.reml_criterion == pytest.approx(
        2 * spare * np.log(factor), rel=1e-9
    )


def test_a_constant_added(uneven, method):
    plain = fit_mixed(FORMULA, uneven, RANDOM, df=method)
    lifted = fit_mixed(FORMULA, uneven.assign(value=uneven["value"] + 1e4), RANDOM, df=method)
    assert lifted.coefficients.iloc[1:].to_numpy() == pytest.approx(
        plain.coefficients.iloc[1:].to_numpy(), rel=CONSTANT
    )
    assert lifted.variances.to_numpy() == pytest.approx(plain.variances.to_numpy(), rel=CONSTANT)


def test_the_unit_of_a_covariate(uneven, method):
    plain = fit_mixed(FORMULA, uneven, RANDOM, df=method).coefficients.loc["slope"]
    scaled = uneven.assign(slope=uneven["slope"] * 1e-4 + 7)
    found = fit_mixed(FORMULA, scaled, RANDOM, df=method).coefficients.loc["slope"]
    assert found[["df", "t", "p"]].to_numpy() == pytest.approx(
        plain[["df", "t", "p"]].to_numpy(), rel=CONSTANT
    )


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_rows(uneven, method, seed):
    plain = fit_mixed(FORMULA, uneven, RANDOM, df=method)
    mixed = uneven.sample(frac=1, random_state=seed)
    other = fit_mixed(FORMULA, mixed, RANDOM, df=method)
    assert other.coefficients.to_numpy() == pytest.approx(
        plain.coefficients.to_numpy(), rel=ROUNDING
    )
    assert other.variances.to_numpy() == pytest.approx(plain.variances.to_numpy(), rel=ROUNDING)


def test_the_order_of_random_terms_and_the_names_of_groups(uneven):
    plain = fit_mixed(FORMULA, uneven, RANDOM)
    named = uneven.assign(row=uneven["row"].map({n: "dcbea"[n] for n in range(5)}))
    other = fit_mixed(FORMULA, named, RANDOM[::-1])
    assert other.variances[list(plain.variances.index)].to_numpy() == pytest.approx(
        plain.variances.to_numpy(), rel=ROUNDING
    )


def test_twice_the_same(uneven):
    first, second = (fit_mixed(FORMULA, uneven, RANDOM) for _ in range(2))
    pd.testing.assert_frame_equal(first.coefficients, second.coefficients, check_exact=True)
    pd.testing.assert_series_equal(first.variances, second.variances, check_exact=True)


def test_the_table_is_left_as_it_was(uneven):
    before = uneven.copy(deep=True)
    fit_mixed(FORMULA, uneven, RANDOM)
    pd.testing.assert_frame_equal(uneven, before)
