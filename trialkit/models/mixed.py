"""Linear mixed models by REML with honest degrees of freedom."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import fdtrc

from trialkit.errors import ModelError, ModelWarning
from trialkit.models.contrasts import (
    check_terms,
    differences,
    estimable,
    marginal_means,
    term_contrasts,
)
from trialkit.models.crossproducts import (
    CrossProducts,
    FixedPart,
    check_random_terms,
    reduce_data,
)
from trialkit.models.estimates import Estimator, SmallSample, estimate_table
from trialkit.models.information import information
from trialkit.models.kenward_roger import kenward_roger
from trialkit.models.model_frame import ModelFrame, read_model_frame
from trialkit.models.records import Floats
from trialkit.models.reml import NO_SCATTER, RemlFit, RemlState, maximise
from trialkit.models.satterthwaite import ResidualDegrees, satterthwaite

_METHODS = ("kenward-roger", "satterthwaite")


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
        their intervals in the unit of the response.
    variances
        Variance of each random term and `residual`, in the unit of the response squared.
    reml_criterion
        -2 x restricted log-likelihood, all constants included.
    df_method
        `"kenward-roger"`, `"satterthwaite"` or, without random terms, `"residual"`.
    confidence
        Level of all intervals.
    records
        Number of records used.
    converged
        Whether the search for the variances ended where it should. If not, believe nothing.
    at_boundary
        Random terms whose variance is estimated at zero.
    notes
        Sentences on records left out, columns dropped and variances at zero.
    """

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
        if isinstance(term_or_matrix, str):
            turned = term_contrasts(estimator.design, estimator.part, term_or_matrix)
        else:
            rows = _contrast_matrix(term_or_matrix, len(self.coefficients))
            turned = estimator.part.rotate(rows)
        turned = _independent(turned)
        if turned.shape[0] == 0:
            raise ModelError(
                f"Nothing of {term_or_matrix!r} can be estimated from these records. Some "
                "combinations of labels have no record; leave the interaction out."
            )
        scaled = turned @ estimator.coordinates / estimator.sigma
        statistic, degrees = estimator.method.joint(turned, scaled)
        return FTest(
            statistic, turned.shape[0], degrees, _f_tail(statistic, turned.shape[0], degrees)
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
        kept = self._estimable(rows, [f"the mean of '{level}'" for level in levels])
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
        levels, rows = marginal_means(self._estimator.design, factor)
        place = None if against is None else _level_place(levels, against, factor)
        pairs, steps = differences(len(levels), place)
        words = [f"'{levels[a]}' less '{levels[b]}'" for a, b in pairs]
        kept = self._estimable(steps @ rows, words)
        table = estimate_table(
            *self._estimator.judge(kept), self.confidence, simultaneous=simultaneous
        )
        if against is None:
            named = [(levels[a], levels[b]) for a, b in pairs]
            table.index = pd.MultiIndex.from_tuples(named, names=[factor, "against"])
        else:
            table.index = pd.Index([levels[a] for a, _ in pairs], name=factor)
        return table

    def _estimable(self, rows: Floats, words: list[str]) -> Floats:
        kept, possible = estimable(rows, self._estimator.part)
        if not possible.all():
            what = words[int((~possible).argmax())]
            raise ModelError(
                f"These records cannot estimate {what}: some combination of labels has no "
                "record, or columns cannot be told apart. Leave out the term that mixes them."
            )
        return kept


def fit_mixed(
    formula: str,
    data: pd.DataFrame,
    random: Sequence[str] = (),
    *,
    df: str | None = None,
    confidence: float = 0.95,
) -> MixedFit:
    """Fit a linear mixed model by REML.

    y = X b + sum_k Z_k u_k + e, with the u_k and e independent and normal. Variances are
    never negative: where one would be, it is zero and named in `at_boundary`.

    Parameters
    ----------
    formula
        Wilkinson formula, such as `"yield_t_ha ~ treatment"`. Text columns act as labels, the
        first in sorted order (of a categorical column, its first category) the reference;
        write `C(x)` for numbers that are labels.
    data
        One row a record. Rows with an empty cell in a column used are left out and counted
        in `notes`.
    random
        Grouping columns of the random terms: `"block"`, or a combination `"block:strip"`;
        crossed or nested, any number. None gives the plain linear model.
    df
        `"kenward-roger"`, `"satterthwaite"`, or None for Kenward-Roger.
    confidence
        Level of the intervals, between 0 and 1.

    Returns
    -------
    MixedFit

    Raises
    ------
    ModelError
        If the data cannot answer the question; the message names the column and the remedy.

    Warns
    -----
    ModelWarning
        If the search for the variances did not converge.

    Notes
    -----
    REML: Patterson and Thompson 1971, Biometrika 58:545-554. Degrees of freedom and adjusted
    standard errors: Kenward and Roger 1997, Biometrics 53:983-997. All is computed from the
    cross-products of [X y Z], so that time after one pass does not depend on the number of
    records; memory is the data and a square matrix over all groups of the random terms.

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "block": ["1", "1", "2", "2", "3", "3", "4", "4"],
    ...     "treatment": ["dressed", "untreated"] * 4,
    ...     "yield_t_ha": [3.2, 3.0, 2.7, 2.6, 3.5, 3.1, 2.9, 2.8],
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment", strips, random=["block"])
    >>> fit.differences("treatment", against="untreated").loc["dressed"].round(3).to_dict()
    ... # doctest: +NORMALIZE_WHITESPACE
    {'estimate': 0.2, 'std_error': 0.071, 'df': 3.0, 't': 2.828, 'p': 0.066, 'low': -0.025,
     'high': 0.425}
    """
    _check_options(df, confidence)
    frame = read_model_frame(formula, data, random)
    part, products = reduce_data(frame.response, frame.fixed, frame.groupings)
    check_terms(frame.design, part)
    check_random_terms(products, tuple(frame.design.levels))
    search = maximise(products)
    state = search.state
    if state.residual < NO_SCATTER:
        raise ModelError(_no_scatter_message(products))
    zero = tuple(n for n, r in zip(products.terms, state.ratios, strict=True) if r == 0)
    notes = _notes(frame, part, search, zero)
    if not search.converged:
        warnings.warn(notes[-1], ModelWarning, stacklevel=2)
    method, name = _small_sample(products, state, df)
    estimator = Estimator(
        frame.design,
        part,
        method,
        part.projected + part.scale * state.beta,
        part.scale * float(np.sqrt(state.residual)),
    )
    return MixedFit(
        formula=formula,
        coefficients=_coefficients(estimator, confidence),
        variances=_variances(products, state, estimator.sigma**2),
        reml_criterion=_reml_criterion(products, part, state),
        df_method=name,
        confidence=confidence,
        records=products.records,
        converged=search.converged,
        at_boundary=zero,
        notes=notes,
        _estimator=estimator,
    )


def _check_options(df: str | None, confidence: float) -> None:
    if df is not None and df not in _METHODS:
        raise ModelError(f"df='{df}' is not known. Give one of: {', '.join(_METHODS)}, or None.")
    if not 0 < confidence < 1:
        raise ModelError(
            f"confidence={confidence} is no level. Give a share between 0 and 1, such as 0.95."
        )


def _no_scatter_message(products: CrossProducts) -> str:
    names = " and ".join(f"'{name}'" for name in products.terms)
    return (
        f"Inside the groups of {names} the records do not differ at all, so there is no scatter "
        "between records to estimate. Keep one record a group and leave that random term out."
    )


def _notes(
    frame: ModelFrame, part: FixedPart, search: RemlFit, zero: tuple[str, ...]
) -> tuple[str, ...]:
    notes = list(frame.notes)
    if part.dropped:
        names = ", ".join(f"'{frame.design.columns[column]}'" for column in part.dropped)
        notes.append(
            f"Left out of the formula, since earlier columns already say the same: {names}."
        )
    if zero:
        names = ", ".join(f"'{name}'" for name in zero)
        notes.append(f"Variance estimated at zero: {names}. The data show no such differences.")
    if not search.converged:
        notes.append(
            "The search for the variances did not converge: do not use these figures. Check the "
            "data for wild values, or drop a random term."
        )
    return tuple(notes)


def _small_sample(
    products: CrossProducts, state: RemlState, df: str | None
) -> tuple[SmallSample, str]:
    if not products.terms:
        return ResidualDegrees(state.xhx_inverse, products.spare), "residual"
    known = information(products, state)
    if df == "satterthwaite":
        return satterthwaite(known), df
    return kenward_roger(products, state, known), "kenward-roger"


def _variances(products: CrossProducts, state: RemlState, residual: float) -> pd.Series:
    values = [*(state.ratios * residual), residual]
    return pd.Series(values, index=[*products.terms, "residual"], name="variance")


def _reml_criterion(products: CrossProducts, part: FixedPart, state: RemlState) -> float:
    """Put the constants back: the scale of the response and the user's own columns."""
    constants = products.spare * (np.log(2 * np.pi) + 2 * np.log(part.scale) + 1)
    return float(state.criterion + constants + 2 * part.log_determinant)


def _coefficients(estimator: Estimator, confidence: float) -> pd.DataFrame:
    count = len(estimator.part.kept)
    table = estimate_table(*estimator.judge(np.eye(count)), confidence)
    names = [estimator.design.columns[column] for column in estimator.part.kept]
    table.index = pd.Index(names, name="term")
    return table


def _f_tail(statistic: float, df_num: int, df_den: float) -> float:
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


def _level_place(levels: tuple[object, ...], against: object, factor: str) -> int:
    if against not in levels:
        known = ", ".join(str(level) for level in levels)
        raise ModelError(f"'{factor}' has no level '{against}'. It has: {known}.")
    return levels.index(against)
