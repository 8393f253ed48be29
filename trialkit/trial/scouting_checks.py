"""What one cell of a scouting table does not tell alone: held against its row, scale and season."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date

import numpy as np
import pandas as pd

from trialkit.checks import Check
from trialkit.language import marked, say
from trialkit.trial.config_faults import FILE, suggestion
from trialkit.trial.config_scouting import Scouting
from trialkit.trial.tables import FORMS

#: Faults of one kind beyond which only their number is given.
_SHOWN = 3
#: An area and a length of row times its spacing that differ by more than this share disagree.
_AGREE = 0.01


def check_records(tables: Mapping[str, pd.DataFrame | None], settings: Scouting) -> list[Check]:
    """Check the tables of scouting row by row.

    Parameters
    ----------
    tables
        The tables by name, their index the row in the file; None where there is none.
    settings
        What `trial.toml` says under `[scouting]`.

    Returns
    -------
    list of Check
        Every fault at once.
    """
    checks: list[Check] = []
    kinds: dict[str, Callable[[pd.DataFrame], Iterator[Check]]] = {
        "counts": _of_counts,
        "stages": _of_stages,
        "scores": lambda table: _of_scores(table, settings),
        "heads": _of_heads,
    }
    for name, check in kinds.items():
        table = tables.get(name)
        if table is None:
            continue
        checks += check(table)
        if settings.sown is not None and "date" in table:
            checks += _before_sowing(table, name, settings.sown)
    return checks


def _of_counts(table: pd.DataFrame) -> Iterator[Check]:
    count = table["count"]
    yield from _told(
        "counts",
        "count",
        count[count.notna() & (count != count.round())],
        marked("{value:g} is no whole number of plants."),
        say("Enter each place as it was counted, no mean and no plants/m²."),
    )
    if {"row_length_m", "row_spacing_m", "area_m2"} <= set(table):
        along = table["row_length_m"] * table["row_spacing_m"]
        off = (table["area_m2"] / along - 1).abs() > _AGREE
        yield from _told(
            "counts",
            "area_m2",
            table.loc[off, "area_m2"],
            marked("{value:g} m² is not the length of row times its spacing."),
            say("Give one of the two ways, and leave the other blank."),
        )


def _of_stages(table: pd.DataFrame) -> Iterator[Check]:
    middle = table.groupby("date")["zadoks"].median()
    back = middle.index[middle.diff() < 0]
    yield from _told(
        "stages",
        "zadoks",
        table.loc[table["date"].isin(back), "zadoks"],
        marked("{value:g} is younger than what was seen on the day before."),
        say("The crop cannot run backward: correct the code or a date."),
    )


def _of_scores(table: pd.DataFrame, settings: Scouting) -> Iterator[Check]:
    for name, own in table.groupby("score", sort=False):
        scale = settings.scale_of(str(name))
        value = own["value"]
        yield from _told(
            "scores",
            "value",
            value[(value < scale.low) | (value > scale.high)],
            marked("{score} of {value:g} is off its scale, {low:g} to {high:g}."),
            say(
                "Correct it, or the scale: [scouting.scores.{score}] in trial.toml.",
                score=str(name),
            ),
            score=str(name),
            low=scale.low,
            high=scale.high,
        )


def _of_heads(table: pd.DataFrame) -> Iterator[Check]:
    sterile, florets = table["sterile"], table["florets"]
    yield from _told(
        "heads",
        "sterile",
        sterile[sterile > florets],
        marked("{value:g} sterile florets are more than the florets of that head."),
        say("Check both: sterile florets are part of them."),
    )
    for name, own, other in (("sterile", sterile, florets), ("florets", florets, sterile)):
        yield from _told(
            "heads",
            name,
            other[own.isna() & other.notna()],
            marked("It is blank, and the other number is {value:g}."),
            say("Fill in both, or leave both blank where nobody looked."),
        )


def _before_sowing(table: pd.DataFrame, name: str, sown: date) -> Iterator[Check]:
    early = table.loc[table["date"] < pd.Timestamp(sown), "date"]
    yield from _told(
        name,
        "date",
        early.dt.strftime("%Y-%m-%d"),
        marked("{value} is before the crop was sown, {sown:%Y-%m-%d}."),
        say("Correct it, or sown under [scouting] in trial.toml."),
        sown=sown,
    )


def _told(
    name: str, column: str, wrong: pd.Series, found: str, wanted: str, **values: object
) -> Iterator[Check]:
    """Yield a fault a row, by the row's number in the file; beyond three only how many."""
    file = FORMS[name].file
    for row, value in list(wrong.items())[:_SHOWN]:
        place = say("row {number}, {column}", number=row, column=column)
        yield Check(file, place, say(found, value=value, **values), wanted)
    if len(wrong) > _SHOWN:
        more = say("{number} more rows have the same fault.", number=len(wrong) - _SHOWN)
        yield Check(file, column, more, wanted)


def odd_scores(scores: pd.DataFrame | None, settings: Scouting) -> Iterator[Check]:
    """Yield what may be right about scores, but should be looked at.

    Parameters
    ----------
    scores
        The scores; None where there are none.
    settings
        What `trial.toml` says under `[scouting]`.
    """
    values = {} if scores is None else {str(n): v for n, v in scores.groupby("score")["value"]}
    for name, own in values.items():
        scale = settings.scale_of(name)
        if scale.kind == "percent" and own.notna().sum() > 1 and 0 < own.max() <= 1:
            yield _note(
                FORMS["scores"].file,
                say("{score} runs up to {most:g} only.", score=name, most=own.max()),
                say("If these are shares, 0.35 must be entered as 35."),
            )
        if not np.isfinite([scale.low, scale.high]).all():
            yield _note(
                FORMS["scores"].file,
                say("{score} has no scale, so any number passes.", score=name),
                say("Give low and high under [scouting.scores.{score}] in trial.toml.", score=name),
            )
    for name in settings.scores:
        if values and name not in values:
            near = suggestion(name, list(values)).strip() or say(
                "It holds {scores}.", scores=", ".join(values)
            )
            found = say("'{score}' has a scale, and no such thing was scored.", score=name)
            yield _note(FILE, found, near)


def _note(file: str, found: str, wanted: str) -> Check:
    return Check(file, "", found, wanted, "warning")
