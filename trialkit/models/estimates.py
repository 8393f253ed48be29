"""From contrasts to tables: estimates, standard errors, degrees of freedom, intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from trialkit.errors import ModelError
from trialkit.models.crossproducts import FixedPart
from trialkit.models.model_frame import Design
from trialkit.models.records import Floats
from trialkit.models.simultaneous import critical_value, exceedance, largest_projections


class SmallSample(Protocol):
    """A way to judge contrasts of the coefficients, on the orthonormal scale."""

    @property
    def covariance(self) -> Floats:
        """Covariance of the coefficients over the residual variance, shape (p, p)."""

    def degrees(self, contrasts: Floats) -> Floats:
        """Return the degrees of freedom of each contrast, shape (contrasts,)."""

    def joint(self, contrasts: Floats, estimates: Floats) -> tuple[float, float]:
        """Return the F statistic and its denominator degrees of freedom."""


@dataclass(frozen=True, slots=True)
class Estimator:
    """The fitted coefficients, ready for any contrast.

    Parameters
    ----------
    design, part
        The fixed part, and which of its columns were kept.
    method
        How contrasts are judged.
    coordinates
        Coefficients of the orthonormal columns, shape (p,), in the unit of the response.
    sigma
        Residual standard deviation, in the unit of the response.
    """

    design: Design
    part: FixedPart
    method: SmallSample
    coordinates: Floats
    sigma: float

    def judge(self, rows: Floats) -> tuple[Floats, Floats, Floats]:
        """Return estimates of contrasts and their covariance (c, c) and df (c,)."""
        turned = self.part.rotate(rows)
        covariance = self.sigma**2 * turned @ self.method.covariance @ turned.T
        return turned @ self.coordinates, covariance, self.method.degrees(turned)


def check_confidence(confidence: float) -> None:
    """Refuse a level of confidence outside 0 to 1.

    Raises
    ------
    ModelError
        With an example.
    """
    if not 0 < confidence < 1:
        raise ModelError(
            f"confidence={confidence} is no level. Give a share between 0 and 1, such as 0.95."
        )


def estimate_table(
    estimates: Floats,
    covariance: Floats,
    degrees: Floats,
    confidence: float,
    *,
    simultaneous: bool = False,
) -> pd.DataFrame:
    """Lay out contrasts as a table.

    Parameters
    ----------
    estimates, covariance, degrees
        Of the contrasts, shapes (c,), (c, c) and (c,).
    confidence
        Level of the intervals.
    simultaneous
        Whether p-values and intervals hold for all the rows together.

    Returns
    -------
    DataFrame
        Columns `estimate std_error df t p low high`.
    """
    errors = np.sqrt(np.diag(covariance))
    statistics = estimates / errors
    if simultaneous:
        correlation = covariance / np.outer(errors, errors)
        tails, critical = _together(statistics, degrees, correlation, 1 - confidence)
    else:
        tails = 2 * stdtr(degrees, -np.abs(statistics))
        critical = np.asarray(stdtrit(degrees, (1 + confidence) / 2), dtype=np.float64)
    return pd.DataFrame(
        {
            "estimate": estimates,
            "std_error": errors,
            "df": degrees,
            "t": statistics,
            "p": tails,
            "low": estimates - critical * errors,
            "high": estimates + critical * errors,
        }
    )


def _together(
    statistics: Floats, degrees: Floats, correlation: Floats, level: float
) -> tuple[Floats, Floats]:
    projections, rank = largest_projections(correlation)
    tails = [
        exceedance(abs(t), d, projections, rank) for t, d in zip(statistics, degrees, strict=True)
    ]
    known: dict[float, float] = {}
    for value in degrees:
        if value not in known:
            known[value] = critical_value(level, value, projections, rank)
    return np.array(tails), np.array([known[value] for value in degrees])
