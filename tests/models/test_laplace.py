"""The engine of counts: chances, derivatives and the structure of groups."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from trialkit.models.count_density import count_density
from trialkit.models.group_factor import arrange, factorise
from trialkit.models.laplace import CountProblem, evaluate
from trialkit.models.random_blocks import Grouping

#: Central differences, second order.
DIFFERENCES = 1e-6

COUNTS = np.array([0, 1, 3, 17, 250, 0, 40])
ETA = np.array([-2.0, 0.3, 1.5, 2.5, 5.6, 3.0, 3.0])


@pytest.mark.parametrize("phi", [1e-3, 0.1, 2.0])
def test_negative_binomial_beside_scipy(phi):
    mean = np.exp(ETA)
    expected = stats.nbinom.logpmf(COUNTS, 1 / phi, 1 / (1 + phi * mean)).sum()
    assert count_density(COUNTS, phi).log(ETA) == pytest.approx(expected, rel=1e-11)


def test_poisson_and_its_neighbourhood():
    expected = stats.poisson.logpmf(COUNTS, np.exp(ETA)).sum()
    assert count_density(COUNTS, 0.0).log(ETA) == pytest.approx(expected, rel=1e-13)
    near = count_density(COUNTS, 1e-10).log(ETA)
    slope = count_density(COUNTS, 0.0).derivatives(ETA).by_phi.sum()
    assert near == pytest.approx(expected + 1e-10 * slope, rel=1e-13)


@pytest.mark.parametrize("phi", [0.0, 1e-7, 0.01, 3.0])
def test_derivatives(phi):
    found = count_density(COUNTS, phi).derivatives(ETA)
    h = 1e-5
    up, down = (count_density(COUNTS, phi).derivatives(ETA + s * h) for s in (1, -1))
    assert found.weight == pytest.approx((down.score - up.score) / (2 * h), rel=DIFFERENCES)
    assert found.weight_slope == pytest.approx((up.weight - down.weight) / (2 * h), rel=DIFFERENCES)
    for place in range(COUNTS.size):
        one = COUNTS[place : place + 1]
        density = count_density(one, phi)
        rise = density.log(ETA[place : place + 1] + h) - density.log(ETA[place : place + 1] - h)
        assert found.score[place] == pytest.approx(rise / (2 * h), rel=DIFFERENCES, abs=1e-6)


@pytest.mark.parametrize("phi", [1e-3, 0.05, 3.0])
def test_derivatives_by_dispersion(phi):
    h = 1e-5 * phi
    found = count_density(COUNTS, phi).derivatives(ETA)
    above, below = (count_density(COUNTS, phi + s * h) for s in (1, -1))
    up, down = above.derivatives(ETA), below.derivatives(ETA)
    rise = (above.log(ETA) - below.log(ETA)) / (2 * h)
    assert found.by_phi.sum() == pytest.approx(rise, rel=DIFFERENCES)
    score, weight = (up.score - down.score) / (2 * h), (up.weight - down.weight) / (2 * h)
    assert found.score_by_phi == pytest.approx(score, rel=DIFFERENCES)
    assert found.weight_by_phi == pytest.approx(weight, rel=DIFFERENCES)


def grouping(name, labels):
    values, codes = np.unique(labels, return_inverse=True)
    return Grouping(name, codes.astype(np.intp), values.size)


def nested():
    """Twelve blocks of four strips of three counts, and one group a count."""
    block = np.repeat(np.arange(12), 12)
    strip = np.repeat(np.arange(48), 3)
    return grouping("count", np.arange(144)), grouping("strip", strip), grouping("block", block)


def crossed():
    rng = np.random.default_rng(1)
    return grouping("row", rng.integers(0, 14, 144)), grouping("column", rng.integers(0, 9, 144))


def uneven():
    """One large part and many small: padding would cost more than it saves."""
    first = np.arange(144)
    second = np.concatenate([np.arange(100) // 2, 50 + np.repeat(np.arange(22), 2)])
    third = np.concatenate([np.zeros(100), np.arange(44) // 2 + 1])
    return grouping("count", first), grouping("pair", second), grouping("site", third)


def matrix(groupings, scales, weights):
    columns = [
        s * np.equal.outer(g.codes, np.arange(g.levels))
        for g, s in zip(groupings, scales, strict=True)
    ]
    z = np.hstack(columns)
    return np.eye(z.shape[1]) + z.T @ (weights[:, None] * z)


@pytest.mark.parametrize(
    ("groupings", "parts"),
    [(nested(), 12), (crossed(), 1), (uneven(), 1), (nested()[:1], 144), (nested()[1:], 12)],
)
def test_structure_of_groups_beside_full_matrices(groupings, parts):
    rng = np.random.default_rng(3)
    scales, weights = rng.uniform(0.2, 1.5, len(groupings)), rng.uniform(0.1, 30, 144)
    layout = arrange(groupings)
    factor = factorise(layout, scales, weights)
    whole = matrix(groupings, scales, weights)
    assert layout.parts == parts
    assert layout.groups == len(whole)
    assert factor.log_determinant == pytest.approx(np.linalg.slogdet(whole)[1], rel=1e-12)
    side = rng.normal(size=len(whole))
    assert factor.solve(side) == pytest.approx(np.linalg.solve(whole, side), rel=1e-9, abs=1e-12)
    inverse = np.linalg.inv(whole)
    edges = np.cumsum([0, *(g.levels for g in groupings)])
    found = factor.inverse_at_records()
    for a, first in enumerate(groupings):
        for b, second in enumerate(groupings):
            expected = inverse[edges[a] + first.codes, edges[b] + second.codes]
            assert found[a][b] == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("groupings", [nested(), crossed(), nested()[:1], ()])
@pytest.mark.parametrize("dispersed", [False, True])
def test_gradient(groupings, dispersed):
    rng = np.random.default_rng(5)
    columns = np.column_stack([np.ones(144), rng.normal(size=144)])
    layout = arrange(groupings) if groupings else None
    problem = CountProblem(rng.poisson(6, 144), rng.normal(0, 0.2, 144), columns, layout, dispersed)
    effects = np.zeros(layout.groups if layout else 0)
    point = np.concatenate([[1.7, 0.1], rng.uniform(0.2, 0.6, len(groupings) + dispersed)])
    state = evaluate(problem, point, effects)
    for place in range(point.size):
        move = np.zeros(point.size)
        move[place] = 1e-5
        rise = (
            evaluate(problem, point + move, effects).log_likelihood
            - evaluate(problem, point - move, effects).log_likelihood
        )
        assert state.gradient[place] == pytest.approx(rise / 2e-5, rel=1e-5, abs=1e-5)


def test_the_sign_of_a_scale_means_nothing():
    rng = np.random.default_rng(5)
    problem = CountProblem(
        rng.poisson(6, 144), np.zeros(144), np.ones((144, 1)), arrange(nested()), True
    )
    effects = np.zeros(problem.layout.groups)
    point = np.array([1.7, 0.3, 0.2, 0.4, 0.5])
    here, there = (evaluate(problem, point * s, effects) for s in (1, [1, -1, 1, -1, -1]))
    assert here.log_likelihood == pytest.approx(there.log_likelihood, rel=1e-13)
    at_zero = evaluate(problem, point * [1, 0, 1, 1, 0], effects)
    assert at_zero.gradient[[1, 4]].tolist() == [0, 0]


def test_too_far_out_is_no_state():
    problem = CountProblem(np.array([3, 4]), np.zeros(2), np.ones((2, 1)), None, False)
    assert evaluate(problem, np.array([800.0]), np.zeros(0)) is None
