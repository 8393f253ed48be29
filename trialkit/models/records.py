"""Rows used and columns made plain: numbers are numbers, labels are labels.

Faults of single cells and columns are caught here, in words that name the column.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import ModelError
from trialkit.language import say

Floats = NDArray[np.float64]
Codes = NDArray[np.intp]

#: So many different texts may always be labels.
_LABELS = 8
#: Beyond that, text is no label where the share of different values in the records is larger
#: than this; where most values look like numbers, already at the second share.
_LABELS_SHARE, _NUMBERS_SHARE = 0.8, 0.25


def check_table(data: pd.DataFrame) -> None:
    """Refuse anything but a table with rows.

    Raises
    ------
    ModelError
        If `data` is no DataFrame, or has no rows or columns.
    """
    if not isinstance(data, pd.DataFrame):
        raise ModelError(
            f"The data are a {type(data).__name__}, not a table. Give a pandas DataFrame."
        )
    if data.empty:
        raise ModelError("The table is empty. Give one row for each strip or record.")


def require_column(name: str, data: pd.DataFrame, place: str) -> None:
    """Refuse a column that is missing or stands twice; `place` says who names it.

    Raises
    ------
    ModelError
        With the nearest name as a suggestion.
    """
    known = [str(column) for column in data.columns]
    count = known.count(name)
    if count == 1:
        return
    if count > 1:
        raise ModelError(f"Column '{name}' stands {count} times in the table. Rename the others.")
    near = difflib.get_close_matches(name, known, n=1)
    hint = f"Did you mean '{near[0]}'?" if near else f"The table holds: {', '.join(known)}."
    raise ModelError(f"The {place} names column '{name}', which is not in the table. {hint}")


def rows_used(data: pd.DataFrame, used: list[str]) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return the columns used without the rows that have an empty cell in them.

    Parameters
    ----------
    data
        The table.
    used
        Names of the columns used.

    Returns
    -------
    DataFrame, tuple of str
        The rows kept, and a sentence that counts and names what was left out.

    Raises
    ------
    ModelError
        If no row is complete.
    """
    for name in used:
        require_column(name, data, "model")
    table = data[used]
    empty = {name: table[name].isna().to_numpy() for name in used}
    gone = np.logical_or.reduce(list(empty.values()))
    missing = int(gone.sum())
    if missing == 0:
        return table, ()
    where = ", ".join(
        say("'{column}' in {count}", column=name, count=int(mask.sum()))
        for name, mask in empty.items()
        if mask.any()
    )
    if missing == len(table):
        raise ModelError(
            say("No record is complete: empty cells stand in {where}. Fill them in.", where=where)
        )
    note = say(
        "{missing} of {records} records left out for empty cells: {where}.",
        missing=missing, records=len(table), where=where,
    )  # fmt: skip
    return table[~gone], (note,)


def tidy(table: pd.DataFrame, left: list[str], right: list[str]) -> pd.DataFrame:
    """Return the table with every column either numbers or labels with sorted levels.

    Parameters
    ----------
    table
        Rows without empty cells.
    left
        Columns that must be numbers.
    right
        Columns that may be numbers or labels; all others are groups.

    Returns
    -------
    DataFrame

    Raises
    ------
    ModelError
        If a column holds text where numbers belong, infinite values, or both text and numbers.
    """
    tidied = {name: _tidy_column(table[name]) for name in table.columns}
    for name in left:
        if isinstance(tidied[name].dtype, pd.CategoricalDtype):
            raise ModelError(_text_message(table[name]))
    for name in right:
        if isinstance(tidied[name].dtype, pd.CategoricalDtype):
            _check_labels(table[name], tidied[name].cat.categories)
    for name in dict.fromkeys([*left, *right]):
        _check_finite(tidied[name])
    return pd.DataFrame(tidied, copy=False)


