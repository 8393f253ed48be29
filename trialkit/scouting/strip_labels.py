"""Records taken by strip: who they belong to, and whether they can be right."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import ScoutingError
from trialkit.language import marked, say

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

#: Records named one by one in a message; the rest are counted.
_NAMED = 3
#: What tables are called.
COUNTS = marked("counts")
_STRIPS = marked("strips of the layout")


def require_columns(table: pd.DataFrame, names: Sequence[str], what: str) -> None:
    """Refuse a table that lacks a column, or is none.

    Parameters
    ----------
    table
        What was given.
    names
        Columns needed.
    what
        What the table holds, such as `"counts"`.

    Raises
    ------
    ScoutingError
        Naming the missing column and those there are.
    """
    if not isinstance(table, pd.DataFrame):
        raise ScoutingError(
            f"The {what} are a {type(table).__name__}, not a table. Give a pandas DataFrame."
        )
    for name in names:
        if name not in table.columns:
            known = ", ".join(str(column) for column in table.columns) or say("none")
            raise ScoutingError(
                say(
                    "The {table} have no column '{column}'. They have: {known}.",
                    table=say(what), column=name, known=known,
                )
            )  # fmt: skip


def named_records(table: pd.DataFrame, wrong: Flags, what: str) -> str:
    """Return which records are meant: `record 4 of the counts (strip S3)`, from 1.

    Parameters
    ----------
    table
        The records.
    wrong
        Which of them, one mark a record.
    what
        What the table holds.
    """
    places = np.flatnonzero(wrong)
    names = table["strip"].astype(str).tolist() if "strip" in table else None
    if len(places) == 1:
        first = {"number": places[0] + 1, "table": say(what)}
        if names is None:
            return say("record {number} of the {table}", **first)
        return say(
            "record {number} of the {table} (strip {strip})", **first, strip=names[places[0]]
        )
    listed = ", ".join(
        say("{number} (strip {strip})", number=at + 1, strip=names[at]) if names else f"{at + 1}"
        for at in places[:_NAMED]
    )
    if len(places) <= _NAMED:
        return say("records {numbers} of the {table}", numbers=listed, table=say(what))
    return say(
        "records {numbers} and {rest} more of the {table}",
        numbers=listed, rest=len(places) - _NAMED, table=say(what),
    )  # fmt: skip


def number_column(table: pd.DataFrame, name: str, what: str) -> Floats:
    """Return a column as numbers, NaN where a cell is blank.

    Parameters
    ----------
    table
        The records.
    name
        Column.
    what
        What the table holds, for messages.

    Raises
    ------
    ScoutingError
        If a cell holds something else, or is infinite.
    """
    cells = table[name]
    values = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    blank = cells.isna() | cells.astype(str).str.strip().eq("")
    bad = (np.isnan(values) & ~blank.to_numpy(dtype=bool)) | np.isinf(values)
    if bad.any():
        shown = str(cells.iloc[int(bad.argmax())])[:40]
        raise ScoutingError(
            say(
                "{records}: {column} holds '{cell}', which is not a number. Correct it, or leave "
                "the cell blank where nothing was recorded.",
                records=named_records(table, bad, what), column=name, cell=shown,
            )
        )  # fmt: skip
    return values


def refuse_where(table: pd.DataFrame, wrong: Flags, what: str, why: str) -> None:
    """Raise where any record is wrong.

    Parameters
    ----------
    table
        The records.
    wrong
        One mark a record.
    what
        What the table holds.
    why
        What is wrong with them, and the remedy.

    Raises
    ------
    ScoutingError
        Naming the records.
    """
    if wrong.any():
        raise ScoutingError(f"{named_records(table, wrong, what)}: {why}")


def with_strips(table: pd.DataFrame, layout: pd.DataFrame, what: str) -> pd.DataFrame:
    """Return the records with the block and treatment of their strip.

    Parameters
    ----------
    table
        One row a record, with `strip`.
    layout
        One row a strip: `strip block treatment`; headlands (`role`) are passed over.
    what
        What the table holds, for messages.

    Returns
    -------
    DataFrame
        The records in their order under a plain index, with `block` and `treatment`.

    Raises
    ------
    ScoutingError
        If a record names no strip, or one that is not in the layout.
    """
    require_columns(table, ["strip"], what)
    require_columns(layout, ["strip", "block", "treatment"], _STRIPS)
    if table.empty:
        raise ScoutingError(
            say("There are no {table} yet. Give one row a record.", table=say(what))
        )
    strips = layout[layout["role"] == "strip"] if "role" in layout else layout
    names = strips["strip"].astype(str)
    if names.duplicated().any():
        twice = names[names.duplicated()].iloc[0]
        raise ScoutingError(
            say("The layout holds strip {strip} twice. Give each strip its own name.", strip=twice)
        )
    own = table.reset_index(drop=True)
    asked = own["strip"].astype(str).str.strip()
    unknown = (~asked.isin(names) | own["strip"].isna()).to_numpy(dtype=bool)
    if unknown.any():
        first = asked.iloc[int(unknown.argmax())]
        near = difflib.get_close_matches(first, names.tolist(), n=1)
        hint = (
            say("Did you mean {strip}?", strip=near[0])
            if near
            else say("It has: {strips}.", strips=", ".join(names.tolist()[:12]))
        )
        raise ScoutingError(
            say(
                "{records}: the layout has no strip '{strip}'. {hint}",
                records=named_records(own, unknown, what), strip=first, hint=hint,
            )
        )  # fmt: skip
    places = pd.Index(names).get_indexer(pd.Index(asked))
    return own.assign(
        strip=asked,
        block=strips["block"].to_numpy()[places],
        treatment=strips["treatment"].astype(str).to_numpy()[places],
    )


def day_column(table: pd.DataFrame, what: str, *, sown: date | None = None) -> pd.Series:
    """Return the column `date` as days, not-a-time where it is blank.

    Parameters
    ----------
    table
        The records.
    what
        What the table holds.
    sown
        Day of sowing, or None where it is not known.

    Raises
    ------
    ScoutingError
        If a cell is no date, or a day lies before sowing.
    """
    cells = table["date"]
    if isinstance(cells.dtype, pd.DatetimeTZDtype):
        cells = cells.dt.tz_localize(None)
    if cells.dtype.kind == "M":
        days = cells
    else:
        text = cells.map(lambda cell: "" if pd.isna(cell) else str(cell).strip())
        days = pd.to_datetime(text.where(text != ""), format="ISO8601", errors="coerce", utc=True)
        days = days.dt.tz_localize(None)
        wrong = (days.isna() & (text != "")).to_numpy(dtype=bool)
        if wrong.any():
            refuse_where(
                table,
                wrong,
                what,
                say(
                    "'{cell}' is not a date. Write it year first, like 2024-08-03.",
                    cell=text.iloc[int(wrong.argmax())][:40],
                ),
            )
    found: pd.Series = days.dt.normalize().dt.as_unit("s")
    if sown is not None:
        early = (found < pd.Timestamp(sown)).to_numpy(dtype=bool)
        first = "" if not early.any() else f"{found[early].iloc[0]:%Y-%m-%d}"
        refuse_where(
            table,
            early,
            what,
            say(
                "dated {day}, before the crop was sown on {sown:%Y-%m-%d}. Correct the date of the "
                "record or of sowing.",
                day=first, sown=sown,
            ),
        )  # fmt: skip
    return found
