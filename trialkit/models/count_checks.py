"""Faults of counts and exposures, in words that name the column and the row."""

from __future__ import annotations

import difflib

import numpy as np
import pandas as pd
from scipy.optimize import linprog

from trialkit.errors import ModelError
from trialkit.language import say
from trialkit.models.crossproducts import aliased_message
from trialkit.models.group_factor import sum_by_group
from trialkit.models.random_blocks import Grouping
from trialkit.models.records import Codes, Floats

#: Nobody counts further than this.
MOST_COUNTED = 1_000_000
#: Share of a random term's scatter left beside the fixed part, below which it has none.
_ALIASED = 1e-10
#: A linear predictor this far from zero is not rounding; columns are scaled to one.
_APART = 1e-7
#: Places in the matrices of crossed random terms; 160 MB.
_MOST_PLACES = 20_000_000

FAMILIES = ("poisson", "negative-binomial")
DEGREES = ("containment", "normal")


def check_options(family: str, exposure: object, df: str) -> None:
    """Refuse an unknown family or way to judge, or an exposure that is no column name.

    Raises
    ------
    ModelError
        With what would be right.
    """
    for name, value, known in (("family", family, FAMILIES), ("df", df, DEGREES)):
        if value not in known:
            near = difflib.get_close_matches(str(value), known, n=1)
            hint = f"Did you mean '{near[0]}'?" if near else f"Give one of: {', '.join(known)}."
            raise ModelError(f"{name}='{value}' is not known. {hint}")
    if exposure is not None and not isinstance(exposure, str):
        raise ModelError(
            f"exposure={exposure!r} is no column. Give the name of the column that holds the "
            "area, row length or time in which each count was made."
        )


def check_left_side(formula: str, exposure: str | None) -> None:
    """Refuse a rate in place of a count, and a count as its own exposure.

    Parameters
    ----------
    formula, exposure
        As given to `fit_counts`.

    Raises
    ------
    ModelError
        With the remedy.
    """
    left = str(formula).split("~")[0].strip()
    count, slash, area = (part.strip() for part in left.partition("/"))
    if slash and "(" not in left:
        raise ModelError(
            f"The left side of '{formula}' divides, but counts are compared as counted. Write "
            f"'{count}' alone, and give exposure='{area}'."
        )
    if exposure == left:
        raise ModelError(
            f"The exposure '{exposure}' is the count itself, so every rate would be 1. Name the "
            "column of the area, row length or time, or leave exposure out."
        )


def whole_counts(values: Floats, rows: pd.Index, name: str) -> Codes:
    """Return counts as whole numbers.

    Parameters
    ----------
    values
        The response, shape (n,).
    rows
        Names of the rows, for the message.
    name
        The response as in the formula.

    Returns
    -------
    ndarray of int

    Raises
    ------
    ModelError
        If a count is negative, not whole or too large, or none is above zero.
    """
    for bad, what in (
        (values < 0, "and a count cannot be below zero. Correct it, or leave the cell empty."),
        (
            values != np.round(values),
            "but counts are whole numbers. Give what was counted, not plants/m2 or a mean, and "
            "the area or row length it was counted in as exposure.",
        ),
        (values > MOST_COUNTED, f"more than the {MOST_COUNTED:,} that anybody counts. Correct it."),
    ):
        if bad.any():
            place = int(bad.argmax())
            raise ModelError(
                f"'{name}' is {values[place]:g} in row {rows[place]} ({int(bad.sum())} such rows "
                f"in all), {what}"
            )
    if not values.any():
        raise ModelError(
            say(
                "Every '{column}' is zero, so there is nothing to compare. Check that the right "
                "column was read; if nothing was there to count, say so without a model.",
                column=name,
            )
        )
    return values.astype(np.intp)