def _tidy_column(series: pd.Series) -> pd.Series:
    if isinstance(series.dtype, pd.CategoricalDtype):
        return series.cat.remove_unused_categories()
    if pd.api.types.is_bool_dtype(series) or pd.api.types.is_datetime64_any_dtype(series):
        return series.astype("category")
    if pd.api.types.is_numeric_dtype(series):
        return _plain_numbers(series)
    kind = pd.api.types.infer_dtype(series, skipna=True)
    if kind in {"integer", "floating", "mixed-integer-float", "decimal"}:
        return series.astype(float)
    if kind in {"string", "date", "boolean"}:
        return series.astype("category")
    text = np.array([isinstance(value, str) for value in series])
    odd = text if 2 * text.sum() <= text.size else ~text  # name a cell of the rarer kind
    place = int(odd.argmax())
    where = f", such as '{series.iloc[place]}' in row {series.index[place]}" if odd.any() else ""
    raise ModelError(
        f"Column '{series.name}' holds both numbers and text{where}. Make it all numbers, or all "
        "labels."
    )


def _plain_numbers(series: pd.Series) -> pd.Series:
    if pd.api.types.is_complex_dtype(series):
        raise ModelError(f"Column '{series.name}' holds complex numbers. Give plain ones.")
    if isinstance(series.dtype, np.dtype):
        return series
    whole = pd.api.types.is_integer_dtype(series)
    return series.astype("int64" if whole else "float64")


def _text_message(series: pd.Series) -> str:
    numbers = pd.to_numeric(series.astype(str), errors="coerce")
    remedy = "Write plain numbers with a decimal point, and leave a cell empty where none is known."
    if numbers.isna().any():
        row = int(numbers.isna().to_numpy().argmax())
        return (
            f"Column '{series.name}' should hold numbers but holds text, such as "
            f"'{series.iloc[row]}' in row {series.index[row]}. {remedy}"
        )
    return (
        f"Column '{series.name}' holds numbers written as text. "
        "Turn it into numbers first, for instance with pandas.to_numeric."
    )


def text_notes(table: pd.DataFrame, right: list[str]) -> tuple[str, ...]:
    """Say which columns of numbers written as text act as labels.

    Parameters
    ----------
    table
        A tidied table.
    right
        Columns that may be numbers or labels.

    Returns
    -------
    tuple of str
    """
    return tuple(
        say(
            "Column '{column}' holds numbers written as text: its values act as labels.",
            column=name,
        )
        for name in right
        if isinstance(table[name].dtype, pd.CategoricalDtype)
        and _like_numbers(table[name].cat.categories)
    )


def _like_numbers(labels: pd.Index) -> bool:
    """Whether most of the labels are text that reads as a number, decimal commas included."""
    text = pd.Series([label.replace(",", ".") for label in labels if isinstance(label, str)])
    return int(pd.to_numeric(text, errors="coerce").notna().sum()) > len(labels) / 2


def _check_labels(series: pd.Series, labels: pd.Index) -> None:
    share = _NUMBERS_SHARE if _like_numbers(labels) else _LABELS_SHARE
    if len(labels) <= max(_LABELS, share * len(series)):
        return
    raise ModelError(
        f"Column '{series.name}' holds text with {len(labels)} different values in {len(series)} "
        f"records, such as '{series.iloc[0]}'. If it should hold numbers, write them with a "
        "decimal point. If it holds labels, there are too few records of each to compare."
    )


def _check_finite(series: pd.Series) -> None:
    if not pd.api.types.is_numeric_dtype(series):
        return
    bad = ~np.isfinite(series.to_numpy(dtype=float))
    if bad.any():
        row = series.index[int(bad.argmax())]
        raise ModelError(
            f"Column '{series.name}' holds an infinite value in row {row} "
            f"({int(bad.sum())} in all). Correct it or leave the cell empty."
        )


def label_codes(series: pd.Series) -> tuple[Codes, int]:
    """Turn labels into numbers from zero, in the order of `level_values`, and count them."""
    if isinstance(series.dtype, pd.CategoricalDtype):
        return series.cat.codes.to_numpy().astype(np.intp), len(series.cat.categories)
    codes, values = pd.factorize(series, sort=True)
    return np.asarray(codes, dtype=np.intp), len(values)


def joined(names: Sequence[str]) -> str:
    """Return names as a phrase, `a and b and c`; empty where there are none."""
    phrase = names[0] if names else ""
    for name in names[1:]:
        phrase = say("{names} and {last}", names=phrase, last=name)
    return phrase


def level_values(series: pd.Series) -> tuple[object, ...]:
    """Return the different values of a tidied column, sorted or in their stated order."""
    if isinstance(series.dtype, pd.CategoricalDtype):
        return tuple(series.cat.categories)
    return tuple(np.unique(series.to_numpy()).tolist())
