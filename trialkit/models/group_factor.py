"""The curvature of a penalised likelihood over groups, factorised by its structure.

For random terms with scales s and records of weight w, the curvature is

    M = I + S Z'WZ S,

with one row a group. Two things keep it small. Groups of one term share no record, so the
block of the term with the most groups is diagonal and is eliminated first; only the other
terms' Schur complement is a full matrix. And where terms are nested, groups fall into parts
that share no record, such as the blocks of a trial: each part has a small matrix of its own,
padded to one size and treated all at once. The cost of strips nested in blocks is then linear
in their number; where rows cross columns there is one part, of the smaller term's size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from trialkit.models.random_blocks import Grouping
from trialkit.models.records import Codes, Floats


@dataclass(frozen=True, slots=True)
class GroupLayout:
    """Where each group of the random terms stands.

    Parameters
    ----------
    groupings
        The terms, the one with most groups first.
    parts, firsts, others
        Number of parts, and places in each for groups of the first and of the other terms.
    first_place, other_place
        Part times places plus place, of the first term's groups and of all other groups.
    first_of, others_of
        The same of each record: shape (n,), and one such array for each other term.
    """

    groupings: tuple[Grouping, ...]
    parts: int
    firsts: int
    others: int
    first_place: Codes
    other_place: Codes
    first_of: Codes
    others_of: tuple[Codes, ...]

    @property
    def groups(self) -> int:
        """Number of groups of all terms."""
        return sum(grouping.levels for grouping in self.groupings)


@dataclass(frozen=True, slots=True)
class GroupFactor:
    """M, factorised.

    Parameters
    ----------
    layout
        Where groups stand.
    diagonal
        Block of the first term, shape (parts, firsts).
    tied
        Block between the other terms and the first, over `diagonal`; shape
        (parts, others, firsts).
    root
        Inverse of the Cholesky factor of the others' Schur complement, shape
        (parts, others, others).
    """

    layout: GroupLayout
    diagonal: Floats
    tied: Floats
    root: Floats

    @property
    def log_determinant(self) -> float:
        """Logarithm of |M|."""
        rest = np.log(np.diagonal(self.root, axis1=1, axis2=2)).sum()
        return float(np.log(self.diagonal).sum() - 2.0 * rest)

    def solve(self, side: Floats) -> Floats:
        """Return M^-1 times a vector over all groups, shape (q,)."""
        place, edge = self.layout, self.layout.first_place.size
        first = _scatter(side[:edge], place.first_place, self.diagonal.shape)
        others = _scatter(side[edge:], place.other_place, self.tied.shape[:2])
        others = _each(_turned(self.root), _each(self.root, others - _each(self.tied, first)))
        first = first / self.diagonal - _each(_turned(self.tied), others)
        return np.concatenate([first.ravel()[place.first_place], others.ravel()[place.other_place]])

    def inverse_at_records(self) -> list[list[Floats]]:
        """Return, for each pair of terms, the entry of M^-1 of each record's two groups."""
        inverse = _turned(self.root) @ self.root
        reach = _turned(self.tied) @ inverse
        own = 1.0 / self.diagonal + (reach * _turned(self.tied)).sum(axis=2)
        place, size = self.layout, self.layout.others
        reach = reach.reshape(place.parts * place.firsts, size)
        inverse = inverse.reshape(place.parts * size, size)
        across = [-reach[place.first_of, other % size] for other in place.others_of]
        rows = [[inverse[a, b % size] for b in place.others_of] for a in place.others_of]
        return [
            [own.ravel()[place.first_of], *across],
            *([side, *row] for side, row in zip(across, rows, strict=True)),
        ]


