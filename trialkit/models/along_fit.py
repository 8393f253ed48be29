"""The fit with correlation along the pass, judged and put into words."""

from __future__ import annotations

import numpy as np

from trialkit.language import say
from trialkit.models.along_likelihood import in_passes
from trialkit.models.along_pass import PassOrder
from trialkit.models.along_search import AlongFit, search_along
from trialkit.models.containment import Contained, Containment
from trialkit.models.crossproducts import CrossProducts, Reduced
from trialkit.models.estimates import SmallSample
from trialkit.models.fitted import (
    NOT_CONVERGED,
    Fitted,
    check_scatter_left,
    fit_independent,
    variance_shares,
    zero_notes,
    zero_terms,
)
from trialkit.models.information import invert
from trialkit.models.random_blocks import RandomBlock
from trialkit.models.satterthwaite import Satterthwaite


def fit_along(
    reduced: Reduced,
    blocks: tuple[RandomBlock, ...],
    plain: CrossProducts,
    passes: PassOrder,
    df: str | None,
    containment: Containment,
) -> Fitted:
    """Fit a model with correlation along the pass.

    Parameters
    ----------
    reduced
        Fixed part and response, in the order of the table.
    blocks
        The random terms.
    plain
        Cross-products of both, without correlation.
    passes
        The order along the passes.
    df
        `"satterthwaite"`, or None for the same held to what the groups can give.
    containment
        What the groups can give.

    Returns
    -------
    Fitted
    """
    records = in_passes(reduced, blocks, passes.order, passes.gaps)
    found = search_along(records, plain)
    if found is None:
        return _without(reduced, plain, df, containment)
    state = found.point.inner.state
    check_scatter_left(found.point.products, state)
    zero = zero_terms(found.point.products, state)
    method, name, held = _judge(_satterthwaite(found), reduced, df, containment)
    shares = variance_shares(found.point.products, state)
    residual = shares.pop("residual")
    shares |= {"along": found.point.ratio * residual, "residual": residual}
    faults = _faults(found)
    boundary = zero if found.free[0] else (*zero, "residual")
    notes = zero_notes(zero) + _nugget_note(found) + _pass_note(passes) + held + faults
    return Fitted(
        method, name, state.beta, residual, found.point.criterion, shares,
        found.converged, boundary, notes, faults, found.point.reach,
    )  # fmt: skip


def _without(
    reduced: Reduced, plain: CrossProducts, df: str | None, containment: Containment
) -> Fitted:
    """Return the plain model: neighbours in a pass are no more alike than others."""
    fit = fit_independent(plain, reduced.part, "satterthwaite", lambda: containment)
    method, name, held = _judge(fit.method, reduced, df, containment)
    residual = fit.shares["residual"]
    shares = {name: share for name, share in fit.shares.items() if name != "residual"}
    zero = (*fit.at_boundary, "along")
    said = (
        say(
            "Neighbours in a pass are no more alike than its other records, so this is the model "
            "without correlation along the pass; there is no range."
        ),
    )
    notes = zero_notes(zero) + said + held + fit.faults
    return Fitted(
        method, name, fit.beta, residual, fit.criterion,
        {**shares, "along": 0.0, "residual": residual},
        fit.converged, zero, notes, fit.faults,
    )  # fmt: skip


def _satterthwaite(found: AlongFit) -> Satterthwaite:
    """Judge by the curvature in all variances that ended inside their limits."""
    count = found.curvature.gradient.size
    known = np.array([*[True] * (count - 3), *found.free, True])
    weights = 2 * invert(found.curvature.hessian[np.ix_(known, known)])
    return Satterthwaite(found.curvature.covariance, found.curvature.moves[known], weights)


def _judge(
    method: SmallSample, reduced: Reduced, df: str | None, containment: Containment
) -> tuple[SmallSample, str, tuple[str, ...]]:
    """Hold the degrees of freedom to what the groups can give, unless asked not to."""
    rows = reduced.part.rotate(np.eye(len(reduced.part.kept)))
    degrees, bounds = method.degrees(rows), containment.bound(rows)
    over = degrees > bounds
    if not over.any():
        return method, "satterthwaite", ()
    worst = int(np.argmax(degrees / bounds))
    most = {"degrees": degrees[worst], "bound": bounds[worst]}
    if df == "satterthwaite":
        told = say(
            "Satterthwaite gives up to {degrees:,.0f} degrees of freedom where the groups of the "
            "random terms can give {bound:,.0f} at most: not to be believed. Leave df at None to "
            "hold them to that.",
            **most,
        )
        return method, df, (told,)
    told = say(
        "Satterthwaite gives up to {degrees:,.0f} degrees of freedom where the groups of the "
        "random terms can give {bound:,.0f} at most: held to that.",
        **most,
    )
    return Contained(method, containment), "satterthwaite, contained", (told,)


def _faults(found: AlongFit) -> tuple[str, ...]:
    reach, (lowest, _) = found.point.reach, found.limits
    if not found.point.inner.converged or (found.free[1] and not found.converged):
        return (say(NOT_CONVERGED),)
    if found.free[1]:
        return ()
    if reach <= lowest * 1.001:
        return (
            say(
                "The correlation along the pass has no inner optimum: the shorter its range, the "
                "better, down to the limit of {reach:.3g}. It reaches no further than records at "
                "the same place. Check for records that stand twice, or leave `along` out.",
                reach=reach,
            ),
        )
    return (
        say(
            "The correlation along the pass has no inner optimum: the longer its range, the "
            "better, up to the limit of {reach:.3g}, a hundred times the longest pass. The figures "
            "are those at this limit; do not rely on the range, the variances, or standard errors. "
            "A trend runs through whole passes: rely on the strip means, or add a surface.",
            reach=reach,
        ),
    )


def _nugget_note(found: AlongFit) -> tuple[str, ...]:
    if found.free[0]:
        return ()
    return (
        say(
            "The residual variance is estimated at zero: neighbours in a pass change so smoothly "
            "that nothing is left for the single record."
        ),
    )


def _pass_note(passes: PassOrder) -> tuple[str, ...]:
    if passes.passes.levels > 1:
        return ()
    return (
        say(
            "All records lie in one pass ('{column}'): how alike its neighbours are is all there "
            "is to judge by.",
            column=passes.passes.name,
        ),
    )
