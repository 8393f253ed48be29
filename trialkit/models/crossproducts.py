"""Cross-products of [X y Z]: all that REML and Kenward-Roger need to know of the data.

One pass over the records; afterwards nothing depends on their number. The fixed columns
are made orthonormal (X = Q R) and the response is replaced by its least-squares residual
at unit standard deviation, so that no result hangs on the unit of yield or on a constant
added to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import blas

from trialkit.errors import ModelError
from trialkit.language import say
from trialkit.models.random_blocks import CHUNK, RandomBlock, cross
from trialkit.models.records import Floats, joined

#: A column is collinear when less than this share of its length lies outside the columns
#: before it. Map coordinates (6 million m, a field 100 m across) keep 1e-5.
_COLLINEAR = 1e-9
#: The formula explains every record when less than this share of the scatter is left.
_EXPLAINED = 1e-10
#: Share of a random term's own scatter left beside the fixed part, below which it has none.
_ALIASED = 1e-10
#: Groups of all random terms together; the square of this sits in memory ten times over.
MOST_GROUPS = 3000
#: Eigenvalues of the scaled Z'Z below this share of the largest belong to no direction.
_EMPTY_DIRECTION = 1e-11
#: Smallest eigenvalue of the scaled information before two variances count as one.
_SAME_VARIANCE = 1e-10


@dataclass(frozen=True, slots=True)
class FixedPart:
    """The fixed columns kept, and least squares on them.

    Parameters
    ----------
    kept, dropped
        Positions of the design columns kept and of those collinear with earlier ones.
    triangle
        R of X = Q R for the kept columns, shape (p, p).
    aliases
        Each dropped column as a combination of the kept ones, shape (p, dropped).
    projected
        Q'y, shape (p,), in the unit of the response.
    scale
        Residual standard deviation of least squares, in the unit of the response.
    """

    kept: tuple[int, ...]
    dropped: tuple[int, ...]
    triangle: Floats
    aliases: Floats
    projected: Floats
    scale: float

    @property
    def all_columns(self) -> Floats:
        """All design columns, kept and dropped, over the orthonormal ones; shape (p, all)."""
        columns = np.empty((len(self.kept), len(self.kept) + len(self.dropped)))
        columns[:, list(self.kept)] = self.triangle
        columns[:, list(self.dropped)] = self.triangle @ self.aliases
        return columns

    def rotate(self, rows: Floats) -> Floats:
        """Turn contrasts of the kept coefficients into contrasts of the orthonormal ones."""
        return np.asarray(blas.dtrsm(1.0, self.triangle, rows, side=1))

    @property
    def log_determinant(self) -> float:
        """Logarithm of |R|, for the REML criterion in the user's own columns."""
        return float(np.log(np.abs(np.diag(self.triangle))).sum())


@dataclass(frozen=True, slots=True)
class CrossProducts:
    """Cross-products of the scaled problem, with Q'Q = I, Q'y = 0 and y'y = n - p.

    They are split into what lies between the groups and what lies within them: with C an
    orthonormal basis of the columns of Z, r of them, the part between is C'[Z Q y], and the
    part within is what is left. So nothing is lost where the records are many and the groups
    few, and terms may be nested or crossed in any way.

    Parameters
    ----------
    records, parameters
        n and p.
    terms, sizes
        Name and number of groups of each random term.
    member
        Which term each group belongs to, as zeros and ones, shape (q, terms).
    between
        C'[Z Q y], shape (r, q + p + 1), groups of all terms one beside the other.
    within
        [Q y]'(I - C C')[Q y], shape (p + 1, p + 1).
    """

    records: int
    parameters: int
    terms: tuple[str, ...]
    sizes: tuple[int, ...]
    member: Floats
    between: Floats
    within: Floats

    @property
    def spare(self) -> int:
        """Residual degrees of freedom n - p, which is also y'y."""
        return self.records - self.parameters

    @property
    def groups(self) -> Floats:
        """C'Z, whose square is Z'Z; shape (r, q)."""
        return self.between[:, : self.member.shape[0]]


@dataclass(frozen=True, slots=True)
class Reduced:
    """Fixed columns made orthonormal and the response taken to its scaled residual.

    Parameters
    ----------
    part
        The fixed columns kept, and least squares on them.
    columns
        [Q y]: y with Q'y = 0 and y'y = n - p, shape (n, p + 1).
    """

    part: FixedPart
    columns: Floats

    @property
    def spare(self) -> int:
        """Residual degrees of freedom n - p."""
        return int(self.columns.shape[0] - self.columns.shape[1] + 1)


