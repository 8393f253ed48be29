"""Linear mixed models by REML with honest degrees of freedom: the steps, in order."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.errors import ModelError, ModelWarning
from trialkit.language import say
from trialkit.models.along_fit import fit_along
from trialkit.models.along_pass import AlongPass, check_along, order_passes
from trialkit.models.assembled import Assembled, assemble
from trialkit.models.containment import contain
from trialkit.models.contrasts import check_terms
from trialkit.models.crossproducts import (
    FixedPart,
    check_random_terms,
    cross_products,
    reduce_fixed,
)
from trialkit.models.estimates import Estimator, check_confidence, estimate_table
from trialkit.models.fitted import Fitted, fit_independent
from trialkit.models.mixed_fit import MixedFit
from trialkit.models.model_frame import Design, ModelFrame, read_model_frame
from trialkit.models.random_blocks import Grouping
from trialkit.models.surface import Surface, check_surface

_METHODS = ("kenward-roger", "satterthwaite")


def fit_mixed(
    formula: str,
    data: pd.DataFrame,
    random: Sequence[str] = (),
    *,
    along: AlongPass | None = None,
    surface: Surface | None = None,
    weights: str | None = None,
    unbounded: Sequence[str] = (),
    df: str | None = None,
    confidence: float = 0.95,
) -> MixedFit:
    """Fit a linear mixed model by REML.

    y = X b + sum_k Z_k u_k + e, with the u_k and e independent and normal, the variance of e
    over the weight of a record where there are weights. Variances are not negative unless allowed
    to be: where one would be, it is zero and named in `at_boundary`.

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
        crossed or nested, any number. `"block|elevation_m"` lets the effect of a number differ
        from block to block, independent of the blocks' level. None gives the plain linear model.
    along
        Which columns hold the pass and the distance along it, for correlation along the pass:
        `AlongPass(pass_id="pass_id", distance="distance_m")`. None for none.
    surface
        A smooth trend over the field: `Surface(x="x_m", y="y_m", knots=(8, 8))`. None for none.
    weights
        Column of weights, such as the number of records behind each mean: the residual variance
        of a record is that of `variances` over its weight. None for equal ones.
    unbounded
        Random terms whose variance may come out below zero, such as `["block:strip"]`: groups
        whose records even out differ less than chance would have them, and are then judged by how
        much they do differ. Not with `along`.
    df
        `"kenward-roger"`, `"satterthwaite"`, or None: Kenward-Roger without `along`, with it
        Satterthwaite held to what the groups of the random terms can give, or the passes where
        a difference lies between the groups of no random term.
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
        If the search for the variances did not converge, or the correlation along the pass has
        no inner optimum: its range runs off to nothing or beyond all passes.

    Notes
    -----
    REML: Patterson and Thompson 1971, Biometrika 58:545-554. Degrees of freedom and adjusted
    standard errors: Kenward and Roger 1997, Biometrics 53:983-997. All is computed from the
    cross-products of [X y Z], so that time after one pass does not depend on the number of
    records. With correlation along the pass time is linear in the records: the cross-products
    are weighted by the tridiagonal precision of an Ornstein-Uhlenbeck process and its nugget.
    With variances below zero the model is one for the covariances alone (Stroup and Littell 2002,
    Kansas State Conference on Applied Statistics in Agriculture; from memory).
    Memory is the data and a few square matrices over the groups of all random terms,
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
    _check_method(df, along, unbounded)
    check_confidence(confidence)
    frame = _read(formula, data, random, along, surface, weights)
    model = assemble(frame, surface, weights)
    reduced = reduce_fixed(model.response, model.fixed)
    check_terms(model.design, reduced.part)
    products = cross_products(reduced, model.blocks)
    check_random_terms(products, tuple(model.design.levels))
    if along is None:
        fitted = fit_independent(
            products,
            reduced.part,
            df,
            lambda: contain(reduced, model.groupings, model.constant, None),
            _unbounded(unbounded, model.groupings),
        )
    else:
        labels, distance = frame.labels[along.pass_id], frame.numbers[along.distance]
        passes = order_passes(along, labels, distance.to_numpy(dtype=float))
        bounds = contain(reduced, model.groupings, model.constant, passes.passes)
        fitted = fit_along(reduced, model.blocks, products, passes, df, bounds)
    for fault in fitted.faults:
        warnings.warn(fault, ModelWarning, stacklevel=2)
    return _report(formula, frame.notes, model, reduced.part, fitted, confidence)


