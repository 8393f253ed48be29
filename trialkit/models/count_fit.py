"""What a fitted model of counts can be asked: means per unit of exposure, and ratios."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from trialkit.models.contrasts import (
    comparisons,
    marginal_means,
    require_estimable,
)
from trialkit.models.count_degrees import CountDegrees
from trialkit.models.crossproducts import FixedPart
from trialkit.models.estimates import estimate_table
from trialkit.models.mixed_fit import FTest, f_tail, independent_contrasts
from trialkit.models.model_frame import Design
from trialkit.models.records import Floats
from trialkit.shown import as_line, as_table


@dataclass(frozen=True, slots=True)
class LogLinear:
    """Coefficients on the log scale, ready for any contrast.

    Parameters
    ----------
    design, part
        The fixed part, and which of its columns were kept.
    coordinates, covariance
        Coefficients of the orthonormal columns and their covariance, shapes (p,) and (p, p).
    degrees
        Degrees of freedom of contrasts.
    """

    design: Design
    part: FixedPart
    coordinates: Floats
    covariance: Floats
    degrees: CountDegrees

    def judge(self, rows: Floats, confidence: float, *, simultaneous: bool = False) -> pd.DataFrame:
        """Return contrasts of the kept columns.

        Columns `estimate std_error df t p low high`, on the log scale.
        """
        turned = self.part.rotate(rows)
        return estimate_table(
            turned @ self.coordinates,
            turned @ self.covariance @ turned.T,
            self.degrees.of(turned),
            confidence,
            simultaneous=simultaneous,
        )

    def test(self, turned: Floats) -> FTest:
        """Return Wald's F test that independent contrasts of the orthonormal columns are zero.

        Its denominator has the fewest degrees of freedom that any of the contrasts has.
        """
        estimates = turned @ self.coordinates
        spread = turned @ self.covariance @ turned.T
        count = len(turned)
        statistic = float(estimates @ np.linalg.solve(spread, estimates)) / count
        degrees = float(self.degrees.of(turned).min())
        return FTest(statistic, count, degrees, f_tail(statistic, count, degrees))


@dataclass(frozen=True, slots=True, eq=False)
class CountFit:
    """A fitted model of counts.

    How far intervals and p-values can be trusted where strips are few: see `fit_counts`.

    Parameters
    ----------
    formula, family, exposure
        As given.
    ratios
        One row a coefficient, columns `estimate std_error df t p low high`: `coefficients` with
        estimate and interval exponentiated, so that a label's row is the ratio of its rate to
        the reference's. `std_error` stays on the log scale, where the interval is built:
        estimate times or over exp(t std_error), t the quantile at `df`.
    coefficients
        The same on the log scale.
    df_method
        `"containment"` or `"normal"`, as in `fit_counts`.
    variances
        Variance of each random term on the log scale, by maximum likelihood.
    variances_for_errors
        The same with the coefficients integrated out, which standard errors are built on; for
        the negative binomial also `dispersion`. With `df="normal"` equal to the others.
    dispersion
        theta of the negative binomial, var = mu + mu^2 / theta; infinite where counts scatter
        no more than Poisson's; None for the Poisson family.
    log_likelihood
        By Laplace's approximation, all constants included; exact without random terms.
    confidence
        Level of all intervals.
    records
        Number of records used.
    converged
        Whether the search ended at a top. If not, believe nothing.
    at_boundary
        Random terms whose variance is estimated at zero, and `"dispersion"` where theta is
        infinite.
    notes
        Sentences on records left out, columns dropped, variances at zero, scatter that the
        model leaves out and groups too few.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    formula: str
    family: str
    exposure: str | None
    ratios: pd.DataFrame
    coefficients: pd.DataFrame
    df_method: str
    variances: pd.Series
    variances_for_errors: pd.Series
    dispersion: float | None
    log_likelihood: float
    confidence: float
    records: int
    converged: bool
    at_boundary: tuple[str, ...]
    notes: tuple[str, ...]
    _fixed: LogLinear = field(repr=False)

    def test(self, term_or_matrix: str | ArrayLike) -> FTest:
        """Test a term, or contrasts of your own, jointly.

        Parameters
        ----------
        term_or_matrix
            A term of the formula, or a matrix with one row a contrast and one column a
            coefficient, on the log scale and in the order of `coefficients`; as in
            `MixedFit.test`.

        Returns
        -------
        FTest
            Wald's F: squared distance of the estimates from zero in standard errors, over the
            number of contrasts. `df_den` is that of the contrast with the fewest degrees of
            freedom; infinite, so that F is a chi-square over `df_num`, with `df="normal"`.

        Raises
        ------
        ModelError
            If the formula has no such term, or the matrix does not fit.
        """
        fixed = self._fixed
        count = len(self.coefficients)
        return fixed.test(independent_contrasts(fixed.design, fixed.part, count, term_or_matrix))

    def means(self, factor: str) -> pd.DataFrame:
        """Return the mean count of each level of a factor, per unit of exposure.

        Parameters
        ----------
        factor
            A column of the formula that acts as labels, such as `"treatment"`.

        Returns
        -------
        DataFrame
            Index the levels; columns `estimate std_error df low high`, all per unit of exposure:
            plants/m2 where the exposure is an area in m2. Without exposure, counts a record.

        Raises
        ------
        ModelError
            If the column is not in the formula, or a mean cannot be estimated.

        Notes
        -----
        What a typical strip or block would show: random effects at zero, not averaged over.
        Field averages are higher by the factor exp(sum of `variances` / 2), named in `notes`
        where it matters; ratios are the same either way. Averaged on the log scale over the
        levels of other labels with equal weight, at the mean of columns that act as numbers.
        `std_error` is the estimate times that of its logarithm; the interval is built on the
        log scale.
        """
        levels, rows = marginal_means(self._fixed.design, factor)
        words = [f"the mean of '{level}'" for level in levels]
        kept = require_estimable(rows, self._fixed.part, words)
        table = exponentiated(self._fixed.judge(kept, self.confidence))
        table["std_error"] *= table["estimate"]
        table.index = pd.Index(levels, name=factor)
        return table[["estimate", "std_error", "df", "low", "high"]]

    def rate_ratios(
        self, factor: str, against: object | None = None, simultaneous: bool = False
    ) -> pd.DataFrame:
        """Return ratios of the rates of a factor's levels.

        Parameters
        ----------
        factor
            A column of the formula that acts as labels.
        against
            Level to divide by, such as `"untreated"`; None for all pairs, the earlier level
            over the later.
        simultaneous
            Whether p-values and intervals hold for all the ratios together (single-step,
            multivariate t).

        Returns
        -------
        DataFrame
            Columns `estimate std_error df t p low high`; `std_error` on the log scale. Index:
            the level compared, or for all pairs the two levels.

        Raises
        ------
        ModelError
            If the factor or the level is unknown, or a ratio cannot be estimated.
        """
        fixed = self._fixed
        kept, index = comparisons(fixed.design, fixed.part, factor, against, "over")
        table = exponentiated(fixed.judge(kept, self.confidence, simultaneous=simultaneous))
        table.index = index
        return table


def exponentiated(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table of log-scale estimates with estimate and interval exponentiated."""
    changed = {name: np.exp(table[name]) for name in ("estimate", "low", "high")}
    return table.assign(**changed)
