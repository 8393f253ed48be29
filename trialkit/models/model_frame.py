"""From a formula and a table to numbers: rows used, design columns, groups of records.

Faults of the formula and of the groups are caught here; those of cells in `records`, those
of the whole table in `crossproducts`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from formulaic import Formula, ModelSpec
from formulaic.errors import FormulaicError

from trialkit.errors import ModelError
from trialkit.models.random_blocks import Grouping as Grouping
from trialkit.models.random_terms import (
    check_repeated,
    group_records,
    read_random_terms,
    slope_notes,
)
from trialkit.models.records import (
    Floats,
    check_table,
    level_values,
    require_column,
    rows_used,
    text_notes,
    tidy,
)


@dataclass(frozen=True, slots=True)
class Design:
    """What is needed to write new rows of the fixed part: for means and contrasts.

    Parameters
    ----------
    spec
        formulaic's recipe for the right-hand side.
    levels
        Values of each column that acts as labels, in order.
    means, spreads
        Mean and standard deviation of each column that acts as a number, over the rows used.
    beside
        Names of fixed columns that no formula gives: the flat part of a surface.
    """

    spec: ModelSpec
    levels: dict[str, tuple[object, ...]]
    means: dict[str, float]
    spreads: dict[str, float]
    beside: tuple[str, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the design columns, collinear ones included."""
        return (*(str(name) for name in self.spec.column_names), *self.beside)

    def rows(self, table: pd.DataFrame) -> Floats:
        """Return the design columns for new rows, shape (rows, columns); zero in `beside`."""
        drawn = self.spec.get_model_matrix(table, na_action="ignore", output="pandas")
        columns = pd.DataFrame(drawn).to_numpy(dtype=float)
        return np.hstack([columns, np.zeros((len(columns), len(self.beside)))])


@dataclass(frozen=True, slots=True)
class ModelFrame:
    """The rows used, as numbers.

    Parameters
    ----------
    response
        Shape (n,), in the unit of the data.
    fixed
        Design columns of the fixed part, shape (n, p), collinear ones included.
    groupings
        One entry per random term, in the order given.
    design
        How to write further rows of `fixed`.
    notes
        Sentences on rows left out.
    numbers, labels
        Further columns asked for, numbers and labels, on the rows used and under their names.
    """

    response: Floats
    fixed: Floats
    groupings: tuple[Grouping, ...]
    design: Design
    notes: tuple[str, ...]
    numbers: pd.DataFrame
    labels: pd.DataFrame


def read_model_frame(
    formula: str,
    data: pd.DataFrame,
    random: Sequence[str],
    *,
    numbers: Sequence[str] = (),
    labels: Sequence[str] = (),
    single_records: bool = False,
    slopes: bool = False,
) -> ModelFrame:
    """Turn a formula, a table and random terms into numbers.

    Parameters
    ----------
    formula
        Wilkinson formula such as `"yield_t_ha ~ treatment"`.
    data
        One row a record.
    random
        Grouping columns, combined with a colon where a group is a combination.
    numbers
        Further columns that the model uses as numbers, such as an exposure.
    labels
        Further columns that the model uses as labels, such as the pass.
    single_records
        Whether a random term may have one group for every record.
    slopes
        Whether a random term may be a slope.

    Returns
    -------
    ModelFrame
        Rows with an empty cell in a used column are left out and counted in its notes.

    Raises
    ------
    ModelError
        If the formula cannot be read, a column is missing, or its cells cannot be used.
    """
    check_table(data)
    parsed = _parse(formula)
    left = _columns_of(parsed.lhs, data)
    right = _columns_of(parsed.rhs, data)
    terms = read_random_terms(random, data, slopes=slopes)
    columns = [column for term in terms for column in term.used]
    sloped = [term.slope for term in terms if term.slope is not None]
    used = list(dict.fromkeys([*left, *right, *columns, *numbers, *labels]))
    if not left:
        raise ModelError(f"The left side of '{formula}' names no column. Start it with the yield.")
    table, notes = rows_used(data, used)
    table = tidy(table, [*left, *numbers, *sloped], right)
    notes += text_notes(table, right) + slope_notes(terms, table)
    response, fixed, spec = _materialise(parsed, table, formula)
    design = _design(spec, table, right)
    groupings = tuple(group_records(term, table) for term in terms)
    if not single_records:
        check_repeated(groupings, len(table))
    return ModelFrame(
        response, fixed, groupings, design, notes, table[list(numbers)], table[list(labels)]
    )


