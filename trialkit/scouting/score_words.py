"""Two treatments compared by a score on one day, and what is said of it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import pandas as pd

from trialkit.days import whole_date
from trialkit.language import figures, marked, say

_LEVEL = 0.05
#: How treatments were compared where nothing differs.
ALIKE = marked("all strips alike")


@dataclass(frozen=True, slots=True)
class ScoreRow:
    """One row of a comparison, as `ScoreComparison.rows` has it."""

    date: pd.Timestamp
    treatment: str
    strips: int
    difference: float
    low: float = math.nan
    high: float = math.nan
    p: float = math.nan
    method: str = ""
    p_logit: float = math.nan
    blocks: int = 0
    higher: int = 0
    lower: int = 0
    equal: int = 0
    smallest_p: float = math.nan


def score_sentence(row: ScoreRow, score: str, kind: str, against: str) -> str:
    """Return a comparison in words.

    Parameters
    ----------
    row
        The comparison.
    score
        What was scored.
    kind
        `"percent"`, `"ordinal"` or `"number"`.
    against
        The treatment it is held against.
    """
    known = {
        "score": score,
        "day": whole_date(row.date),
        "treatment": row.treatment,
        "control": against,
        "blocks": _block_words(row),
        "difference": _signed(row.difference),
        "low": _signed(row.low),
        "high": _signed(row.high),
    }
    if math.isnan(row.p):
        return say(
            "{score} on {day}: {treatment} against {control}: {blocks}; not compared further.",
            **known,
        )
    if row.method == ALIKE:
        return say(
            "{score} on {day}: {treatment} and {control} were alike in every strip.", **known
        )
    if kind == "ordinal":
        told = [
            say(
                "{score} on {day}: {treatment} was {blocks} (against {control}; middle difference "
                "{difference}; {method}, p {p:.2g}).",
                **known, method=say(row.method), p=row.p,
            )
        ]  # fmt: skip
    elif kind == "percent":
        told = [
            say(
                "{score} on {day}: {treatment} less {control} is {difference} points ({low} to "
                "{high}); {blocks}.",
                **known,
            )
        ]
    else:
        told = [
            say(
                "{score} on {day}: {treatment} less {control} is {difference} ({low} to {high}); "
                "{blocks}.",
                **known,
            )
        ]
    if not row.p < _LEVEL:
        told.append(say("This does not settle it."))
    if kind == "ordinal" and row.smallest_p > _LEVEL:
        told.append(
            say(
                "The {blocks} blocks that differ cannot give a p below {smallest:.2g}.",
                blocks=row.blocks - row.equal, smallest=row.smallest_p,
            )
        )  # fmt: skip
    return " ".join(told)


def _signed(value: float) -> str:
    return figures(f"{value:+.3g}").replace("-", "−") if value else "0"


def _block_words(row: ScoreRow) -> str:
    if not row.blocks:
        return say("no block held both")
    words = [say("higher in {higher} of {blocks} blocks", higher=row.higher, blocks=row.blocks)]
    words += [say("lower in {lower}", lower=row.lower)] if row.lower else []
    words += [say("equal in {equal}", equal=row.equal)] if row.equal else []
    return ", ".join(words)


def score_notes(rows: pd.DataFrame, kind: str) -> Iterator[str]:
    """Yield what to keep in mind of the comparisons of a score.

    Parameters
    ----------
    rows
        One row a comparison.
    kind
        `"percent"`, `"ordinal"` or `"number"`.
    """
    if kind == "percent" and rows["p_logit"].notna().any():
        yield say(
            "Some strips lie below 30% or above 70%, where scatter hangs on the level: p_logit is "
            "the same comparison on the logit scale. Where the two p disagree, trust neither far."
        )
    if kind == "ordinal":
        yield say(
            "Steps of a scale say more or less, not how much: ranks are compared, and no mean "
            "difference is given."
        )
    tested = int(rows["p"].notna().sum())
    if tested > 1:
        yield say(
            "{tested} comparisons are made here. By chance alone one in twenty has a p below 0.05: "
            "name the day that counts before the season.",
            tested=tested,
        )
