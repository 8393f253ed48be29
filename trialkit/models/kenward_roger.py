"""Small-sample inference on fixed effects: Kenward-Roger.

Sources: Kenward and Roger 1997, Biometrics 53:983-997; the form of the computations
follows Halekoh and Højsgaard 2014, J. Stat. Software 59(9), doi 10.18637/jss.v059.i09.
A variance estimated at zero keeps its place in the information, as there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.models.crossproducts import CrossProducts
from trialkit.models.information import Information, invert, matched_degrees
from trialkit.models.records import Floats
from trialkit.models.reml import RemlState, forward

#: Below this, a factor of the scaling is zero but for rounding.
_ROUNDING = 1e-10
#: Denominator degrees of freedom this near to two leave the scale at one.
_NEAR_TWO = 1e-2


@dataclass(frozen=True, slots=True)
class KenwardRoger:
    """Adjusted covariance, and degrees of freedom by matching moments.

    Parameters
    ----------
    covariance
        Adjusted covariance of the coefficients over the residual variance, shape (p, p).
    plain
        The same, not adjusted.
    moves
        Change of `plain` with each variance, shape (variances, p, p).
    weights
        Covariance of the variance estimates, shape (variances, variances).
    """

    covariance: Floats
    plain: Floats
    moves: Floats
    weights: Floats

    def degrees(self, contrasts: Floats) -> Floats:
        """Return the degrees of freedom of each contrast by itself.

        Parameters
        ----------
        contrasts
            Shape (contrasts, p).

        Returns
        -------
        ndarray
            Shape (contrasts,); infinite where no variance matters.
        """
        return matched_degrees(contrasts, self.plain, self.moves, self.weights)

    def joint(self, contrasts: Floats, estimates: Floats) -> tuple[float, float]:
        """Return the scaled F statistic and its denominator degrees of freedom.

        Parameters
        ----------
        contrasts
            Linearly independent rows, shape (q, p).
        estimates
            Their estimates over the residual standard deviation, shape (q,).

        Returns
        -------
        float, float
            Where the moments cannot be matched, as in the very smallest trials, the statistic
            is not scaled and the smallest of the contrasts' own degrees of freedom is taken.
        """
        rank = contrasts.shape[0]
        adjusted = contrasts @ self.covariance @ contrasts.T
        wald = float(estimates @ np.linalg.solve(adjusted, estimates)) / rank
        alone = float(self.degrees(contrasts).min())
        if rank == 1:
            return wald, alone
        plain = contrasts @ self.plain @ contrasts.T
        moved = np.linalg.solve(plain, contrasts @ self.moves @ contrasts.T)
        traces = np.einsum("vii->v", moved)
        first = float(traces @ self.weights @ traces)
        second = float(np.einsum("vw,vij,wji->", self.weights, moved, moved))
        scale, degrees = _scaling(first, second, rank)
        if not (np.isfinite(degrees) and degrees > 0 and scale > 0):
            return wald, alone
        return scale * wald, degrees


def _scaling(first: float, second: float, rank: int) -> tuple[float, float]:
    """Scale and denominator degrees of freedom of Kenward and Roger's F.

    `first` and `second` are their A1 and A2; the names below are theirs too. Divisions by
    zero are meant: an infinite rho gives four degrees of freedom.
    """
    a1, a2 = np.float64(first), np.float64(second)
    with np.errstate(divide="ignore", invalid="ignore"):
        b = (a1 + 6 * a2) / (2 * rank)
        g = ((rank + 1) * a1 - (rank + 4) * a2) / ((rank + 2) * a2)
        bottom = 3 * rank + 2 * (1 - g)
        c1, c2, c3 = g / bottom, (rank - g) / bottom, (rank + 2 - g) / bottom
        v0, v1, v2 = 1 + c1 * b, 1 - c2 * b, 1 - c3 * b
        v0 = v0 * (abs(v0) >= _ROUNDING)
        short = 1 - a2 / rank
        ratio = 1.0 if abs(short) < _ROUNDING and abs(v1) < _ROUNDING else short / v1
        rho = ratio**2 * v0 / v2 / rank
        degrees = 4 + (rank + 2) / (rank * rho - 1)
        scale = 1.0 if abs(degrees - 2) < _NEAR_TWO else degrees * short / (degrees - 2)
    return float(scale), float(degrees)


def by_kenward_roger(products: CrossProducts, state: RemlState, known: Information) -> KenwardRoger:
    """Adjust the covariance of the fixed effects for not knowing the variances.

    Parameters
    ----------
    products
        Cross-products of the scaled problem.
    state
        Where REML ended.
    known
        The information there.

    Returns
    -------
    KenwardRoger
    """
    weights = 2 * invert(known.expected)
    plain = known.covariance
    spread = _weighted_curvature(products, state, weights)
    for row, weight in enumerate(weights):
        pooled = np.tensordot(weight, known.slopes, axes=1)
        spread -= known.slopes[row] @ plain @ pooled
    adjusted = plain + 2 * plain @ spread @ plain
    return KenwardRoger((adjusted + adjusted.T) / 2, plain, known.moves, weights)


def _weighted_curvature(products: CrossProducts, state: RemlState, weights: Floats) -> Floats:
    """Sum of w_ij X'H^-1 G_i H^-1 G_j H^-1 X over all pairs of variances."""
    member, within = products.member, products.within[:-1, :-1]
    pairs = member @ weights[:-1, :-1] @ member.T
    twice = forward(state.lower, state.half, transposed=True)
    thrice = forward(state.lower, twice)
    zhhx = forward(state.lower, products.groups).T @ thrice
    edge = member @ weights[:-1, -1]
    mixed = state.zhx.T @ (edge[:, None] * zhhx)
    inner = state.zhx.T @ (pairs * state.zhz) @ state.zhx
    xhhhx = within + thrice.T @ thrice
    return np.asarray(inner + mixed + mixed.T + weights[-1, -1] * xhhhx)
