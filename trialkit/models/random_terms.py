"""Random terms in words, and the groups of records they make.

A term is a column, `"block"`; a combination of columns, `"block:strip"`; or a slope,
`"block|elevation_m"`: the effect of a number differs from block to block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.language import say
from trialkit.models.random_blocks import Grouping
from trialkit.models.records import Codes, label_codes, require_column


@dataclass(frozen=True, slots=True)
class RandomTerm:
    """What a random term asks for.

    Parameters
    ----------
    name
        The term as given.
    columns
        Columns whose combinations are the groups.
    slope
        Column of the number whose effect differs between the groups; None for the level.
    """

    name: str
    columns: tuple[str, ...]
    slope: str | None = None

    @property
    def used(self) -> tuple[str, ...]:
        """All columns the term needs."""
        return self.columns if self.slope is None else (*self.columns, self.slope)


def read_random_terms(
    random: Sequence[str], data: pd.DataFrame, *, slopes: bool
) -> tuple[RandomTerm, ...]:
    """Read the random terms of a model.

    Parameters
    ----------
    random
        The terms in words.
    data
        The table whose columns they name.
    slopes
        Whether the model can take slopes.

    Returns
    -------
    tuple of RandomTerm

    Raises
    ------
    ModelError
        If a term cannot be read, stands twice, or names a column that is not there.
    """
    terms = [random] if isinstance(random, str) else list(random)
    for term in terms:
        if not isinstance(term, str):
            raise _unreadable(term)
        if terms.count(term) > 1:
            raise ModelError(f"The random term '{term}' is given twice. Give it once.")
    return tuple(_read(term, data, slopes) for term in terms)


def _read(term: str, data: pd.DataFrame, slopes: bool) -> RandomTerm:
    if term in data.columns:
        return RandomTerm(term, (term,))
    groups, bar, slope = (part.strip() for part in term.partition("|"))
    columns = [groups] if groups in data.columns else [part.strip() for part in groups.split(":")]
    if not all(columns) or (bar and not slope):
        raise _unreadable(term)
    if bar and not slopes:
        raise ModelError(
            f"The random term '{term}' asks for a slope, which counts cannot take here. "
            f"Give '{groups}' alone."
        )
    for column in [*columns, slope] if bar else columns:
        require_column(column, data, f"random term '{term}'")
    return RandomTerm(term, tuple(columns), slope if bar else None)


def _unreadable(term: object) -> ModelError:
    return ModelError(
        f"'{term}' is no random term. Give a column such as 'block', columns joined by a colon "
        "such as 'block:strip', or a slope such as 'block|elevation_m'."
    )


def group_records(term: RandomTerm, table: pd.DataFrame) -> Grouping:
    """Return the groups that a random term makes.

    Parameters
    ----------
    term
        What is asked for.
    table
        The rows used, tidied.

    Returns
    -------
    Grouping

    Raises
    ------
    ModelError
        If there is only one group.
    """
    codes, levels = label_codes(table[term.columns[0]])
    for column in term.columns[1:]:
        further, count = label_codes(table[column])
        codes, levels = _renumber(codes * count + further, levels * count)
    if levels == 1:
        raise ModelError(
            f"The random term '{term.name}' has only one group in the records used. "
            "Leave it out, or give records of more groups."
        )
    if term.slope is None:
        return Grouping(term.name, codes, levels)
    values = table[term.slope].to_numpy(dtype=float)
    return Grouping(term.name, codes, levels, values, slope=True)


def check_repeated(groupings: tuple[Grouping, ...], records: int) -> None:
    """Refuse a random term with one group for every record.

    Raises
    ------
    ModelError
        Naming the term.
    """
    for grouping in groupings:
        if grouping.levels == records:
            raise ModelError(
                f"Every record is its own '{grouping.name}', so scatter between them cannot be "
                f"told from scatter between records. Leave '{grouping.name}' out of the random "
                "terms."
            )


def slope_notes(terms: Sequence[RandomTerm], table: pd.DataFrame) -> tuple[str, ...]:
    """Say where a slope is taken from a zero that lies outside the records."""
    notes = []
    for term in terms:
        if term.slope is None:
            continue
        low, high = float(table[term.slope].min()), float(table[term.slope].max())
        if not low <= 0 <= high:
            notes.append(
                say(
                    "The slopes of '{term}' all meet at {column} = 0, outside the records "
                    "({low:g} to {high:g}). Subtract the mean of '{column}' first, unless zero "
                    "is where the groups should agree.",
                    term=term.name,
                    column=term.slope,
                    low=low,
                    high=high,
                )
            )
    return tuple(notes)


def _renumber(codes: Codes, span: int) -> tuple[Codes, int]:
    """Close the gaps in codes below `span`."""
    if span > 4 * codes.size + 1000:
        values, dense = np.unique(codes, return_inverse=True)
        return np.asarray(dense, dtype=np.intp), values.size
    present = np.bincount(codes, minlength=span) > 0
    return (np.cumsum(present) - 1)[codes], int(present.sum())
