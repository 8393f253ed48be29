"""What the data know of the variances, and how the fixed part hangs on them.

Both Kenward-Roger and Satterthwaite start here. Everything is on the scale of H, the
variance of the response over the residual variance, where V = s2 H; the powers of s2
cancel in every degree of freedom, and every covariance is s2 times the one here.
The last variance of each array is the residual one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.models.crossproducts import CrossProducts
from trialkit.models.records import Floats
from trialkit.models.reml import RemlState, forward


@dataclass(frozen=True, slots=True)
class Information:
    """Second-order facts of the fit, for `terms` random terms and the residual.

    Parameters
    ----------
    covariance
        (X'H^-1 X)^-1, shape (p, p).
    expected
        tr(P G_i P G_j), twice the expected information, shape (terms + 1, terms + 1).
    observed
        Second derivatives of -2 log restricted likelihood by the variances, same shape.
    slopes
        X'H^-1 G_i H^-1 X, shape (terms + 1, p, p).
    positive
        Which variances are not zero, the residual always.
    """

    covariance: Floats
    expected: Floats
    observed: Floats
    slopes: Floats
    positive: np.ndarray

    @property
    def moves(self) -> Floats:
        """Change of the covariance with each variance, shape (terms + 1, p, p)."""
        return self.covariance @ self.slopes @ self.covariance


def gather_information(products: CrossProducts, state: RemlState) -> Information:
    """Collect the information at the optimum.

    Parameters
    ----------
    products
        Cross-products of the scaled problem.
    state
        Where REML ended.

    Returns
    -------
    Information
    """
    member, ratios = products.member, state.ratios
    expected = _bordered(
        member.T @ state.zpz**2 @ member,
        member.T @ np.diag(state.zpz),
        products.spare,
        ratios,
    )
    outer = np.outer(state.zpy, state.zpy) / state.residual
    fitted = member.T @ np.diag(outer)
    crossed = _bordered(member.T @ (state.zpz * outer) @ member, fitted, products.spare, ratios)
    own = np.stack([_own(state.zhx, member[:, k]) for k in range(ratios.size)] or [state.xhx * 0])
    twice = forward(state.lower, state.half, transposed=True)
    rest = products.within[:-1, :-1] + twice.T @ twice
    slopes = np.concatenate([own[: ratios.size], rest[None]])
    positive = np.append(ratios != 0, True)
    return Information(state.xhx_inverse, expected, 2 * crossed - expected, slopes, positive)


def _own(zhx: Floats, chosen: Floats) -> Floats:
    return zhx.T @ (chosen[:, None] * zhx)


def _bordered(inner: Floats, edge: Floats, corner: float, ratios: Floats) -> Floats:
    """Add the residual variance to a matrix of the random terms' variances.

    P H P = P gives the residual's entries from the others: with `inner` the products of
    P Z_k Z_k' in pairs, `edge` those with P alone and `corner` that of P H alone.
    """
    residual = edge - inner @ ratios
    last = corner - edge @ ratios - residual @ ratios
    return np.block([[inner, residual[:, None]], [residual[None, :], np.array([[last]])]])


def invert(matrix: Floats) -> Floats:
    """Invert a symmetric matrix of variances' information, leaving out what is unknown.

    Directions without information (eigenvalue below 1e-12 after scaling to unit diagonal)
    get no weight.
    """
    size = np.sqrt(np.abs(np.diag(matrix)))
    size[size == 0] = 1.0
    inverse: Floats = np.linalg.pinv(matrix / np.outer(size, size), rcond=1e-12, hermitian=True)
    return np.asarray(inverse / np.outer(size, size))


def matched_degrees(
    contrasts: Floats, covariance: Floats, moves: Floats, weights: Floats
) -> Floats:
    """Return 2 v^2 / var(v) for the variance v of each contrast.

    Parameters
    ----------
    contrasts
        Shape (contrasts, p).
    covariance
        Covariance of the coefficients, shape (p, p).
    moves
        Its change with each variance, shape (variances, p, p).
    weights
        Covariance of the variance estimates, shape (variances, variances).

    Returns
    -------
    ndarray
        Shape (contrasts,); infinite where no variance matters.
    """
    variance = np.einsum("cp,pq,cq->c", contrasts, covariance, contrasts)
    moved = np.einsum("cp,vpq,cq->cv", contrasts, moves, contrasts)
    share = moved / variance[:, None]
    spread = np.einsum("cv,vw,cw->c", share, weights, share)
    degrees = np.full(spread.shape, np.inf)
    known = spread > 0
    degrees[known] = 2.0 / spread[known]
    return degrees
