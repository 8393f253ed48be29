"""Delimited text, as monitors and office programs export it.

Encoding (UTF-8, UTF-16, Latin-1), delimiter (comma, semicolon, tab, bar, blanks) and decimal mark
(point, comma) are found out; blank lines are passed over. What cannot be read is refused with the
place.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.errors import LogError
from trialkit.harvest.readers.table import ExportedTable
from trialkit.incoming.file_set import LARGEST_BYTES

#: No log has more columns than this.
MOST_COLUMNS = 500

_DELIMITERS = (",", ";", "\t", "|")
#: Tried where none of these parts the headings: any number of blanks.
_BLANK = " "

#: Lines looked at to find delimiter and decimal mark.
_SAMPLE_LINES = 500

#: Control characters that no text file holds.
_CONTROL = re.compile("[\x00-\x08\x0e-\x1f\x7f]")

_COMMA_NUMBER = re.compile(r"[+-]?\d*,\d+")
_POINT_NUMBER = re.compile(r"[+-]?\d*\.\d+")


def open_delimited(path: Path) -> ExportedTable:
    """Read a delimited text file; see `read_delimited`."""
    return read_delimited(_bytes(path), path.name)


def read_delimited(raw: bytes, file: str) -> ExportedTable:
    """Read delimited text.

    Parameters
    ----------
    raw
        Content of the file.
    file
        Its name, for messages.

    Returns
    -------
    ExportedTable
        Its headings and cells.

    Raises
    ------
    LogError
        If it is empty, no text, not delimited or cut short.
    """
    lines, rows = _lines(_decoded(raw, file), file)
    delimiter = _delimiter(lines, file)
    if delimiter == _BLANK:
        lines = [" ".join(line.split()) for line in lines]
    headings = _headings(lines[0], delimiter)
    if len(headings) > MOST_COLUMNS:
        raise LogError(
            f"{file}, row {rows[0]}: {len(headings)} headings are more than a harvest log has. "
            "Export the log again with the columns that matter."
        )
    if len(lines) == 1:
        raise LogError(
            f"{file}: there are headings and no records. Export the log again, for this field."
        )
    decimal = _decimal(lines[1:_SAMPLE_LINES], delimiter)
    cells = _read_cells(lines[1:], rows[1:], delimiter, decimal, len(headings), file)
    return ExportedTable(file, headings, cells, np.asarray(rows[1:], dtype=np.int64), decimal)


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a delimited text file is written.

    Parameters
    ----------
    headings
        Its headings as they stand in it.
    delimiter
        What parts the columns; `" "` for any number of blanks.
    decimal
        Decimal mark.
    encoding
        Encoding of the text.
    """

    headings: tuple[str, ...]
    delimiter: str
    decimal: str
    encoding: str


def dialect_of(raw: bytes, file: str) -> Dialect:
    """Say how a delimited text file is written.

    Parameters
    ----------
    raw
        Content of the file.
    file
        Its name, for messages.

    Raises
    ------
    LogError
        If it is empty, no text or not delimited.
    """
    lines, _ = _lines(_decoded(raw, file), file)
    delimiter = _delimiter(lines, file)
    headings = lines[0].split() if delimiter == _BLANK else _split(lines[0], delimiter)
    encoding = _encoding(raw)
    if encoding == "utf-8-sig":
        try:
            raw.decode(encoding)
        except UnicodeDecodeError:
            encoding = "latin-1"
    decimal = _decimal(lines[1:_SAMPLE_LINES], delimiter)
    return Dialect(tuple(headings), delimiter, decimal, encoding)


def _bytes(path: Path) -> bytes:
    if not path.is_file():
        raise LogError(f"{path}: there is no such file. Check the name, or export the log again.")
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        raise LogError(
            f"{path.name}: {size / 1e6:,.0f} MB is more than a harvest log of one field holds "
            f"(at most {LARGEST_BYTES / 1e6:,.0f} MB). Export this field alone."
        )
    return path.read_bytes()


def _decoded(raw: bytes, file: str) -> str:
    """Return the text of a file: UTF-16 by its mark or its zeros, else UTF-8, else Latin-1."""
    if not raw.strip():
        raise LogError(f"{file}: the file is empty. Export the log again.")
    encoding = _encoding(raw)
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding != "utf-8-sig":
            raise LogError(
                f"{file}, byte {error.start}: this is not whole UTF-16 text; the file was cut "
                "short or mixed up. Export it again, best as UTF-8."
            ) from error
        text = raw.decode("latin-1")
    control = _CONTROL.search(text)
    if control:
        row = text.count("\n", 0, control.start()) + 1
        raise LogError(
            f"{file}, row {row}: there are characters that no text holds, so this is not a "
            "delimited text file, or it is damaged. Export the log as CSV, UTF-8."
        )
    return text


def _encoding(raw: bytes) -> str:
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    head = raw[:400]
    if head[1::2].count(0) > len(head) // 3:
        return "utf-16-le"
    if head[0::2].count(0) > len(head) // 3:
        return "utf-16-be"
    return "utf-8-sig"


