"""Shapes of a response to rates, by least squares with blocks as fixed effects.

With each rate once in each block, blocks as fixed effects and blocks as random effects give the
same curve; otherwise a little is left aside in exchange for exact t and F. The plateau is
straight up to a knot and level from there (Anderson and Nelson 1975, Biometrics 31:303-318).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import brentq, minimize_scalar
from scipy.special import fdtri

from trialkit.errors import ModelError
from trialkit.models.records import Floats, check_table, label_codes, rows_used, tidy

#: Steps of the search for the knot inside each stretch between two rates.
_STEPS = 24
#: Share of the range of rates nearer than which a knot stands on a rate.
_ON_A_RATE = 1e-6
#: Share of a column left beside the others below which they span it.
_SPANNED = 1e-9
#: Share of the scatter left below which a curve explains every record.
_EXPLAINED = 1e-20


@dataclass(frozen=True, slots=True)
class Ladder:
    """Strips of a ladder of rates.

    Parameters
    ----------
    response, rate
        Shape (n,).
    blocks
        One column of zeros and ones for each block, shape (n, blocks).
    levels
        The rates sown, rising.
    notes
        Sentences on records left out.
    """

    response: Floats
    rate: Floats
    blocks: Floats
    levels: Floats
    notes: tuple[str, ...]

    @property
    def inside(self) -> Floats:
        """Response less its block's mean, shape (n,)."""
        return self.beside_blocks(self.response)

    def beside_blocks(self, columns: Floats) -> Floats:
        """Return columns less their block means."""
        size = self.blocks.sum(axis=0)
        means = (self.blocks.T @ columns).T / size
        return np.asarray(columns - self.blocks @ means.T)


@dataclass(frozen=True, slots=True)
class Curve:
    """A fitted shape.

    Parameters
    ----------
    shape
        `"flat"`, `"linear"`, `"quadratic"` or `"plateau"`.
    names
        Names of the coefficients: `intercept` (the mean of the blocks), `slope`, `bend`, `knot`.
    estimates, covariance
        Of the coefficients, shapes (p,) and (p, p); that of a knot by linearising.
    left, spare
        Residual sum of squares, and its degrees of freedom.
    """

    shape: str
    names: tuple[str, ...]
    estimates: Floats
    covariance: Floats
    left: float
    spare: int

    @property
    def variance(self) -> float:
        """Residual variance."""
        return self.left / self.spare

    def gradient(self, at: Floats) -> Floats:
        """Return the change of the curve with each coefficient, shape (at, p)."""
        one = np.ones_like(at)
        if self.shape == "flat":
            return one[:, None]
        if self.shape == "linear":
            return np.column_stack([one, at])
        if self.shape == "quadratic":
            return np.column_stack([one, at, at**2])
        slope, knot = self.estimates[1:]
        return np.column_stack([one, np.minimum(at, knot), slope * (at > knot)])

    def height(self, at: Floats) -> Floats:
        """Return the curve at rates, shape (at,)."""
        if self.shape != "plateau":
            return np.asarray(self.gradient(at) @ self.estimates)
        start, slope, knot = self.estimates
        return np.asarray(start + slope * np.minimum(at, knot))


def read_ladder(data: pd.DataFrame, response: str, rate: str, block: str | None) -> Ladder:
    """Read the strips of a ladder of rates.

    Raises
    ------
    ModelError
        If a column cannot be used, or fewer than two rates are left.
    """
    check_table(data)
    used = [response, rate] + ([] if block is None else [block])
    rows, notes = rows_used(data, list(dict.fromkeys(used)))
    table = tidy(rows, [response, rate], [])
    yields, rates = (table[name].to_numpy(dtype=float) for name in (response, rate))
    if np.ptp(yields) == 0:
        raise ModelError(f"Every record has the same '{response}'; there is nothing to analyse.")
    levels = np.unique(rates)
    if levels.size < 2:
        raise ModelError(
            f"Column '{rate}' holds only one rate, {levels[0]:g}. A response needs several."
        )
    codes, count = (
        (np.zeros(len(table), dtype=int), 1) if block is None else label_codes(table[block])
    )
    blocks = np.eye(count)[codes]
    return Ladder(yields, rates, blocks[:, blocks.any(axis=0)], levels, notes)


def fit_shape(ladder: Ladder, shape: str) -> Curve:
    """Fit one shape.

    Raises
    ------
    ModelError
        If there are too few rates or strips for it, or rates and blocks cannot be told apart.
    """
    least = {"flat": 1, "linear": 2, "quadratic": 3, "plateau": 3}[shape]
    if ladder.levels.size < least:
        raise ModelError(
            f"The shape '{shape}' needs at least {least} rates; the strips have "
            f"{ladder.levels.size}. Choose a simpler shape."
        )
    if shape == "plateau":
        return _plateau(ladder)
    powers = {"flat": 0, "linear": 1, "quadratic": 2}[shape]
    columns = ladder.rate[:, None] ** np.arange(1, powers + 1)
    return _least_squares(ladder, shape, columns)


def _least_squares(ladder: Ladder, shape: str, columns: Floats) -> Curve:
    spare = _spare(ladder, shape, columns.shape[1])
    estimates, inverse, left = _beside_blocks(ladder, shape, columns)
    names = ("intercept", "slope", "bend")[: estimates.size]
    return Curve(shape, names, estimates, inverse * left / spare, left, spare)


def _spare(ladder: Ladder, shape: str, coefficients: int) -> int:
    blocks = ladder.blocks.shape[1]
    spare = ladder.rate.size - blocks - coefficients
    if spare < 1:
        raise ModelError(
            f"{ladder.rate.size} strips in {blocks} blocks are too few for the shape '{shape}': "
            "nothing is left to judge the error by. Choose a simpler shape, or add strips."
        )
    return int(spare)


