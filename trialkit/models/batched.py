"""Many small fits at once: one layout of strips, thousands of responses.

Simulation and rehearsal fit the same strips again and again, with other yields each time.
What the layout alone decides is done once; what hangs on the yields is done for all fits
together. With H = I + g ZZ' and a block of n strips, everything needed is a sum over blocks of

    H^-k = I + sum_b ((1 + g n_b)^-k - 1) / n_b z_b z_b',

and the restricted likelihood depends on the yields only through their squares along the
eigenvectors of M ZZ' M, where M takes out the treatments.

Sources: Patterson and Thompson 1971, Biometrika 58:545-554; Kenward and Roger 1997, Biometrics
53:983-997; for negative block variances Stroup and Littell 2002, Kansas State University
Conference on Applied Statistics in Agriculture (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import stdtr, stdtrit

from trialkit.errors import ModelError
from trialkit.models.estimates import check_confidence
from trialkit.models.information import invert
from trialkit.models.records import Floats, label_codes, level_values

_WAYS = ("random", "unbounded", "fixed")
#: Eigenvalues nearer to each other than this share of the largest are the same.
_SAME = 1e-9
#: Places of log(1 + g n) where the search begins, for the largest block, n strips.
_GRID = np.linspace(0.0, np.log(1e10), 47)
#: The same below zero: how far the variance of the largest block's mean may fall, as a share.
_BELOW = np.linspace(np.log(1e-6), 0.0, 28)[:-1]
#: Halvings or Newton steps; Newton needs about six, halving alone reaches rounding in these.
_STEPS = 60
#: A residual sum of squares below this share of the total is rounding, not scatter.
_NO_SCATTER = 1e-16


@dataclass(frozen=True, slots=True, eq=False)
class BatchFit:
    """Differences from one treatment, for every fit.

    Parameters
    ----------
    treatments
        The treatments compared, in the order of the columns below.
    against
        The treatment subtracted.
    estimate, std_error, df, p, low, high
        In the unit of the response, shape (fits, treatments).
    block_variance
        Variance between blocks, shape (fits,); not a number where blocks are fixed effects.
    residual_variance
        Variance between strips of a block, shape (fits,).
    """

    treatments: tuple[object, ...]
    against: object
    estimate: Floats
    std_error: Floats
    df: Floats
    p: Floats
    low: Floats
    high: Floats
    block_variance: Floats
    residual_variance: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Layout:
    """What the layout alone decides; p treatments, J distinct eigenvalues, S block sizes.

    Parameters
    ----------
    x, z
        Indicators of treatments and blocks, shapes (strips, p) and (strips, blocks).
    contrasts
        Differences to take, shape (p - 1, p).
    eigenvalues, counts, axes
        Distinct eigenvalues of M ZZ' M off the treatments (J,), how often each stands, and
        all eigenvectors (strips, strips - p), with `place` (strips - p,) saying whose they are.
    sizes, sums
        Distinct block sizes (S,), and the sum of x_b x_b' over blocks of each, (S, p, p).
    """

    x: Floats
    z: Floats
    contrasts: Floats
    eigenvalues: Floats
    counts: Floats
    axes: Floats
    place: np.ndarray
    sizes: Floats
    sums: Floats


def fit_batch(
    responses: ArrayLike,
    treatment: ArrayLike,
    block: ArrayLike,
    *,
    against: object,
    blocks: str = "random",
    confidence: float = 0.95,
) -> BatchFit:
    """Fit `y ~ treatment` in blocks to many responses of one layout.

    Parameters
    ----------
    responses
        One row a fit, one column a strip, shape (fits, strips).
    treatment, block
        Labels of the strips, shape (strips,).
    against
        The treatment to subtract, such as `"untreated"`.
    blocks
        `"random"`: random blocks, variance not below zero, REML and Kenward-Roger, as
        `fit_mixed(..., random=["block"])`. `"unbounded"`: the same with a variance that may be
        negative, down to where the largest blocks' means would not vary at all; in uneven
        blocks the standard error there is not adjusted. `"fixed"`: blocks as fixed effects; for
        pairs, the paired t.
    confidence
        Level of the intervals, between 0 and 1.

    Returns
    -------
    BatchFit

    Raises
    ------
    ModelError
        If the layout cannot tell the treatments apart, or a response has no scatter.

    Examples
    --------
    >>> import numpy as np
    >>> yields = np.random.default_rng(1).normal(3.0, 0.2, size=(5000, 12))
    >>> arms = ["dressed", "untreated"] * 6
    >>> pairs = np.repeat(np.arange(6), 2)
    >>> found = fit_batch(yields, arms, pairs, against="untreated", blocks="fixed")
    >>> bool(0.04 < (found.p < 0.05).mean() < 0.06)
    True
    """
    check_confidence(confidence)
    if blocks not in _WAYS:
        raise ModelError(f"blocks='{blocks}' is not known. Give one of: {', '.join(_WAYS)}.")
    y = np.asarray(responses, dtype=np.float64)
    arms, groups = pd.Series(treatment), pd.Series(block)
    _check(y, arms, groups)
    levels = level_values(arms)
    if against not in levels or len(levels) < 2:
        known = ", ".join(f"'{level}'" for level in levels)
        raise ModelError(f"There is nothing to hold against '{against}': the strips have {known}.")
    layout = _measure(arms, groups, levels.index(against))
    others = tuple(level for level in levels if level != against)
    if blocks == "fixed":
        estimate, variance, df, residual = _blocks_fixed(layout, y)
        between = np.full(len(y), np.nan)
    else:
        ratio = _search(layout, y, below=blocks == "unbounded")
        estimate, variance, df, residual = _blocks_random(layout, y, ratio)
        between = ratio * residual
    error = np.sqrt(variance)
    half = error * stdtrit(df, (1 + confidence) / 2)
    tails = 2 * stdtr(df, -np.abs(estimate / error))
    low, high = estimate - half, estimate + half
    return BatchFit(others, against, estimate, error, df, tails, low, high, between, residual)


def _check(y: Floats, arms: pd.Series, groups: pd.Series) -> None:
    if y.ndim != 2 or y.shape[1] != len(arms) or len(arms) != len(groups):
        raise ModelError(
            f"The responses have the shape {y.shape}, for {len(arms)} treatments and "
            f"{len(groups)} blocks. Give one row a fit and one column a strip."
        )
    if not np.isfinite(y).all():
        row = int(np.flatnonzero(~np.isfinite(y).all(axis=1))[0])
        raise ModelError(f"Row {row} of the responses holds an empty or infinite value.")
    if arms.isna().any() or groups.isna().any():
        raise ModelError("A strip has no treatment or no block. Leave such strips out.")


def _measure(arms: pd.Series, groups: pd.Series, base: int) -> _Layout:
    x, z = (_indicators(labels) for labels in (arms, groups))
    treatments, strips = x.shape[1], len(x)
    if not 1 < z.shape[1] < strips:
        raise ModelError("Blocks have to group strips: more than one block, fewer than strips.")
    if strips - treatments < 2:
        raise ModelError(f"{strips} strips are too few for {treatments} treatments.")
    contrasts = np.delete(np.eye(treatments), base, axis=0)
    contrasts[:, base] = -1.0
    rest = np.linalg.svd(x, full_matrices=True)[0][:, treatments:]
    values, vectors = np.linalg.eigh(rest.T @ z @ z.T @ rest)
    values = np.where(values < _SAME * values[-1], 0.0, values)
    new = np.append(True, np.diff(values) > _SAME * values[-1])
    place = np.cumsum(new) - 1
    sizes, which = np.unique(z.sum(axis=0), return_inverse=True)
    inside = z.T @ x
    sums = np.stack([inside[which == s].T @ inside[which == s] for s in range(len(sizes))])
    counts = np.bincount(place).astype(np.float64)
    return _Layout(x, z, contrasts, values[new], counts, rest @ vectors, place, sizes, sums)


def _indicators(labels: pd.Series) -> Floats:
    codes, count = label_codes(labels)
    return np.eye(count)[codes]


def _squares(layout: _Layout, y: Floats) -> Floats:
    """Sum of squares of each response along each distinct eigenvalue, shape (fits, J)."""
    squares = ((y - y.mean(axis=1, keepdims=True)) @ layout.axes) ** 2
    return np.asarray(squares @ np.eye(len(layout.eigenvalues))[layout.place])


def _search(layout: _Layout, y: Floats, *, below: bool) -> Floats:
    """Return the REML ratio of block to residual variance for each fit.

    The search runs over log(1 + g n), n the largest block, so that a negative g can reach no
    further than a positive variance of every block mean allows.
    """
    squares = _squares(layout, y)
    total = ((y - y.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    if (squares[:, 0] <= _NO_SCATTER * total).any():
        row = int((squares[:, 0] <= _NO_SCATTER * total).argmax())
        raise ModelError(f"Row {row} of the responses has no scatter inside blocks.")
    grid = np.concatenate([_BELOW, _GRID]) if below else _GRID
    largest = layout.sizes[-1]
    start = _criterion(layout, squares, np.expm1(grid) / largest).argmin(axis=1)
    low, high = grid[np.maximum(start - 1, 0)], grid[np.minimum(start + 1, len(grid) - 1)]
    x = grid[start]
    for _ in range(_STEPS):
        slope, bend = _derivatives(layout, squares, x, largest)
        low, high = np.where(slope < 0, x, low), np.where(slope < 0, high, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = x - slope / bend
        inside = (newton > low) & (newton < high) & (bend > 0)
        further = np.where(inside, newton, (low + high) / 2)
        moved, x = np.abs(further - x), further
        if (moved <= 1e-13 * (1 + np.abs(x))).all():
            break
    ratio: Floats = np.expm1(x) / largest
    if not below:
        # Where the criterion rises from zero on, halving has only come near to zero.
        slope, _ = _derivatives(layout, squares, np.zeros_like(x), largest)
        ratio[(start == 0) & (slope >= 0)] = 0.0
    return ratio


def _criterion(layout: _Layout, squares: Floats, ratios: Floats) -> Floats:
    """-2 log restricted likelihood but for constants, shape (fits, ratios)."""
    spread = 1 + np.multiply.outer(layout.eigenvalues, ratios)
    residual = squares @ (1 / spread)
    return np.asarray(layout.counts.sum() * np.log(residual) + layout.counts @ np.log(spread))


def _derivatives(
    layout: _Layout, squares: Floats, x: Floats, largest: float
) -> tuple[Floats, Floats]:
    """First and second derivative of the criterion by x = log(1 + g n), shape (fits,)."""
    spread = 1 + np.multiply.outer(np.expm1(x) / largest, layout.eigenvalues)
    share = layout.eigenvalues * (np.exp(x) / largest)[:, None] / spread
    left = squares / spread
    sum0, sum1 = left.sum(axis=1), (left * share).sum(axis=1)
    sum2 = (left * share**2).sum(axis=1)
    spare = layout.counts.sum()
    slope = share @ layout.counts - spare * sum1 / sum0
    turned = (2 * sum2 - sum1) / sum0 - (sum1 / sum0) ** 2
    bend = (share - share**2) @ layout.counts + spare * turned
    return slope, bend


def _blocks_random(
    layout: _Layout, y: Floats, ratio: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Estimates, adjusted variances, df (fits, contrasts) and residual variances (fits,)."""
    shrink = 1 / (1 + np.multiply.outer(ratio, layout.sizes))

    def between(power: int, weights: Floats | float = 1.0) -> Floats:
        """X'H^-i G H^-j X with i + j = power, weighted by block size."""
        return np.asarray(np.einsum("fs,spq->fpq", shrink**power * weights, layout.sums))

    def whole(power: int) -> Floats:
        """X'H^-power X."""
        change = (shrink**power - 1) / layout.sizes
        blocks = np.einsum("fs,spq->fpq", change, layout.sums)
        return np.asarray(layout.x.T @ layout.x + blocks)

    plain = np.linalg.inv(whole(1))
    slopes = np.stack([between(2), whole(2)], axis=1)
    curved = np.empty((len(y), 2, 2, *plain.shape[1:]))
    curved[:, 0, 0], curved[:, 1, 1] = between(3, layout.sizes), whole(3)
    curved[:, 0, 1] = curved[:, 1, 0] = between(3)
    weights = _weights(layout, ratio)
    spread = np.einsum("fij,fijpq->fpq", weights, curved)
    spread -= np.einsum("fij,fipq,fqr,fjrs->fps", weights, slopes, plain, slopes, optimize=True)
    adjusted = plain + 2 * plain @ spread @ plain
    grand = y.mean(axis=1, keepdims=True)
    coefficients = np.einsum("fpq,fq->fp", plain, _right_side(layout, y - grand, ratio))
    left = _squares(layout, y) / (1 + np.multiply.outer(ratio, layout.eigenvalues))
    residual = left.sum(axis=1) / layout.counts.sum()
    rows = layout.contrasts
    half = rows @ plain
    unadjusted = np.einsum("fcp,cp->fc", half, rows)
    variance = np.einsum("cp,fpq,cq->fc", rows, adjusted, rows)
    # Only a negative block variance at its limit, in uneven blocks, drives the adjustment so far.
    variance = residual[:, None] * np.where(variance > 0, variance, unadjusted)
    moved = np.einsum("fcp,fipq,fcq->fci", half, slopes, half)
    share = moved / unadjusted[:, :, None]
    df = 2 / np.einsum("fci,fij,fcj->fc", share, weights, share)
    return coefficients @ rows.T, variance, df, residual


