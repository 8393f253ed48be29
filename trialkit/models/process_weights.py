"""Weights of records correlated along a pass: an Ornstein-Uhlenbeck process with a nugget.

Over the nugget's variance, records in the order of their pass have the variance

    R = I + ratio K,   K_ij = exp(-|d_i - d_j| / range) inside a pass, 0 between passes.

With phi_i = exp(-gap_i / range), zero at the start of a pass, let A take each record less phi
times the one before it. The differences are independent: A K A' = D, D_i = 1 - phi_i^2. So

    R^-1 = A' T^-1 A,   T = A A' + ratio D,   |R| = |T|,

and T is tridiagonal with pivots of at least one: no step loses digits, whether the ratio is
zero or large, the range long or short. Records at one place (gap 0, D_i = 0) need no care:
the process has one value there, each record its own nugget. Work is linear in the records,
and so are the first and second derivatives by log(ratio) and log(range), which come from
differentiating the same recursions.

Source of the process: Uhlenbeck and Ornstein 1930, Physical Review 36:823-841; as errors of a
linear model, Jones 1993, Longitudinal Data with Serial Correlation, ch. 3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from trialkit.models.records import Floats


@dataclass(frozen=True, slots=True)
class Moments:
    """Products through R^-1 and log|R|, with their derivatives by log(ratio) and log(range).

    Parameters
    ----------
    matrix
        V'R^-1 V for the columns V, shape (m, m).
    log_determinant
        log|R|.
    first
        Derivatives of `matrix`, shape (2, m, m).
    second
        Second derivatives by (ratio, ratio), (ratio, range), (range, range), shape (3, m, m).
    log_first, log_second
        The same of `log_determinant`, shapes (2,) and (3,).
    """

    matrix: Floats
    log_determinant: float
    first: Floats
    second: Floats
    log_first: Floats
    log_second: Floats


def weigh(columns: Floats, gaps: Floats, ratio: float, reach: float, *, bends: bool) -> Moments:
    """Return products of columns through R^-1.

    Parameters
    ----------
    columns
        V, records in the order of their passes, shape (n, m).
    gaps
        Distance to the record before in the same pass, infinite for the first, shape (n,).
    ratio
        Variance of the process over that of the nugget.
    reach
        Range, in the unit of the gaps.
    bends
        Whether derivatives are wanted; else they are left at zero.

    Returns
    -------
    Moments
    """
    step = _Step.of(gaps, ratio, reach)
    pivots, below, _ = lapack.dpttrf(step.diagonal, -step.phi[1:])
    unit = _banded(below)
    lagged = np.zeros_like(columns)
    lagged[1:] = columns[:-1]
    half = _solve(unit, columns - step.phi[:, None] * lagged)
    scaled = half / pivots[:, None]
    matrix = half.T @ scaled
    log_determinant = float(np.log(pivots).sum())
    m = columns.shape[1]
    if not bends:
        empty = np.zeros((3, m, m))
        return Moments(matrix, log_determinant, empty[:2], empty, np.zeros(2), np.zeros(3))
    first, second = _product_bends(step, unit, pivots, lagged, _solve(unit, scaled, back=True))
    return Moments(matrix, log_determinant, first, second, *_log_bends(step, pivots))


@dataclass(frozen=True, slots=True)
class _Step:
    """phi with its derivatives by log(range), and the diagonal of T with its derivatives.

    The derivatives of the diagonal are by (ratio), (range), (ratio, ratio), (ratio, range) and
    (range, range); what lies beside the diagonal is -phi.
    """

    phi: Floats
    phi_first: Floats
    phi_second: Floats
    diagonal: Floats
    bends: tuple[Floats, Floats, Floats, Floats, Floats]

    @classmethod
    def of(cls, gaps: Floats, ratio: float, reach: float) -> _Step:
        share = np.where(np.isfinite(gaps), gaps / reach, 0.0)
        phi = np.where(np.isfinite(gaps), np.exp(-share), 0.0)
        fresh = np.where(np.isfinite(gaps), -np.expm1(-2 * share), 1.0)
        first = share * phi
        second = (share - 1) * first
        moved = 2 * phi * first
        both = 2 * (first**2 + phi * second)
        bends = (
            ratio * fresh, (1 - ratio) * moved,
            ratio * fresh, -ratio * moved, (1 - ratio) * both,
        )  # fmt: skip
        return cls(phi, first, second, 1 + phi**2 + ratio * fresh, bends)


def _banded(below: Floats) -> Floats:
    """Lay out a unit lower bidiagonal matrix for LAPACK."""
    return np.asfortranarray(np.stack([np.ones(below.size + 1), np.append(below, 0.0)]))


def _solve(unit: Floats, sides: Floats, *, back: bool = False) -> Floats:
    """Return L^-1 times the sides, or L'^-1."""
    solved, _ = lapack.dtbtrs(
        unit, np.asfortranarray(sides), uplo="L", trans="T" if back else "N", diag="U"
    )
    return np.asarray(solved)


