"""Units at the edges: anything sensible in, SI and metric inside, through pint."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, TypeVar

from trialkit.errors import UnitError

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    import pint

    Values = TypeVar("Values", float, np.ndarray, pd.Series)

#: Pounds in a bushel at the crop's usual trading test weight. Sources: USA market
#: weights as listed by Rankin, Univ. of Wisconsin Extension, "Harvest Time Math 101";
#: canola 50 lb: common practice, no source.
BUSHEL_LB: dict[str, float] = {
    "wheat": 60.0,
    "soybean": 60.0,
    "maize": 56.0,
    "corn": 56.0,
    "sorghum": 56.0,
    "rye": 56.0,
    "barley": 48.0,
    "oats": 32.0,
    "canola": 50.0,
}


@cache
def _registry(bushel_lb: float | None) -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(on_redefinition="ignore")
    # pint's own bushel is a volume and its `ac`, `in` and `quintal` are not what a header says.
    registry.define("acre_of_land = 43560 * foot ** 2 = ac")
    registry.define("tonne_of_grain = 1000 * kilogram = t")
    registry.define("quintal_metric = 100 * kilogram = q")
    registry.define("kilometre_an_hour = kilometer / hour = kmh")
    if bushel_lb is not None:
        registry.define(f"bushel_of_grain = {bushel_lb} * pound = bu")
    return registry


_SPELLINGS = {"%": "percent", "deg": "degree", "°": "degree", "km/h": "kmh", "kph": "kmh"}

#: Known to pint, as 94 lb of cement; on a farm a bag holds what its maker put into it.
_NO_UNITS = {"bag", "bags"}


def convert(values: Values, unit: str, to: str, *, crop: str | None = None) -> Values:
    """Convert values from one unit to another.

    Parameters
    ----------
    values
        A number, array or Series in `unit`.
    unit
        Unit the values are in, such as `"lb/s"`, `"in"`, `"km/h"`, `"bu/ac"`.
    to
        Unit wanted, such as `"kg/s"`.
    crop
        Crop, needed only where a unit is in bushels.

    Returns
    -------
    float, ndarray or Series
        Values in `to`, of the kind given.

    Raises
    ------
    UnitError
        If a unit is unknown, measures something else, or is in bushels of an unknown crop.
    """
    import pint

    if unit.strip() == to.strip():
        return values
    if _NO_UNITS & {*unit.lower().replace("/", " ").split(), *to.lower().replace("/", " ").split()}:
        raise UnitError("A bag is no unit: say what it holds, in kg, g, l or ml.")
    bushel_lb = None
    if "bu" in unit.replace("/", " ").split() or "bu" in to.replace("/", " ").split():
        bushel_lb = BUSHEL_LB.get((crop or "").lower())
        if bushel_lb is None:
            known = ", ".join(sorted(BUSHEL_LB))
            raise UnitError(
                f"A bushel of {crop or 'an unnamed crop'} has no known weight. "
                f"Give the yield in t/ha, kg/ha or lb/ac, or use one of: {known}."
            )
    registry = _registry(bushel_lb)
    try:
        source = registry.Unit(_SPELLINGS.get(unit.strip(), unit))
        target = registry.Unit(_SPELLINGS.get(to.strip(), to))
        factor = float(registry.Quantity(1.0, source).to(target).magnitude)
    except pint.DimensionalityError as error:
        raise UnitError(
            f"'{unit}' does not measure the same thing as '{to}'. Give a unit that does."
        ) from error
    except Exception as error:  # pint raises many kinds for text it cannot parse
        raise UnitError(
            f"'{unit}' is not a unit trialkit knows. Write it like kg/s, lb/s, t/ha, bu/ac, "
            "km/h, mph, m, ft or in."
        ) from error
    return values * factor
