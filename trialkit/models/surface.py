"""A smooth trend over the field: what a grower's table must say for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.language import say
from trialkit.models.records import Floats, check_table, require_column
from trialkit.models.surface_block import SurfaceBlock, lay_surface

#: Fewest places along an axis that can show a bend beside a slope.
_FEWEST_PLACES = 4
#: Fewest and most knots along an axis.
_KNOTS = (3, 50)


@dataclass(frozen=True, slots=True)
class Surface:
    """Neighbours in the field are alike: a smooth trend over the map.

    Adds a tensor-product P-spline as random effects. Its flat part, a slope in x, a slope in y
    and their product, is fixed and stands last in `coefficients`. Its bends are random: those in
    x alone, those in y alone, and all that take both, with variances `surface_x`, `surface_y`
    and `surface_xy`. Each is the mean over the records of what that part adds to the variance
    of one. Means of treatments are those at the average of the trend over the records.

    Parameters
    ----------
    x, y
        Columns of the place of each record on the map, in any unit of length. The trend bends
        most freely along these axes, so let one of them run along the strips if you can.
    knots
        Evenly spaced knots along x and y, edges included, 3 to 50 each.

    Notes
    -----
    Cubic B-splines with penalties on second differences (Eilers and Marx 1996, Statistical
    Science 11:89-121), split into flat part and bends (Lee, Durban and Eilers 2013,
    Computational Statistics and Data Analysis 61:22-37) for field trials (Rodriguez-Alvarez,
    Boer, van Eeuwijk and Eilers 2018, Spatial Statistics 23:52-71). There the bends that take
    both axes have up to three variances; here one, shared out by their penalties.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> from trialkit.models import Surface, fit_mixed
    >>> x, y = (axis.ravel() for axis in np.meshgrid(np.arange(12.0), np.arange(10.0)))
    >>> dressed = (x + y) % 2 == 0
    >>> noise = np.random.default_rng(1).normal(0, 0.05, x.size)
    >>> plots = pd.DataFrame({
    ...     "x_m": 3 * x, "y_m": 8 * y,
    ...     "treatment": np.where(dressed, "dressed", "untreated"),
    ...     "yield_t_ha": 3 + 0.1 * dressed + np.sin(x / 3) * np.cos(y / 4) + noise,
    ... })
    >>> fit = fit_mixed("yield_t_ha ~ treatment", plots, surface=Surface(knots=(6, 6)))
    >>> gain = fit.differences("treatment", against="untreated").loc["dressed"]
    >>> print(f"{gain.estimate:.2f} t/ha, give or take {gain.std_error:.2f}")
    0.10 t/ha, give or take 0.01
    """

    x: str = "x_m"
    y: str = "y_m"
    knots: tuple[int, int] = (8, 8)


@dataclass(frozen=True, slots=True)
class SurfaceParts:
    """A surface worked out on the records.

    Parameters
    ----------
    names
        What its fixed columns are called.
    plane
        Its fixed columns, each with mean zero over the records, shape (n, 3).
    block
        Its random columns.
    """

    names: tuple[str, str, str]
    plane: Floats
    block: SurfaceBlock


def check_surface(surface: Surface, data: pd.DataFrame) -> None:
    """Refuse what is no `Surface`, or names a column that is not there.

    Raises
    ------
    ModelError
        Naming the column or the knots.
    """
    if not isinstance(surface, Surface):
        raise ModelError(
            "surface is no Surface. Give surface=Surface(x='x_m', y='y_m', knots=(8, 8))."
        )
    check_table(data)
    for column in (surface.x, surface.y):
        require_column(column, data, "surface")
    if surface.x == surface.y:
        raise ModelError(f"The surface has column '{surface.x}' for both axes. Give two columns.")
    low, high = _KNOTS
    if not (
        isinstance(surface.knots, tuple | list)
        and len(surface.knots) == 2
        and all(isinstance(k, int | np.integer) and low <= k <= high for k in surface.knots)
    ):
        raise ModelError(
            f"knots={surface.knots} is not two whole numbers from {low} to {high}, one for x "
            "and one for y. Leave it at (8, 8) if in doubt."
        )


def build_surface(surface: Surface, places: pd.DataFrame) -> SurfaceParts:
    """Work the surface out on the records.

    Parameters
    ----------
    surface
        What is asked for.
    places
        Its two columns on the records used.

    Returns
    -------
    SurfaceParts

    Raises
    ------
    ModelError
        If the records lie on a line, or at too few places along an axis.
    """
    x, y = (places[column].to_numpy(dtype=float) for column in (surface.x, surface.y))
    for column, values in ((surface.x, x), (surface.y, y)):
        found = np.unique(values).size
        if found < _FEWEST_PLACES:
            raise ModelError(
                say(
                    "The records lie at only {found} different '{column}', too few for a trend "
                    "that bends; {needed} are needed. Leave the surface out.",
                    found=found,
                    column=column,
                    needed=_FEWEST_PLACES,
                )
            )
    if abs(float(np.corrcoef(x, y)[0, 1])) > 1 - 1e-6:
        raise ModelError(
            say(
                "The records lie on one line: '{x}' and '{y}' rise and fall together. A surface "
                "needs a field with length and width. Leave it out.",
                x=surface.x,
                y=surface.y,
            )
        )
    plane, block = lay_surface(x, y, surface.knots)
    names = (
        f"trend:{surface.x}",
        f"trend:{surface.y}",
        f"trend:{surface.x}:{surface.y}",
    )
    return SurfaceParts(names, plane, block)
