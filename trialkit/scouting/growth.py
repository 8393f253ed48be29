"""Growth stages by the decimal code of Zadoks, from the days somebody looked.

Zadoks, Chang and Konzak 1974, Weed Research 14:415-421. The code is a list of steps, not a
measure: a straight line between two observations is a stand-in, and beyond them there is none.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError
from trialkit.language import marked, say
from trialkit.scouting.strip_labels import (
    day_column,
    number_column,
    refuse_where,
    require_columns,
)

#: How far a stage read off a straight line may be out: common practice, no source.
_LINE_ERROR = 5.0
_DECADES = (
    marked("germination"),
    marked("seedling"),
    marked("tillering"),
    marked("stem elongation"),
    marked("booting"),
    marked("ear emergence"),
    marked("flowering"),
    marked("milk"),
    marked("dough"),
    marked("ripening"),
)


def stage_name(stage: float) -> str:
    """Return the name of a decimal code's main stage, in English; empty where it is not known.

    Parameters
    ----------
    stage
        Code, 0 to 99.

    Examples
    --------
    >>> stage_name(65)
    'flowering'
    """
    return "" if np.isnan(stage) else _DECADES[int(min(max(stage, 0), 99) // 10)]


def growth_stages(
    observations: pd.DataFrame, dates: Iterable[object], *, sown: date | None = None
) -> pd.DataFrame:
    """Return the growth stage on given days, and how well it is known.

    Parameters
    ----------
    observations
        `date` and `stage` (decimal code, 0 to 99); several on one day are the spread of the crop
        on it. From a table of scores: those of the stage, with `value` renamed.
    dates
        Days wanted.
    sown
        Day of sowing, to find observations dated before it.

    Returns
    -------
    DataFrame
        Index the days; `stage`, on the straight line between the observations around it, NaN
        before the first and after the last; `low` and `high`, what it may have been: 5 to either
        side within those observations; outside them, anything before or after.

    Raises
    ------
    ScoutingError
        If there are no observations, a code is outside 0 to 99, or the crop runs backward.

    Examples
    --------
    >>> import pandas as pd
    >>> seen = pd.DataFrame({
    ...     "date": pd.to_datetime(["2024-09-01", "2024-09-21"]), "stage": [39, 59]})
    >>> growth_stages(seen, ["2024-09-11", "2024-10-01"]).to_dict("list")
    {'stage': [49.0, nan], 'low': [44.0, 59.0], 'high': [54.0, 99.0]}
    """
    middle, low, high = _by_day(observations, sown)
    wanted = pd.DatetimeIndex(pd.to_datetime(list(dates))).normalize()  # type: ignore[arg-type]
    seen = middle.index.to_numpy(dtype="datetime64[s]").astype(np.float64)
    at = wanted.to_numpy(dtype="datetime64[s]").astype(np.float64)
    inside = (at >= seen[0]) & (at <= seen[-1])
    stage = np.where(inside, np.interp(at, seen, middle.to_numpy()), np.nan)
    before = np.clip(np.searchsorted(seen, at, side="right") - 1, 0, len(seen) - 1)
    after = np.clip(np.searchsorted(seen, at, side="left"), 0, len(seen) - 1)
    least = np.maximum(low.to_numpy()[before], stage - _LINE_ERROR)
    most = np.minimum(high.to_numpy()[after], stage + _LINE_ERROR)
    on_day = np.isin(at, seen)
    least, most = (
        np.where(on_day, seen_there, line)
        for seen_there, line in ((low.to_numpy()[before], least), (high.to_numpy()[after], most))
    )
    least = np.where(at < seen[0], 0.0, np.where(at > seen[-1], low.iloc[-1], least))
    most = np.where(at < seen[0], high.iloc[0], np.where(at > seen[-1], 99.0, most))
    return pd.DataFrame({"stage": stage, "low": least, "high": most}, index=wanted)


def _by_day(
    observations: pd.DataFrame, sown: date | None
) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Return the median, lowest and highest stage of each day that somebody looked."""
    what = marked("growth stages")
    require_columns(observations, ["date", "stage"], what)
    stage = number_column(observations, "stage", what)
    refuse_where(
        observations,
        (stage < 0) | (stage > 99),
        what,
        say("a code outside 0 to 99. Give the decimal code, such as 31 for the first node."),
    )
    days = day_column(observations, what, sown=sown)
    refuse_where(observations, days.isna().to_numpy(), what, say("no date. Enter the day."))
    known = pd.DataFrame({"date": days, "stage": stage}).dropna()
    if known.empty:
        raise ScoutingError(
            say("There is no growth stage. Enter at least one: a date and a decimal code.")
        )
    by_day = known.groupby("date")["stage"]
    middle, low, high = by_day.median(), by_day.min(), by_day.max()
    back = np.diff(middle.to_numpy()) < 0
    if back.any():
        at = int(back.argmax())
        raise ScoutingError(
            say(
                "The crop cannot run backward: stage {before:g} on {day:%Y-%m-%d} and {after:g} on "
                "{next_day:%Y-%m-%d}. Correct one of them, or pass only the observations of one "
                "treatment.",
                before=middle.iloc[at], day=middle.index[at],
                after=middle.iloc[at + 1], next_day=middle.index[at + 1],
            )
        )  # fmt: skip
    return middle, low, high
