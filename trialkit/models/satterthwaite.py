"""Small-sample inference on fixed effects: Satterthwaite, and plain residual degrees.

Sources: Satterthwaite 1946, Biometrics Bulletin 2:110-114; Fai and Cornelius 1996,
J. Stat. Comput. Simul. 54:363-378 for joint tests; the derivatives are exact, so that
nothing hangs on the unit of yield. A variance estimated at zero is taken as known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.models.information import Information, invert, matched_degrees
from trialkit.models.records import Floats

#: Degrees of freedom nearer to each other than this count as equal.
_EQUAL = 1e-8


@dataclass(frozen=True, slots=True)
class Satterthwaite:
    """Covariance as estimated, and degrees of freedom from the spread of its own estimate.

    Parameters
    ----------
    covariance
        Covariance of the coefficients over the residual variance, shape (p, p).
    moves
        Its change with each variance above zero, shape (variances, p, p).
    weights
        Covariance of those variance estimates, shape (variances, variances).
    """

    covariance: Floats
    moves: Floats
    weights: Floats

    def degrees(self, contrasts: Floats) -> Floats:
        """Return the degrees of freedom of each contrast, shape (contrasts,)."""
        return matched_degrees(contrasts, self.covariance, self.moves, self.weights)

    def joint(self, contrasts: Floats, estimates: Floats) -> tuple[float, float]:
        """Return F and its denominator degrees of freedom for independent contrasts."""
        values, vectors = np.linalg.eigh(contrasts @ self.covariance @ contrasts.T)
        squares = (vectors.T @ estimates) ** 2 / values
        return float(squares.mean()), _pool(self.degrees(vectors.T @ contrasts))


def _pool(degrees: Floats) -> float:
    """Degrees of freedom of a mean of squared t statistics, by its expectation."""
    if np.ptp(degrees) < _EQUAL * degrees.max():
        return float(degrees.mean())
    if (degrees <= 2).any():
        return 2.0
    expectation = float((degrees / (degrees - 2)).sum())
    return 2 * expectation / (expectation - degrees.size)


def by_satterthwaite(known: Information) -> Satterthwaite:
    """Take the covariance as estimated and judge its spread by the observed curvature.

    Parameters
    ----------
    known
        The information at the optimum.

    Returns
    -------
    Satterthwaite
    """
    kept = np.ix_(known.positive, known.positive)
    weights = 2 * invert(known.observed[kept])
    return Satterthwaite(known.covariance, known.moves[known.positive], weights)


@dataclass(frozen=True, slots=True)
class ResidualDegrees:
    """Exact inference where no random term is fitted.

    Parameters
    ----------
    covariance
        Covariance of the coefficients over the residual variance, shape (p, p).
    spare
        Records less coefficients.
    """

    covariance: Floats
    spare: int

    def degrees(self, contrasts: Floats) -> Floats:
        """Return the residual degrees of freedom for each contrast."""
        return np.full(contrasts.shape[0], float(self.spare))

    def joint(self, contrasts: Floats, estimates: Floats) -> tuple[float, float]:
        """Return F and its denominator degrees of freedom for independent contrasts."""
        spread = contrasts @ self.covariance @ contrasts.T
        wald = float(estimates @ np.linalg.solve(spread, estimates))
        return wald / contrasts.shape[0], float(self.spare)
