"""Variances with the coefficients integrated out, for standard errors that few strips bear.

Maximum likelihood takes the coefficients as known when it estimates variances, so with few
groups variances come out too small and standard errors with them. As residual maximum
likelihood does for yields, the coefficients b can be integrated out of the likelihood, by the
same approximation of Laplace as the random effects:

    log R(s) = max over b, v of log p(y | b, v) - v'v / 2  - log|M| / 2 - log|K| / 2,
    K = X'WX - X'WZ S M^-1 S Z'WX,

and K^-1 at the top is the covariance of the coefficients. Without random terms this is the
adjusted profile likelihood of theta.

Sources: Stroup 2012, Generalized Linear Mixed Models, on residual likelihood beyond the normal
distribution (from memory); Cox and Reid 1987, Journal of the Royal Statistical Society B
49:1-39, for the adjusted profile likelihood.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from trialkit.models.count_density import CountDensity, count_density
from trialkit.models.group_factor import factorise
from trialkit.models.laplace import CountProblem, gather, predictor
from trialkit.models.laplace_search import LaplaceFit
from trialkit.models.records import Floats

#: Newton steps for the joint peak, and halvings of one.
_PEAK_STEPS, _HALVINGS = 60, 40
#: Squared length of a Newton step, in standard errors, at which the peak is reached: the
#: curvature is off by the length itself, and log R is differenced.
_LAST_STEP = 1e-18
#: Step of the differences, and the longest step of the search, in standard errors of a scale.
_STEP, _FARTHEST = 1e-3, 3.0
#: How much longer the next step may be where no top is in sight.
_FASTER = 4.0
#: Steps of the search, and twice the rise that one more promises, at which it ends.
_STEPS, _GAIN_END = 100, 1e-14
#: The same, at which a search that rounding stopped counts as ended; and that rounding.
_GOOD_ENOUGH, _ROUNDING = 1e-6, 1e-12
#: Scales to try where maximum likelihood puts one at zero.
_OFF_ZERO = (0.002, 0.01, 0.05, 0.2, 0.5)
#: How often a search sets out again after a scale was put at zero or taken off it.
_RETURNS = 4
#: A variance at zero may cost this much log R and no more.
_COST_OF_ZERO = 1e-7


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The top of the adjusted likelihood.

    Parameters
    ----------
    scales
        Standard deviation of each random term, and last the root of phi where it is estimated.
    covariance
        Of the coefficients, shape (p, p).
    converged
        Whether the search ended at a top.
    """

    scales: Floats
    covariance: Floats
    converged: bool


@dataclass(frozen=True, slots=True)
class _Joint:
    """log R at one set of scales, and the peak it stands on."""

    value: float
    coefficients: Floats
    effects: Floats
    information: Floats


@dataclass(frozen=True, slots=True)
class _Newton:
    """One step towards the joint peak, twice the rise it promises, and the curvature."""

    by_coefficients: Floats
    by_effects: Floats
    gain: float
    information: Floats
    log_determinant: float


def adjust(problem: CountProblem, fit: LaplaceFit) -> Adjusted:
    """Estimate the scales anew with the coefficients integrated out.

    Parameters
    ----------
    problem
        The counts.
    fit
        The top of their likelihood.

    Returns
    -------
    Adjusted
        With the likelihood's own covariance where there is no scale to estimate.
    """
    count = problem.columns.shape[1]
    scales = np.abs(fit.state.point[count:])
    if not scales.size or not fit.converged:
        return as_estimated(problem, fit)

    nearest = (fit.state.point[:count], fit.state.effects)

    def height(at: Floats) -> float:
        nonlocal nearest
        joint = _joint(problem, at, *nearest)
        if joint is None:
            return -np.inf
        nearest = (joint.coefficients, joint.effects)
        return joint.value

    units, converged = _errors_of_scales(fit, count), False
    for _ in range(_RETURNS):
        scales, units = _off_zero(height, scales, units)
        climbed, converged = _climb(height, scales, units)
        scales = _put_at_zero(height, climbed)
        settled = np.array_equal(scales, climbed)
        if settled and _off_zero(height, scales, units)[0] is scales:
            break
    else:
        converged = False
    top = _joint(problem, scales, *nearest)
    if top is None:
        return replace(as_estimated(problem, fit), converged=False)
    covariance = np.linalg.inv(top.information) + _unsure_of_scales(fit, count)
    return Adjusted(scales, covariance, converged)


def as_estimated(problem: CountProblem, fit: LaplaceFit) -> Adjusted:
    """Return the likelihood's own scales and covariance.

    Parameters
    ----------
    problem, fit
        The counts and the top of their likelihood.

    Returns
    -------
    Adjusted
    """
    count = problem.columns.shape[1]
    return Adjusted(np.abs(fit.state.point[count:]), fit.covariance[:count, :count], fit.converged)


def _errors_of_scales(fit: LaplaceFit, count: int) -> Floats:
    """Return the likelihood's standard error of each scale, NaN where the scale is zero."""
    return np.asarray(np.sqrt(np.diag(fit.covariance)[count:]))


def _off_zero(
    height: Callable[[Floats], float], scales: Floats, units: Floats
) -> tuple[Floats, Floats]:
    """Move scales off zero where log R is higher: at zero the slope is zero, top or not."""
    for place in np.flatnonzero(scales == 0):
        tried = [np.where(np.arange(scales.size) == place, size, scales) for size in _OFF_ZERO]
        best = max(tried, key=height)
        if height(best) > height(scales) + _COST_OF_ZERO:
            scales = best
            units = np.where(np.arange(scales.size) == place, scales / 2, units)
    return scales, units


