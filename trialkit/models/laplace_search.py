"""Where the approximate likelihood of counts is highest, and how sharp the top is.

A quasi-Newton climb (BFGS) with the exact gradient from the best of a few starts, variances
that the data do not ask for put at zero, and Newton's method to the end with the matrix of
second derivatives. That matrix is the central difference of the exact gradient, with steps of
a thousandth of a standard error, so it carries some seven digits.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from trialkit.errors import ModelError
from trialkit.models.count_density import count_derivatives
from trialkit.models.laplace import CountProblem, LaplaceState, evaluate
from trialkit.models.records import Floats

#: Steps of the climb, of Newton's method, and halvings of one.
_CLIMB_STEPS, _NEWTON_STEPS, _HALVINGS = 200, 30, 30
#: Twice the rise that one more step promises, at which the climb and the search end.
_CLIMB_END, _SEARCH_END = 1e-6, 1e-12
#: A variance at zero may cost this much log likelihood and no more.
_COST_OF_ZERO = 1e-9
#: Step of the differences, in standard errors.
_STEP = 1e-3
#: Scales of random terms and of the dispersion to start from: scatter of 10 to 70%.
_STARTS = (0.1, 0.3, 0.7)
#: A first guess at the standard error of a scale.
_SCALE_ERROR = 0.1
#: Rounding of a log likelihood, as a share of it.
_ROUNDING = 1e-13
#: The same, at which a search that cannot rise any further counts as ended.
_GOOD_ENOUGH = 1e-8
#: Smallest eigenvalue of the scaled second derivatives at a top.
_FLAT = 1e-9


@dataclass(frozen=True, slots=True)
class LaplaceFit:
    """The top.

    Parameters
    ----------
    state
        The best point found.
    covariance
        Inverse of minus the second derivatives, over coefficients, scales and dispersion;
        zero rows where a scale is zero. Shape (m, m).
    converged
        Whether the gradient is zero there and the likelihood falls off on all sides.
    """

    state: LaplaceState
    covariance: Floats
    converged: bool


def maximise(problem: CountProblem) -> LaplaceFit:
    """Find the coefficients, scales and dispersion of the highest likelihood.

    Parameters
    ----------
    problem
        The counts.

    Returns
    -------
    LaplaceFit

    Raises
    ------
    ModelError
        If the numbers are too large or too small to begin with.
    """
    coefficients, information = _without_groups(problem)
    count, scales = coefficients.size, problem.terms + problem.dispersed
    state = _best_start(problem, coefficients, scales)
    errors = np.append(1.0 / np.sqrt(np.diag(information)), np.full(scales, _SCALE_ERROR))
    inverse = np.diag(errors**2)
    inverse[:count, :count] = np.linalg.inv(information)
    state = _put_at_zero(problem, _climb(problem, state, inverse), count)
    free = (np.arange(state.point.size) < count) | (state.point != 0.0)
    return _finish(problem, state, free, _STEP * errors)


def _without_groups(problem: CountProblem) -> tuple[Floats, Floats]:
    """Fit the Poisson model without random terms; return coefficients and information."""
    columns = problem.columns
    bare = replace(problem, layout=None, dispersed=False)
    target = np.log(problem.counts + 0.5) - problem.offset
    state = _begun(evaluate(bare, np.linalg.lstsq(columns, target, rcond=None)[0], np.zeros(0)))
    for _ in range(_CLIMB_STEPS):
        weight = count_derivatives(problem.counts, state.eta, 0.0).weight
        information = np.asarray((columns.T * weight) @ columns)
        step = np.asarray(np.linalg.solve(information, state.gradient), dtype=np.float64)
        further = _line(bare, state, step) if state.gradient @ step > _SEARCH_END else None
        if further is None:
            break
        state = further
    return state.point, information


def _best_start(problem: CountProblem, coefficients: Floats, scales: int) -> LaplaceState:
    effects = np.zeros(problem.layout.groups if problem.layout else 0)
    kinds = np.array([0] * problem.terms + [1] * (scales - problem.terms), dtype=np.intp)
    starts = {tuple(np.array(sizes)[kinds]) for sizes in product(_STARTS, repeat=2)}
    states = [
        evaluate(problem, np.append(coefficients, start), effects) for start in sorted(starts)
    ]
    found = [state for state in states if state is not None]
    return _begun(max(found, key=lambda state: state.log_likelihood, default=None))


def _begun(state: LaplaceState | None) -> LaplaceState:
    if state is None:
        raise ModelError(
            "The counts and exposures lie too far apart to be fitted: numbers overflow. "
            "Check the unit of the exposure and look for wild counts."
        )
    return state


def _line(problem: CountProblem, state: LaplaceState, step: Floats) -> LaplaceState | None:
    """Shorten the step until the likelihood rises enough, or return None."""
    gain = float(state.gradient @ step)
    rounding = _ROUNDING * (1.0 + abs(state.log_likelihood))
    for halving in range(_HALVINGS):
        share = 0.5**halving
        further = evaluate(problem, state.point + share * step, state.effects)
        if further is None:
            continue
        rise = further.log_likelihood - state.log_likelihood
        if rise >= 1e-4 * share * gain - rounding:
            return further
    return None


def _climb(problem: CountProblem, state: LaplaceState, inverse: Floats) -> LaplaceState:
    """BFGS: `inverse` stands in for the inverse of minus the second derivatives."""
    for _ in range(_CLIMB_STEPS):
        step = inverse @ state.gradient
        further = _line(problem, state, step) if state.gradient @ step > _CLIMB_END else None
        if further is None:
            break
        moved, turned = further.point - state.point, state.gradient - further.gradient
        curved = float(moved @ turned)
        if curved > 0:
            seen = inverse @ turned
            inverse = (
                inverse
                + (1 + turned @ seen / curved) * np.outer(moved, moved) / curved
                - (np.outer(seen, moved) + np.outer(moved, seen)) / curved
            )
        state = further
    return state


def _put_at_zero(problem: CountProblem, state: LaplaceState, count: int) -> LaplaceState:
    """Put at zero each scale that the likelihood does not miss."""
    for place in range(count, state.point.size):
        point = state.point.copy()
        point[place] = 0.0
        without = evaluate(problem, point, state.effects)
        if without and without.log_likelihood >= state.log_likelihood - _COST_OF_ZERO:
            state = without
    return state


def _finish(
    problem: CountProblem, state: LaplaceState, free: NDArray[np.bool_], steps: Floats
) -> LaplaceFit:
    """Newton's method on what is free, to the last digit."""
    covariance = np.zeros((free.size, free.size))
    for _ in range(_NEWTON_STEPS):
        curvature = _curvature(problem, state, free, steps)
        if curvature is None:
            break
        inverse, falls_off = _uphill(curvature)
        covariance[np.ix_(free, free)] = inverse
        step = np.zeros(free.size)
        step[free] = inverse @ state.gradient[free]
        gain = float(state.gradient @ step)
        further = _line(problem, state, step)
        if falls_off and (gain <= _SEARCH_END or further is None):
            return LaplaceFit(further or state, covariance, gain <= _GOOD_ENOUGH)
        if further is None:
            break
        state = further
    return LaplaceFit(state, covariance, False)


def _curvature(
    problem: CountProblem, state: LaplaceState, free: NDArray[np.bool_], steps: Floats
) -> Floats | None:
    """Minus the second derivatives over what is free, by central differences."""
    columns = []
    for place in np.flatnonzero(free):
        change = np.zeros(free.size)
        change[place] = steps[place]
        after = evaluate(problem, state.point + change, state.effects)
        before = evaluate(problem, state.point - change, state.effects)
        if after is None or before is None:
            return None
        columns.append((before.gradient - after.gradient)[free] / (2 * steps[place]))
    matrix = np.array(columns)
    return np.asarray((matrix + matrix.T) / 2)


def _uphill(curvature: Floats) -> tuple[Floats, bool]:
    """Return the inverse of the curvature, made positive, and whether it was so already."""
    size = np.sqrt(np.maximum(np.abs(np.diag(curvature)), np.finfo(float).tiny))
    values, vectors = np.linalg.eigh(curvature / np.outer(size, size))
    turned = vectors / size[:, None]
    positive = np.maximum(np.abs(values), _FLAT)
    return np.asarray((turned / positive) @ turned.T), bool(values[0] > _FLAT)
