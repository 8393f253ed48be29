"""The files of temperature loggers: which line holds the headings, and the cells below it.

Loggers write a few lines about themselves before the headings, and remarks after the records.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from trialkit.errors import ScoutingError
from trialkit.incoming.file_set import open_folder, open_zip
from trialkit.language import say

#: A logger that writes every minute for ten years fills less.
_LARGEST_BYTES = 200_000_000
_ENDINGS = (".csv", ".txt", ".tsv", ".dat", ".tab")
_DELIMITERS = (",", ";", "\t", "|")
#: Lines looked at to find the headings.
_HEAD_LINES = 100
_CONTROL = re.compile("[\x00-\x08\x0e-\x1f\x7f]")
#: Our names that a file may use itself, or that a column map names.
OWN_NAMES = ("time", "date", "clock", "temperature_c", "logger")


@dataclass(frozen=True, slots=True)
class LoggerTable:
    """The cells of one file under its own headings.

    Parameters
    ----------
    file
        Name of the file, for messages.
    stem
        Its name without folder ending, to name a logger by.
    headings
        The headings, blanks trimmed.
    cells
        One row a record, as text, as many cells as headings.
    rows
        Line of the file each record stands on, counted from 1.
    decimal_comma
        Whether numbers have a decimal comma.
    """

    file: str
    stem: str
    headings: tuple[str, ...]
    cells: list[list[str]]
    rows: list[int]
    decimal_comma: bool

    def column(self, heading: str) -> list[str]:
        """Return the cells under a heading."""
        at = self.headings.index(heading)
        return [cells[at] for cells in self.cells]


def open_loggers(
    path: str | Path | Sequence[str | Path], wanted: Sequence[str]
) -> list[LoggerTable]:
    """Read the cells of one file, of several, or of all in a folder or zip.

    Parameters
    ----------
    path
        Delimited text (comma, semicolon, tab, bar or blanks; decimal point or comma; UTF-8,
        UTF-16 or Latin-1), a folder or zip of such, or a list of these.
    wanted
        Headings that the line of headings holds; empty where it holds our own names.

    Returns
    -------
    list of LoggerTable

    Raises
    ------
    ScoutingError
        If a file cannot be read, or has no line of headings.
    """
    if not isinstance(path, (str, Path)):
        return [table for each in path for table in open_loggers(each, wanted)]
    place = Path(path)
    if place.is_dir():
        files = open_folder(place)
    elif place.suffix.lower() == ".zip" and place.is_file():
        files = open_zip(place)
    else:
        if not place.is_file():
            raise ScoutingError(f"{place}: there is no such file. Check the name.")
        _check_size(place.stat().st_size, place.name)
        return [read_cells(place.read_bytes(), place.name, wanted)]
    found = files.ending(*_ENDINGS)
    if not found:
        raise ScoutingError(
            f"{place.name}: there are no logger files in it. They end in {', '.join(_ENDINGS)}."
        )
    tables = []
    for name in found:
        raw = files.read(name)
        _check_size(len(raw), name)
        tables.append(read_cells(raw, name, wanted))
    return tables


def _check_size(size: int, file: str) -> None:
    if size > _LARGEST_BYTES:
        raise ScoutingError(
            say(
                "{file}: {megabytes:,.0f} MB is more than a temperature logger writes. Export the "
                "season alone.",
                file=file,
                megabytes=size / 1e6,
            )
        )


def read_cells(raw: bytes, file: str, wanted: Sequence[str]) -> LoggerTable:
    """Read the cells of one file.

    Parameters
    ----------
    raw
        Content of the file.
    file
        Its name, for messages.
    wanted
        Headings that the line of headings holds; empty where it holds our own names.

    Returns
    -------
    LoggerTable

    Raises
    ------
    ScoutingError
        If it is no text, has no line of headings or no records.
    """
    lines = _decoded(raw, file).replace("\r\n", "\n").replace("\r", "\n").split("\n")
    numbered = [(row, line) for row, line in enumerate(lines, 1) if line.strip(" \t,;|\xa0")]
    if not numbered:
        raise ScoutingError(say("{file}: the file is empty. Export the logger again.", file=file))
    for delimiter in (*_DELIMITERS, ""):
        for place, (_, line) in enumerate(numbered[:_HEAD_LINES]):
            headings = _split(line, delimiter)
            if _holds(headings, wanted):
                return _table(numbered[place + 1 :], headings, delimiter, file)
    raise ScoutingError(_no_headings([line for _, line in numbered[:_HEAD_LINES]], file, wanted))


def _decoded(raw: bytes, file: str) -> str:
    encoding = "utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = raw.decode(encoding)
    except UnicodeDecodeError as error:
        if encoding == "utf-16":
            raise ScoutingError(
                say(
                    "{file}: this is not whole UTF-16 text; the file was cut short. Export it "
                    "again.",
                    file=file,
                )
            ) from error
        text = raw.decode("latin-1")
    control = _CONTROL.search(text)
    if control:
        row = text.count("\n", 0, control.start()) + 1
        raise ScoutingError(
            say(
                "{file}, row {row}: there are characters that no text holds. Export the logger as "
                "CSV, not in its own format.",
                file=file,
                row=row,
            )
        )
    return text


def _split(line: str, delimiter: str) -> list[str]:
    if not delimiter:
        return line.split()
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error:  # a stray quotation mark
        return [cell.strip(' "') for cell in line.split(delimiter)]


def plain(heading: str) -> str:
    """Return a heading with blanks and capitals evened out, for comparing.

    Parameters
    ----------
    heading
        As the file or the user writes it.
    """
    return " ".join(heading.split()).casefold()


def _holds(headings: Sequence[str], wanted: Sequence[str]) -> bool:
    own = [plain(heading) for heading in headings]
    if wanted:
        return all(plain(name) in own for name in wanted)
    timed = "time" in own or "date" in own
    return timed and "temperature_c" in own


def _table(
    numbered: list[tuple[int, str]], headings: list[str], delimiter: str, file: str
) -> LoggerTable:
    width = len(headings)
    doubled = {heading for heading in headings if heading and headings.count(heading) > 1}
    if doubled:
        raise ScoutingError(
            say(
                "{file}: the heading '{heading}' stands over several columns. Rename one.",
                file=file,
                heading=min(doubled),
            )
        )
    cells, rows = [], []
    for row, line in numbered:
        own = _split(line, delimiter)
        cells.append((own + [""] * width)[:width])
        rows.append(row)
    if not cells:
        raise ScoutingError(
            say("{file}: there are headings and no records. Export the logger again.", file=file)
        )
    stem = PurePosixPath(file).with_suffix("").as_posix()
    comma = delimiter != "," and _decimal_comma(cells)
    if delimiter == ",":  # quoted cells may still hold a decimal comma
        comma = _decimal_comma(cells)
    return LoggerTable(file, stem, tuple(headings), cells, rows, comma)


def _decimal_comma(cells: list[list[str]]) -> bool:
    """Whether numbers have commas, and none a point."""
    sample = [cell for record in cells[:500] for cell in record]
    commas = any(re.fullmatch(r"[+-]?\d*,\d+", cell) for cell in sample)
    return commas and not any(re.fullmatch(r"[+-]?\d*\.\d+", cell) for cell in sample)


def _no_headings(lines: list[str], file: str, wanted: Sequence[str]) -> str:
    """Say which headings are missing, and offer a column map where one can be guessed."""
    rows = [_split(line, mark) for line in lines for mark in _DELIMITERS]
    likely = max((row for row in rows if _wordy(row)), key=len, default=[])
    shown = ", ".join(f"'{heading[:40]}'" for heading in likely[:12])
    known = [say("Its headings seem to be {headings}.", headings=shown)] if likely else []
    if wanted:
        names = ", ".join(f"'{name}'" for name in wanted)
        none = say(
            "{file}: no line holds the headings {names} of your column map.", file=file, names=names
        )
        return " ".join([none, *known])
    guess = guessed_columns(likely)
    if guess:
        return say(
            "{file}: say which column is which. Its headings are {headings}. If it is as it looks, "
            "give columns={guess}.",
            file=file,
            headings=shown,
            guess=repr(guess),
        )
    none = say("{file}: no line holds the headings of time and temperature.", file=file)
    way_out = say(
        "Give a column map, such as columns={example}.",
        example="{'time': 'Date Time', 'temperature_c': 'Temp (°C)'}",
    )
    return " ".join([none, *known, way_out])


def _wordy(row: list[str]) -> bool:
    """Whether a line could hold headings: two cells or more, all beginning with a letter or #."""
    return len(row) > 1 and all(cell[:1].isalpha() or cell[:1] in "#°" for cell in row if cell)


def guessed_columns(headings: Sequence[str]) -> Mapping[str, str]:
    """Return a column map that the headings suggest; empty where they do not.

    Parameters
    ----------
    headings
        Of the file.
    """

    def like(*words: str) -> list[str]:
        return [heading for heading in headings if any(word in plain(heading) for word in words)]

    temperature = like("temp", "°c", "°f")
    dates, clocks = like("date"), like("time", "clock")
    if len(temperature) != 1:
        return {}
    both = [heading for heading in dates if heading in clocks]
    if len(both) == 1 or (len(clocks) == 1 and not dates):
        return {"time": (both or clocks)[0], "temperature_c": temperature[0]}
    if len(dates) == 1 and len(clocks) == 1:
        return {"date": dates[0], "clock": clocks[0], "temperature_c": temperature[0]}
    if len(dates) == 1 and not clocks:
        return {"time": dates[0], "temperature_c": temperature[0]}
    return {}
