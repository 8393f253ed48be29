"""What a fitted mixed model can be asked: tests, means and differences."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from trialkit.errors import ModelError
from trialkit.models.contrasts import (
    comparisons,
    marginal_means,
    require_estimable,
    term_contrasts,
)
from trialkit.models.crossproducts import FixedPart
from trialkit.models.estimates import Estimator, estimate_table
from trialkit.models.model_frame import Design
from trialkit.models.records import Floats
from trialkit.shown import as_line, as_table


@dataclass(frozen=True, slots=True)
class FTest:
    """An F test of one or several contrasts.

    Parameters
    ----------
    statistic
        F, scaled where Kenward-Roger asks for it.
    df_num, df_den
        Degrees of freedom of numerator and denominator.
    p
        Chance of a larger F where all the contrasts are zero.
    """

    statistic: float
    df_num: int
    df_den: float
    p: float


@dataclass(frozen=True, slots=True, eq=False)
class MixedFit:
    """A fitted linear mixed model.

    Parameters
    ----------
    formula
        The formula as given.
    coefficients
        One row a coefficient, columns `estimate std_error df t p low high`; estimates and
        their intervals in the unit of the response. The flat part of a surface stands last.
    variances
        Variance of each random term and `residual`, in the unit of the response squared. With
        correlation along the pass also `along`, the variance of the correlated part (`residual`
        is then the nugget), and `range_m`, its range in the unit of the distance: NaN where
        `along` is zero. With a surface also `surface_x`, `surface_y` and `surface_xy`, each what
        its part adds to the variance of the average record. A slope has the unit of the response
        over that of its number, squared.
    reml_criterion
        -2 x restricted log-likelihood, all constants included.
    df_method
        `"kenward-roger"`, `"satterthwaite"`, `"satterthwaite, contained"` where the groups hold
        it down or, without random terms, `"residual"`.
    confidence
        Level of all intervals.
    records
        Number of records used.
    converged
        Whether the search for the variances ended at an optimum. If not, believe nothing.
    at_boundary
        Variances estimated at zero, by name.
    notes
        Sentences on records left out, columns dropped and variances at zero.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    formula: str
    coefficients: pd.DataFrame
    variances: pd.Series
    reml_criterion: float
    df_method: str
    confidence: float
    records: int
    converged: bool
    at_boundary: tuple[str, ...]
    notes: tuple[str, ...]
    _estimator: Estimator = field(repr=False)

    def test(self, term_or_matrix: str | ArrayLike) -> FTest:
        """Test a term, or contrasts of your own.

        Parameters
        ----------
        term_or_matrix
            A term of the formula, by itself (`"C(nitro)"`) or by its columns (`"nitro"`,
            `"variety:nitro"`); or a matrix with one row a contrast and one column a
            coefficient, in the order of `coefficients`.

        Returns
        -------
        FTest

        Raises
        ------
        ModelError
            If the formula has no such term, or the matrix does not fit.

        Notes
        -----
        A term that no other term contains is tested by its own coefficients. A term inside an
        interaction is tested by its effect averaged over the other labels with equal weight
        and at the mean of other numbers (the marginal hypothesis, as with sum-to-zero coding).
        """
        estimator = self._estimator
        turned = independent_contrasts(
            estimator.design, estimator.part, len(self.coefficients), term_or_matrix
        )
        scaled = turned @ estimator.coordinates / estimator.sigma
        statistic, degrees = estimator.method.joint(turned, scaled)
        return FTest(
            statistic, turned.shape[0], degrees, f_tail(statistic, turned.shape[0], degrees)
        )

    def means(self, factor: str) -> pd.DataFrame:
        """Return the mean of each level of a factor.

        Parameters
        ----------
        factor
            A column of the formula that acts as labels, such as `"treatment"`.

        Returns
        -------
        DataFrame
            Index the levels; columns `estimate std_error df low high`, in the unit of the
            response. Averaged over the levels of the other labels with equal weight, at the
            mean of columns that act as numbers.

        Raises
        ------
        ModelError
            If the column is not in the formula, or a mean cannot be estimated.
        """
        levels, rows = marginal_means(self._estimator.design, factor)
        words = [f"the mean of '{level}'" for level in levels]
        kept = require_estimable(rows, self._estimator.part, words)
        table = estimate_table(*self._estimator.judge(kept), self.confidence)
        table.index = pd.Index(levels, name=factor)
        return table[["estimate", "std_error", "df", "low", "high"]]

    def differences(
        self, factor: str, against: object | None = None, simultaneous: bool = False
    ) -> pd.DataFrame:
        """Return differences between the means of a factor's levels.

        Parameters
        ----------
        factor
            A column of the formula that acts as labels.
        against
            Level to subtract, such as `"untreated"`; None for all pairs, the later level
            subtracted from the earlier.
        simultaneous
            Whether p-values and intervals hold for all the differences together (single-step,
            multivariate t, each difference with its own df).

        Returns
        -------
        DataFrame
            Columns `estimate std_error df t p low high`. Index: the level compared, or for
            all pairs the two levels.

        Raises
        ------
        ModelError
            If the factor or the level is unknown, or a difference cannot be estimated.
        """
        estimator = self._estimator
        kept, index = comparisons(estimator.design, estimator.part, factor, against, "less")
        table = estimate_table(*estimator.judge(kept), self.confidence, simultaneous=simultaneous)
        table.index = index
        return table


def independent_contrasts(
    design: Design, part: FixedPart, count: int, term_or_matrix: str | ArrayLike
) -> Floats:
    """Return orthonormal contrasts of the orthonormal columns that say what is to be tested.

    Parameters
    ----------
    design, part
        The fixed part, and which of its columns were kept.
    count
        Number of coefficients.
    term_or_matrix
        As in `MixedFit.test`.

    Returns
    -------
    ndarray
        Shape (contrasts, p).

    Raises
    ------
    ModelError
        If the formula has no such term, or the matrix does not fit.
    """
    if isinstance(term_or_matrix, str):
        turned = term_contrasts(design, part, term_or_matrix)
    else:
        turned = part.rotate(_contrast_matrix(term_or_matrix, count))
    turned = _independent(turned)
    if turned.shape[0] == 0:
        raise ModelError(
            f"Nothing of {term_or_matrix!r} can be estimated from these records. Some "
            "combinations of labels have no record; leave the interaction out."
        )
    return turned


def f_tail(statistic: float, df_num: int, df_den: float) -> float:
    """Return the chance of a larger F."""
    return float(fdtrc(df_num, min(df_den, 1e12), statistic))


def _contrast_matrix(matrix: ArrayLike, count: int) -> Floats:
    rows = np.atleast_2d(np.asarray(matrix, dtype=float))
    if rows.ndim != 2 or rows.shape[1] != count:
        raise ModelError(
            f"The matrix of contrasts has {rows.shape[-1]} columns, but the model has {count} "
            "coefficients. Give one column for each, in the order of .coefficients."
        )
    return rows


def _independent(rows: Floats) -> Floats:
    """Return orthonormal rows that span the same contrasts."""
    _, sizes, right = np.linalg.svd(rows, full_matrices=False)
    rank = int((sizes > 1e-8 * max(float(sizes.max(initial=0.0)), np.finfo(float).tiny)).sum())
    return np.asarray(right[:rank])