def arrange(groupings: tuple[Grouping, ...]) -> GroupLayout:
    """Find the parts that share no record, and give each group its place.

    Parameters
    ----------
    groupings
        At least one term, the one with most groups first.

    Returns
    -------
    GroupLayout
    """
    first, others = groupings[0], groupings[1:]
    edges = first.levels + np.cumsum([0, *(grouping.levels for grouping in others)])
    codes = [grouping.codes + edge for grouping, edge in zip(others, edges[:-1], strict=True)]
    part = _parts(first.codes, codes, int(edges[-1]))
    sizes = [np.bincount(piece).max(initial=0) for piece in np.split(part, [first.levels])]
    rest = int(edges[-1]) - first.levels
    if (part.max() + 1) * sizes[1] * sum(sizes) > rest * int(edges[-1]):
        part = np.zeros_like(part)  # parts so unlike that padding costs more than it saves
    first_place, firsts = _places(part[: first.levels])
    other_place, size = _places(part[first.levels :])
    return GroupLayout(
        groupings=groupings,
        parts=int(part.max()) + 1,
        firsts=firsts,
        others=size,
        first_place=first_place,
        other_place=other_place,
        first_of=first_place[first.codes],
        others_of=tuple(other_place[code - first.levels] for code in codes),
    )


def factorise(layout: GroupLayout, scales: Floats, weights: Floats) -> GroupFactor:
    """Build and factorise M.

    Parameters
    ----------
    layout
        Where groups stand.
    scales
        Scale of each term, shape (terms,).
    weights
        Weight of each record, none negative, shape (n,).

    Returns
    -------
    GroupFactor
    """
    parts, firsts, size = layout.parts, layout.firsts, layout.others
    sums = np.bincount(layout.first_of, weights=weights, minlength=parts * firsts)
    diagonal = (1.0 + scales[0] ** 2 * sums).reshape(parts, firsts)
    cross = np.zeros(parts * size * firsts)
    whole = np.tile(np.eye(size), (parts, 1, 1)).ravel()
    for first, scale in zip(layout.others_of, scales[1:], strict=True):
        at = first * firsts + layout.first_of % firsts
        cross += scale * scales[0] * np.bincount(at, weights=weights, minlength=cross.size)
        for second, other in zip(layout.others_of, scales[1:], strict=True):
            at = first * size + second % size
            whole += scale * other * np.bincount(at, weights=weights, minlength=whole.size)
    across = cross.reshape(parts, size, firsts)
    tied = across / diagonal[:, None, :]
    lower = np.linalg.cholesky(whole.reshape(parts, size, size) - tied @ _turned(across))
    return GroupFactor(layout, diagonal, tied, np.linalg.inv(lower))


def sum_by_group(grouping: Grouping, values: Floats) -> Floats:
    """Return the sum of the values in each group, shape (levels,)."""
    sums = np.bincount(grouping.codes, weights=values, minlength=grouping.levels)
    return sums.astype(np.float64)


def _parts(first: Codes, others: list[Codes], groups: int) -> Codes:
    """Give groups that share a record, straight or through others, the same number."""
    rows = np.tile(first, len(others))
    columns = np.concatenate([np.zeros(0, dtype=np.intp), *others])
    links = coo_array((np.ones(rows.size), (rows, columns)), shape=(groups, groups))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.intp)


def _places(part: Codes) -> tuple[Codes, int]:
    """Give each member of a part a place; return part times places plus place, and the places."""
    counts = np.bincount(part)
    size = int(counts.max(initial=0))
    order = np.argsort(part, kind="stable")
    place = np.empty_like(part)
    place[order] = np.arange(part.size) - np.repeat(np.cumsum(counts) - counts, counts)
    return part * size + place, size


def _turned(matrices: Floats) -> Floats:
    return matrices.swapaxes(1, 2)


def _each(matrices: Floats, vectors: Floats) -> Floats:
    """Return each part's matrix times its vector."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


def _scatter(values: Floats, places: Codes, shape: tuple[int, ...]) -> Floats:
    spread = np.zeros(shape)
    spread.ravel()[places] = values
    return spread
