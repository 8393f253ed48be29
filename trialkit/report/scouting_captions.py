"""Words on pictures of the scouting, below them, and in their place for who cannot see them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.days import day_and_month, whole_date
from trialkit.language import marked, say
from trialkit.report import numbers

if TYPE_CHECKING:
    from trialkit.scouting import FrostNights, FrostRisk

NIGHT_AXIS = marked("Coldest of the night, °C")


def counts_words(means: pd.DataFrame, names: Sequence[str]) -> str:
    """Describe the picture of counts.

    Parameters
    ----------
    means
        Plants/m² by strip, treatments by their names as drawn.
    names
        Treatments, the control first.
    """
    parts = []
    for name in names:
        own = means[means["treatment"] == numbers.shortened(name, 18)]["plants_m2"]
        if len(own):
            parts.append(
                say(
                    "{name} {mean:.0f} on average ({low:.0f} to {high:.0f}, {strips} strips)",
                    name=name,
                    mean=own.mean(),
                    low=own.min(),
                    high=own.max(),
                    strips=len(own),
                )
            )
    return say("Plants/m² by strip: {each}.", each="; ".join(parts))


def counts_caption(*, crossed: bool) -> str:
    """Say how to read the picture of counts.

    Parameters
    ----------
    crossed
        Whether some counts are far from the others of their strip.
    """
    words = say("Large marks are strips, small dots the counts in them.")
    if not crossed:
        return words
    cross = say("A cross marks a count far from the others of its strip.")
    return f"{words} {cross}"


def frost_words(frost: FrostNights, risk: FrostRisk | None) -> str:
    """Describe the picture of cold nights.

    Parameters
    ----------
    frost
        From `trialkit.scouting.frost_nights`.
    risk
        From `trialkit.scouting.frost_risk`, or None.
    """
    nights = frost.nights.dropna(subset="minimum_c")
    coldest = nights.nsmallest(1, "minimum_c").iloc[0]
    below = int((nights.groupby("date")["minimum_c"].min() < 0).sum())
    text = say(
        "Coldest of each night, {first} to {last}: below 0 °C on {nights} nights, down to "
        "{coldest} °C on {day}.",
        first=day_and_month(nights["date"].min()),
        last=whole_date(nights["date"].max()),
        nights=below,
        coldest=numbers.number(coldest["minimum_c"], 1),
        day=day_and_month(coldest["date"]),
    )
    if risk is None:
        return text
    verdicts = risk.nights.groupby("date")["verdict"].agg(set)
    could = int(verdicts.map(lambda found: "could have hurt" in found).sum())
    may = int(verdicts.map(lambda found: "may have hurt" in found).sum())
    harm = say("Nights that could have hurt: {could}; that may have: {may}.", could=could, may=may)
    return f"{text} {harm}"


def frost_caption(risk: FrostRisk | None, left_out: Sequence[str]) -> str:
    """Say how to read the picture of cold nights.

    Parameters
    ----------
    risk
        From `trialkit.scouting.frost_risk`, or None.
    left_out
        Loggers that are not drawn.
    """
    words = []
    if risk is not None:
        words.append(
            say(
                "Full diamonds could have hurt, empty ones may have; crosses are nights with hours "
                "missing. Shaded: colder than wheat has been harmed at the stage, the darker part "
                "whichever stage it was. Published limits hold for two hours; they are no forecast "
                "of loss."
            )
        )
    if left_out:
        words.append(say("Not drawn: {loggers}.", loggers=numbers.listed(list(left_out))))
    return " ".join(words)


def scores_caption(kind: str) -> str:
    """Say how to read the picture of a score.

    Parameters
    ----------
    kind
        How it is scored; of an ordinal score medians are drawn.
    """
    if kind == "ordinal":
        return say(
            "Marks are the median of the strips, grey dots the strips: the larger, the more of "
            "them."
        )
    return say(
        "Marks are the mean of the strips, grey dots the strips: the larger, the more of them."
    )


def score_axis(score: str, kind: str) -> str:
    """Return the words for the axis of a score.

    Parameters
    ----------
    score
        What was scored.
    kind
        How it is scored.
    """
    name = numbers.shortened(score)
    return say("{score}, %", score=name) if kind == "percent" else name


def scores_words(middles: pd.DataFrame, score: str, kind: str) -> str:
    """Describe the picture of a score.

    Parameters
    ----------
    middles
        One row a day and treatment: `date treatment middle`.
    score
        What was scored.
    kind
        How it is scored.
    """
    days = []
    for day, own in middles.groupby("date"):
        values = ", ".join(
            say("{name} {value:.3g}", name=name, value=value)
            for name, value in zip(own["treatment"], own["middle"], strict=True)
        )
        days.append(f"{day_and_month(pd.Timestamp(str(day)))}: {values}")
    if kind == "ordinal":
        words = marked("{score}, median of the strips. {days}.")
    else:
        words = marked("{score}, mean of the strips. {days}.")
    return say(words, score=score, days="; ".join(days))
