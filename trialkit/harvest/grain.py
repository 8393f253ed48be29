"""From what the sensors wrote to yield: grain over ground, at the standard moisture.

Every function takes numbers, arrays or Series alike and leaves the units in its names.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    Values = TypeVar("Values", float, NDArray[np.float64], pd.Series[float])

#: Square metres in a hectare, kilograms in a tonne.
_M2_HA = 10_000.0
_KG_T = 1_000.0


def at_standard_moisture(
    grain: Values, moisture_pct: Values, standard_moisture_pct: float
) -> Values:
    """Bring grain to the standard moisture, its dry matter unchanged.

    Parameters
    ----------
    grain
        Mass or yield as harvested, in any unit.
    moisture_pct
        Water in the grain as harvested, %, wet basis.
    standard_moisture_pct
        Moisture the grain is sold at, %, wet basis.

    Returns
    -------
    float, ndarray or Series
        Mass or yield at the standard moisture, in the unit given.

    Notes
    -----
    grain × (100 − moisture) / (100 − standard). Mulvaney and Devkota (Univ. of Florida IFAS,
    AG442) show the common mistake: taking the water off and adding the standard's per cent back
    to the dry matter.

    Examples
    --------
    >>> round(at_standard_moisture(10_000.0, 20.0, 15.5), 2)
    9467.46
    """
    return grain * ((100.0 - moisture_pct) / (100.0 - standard_moisture_pct))


def yield_from_mass(mass_kg: Values, travel_m: Values, swath_m: Values) -> Values:
    """Spread grain over the ground it was cut from.

    Parameters
    ----------
    mass_kg
        Grain, kg.
    travel_m
        Distance driven while it was cut, m.
    swath_m
        Cut width, m.

    Returns
    -------
    float, ndarray or Series
        Yield, t/ha, at the moisture of the mass given; no finite number where no ground was cut.
    """
    return mass_kg / (travel_m * swath_m) * (_M2_HA / _KG_T)


def yield_from_flow(
    flow_kg_s: Values,
    interval_s: Values,
    travel_m: Values,
    swath_m: Values,
    moisture_pct: Values | None = None,
    standard_moisture_pct: float | None = None,
) -> Values:
    """Compute yield from the grain flow over the sensor.

    Parameters
    ----------
    flow_kg_s
        Grain flow, kg/s, as harvested.
    interval_s
        Time the record stands for, s.
    travel_m
        Distance driven in that time, m: speed × interval.
    swath_m
        Cut width, m.
    moisture_pct, standard_moisture_pct
        Moisture of the grain and the moisture it is sold at, %. Give both or neither; with
        neither the yield stays as harvested.

    Returns
    -------
    float, ndarray or Series
        Yield, t/ha.

    Raises
    ------
    ValueError
        If only one of the two moistures is given.

    Notes
    -----
    flow × interval / (distance × width) × (100 − moisture) / (100 − standard); the form of Luck
    and Fulton (Univ. of Nebraska, EC2004) in metric units.

    Examples
    --------
    10 kg/s at 2 m/s over 10 m is 5 t/ha:

    >>> yield_from_flow(10.0, 1.0, 2.0, 10.0)
    5.0
    """
    as_harvested = yield_from_mass(flow_kg_s * interval_s, travel_m, swath_m)
    if (moisture_pct is None) != (standard_moisture_pct is None):
        raise ValueError("Give both moisture_pct and standard_moisture_pct, or neither.")
    if moisture_pct is None or standard_moisture_pct is None:
        return as_harvested
    return at_standard_moisture(as_harvested, moisture_pct, standard_moisture_pct)