def _parse(formula: str) -> Formula:
    remedy = "Write it like 'yield_t_ha ~ treatment'."
    try:
        parsed = Formula(formula)
    except FormulaicError as error:
        raise ModelError(
            f"The formula '{formula}' cannot be read: {_plain(error)} {remedy}"
        ) from error
    if not (hasattr(parsed, "lhs") and hasattr(parsed, "rhs")):
        raise ModelError(f"The formula '{formula}' has no response before a '~'. {remedy}")
    if isinstance(parsed.lhs, tuple) or isinstance(parsed.rhs, tuple) or len(parsed.lhs) != 1:
        raise ModelError(
            f"The formula '{formula}' has more than one response or more than one part. {remedy}"
        )
    if len(parsed.rhs) == 0:
        raise ModelError(f"The formula '{formula}' has nothing to estimate. {remedy}")
    return parsed


def _plain(error: Exception) -> str:
    """Return an error's text on one line, without terminal colours or markers."""
    text = re.sub(r"\x1b\[[0-9;]*m|[⧛⧚]", "", str(error))
    text = re.sub(r"\[\d+;\d+m|\[0m", "", text)
    return " ".join(text.split()).rstrip(".") + "."


def _columns_of(terms: Iterable[object], data: pd.DataFrame) -> list[str]:
    """Return the data columns that the terms use, in order, each named once."""
    found: dict[str, None] = {}
    for term in terms:
        for factor in getattr(term, "factors", ()):
            for name in _names_in(str(factor.expr), data):
                found[name] = None
    return list(found)


def _names_in(expression: str, data: pd.DataFrame) -> list[str]:
    """Return the data columns that a factor of the formula uses."""
    if expression in data.columns:
        return [expression]
    if expression.isidentifier():
        require_column(expression, data, "formula")
    quoted = re.findall(r"`([^`]+)`", expression)
    for name in quoted:
        require_column(name, data, "formula")
    bare = re.sub(r"`[^`]+`", "0", expression)
    try:
        nodes = list(ast.walk(ast.parse(bare, mode="eval")))
    except SyntaxError:
        nodes = []
    called = {node.func for node in nodes if isinstance(node, ast.Call)}
    names = [node.id for node in nodes if isinstance(node, ast.Name) and node not in called]
    return [name for name in quoted + names if name in data.columns]


def _materialise(
    parsed: Formula, table: pd.DataFrame, formula: str
) -> tuple[Floats, Floats, ModelSpec]:
    try:
        with np.errstate(all="ignore"):
            # A context of our own: names in the caller's code must not leak into the formula.
            drawn = parsed.get_model_matrix(
                table, context={"np": np}, na_action="ignore", output="pandas"
            )
    except (FormulaicError, TypeError, ValueError) as error:
        raise ModelError(
            f"The formula '{formula}' cannot be worked out on these data: {_plain(error)}"
        ) from error
    left = pd.DataFrame(drawn.lhs)
    if left.shape[1] != 1:
        raise ModelError(
            f"The left side of '{formula}' gives {left.shape[1]} columns; one is needed."
        )
    response = left.to_numpy(dtype=float)[:, 0]
    fixed = pd.DataFrame(drawn.rhs).to_numpy(dtype=float)
    _check_worked_out(response, str(left.columns[0]), table)
    for column, name in enumerate(drawn.rhs.model_spec.column_names):
        _check_worked_out(fixed[:, column], str(name), table)
    return response, fixed, drawn.rhs.model_spec


def _check_worked_out(values: Floats, name: str, table: pd.DataFrame) -> None:
    bad = ~np.isfinite(values)
    if bad.any():
        row = table.index[int(bad.argmax())]
        raise ModelError(
            f"'{name}' has no finite value in row {row} ({int(bad.sum())} rows in all). "
            "A logarithm needs values above zero; a ratio needs something to divide by."
        )


def _design(spec: ModelSpec, table: pd.DataFrame, right: list[str]) -> Design:
    labelled = {name for name in right if isinstance(table[name].dtype, pd.CategoricalDtype)}
    for factor in spec.factor_contrasts:
        labelled |= set(_names_in(str(factor.expr), table))
    levels = {name: level_values(table[name]) for name in right if name in labelled}
    for name, values in levels.items():
        if len(values) == 1:
            raise ModelError(
                f"Column '{name}' holds only one value, '{values[0]}', in the records used, so "
                "there is nothing to compare. Add records of another, or leave it out."
            )
    numbers = {name: table[name].to_numpy(dtype=float) for name in right if name not in labelled}
    means = {name: float(values.mean()) for name, values in numbers.items()}
    spreads = {name: float(values.std()) or 1.0 for name, values in numbers.items()}
    return Design(spec, levels, means, spreads)
