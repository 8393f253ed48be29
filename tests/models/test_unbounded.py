"""Variances that may come out below zero."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.errors import ModelError
from trialkit.models import AlongPass, Surface, fit_mixed

#: The same by two roads.
ALGEBRA = 1e-6


def points(strip_sd, seed=1, pairs=6, number=12):
    """Points of an invented trial in pairs; along each strip one trend that all strips share."""
    rng = np.random.default_rng(seed)
    strip = np.repeat(np.arange(2 * pairs), number)
    place = np.tile(np.arange(number), 2 * pairs)
    value = 3 + strip_sd * rng.normal(size=2 * pairs)[strip] + 0.5 * np.sin(place)
    return pd.DataFrame(
        {
            "strip": strip,
            "block": strip // 2,
            "treatment": np.where(strip % 2, "dressed", "untreated"),
            "value": value + 0.1 * rng.normal(size=strip.size),
            "x_m": 12.0 * strip,
            "y_m": 10.0 * place,
        }
    )


@pytest.mark.parametrize("strip_sd", [0.01, 0.5])
def test_points_are_judged_as_their_strips_where_these_differ_less_than_by_chance(strip_sd):
    data = points(strip_sd)
    fit = fit_mixed("value ~ C(block) + treatment", data, ["strip"], unbounded=["strip"])
    assert (fit.variances["strip"] < 0) == (strip_sd < 0.1)
    assert any("Variance below zero: 'strip'" in note for note in fit.notes) == (strip_sd < 0.1)
    means = data.pivot_table("value", "block", "treatment")
    paired = stats.ttest_rel(means["dressed"], means["untreated"])
    gain = fit.differences("treatment", against="untreated").loc["dressed"]
    assert gain["t"] == pytest.approx(paired.statistic, rel=ALGEBRA)
    assert gain["df"] == pytest.approx(5, rel=ALGEBRA)
    assert gain["p"] == pytest.approx(paired.pvalue, rel=ALGEBRA)


def test_the_estimate_is_that_of_the_mean_squares():
    # Balanced one-way: (mean square between - within) / n (Searle, Casella and McCulloch 1992).
    data = points(0.0)
    fit = fit_mixed("value ~ 1", data, ["strip"], unbounded=["strip"])
    groups = data.groupby("strip")["value"]
    within = groups.var().mean()
    between = 12 * groups.mean().var()
    assert between < within
    assert fit.variances["strip"] == pytest.approx((between - within) / 12, rel=ALGEBRA)
    assert fit.variances["residual"] == pytest.approx(within, rel=ALGEBRA)
    assert fit.at_boundary == ()


def test_the_fit_is_that_of_the_full_matrices(textbook):
    data = points(0.01).drop(index=[3, 40, 41, 77])
    fit = fit_mixed("value ~ treatment", data, ["block", "strip"], unbounded=["strip"])
    fixed = np.column_stack([np.ones(len(data)), data["treatment"] == "untreated"])
    full = textbook(data["value"], fixed, [data["block"], data["strip"]])
    assert fit.variances["strip"] < 0
    assert fit.reml_criterion == pytest.approx(full.criterion(fit.variances), rel=ALGEBRA)
    for change in (0.99, 1.01):
        moved = fit.variances.to_numpy() * [1, change, 1]
        assert full.criterion(moved) > fit.reml_criterion
    expected = full.kenward_roger(fit.variances, np.array([[0.0, 1.0]]))
    found = fit.coefficients.iloc[1]
    assert found["std_error"] == pytest.approx(expected.errors[0], rel=ALGEBRA)
    assert found["df"] == pytest.approx(expected.df, rel=1e-4)


def test_a_variance_above_zero_is_the_same_either_way():
    data = points(0.5)
    free, held = (
        fit_mixed("value ~ treatment", data, ["block", "strip"], unbounded=terms)
        for terms in (["strip"], [])
    )
    pd.testing.assert_series_equal(free.variances, held.variances)


def test_groups_that_do_not_differ_at_all_are_refused():
    data = points(0.2, pairs=2)
    level = data.groupby("strip")["value"].transform("mean")
    with pytest.raises(
        ModelError, match=r"groups of 'strip' do not differ at all.*or leave 'strip'"
    ):
        fit_mixed(
            "value ~ 1", data.assign(value=data["value"] - level), ["strip"], unbounded=["strip"]
        )


@pytest.mark.parametrize(
    ("unbounded", "along", "message"),
    [
        (["block"], None, "unbounded names 'block', which is no random term.*It has: 'strip'"),
        (["surface_x"], None, "unbounded names 'surface_x'"),
        (["strip"], AlongPass("strip", "y_m"), "unbounded does not go with correlation along"),
    ],
)
def test_bad_input(unbounded, along, message):
    with pytest.raises(ModelError, match=message):
        fit_mixed(
            "value ~ treatment", points(0.1), ["strip"], unbounded=unbounded, along=along,
            surface=None if along else Surface(knots=(3, 3)),
        )  # fmt: skip