def log_exposure(numbers: pd.DataFrame, exposure: str | None) -> Floats:
    """Return the logarithm of the exposure of each record, shape (n,); zero without one.

    Parameters
    ----------
    numbers
        Table that holds the exposure, on the rows used.
    exposure
        Its column.

    Returns
    -------
    ndarray

    Raises
    ------
    ModelError
        If an exposure is not above zero.
    """
    if exposure is None:
        return np.zeros(len(numbers))
    values = numbers[exposure].to_numpy(dtype=float)
    bad = values <= 0
    if bad.any():
        place = int(bad.argmax())
        raise ModelError(
            f"The exposure '{exposure}' is {values[place]:g} in row {numbers.index[place]} "
            f"({int(bad.sum())} such rows in all), but it must be above zero: it is the area, row "
            "length or time in which the count was made. Correct it, or leave the cell empty."
        )
    return np.asarray(np.log(values))


def check_same(counts: Codes, offset: Floats, name: str) -> None:
    """Refuse counts that are all the same.

    Parameters
    ----------
    counts, offset
        Shape (n,).
    name
        The response as in the formula.

    Raises
    ------
    ModelError
        If counts and exposures are.
    """
    if np.ptp(counts) == 0 and np.ptp(offset) == 0:
        raise ModelError(
            say(
                "Every '{column}' is {count}. Check that the right column was read; there is "
                "nothing to analyse.",
                column=name,
                count=str(counts[0]),
            )
        )


def check_groupings(
    groupings: tuple[Grouping, ...], basis: Floats, labels: tuple[str, ...]
) -> None:
    """Refuse random terms that the data cannot tell from the formula or from each other.

    Parameters
    ----------
    groupings
        The random terms.
    basis
        Orthonormal fixed columns, shape (n, p).
    labels
        Columns of the formula that act as labels, for the message.

    Raises
    ------
    ModelError
        If a term is spanned by the fixed part, or two group the records alike.
    """
    for grouping in groupings:
        if grouping.values is not None:  # noqa: PD011 - no data frame
            raise ModelError(
                f"Counts take plain groups, not the random slope '{grouping.name}'. Leave it out."
            )
        spanned = sum(float((sum_by_group(grouping, column) ** 2).sum()) for column in basis.T)
        # Of each group's indicator the fixed part holds |Q'z|^2; all indicators hold n.
        if len(basis) - spanned <= _ALIASED * len(basis):
            raise ModelError(aliased_message(grouping.name, labels))
    for place, first in enumerate(groupings):
        for second in groupings[:place]:
            pairs = np.unique(first.codes * second.levels + second.codes).size
            if pairs == first.levels == second.levels:
                raise ModelError(
                    f"These data cannot tell apart '{second.name}' and '{first.name}': they "
                    "group the records alike. Keep one of the random terms."
                )


def check_size(parts: int, firsts: int, others: int, groupings: tuple[Grouping, ...]) -> None:
    """Refuse crossed random terms too large for memory.

    Parameters
    ----------
    parts, firsts, others
        As in `GroupLayout`.
    groupings
        The random terms.

    Raises
    ------
    ModelError
        Naming the terms.
    """
    if parts * others * (firsts + others) > _MOST_PLACES:
        names = " and ".join(f"'{grouping.name}'" for grouping in groupings)
        raise ModelError(
            f"The random terms {names} cross in more groups than fit into memory. Leave one "
            "out, or use larger groups."
        )


def separated(counts: Codes, basis: Floats) -> np.ndarray:
    """Find records, all zero, whose rate the likelihood would send to zero.

    They exist where some combination of the columns is zero in every record with a count
    above zero, and nowhere positive (Correia, Guimaraes and Zylkin 2019, arXiv 1903.01633).

    Parameters
    ----------
    counts
        Shape (n,).
    basis
        Fixed columns, linearly independent, shape (n, p).

    Returns
    -------
    ndarray of bool
        True for those records, shape (n,).
    """
    none = np.zeros(counts.size, dtype=bool)
    seen, empty = basis[counts > 0], basis[counts == 0]
    _, sizes, right = np.linalg.svd(np.linalg.qr(seen, mode="r"))
    rank = int((sizes > _APART * sizes.max()).sum())
    free = right[rank:].T
    if free.shape[1] == 0 or not len(empty):
        return none
    rows = np.unique(np.round(empty @ free, 12), axis=0)
    found = linprog(rows.sum(axis=0), A_ub=rows, b_ub=np.zeros(len(rows)), bounds=(-1, 1))
    if found.status != 0:
        return none
    return np.asarray(basis @ (free @ found.x) < -_APART * np.abs(basis).max())
