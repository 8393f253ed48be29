"""Linear mixed models by REML with honest degrees of freedom: the steps, in order."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.errors import ModelError, ModelWarning
from trialkit.models.contrasts import check_terms
from trialkit.models.crossproducts import (
    CrossProducts,
    FixedPart,
    check_random_terms,
    cross_products,
    reduce_fixed,
)
from trialkit.models.estimates import Estimator, SmallSample, check_confidence, estimate_table
from trialkit.models.information import gather_information
from trialkit.models.kenward_roger import by_kenward_roger
from trialkit.models.mixed_fit import MixedFit
from trialkit.models.model_frame import ModelFrame, read_model_frame
from trialkit.models.reml import NO_SCATTER, RemlFit, RemlState, maximise
from trialkit.models.satterthwaite import ResidualDegrees, by_satterthwaite

_METHODS = ("kenward-roger", "satterthwaite")


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
    records; memory is the data and a few square matrices over the groups of all random terms,
    of which there may be 3,000. A formula may call functions, so never take one from a file
    that came from somebody else.

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
    _check_method(df)
    check_confidence(confidence)
    frame = read_model_frame(formula, data, random)
    reduced = reduce_fixed(frame.response, frame.fixed)
    part, products = reduced.part, cross_products(reduced, frame.groupings)
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


def _check_method(df: str | None) -> None:
    if df is not None and df not in _METHODS:
        raise ModelError(f"df='{df}' is not known. Give one of: {', '.join(_METHODS)}, or None.")


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
    known = gather_information(products, state)
    if df == "satterthwaite":
        return by_satterthwaite(known), df
    return by_kenward_roger(products, state, known), "kenward-roger"


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
