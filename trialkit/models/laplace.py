"""The likelihood of counts with random effects, by Laplace's approximation.

Write the linear predictor as eta = offset + X g + sum_k s_k Z_k v_k with v standard normal.
The integral over v of exp(-f(v)), f = -log p(y | v) + v'v / 2, is replaced by that of the
normal density with the same peak and curvature:

    log L = -f(v^) - log|M| / 2,    M = I + S Z'WZ S,

where v^ minimises f, found by Newton's method; f is convex for log-linear counts. The
gradient by X's coefficients, the scales s and the dispersion is exact: the peak moves with
them, which is followed by differentiating the condition f'(v^) = 0.

A scale may have either sign (v turns with it) and log L is even in it, so a variance of zero
is a flat point like any other and needs no boundary. The dispersion phi = 1 / theta is
treated alike, as the square of a scale.

Sources: Breslow and Clayton 1993, Journal of the American Statistical Association 88:9-25;
Skaug and Fournier 2006, Computational Statistics and Data Analysis 51:699-709.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.models.count_density import CountDensity, CountDerivatives, count_density
from trialkit.models.group_factor import GroupFactor, GroupLayout, factorise, sum_by_group
from trialkit.models.random_blocks import Grouping
from trialkit.models.records import Codes, Floats

#: Newton steps for the peak, and halvings of one.
_PEAK_STEPS, _HALVINGS = 60, 40
#: Squared length of a Newton step, in standard errors, after which one more is exact.
_LAST_STEP = 1e-14


@dataclass(frozen=True, slots=True)
class CountProblem:
    """Counts, what is fixed and what is random.

    Parameters
    ----------
    counts, offset
        Shape (n,); the offset is the logarithm of the exposure.
    columns
        Fixed columns, linearly independent, shape (n, p).
    layout
        The random terms and where their groups stand; None without random terms.
    dispersed
        Whether the dispersion phi is estimated; otherwise it is zero.
    """

    counts: Codes
    offset: Floats
    columns: Floats
    layout: GroupLayout | None
    dispersed: bool

    @property
    def groupings(self) -> tuple[Grouping, ...]:
        """The random terms, in the order of their scales."""
        return self.layout.groupings if self.layout else ()

    @property
    def terms(self) -> int:
        """Number of random terms."""
        return len(self.groupings)

    def split(self, point: Floats) -> tuple[Floats, Floats, float]:
        """Return coefficients, scales of the random terms and the scale of the dispersion."""
        count = self.columns.shape[1]
        scales = point[count : count + self.terms]
        return point[:count], scales, float(point[-1]) if self.dispersed else 0.0


@dataclass(frozen=True, slots=True)
class LaplaceState:
    """The approximate log likelihood at one point.

    Parameters
    ----------
    point
        Coefficients, scales of the random terms, scale of the dispersion; shape (m,).
    log_likelihood
        With all constants.
    gradient
        By the point, shape (m,).
    effects
        The peak v^, groups of all terms one after the other, shape (q,).
    eta
        Linear predictor at the peak, shape (n,).
    used
        Effective number of parameters that the random effects take, between 0 and q.
    rounding
        How far `log_likelihood` may be off for want of digits.
    """

    point: Floats
    log_likelihood: float
    gradient: Floats
    effects: Floats
    eta: Floats
    used: float
    rounding: float


@dataclass(frozen=True, slots=True)
class _Peak:
    """Where f is lowest, with the curvature and the derivatives there."""

    effects: Floats
    eta: Floats
    factor: GroupFactor | None
    derivatives: CountDerivatives


def evaluate(problem: CountProblem, point: Floats, effects: Floats) -> LaplaceState | None:
    """Return log likelihood and gradient at a point.

    Parameters
    ----------
    problem
        The counts.
    point
        Shape (m,), as in `LaplaceState`.
    effects
        Where to begin the search for the peak, shape (q,).

    Returns
    -------
    LaplaceState or None
        None where numbers overflow or the peak is not reached: too far out to matter.
    """
    coefficients, scales, root = problem.split(point)
    density = count_density(problem.counts, root**2)
    with np.errstate(over="ignore", invalid="ignore"):
        fixed = problem.offset + problem.columns @ coefficients
        try:
            peak = _find_peak(problem, density, fixed, scales, effects)
        except np.linalg.LinAlgError:  # scales so large that rounding makes M indefinite
            return None
    if peak is None:
        return None
    log_likelihood = density.log(peak.eta) - 0.5 * float(peak.effects @ peak.effects)
    if peak.factor is None:
        gradient, used = _plain_gradient(problem, peak, root), 0.0
    else:
        log_likelihood -= 0.5 * peak.factor.log_determinant
        gradient, used = _gradient(problem, peak, peak.factor, scales, root)
    if not (np.isfinite(log_likelihood) and np.isfinite(gradient).all()):
        return None
    return LaplaceState(
        point, log_likelihood, gradient, peak.effects, peak.eta, used, density.rounding
    )


def information(problem: CountProblem, state: LaplaceState) -> Floats:
    """Return the information on the coefficients at given scales and dispersion.

    Parameters
    ----------
    problem, state
        The counts and a point. The peak is taken as moving with the coefficients, its curvature
        as fixed: exact without random terms, else near enough to scale a search by.

    Returns
    -------
    ndarray
        Shape (p, p).
    """
    _, scales, root = problem.split(state.point)
    _, weight = count_density(problem.counts, root**2).score_and_weight(state.eta)
    weighted = problem.columns * weight[:, None]
    plain = problem.columns.T @ weighted
    if problem.layout is None:
        return np.asarray(plain)
    factor = factorise(problem.layout, scales, weight)
    sides = [gather(problem.groupings, scales, column) for column in weighted.T]
    taken = [[side @ factor.solve(other) for other in sides] for side in sides]
    return np.asarray(plain - taken)


def spread(groupings: tuple[Grouping, ...], values: Floats) -> list[Floats]:
    """Return each record's value of each term, from values over all groups, shape (q,)."""
    edges = np.cumsum([grouping.levels for grouping in groupings])[:-1]
    parts = np.split(values, edges) if groupings else []
    return [part[grouping.codes] for part, grouping in zip(parts, groupings, strict=True)]


