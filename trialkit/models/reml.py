"""Restricted maximum likelihood of variance components, from cross-products alone.

The variance of the response is s2 H with H = I + sum_k g_k Z_k Z_k'. The residual variance
s2 is profiled out; the ratios g_k >= 0 are found by Newton's method on the profiled
criterion with analytic first and second derivatives, an active set at zero (or at the least
ratio that leaves H positive, for a term that may go below zero), and Fisher scoring where the
curvature is not positive. With C an orthonormal basis of Z's columns,
K = C'Z and L the Cholesky factor of I + K diag(g) K', we have

    H^-1 = (I - C C') + C (L L')^-1 C',

so that every cross-product through H^-1 is its part within groups plus the square of
L^-1 times its part between: at g = 0 as well as far from it, with no digits lost.

Sources: Patterson and Thompson 1971, Biometrika 58:545-554; Searle, Casella and McCulloch
1992, Variance Components, ch. 6 and 8.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.linalg import blas

from trialkit.models.crossproducts import CrossProducts
from trialkit.models.records import Floats

#: A residual variance below this share of that of least squares is no scatter at all.
NO_SCATTER = 1e-8
#: Newton steps before the search is called off; some six to ten are usual.
MAX_STEPS = 100
#: Twice the drop of the criterion that one more step promises, at which the search ends.
#: Newton squares its error: 1e-10 here leaves some 1e-10 of a standard error.
_DECREMENT = 1e-10
#: Steps halved before a direction is given up.
_HALVINGS = 40
#: A ratio may grow by this factor in one step, so that no step runs off.
_GROWTH = 10.0
#: Searches begun, and random terms up to which their starts are the best of a full grid.
_SEARCHES, _GRID_TERMS = 3, 3
#: Ratio times records a group, beyond which the residual variance is zero for all purposes.
_FURTHEST = 1e10
#: The same, below which a falling variance is put at zero.
_NEAR_ZERO = 1e-7
#: Share by which a ratio below zero stays away from where H is no longer positive.
_HAIR = 1e-7


@dataclass(frozen=True, slots=True)
class RemlState:
    """The profiled criterion and its pieces at one set of ratios, on the scaled problem.

    Parameters
    ----------
    ratios
        Variance of each random term over the residual variance, shape (terms,).
    residual
        Residual variance given the ratios, as a share of that of least squares.
    criterion
        -2 log restricted likelihood of the scaled problem, constants left out.
    gradient, curvature, expected
        First derivatives by the ratios, observed and expected second derivatives.
    zhx, zhz, zpz, zpy
        Z'H^-1 X, Z'H^-1 Z, Z'P Z and Z'P y.
    xhx, xhx_inverse
        X'H^-1 X and its inverse.
    beta
        Generalised least squares coefficients of the scaled residual, shape (p,).
    lower, half
        L, shape (r, r), and L^-1 C'X, shape (r, p).
    """

    ratios: Floats
    residual: float
    criterion: float
    gradient: Floats
    curvature: Floats
    expected: Floats
    zhx: Floats
    zhz: Floats
    zpz: Floats
    zpy: Floats
    xhx: Floats
    xhx_inverse: Floats
    beta: Floats
    lower: Floats
    half: Floats


@dataclass(frozen=True, slots=True)
class RemlFit:
    """Where the search ended.

    Parameters
    ----------
    state
        The best point found.
    converged
        Whether the gradient there is zero, or points out of the allowed region.
    """

    state: RemlState
    converged: bool


def evaluate(products: CrossProducts, ratios: Floats) -> RemlState:
    """Return criterion, derivatives and the matrices inference needs, at given ratios.

    Parameters
    ----------
    products
        Cross-products of the scaled problem.
    ratios
        Variance ratios, shape (terms,).

    Returns
    -------
    RemlState
    """
    spread, groups = products.member @ ratios, products.groups
    lower, log_h = _factorise(np.eye(groups.shape[0]) + (groups * spread) @ groups.T)
    half = forward(lower, products.between)
    z, xy = half[:, : spread.size], half[:, spread.size :]
    inner = products.within + xy.T @ xy
    xhx, xhy = inner[:-1, :-1], inner[:-1, -1]
    zhx, zhy = z.T @ xy[:, :-1], z.T @ xy[:, -1]
    triangle = np.linalg.cholesky(xhx)
    root = np.linalg.inv(triangle)
    xhx_inverse = root.T @ root
    beta = xhx_inverse @ xhy
    residual = float((inner[-1, -1] - xhy @ beta) / products.spare)
    log_xhx = 2 * float(np.log(np.diag(triangle)).sum())
    criterion = products.spare * np.log(residual) + log_h + log_xhx
    zpy = zhy - zhx @ beta
    fixed = zhx @ root.T
    zhz = z.T @ z
    zpz = zhz - fixed @ fixed.T
    gradient, curvature, expected = _derivatives(products, residual, zpz, zpy)
    return RemlState(
        ratios, residual, float(criterion), gradient, curvature, expected,
        zhx, zhz, zpz, zpy, xhx, xhx_inverse, beta, lower, xy[:, :-1],
    )  # fmt: skip


def _factorise(matrix: Floats) -> tuple[Floats, float]:
    """Return the Cholesky factor and the log determinant."""
    lower = np.asarray(np.linalg.cholesky(matrix), dtype=np.float64)
    return lower, 2 * float(np.log(np.diag(lower)).sum())


def forward(lower: Floats, sides: Floats, *, transposed: bool = False) -> Floats:
    """Return L^-1 times the sides, or L'^-1, straight from BLAS for small fits' sake."""
    if not lower.size:
        return sides
    return np.asarray(blas.dtrsm(1.0, lower, sides, lower=1, trans_a=int(transposed)))


def _derivatives(
    products: CrossProducts, residual: float, zpz: Floats, zpy: Floats
) -> tuple[Floats, Floats, Floats]:
    member = products.member
    trace = member.T @ np.diag(zpz)
    fitted = member.T @ zpy**2 / residual
    squared = member.T @ zpz**2 @ member
    crossed = member.T @ (zpz * np.outer(zpy, zpy)) @ member / residual
    curvature = 2 * crossed - squared - np.outer(fitted, fitted) / products.spare
    expected = squared - np.outer(trace, trace) / products.spare
    return trace - fitted, curvature, expected


def least_ratios(products: CrossProducts, unbounded: Collection[str]) -> Floats:
    """Return the least ratio of each term: zero, or what keeps H positive by itself.

    Parameters
    ----------
    products
        Cross-products of the scaled problem.
    unbounded
        Terms that may go below zero; their groups share no record.
    """
    largest = np.array(
        [(products.groups[:, own > 0] ** 2).sum(axis=0).max() for own in products.member.T]
    )
    free = np.array([term in unbounded for term in products.terms], dtype=bool)
    return np.where(free, -(1.0 - _HAIR) / largest, 0.0) if free.size else np.zeros(0)


def maximise(products: CrossProducts, least: Floats | None = None) -> RemlFit:
    """Find the ratios with the lowest criterion.

    Parameters
    ----------
    products
        Cross-products of the scaled problem.
    least
        Least ratio of each term, shape (terms,); zero for None.

    Returns
    -------
    RemlFit
        The best of up to three searches. Very small trials with several random terms can have
        more than one optimum, which mostly differ in the variances that are zero; so each
        search begins with other variances at zero.
    """
    if not products.terms:
        return RemlFit(evaluate(products, np.zeros(0)), True)
    lowest = np.zeros(len(products.terms)) if least is None else least
    fits = [_descend(products, start, lowest) for start in _promising(products)]
    ended = [fit for fit in fits if fit.converged]
    return min(ended or fits, key=lambda fit: fit.state.criterion)


def _per_group(products: CrossProducts) -> Floats:
    """Mean number of records in a group of each term: the scale on which ratios act."""
    squares = products.member.T @ (products.groups**2).sum(axis=0)
    return np.asarray(squares / np.array(products.sizes, dtype=float))


def _promising(products: CrossProducts) -> list[RemlState]:
    """Return the best start for each set of variances at zero; of these the best few."""
    states = sorted(
        (evaluate(products, start) for start in _starts(products)), key=lambda s: s.criterion
    )
    best: dict[tuple[bool, ...], RemlState] = {}
    for state in states:
        best.setdefault(tuple(state.ratios > 0), state)
    return list(best.values())[:_SEARCHES]


def _starts(products: CrossProducts) -> list[Floats]:
    """Each variance at zero, at the scatter of a group mean, at the residual and far above."""
    small = 1.0 / _per_group(products)
    if small.size <= _GRID_TERMS:
        axes = [(0.0, size, 1.0, 10.0) for size in small]
        return [np.array(point) for point in product(*axes)]
    singles = np.eye(small.size)
    return [0 * small, small, np.ones_like(small), *singles, *(singles * small)]


def _descend(products: CrossProducts, state: RemlState, least: Floats) -> RemlFit:
    per_group = _per_group(products)
    for _ in range(MAX_STEPS):
        if state.residual < NO_SCATTER:
            break
        step, decrement = _direction(state, per_group, least)
        if decrement <= _DECREMENT:
            return RemlFit(_polish(products, state, step, decrement, least), True)
        further = _search(products, state, step, decrement, per_group, least)
        if further is None:
            break
        state = further
    return RemlFit(state, False)


def _direction(state: RemlState, per_group: Floats, least: Floats) -> tuple[Floats, float]:
    """Newton's step on the ratios free to move, and the drop it promises, doubled."""
    above = state.ratios - least
    step = -above * (above * per_group <= _NEAR_ZERO)
    free = (above * per_group > _NEAR_ZERO) | (state.gradient < 0)
    while free.any():
        newton = -np.linalg.solve(_positive(state, free), state.gradient[free])
        outward = (newton < 0) & (above[free] == 0)
        if not outward.any():
            step[free] = newton
            return step, float(-state.gradient[free] @ newton)
        free[np.flatnonzero(free)[outward]] = False
    return step, 0.0


