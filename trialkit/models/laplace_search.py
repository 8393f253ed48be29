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
from trialkit.models.laplace import CountProblem, LaplaceState, evaluate, information
from trialkit.models.records import Floats

#: Steps of the climb, of Newton's method, and halvings of one.
_CLIMB_STEPS, _NEWTON_STEPS, _HALVINGS = 200, 30, 30
#: Twice the rise that one more step promises, at which the climb and the search end.
_CLIMB_END, _SEARCH_END = 1e-6, 1e-12
#: A variance at zero may cost this much log likelihood and no more.
_COST_OF_ZERO = 1e-9
#: A scale to look at beside one at zero, and how often a search sets out again from there.
_NEAR_ZERO, _RETURNS = 0.01, 3
#: Step of the differences, in standard errors.
_STEP = 1e-3
#: Scales of random terms and of the dispersion to start from: scatter of 5% to threefold.
_START_SCALES = (0.05, 0.3, 1.0)
#: Scales up to which all combinations are tried, and how many of them are followed up.
_MOST_VARIED, _SEARCHES = 3, 3
#: A first guess at the standard error of a scale.
_SCALE_ERROR = 0.1
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
        NaN where a scale is zero, or where none could be had. Shape (m, m).
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
    coefficients = _without_groups(problem)
    count = coefficients.size
    starts = [*_starts(problem, coefficients), *_rivals(problem, coefficients)]
    climbs = [_climb_from(problem, start, count) for start in starts]
    climbs.sort(key=lambda climb: -climb[0].log_likelihood)
    fits = (_finish(problem, state, count, errors) for state, errors in climbs)
    best = next(fits)
    return best if best.converged else next((fit for fit in fits if fit.converged), best)


def _climb_from(
    problem: CountProblem, state: LaplaceState, count: int
) -> tuple[LaplaceState, Floats]:
    """Return the top reached and rough standard errors; `count` coefficients come first."""
    known = information(problem, state)
    errors = np.full(state.point.size, _SCALE_ERROR)
    errors[:count] = 1.0 / np.sqrt(np.diag(known))
    inverse = np.diag(errors**2)
    inverse[:count, :count] = np.linalg.inv(known)
    for _ in range(1 + _RETURNS):
        state = _put_at_zero(problem, _climb(problem, state, inverse), count)
        higher = _off_zero(problem, state, count)
        if higher is None:
            break
        state = higher
    return state, errors


def _without_groups(problem: CountProblem) -> Floats:
    """Return the coefficients of the Poisson model without random terms."""
    bare = replace(problem, layout=None, dispersed=False)
    target = np.log(problem.counts + 0.5) - problem.offset
    begin = np.linalg.lstsq(problem.columns, target, rcond=None)[0]
    state = _begun(evaluate(bare, begin, np.zeros(0)))
    for _ in range(_CLIMB_STEPS):
        step = np.asarray(np.linalg.solve(information(bare, state), state.gradient), dtype=float)
        further = _line(bare, state, step) if state.gradient @ step > _SEARCH_END else None
        if further is None:
            break
        state = further
    return state.point


def _starts(problem: CountProblem, coefficients: Floats) -> list[LaplaceState]:
    """Return the best of all combinations of small and large scales.

    A single scale has a single top; with several, scatter may pass from one to another.
    """
    scales = problem.terms + problem.dispersed
    effects = np.zeros(problem.layout.groups if problem.layout else 0)
    sizes = product(_START_SCALES, repeat=scales) if scales <= _MOST_VARIED else [(0.3,) * scales]
    states = (evaluate(problem, np.append(coefficients, size), effects) for size in sizes)
    found = sorted((s for s in states if s is not None), key=lambda s: -s.log_likelihood)
    return found[: _SEARCHES if scales > 1 else 1] or [_begun(None)]


def _rivals(problem: CountProblem, coefficients: Floats) -> list[LaplaceState]:
    """Return starts with theta alone and with a term of single counts alone.

    Both take up the scatter between single counts, so the likelihood may have one top with
    little but the one and another with little but the other, far apart. A scale at zero has
    slope zero, so each climb first finds the top of the model without the rival.
    """
    singles = [k for k, g in enumerate(problem.groupings) if g.levels == problem.counts.size]
    if not (problem.dispersed and singles):
        return []
    effects = np.zeros(problem.layout.groups if problem.layout else 0)
    sizes = np.full((2, problem.terms + 1), 0.3)
    sizes[0, singles] = sizes[1, -1] = 0.0
    states = (evaluate(problem, np.append(coefficients, size), effects) for size in sizes)
    return [state for state in states if state is not None]


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
    for halving in range(_HALVINGS):
        share = 0.5**halving
        further = evaluate(problem, state.point + share * step, state.effects)
        if further is None:
            continue
        rise = further.log_likelihood - state.log_likelihood
        if rise >= 1e-4 * share * gain - state.rounding:
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
        if (
            without
            and without.log_likelihood >= state.log_likelihood - _COST_OF_ZERO - state.rounding
        ):
            state = without
    return state


def _off_zero(problem: CountProblem, state: LaplaceState, count: int) -> LaplaceState | None:
    """Return a higher point off a zero that is no top, or None where all zeros are tops.

    At zero the slope by a scale is zero either way, so a climb cannot tell.
    """
    least = state.log_likelihood + _COST_OF_ZERO + state.rounding
    found: list[LaplaceState] = []
    for place in count + np.flatnonzero(state.point[count:] == 0):
        for size in (_NEAR_ZERO, *_START_SCALES):
            point = state.point.copy()
            point[place] = size
            beside = evaluate(problem, point, state.effects)
            if beside and beside.log_likelihood > least:
                found.append(beside)
    return max(found, key=lambda beside: beside.log_likelihood, default=None)


def _finish(problem: CountProblem, state: LaplaceState, count: int, errors: Floats) -> LaplaceFit:
    """Newton's method on what is not at zero, to the last digit."""
    free = (np.arange(state.point.size) < count) | (state.point != 0.0)
    steps = _STEP * errors
    covariance = np.full((free.size, free.size), np.nan)
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
