"""How many degrees of freedom the groups of a random term can give at most.

Satterthwaite takes a variance estimated at zero as known to be zero. Where that happens to
the strips, records count as replicates and the degrees of freedom run into the thousands, as
if every record had been allotted its own treatment. The containment method, older and coarser,
cannot go wrong so: a difference that lies wholly between the groups of a random term has no
more degrees of freedom than those groups give, after the fixed part and the coarser random
terms have taken theirs. For strips in blocks it is the strips less the blocks less the
treatments plus one, whatever the variances.

In balanced trials the bound is no makeshift: it is what Satterthwaite's formula gives from the
expected information when a variance estimated at zero stays among the unknowns, as it does in
the information of Kenward and Roger (1997, Biometrics 53:983-997). That is careful: where strips
truly do not differ beyond their ground, an estimate that cannot fall below zero is on average
too large, and fewer than 5 in 100 are called.

A mean, unlike a difference, gathers scatter from all the random terms, and is held to what
they give together.

Source: Littell et al. 2006, SAS for Mixed Models, on the containment method (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trialkit.models.crossproducts import Reduced, cross_products
from trialkit.models.estimates import SmallSample
from trialkit.models.random_blocks import Grouping
from trialkit.models.records import Floats

#: Share of a squared length that is rounding, in projections and in ranks.
_ROUNDING = 1e-8


@dataclass(frozen=True, slots=True)
class Containment:
    """Upper bounds on degrees of freedom.

    Parameters
    ----------
    names
        The random terms, and last the pass if there is one.
    unseen
        For each term, orthonormal directions of the coefficients that only differences between
        its groups can inform, each of shape (p, directions).
    bounds
        Degrees of freedom the groups of each term give, coarser terms taken out.
    together
        Degrees of freedom all the random terms give together.
    constant
        Q'1, which tells a level from a difference, shape (p,).
    fallback
        Whether the last term counts only for contrasts that lie in no other.
    """

    names: tuple[str, ...]
    unseen: tuple[Floats, ...]
    bounds: tuple[float, ...]
    together: float
    constant: Floats
    fallback: bool

    def bound(self, contrasts: Floats) -> Floats:
        """Return the most degrees of freedom each contrast can have, shape (contrasts,)."""
        return np.array([self._bound(row) for row in contrasts])

    def _bound(self, row: Floats) -> float:
        length = float(row @ row)
        inside = [float(((row @ basis) ** 2).sum()) > _ROUNDING * length for basis in self.unseen]
        if self.fallback and any(inside[:-1]):
            inside[-1] = False
        held = [bound for bound, within in zip(self.bounds, inside, strict=True) if within]
        if not held:
            return np.inf
        level = (row @ self.constant) ** 2 > _ROUNDING * length * (self.constant @ self.constant)
        return self.together if level and not (self.fallback and inside[-1]) else min(held)


@dataclass(frozen=True, slots=True)
class Contained:
    """Another method's degrees of freedom, held to what the groups can give.

    Parameters
    ----------
    method
        The other method.
    containment
        The bounds.
    """

    method: SmallSample
    containment: Containment

    @property
    def covariance(self) -> Floats:
        """Covariance of the coefficients over the residual variance, shape (p, p)."""
        return self.method.covariance

    def degrees(self, contrasts: Floats) -> Floats:
        """Return the degrees of freedom of each contrast, shape (contrasts,)."""
        return np.minimum(self.method.degrees(contrasts), self.containment.bound(contrasts))

    def joint(self, contrasts: Floats, estimates: Floats) -> tuple[float, float]:
        """Return the F statistic and its denominator degrees of freedom."""
        statistic, degrees = self.method.joint(contrasts, estimates)
        return statistic, min(degrees, float(self.containment.bound(contrasts).min()))


def contain(
    reduced: Reduced, groupings: Sequence[Grouping], constant: Floats, passes: Grouping | None
) -> Containment:
    """Work out the bounds.

    Parameters
    ----------
    reduced
        Fixed part and response.
    groupings
        The random terms that are plain groups.
    constant
        A column of ones, on the scale of the reduced columns, shape (n,).
    passes
        Which pass each record belongs to, as the unit of last resort; None where the model
        knows no passes.

    Returns
    -------
    Containment
    """
    blocks = [grouping for grouping in groupings if not grouping.slope]
    own = list(range(len(blocks)))
    if passes is not None:
        blocks.append(passes)
    products = cross_products(reduced, tuple(blocks))
    fixed = products.between[:, products.member.shape[0] : -1]
    members = [products.member[:, term] > 0 for term in range(len(blocks))]
    spans = [_span(products.groups[:, member]) for member in members]
    outside = _outside(products.groups, fixed)

    def rank(terms: list[int]) -> int:
        chosen = np.any([members[term] for term in terms], axis=0)
        return int((np.linalg.eigvalsh(outside[np.ix_(chosen, chosen)]) > _ROUNDING).sum())

    def bound(term: int) -> float:
        coarser = [other for other in own if _covers(spans[term], spans[other])]
        return float(max(1, rank([term, *coarser]) - (rank(coarser) if coarser else 0)))

    return Containment(
        tuple(block.name for block in blocks),
        tuple(_unseen(span.T @ fixed) for span in spans),
        tuple(bound(term) for term in range(len(blocks))),
        float(max(1, rank(own))) if own else np.inf,
        reduced.columns[:, :-1].T @ constant,
        passes is not None,
    )


def _outside(groups: Floats, fixed: Floats) -> Floats:
    """Return Z'Z without what the fixed part spans, columns of Z at unit length."""
    unit = groups / np.sqrt((groups**2).sum(axis=0))
    shared = fixed.T @ unit
    return np.asarray(unit.T @ unit - shared.T @ shared)


def _span(columns: Floats) -> Floats:
    """Return an orthonormal basis of the columns."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, sizes**2 > _ROUNDING * sizes.max(initial=0.0) ** 2])


def _covers(fine: Floats, coarse: Floats) -> bool:
    """Whether the finer basis spans the coarser one."""
    if coarse.shape[1] >= fine.shape[1]:
        return False
    shared = float(np.square(fine.T @ coarse).sum())
    return bool(shared > (1 - _ROUNDING) * coarse.shape[1])


def _unseen(shared: Floats) -> Floats:
    """Return the directions of the coefficients of which nothing is left inside the groups."""
    within = np.eye(shared.shape[1]) - shared.T @ shared
    values, vectors = np.linalg.eigh(within)
    return np.asarray(vectors[:, values < _ROUNDING])
