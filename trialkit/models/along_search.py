"""The search for the correlation along the pass: ratio and range, by Newton's method.

For each ratio and range the engine finds the variances of the random terms; the profile over
those two has exact first and second derivatives. Where the profile has no inner optimum, the
search ends on a limit, and that is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from trialkit.models.along_likelihood import (
    AlongCurvature,
    AlongPoint,
    PassRecords,
    evaluate_along,
    full_curvature,
)
from trialkit.models.crossproducts import CrossProducts
from trialkit.models.process_weights import weigh
from trialkit.models.records import Floats
from trialkit.models.reml import maximise

#: Least and largest variance of the process over that of the nugget. Beyond, one of the two
#: is no longer there.
_RATIOS = (1e-6, 1e6)
#: The range is sought from this share of a small gap up to so many times the longest pass.
_SHORTEST, _LONGEST = 0.1, 100.0
#: Ratios, and number of ranges, of the grid on which the search begins.
_GRID_RATIOS, _GRID_RANGES = (0.1, 0.5, 2.0, 10.0, 50.0), 8
#: Newton steps before the search is called off, and halvings of one step.
_MAX_STEPS, _HALVINGS = 60, 30
#: Largest change of a logarithm in one step.
_STRIDE = 2.0
#: Twice the drop of the criterion that one more step promises, at which the search ends.
_DECREMENT = 1e-8
#: A gain of the criterion over the model without correlation that is only rounding.
_NO_GAIN = 1e-6


@dataclass(frozen=True, slots=True)
class AlongFit:
    """Where the search ended.

    Parameters
    ----------
    point
        The best point found.
    curvature
        The likelihood's curvature there.
    free
        Whether ratio and range ended inside their limits.
    limits
        Lowest and highest range looked at.
    converged
        Whether the search ended at an optimum inside the limits of the range.
    """

    point: AlongPoint
    curvature: AlongCurvature
    free: tuple[bool, bool]
    limits: tuple[float, float]
    converged: bool


def search_along(records: PassRecords, plain: CrossProducts) -> AlongFit | None:
    """Find ratio and range with the highest restricted likelihood.

    Parameters
    ----------
    records
        The data, in the order of their passes.
    plain
        Cross-products of the same records without correlation.

    Returns
    -------
    AlongFit or None
        None where no ratio and range beat the model without correlation: the process has
        variance zero.
    """
    lowest, highest = _box(records.gaps)
    fits = [
        _descend(records, start, lowest, highest) for start in _starts(records, lowest, highest)
    ]
    ended = [fit for fit in fits if fit.converged]
    best = min(ended or fits, key=lambda fit: fit.point.criterion)
    without = maximise(plain)
    if without.converged and without.state.criterion <= best.point.criterion + _NO_GAIN:
        return None
    return best


def _box(gaps: Floats) -> tuple[Floats, Floats]:
    """Return the lowest and the highest log(ratio) and log(range) looked at."""
    inside = np.where(np.isfinite(gaps), gaps, 0.0)
    run = np.cumsum(inside)
    begins = np.flatnonzero(np.isinf(gaps))
    ends = np.append(begins[1:], gaps.size) - 1
    small = float(np.quantile(inside[inside > 0], 0.01))
    ranges = (_SHORTEST * small, _LONGEST * float((run[ends] - run[begins]).max()))
    lowest, highest = np.log(np.array([_RATIOS, ranges]).T)
    return lowest, highest


def _starts(records: PassRecords, lowest: Floats, highest: Floats) -> list[Floats]:
    """Return the better two of three beginnings.

    One is the best of a grid for the response alone, without random terms; the others are a
    short and a long range.
    """
    middle = records.gaps[np.isfinite(records.gaps)]
    near, far = np.log(np.median(middle[middle > 0])), highest[1] - np.log(_LONGEST)
    residual = np.asfortranarray(records.columns[:, -1:])

    def alone(point: tuple[float, float]) -> float:
        found = weigh(residual, records.gaps, point[0], np.exp(point[1]), bends=False)
        return float(residual.size * np.log(found.matrix[0, 0]) + found.log_determinant)

    best = min(product(_GRID_RATIOS, np.linspace(near, far, _GRID_RANGES)), key=alone)
    points = [(np.log(best[0]), best[1]), (0.0, near + np.log(3.0)), (0.0, far - np.log(4.0))]
    starts = [np.clip(np.array(point), lowest, highest) for point in points]
    heights = [_at(records, start, bends=False).criterion for start in starts]
    return [starts[place] for place in np.argsort(heights, kind="stable")[:2]]


def _at(records: PassRecords, place: Floats, *, bends: bool = True) -> AlongPoint:
    return evaluate_along(records, float(np.exp(place[0])), float(np.exp(place[1])), bends=bends)


def _descend(records: PassRecords, place: Floats, lowest: Floats, highest: Floats) -> AlongFit:
    """Follow Newton's steps inside the limits until none promises anything."""
    point, converged = _at(records, place), False
    rounding = 1e-14 * records.gaps.size
    for _ in range(_MAX_STEPS):
        gradient, hessian = _profile(full_curvature(point))
        step, decrement = _step(place, gradient, hessian, lowest, highest)
        converged = decrement <= _DECREMENT
        if converged and not step.any():
            break
        further = None
        for halving in range(1 if converged else _HALVINGS):
            trial = np.clip(place + step / 2**halving, lowest, highest)
            found = _at(records, trial)
            if found.criterion <= point.criterion - 1e-4 * decrement / 2**halving + rounding:
                further = trial, found
                break
        if further is None:
            break
        place, point = further
        if converged:
            break
    inside = (place > lowest) & (place < highest)
    limits = (float(np.exp(lowest[1])), float(np.exp(highest[1])))
    settled = bool(converged and inside[1] and point.inner.converged)
    return AlongFit(
        point, full_curvature(point), (bool(inside[0]), bool(inside[1])), limits, settled
    )


def _profile(curvature: AlongCurvature) -> tuple[Floats, Floats]:
    """Return gradient and curvature by ratio and range, all other variances at their best."""
    own = slice(-3, -1)
    others = [*range(curvature.gradient.size - 3), curvature.gradient.size - 1]
    cross = curvature.hessian[others, own]
    inner = curvature.hessian[np.ix_(others, others)]
    return curvature.gradient[own], curvature.hessian[own, own] - cross.T @ np.linalg.solve(
        inner, cross
    )


def _step(
    place: Floats, gradient: Floats, hessian: Floats, lowest: Floats, highest: Floats
) -> tuple[Floats, float]:
    """Newton's step on what is free to move, uphill curvature turned round; and its promise."""
    held = ((place <= lowest) & (gradient > 0)) | ((place >= highest) & (gradient < 0))
    step = np.zeros(2)
    free = np.flatnonzero(~held)
    if not free.size:
        return step, 0.0
    values, vectors = np.linalg.eigh(hessian[np.ix_(free, free)])
    firm = np.maximum(np.abs(values), 1e-10 * max(1.0, float(np.abs(values).max())))
    step[free] = -vectors @ (vectors.T @ gradient[free] / firm)
    step *= min(1.0, _STRIDE / max(float(np.abs(step).max()), _STRIDE))
    return step, float(-gradient @ step)
