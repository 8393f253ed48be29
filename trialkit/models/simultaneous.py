"""Several comparisons at once: the largest of correlated t statistics.

Write the statistics as A w / s, with w standard normal in r dimensions and s the residual
scale. Given the direction u of w, the largest of them has the radius of w over s as its only
random part, and that squared over r is F(r, df). So

    P(max |t| > c) = mean over directions u of P(F(r, df) > c^2 / (r max|A u|^2)),

exact for one dimension, a plain integral over an angle for two, and a smooth mean over
quasi-random directions for more. Contrasts that hang on each other do no harm. The
single-step intervals are those of Hothorn, Bretz and Westfall 2008, Biometrical Journal
50:346-363.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtrc, fdtrc

from trialkit.models.records import Floats

#: Directions drawn, as a power of two: critical values to about four digits.
_DIRECTIONS = 13
#: Beyond this many degrees of freedom t is normal.
_NORMAL = 1e8


def largest_projections(correlation: Floats) -> tuple[Floats, int]:
    """Return max|A u| for each direction u, and the number of dimensions.

    Parameters
    ----------
    correlation
        Correlation of the statistics, shape (contrasts, contrasts); may be singular.

    Returns
    -------
    ndarray, int
    """
    values, vectors = np.linalg.eigh(correlation)
    used = values > 1e-10 * values[-1]
    root = vectors[:, used] * np.sqrt(values[used])
    rank = root.shape[1]
    return np.abs(_directions(rank) @ root.T).max(axis=1), rank


@lru_cache(maxsize=8)
def _directions(rank: int) -> Floats:
    count = 2**_DIRECTIONS
    if rank == 1:
        return np.ones((1, 1))
    if rank == 2:  # half a turn will do: u and -u give the same
        angle = np.pi * (np.arange(count) + 0.5) / count
        return np.column_stack([np.cos(angle), np.sin(angle)])
    from scipy.special import ndtri
    from scipy.stats import qmc  # heavy, and seldom needed

    points = qmc.Sobol(rank, scramble=True, rng=np.random.default_rng(0)).random_base2(_DIRECTIONS)
    normal = ndtri(np.clip(points, 1e-15, 1 - 1e-15))
    return np.asarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))


def exceedance(statistic: float, degrees: float, projections: Floats, rank: int) -> float:
    """Return the chance that the largest |t| passes a value when there is no difference.

    Parameters
    ----------
    statistic
        The value.
    degrees
        Degrees of freedom.
    projections, rank
        From `largest_projections`.

    Returns
    -------
    float
    """
    squared = (statistic / projections) ** 2
    if degrees > _NORMAL:
        return float(chdtrc(rank, squared).mean())
    return float(fdtrc(rank, degrees, squared / rank).mean())


def critical_value(level: float, degrees: float, projections: Floats, rank: int) -> float:
    """Return the value that the largest |t| passes with a given chance.

    Parameters
    ----------
    level
        The chance, such as 0.05.
    degrees
        Degrees of freedom.
    projections, rank
        From `largest_projections`.

    Returns
    -------
    float
    """
    high = 2.0
    while exceedance(high, degrees, projections, rank) > level:
        high *= 2
    found = brentq(
        lambda value: exceedance(value, degrees, projections, rank) - level, 0.0, high, xtol=1e-10
    )
    return float(found)
