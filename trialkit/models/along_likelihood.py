"""The restricted likelihood of a model with correlation along the pass, and its derivatives.

Weighted by R^-1 (see `process_weights`), the cross-products of [Z X y] are all that the rest
needs: at a given ratio and range the variances of the random terms come from the same engine
as without correlation. The curvature in all variances together follows from

    -2 log L = (n - p) log s2 + log|R| + log|C| + sum_k q_k log(g_k) + e'M e / s2,

M the weighted cross-products with 1/g_k added on the diagonal of random term k, C its part
over [Z X], and e = (-b, 1) with b the solution of Henderson's mixed model equations C b =
[Z X]'R^-1 y (Henderson 1975, Biometrics 31:423-447; Harville 1977, JASA 72:320-338).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.models.crossproducts import CrossProducts, Reduced, layout, roots
from trialkit.models.process_weights import Moments, weigh
from trialkit.models.random_blocks import RandomBlock
from trialkit.models.records import Codes, Floats
from trialkit.models.reml import RemlFit, maximise

#: Whole passes are weighed together up to about so many records: few calls, few groups at once.
_RUN = 512


@dataclass(frozen=True, slots=True)
class PassRecords:
    """Records in the order of their passes, reduced to the scaled problem.

    Parameters
    ----------
    columns
        [Q y] of the scaled problem, shape (n, p + 1).
    blocks
        The random terms, for the records in this order.
    gaps
        Distance to the record before in the same pass, infinite for the first, shape (n,).
    """

    columns: Floats
    blocks: tuple[RandomBlock, ...]
    gaps: Floats

    @property
    def groups(self) -> int:
        """Columns of Z."""
        return sum(sum(block.sizes) for block in self.blocks)


@dataclass(frozen=True, slots=True)
class AlongPoint:
    """The likelihood at one ratio and range, best over the variances of the random terms.

    Parameters
    ----------
    ratio, reach
        Variance of the process over that of the nugget, and range.
    criterion
        -2 log restricted likelihood of the scaled problem, constants left out.
    inner
        Where the engine ended.
    products
        The weighted cross-products.
    moments
        The same with their derivatives.
    """

    ratio: float
    reach: float
    criterion: float
    inner: RemlFit
    products: CrossProducts
    moments: Moments


@dataclass(frozen=True, slots=True)
class AlongCurvature:
    """Derivatives of -2 log restricted likelihood in all variances above zero together.

    They are taken by the logarithms of: 1 / ratio of each random term above zero, the ratio of
    the process to the nugget, the range, the variance of the nugget; k of them.

    Parameters
    ----------
    gradient, hessian
        Shapes (k,) and (k, k).
    covariance
        (X'H^-1 X)^-1, shape (p, p).
    moves
        Its change, together with that of the residual variance, shape (k, p, p).
    """

    gradient: Floats
    hessian: Floats
    covariance: Floats
    moves: Floats


def in_passes(
    reduced: Reduced, blocks: tuple[RandomBlock, ...], order: Codes, gaps: Floats
) -> PassRecords:
    """Put the reduced records in the order of their passes.

    Parameters
    ----------
    reduced
        Fixed part and response, in the order of the table.
    blocks
        The random terms, likewise.
    order
        Positions of the records, pass by pass, by rising distance.
    gaps
        Distance to the record before in that order, infinite where a pass begins.

    Returns
    -------
    PassRecords
    """
    columns = np.asfortranarray(reduced.columns[order])
    return PassRecords(columns, tuple(block.arrange(order) for block in blocks), gaps)


def evaluate_along(records: PassRecords, ratio: float, reach: float, *, bends: bool) -> AlongPoint:
    """Return the likelihood at a ratio and range.

    Parameters
    ----------
    records
        The data.
    ratio, reach
        Variance of the process over that of the nugget, and range.
    bends
        Whether the derivatives of the moments are wanted too.

    Returns
    -------
    AlongPoint
    """
    moments = _add_up(records, ratio, reach, bends=bends)
    products = _products(records, moments.matrix)
    inner = maximise(products)
    criterion = inner.state.criterion + moments.log_determinant
    return AlongPoint(ratio, reach, criterion, inner, products, moments)


def _add_up(records: PassRecords, ratio: float, reach: float, *, bends: bool) -> Moments:
    """Weigh run after run of whole passes, each with the groups it holds."""
    size = records.groups + records.columns.shape[1]
    matrix, first, second = (
        np.zeros((size, size)),
        np.zeros((2, size, size)),
        np.zeros((3, size, size)),
    )
    log_determinant, log_first, log_second = 0.0, np.zeros(2), np.zeros(3)
    for rows in _runs(records.gaps):
        places, columns = _run_columns(records, rows)
        part = weigh(columns, records.gaps[rows], ratio, reach, bends=bends)
        where = np.ix_(places, places)
        matrix[where] += part.matrix
        log_determinant += part.log_determinant
        if bends:
            for derivative in range(2):
                first[derivative][where] += part.first[derivative]
            for derivative in range(3):
                second[derivative][where] += part.second[derivative]
            log_first += part.log_first
            log_second += part.log_second
    return Moments(matrix, log_determinant, first, second, log_first, log_second)


def _runs(gaps: Floats) -> list[slice]:
    """Cut the records into runs of whole passes."""
    begins = np.flatnonzero(np.isinf(gaps))
    kept = [0]
    for begin in begins[1:]:
        if begin - kept[-1] >= _RUN:
            kept.append(int(begin))
    return [slice(a, b) for a, b in zip(kept, [*kept[1:], gaps.size], strict=True)]


def _run_columns(records: PassRecords, rows: slice) -> tuple[Codes, Floats]:
    """Return [Z Q y] of a run without the groups absent from it, and which columns those are."""
    places, columns, edge = [], [], 0
    for block in records.blocks:
        present, values = block.dense(rows)
        places.append(present + edge)
        columns.append(values)
        edge += sum(block.sizes)
    places.append(np.arange(edge, edge + records.columns.shape[1]))
    columns.append(records.columns[rows])
    return np.concatenate(places), np.asfortranarray(np.column_stack(columns))


def _products(records: PassRecords, matrix: Floats) -> CrossProducts:
    """Lay the weighted cross-products out for the engine."""
    edge = records.groups
    terms, sizes, member = layout(records.blocks)
    count = records.columns.shape[1] - 1
    square_root, inverse = roots(matrix[:edge, :edge]) if edge else (np.zeros((0, 0)),) * 2
    between = square_root @ np.column_stack([np.eye(edge), inverse @ matrix[:edge, edge:]])
    outer = between[:, edge:]
    within = matrix[edge:, edge:] - outer.T @ outer
    return CrossProducts(
        records.columns.shape[0], count, terms, sizes, member, np.asfortranarray(between), within
    )


def full_curvature(point: AlongPoint) -> AlongCurvature:
    """Differentiate the likelihood in all variances above zero.

    Parameters
    ----------
    point
        Evaluated with derivatives.

    Returns
    -------
    AlongCurvature
    """
    products, state = point.products, point.inner.state
    member = products.member
    positive = np.flatnonzero(state.ratios > 0)
    shown = member[:, positive].sum(axis=1) > 0
    chosen = np.append(
        np.flatnonzero(shown), np.arange(member.shape[0], point.moments.matrix.shape[0])
    )
    where = np.ix_(chosen, chosen)
    count = chosen.size - 1
    own = np.zeros((positive.size, count + 1))
    own[:, : shown.sum()] = (member[shown][:, positive] / state.ratios[positive]).T
    matrix = point.moments.matrix[where] + np.diag(own.sum(axis=0))
    inverse: Floats = np.asarray(np.linalg.inv(matrix[:count, :count]), dtype=np.float64)
    ends = np.append(-inverse @ matrix[:count, count], 1.0)
    first = [*(np.diag(row) for row in own), *(part[where] for part in point.moments.first)]
    pieces = _Pieces.of(first, inverse, ends)
    sizes = np.append(member[:, positive].sum(axis=0), [0.0, 0.0])
    logs = np.append(np.zeros(positive.size), point.moments.log_first)
    gradient = pieces.traces + logs - sizes + pieces.squares / state.residual
    hessian = _hessian(point, own, where, pieces, inverse, ends)
    fixed = slice(int(shown.sum()), count)
    moves = [-part[fixed, :count] @ inverse[:, fixed] for part in pieces.turned]
    covariance = inverse[fixed, fixed]
    return AlongCurvature(
        np.append(gradient, 0.0), hessian, covariance, np.stack([*moves, covariance])
    )


@dataclass(frozen=True, slots=True)
class _Pieces:
    """C^-1 M_i, tr(C^-1 M_i), e'M_i e and the part of M_i e over C, for each variance i."""

    turned: list[Floats]
    traces: Floats
    squares: Floats
    pulls: Floats

    @classmethod
    def of(cls, first: list[Floats], inverse: Floats, ends: Floats) -> _Pieces:
        count = inverse.shape[0]
        turned = [inverse @ part[:count, :count] for part in first]
        pulls = np.stack([part @ ends for part in first])
        traces = np.array([np.trace(part) for part in turned])
        return cls(turned, traces, pulls @ ends, pulls[:, :count])


def _hessian(
    point: AlongPoint,
    own: Floats,
    where: tuple[Codes, ...],
    pieces: _Pieces,
    inverse: Floats,
    ends: Floats,
) -> Floats:
    count, residual = inverse.shape[0], point.inner.state.residual
    crossed = [[float((a * b.T).sum()) for b in pieces.turned] for a in pieces.turned]
    hessian = -np.array(crossed) - 2 * pieces.pulls @ inverse @ pieces.pulls.T / residual
    terms = own.shape[0]
    for place, row in enumerate(own):
        bent = float(np.diag(inverse) @ row[:count]) + row @ ends**2 / residual
        hessian[place, place] += bent
    for place, (i, j) in enumerate(((0, 0), (0, 1), (1, 1))):
        part = point.moments.second[place][where]
        bent = float((inverse * part[:count, :count]).sum()) + ends @ part @ ends / residual
        hessian[terms + i, terms + j] += bent + point.moments.log_second[place]
        hessian[terms + j, terms + i] = hessian[terms + i, terms + j]
    edge = -pieces.squares / residual
    return np.block([[hessian, edge[:, None]], [edge[None, :], np.array([[point.products.spare]])]])
