"""From cross-products to a judged fit, on the scaled problem, records not correlated."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass

import numpy as np

from trialkit.errors import ModelError
from trialkit.language import marked, say
from trialkit.models.containment import Containment
from trialkit.models.crossproducts import CrossProducts, FixedPart
from trialkit.models.estimates import SmallSample
from trialkit.models.information import gather_information
from trialkit.models.kenward_roger import by_kenward_roger
from trialkit.models.records import Floats, joined
from trialkit.models.reml import NO_SCATTER, RemlState, least_ratios, maximise
from trialkit.models.satterthwaite import ResidualDegrees, by_satterthwaite

#: How near the least possible variance, as a share of it, is no answer.
_BOTTOM = 1e-5
#: What to say where a search ended nowhere.
NOT_CONVERGED = marked(
    "The search for the variances did not converge: do not use these figures. Check the "
    "data for wild values, or drop a random term."
)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A fit of the scaled problem, and how its contrasts are judged.

    Parameters
    ----------
    method, df_method
        How contrasts are judged, and its name.
    beta
        Generalised least squares coefficients of the scaled residual, shape (p,).
    residual
        Residual variance, as a share of that of least squares.
    criterion
        -2 log restricted likelihood of the scaled problem, constants left out.
    shares
        Variance of each term, as a share of that of least squares, the residual last.
    converged
        Whether the search ended at an optimum.
    at_boundary
        Terms with variance zero.
    notes
        Sentences on the fit.
    faults
        Those of them that the user must not overlook.
    reach
        Range of the correlation along the pass; NaN where there is none.
    """

    method: SmallSample
    df_method: str
    beta: Floats
    residual: float
    criterion: float
    shares: dict[str, float]
    converged: bool
    at_boundary: tuple[str, ...]
    notes: tuple[str, ...] = ()
    faults: tuple[str, ...] = ()
    reach: float = np.nan


def fit_independent(
    products: CrossProducts,
    part: FixedPart,
    df: str | None,
    containment: Callable[[], Containment],
    unbounded: Collection[str] = (),
) -> Fitted:
    """Fit a model whose records are independent beside the random terms.

    Parameters
    ----------
    products
        Cross-products of the scaled problem.
    part
        The fixed part.
    df
        `"satterthwaite"`, or anything else for Kenward-Roger.
    containment
        Works out how many degrees of freedom the groups can give; asked only where needed.
    unbounded
        Random terms whose variance may come out below zero.

    Returns
    -------
    Fitted

    Raises
    ------
    ModelError
        If there is no scatter inside the groups, or none between groups of an unbounded term.
    """
    least = least_ratios(products, unbounded)
    search = maximise(products, least)
    state = search.state
    _check_not_at_bottom(products, state, least)
    check_scatter_left(products, state)
    method, name = _small_sample(products, state, df)
    zero = zero_terms(products, state)
    faults = () if search.converged else (say(NOT_CONVERGED),)
    notes = zero_notes(zero) + _negative_notes(products, state)
    if name == "satterthwaite":
        notes += _overrated(method, part, containment())
    return Fitted(
        method,
        name,
        state.beta,
        state.residual,
        state.criterion,
        variance_shares(products, state),
        search.converged,
        zero,
        notes + faults,
        faults,
    )


def check_scatter_left(products: CrossProducts, state: RemlState) -> None:
    """Refuse data without scatter inside the groups.

    Raises
    ------
    ModelError
        Naming the random terms.
    """
    if state.residual >= NO_SCATTER:
        return
    names = joined([f"'{name}'" for name in products.terms])
    raise ModelError(
        say(
            "Inside the groups of {terms} the records do not differ at all, so there is no scatter "
            "between records to estimate. Keep one record a group and leave that random term out.",
            terms=names,
        )
    )


def zero_terms(products: CrossProducts, state: RemlState) -> tuple[str, ...]:
    """Return the random terms whose variance is zero."""
    return tuple(n for n, r in zip(products.terms, state.ratios, strict=True) if r == 0)


def zero_notes(zero: tuple[str, ...]) -> tuple[str, ...]:
    """Say which variances are zero."""
    if not zero:
        return ()
    names = ", ".join(f"'{name}'" for name in zero)
    return (
        say("Variance estimated at zero: {terms}. The data show no such differences.", terms=names),
    )


def _check_not_at_bottom(products: CrossProducts, state: RemlState, least: Floats) -> None:
    """Refuse a variance that ran down to where the model breaks off."""
    bottom = (least < 0) & (state.ratios < (1 - _BOTTOM) * least)
    if bottom.any():
        name = products.terms[int(bottom.argmax())]
        raise ModelError(
            say(
                "The groups of '{term}' do not differ at all beside the rest of the model, so "
                "their variance runs down without end. There are too few of them for a model as "
                "rich as this. Leave out the surface or other terms, or leave '{term}' out of "
                "unbounded.",
                term=name,
            )
        )


def _negative_notes(products: CrossProducts, state: RemlState) -> tuple[str, ...]:
    """Say which variances are below zero."""
    below = [n for n, r in zip(products.terms, state.ratios, strict=True) if r < 0]
    if not below:
        return ()
    names = ", ".join(f"'{name}'" for name in below)
    return (
        say(
            "Variance below zero: {terms}. Its groups differ less than their records would have "
            "them differ by chance: what makes records differ evens out inside each group.",
            terms=names,
        ),
    )


def variance_shares(products: CrossProducts, state: RemlState) -> dict[str, float]:
    """Return each variance as a share of that of least squares, the residual last."""
    shares = dict(zip(products.terms, (state.ratios * state.residual).tolist(), strict=True))
    return {**shares, "residual": state.residual}


def _small_sample(
    products: CrossProducts, state: RemlState, df: str | None
) -> tuple[SmallSample, str]:
    if not products.terms:
        return ResidualDegrees(state.xhx_inverse, products.spare), "residual"
    known = gather_information(products, state)
    if df == "satterthwaite":
        return by_satterthwaite(known), df
    return by_kenward_roger(products, state, known), "kenward-roger"


def _overrated(method: SmallSample, part: FixedPart, containment: Containment) -> tuple[str, ...]:
    """Say where degrees of freedom pass what the groups can give."""
    rows = part.rotate(np.eye(len(part.kept)))
    degrees, bounds = method.degrees(rows), containment.bound(rows)
    worst = int(np.argmax(degrees / bounds))
    if degrees[worst] <= 1.5 * bounds[worst]:
        return ()
    return (
        say(
            "Satterthwaite gives up to {degrees:,.0f} degrees of freedom where the groups of the "
            "random terms can give {bound:,.0f} at most: not to be believed, since records then "
            "count as replicates. Use df='kenward-roger'.",
            degrees=degrees[worst], bound=bounds[worst],
        ),
    )  # fmt: skip
