"""Logs in which several crops, varieties or fields stand together: told, and chosen from.

A wheat yield beside a barley yield is no comparison. What a log says of its records is read before
anything is made of them; which ones to take is for the user to say.
"""

from __future__ import annotations

import difflib
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError, LogWarning
from trialkit.harvest.column_guess import take_apart
from trialkit.harvest.readers import ExportedTable
from trialkit.language import figures, marked, say

#: Words of headings under which a log says what its records are of, and their kind.
_KINDS = {
    "crop": "crops", "commodity": "crops", "variety": "varieties", "cultivar": "varieties",
    "hybrid": "varieties", "product": "products", "field": "fields", "paddock": "fields",
    "partfield": "fields",
}  # fmt: skip

#: What a message says of several, of each kind, and what becomes of them together.
_NAMES_SEVERAL = {
    "crops": marked("{file}: column '{heading}' names {number} crops."),
    "varieties": marked("{file}: column '{heading}' names {number} varieties."),
    "products": marked("{file}: column '{heading}' names {number} products."),
    "fields": marked("{file}: column '{heading}' names {number} fields."),
}
_MIXED = marked("All were read, and their yields do not compare.")
_HARM = {
    "fields": marked(
        "All were read, and the grain-flow delay and the ends of passes are found from all of them."
    ),
}

#: Words that may stand beside them.
_BESIDE = {"name", "id", "code", "number", "no", "nr", "type", "label", "harvested"}

#: More different numbers than this under such a heading are no names.
_MOST_CODES = 20

#: Values listed in a message.
_LISTED = 5


def wanted_records(
    tables: Sequence[ExportedTable],
    columns: Mapping[str, str],
    only: Mapping[str, str],
    crop: str | None = None,
) -> list[ExportedTable]:
    """Return the records wanted, and say where several crops, varieties or fields are left.

    Parameters
    ----------
    tables
        One a file.
    columns
        Our name to the file's heading; such a column is no name of a crop.
    only
        Heading to the value wanted.
    crop
        Crop of the trial, to suggest it where the log has it.

    Returns
    -------
    list of ExportedTable
        Those with a record left.

    Raises
    ------
    LogError
        If a file has no such column, or no record has the value.

    Warns
    -----
    LogWarning
        If more than one crop, variety, product or field is left.
    """
    left = list(tables)
    for heading, value in only.items():
        left = _chosen(left, heading, value)
    for heading, kind in _naming(left, columns):
        counts = sum((_counts(table, heading) for table in left), Counter[str]())
        if len(counts) > 1:
            _warn_of_several(left[0].file, heading, kind, counts, crop)
    return left


def _chosen(tables: Sequence[ExportedTable], heading: str, value: str) -> list[ExportedTable]:
    """Return the tables with the records of one value under a heading."""
    counts: Counter[str] = Counter()
    left = []
    for table in tables:
        if table.find(heading) is None:
            near = difflib.get_close_matches(heading, table.headings, n=1, cutoff=0.6)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            raise LogError(
                f"{table.file}: there is no column '{heading}', by which [harvest] only in "
                f"trial.toml chooses records.{hint}"
            )
        counts += _counts(table, heading)
        keep = _folded(table, heading) == " ".join(value.split()).casefold()
        if keep.any():
            cells = table.cells[keep].reset_index(drop=True)
            left.append(replace(table, cells=cells, rows=table.rows[keep]))
    if not left:
        raise LogError(
            f"{tables[0].file}, column '{heading}': no record is of '{value}'. "
            f"{_told(counts) or 'The column is empty.'} Correct [harvest] only in trial.toml."
        )
    return left


def _naming(
    tables: Sequence[ExportedTable], columns: Mapping[str, str]
) -> Iterator[tuple[str, str]]:
    """Yield the headings under which logs name what their records are of, and of which kind."""
    mapped = {" ".join(heading.split()) for heading in columns.values()}
    headings = dict.fromkeys(heading for table in tables for heading in table.headings)
    for heading in headings:
        words = take_apart(heading).words
        kinds = [kind for word, kind in _KINDS.items() if word in words]
        if kinds and words <= _KINDS.keys() | _BESIDE and heading not in mapped:
            yield heading, kinds[0]


def _counts(table: ExportedTable, heading: str) -> Counter[str]:
    """Return how many records are of each value, as it is written first; none of many numbers."""
    places = [
        number for number, own in enumerate(table.headings) if own == " ".join(heading.split())
    ]
    if len(places) != 1:
        return Counter()
    cells = table.cells[places[0]].dropna()
    names = cells.value_counts(sort=False)
    if pd.api.types.is_numeric_dtype(names.index) and len(names) > _MOST_CODES:
        return Counter()
    counts: Counter[str] = Counter()
    spelling: dict[str, str] = {}
    for name, number in names.items():
        plain = " ".join(_plain(name).split())
        if plain and number:
            counts[spelling.setdefault(plain.casefold(), plain)] += int(number)
    return counts


def _folded(table: ExportedTable, heading: str) -> NDArray[np.bool_]:
    """Return the cells of a column as text, blanks and capitals aside."""
    place = table.find(heading)
    assert place is not None  # noqa: S101  looked for before
    cells = table.cells[place]
    known = {name: " ".join(_plain(name).split()).casefold() for name in cells.dropna().unique()}
    return np.asarray(cells.map(known, na_action="ignore").to_numpy(dtype=object))


def _plain(value: object) -> str:
    """Return a cell as text; whole numbers without a decimal."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _warn_of_several(
    file: str, heading: str, kind: str, counts: Counter[str], crop: str | None
) -> None:
    likely = next((n for n in counts if n.casefold() == (crop or "").casefold()), None)
    example = likely or counts.most_common(1)[0][0]
    line = f'only = {{"{_quoted(heading)}" = "{_quoted(example)}"}}'
    warnings.warn(
        " ".join(
            [
                say(_NAMES_SEVERAL[kind], file=file, heading=heading, number=len(counts)),
                _told(counts),
                say(_HARM.get(kind, _MIXED)),
                say("To take one, write under [harvest] in trial.toml: {line}.", line=line),
            ]
        ),
        LogWarning,
        stacklevel=4,
    )


def _told(counts: Counter[str]) -> str:
    if not counts:
        return ""
    listed = ", ".join(
        f"'{name[:40]}' ({figures(f'{number:,}')})" for name, number in counts.most_common(_LISTED)
    )
    if len(counts) <= _LISTED:
        return say("Records of {names}.", names=listed)
    return say("Records of {names} and {number} more.", names=listed, number=len(counts) - _LISTED)


def _quoted(text: str) -> str:
    return "".join(c for c in text if c.isprintable()).replace("\\", "\\\\").replace('"', '\\"')
