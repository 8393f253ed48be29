"""Scores through the season: percentages, and ranks such as 1 to 9, by strip and day.

A strip scored at three places was still dressed once: places are averaged, strips are compared.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError, ScoutingWarning
from trialkit.language import marked, say
from trialkit.scouting.strip_labels import (
    day_column,
    number_column,
    refuse_where,
    require_columns,
    with_strips,
)

Kind = Literal["percent", "ordinal", "number"]
_SCORES = marked("scores")


@dataclass(frozen=True, slots=True)
class Scale:
    """How a score is read.

    Parameters
    ----------
    kind
        `"percent"`; `"ordinal"`, steps of a scale that say more or less and not how much; or
        `"number"`, something measured.
    low, high
        Ends of the scale.
    """

    kind: Kind
    low: float = -np.inf
    high: float = np.inf


PERCENT: Scale = Scale("percent", 0, 100)


def score_table(
    scores: pd.DataFrame,
    layout: pd.DataFrame,
    *,
    scales: Mapping[str, Scale] | None = None,
    sown: date | None = None,
) -> pd.DataFrame:
    """Check scores record by record and say which treatment they are of.

    Parameters
    ----------
    scores
        One row a score, as `scores.csv` holds them: `strip date score value`, `score` being what
        was scored. A blank value is one that nobody gave.
    layout
        One row a strip: `strip block treatment`.
    scales
        How each score is read. Of a score that is not named here, one whose name ends in `_pct`
        is a percentage and any other is ordinal without ends.
    sown
        Day of sowing, to find records dated before it.

    Returns
    -------
    DataFrame
        The records, with `block treatment kind`.

    Raises
    ------
    ScoutingError
        If a strip is unknown, a value is off its scale or no number, or a date is missing or lies
        before sowing.

    Warns
    -----
    ScoutingWarning
        If a percentage looks like a share.

    Examples
    --------
    >>> import pandas as pd
    >>> layout = pd.DataFrame({"strip": ["S1"], "block": ["B1"], "treatment": ["dressed"]})
    >>> scores = pd.DataFrame({
    ...     "strip": ["S1"], "date": ["2024-08-03"], "score": ["mildew_pct"], "value": [12.0]})
    >>> score_table(scores, layout)[["treatment", "kind", "value"]].to_dict("list")
    {'treatment': ['dressed'], 'kind': ['percent'], 'value': [12.0]}
    """
    what = _SCORES
    require_columns(scores, ["strip", "date", "score", "value"], what)
    table = with_strips(scores, layout, what)
    days = day_column(table, what, sown=sown)
    refuse_where(
        table,
        days.isna().to_numpy(dtype=bool),
        what,
        say("no date. Write it year first, like 2024-08-03."),
    )
    table = table.assign(date=days, score=table["score"].astype(str).str.strip())
    value = number_column(table, "value", what)
    known = _scales(table, scales or {})
    for name, scale in known.items():
        own = (table["score"] == name).to_numpy(dtype=bool)
        _check_scale(table, own & (value < scale.low), name, scale)
        _check_scale(table, own & (value > scale.high), name, scale)
        given = value[own & ~np.isnan(value)]
        if scale.kind == "percent" and given.size > 1 and 0 < given.max() <= 1:
            warnings.warn(
                say(
                    "The scores of {score} run up to {most:g} only. If they are shares, 0.35 must "
                    "be entered as 35.",
                    score=name,
                    most=given.max(),
                ),
                ScoutingWarning,
                stacklevel=2,
            )
    kinds = {name: scale.kind for name, scale in known.items()}
    return table.assign(value=value, kind=table["score"].map(kinds))


def _scales(table: pd.DataFrame, scales: Mapping[str, Scale]) -> dict[str, Scale]:
    names = list(dict.fromkeys(table["score"]))
    unused = [name for name in scales if name not in names]
    if unused:
        raise ScoutingError(
            say(
                "A scale is given for '{score}', but no such thing was scored. There are: "
                "{scores}.",
                score=unused[0], scores=", ".join(names),
            )
        )  # fmt: skip
    usual = {name: PERCENT if name.endswith("_pct") else Scale("ordinal") for name in names}
    return usual | dict(scales)


def _check_scale(table: pd.DataFrame, off: np.ndarray, name: str, scale: Scale) -> None:
    if not off.any():
        return
    value = table["value"].iloc[int(off.argmax())]
    why = (
        say(
            "{score} of {value} is no percentage; they run from 0 to 100. Correct it.",
            score=name, value=value,
        )
        if scale.kind == "percent" and (scale.low, scale.high) == (0, 100)
        else say(
            "{score} of {value} is off its scale, {low:g} to {high:g}. Correct it, or the scale.",
            score=name, value=value, low=scale.low, high=scale.high,
        )
    )  # fmt: skip
    refuse_where(table, off, _SCORES, why)


def strip_scores(table: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each score, day and strip.

    Parameters
    ----------
    table
        From `score_table`.

    Returns
    -------
    DataFrame
        Columns `score date strip block treatment kind places value`: `value` is the mean of the
        strip's places, or their median for an ordinal score.

    Raises
    ------
    ScoutingError
        If a column is missing, or every value is blank.
    """
    require_columns(
        table, ["score", "date", "strip", "block", "treatment", "kind", "value"], _SCORES
    )
    known = table[table["value"].notna()]
    if known.empty:
        raise ScoutingError(say("All scores are blank: nobody gave any."))
    groups = known.groupby(["score", "date", "strip"], sort=False)
    found = groups.agg(
        block=("block", "first"),
        treatment=("treatment", "first"),
        kind=("kind", "first"),
        places=("value", "size"),
        mean=("value", "mean"),
        median=("value", "median"),
    ).reset_index()
    middle = np.where(found["kind"] == "ordinal", found["median"], found["mean"])
    return found.drop(columns=["mean", "median"]).assign(value=middle)


def summarise_scores(table: pd.DataFrame) -> pd.DataFrame:
    """Return one row for each score, day and treatment.

    Parameters
    ----------
    table
        From `score_table`.

    Returns
    -------
    DataFrame
        Columns `score date treatment kind strips middle lowest highest`: over the strips, the
        mean (the median for an ordinal score), the lowest and the highest.

    Raises
    ------
    ScoutingError
        If a column is missing, or every value is blank.
    """
    strips = strip_scores(table)
    groups = strips.groupby(["score", "date", "treatment"], sort=True)
    found = groups.agg(
        kind=("kind", "first"),
        strips=("strip", "nunique"),
        mean=("value", "mean"),
        median=("value", "median"),
        lowest=("value", "min"),
        highest=("value", "max"),
    ).reset_index()
    middle = np.where(found["kind"] == "ordinal", found["median"], found["mean"])
    found.insert(found.columns.get_loc("strips") + 1, "middle", middle)  # type: ignore[arg-type,operator]
    return found.drop(columns=["mean", "median"])
