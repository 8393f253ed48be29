"""How a result shows itself: one line in a terminal, a small table in a notebook.

A result class takes both over by naming them in its body:

    __repr__ = as_line
    _repr_html_ = as_table

Whatever comes from data is escaped.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass
from html import escape
from numbers import Integral, Real
from pathlib import PurePath
from typing import TYPE_CHECKING, TypeGuard

from trialkit.columns import COLUMNS, label

if TYPE_CHECKING:
    from pandas import DataFrame, Series

#: JupyterLab puts the text of tables to the right.
_LEFT = 'style="text-align:left"'
NOTHING = "–"
#: Rows of a table inside the table, and letters of a text in a line, before they are cut.
_MOST_ROWS = 12
_MOST_LETTERS = 60
#: Endings of names that are units, the longest first, and how they are read.
_UNITS = {
    "t_ha": "t/ha",
    "l_min": "l/min",
    "kg_ha": "kg/ha",
    "per_ha": "a hectare",
    "per_t": "a tonne",
    "pct": "%",
    "deg": "°",
    "ha": "ha",
    "h": "h",
    "l": "l",
    "m": "m",
    "s": "s",
    "t": "t",
}
#: Parts of names that are written otherwise.
_WORDS = {
    "cv": "variation",
    "df": "degrees of freedom",
    "p": "p",
    "reml": "REML",
    "sha256": "SHA-256",
    "std": "standard",
    "t": "t",
}
_UNIT = re.compile(rf"^(.+?)_({'|'.join(_UNITS)})$")


def as_line(result: object) -> str:
    """Return a result on one line: plain values as they are, all else by its size.

    Parameters
    ----------
    result
        A dataclass.

    Examples
    --------
    >>> from trialkit.money import payoff
    >>> as_line(payoff(0.30, 0.08, 5, price_per_t=300, cost_per_ha=30))[:52]
    'Payoff(break_even_t_ha=0.1, net_per_ha=60, net_low=-'
    """
    parts = ", ".join(f"{name}={_brief(value)}" for name, value in _shown_fields(result))
    return f"{type(result).__name__}({parts})"


def as_table(result: object) -> str:
    """Return a result as an HTML table, one row a field.

    Parameters
    ----------
    result
        A dataclass.
    """
    rows = "".join(_row(name, _cell(value)) for name, value in _shown_fields(result))
    title = escape(_spaced(type(result).__name__))
    return f"<table><caption {_LEFT}>{title}</caption><tbody>{rows}</tbody></table>"


def heading(name: str) -> str:
    """Return the words for a field or a column, its unit behind a comma.

    Parameters
    ----------
    name
        Its name in the code.

    Examples
    --------
    >>> heading("break_even_t_ha"), heading("i2_pct"), heading("verdict")
    ('Break even, t/ha', 'I2, %', 'Verdict')
    """
    if name in COLUMNS:
        return label(name)
    found = _UNIT.match(name)
    words, unit = (found[1], f", {_UNITS[found[2]]}") if found else (name, "")
    words = " ".join(_WORDS.get(part, part) for part in words.split("_") if part)
    # A letter of statistics stays small.
    return f"{words if len(words) == 1 else words[:1].upper() + words[1:]}{unit}"


def _shown_fields(result: object) -> Iterator[tuple[str, object]]:
    """Yield name and value of the fields that are meant for others."""
    if not is_dataclass(result):
        raise TypeError(f"{type(result).__name__} is no dataclass")
    for each in fields(result):
        if each.repr and not each.name.startswith("_"):
            yield each.name, getattr(result, each.name)


def _brief(value: object) -> str:
    """Return a value for the line."""
    if isinstance(value, str):
        return repr(value if len(value) <= _MOST_LETTERS else f"{value[: _MOST_LETTERS - 1]}…")
    if value is None or isinstance(value, bool):
        return str(value)
    if isinstance(value, Real):
        return _number(value)
    if isinstance(value, PurePath):
        return repr(str(value))
    if isinstance(value, tuple) and all(isinstance(each, str) for each in value):
        names = repr(value)
        return names if len(names) <= _MOST_LETTERS else f"<{_size(value)}>"
    return f"<{_size(value)}>"


def _cell(value: object) -> str:
    """Return a value for the table, as HTML."""
    if _is_series(value):
        value = value.to_frame("value")
    if _is_frame(value) and "geometry" not in value:
        return _frame(value)
    if isinstance(value, Mapping):
        return escape(_pairs(value)) or NOTHING
    if isinstance(value, tuple | list):
        return _several(value)
    return escape(_text(value))


def _several(values: Sequence[object]) -> str:
    if not values:
        return NOTHING
    if all(is_dataclass(each) and type(each) is type(values[0]) for each in values):
        return _records(values)
    if all(isinstance(each, str) and len(each) > _MOST_LETTERS // 2 for each in values):
        return "<br>".join(escape(str(each)) for each in values)
    return escape(", ".join(map(_text, values)))


def _records(records: Sequence[object]) -> str:
    """Return dataclasses of one kind as a table: a row each, or a column each if they are few."""
    shown = [dict(_shown_fields(record)) for record in records[:_MOST_ROWS]]
    names = list(shown[0])
    if len(shown) < len(names) / 2:
        rows = (_row(name, *(escape(_text(each[name])) for each in shown)) for name in names)
        return f"<table><tbody>{''.join(rows)}</tbody></table>"
    head = "".join(f'<th scope="col" {_LEFT}>{escape(heading(name))}</th>' for name in names)
    rows = (
        f"<tr>{''.join(f'<td {_LEFT}>{escape(_text(each[name]))}</td>' for name in names)}</tr>"
        for each in shown
    )
    more = len(records) - len(shown)
    rest = f"<p>and {more} more</p>" if more else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>{rest}"


def _row(name: str, *cells: str) -> str:
    inside = "".join(f"<td {_LEFT}>{cell}</td>" for cell in cells)
    return f'<tr><th scope="row" {_LEFT}>{escape(heading(name))}</th>{inside}</tr>'


def _frame(frame: DataFrame) -> str:
    plain = list(frame.index) == list(range(len(frame)))
    markup: str = frame.rename(columns=lambda name: heading(str(name))).to_html(
        max_rows=_MOST_ROWS, border=0, index=not plain, na_rep=NOTHING, float_format=_number
    )
    return markup


def _text(value: object) -> str:
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Real):
        return _number(value)
    if isinstance(value, Mapping):
        return f"({_pairs(value)})"
    if is_dataclass(value) and not isinstance(value, type):
        return as_line(value)
    return str(value) if isinstance(value, str | PurePath) else _size(value)


def _pairs(values: Mapping[object, object]) -> str:
    return ", ".join(f"{key}: {_text(each)}" for key, each in values.items())


def _size(value: object) -> str:
    """Return what a value is and how large, where it is too large to be shown."""
    kind = type(value).__name__
    shape = getattr(value, "shape", None)
    if isinstance(shape, tuple):
        return f"{kind} {' × '.join(map(str, shape))}" if shape else f"{kind}"
    if isinstance(value, Mapping | tuple | list):
        return f"{kind} of {len(value)}"
    return kind


def _number(value: float | Real) -> str:
    """Return a number to four digits, whole from a thousand up."""
    if isinstance(value, Integral):
        return str(int(value))
    number = float(value)
    if not math.isfinite(number):
        return NOTHING if math.isnan(number) else str(number)
    return f"{number:.0f}" if abs(number) >= 1000 else f"{number:.4g}"


def _spaced(name: str) -> str:
    """Return the name of a class as words."""
    words = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    return words[:1] + words[1:].lower()


# The library that makes tables is not loaded for who has none.
def _is_frame(value: object) -> TypeGuard[DataFrame]:
    return hasattr(value, "to_html") and hasattr(value, "columns")


def _is_series(value: object) -> TypeGuard[Series]:
    return hasattr(value, "to_frame") and hasattr(value, "index") and not _is_frame(value)
