"""Cold by height: what several loggers say of how frost settles, put to every strip.

Cold air is heavy and runs downhill, so on clear nights low ground freezes hardest. Loggers at
several heights tell how much; a straight line carries that to the strips.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError
from trialkit.language import figures, marked, say, say_counted
from trialkit.scouting.frost import FrostNights
from trialkit.scouting.strip_labels import number_column, require_columns

#: Heights closer together than this tell nothing, m.
_LEAST_SPAN_M = 0.3
#: What tables are called.
_PLACES = marked("places of the loggers")
_HEIGHTS = marked("heights of the strips")
#: What is said of fewer than two loggers, by whether there is one.
_TOO_FEW = {
    True: marked(
        "One logger with a known height cannot tell how cold changes with height (logged: "
        "{logged}; with a height: {placed}). Hang out two more, or enter relative_height_m itself "
        "in the model as the stand-in for frost."
    ),
    False: marked(
        "No logger with a known height cannot tell how cold changes with height (logged: {logged}; "
        "with a height: {placed}). Hang out two more, or enter relative_height_m itself in the "
        "model as the stand-in for frost."
    ),
}


@dataclass(frozen=True, slots=True, eq=False)
class ColdByHeight:
    """Frost as a straight line of relative height.

    Parameters
    ----------
    per_m
        Degree-hours more for each metre higher, °C h/m: below zero where hollows are colder.
    std_error
        Of `per_m`; NaN with two loggers, through which a line always goes.
    low, high
        Interval of `per_m` (t on two fewer degrees of freedom than loggers); infinite with two.
    at_mean
        Degree-hours at the loggers' mean height, °C h.
    mean_height_m
        That height, m.
    spread
        How far loggers lie off the line, °C h (residual standard deviation); NaN with two.
    loggers
        One row a logger: `logger relative_height_m degree_hours`, the lowest first.
    threshold_c
        Below which degree-hours are counted, °C.
    nights
        Nights that all loggers recorded, over which degree-hours are summed.
    confidence
        Level of the interval.
    sentence
        What this says, in words.
    """

    per_m: float
    std_error: float
    low: float
    high: float
    at_mean: float
    mean_height_m: float
    spread: float
    loggers: pd.DataFrame
    threshold_c: float
    nights: int
    confidence: float
    sentence: str


def cold_by_height(
    frost: FrostNights,
    places: pd.DataFrame,
    *,
    threshold_c: float = 0.0,
    confidence: float = 0.95,
) -> ColdByHeight:
    """Fit frost, in degree-hours, against the height of the loggers.

    Parameters
    ----------
    frost
        From `frost_nights`, with the threshold; take the nights in question, such as those of
        flowering, by reading only their temperatures. All loggers must hang alike: the same
        height above ground, all shielded or none.
    places
        One row a logger: `logger` and `relative_height_m`, height above the surroundings (as
        from the harvest log's relief) or above any common level.
    threshold_c
        One of the thresholds of `frost`, °C.
    confidence
        Level of the interval.

    Returns
    -------
    ColdByHeight

    Raises
    ------
    ScoutingError
        If there is one logger only, they hang at one height, or share no whole night.

    Notes
    -----
    Degree-hours are summed over nights that every logger recorded whole, so that a gap makes no
    place look warmer. Ordinary least squares, loggers as the units: with fewer than five or so the
    slope is hardly known, and its interval says so. A straight line is simple; cold air also
    collects behind hedges and runs down gullies.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.scouting import frost_nights
    >>> times = pd.date_range("2024-09-13 12:00", "2024-09-14 12:00", freq="30min")
    >>> parts = []
    >>> for logger, coldest in [("hollow", -4.0), ("slope", -2.5), ("ridge", -0.5)]:
    ...     part = pd.DataFrame({"logger": logger, "time": times, "temperature_c": 6.0})
    ...     part.loc[28:36, "temperature_c"] = coldest
    ...     parts.append(part)
    >>> places = pd.DataFrame({
    ...     "logger": ["hollow", "slope", "ridge"], "relative_height_m": [-2.0, 0.0, 2.0]})
    >>> found = cold_by_height(frost_nights(pd.concat(parts)), places)
    >>> round(found.per_m, 2), found.nights
    (-3.7, 1)
    """
    heights = _heights(places)
    if threshold_c not in frost.thresholds_c:
        known = ", ".join(f"{limit:g}" for limit in frost.thresholds_c)
        raise ScoutingError(f"Nobody looked below threshold_c={threshold_c:g}. There are: {known}.")
    loggers = sorted(set(frost.nights["logger"]) & set(heights.index))
    _check_loggers(frost, heights, loggers)
    shared = _shared_nights(frost.nights, loggers)
    hours = frost.below[frost.below["threshold_c"] == threshold_c]
    hours = hours[hours["date"].isin(shared) & hours["logger"].isin(loggers)]
    table = pd.DataFrame(
        {
            "relative_height_m": heights[loggers],
            "degree_hours": hours.groupby("logger")["degree_hours"].sum().reindex(loggers),
        }
    )
    table = table.rename_axis("logger").reset_index().sort_values("relative_height_m",
                                                                  ignore_index=True)  # fmt: skip
    return _line(table, threshold_c, len(shared), confidence)


def _heights(places: pd.DataFrame) -> pd.Series:
    require_columns(places, ["logger", "relative_height_m"], _PLACES)
    names = places["logger"].astype(str)
    if names.duplicated().any():
        raise ScoutingError(
            say(
                "Logger {logger} has two places. Keep one.",
                logger=names[names.duplicated()].iloc[0],
            )
        )
    heights = number_column(places, "relative_height_m", _PLACES)
    return pd.Series(heights, index=names.to_numpy()).dropna()


def _check_loggers(frost: FrostNights, heights: pd.Series, loggers: list[str]) -> None:
    if len(loggers) < 2:
        logged = ", ".join(sorted(set(frost.nights["logger"])))
        placed = ", ".join(heights.index) or say("none")
        raise ScoutingError(say(_TOO_FEW[bool(loggers)], logged=logged, placed=placed))
    span = float(np.ptp(heights[loggers].to_numpy()))
    if span < _LEAST_SPAN_M:
        raise ScoutingError(
            say(
                "The loggers' heights differ by {span:.2f} m only, which tells nothing of hollows "
                "and ridges. Enter relative_height_m itself in the model as the stand-in for "
                "frost.",
                span=span,
            )
        )


def _shared_nights(nights: pd.DataFrame, loggers: list[str]) -> pd.DatetimeIndex:
    whole = nights[nights["logger"].isin(loggers) & ~nights["at_least"]]
    count = whole.groupby("date")["logger"].nunique()
    shared = pd.DatetimeIndex(count.index[count == len(loggers)])
    if shared.empty:
        raise ScoutingError(
            say(
                "There is no night that all of {loggers} recorded whole, so they cannot be "
                "compared. Leave out the logger with the gaps.",
                loggers=", ".join(loggers),
            )
        )
    return shared


def _line(table: pd.DataFrame, threshold_c: float, nights: int, confidence: float) -> ColdByHeight:
    from scipy.stats import t

    if not 0 < confidence < 1:
        raise ScoutingError(f"confidence={confidence:g} is out of range. Give one such as 0.95.")
    x, y = (
        table[name].to_numpy(dtype=np.float64) for name in ("relative_height_m", "degree_hours")
    )
    middle = float(x.mean())
    square = float(((x - middle) ** 2).sum())
    slope = float(((x - middle) * y).sum()) / square
    degrees = len(x) - 2
    spread = error = math.nan
    low, high = -math.inf, math.inf
    if degrees > 0:
        left = y - y.mean() - slope * (x - middle)
        spread = math.sqrt(float((left**2).sum()) / degrees)
        error = spread / math.sqrt(square)
        reach = float(t.ppf((1 + confidence) / 2, degrees)) * error
        low, high = slope - reach, slope + reach
    return ColdByHeight(
        per_m=slope, std_error=error, low=low, high=high, at_mean=float(y.mean()),
        mean_height_m=middle, spread=spread, loggers=table, threshold_c=threshold_c,
        nights=nights, confidence=confidence,
        sentence=_sentence(slope, low, high, len(x), threshold_c, nights),
    )  # fmt: skip


def _sentence(
    slope: float, low: float, high: float, loggers: int, threshold_c: float, nights: int
) -> str:
    def signed(value: float) -> str:
        return figures(f"{value:+.1f}").replace("-", "−")

    known = {
        "limit": figures(f"{threshold_c:g}").replace("-", "−"),
        "loggers": loggers,
        "slope": signed(slope),
    }
    if not math.isfinite(low):
        line = say_counted(
            "Degree-hours below {limit} °C, over {count} night and {loggers} loggers, change by "
            "{slope} for each metre higher.",
            "Degree-hours below {limit} °C, over {count} nights and {loggers} loggers, change by "
            "{slope} for each metre higher.",
            nights,
            **known,
        )
        unknown = say(
            "Through two loggers a line always goes, so how far that can be trusted is not known; "
            "a third would tell."
        )
        return f"{line} {unknown}"
    line = say_counted(
        "Degree-hours below {limit} °C, over {count} night and {loggers} loggers, change by "
        "{slope} for each metre higher ({low} to {high}).",
        "Degree-hours below {limit} °C, over {count} nights and {loggers} loggers, change by "
        "{slope} for each metre higher ({low} to {high}).",
        nights,
        **known, low=signed(low), high=signed(high),
    )  # fmt: skip
    if low > 0 or high < 0:
        return line
    unsettled = say("The loggers do not settle that height matters.")
    return f"{line} {unsettled}"


def cold_by_strip(line: ColdByHeight, heights: pd.DataFrame) -> pd.DataFrame:
    """Return the frost of each strip by its height, ready to enter a model as a covariate.

    Parameters
    ----------
    line
        From `cold_by_height`.
    heights
        `strip` and `relative_height_m` on the same footing as the loggers': one row a strip, or
        one a record of the harvest log, which are averaged.

    Returns
    -------
    DataFrame
        One row a strip: `strip relative_height_m cold_degree_hours std_error outside`. `std_error`
        is of the line there, NaN with two loggers; `outside` says that the strip lies higher or
        lower than any logger, where the line is stretched.

    Raises
    ------
    ScoutingError
        If a column is missing, or no strip has a height.

    Notes
    -----
    Merge it with the strips' yields and give `yield_t_ha ~ treatment * cold_degree_hours` to
    `fit_mixed`, then `gains_along`. Where no strip is cut off at zero this is height in another
    unit: tests come out the same, only the scale can be read as frost. The line's own error does
    not enter such a model.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "logger": ["a", "b", "c"], "relative_height_m": [-1.0, 0, 1],
    ...     "degree_hours": [9.0, 5, 4]})
    >>> line = ColdByHeight(-2.5, 0.87, -13.5, 8.5, 6.0, 0.0, 1.22, table, 0.0, 3, 0.95, "")
    >>> heights = pd.DataFrame({
    ...     "strip": ["S1", "S1", "S2"], "relative_height_m": [-1.0, 0.0, 4.0]})
    >>> cold_by_strip(line, heights)[["strip", "cold_degree_hours", "outside"]].to_dict("list")
    {'strip': ['S1', 'S2'], 'cold_degree_hours': [7.25, 0.0], 'outside': [False, True]}
    """
    require_columns(heights, ["strip", "relative_height_m"], _HEIGHTS)
    values = number_column(heights, "relative_height_m", _HEIGHTS)
    known = pd.DataFrame({"strip": heights["strip"].to_numpy(), "relative_height_m": values})
    mean = known.groupby("strip", sort=False)["relative_height_m"].mean()
    if not mean.notna().any():
        raise ScoutingError(
            "No strip has a relative_height_m. Take it from the harvest log's relief."
        )
    at = mean.to_numpy(dtype=np.float64)
    x = line.loggers["relative_height_m"].to_numpy(dtype=np.float64)
    square = float(((x - line.mean_height_m) ** 2).sum())
    error = line.spread * np.sqrt(1 / len(x) + (at - line.mean_height_m) ** 2 / square)
    cold = line.at_mean + line.per_m * (at - line.mean_height_m)
    return pd.DataFrame(
        {
            "strip": mean.index,
            "relative_height_m": at,
            "cold_degree_hours": np.where(np.isnan(cold), np.nan, np.maximum(cold, 0.0)),
            "std_error": error,
            "outside": (at < x.min()) | (at > x.max()),
        }
    )
