"""The chance of a count, and how it changes: Poisson and negative binomial in one formula.

With mean mu = exp(eta) and phi = 1 / theta the variance is mu + phi mu^2. Since counts are
whole, the gamma functions of the negative binomial are a plain product,

    log p(y) = sum_{j<y} log(1 + j phi) + y eta - (y + 1/phi) log(1 + phi mu) - log y!,

which is Poisson's at phi = 0 and loses no digits near it (Lawless 1987, Canadian Journal of
Statistics 15:209-225).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from trialkit.models.records import Codes, Floats

#: Below this, functions of phi mu are written as a series.
_SMALL = 1e-3
#: Coefficients of that of `_curved_share`.
_CURVED = [(-1.0) ** k * (k + 1.0) / (k + 2.0) for k in range(7)]
#: Rounding of a log chance, as a share of the largest terms it is the difference of.
_ROUNDING = 2e-15


@dataclass(frozen=True, slots=True)
class CountDerivatives:
    """Derivatives of log p by eta and phi, one value a record, shape (n,).

    Parameters
    ----------
    score
        First derivative by eta.
    weight
        Minus the second derivative by eta; always above zero.
    weight_slope
        Derivative of `weight` by eta.
    by_phi, score_by_phi, weight_by_phi
        Derivatives of log p, `score` and `weight` by phi.
    """

    score: Floats
    weight: Floats
    weight_slope: Floats
    by_phi: Floats
    score_by_phi: Floats
    weight_by_phi: Floats


@dataclass(frozen=True, slots=True)
class CountDensity:
    """The chance of counts at one dispersion, ready for any means.

    Parameters
    ----------
    counts
        Whole numbers, none negative, shape (n,).
    phi
        1 / theta; zero for Poisson.
    raised, rungs
        For each count the sum over j < y of log(1 + j phi), and its derivative by phi.
    constant
        Sum of log y!.
    rounding
        How far the log chance may be off for want of digits; it grows with the counts.
    """

    counts: Codes
    phi: float
    raised: Floats
    rungs: Floats
    constant: float
    rounding: float

    def log(self, eta: Floats) -> float:
        """Return the log chance of all counts together, eta the logarithms of their means."""
        spread = self.phi * np.exp(eta)
        terms = self.raised + self.counts * (eta - np.log1p(spread))
        return float((terms - np.exp(eta) * _log1p_share(spread)).sum() - self.constant)

    def score_and_weight(self, eta: Floats) -> tuple[Floats, Floats]:
        """Return the first derivative by eta, and minus the second."""
        means = np.exp(eta)
        wide = 1.0 + self.phi * means
        return (self.counts - means) / wide, means * (1.0 + self.phi * self.counts) / wide**2

    def derivatives(self, eta: Floats) -> CountDerivatives:
        """Return the derivatives of each count's log chance."""
        means, counts, phi = np.exp(eta), self.counts, self.phi
        wide = 1.0 + phi * means
        score, weight = self.score_and_weight(eta)
        return CountDerivatives(
            score=score,
            weight=weight,
            weight_slope=weight * (1.0 - phi * means) / wide,
            by_phi=self.rungs + means**2 * _curved_share(phi * means) - counts * means / wide,
            score_by_phi=-score * means / wide,
            weight_by_phi=weight * (counts / (1.0 + phi * counts) - 2.0 * means / wide),
        )


def count_density(counts: Codes, phi: float) -> CountDensity:
    """Prepare the chance of counts at one dispersion.

    Parameters
    ----------
    counts, phi
        As in `CountDensity`.

    Returns
    -------
    CountDensity
    """
    steps = np.arange(int(counts.max(initial=0)))
    raised = np.concatenate([[0.0], np.cumsum(np.log1p(phi * steps))])[counts]
    rungs = np.concatenate([[0.0], np.cumsum(steps / (1.0 + phi * steps))])[counts]
    constant = float(gammaln(counts + 1.0).sum())
    rounding = _ROUNDING * float(1.0 + counts @ (1.0 + np.log1p(counts)))
    return CountDensity(counts, phi, raised, rungs, constant, rounding)


def _log1p_share(m: Floats) -> Floats:
    """Return log(1 + m) / m, which is 1 at zero."""
    safe = np.where(m > 0, m, 1.0)
    return np.where(m > 0, np.log1p(safe) / safe, 1.0)


def _curved_share(m: Floats) -> Floats:
    """Return (log(1 + m) - m / (1 + m)) / m^2, which is 1/2 at zero."""
    small = m < _SMALL
    safe = np.where(small, 1.0, m)
    series = np.polynomial.polynomial.polyval(m * small, _CURVED)
    return np.where(small, series, (np.log1p(safe) - safe / (1.0 + safe)) / safe**2)