def _product_bends(
    step: _Step, unit: Floats, pivots: Floats, lagged: Floats, u: Floats
) -> tuple[Floats, Floats]:
    """Differentiate V'A'T^-1 A V, where u = T^-1 A V.

    With A_i and T_i the derivatives: first (A_i V)'u + u'(A_i V) - u'T_i u; second the same
    with A_ij and T_ij, and G_i'T^-1 G_j twice, G_i = A_i V - T_i u.
    """
    above, beneath = np.zeros_like(u), np.zeros_like(u)
    above[1:], beneath[:-1] = u[:-1], u[1:]

    def turned(diagonal: Floats, beside: Floats) -> Floats:
        """Multiply u by a tridiagonal matrix with -beside next to the diagonal."""
        after = np.append(beside[1:], 0.0)
        return diagonal[:, None] * u - beside[:, None] * above - after[:, None] * beneath

    none = np.zeros_like(step.phi)
    by_ratio, by_range, ratio_ratio, ratio_range, range_range = step.bends
    t_ratio, t_range = turned(by_ratio, none), turned(by_range, step.phi_first)
    a_range = -step.phi_first[:, None] * lagged
    first = np.stack([-u.T @ t_ratio, _twice(a_range, u) - u.T @ t_range])
    pull_ratio = _solve(unit, -t_ratio)
    pull_range = _solve(unit, a_range - t_range)
    weighted = pull_range / pivots[:, None]
    second = np.stack(
        [
            _twice(pull_ratio, pull_ratio / pivots[:, None]) - u.T @ (ratio_ratio[:, None] * u),
            _twice(pull_ratio, weighted) - u.T @ (ratio_range[:, None] * u),
            _twice(pull_range, weighted)
            - _twice(step.phi_second[:, None] * lagged, u)
            - u.T @ turned(range_range, step.phi_second),
        ]
    )
    return first, second


def _twice(first: Floats, second: Floats) -> Floats:
    product = first.T @ second
    return product + product.T


def _log_bends(step: _Step, pivots: Floats) -> tuple[Floats, Floats]:
    """Differentiate the pivots d_i = T_ii - phi_i^2 / d_(i-1), and log|T| with them."""
    phi, before = step.phi, np.append(1.0, pivots[:-1])
    by_ratio, by_range, ratio_ratio, ratio_range, range_range = step.bends
    unit = _banded(-((phi / before) ** 2)[1:])
    square, bent = 2 * phi * step.phi_first, 2 * (step.phi_first**2 + phi * step.phi_second)

    def recur(*sides: Floats) -> Floats:
        return _solve(unit, np.column_stack(sides))

    first = recur(by_ratio, by_range - square / before)
    lag = np.vstack([np.zeros((1, 2)), first[:-1]])
    curved = 2 * phi**2 / before**3
    second = recur(
        ratio_ratio - curved * lag[:, 0] ** 2,
        ratio_range - curved * lag[:, 0] * lag[:, 1] + square / before**2 * lag[:, 0],
        range_range - bent / before + 2 * square / before**2 * lag[:, 1] - curved * lag[:, 1] ** 2,
    )
    share = first / pivots[:, None]
    pairs = np.column_stack([share[:, 0] ** 2, share[:, 0] * share[:, 1], share[:, 1] ** 2])
    return share.sum(axis=0), (second / pivots[:, None] - pairs).sum(axis=0)