def _climb(height: Callable[[Floats], float], start: Floats, units: Floats) -> tuple[Floats, bool]:
    """BFGS with slopes by differences: the highest point, zeros left, and whether it is a top."""
    free = np.flatnonzero(start)
    moves = np.zeros((free.size, start.size))
    moves[np.arange(free.size), free] = _STEP * units[free]

    def slope(at: Floats) -> Floats:
        return np.array([height(at + move) - height(at - move) for move in moves]) / (2 * _STEP)

    at, value, inverse = start, height(start), np.eye(free.size)
    uphill, gain = slope(start), np.inf if free.size else 0.0
    for _ in range(_STEPS):
        step = inverse @ uphill
        step /= max(1.0, float(np.linalg.norm(step)) / _FARTHEST)
        gain = float(uphill @ step)
        if gain <= _GAIN_END:
            break
        further = _line(height, at, value, step @ moves / _STEP, gain)
        if further is None:
            break
        before, moved = uphill, (further[0] - at)[free] / units[free]
        (at, value), uphill = further, slope(further[0])
        inverse = _updated(inverse, moved, before - uphill)
    return np.abs(at), gain <= _GOOD_ENOUGH


def _line(
    height: Callable[[Floats], float], at: Floats, value: float, step: Floats, gain: float
) -> tuple[Floats, float] | None:
    """Shorten the step until log R rises enough, or return None."""
    for halving in range(_HALVINGS):
        share = 0.5**halving
        reached = height(at + share * step)
        if reached >= value + 1e-4 * share * gain - _ROUNDING * abs(value):
            return at + share * step, reached
    return None


def _updated(inverse: Floats, moved: Floats, turned: Floats) -> Floats:
    """Return BFGS's next inverse of minus the second derivatives."""
    curved = float(moved @ turned)
    if curved <= 0:  # near zero log R bends upwards: go faster
        return _FASTER * inverse
    seen = inverse @ turned
    return np.asarray(
        inverse
        + (1 + turned @ seen / curved) * np.outer(moved, moved) / curved
        - (np.outer(seen, moved) + np.outer(moved, seen)) / curved
    )


def _put_at_zero(height: Callable[[Floats], float], scales: Floats) -> Floats:
    """Put at zero each scale that log R does not miss."""
    for place in range(scales.size):
        without = np.where(np.arange(scales.size) == place, 0.0, scales)
        if height(without) >= height(scales) - _COST_OF_ZERO:
            scales = without
    return scales


def _unsure_of_scales(fit: LaplaceFit, count: int) -> Floats:
    """Return the part of the likelihood's covariance that comes from not knowing the scales."""
    free = ~np.isnan(np.diag(fit.covariance))
    if not free[count:].any():
        return np.zeros((count, count))
    whole = fit.covariance[np.ix_(free, free)]
    return np.asarray(whole[:count, :count] - np.linalg.inv(np.linalg.inv(whole)[:count, :count]))


def _joint(
    problem: CountProblem, scales: Floats, coefficients: Floats, effects: Floats
) -> _Joint | None:
    """Find the peak over coefficients and random effects together; None where too far out."""
    own, root = scales[: problem.terms], float(scales[-1]) if problem.dispersed else 0.0
    density = count_density(problem.counts, root**2)

    def height(b: Floats, v: Floats) -> tuple[float, Floats]:
        eta = predictor(problem, problem.offset + problem.columns @ b, own, v)
        return density.log(eta) - 0.5 * float(v @ v), eta

    with np.errstate(over="ignore", invalid="ignore"):
        best, eta = height(coefficients, effects)
        for _ in range(_PEAK_STEPS):
            try:
                step = _newton(problem, density, own, eta, effects)
            except np.linalg.LinAlgError:
                return None
            if step.gain <= _LAST_STEP:  # the curvature, too, is that of the peak
                value = best - 0.5 * step.log_determinant
                found = _Joint(value, coefficients, effects, step.information)
                return found if np.isfinite(value) else None
            for halving in range(_HALVINGS):
                share = 0.5**halving
                b = coefficients + share * step.by_coefficients
                v = effects + share * step.by_effects
                reached, eta = height(b, v)
                if reached >= best + 1e-4 * share * step.gain - density.rounding:
                    break
            else:
                return None
            coefficients, effects, best = b, v, reached
    return None


def _newton(
    problem: CountProblem, density: CountDensity, scales: Floats, eta: Floats, effects: Floats
) -> _Newton:
    """Work out one step from the predictor and the effects."""
    score, weight = density.score_and_weight(eta)
    weighted = problem.columns * weight[:, None]
    known, slope = problem.columns.T @ weighted, problem.columns.T @ score
    if problem.layout is None:
        step = np.asarray(np.linalg.solve(known, slope), dtype=float)
        return _Newton(
            step, np.zeros(0), float(slope @ step), known, float(np.linalg.slogdet(known)[1])
        )
    factor = factorise(problem.layout, scales, weight)
    sides = np.array([gather(problem.groupings, scales, column) for column in weighted.T])
    pull = gather(problem.groupings, scales, score) - effects
    solved, moved = np.array([factor.solve(side) for side in sides]), factor.solve(pull)
    known = known - sides @ solved.T
    step = np.asarray(np.linalg.solve(known, slope - sides @ moved), dtype=float)
    by_effects = moved - step @ solved
    return _Newton(
        by_coefficients=step,
        by_effects=by_effects,
        gain=float(slope @ step + pull @ by_effects),
        information=known,
        log_determinant=factor.log_determinant + float(np.linalg.slogdet(known)[1]),
    )