def reduce_fixed(response: Floats, fixed: Floats) -> Reduced:
    """Fit the fixed part by least squares.

    Parameters
    ----------
    response
        Shape (n,).
    fixed
        Shape (n, p), collinear columns included.

    Returns
    -------
    Reduced

    Raises
    ------
    ModelError
        If the response is fully explained, or no residual degree of freedom is left.
    """
    basis, triangle = np.linalg.qr(fixed)
    kept, dropped, aliases = independent_columns(triangle)
    spare = response.size - len(kept)
    if spare < 1:
        raise ModelError(
            say(
                "{records} records are too few for the {coefficients} coefficients of the formula: "
                "nothing is left to judge the error by. Add replicates, or drop terms.",
                records=response.size,
                coefficients=len(kept),
            )
        )
    if dropped:
        basis, triangle = np.linalg.qr(fixed[:, kept])
    projected, residual = _least_squares(basis, response)
    scale = float(np.sqrt(residual @ residual / spare))
    _check_explained(response, scale * np.sqrt(spare))
    part = FixedPart(tuple(kept), tuple(dropped), triangle, aliases, projected, scale)
    columns = np.empty((response.size, len(kept) + 1), order="F")
    columns[:, :-1] = basis
    np.divide(residual, scale, out=columns[:, -1])
    return Reduced(part, columns)


def _check_size(blocks: tuple[RandomBlock, ...]) -> None:
    groups = sum(sum(block.sizes) for block in blocks)
    if groups > MOST_GROUPS:
        names = " and ".join(f"'{name}'" for block in blocks for name in block.terms)
        raise ModelError(
            f"The random terms {names} make {groups} groups, more than the {MOST_GROUPS} that "
            "fit into memory. Use larger groups, or average the records of each group first."
        )


def independent_columns(triangle: Floats) -> tuple[list[int], list[int], Floats]:
    """Keep each column that earlier ones do not span; write the others through the kept.

    Parameters
    ----------
    triangle
        R of the columns' QR decomposition, shape (columns or fewer, columns).

    Returns
    -------
    list of int, list of int, ndarray
        Positions kept and dropped; the dropped over the kept, shape (kept, dropped).
    """
    lengths = np.sqrt((triangle**2).sum(axis=0))
    kept: list[int] = []
    dropped: list[int] = []
    span = np.zeros((triangle.shape[0], 0))
    for column, length in enumerate(lengths):
        rest = triangle[:, column] / (length or 1.0)
        for _ in range(2):  # twice is enough to stay orthogonal
            rest = rest - span @ (span.T @ rest)
        size = float(np.linalg.norm(rest))
        if length == 0 or size <= _COLLINEAR:
            dropped.append(column)
        else:
            kept.append(column)
            span = np.column_stack([span, rest / size])
    aliases = np.linalg.lstsq(triangle[:, kept], triangle[:, dropped], rcond=None)[0]
    return kept, dropped, np.asarray(aliases, dtype=np.float64)


def _least_squares(basis: Floats, response: Floats) -> tuple[Floats, Floats]:
    projected = basis.T @ response
    residual = response - basis @ projected
    correction = basis.T @ residual  # a second pass removes what rounding left
    return projected + correction, residual - basis @ correction


def _check_explained(response: Floats, left: float) -> None:
    spread = float(np.linalg.norm(response - response.mean()))
    rounding = 8 * np.finfo(float).eps * float(np.linalg.norm(response))
    if left <= max(_EXPLAINED * spread, rounding):
        raise ModelError(
            say(
                "The formula reproduces every record exactly, so no error is left to judge by. "
                "Check that the response is measured and not computed from the other columns."
            )
        )


def cross_products(reduced: Reduced, blocks: tuple[RandomBlock, ...]) -> CrossProducts:
    """Reduce n records to cross-products.

    Parameters
    ----------
    reduced
        The fixed part and the response.
    blocks
        The random terms.

    Returns
    -------
    CrossProducts

    Raises
    ------
    ModelError
        If there are too many groups.
    """
    _check_size(blocks)
    records, parameters = reduced.columns.shape[0], reduced.columns.shape[1] - 1
    terms, sizes, member = layout(blocks)
    if not blocks:
        whole = np.diag([1.0] * parameters + [float(records - parameters)])
        return CrossProducts(records, parameters, terms, sizes, member, whole[:0], whole)
    square = np.block([[cross(a, b, records) for b in blocks] for a in blocks])
    square_root, inverse = roots(square)
    effects, rest = _split(reduced.columns, blocks, inverse)
    between = square_root @ np.column_stack([np.eye(len(square)), effects])
    within = np.array([[first @ second for second in rest.T] for first in rest.T])
    return CrossProducts(
        records, parameters, terms, sizes, member, np.asfortranarray(between), within
    )


