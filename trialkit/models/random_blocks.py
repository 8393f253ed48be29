"""Columns of Z that go together, and the few products the engine asks of them.

A block never holds its columns as a dense table: a grouping is one number a record, a smooth
surface is worked out again where it is needed. So memory stays that of the data.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from scipy.sparse import csr_array

from trialkit.models.records import Codes, Floats

#: Records handled at once where columns are made on the way.
CHUNK = 8192
#: Columns beyond which a sparse product beats adding up one column after the other.
_MANY = 16


class RandomBlock(Protocol):
    """Columns of Z of one or several random terms, for n records."""

    @property
    def terms(self) -> tuple[str, ...]:
        """Names of the random terms."""

    @property
    def sizes(self) -> tuple[int, ...]:
        """Columns of each term."""

    def sums(self, columns: Floats, rows: slice) -> Floats:
        """Return Z'v over a run of records for columns v of theirs, shape (columns, m)."""

    def spread(self, effects: Floats, rows: slice) -> Floats:
        """Return Z u over a run of records, shape (records, m)."""

    def dense(self, rows: slice) -> tuple[Codes, Floats]:
        """Return the columns that are not all zero in a run of records, and which they are."""

    def arrange(self, order: Codes) -> RandomBlock:
        """Return the same block for records in another order."""

    def scaled(self, factor: Floats) -> RandomBlock:
        """Return the block with each record's row of Z multiplied, factor of shape (n,)."""


@dataclass(frozen=True, slots=True)
class Grouping:
    """A random term: which group each record belongs to.

    Parameters
    ----------
    name
        The term as given, such as `"block:strip"`.
    codes
        Group of each record, 0 to `levels` - 1, shape (n,).
    levels
        Number of groups.
    values
        What stands in the group's column of Z for each record, shape (n,): the covariate of a
        random slope, or its weight. None for ones.
    slope
        Whether it is a random slope.
    """

    name: str
    codes: Codes
    levels: int
    values: Floats | None = None
    slope: bool = False

    @property
    def terms(self) -> tuple[str, ...]:
        """The name alone."""
        return (self.name,)

    @property
    def sizes(self) -> tuple[int, ...]:
        """The number of groups alone."""
        return (self.levels,)

    def sums(self, columns: Floats, rows: slice) -> Floats:
        """Return Z'v, shape (levels, m)."""
        codes, values = self.codes[rows], self._values(rows)
        if columns.shape[1] > _MANY:
            ones = np.ones(codes.size) if values is None else values
            indicator = csr_array(
                (ones, codes, np.arange(codes.size + 1)), shape=(codes.size, self.levels)
            )
            return np.asarray(indicator.T @ columns)
        totals = np.empty((self.levels, columns.shape[1]))
        for place, column in enumerate(columns.T):
            weights = column if values is None else column * values
            totals[:, place] = np.bincount(codes, weights=weights, minlength=self.levels)
        return totals

    def spread(self, effects: Floats, rows: slice) -> Floats:
        """Return Z u, shape (records, m)."""
        values = self._values(rows)
        given = effects[self.codes[rows]]
        return given if values is None else given * values[:, None]

    def dense(self, rows: slice) -> tuple[Codes, Floats]:
        """Return the groups present in a run of records and their columns."""
        codes, values = self.codes[rows], self._values(rows)
        present, place = np.unique(codes, return_inverse=True)
        columns = np.zeros((codes.size, present.size))
        columns[np.arange(codes.size), place] = 1.0 if values is None else values
        return present, columns

    def arrange(self, order: Codes) -> Grouping:
        """Return the same grouping for records in another order."""
        values = None if self.values is None else self.values[order]
        return replace(self, codes=self.codes[order], values=values)

    def scaled(self, factor: Floats) -> Grouping:
        """Return the grouping with each record's row of Z multiplied, factor of shape (n,)."""
        values = factor if self.values is None else self.values * factor
        return replace(self, values=values)

    def _values(self, rows: slice) -> Floats | None:
        return None if self.values is None else self.values[rows]


def cross(first: RandomBlock, second: RandomBlock, records: int) -> Floats:
    """Return Z_a'Z_b of two blocks over all records.

    Parameters
    ----------
    first, second
        Blocks over the same records.
    records
        How many those are.

    Returns
    -------
    ndarray
        Shape (columns of the first, columns of the second).
    """
    if isinstance(first, Grouping) and isinstance(second, Grouping):
        return _shared(first, second)
    if isinstance(second, Grouping):
        return cross(second, first, records).T
    total = np.zeros((sum(first.sizes), sum(second.sizes)))
    for begin in range(0, records, CHUNK):
        rows = slice(begin, min(begin + CHUNK, records))
        places, columns = second.dense(rows)
        total[:, places] += first.sums(columns, rows)
    return total


def _shared(first: Grouping, second: Grouping) -> Floats:
    """Add up over the records that each pair of groups shares."""
    weights = first.values
    if second.values is not None:
        weights = second.values if weights is None else weights * second.values
    if first.codes is second.codes:
        return np.diag(np.bincount(first.codes, weights, minlength=first.levels).astype(float))
    joint: Codes = first.codes * second.levels + second.codes
    counts = np.bincount(joint, weights, minlength=first.levels * second.levels)
    return counts.reshape(first.levels, second.levels).astype(float)