def _positive(state: RemlState, free: np.ndarray) -> Floats:
    """Return a positive definite curvature: observed if it is, else expected."""
    chosen = np.ix_(free, free)
    for candidate in (state.curvature[chosen], state.expected[chosen]):
        size = np.sqrt(np.abs(np.diag(candidate)))
        if (size > 0).all() and np.linalg.eigvalsh(candidate / np.outer(size, size))[0] > 1e-8:
            return np.asarray(candidate)
    return np.diag(np.abs(np.diag(state.expected[chosen])) + np.finfo(float).tiny)


def _search(
    products: CrossProducts,
    state: RemlState,
    step: Floats,
    decrement: float,
    per_group: Floats,
    least: Floats,
) -> RemlState | None:
    """Shorten the step until the criterion falls, or return None."""
    room = _GROWTH * np.maximum(state.ratios, 1.0 / per_group)
    share = min(1.0, float((room / np.maximum(step, room)).min()))
    rounding = 1e-14 * (products.records + abs(state.criterion))
    for _ in range(_HALVINGS):
        ratios = np.clip(state.ratios + share * step, least, _FURTHEST / per_group)
        further = _possible(products, ratios)
        enough = state.criterion - 1e-4 * share * decrement + rounding
        if further is not None and further.criterion <= enough:
            return further
        share /= 2
    return None


def _possible(products: CrossProducts, ratios: Floats) -> RemlState | None:
    """Evaluate where H is positive; several ratios below zero may be too much together."""
    try:
        return evaluate(products, ratios)
    except np.linalg.LinAlgError:
        if (ratios >= 0).all():
            raise
        return None


def _polish(
    products: CrossProducts, state: RemlState, step: Floats, decrement: float, least: Floats
) -> RemlState:
    """Take the last, full step, unless nothing is left to gain."""
    if decrement == 0.0 and not step.any():
        return state
    return evaluate(products, np.maximum(state.ratios + step, least))