def layout(blocks: tuple[RandomBlock, ...]) -> tuple[tuple[str, ...], tuple[int, ...], Floats]:
    """Return names and sizes of all terms, and which term each column of Z belongs to."""
    terms = tuple(name for block in blocks for name in block.terms)
    sizes = tuple(size for block in blocks for size in block.sizes)
    return terms, sizes, np.repeat(np.eye(len(sizes)), sizes, axis=0)


def roots(square: Floats) -> tuple[Floats, Floats]:
    """Return K with K'K = Z'Z, shape (r, q), and a generalised inverse of Z'Z."""
    size = np.sqrt(np.diag(square))
    size[size == 0] = 1.0
    values, vectors = np.linalg.eigh(square / np.outer(size, size))
    used = values > _EMPTY_DIRECTION * values[-1]
    square_root = np.sqrt(values[used])[:, None] * vectors[:, used].T * size
    inverse_root = vectors[:, used].T / np.sqrt(values[used])[:, None] / size
    return square_root, inverse_root.T @ inverse_root


def _split(
    columns: Floats, blocks: tuple[RandomBlock, ...], inverse: Floats
) -> tuple[Floats, Floats]:
    """Split columns into effects of the groups and what lies within, by least squares.

    The second pass takes out what rounding left in the first: sums over ten thousands of
    records a group, and groups that are crossed with few ties between them.
    """
    effects = np.zeros((inverse.shape[0], columns.shape[1]))
    rest = columns.copy(order="F")
    everything = slice(0, columns.shape[0])
    edges = np.cumsum([sum(block.sizes) for block in blocks])[:-1]
    for _ in range(2):
        sums = np.concatenate([block.sums(rest, everything) for block in blocks])
        change = inverse @ sums
        parts = np.split(change, edges)
        for begin in range(0, columns.shape[0], CHUNK):
            rows = slice(begin, begin + CHUNK)
            for block, part in zip(blocks, parts, strict=True):
                rest[rows] -= block.spread(part, rows)
        effects += change
    return effects, rest


def check_random_terms(products: CrossProducts, labels: tuple[str, ...]) -> None:
    """Refuse random terms that the data cannot tell apart.

    Parameters
    ----------
    products
        Cross-products of the data.
    labels
        Columns of the formula that act as labels, for the message.

    Raises
    ------
    ModelError
        If a term is spanned by the fixed part, or two variances act alike.
    """
    if not products.terms:
        return
    fixed = products.between[:, products.member.shape[0] : -1]
    whole = products.groups.T @ products.groups
    outside = whole - products.groups.T @ (fixed @ fixed.T) @ products.groups
    own = products.member.T @ np.diag(whole)
    left = products.member.T @ np.diag(outside)
    for name, scatter, rest in zip(products.terms, own, left, strict=True):
        if rest <= _ALIASED * scatter:
            raise ModelError(aliased_message(name, labels))
    _check_separable(products, outside, left)


def aliased_message(name: str, labels: tuple[str, ...]) -> str:
    """Say that a random term is spanned by the formula, whose columns of labels are given."""
    beside = joined([f"'{label}'" for label in labels]) or say("the formula")
    return say(
        "The random term '{term}' cannot be told from {beside}: differences between its groups are "
        "already in the formula. If each treatment lies in only one '{term}', the trial has no "
        "replication to judge it by; if '{term}' is in the formula, leave it out of one place.",
        term=name,
        beside=beside,
    )


def _check_separable(products: CrossProducts, outside: Floats, left: Floats) -> None:
    """Look for variances that act alike, in the information at zero variances."""
    count = len(products.terms)
    information = np.empty((count + 1, count + 1))
    information[:count, :count] = products.member.T @ (outside**2) @ products.member
    information[count, :count] = information[:count, count] = left
    information[count, count] = products.spare
    size = np.sqrt(np.diag(information))
    values, vectors = np.linalg.eigh(information / np.outer(size, size))
    if values[0] > _SAME_VARIANCE:
        return
    names = [*(f"'{name}'" for name in products.terms), say("the scatter between records")]
    involved = np.abs(vectors[:, 0]) > 1e-4
    alike = [name for name, inside in zip(names, involved, strict=True) if inside]
    raise ModelError(
        say(
            "These data cannot tell apart {terms}: they group the records alike. Keep one of the "
            "random terms, or give more records a group.",
            terms=joined(alike),
        )
    )
