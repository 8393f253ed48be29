"""What every reader hands over: the cells of one file under the file's own headings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError

#: Nothing a machine measures is this large, in any unit; nor is a time in milliseconds.
_BEYOND_MEASURE = 1e15


@dataclass(frozen=True, slots=True)
class ExportedTable:
    """The cells of one exported file.

    Parameters
    ----------
    file
        Name of the file, for messages.
    headings
        The file's own headings, in order, blanks trimmed.
    cells
        One row a record, columns numbered from 0 in the order of `headings`. Numbers where every
        cell of a column is one, else text; missing where a cell is empty.
    rows
        Line of the file each record stands on, counted from 1 with the heading included.
    decimal
        Decimal mark of numbers still held as text: `"."` or `","`.
    made
        Headings that the reader gave itself, under our own names and in our units.
    crs
        Coordinate system of the positions, where the file says it; empty where it does not.
    """

    file: str
    headings: tuple[str, ...]
    cells: pd.DataFrame
    rows: NDArray[np.int64]
    decimal: str = "."
    made: frozenset[str] = frozenset()
    crs: str = ""

    def find(self, heading: str) -> int | None:
        """Return the number of the column under a heading, None where there is no such column.

        Raises
        ------
        LogError
            If the heading stands twice.
        """
        wanted = " ".join(heading.split())
        places = [number for number, own in enumerate(self.headings) if own == wanted]
        if len(places) > 1:
            raise LogError(
                f"{self.file}: the heading '{heading}' stands over {len(places)} columns. "
                "Rename one of them in the file, so that it is clear which is meant."
            )
        return places[0] if places else None

    def text(self, number: int) -> pd.Series[str]:
        """Return a column as text, missing where a cell is empty."""
        column = self.cells[number]
        if pd.api.types.infer_dtype(column, skipna=True) == "string":
            return column
        return column.astype(str).where(column.notna())

    def numbers(self, number: int) -> NDArray[np.float64]:
        """Return a column as numbers, NaN where a cell is empty or beyond all measure.

        Raises
        ------
        LogError
            If a cell holds something else; the message names file, row, column and content.
        """
        column = self.cells[number]
        if column.dtype.kind in "iuf":
            values = column.to_numpy(dtype=np.float64)
        else:
            values = self._parsed(number)
        return np.where(np.abs(values) < _BEYOND_MEASURE, values, np.nan)

    def _parsed(self, number: int) -> NDArray[np.float64]:
        text = self.text(number).str.strip()
        plain = text.str.replace(",", ".", regex=False) if self.decimal == "," else text
        values = pd.to_numeric(plain.where(plain != ""), errors="coerce")
        bad = values.isna() & plain.notna() & ~plain.str.lower().isin(["", "nan"])
        if bad.any():
            place = int(bad.to_numpy().argmax())
            content = str(text.iloc[place])[:40]
            raise LogError(
                f"{self.file}, row {self.rows[place]}, column '{self.headings[number]}': "
                f"{content!r} is not a number.{_why_no_number(content)}"
            )
        return values.to_numpy(dtype=np.float64)


def _why_no_number(content: str) -> str:
    if content.count(",") == 1 and content.replace(",", "").lstrip("+-").isdigit():
        return (
            " It looks like a decimal comma among decimal points. Export with one decimal mark "
            "throughout."
        )
    if any(letter.isalpha() for letter in content):
        return (
            " Correct or empty the cell; or, if it holds a unit, leave the unit out and give it "
            "under [harvest.units]."
        )
    return " Correct or empty the cell."