def gather(groupings: tuple[Grouping, ...], scales: Floats, values: Floats) -> Floats:
    """Return S Z' values, shape (q,)."""
    parts = [s * sum_by_group(g, values) for g, s in zip(groupings, scales, strict=True)]
    return np.concatenate(parts) if parts else np.zeros(0)


def predictor(problem: CountProblem, fixed: Floats, scales: Floats, effects: Floats) -> Floats:
    """Return eta from offset and fixed part, shape (n,), and effects over all groups, (q,)."""
    shares = spread(problem.groupings, effects)
    return fixed + sum(
        (s * share for s, share in zip(scales, shares, strict=True)), np.zeros_like(fixed)
    )


def _find_peak(
    problem: CountProblem, density: CountDensity, fixed: Floats, scales: Floats, effects: Floats
) -> _Peak | None:
    def height(at: Floats) -> tuple[float, Floats]:
        eta = predictor(problem, fixed, scales, at)
        return density.log(eta) - 0.5 * float(at @ at), eta

    best, eta = height(effects)
    rest, eta_at_rest = height(np.zeros_like(effects))
    if not best > rest:
        effects, best, eta = np.zeros_like(effects), rest, eta_at_rest
    if not np.isfinite(best):
        return None
    if problem.layout is None:
        return _Peak(effects, eta, None, density.derivatives(eta))
    for _ in range(_PEAK_STEPS):
        score, weight = density.score_and_weight(eta)
        factor = factorise(problem.layout, scales, weight)
        slope = gather(problem.groupings, scales, score) - effects
        step = factor.solve(slope)
        gain = float(slope @ step)
        if gain <= _LAST_STEP:
            effects = effects + step
            eta = predictor(problem, fixed, scales, effects)
            derivatives = density.derivatives(eta)
            factor = factorise(problem.layout, scales, derivatives.weight)
            return _Peak(effects, eta, factor, derivatives)
        for halving in range(_HALVINGS):
            further = effects + step / 2**halving
            reached, eta = height(further)
            if reached >= best + 1e-4 * gain / 2**halving - density.rounding:
                break
        else:
            return None
        effects, best = further, reached
    return None


def _plain_gradient(problem: CountProblem, peak: _Peak, root: float) -> Floats:
    by_columns = problem.columns.T @ peak.derivatives.score
    if not problem.dispersed:
        return np.asarray(by_columns)
    return np.append(by_columns, 2.0 * root * peak.derivatives.by_phi.sum())


def _gradient(
    problem: CountProblem, peak: _Peak, factor: GroupFactor, scales: Floats, root: float
) -> tuple[Floats, float]:
    """Return the gradient and the effective number of parameters of the random effects.

    With P = M^-1, a = diag(Z S P S Z') and the pull z = Z S P S Z'(a w'), w' the slope of the
    weights, moving the predictor by e changes log L by (score - (a w' - z w) / 2)'e.
    """
    d = peak.derivatives
    pairs = factor.inverse_at_records()
    reach = [sum((s * p for s, p in zip(scales, row, strict=True)), np.zeros(1)) for row in pairs]
    lever = sum((s * r for s, r in zip(scales, reach, strict=True)), np.zeros(1))
    bend = lever * d.weight_slope
    pulled = factor.solve(gather(problem.groupings, scales, bend))
    shares = spread(problem.groupings, pulled)
    pull = sum((s * share for s, share in zip(scales, shares, strict=True)), np.zeros(1))
    moved = d.score - 0.5 * (bend - pull * d.weight)
    by_scales = [
        moved @ effect - d.weight @ toward - 0.5 * d.score @ share
        for effect, toward, share in zip(
            spread(problem.groupings, peak.effects), reach, shares, strict=True
        )
    ]
    gradient = np.concatenate([problem.columns.T @ moved, by_scales])
    if problem.dispersed:
        by_phi = d.by_phi.sum() - 0.5 * (lever @ d.weight_by_phi + pull @ d.score_by_phi)
        gradient = np.append(gradient, 2.0 * root * by_phi)
    return gradient, float(lever @ d.weight)