def _right_side(layout: _Layout, y: Floats, ratio: Floats) -> Floats:
    """X'H^-1 y, shape (fits, p)."""
    sizes = layout.z.sum(axis=0)
    kept = ratio[:, None] / (1 + np.multiply.outer(ratio, sizes))
    return np.asarray(y @ layout.x - (kept * (y @ layout.z)) @ (layout.z.T @ layout.x))


def _weights(layout: _Layout, ratio: Floats) -> Floats:
    """Covariance of the two variances' estimates, shape (fits, 2, 2)."""
    spread = 1 + np.multiply.outer(ratio, layout.eigenvalues)
    share = layout.eigenvalues / spread
    first, last = share**2 @ layout.counts, spread**-2 @ layout.counts
    crossed = (share / spread) @ layout.counts
    determinant = first * last - crossed**2
    known = determinant > 1e-11 * first * last
    if not known.all():
        information = np.array([[first, crossed], [crossed, last]]).transpose(2, 0, 1)
        return np.stack([2 * invert(matrix) for matrix in information])
    inverse = np.array([[last, -crossed], [-crossed, first]]) / determinant
    return np.asarray(2 * inverse.transpose(2, 0, 1))


def _blocks_fixed(layout: _Layout, y: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Estimates, variances, df (fits, contrasts) and residual variances (fits,)."""
    design = np.hstack([layout.x, layout.z])
    solve = np.linalg.pinv(design, rcond=_SAME)
    contrasts = np.hstack([layout.contrasts, np.zeros((len(layout.contrasts), layout.z.shape[1]))])
    if np.abs(contrasts @ solve @ design - contrasts).max() > 1e-8:
        raise ModelError(
            "Treatments that never share a block cannot be compared inside blocks. "
            "Check the blocks, or give blocks='random'."
        )
    spare = len(design) - int(np.linalg.matrix_rank(design, tol=1e-8))
    if spare < 1:
        raise ModelError(
            "After treatments and blocks no scatter is left to judge by. More whole blocks are "
            "needed."
        )
    centred = y - y.mean(axis=1, keepdims=True)
    left = centred - (centred @ solve.T) @ design.T
    total = (centred**2).sum(axis=1)
    squares = (left**2).sum(axis=1)
    if (squares <= _NO_SCATTER * total).any():
        row = int((squares <= _NO_SCATTER * total).argmax())
        raise ModelError(f"Row {row} of the responses has no scatter inside blocks.")
    residual = squares / spare
    rows = contrasts @ solve
    variance = np.multiply.outer(residual, (rows**2).sum(axis=1))
    return centred @ rows.T, variance, np.full(variance.shape, float(spare)), residual