def _beside_blocks(ladder: Ladder, shape: str, columns: Floats) -> tuple[Floats, Floats, float]:
    """Fit columns beside blocks; the intercept is the mean of the blocks.

    Returns estimates, their covariance over the residual variance, and the residual sum of
    squares.
    """
    inner = ladder.beside_blocks(columns)
    length = np.sqrt((columns**2).sum(axis=0))
    scaled = inner / np.where(length > 0, length, 1.0)
    values = np.linalg.svd(scaled, compute_uv=False)
    if values.size and values[-1] <= _SPANNED:
        raise ModelError(
            f"The shape '{shape}' cannot be told from the blocks: inside them the rates change too "
            "little. Choose a simpler shape, or check the blocks."
        )
    inverse = np.linalg.inv(scaled.T @ scaled) / np.outer(length, length)
    slopes = inverse @ (inner.T @ ladder.inside)
    left = float(((ladder.inside - inner @ slopes) ** 2).sum())
    if left <= _EXPLAINED * float(ladder.response @ ladder.response):
        raise ModelError(
            f"The shape '{shape}' passes through every strip, so no error is left to judge by. "
            "Check that the response is measured."
        )
    size = ladder.blocks.sum(axis=0)
    middle = (ladder.blocks.T @ columns / size[:, None]).mean(axis=0)
    start = float((ladder.blocks.T @ ladder.response / size).mean() - middle @ slopes)
    own = float((1 / size).sum()) / size.size**2 + float(middle @ inverse @ middle)
    edge = -inverse @ middle
    whole = np.block([[np.array([[own]]), edge[None, :]], [edge[:, None], inverse]])
    return np.concatenate([[start], slopes]), whole, left


def _plateau(ladder: Ladder) -> Curve:
    spare = _spare(ladder, "plateau", 2)
    knot = _best_knot(ladder)
    bent = np.minimum(ladder.rate, knot)
    estimates, straight, left = _beside_blocks(ladder, "plateau", bent[:, None])
    beyond = ladder.rate > knot
    if beyond.any() and estimates[1] != 0:
        columns = np.column_stack([bent, estimates[1] * beyond])
        inverse = _beside_blocks(ladder, "plateau", columns)[1]
    else:  # still rising at the highest rate: a straight line, with the knot anywhere beyond
        inverse = np.zeros((3, 3))
        inverse[:2, :2] = straight
        inverse[2, 2] = np.inf
    names = ("intercept", "slope", "knot")
    return Curve("plateau", names, np.append(estimates, knot), inverse * left / spare, left, spare)


def left_with_knots(ladder: Ladder, knots: Floats) -> Floats:
    """Return the residual sum of squares of the plateau for given knots.

    Parameters
    ----------
    ladder
        The strips.
    knots
        From the second rate upwards, shape (k,). Below the second rate the slope makes up for
        the knot, so all knots there fit as well as the second rate.

    Returns
    -------
    ndarray
        Shape (k,).
    """
    bent = ladder.beside_blocks(np.minimum(ladder.rate[:, None], knots[None, :]))
    along = bent.T @ ladder.inside
    size = (bent**2).sum(axis=0)
    explained = np.divide(along**2, size, out=np.zeros_like(along), where=size > 0)
    return np.asarray(ladder.inside @ ladder.inside - explained)


def _best_knot(ladder: Ladder) -> float:
    """Search each stretch between two rates, then refine."""
    grid = _knots(ladder)
    left = left_with_knots(ladder, grid)
    place = int(left.argmin())
    low, high = grid[max(place - 1, 0)], grid[min(place + 1, grid.size - 1)]
    found = minimize_scalar(
        lambda knot: float(left_with_knots(ladder, np.array([knot]))[0]),
        bounds=(low, high),
        method="bounded",
        options={"xatol": 1e-10 * float(np.ptp(ladder.levels))},
    )
    knot = float(found.x) if found.fun < left[place] else float(grid[place])
    nearest = float(ladder.levels[np.abs(ladder.levels - knot).argmin()])
    near = abs(knot - nearest) <= _ON_A_RATE * float(np.ptp(ladder.levels))
    return nearest if near else knot


def _knots(ladder: Ladder) -> Floats:
    stretches = [
        np.linspace(low, high, _STEPS, endpoint=False)
        for low, high in zip(ladder.levels[1:-1], ladder.levels[2:], strict=True)
    ]
    return np.concatenate([*stretches, ladder.levels[-1:]])


def knot_interval(ladder: Ladder, curve: Curve, confidence: float) -> tuple[float, float]:
    """Return the knots that an F test does not reject, by profile likelihood.

    Parameters
    ----------
    ladder, curve
        The strips, and the plateau fitted to them.
    confidence
        Level, between 0 and 1.

    Returns
    -------
    float, float
        The lowest rate where any knot below the second rate would do; infinity where the
        response may still be rising at the highest rate.
    """
    allowed = curve.left * (1 + float(fdtri(1, curve.spare, confidence)) / curve.spare)

    def above(knot: float) -> float:
        return float(left_with_knots(ladder, np.array([knot]))[0]) - allowed

    grid = np.unique(np.append(_knots(ladder), curve.estimates[2]))
    fits = np.flatnonzero(left_with_knots(ladder, grid) <= allowed)
    first, last = int(fits[0]), int(fits[-1])
    low = (
        float(ladder.levels[0])
        if first == 0
        else float(brentq(above, grid[first - 1], grid[first]))
    )
    if last == grid.size - 1:
        return low, np.inf
    return low, float(brentq(above, grid[last], grid[last + 1]))
