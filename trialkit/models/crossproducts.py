"""Cross-products of [X y Z]: all that REML and Kenward-Roger need to know of the data.

One pass over the records; afterwards nothing depends on their number. The fixed columns
are made orthonormal (X = Q R) and the response is replaced by its least-squares residual
at unit standard deviation, so that no result hangs on the unit of yield or on a constant
added to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from trialkit.errors import ModelError
from trialkit.models.model_frame import Grouping
from trialkit.models.records import Codes, Floats

#: A column is collinear when less than this share of its length lies outside the columns
#: before it. Map coordinates (6 million m, a field 100 m across) keep 1e-5.
_COLLINEAR = 1e-9
#: The formula explains every record when less than this share of the scatter is left.
_EXPLAINED = 1e-10
#: Share of a random term's own scatter left beside the fixed part, below which it has none.
_ALIASED = 1e-10
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
        return np.asarray(solve_triangular(self.triangle, rows.T, trans="T").T)

    @property
    def log_determinant(self) -> float:
        """Logarithm of |R|, for the REML criterion in the user's own columns."""
        return float(np.log(np.abs(np.diag(self.triangle))).sum())


@dataclass(frozen=True, slots=True)
class CrossProducts:
    """Cross-products of the scaled problem, with Q'Q = I, Q'y = 0 and y'y = n - p.

    Parameters
    ----------
    records, parameters
        n and p.
    terms, sizes
        Name and number of groups of each random term.
    zz, zx, zy
        Z'Z (q, q), Z'Q (q, p) and Z'y (q,), groups of all terms one below the other.
    member
        Which term each group belongs to, as zeros and ones, shape (q, terms).
    """

    records: int
    parameters: int
    terms: tuple[str, ...]
    sizes: tuple[int, ...]
    zz: Floats
    zx: Floats
    zy: Floats
    member: Floats

    @property
    def spare(self) -> int:
        """Residual degrees of freedom n - p, which is also y'y."""
        return self.records - self.parameters


def reduce_data(
    response: Floats, fixed: Floats, groupings: tuple[Grouping, ...]
) -> tuple[FixedPart, CrossProducts]:
    """Reduce n records to cross-products.

    Parameters
    ----------
    response
        Shape (n,).
    fixed
        Shape (n, p).
    groupings
        One per random term.

    Returns
    -------
    FixedPart, CrossProducts

    Raises
    ------
    ModelError
        If the response is constant or fully explained, if no residual degree of freedom is
        left, or if random terms cannot be told from the fixed part or from each other.
    """
    kept, dropped, aliases = _independent_columns(fixed)
    spare = response.size - len(kept)
    if spare < 1:
        raise ModelError(
            f"{response.size} records are too few for the {len(kept)} coefficients of the "
            "formula: nothing is left to judge the error by. Add replicates, or drop terms."
        )
    basis, triangle = np.linalg.qr(fixed[:, kept] if dropped else fixed)
    projected, residual = _least_squares(basis, response)
    scale = float(np.sqrt(residual @ residual / spare))
    _check_scatter(response, scale * np.sqrt(spare))
    part = FixedPart(tuple(kept), tuple(dropped), triangle, aliases, projected, scale)
    return part, _cross_products(basis, residual / scale, groupings)


def _independent_columns(fixed: Floats) -> tuple[list[int], list[int], Floats]:
    """Keep each column that earlier ones do not span; write the others through the kept."""
    triangle = np.asarray(np.linalg.qr(fixed, mode="r"), dtype=float)
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
    return kept, dropped, aliases


def _least_squares(basis: Floats, response: Floats) -> tuple[Floats, Floats]:
    projected = basis.T @ response
    residual = response - basis @ projected
    correction = basis.T @ residual  # a second pass removes what rounding left
    return projected + correction, residual - basis @ correction


def _check_scatter(response: Floats, left: float) -> None:
    if np.ptp(response) == 0:
        raise ModelError(
            f"Every record has the same response, {response[0]:g}. "
            "Check that the right column was read; there is nothing to analyse."
        )
    spread = float(np.linalg.norm(response - response.mean()))
    rounding = 8 * np.finfo(float).eps * float(np.linalg.norm(response))
    if left <= max(_EXPLAINED * spread, rounding):
        raise ModelError(
            "The formula reproduces every record exactly, so no error is left to judge by. "
            "Check that the response is measured and not computed from the other columns."
        )


def _cross_products(
    basis: Floats, residual: Floats, groupings: tuple[Grouping, ...]
) -> CrossProducts:
    terms = tuple(grouping.name for grouping in groupings)
    sizes = tuple(grouping.levels for grouping in groupings)
    zz = np.block([[_count(a, b) for b in groupings] for a in groupings] or [[np.zeros((0, 0))]])
    columns = [*basis.T, residual]
    sums = [np.stack([_sum(g, column) for column in columns], axis=1) for g in groupings]
    totals = np.concatenate(sums) if sums else np.zeros((0, len(columns)))
    member = np.repeat(np.eye(len(sizes)), sizes, axis=0)
    records, parameters = basis.shape
    return CrossProducts(
        records, parameters, terms, sizes, zz, totals[:, :-1], totals[:, -1], member
    )


def _count(first: Grouping, second: Grouping) -> Floats:
    """Count the records shared by each pair of groups, shape (first.levels, second.levels)."""
    if first is second:
        return np.diag(np.bincount(first.codes, minlength=first.levels).astype(float))
    joint: Codes = first.codes * second.levels + second.codes
    counts = np.bincount(joint, minlength=first.levels * second.levels)
    return counts.reshape(first.levels, second.levels).astype(float)


def _sum(grouping: Grouping, values: Floats) -> Floats:
    sums = np.bincount(grouping.codes, weights=values, minlength=grouping.levels)
    return sums.astype(float)


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
    outside = products.zz - products.zx @ products.zx.T
    own = products.member.T @ np.diag(products.zz)
    left = products.member.T @ np.diag(outside)
    for name, whole, rest in zip(products.terms, own, left, strict=True):
        if rest <= _ALIASED * whole:
            raise ModelError(_aliased_message(name, labels))
    _check_separable(products, outside, left)


def _aliased_message(name: str, labels: tuple[str, ...]) -> str:
    beside = " and ".join(f"'{label}'" for label in labels) or "the formula"
    return (
        f"The random term '{name}' cannot be told from {beside}: differences between its groups "
        f"are already in the formula. If each treatment lies in only one '{name}', the trial has "
        f"no replication to judge it by; if '{name}' is in the formula, leave it out of one place."
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
    names = [*(f"'{name}'" for name in products.terms), "the scatter between records"]
    involved = np.abs(vectors[:, 0]) > 1e-4
    alike = [name for name, inside in zip(names, involved, strict=True) if inside]
    raise ModelError(
        f"These data cannot tell apart {' and '.join(alike)}: they group the records alike. "
        "Keep one of the random terms, or give more records a group."
    )
