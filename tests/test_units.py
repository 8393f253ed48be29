from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import UnitError
from trialkit.units import convert

# Exact by the international yard and pound (1959): 0.45359237 kg, 0.3048 m.
EXACT = 1e-12

# The facts behind the rest of this table are printed to six figures.
SIX_FIGURES = 5e-7


@pytest.mark.parametrize(
    ("value", "unit", "to", "crop", "expected"),
    [
        (1, "lb/s", "kg/s", None, 0.45359237),
        (30, "ft", "m", None, 9.144),
        (360, "in", "m", None, 9.144),
        (3.6, "km/h", "m/s", None, 1.0),
        (1, "mph", "m/s", None, 0.44704),
        (1000, "kg/ha", "t/ha", None, 1.0),
        (10, "q/ha", "t/ha", None, 1.0),
        (12.5, "%", "percent", None, 12.5),
    ],
)
def test_units_of_exports(value, unit, to, crop, expected):
    assert convert(value, unit, to, crop=crop) == pytest.approx(expected, rel=EXACT)


# Bushels an acre in t/ha: pounds in a bushel × 0.45359237 kg over 0.40468564224 ha.
@pytest.mark.parametrize(
    ("crop", "expected"),
    [("maize", 0.0627677), ("wheat", 0.0672511), ("soybean", 0.0672511), ("barley", 0.0538009)],
)
def test_bushels_hang_on_the_crop(crop, expected):
    assert convert(1.0, "bu/ac", "t/ha", crop=crop) == pytest.approx(expected, rel=2 * SIX_FIGURES)


def test_arrays_and_series_stay_what_they_are():
    assert isinstance(convert(np.ones(2), "ft", "m"), np.ndarray)
    series = convert(pd.Series([1.0, 2.0], index=[5, 6]), "ft", "m")
    assert series.index.tolist() == [5, 6]


@pytest.mark.parametrize(
    ("unit", "to", "crop", "says"),
    [
        ("furlong per fortnite", "m/s", None, "is not a unit trialkit knows"),
        ("kg", "m", None, "does not measure the same thing"),
        ("bu/ac", "t/ha", "quinoa", "A bushel of quinoa has no known weight"),
        ("bu/ac", "t/ha", None, "A bushel of an unnamed crop"),
        ("__import__('os')", "m", None, "is not a unit trialkit knows"),
    ],
)
def test_a_unit_that_cannot_be_used(unit, to, crop, says):
    with pytest.raises(UnitError, match=says):
        convert(1.0, unit, to, crop=crop)


@pytest.mark.parametrize("unit", ["bag", "Bags", "bags/ac"])
def test_a_bag_is_no_unit(unit):
    with pytest.raises(UnitError, match="A bag is no unit: say what it holds"):
        convert(1.0, unit, "kg")