def _lines(text: str, file: str) -> tuple[list[str], list[int]]:
    """Return the lines that say something, and their numbers in the file.

    Lines of nothing but delimiters are blank too, and a heading repeated further down (logs
    joined end to end) is passed over.
    """
    every = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    blank = " ,;\t\xa0\x0b\x0c"
    kept = [number for number, line in enumerate(every) if line.strip(blank)]
    if not kept:
        raise LogError(f"{file}: the file holds nothing but blank lines. Export the log again.")
    heading = every[kept[0]]
    kept = kept[:1] + [number for number in kept[1:] if every[number] != heading]
    return [every[number] for number in kept], [number + 1 for number in kept]


def _delimiter(lines: list[str], file: str) -> str:
    """Choose the delimiter that cuts most lines into as many cells as there are headings."""
    sample = lines[1:_SAMPLE_LINES]
    best, best_score = "", 0.0
    for mark in _DELIMITERS:
        wanted = len(_split(lines[0], mark))
        if wanted < 2:
            continue
        same = sum(len(_split(line, mark)) == wanted for line in sample) / max(len(sample), 1)
        score = same + wanted / 1000
        if score > best_score:
            best, best_score = mark, score
    if not best and _by_blanks(lines):
        return _BLANK
    if not best:
        raise LogError(
            f"{file}, row 1: one column is all there is in {lines[0][:60]!r}. Columns must be "
            "parted by commas, semicolons, tabs, bars or blanks, and the first line must hold the "
            "headings. Export the log as CSV."
        )
    return best


def _by_blanks(lines: list[str]) -> bool:
    """Tell whether blanks part all lines into as many cells as there are headings."""
    wanted = len(lines[0].split())
    return wanted > 1 and all(len(line.split()) == wanted for line in lines[1:_SAMPLE_LINES])


def _split(line: str, delimiter: str) -> list[str]:
    if '"' not in line:
        return line.split(delimiter)
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return line.split(delimiter)


def _headings(line: str, delimiter: str) -> tuple[str, ...]:
    return tuple(" ".join(cell.split()) for cell in _split(line, delimiter))


def _decimal(lines: list[str], delimiter: str) -> str:
    """Return the decimal mark: a comma where numbers have commas and none has a point."""
    cells = [cell.strip() for line in lines for cell in _split(line, delimiter)]
    commas = sum(bool(_COMMA_NUMBER.fullmatch(cell)) for cell in cells)
    points = sum(bool(_POINT_NUMBER.fullmatch(cell)) for cell in cells)
    return "," if commas > 0 and points == 0 else "."


def _read_cells(
    lines: list[str], rows: list[int], delimiter: str, decimal: str, width: int, file: str
) -> pd.DataFrame:
    """Read lines into cells, one record a line; a quoted cell cannot span lines."""
    quoted = any('"' in line for line in lines)
    if quoted:
        _check_quotes(lines, rows, file)
        counts = [len(_split(line, delimiter)) for line in lines]
    else:
        counts = [line.count(delimiter) + 1 for line in lines]
    if any(count != width for count in counts):
        lines = _squared(lines, rows, counts, width, delimiter, file)
    try:
        return pd.read_csv(
            io.StringIO("\n".join(lines)),
            sep=delimiter,
            decimal=decimal,
            header=None,
            names=range(width),
            index_col=False,
            quoting=csv.QUOTE_MINIMAL if quoted else csv.QUOTE_NONE,
            low_memory=False,
            skip_blank_lines=False,
        )
    except (pd.errors.ParserError, ValueError) as error:
        raise LogError(
            f"{file}: the file cannot be read as a table ({str(error)[:100]}). "
            "Export the log as CSV, UTF-8."
        ) from error


def _check_quotes(lines: list[str], rows: list[int], file: str) -> None:
    for line, row in zip(lines, rows, strict=True):
        if line.count('"') % 2:
            raise LogError(
                f"{file}, row {row}: a quotation mark is opened and not closed. "
                "Export the log again, or correct that line."
            )


def _squared(
    lines: list[str], rows: list[int], counts: list[int], width: int, delimiter: str, file: str
) -> list[str]:
    """Take off one empty cell too many; refuse other lines that do not match the headings."""
    squared = []
    for line, row, count in zip(lines, rows, counts, strict=True):
        if count == width:
            squared.append(line)
        elif count == width + 1 and line.rstrip(" ").endswith(delimiter):
            squared.append(line.rstrip(" ")[: -len(delimiter)])
        else:
            raise LogError(_odd_line(row, row == rows[-1], count, width, delimiter, file))
    return squared


def _odd_line(row: int, last: bool, count: int, width: int, delimiter: str, file: str) -> str:
    found = f"{file}, row {row}: {count} cells under {width} headings."
    if count < width and last:
        return (
            f"{found} The last line is cut, so the file was not copied or exported whole. "
            "Copy or export it again; or, if the rest will do, delete that line in a copy."
        )
    if count > width and delimiter == ",":
        return (
            f"{found} Decimal commas between commas look like this, and nobody can tell them "
            "apart. Export with semicolons or tabs between columns, or with decimal points."
        )
    return f"{found} The line is damaged. Export the log again, or correct that line."