def _read(
    formula: str,
    data: pd.DataFrame,
    random: Sequence[str],
    along: AlongPass | None,
    surface: Surface | None,
    weights: str | None,
) -> ModelFrame:
    numbers, labels = [], []
    if along is not None:
        check_along(along, data)
        numbers.append(along.distance)
        labels.append(along.pass_id)
    if surface is not None:
        check_surface(surface, data)
        numbers += [surface.x, surface.y]
    if weights is not None:
        if along is not None:
            raise ModelError(
                "weights do not go with correlation along the pass, whose records are single "
                "ones. Leave out either `weights` or `along`."
            )
        numbers.append(weights)
    return read_model_frame(
        formula, data, random, numbers=list(dict.fromkeys(numbers)), labels=labels, slopes=True
    )


def _unbounded(terms: Sequence[str], groupings: Sequence[Grouping]) -> tuple[str, ...]:
    """Return the terms that may go below zero, checked."""
    names = (terms,) if isinstance(terms, str) else tuple(terms)
    levels = [grouping.name for grouping in groupings if not grouping.slope]
    for name in names:
        if name not in levels:
            known = ", ".join(f"'{level}'" for level in levels) or "none"
            raise ModelError(
                f"unbounded names '{name}', which is no random term of this model that has a "
                f"level. It has: {known}."
            )
    return names


def _check_method(df: str | None, along: AlongPass | None, unbounded: Sequence[str]) -> None:
    if along is not None and unbounded:
        raise ModelError(
            "unbounded does not go with correlation along the pass. Leave out one of the two."
        )
    if df is not None and df not in _METHODS:
        raise ModelError(f"df='{df}' is not known. Give one of: {', '.join(_METHODS)}, or None.")
    if along is not None and df == "kenward-roger":
        raise ModelError(
            "df='kenward-roger' does not go with correlation along the pass: its correction is "
            "made for variances that add up, and the range does not. Leave df at None, for "
            "Satterthwaite's held to what the groups of the random terms can give."
        )


def _report(
    formula: str,
    notes: tuple[str, ...],
    model: Assembled,
    part: FixedPart,
    fitted: Fitted,
    confidence: float,
) -> MixedFit:
    """Put the fit back into the unit of the response, with its tables."""
    estimator = Estimator(
        model.design,
        part,
        fitted.method,
        part.projected + part.scale * fitted.beta,
        part.scale * float(np.sqrt(fitted.residual)),
    )
    return MixedFit(
        formula=formula,
        coefficients=_coefficients(estimator, confidence),
        variances=_variances(part, fitted),
        reml_criterion=_reml_criterion(model.response.size, part, fitted) - model.log_weights,
        df_method=fitted.df_method,
        confidence=confidence,
        records=model.response.size,
        converged=fitted.converged,
        at_boundary=fitted.at_boundary,
        notes=notes + _dropped_note(model.design, part) + fitted.notes,
        _estimator=estimator,
    )


def _dropped_note(design: Design, part: FixedPart) -> tuple[str, ...]:
    dropped = [design.columns[column] for column in part.dropped]
    names = ", ".join(f"'{name}'" for name in dropped if name not in design.beside)
    if not names:
        return ()
    return (
        say(
            "Left out of the formula, since earlier columns already say the same: {columns}.",
            columns=names,
        ),
    )


def _variances(part: FixedPart, fitted: Fitted) -> pd.Series:
    values = {name: share * part.scale**2 for name, share in fitted.shares.items()}
    if "along" in values:
        values["range_m"] = fitted.reach
    return pd.Series(values, name="variance", dtype=float)


def _reml_criterion(records: int, part: FixedPart, fitted: Fitted) -> float:
    """Put the constants back: the scale of the response and the user's own columns."""
    spare = records - len(part.kept)
    constants = spare * (np.log(2 * np.pi) + 2 * np.log(part.scale) + 1)
    return float(fitted.criterion + constants + 2 * part.log_determinant)


def _coefficients(estimator: Estimator, confidence: float) -> pd.DataFrame:
    count = len(estimator.part.kept)
    table = estimate_table(*estimator.judge(np.eye(count)), confidence)
    names = [estimator.design.columns[column] for column in estimator.part.kept]
    table.index = pd.Index(names, name="term")
    return table
