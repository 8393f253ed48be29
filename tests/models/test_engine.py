"""The engine against the textbook's full matrices, finite differences and brute force."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError
from trialkit.models import fit_mixed
from trialkit.models.crossproducts import check_random_terms, cross_products, reduce_fixed
from trialkit.models.model_frame import read_model_frame
from trialkit.models.reml import _descend, evaluate, maximise

#: Linear algebra two ways on well-conditioned data of this size.
ALGEBRA = 1e-8
#: Central differences with steps of 1e-5 to 1e-4 of the value.
DIFFERENCES = 1e-5


def reduced(formula, data, random):
    frame = read_model_frame(formula, data, random)
    fixed = reduce_fixed(frame.response, frame.fixed)
    return frame, fixed.part, cross_products(fixed, frame.groupings)


@pytest.mark.parametrize("ratios", [(0.0, 0.0), (0.0, 0.7), (1.3, 0.2), (40.0, 25.0)])
def test_criterion_is_that_of_the_full_matrices(uneven, textbook, ratios):
    frame, part, products = reduced("value ~ treatment + slope", uneven, ["row", "column"])
    state = evaluate(products, np.array(ratios))
    residual = state.residual * part.scale**2
    full = textbook(frame.response, frame.fixed, [uneven["row"], uneven["column"]])
    constants = products.spare * (np.log(2 * np.pi * part.scale**2) + 1)
    ours = state.criterion + constants + 2 * part.log_determinant
    variances = [*(np.array(ratios) * residual), residual]
    assert ours == pytest.approx(full.criterion(variances), rel=ALGEBRA)
    coordinates = part.projected + part.scale * state.beta
    beta = np.linalg.solve(part.triangle, coordinates)
    assert beta == pytest.approx(full.pieces(variances).beta, rel=ALGEBRA)


def test_derivatives(uneven):
    _, _, products = reduced("value ~ treatment + slope", uneven, ["row", "column"])
    at = np.array([0.8, 0.3])
    state = evaluate(products, at)
    for k in range(2):
        step = np.eye(2)[k] * 1e-5
        above, below = evaluate(products, at + step), evaluate(products, at - step)
        slope = (above.criterion - below.criterion) / 2e-5
        assert state.gradient[k] == pytest.approx(slope, rel=DIFFERENCES)
        bend = (above.gradient - below.gradient) / 2e-5
        assert state.curvature[k] == pytest.approx(bend, rel=DIFFERENCES)


@pytest.mark.parametrize("random", [["row"], ["row", "column"]])
def test_kenward_roger_is_that_of_the_full_matrices(uneven, textbook, random):
    fit = fit_mixed("value ~ treatment + slope", uneven, random)
    frame = read_model_frame("value ~ treatment + slope", uneven, random)
    full = textbook(frame.response, frame.fixed, [uneven[name] for name in random])
    assert fit.reml_criterion == pytest.approx(full.criterion(fit.variances), rel=ALGEBRA)
    for place in range(4):
        row = np.eye(4)[[place]]
        expected = full.kenward_roger(fit.variances, row)
        found = fit.coefficients.iloc[place]
        assert found["std_error"] == pytest.approx(expected.errors[0], rel=ALGEBRA)
        assert found["df"] == pytest.approx(expected.df, rel=ALGEBRA)
    joint = full.kenward_roger(fit.variances, np.eye(4)[1:3])
    found = fit.test("treatment")
    assert found.statistic == pytest.approx(joint.statistic, rel=ALGEBRA)
    assert found.df_den == pytest.approx(joint.df, rel=ALGEBRA)


def test_kenward_roger_keeps_a_zero_variance(textbook):
    # Seventeen strips in five blocks, made so that blocks differ less than chance.
    data = zero_variance_strips()
    fit = fit_mixed("value ~ treatment", data, ["block"])
    assert fit.at_boundary == ("block",)
    frame = read_model_frame("value ~ treatment", data, ["block"])
    full = textbook(frame.response, frame.fixed, [data["block"]])
    expected = full.kenward_roger(fit.variances, np.array([[0.0, 1.0]]))
    found = fit.coefficients.iloc[1]
    assert found["df"] == pytest.approx(expected.df, rel=ALGEBRA)
    assert found["std_error"] == pytest.approx(expected.errors[0], rel=ALGEBRA)
    assert found["df"] < 14  # 15 without the term


def zero_variance_strips():
    rng = np.random.default_rng(2)
    block = np.repeat(np.arange(5), [4, 4, 3, 3, 3])
    value = rng.normal(0, 1, 17)
    means = pd.Series(value).groupby(block).transform("mean").to_numpy()
    treatment = np.array(list("ababababbabaababb"))
    return pd.DataFrame({"block": block, "treatment": treatment, "value": value - 0.8 * means})


def test_satterthwaite_is_that_of_numerical_derivatives(uneven, textbook):
    random = ["row", "column"]
    fit = fit_mixed("value ~ treatment + slope", uneven, random, df="satterthwaite")
    assert fit.at_boundary == ()
    frame = read_model_frame("value ~ treatment + slope", uneven, random)
    full = textbook(frame.response, frame.fixed, [uneven[name] for name in random])
    for place, row in enumerate(np.eye(4)):
        expected = full.satterthwaite(fit.variances.to_numpy(), row, [0, 1, 2])
        assert fit.coefficients["df"].iloc[place] == pytest.approx(expected, rel=1e-4)


def random_design(seed):
    rng = np.random.default_rng(seed)
    records, terms = int(rng.integers(10, 60)), int(rng.integers(1, 4))
    data = {"treatment": np.array(list("abc"))[rng.integers(0, 3, records)]}
    value = rng.normal(0, 1, records)
    for term in range(terms):
        groups = int(rng.integers(2, max(3, records // 3)))
        data[f"g{term}"] = rng.integers(0, groups, records)
        spread = 10 ** rng.uniform(-2, 1.5) if rng.random() < 0.6 else 0.0
        value = value + rng.normal(0, spread, groups)[data[f"g{term}"]]
    return pd.DataFrame({**data, "value": value}), [f"g{term}" for term in range(terms)]


@pytest.mark.parametrize("seed", range(40))
def test_no_better_point_on_a_grid(seed):
    data, random = random_design(seed)
    _, _, products = reduced("value ~ treatment", data, random)
    check_random_terms(products, ("treatment",))
    found = maximise(products)
    assert found.converged
    axis = [0.0, *10.0 ** np.arange(-3, 4.01, 0.5 if len(random) < 3 else 1.5)]
    grid = np.stack(np.meshgrid(*[axis] * len(random)), axis=-1).reshape(-1, len(random))
    best = min(evaluate(products, ratios).criterion for ratios in grid)
    assert found.state.criterion <= best + 1e-9
    inside = found.state.ratios > 0
    # Newton's last step squares the error: the gradient is zero to rounding.
    scale = np.sqrt(np.diag(found.state.expected)[inside])
    assert np.abs(found.state.gradient[inside] / scale).max(initial=0) < 1e-7
    assert (found.state.gradient[~inside] >= 0).all()


def test_many_records_cost_no_digits():
    # Balanced: a strip mean has variance g + 1/n, a difference of two arms that of 6 each.
    records, strips = 60_000, 12
    strip = np.repeat(np.arange(strips), records)
    data = pd.DataFrame({"strip": strip, "arm": np.array(["a", "b"])[strip % 2]})
    data["value"] = np.random.default_rng(1).normal(size=len(data))
    _, part, products = reduced("value ~ arm", data, ["strip"])
    for ratio in (1e-6, 0.3, 1e3):
        state = evaluate(products, np.array([ratio]))
        row = part.rotate(np.array([[0.0, 1.0]]))
        found = (row @ state.xhx_inverse @ row.T).item()
        # Sums over the records of a strip, taken once, would be out by some 1e-12.
        assert found == pytest.approx((ratio + 1 / records) * 2 / 6, rel=1e-13)


def test_cross_products_do_not_grow_with_the_records(uneven):
    _, _, few = reduced("value ~ treatment", uneven, ["row", "column"])
    many = pd.concat([uneven] * 50, ignore_index=True)
    many["value"] += np.random.default_rng(0).normal(0, 0.1, len(many))
    _, _, more = reduced("value ~ treatment", many, ["row", "column"])
    assert more.between.shape == few.between.shape
    assert more.within.shape == few.within.shape
    counts = [products.groups.T @ products.groups for products in (few, more)]
    assert counts[1] == pytest.approx(50 * counts[0])


def two_valleys():
    """Eight records in two crossed groupings whose criterion has two separate optima."""
    rng = np.random.default_rng(1329)
    terms, records = int(rng.integers(2, 4)), int(rng.integers(8, 40))
    data = {"treatment": np.array(list("ab"))[rng.integers(0, 2, records)]}
    value = rng.normal(0, 1, records)
    for term in range(terms):
        groups = int(rng.integers(2, max(3, records // 2)))
        data[f"g{term}"] = rng.integers(0, groups, records)
        spread = 10 ** rng.uniform(-1, 1) if rng.random() < 0.6 else 0
        value = value + rng.normal(0, spread, groups)[data[f"g{term}"]]
    return pd.DataFrame({**data, "value": value}), [f"g{term}" for term in range(terms)]


def test_the_better_of_two_optima_is_taken():
    data, random = two_valleys()
    _, _, products = reduced("value ~ treatment", data, random)
    starts = [np.array(pair) for pair in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0), (1.0, 1.0))]
    ends = [
        _descend(products, evaluate(products, start), np.zeros(len(products.terms)))
        for start in starts
    ]
    heights = [end.state.criterion for end in ends if end.converged]
    assert max(heights) - min(heights) > 0.1
    assert maximise(products).state.criterion == pytest.approx(min(heights))


@pytest.mark.parametrize("seed", range(60))
@pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])
def test_the_smallest_trials_give_finite_answers_or_a_reason(seed, method):
    rng = np.random.default_rng(seed)
    records, arms, blocks = rng.integers(4, 12), rng.integers(2, 5), rng.integers(2, 5)
    data = pd.DataFrame(
        {
            "treatment": np.array(list("abcd"))[rng.integers(0, arms, records)],
            "block": rng.integers(0, blocks, records),
        }
    )
    data["value"] = rng.normal(size=records) + rng.normal(0, 2, blocks)[data["block"]]
    try:
        fit = fit_mixed("value ~ treatment", data, ["block"], df=method)
    except ModelError:
        return
    assert np.isfinite(fit.coefficients.to_numpy()).all()
    found = fit.test("treatment")
    assert np.isfinite(found.statistic)
    assert found.df_den > 0
    assert 0 <= found.p <= 1


def test_where_the_moments_of_f_cannot_be_matched(monkeypatch):
    # Three contrasts on about one degree of freedom: the scaled F would have negative df.
    data = pd.DataFrame(
        {
            "treatment": list("aabbccdd"),
            "block": [0, 1, 0, 1, 0, 1, 0, 1],
            "value": [1.0, 5.2, 1.4, 5.0, 2.1, 6.3, 0.7, 5.9],
        }
    )
    tried = []

    def hopeless(*moments):
        tried.append(moments)
        return -1.5, -1.0

    monkeypatch.setattr("trialkit.models.kenward_roger._scaling", hopeless)
    fit = fit_mixed("value ~ treatment", data, ["block"])
    rows = np.eye(4)[1:]
    alone = [fit.test(row).df_den for row in rows]
    assert fit.test("treatment").df_den == pytest.approx(min(alone))
    assert len(tried) == 1
