"""Plant counts: from plants in a length of row or a frame to plants/m2, and to establishment."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from datetime import date
from typing import overload

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from trialkit.errors import ScoutingError, ScoutingWarning
from trialkit.language import marked, say
from trialkit.scouting.strip_labels import (
    COUNTS,
    Floats,
    day_column,
    number_column,
    refuse_where,
    require_columns,
    with_strips,
)

#: Widest distance between drill rows that is taken for metres; a larger one is in cm or inches.
_WIDEST_ROWS_M = 2.0
#: Nobody counts more plants at one place, or less or more ground.
_MOST_PLANTS, _GROUND_M2 = 100_000, (0.001, 10_000.0)
_COUNTED_BY = marked("Give row_length_m with row_spacing_m, or area_m2.")


@overload
def plants_per_m2(
    count: float,
    *,
    row_length_m: float | None = None,
    row_spacing_m: float | None = None,
    area_m2: float | None = None,
) -> float: ...
@overload
def plants_per_m2(
    count: pd.Series,
    *,
    row_length_m: ArrayLike | None = None,
    row_spacing_m: ArrayLike | None = None,
    area_m2: ArrayLike | None = None,
) -> pd.Series: ...
@overload
def plants_per_m2(
    count: NDArray[np.generic] | Iterable[float],
    *,
    row_length_m: ArrayLike | None = None,
    row_spacing_m: ArrayLike | None = None,
    area_m2: ArrayLike | None = None,
) -> Floats: ...
def plants_per_m2(
    count: float | pd.Series | NDArray[np.generic] | Iterable[float],
    *,
    row_length_m: ArrayLike | None = None,
    row_spacing_m: ArrayLike | None = None,
    area_m2: ArrayLike | None = None,
) -> float | pd.Series | Floats:
    """Convert plants counted along a row or in a frame to plants/m2.

    Parameters
    ----------
    count
        Plants counted, or a mean of counts: a number, an array or a Series. NaN stays NaN.
    row_length_m
        Length of row counted, m; of several rows together, the sum of their lengths.
    row_spacing_m
        Distance between rows, m.
    area_m2
        Ground inside the frame, m2, instead of the two above.

    Returns
    -------
    float, ndarray or Series
        Plants/m2, of the kind given.

    Raises
    ------
    ScoutingError
        If neither way or both ways are given, a count is negative, or a length is not above zero.

    Notes
    -----
    Along a row: count / (row length x row spacing). In a frame: count / area.

    Examples
    --------
    >>> plants_per_m2(25, row_length_m=1, row_spacing_m=0.25)
    100.0
    >>> plants_per_m2([18, 21], area_m2=0.06).round(1).tolist()
    [300.0, 350.0]
    """
    counted = _as_numbers(count, "count")
    if (counted < 0).any():
        raise ScoutingError(
            f"A count of {np.nanmin(counted):g} cannot be: plants are counted from zero up. Enter "
            "0 where there were none, and leave the count blank where nobody looked."
        )
    ground = _ground_m2(row_length_m, row_spacing_m, area_m2)
    try:
        density = counted / ground
    except ValueError as error:
        raise ScoutingError(
            f"There are {counted.size} counts, but {ground.size} lengths or areas to go with them. "
            "Give one for all, or one for each."
        ) from error
    if isinstance(count, pd.Series):
        return pd.Series(np.broadcast_to(density, counted.shape), index=count.index)
    return float(density) if density.ndim == 0 else np.asarray(density)


def _ground_m2(
    row_length_m: ArrayLike | None, row_spacing_m: ArrayLike | None, area_m2: ArrayLike | None
) -> Floats:
    """Return the ground that was counted, m2."""
    if area_m2 is not None:
        if row_length_m is not None or row_spacing_m is not None:
            raise ScoutingError(
                "Both a length of row and an area are given, and they may not agree. " + _COUNTED_BY
            )
        return _above_zero(area_m2, "area_m2")
    if row_length_m is None and row_spacing_m is None:
        raise ScoutingError("How much ground was counted is not said. " + _COUNTED_BY)
    if row_spacing_m is None:
        raise ScoutingError(
            "A count along a row says nothing of the ground without the distance between rows: "
            "25 plants in a metre are 100/m² at 0.25 m, and 167/m² at 0.15 m. Give row_spacing_m."
        )
    if row_length_m is None:
        raise ScoutingError(
            "The distance between rows is given, but not the length of row counted. "
            "Give row_length_m."
        )
    spacing = _above_zero(row_spacing_m, "row_spacing_m")
    if (spacing > _WIDEST_ROWS_M).any():
        widest = float(spacing.max())
        raise ScoutingError(
            f"row_spacing_m={widest:g} puts the rows {widest:g} m apart. If that is "
            f"{widest:g} cm, write {widest / 100:g}; if it is in inches, {widest * 0.0254:.4g}."
        )
    return _above_zero(row_length_m, "row_length_m") * spacing


def _above_zero(value: ArrayLike, name: str) -> Floats:
    numbers = _as_numbers(value, name)
    if not (numbers > 0).all():
        raise ScoutingError(f"{name} must be above zero throughout. Check it.")
    return numbers


def _as_numbers(value: object, name: str) -> Floats:
    try:
        numbers = np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ScoutingError(f"{name}={value!r} holds something that is not a number.") from error
    if np.isinf(numbers).any():
        raise ScoutingError(f"{name} is infinite. Give the number that was measured.")
    return numbers


def plant_table(
    counts: pd.DataFrame, layout: pd.DataFrame, *, sown: date | None = None
) -> pd.DataFrame:
    """Check counts record by record and put them on the ground: strip, treatment, plants/m2.

    Parameters
    ----------
    counts
        One row a place looked at, as `counts.csv` holds them: `strip`, `count`, and either
        `row_length_m` with `row_spacing_m` or `area_m2`, which may differ from row to row;
        `date` where it is known. A count of 0 is a place where somebody looked and found
        nothing; a blank count (NaN) is a place where nobody looked.
    layout
        One row a strip: `strip block treatment`.
    sown
        Day of sowing, to find records dated before it.

    Returns
    -------
    DataFrame
        The records in their order, with `block treatment place area_m2 plants_m2`: `place` is the
        number of the record in its strip (and on its day) unless there is one. Blank counts stay
        in, with NaN.

    Raises
    ------
    ScoutingError
        If a strip is not in the layout, a count is negative or no whole number, the ground
        counted is not said, or a date lies before sowing.

    Examples
    --------
    >>> import pandas as pd
    >>> layout = pd.DataFrame({
    ...     "strip": ["S1", "S2"], "block": ["B1", "B1"], "treatment": ["untreated", "dressed"]})
    >>> counts = pd.DataFrame({
    ...     "strip": ["S1", "S2"], "count": [46, 51], "row_length_m": 1.0, "row_spacing_m": 0.25})
    >>> plant_table(counts, layout)[["strip", "treatment", "plants_m2"]].to_dict("list")
    {'strip': ['S1', 'S2'], 'treatment': ['untreated', 'dressed'], 'plants_m2': [184.0, 204.0]}
    """
    require_columns(counts, ["strip", "count"], COUNTS)
    table = with_strips(counts, layout, COUNTS)
    if "date" in table:
        table["date"] = day_column(table, COUNTS, sown=sown)
    count = number_column(table, "count", COUNTS)
    refuse_where(
        table,
        count < 0,
        COUNTS,
        say(
            "a count below zero. Enter 0 where there were no plants, and leave it blank where "
            "nobody looked."
        ),
    )
    refuse_where(
        table,
        count > _MOST_PLANTS,
        COUNTS,
        say("more than {most:,} plants at one place. Check the number.", most=_MOST_PLANTS),
    )
    refuse_where(
        table,
        ~np.isnan(count) & (count != np.round(count)),
        COUNTS,
        say(
            "a count with a fraction. Enter each place as it was counted, not a mean or "
            "plants/m²: the scatter between places is needed."
        ),
    )
    area = _ground_of_records(table)
    table = table.assign(count=count, area_m2=area, plants_m2=count / area)
    if "place" not in table:
        by = ["strip", "date"] if "date" in table else ["strip"]
        table["place"] = table.groupby(by, dropna=False).cumcount() + 1
    return table


def _ground_of_records(table: pd.DataFrame) -> Floats:
    """Return the ground of each record, m2, by frame where there is an area, else along the row."""
    blank = np.full(len(table), np.nan)
    area, length, spacing = (
        number_column(table, name, COUNTS) if name in table else blank
        for name in ("area_m2", "row_length_m", "row_spacing_m")
    )
    both = ~np.isnan(area) & ~(np.isnan(length) & np.isnan(spacing))
    agree = both & np.isclose(area, length * spacing, rtol=0.01)
    way_out = say(_COUNTED_BY)
    twice, unsaid = say("both ways are filled in."), say("how much ground was counted is not said.")
    refuse_where(table, both & ~agree, COUNTS, f"{twice} {way_out}")
    refuse_where(
        table,
        np.isnan(area) & ~np.isnan(length) & np.isnan(spacing),
        COUNTS,
        say("a length of row without the distance between rows. Give row_spacing_m, such as 0.25."),
    )
    ground = np.where(np.isnan(area), length * spacing, area)
    refuse_where(
        table,
        np.isnan(ground),
        COUNTS,
        f"{unsaid} {way_out}",
    )
    refuse_where(table, ground <= 0, COUNTS, say("the ground counted must be above zero."))
    refuse_where(
        table,
        (ground < _GROUND_M2[0]) | (ground > _GROUND_M2[1]),
        COUNTS,
        say(
            "ground of less than {least:g} or more than {most:,g} m² is no place to count. Check "
            "the length, the spacing or the area.",
            least=_GROUND_M2[0],
            most=_GROUND_M2[1],
        ),
    )
    refuse_where(
        table,
        np.isnan(area) & (spacing > _WIDEST_ROWS_M),
        COUNTS,
        say("rows more than 2 m apart. row_spacing_m is in metres: 25 cm is 0.25."),
    )
    return ground


def seeds_per_m2(seed_kg_ha: float, seed_weight_g_1000: float) -> float:
    """Return seeds sown on a square metre.

    Parameters
    ----------
    seed_kg_ha
        Seeding rate, kg/ha.
    seed_weight_g_1000
        Weight of a thousand seeds, g.

    Returns
    -------
    float
        Seeds/m2: kg/ha x 100 / g.

    Raises
    ------
    ScoutingError
        If either is not above zero.

    Examples
    --------
    >>> seeds_per_m2(90, 45)
    200.0
    """
    for name, value in (("seed_kg_ha", seed_kg_ha), ("seed_weight_g_1000", seed_weight_g_1000)):
        if not (np.isfinite(value) and value > 0):
            raise ScoutingError(f"{name}={value:g} must be above zero. Check it.")
    return 100.0 * seed_kg_ha / seed_weight_g_1000


@overload
def establishment_pct(
    plants_m2: float, seeds_m2: float, *, germination_pct: float = 100.0
) -> float: ...
@overload
def establishment_pct(
    plants_m2: Floats, seeds_m2: ArrayLike, *, germination_pct: float = 100.0
) -> Floats: ...
@overload
def establishment_pct(
    plants_m2: pd.Series, seeds_m2: ArrayLike, *, germination_pct: float = 100.0
) -> pd.Series: ...
def establishment_pct(
    plants_m2: float | Floats | pd.Series, seeds_m2: ArrayLike, *, germination_pct: float = 100.0
) -> float | Floats | pd.Series:
    """Return how many of the seeds sown became plants, %.

    Parameters
    ----------
    plants_m2
        Plants counted, plants/m2: a number, an array or a Series.
    seeds_m2
        Seeds sown, seeds/m2, see `seeds_per_m2`; one for all or one for each.
    germination_pct
        Where given, establishment is of the seeds that could germinate, as seeding-rate formulas
        have it; at 100 it is of all seeds.

    Returns
    -------
    float, ndarray or Series
        %, of the kind given.

    Raises
    ------
    ScoutingError
        If seeds are not above zero, plants are negative, or germination is no percentage.

    Warns
    -----
    ScoutingWarning
        If there are more plants than seeds.

    Examples
    --------
    >>> round(establishment_pct(200, seeds_per_m2(105.26, 45), germination_pct=95), 1)
    90.0
    """
    seeds, plants = _above_zero(seeds_m2, "seeds_m2"), _as_numbers(plants_m2, "plants_m2")
    if not 0 < germination_pct <= 100:
        raise ScoutingError(
            f"germination_pct={germination_pct:g} is no percentage above 0 and up to 100."
        )
    if (plants < 0).any():
        raise ScoutingError("plants_m2 holds a number below zero. Check the counts.")
    share = 100.0 * plants / (seeds * germination_pct / 100.0)
    if (share > 100.0).any():
        warnings.warn(
            say(
                "There are more plants than seeds that could grow (establishment "
                "{share_pct:.0f}%). Check the seeding rate, the seed weight, the row spacing, and "
                "whether weeds or volunteers were counted.",
                share_pct=np.nanmax(share),
            ),
            ScoutingWarning,
            stacklevel=2,
        )
    if isinstance(plants_m2, pd.Series):
        return pd.Series(share, index=plants_m2.index)
    return float(share) if share.ndim == 0 else np.asarray(share)
