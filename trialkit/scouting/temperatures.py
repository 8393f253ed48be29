"""Temperature loggers: any file in, one frame of times and degrees Celsius out."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, timezone, tzinfo
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import ScoutingError, ScoutingWarning
from trialkit.language import marked, say
from trialkit.scouting.clocks import put_on_zone, read_clock, time_zone
from trialkit.scouting.logger_files import OWN_NAMES, LoggerTable, open_loggers, plain
from trialkit.scouting.strip_labels import Floats

#: Colder and hotter than any air over a crop, °C.
_COLDEST_C, _HOTTEST_C = -60.0, 60.0
#: Where one reading in a hundred is above this, the numbers are no degrees Celsius of a season.
_HOT_SEASON_C = 48.0
#: What is said where a heading has no unit, by whether the values are hot for °C.
_NO_UNIT = {
    True: marked(
        "{file}: the heading '{heading}' does not say its unit. Values run from {low:g} up to "
        "{high:g}: is that Fahrenheit? Give unit='C' or unit='F'."
    ),
    False: marked(
        "{file}: the heading '{heading}' does not say its unit. Values run from {low:g} up to "
        "{high:g}. Give unit='C' or unit='F'."
    ),
}
#: What loggers write where there is no reading.
_NO_READING = frozenset(
    ("", "-", "--", "---", "na", "n/a", "nan", "null", "none", "err", "error", "fail", "logged")
)
_UNITS = {"c": "C", "°c": "C", "degc": "C", "celsius": "C",
          "f": "F", "°f": "F", "degf": "F", "fahrenheit": "F"}  # fmt: skip
_UNIT_IN_HEADING = re.compile(
    r"(?:°\s*|[(\[,]\s*|\bdeg(?:rees)?\.?\s*|_)([cf])(?:elsius|ahrenheit)?\s*(?:[)\],]|\b|$)"
    r"|\b(celsius|fahrenheit)\b",
    re.IGNORECASE,
)

#: Columns of the frame, in their order.
TEMPERATURE_COLUMNS: tuple[str, ...] = ("logger", "time", "temperature_c", "file", "row")


def read_temperatures(
    path: str | Path | Sequence[str | Path],
    *,
    columns: Mapping[str, str | Sequence[str]] | None = None,
    unit: str | None = None,
    zone: str | None = None,
    day_first: bool | None = None,
    missing: Iterable[float] = (),
) -> pd.DataFrame:
    r"""Read the files of one temperature logger or several.

    Parameters
    ----------
    path
        A file of delimited text, several, or a folder or zip of them. Lines before the headings
        are passed over.
    columns
        Our name to the file's heading: `time`, or `date` and `clock`; `temperature_c`, one
        heading or a list, one a logger; `logger` where a column names it. Without a map the
        headings must be our own names: a guess is offered, never used unseen.
    unit
        `"C"` or `"F"`, where no heading says it.
    zone
        Where the clock hangs, such as `"Australia/Adelaide"`, if it follows daylight saving; its
        distance from universal time, such as `"+09:30"`, if it is never moved. Without it a
        clock is taken to be never moved.
    day_first
        Whether 03/04 is the third of April, where the file does not tell.
    missing
        Numbers that mean no reading, such as -999.

    Returns
    -------
    DataFrame
        Columns `logger time temperature_c file row`, by logger and time under a plain index:
        `time` in the zone, or without one where none is known; `logger` by its column or
        heading, else by the name of its file. Records without a reading are gone; `frost_nights`
        finds such gaps.

    Raises
    ------
    ScoutingError
        If a file cannot be read, the unit is not said or cannot be right, a time cannot be read
        or never was, or one logger has two readings at one time.

    Warns
    -----
    ScoutingWarning
        If records stand twice, or the hour that came twice was logged once.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> text = "Serial 17\nDate;Temp (°F)\n14/09/2024 03:00;30,2\n14/09/2024 03:30;28,4\n"
    >>> with TemporaryDirectory() as folder:
    ...     file = Path(folder, "hollow.csv")
    ...     _ = file.write_text(text, encoding="utf-8")
    ...     found = read_temperatures(
    ...         file, columns={"time": "Date", "temperature_c": "Temp (°F)"}, zone="+09:30")
    >>> found["logger"].iloc[0], found["temperature_c"].round(1).tolist(), str(found["time"][0])
    ('hollow', [-1.0, -2.0], '2024-09-14 03:00:00+09:30')
    """
    names = _column_map(columns)
    given = _unit_given(unit)
    where = time_zone(zone)
    wanted = [heading for headings in names.values() for heading in headings]
    tables = open_loggers(path, wanted)
    if not tables:
        raise ScoutingError("No logger file was given.")
    marks = np.asarray(list(missing), dtype=np.float64)
    parts = [_records(table, names, given, where, day_first, marks) for table in tables]
    _check_alike(parts, tables)
    return _in_order(parts)


def _column_map(
    columns: Mapping[str, str | Sequence[str]] | None,
) -> dict[str, list[str]]:
    """Return our name to the file's headings, checked."""
    if columns is None:
        return {}
    names = {
        name: [found] if isinstance(found, str) else [str(heading) for heading in found]
        for name, found in columns.items()
    }
    unknown = [name for name in names if name not in OWN_NAMES]
    if unknown:
        raise ScoutingError(
            f"The column map names '{unknown[0]}'. It may name: {', '.join(OWN_NAMES)}."
        )
    if not names.get("temperature_c") or not ("time" in names or "date" in names):
        raise ScoutingError(
            "The column map must name the column of temperature_c, and that of time (or those of "
            "date and clock)."
        )
    return names


def _unit_given(unit: str | None) -> str:
    if unit is None:
        return ""
    found = _UNITS.get(unit.strip().casefold())
    if found is None:
        raise ScoutingError(f"unit='{unit}' is no unit of a logger. Give 'C' or 'F'.")
    return found


def _records(
    table: LoggerTable,
    names: dict[str, list[str]],
    given: str,
    zone: tzinfo | None,
    day_first: bool | None,
    marks: Floats,
) -> pd.DataFrame:
    """Return the records of one file, in the order of the file."""
    found = _found_headings(table, names)
    clock = [" ".join(parts) for parts in zip(*(table.column(h) for h in found["when"]),
                                               strict=True)]  # fmt: skip
    rows = np.asarray(table.rows)
    parts = []
    for heading in found["temperature_c"]:
        values = _degrees(table, heading, given, marks)
        kept = np.flatnonzero(~np.isnan(values))
        name = heading if len(found["temperature_c"]) > 1 else table.stem
        named = (
            np.asarray(table.column(found["logger"][0]), dtype=object)[kept]
            if found["logger"]
            else np.full(len(kept), name, dtype=object)
        )
        parts.append((kept, named, values[kept]))
    kept, loggers, values = (np.concatenate(each) for each in zip(*parts, strict=True))
    if not len(kept):
        raise ScoutingError(
            say("{file}: no record has a temperature. Export the logger again.", file=table.file)
        )
    lines = rows[kept].tolist()
    blank = [place for place, at in enumerate(kept) if not clock[at].strip()]
    if blank:
        raise ScoutingError(
            say(
                "{file}, row {row}: a temperature without a time.",
                file=table.file,
                row=lines[blank[0]],
            )
        )
    times = read_clock([clock[at] for at in kept], lines, table.file, day_first=day_first)
    times = _zoned(times, zone, lines, table.file, loggers)
    return pd.DataFrame(
        {
            "logger": pd.Series(loggers, dtype=str),
            "time": times,
            "temperature_c": values,
            "file": table.file,
            "row": lines,
        }
    )


def _found_headings(table: LoggerTable, names: dict[str, list[str]]) -> dict[str, list[str]]:
    """Return the headings, as the file writes them, of time, temperatures and logger."""
    own = {plain(heading): heading for heading in table.headings}

    def headings(name: str) -> list[str]:
        wanted = names.get(name, []) if names else [name]
        return [own[plain(heading)] for heading in wanted if plain(heading) in own]

    when = headings("time") or headings("date") + headings("clock")
    return {"when": when, "temperature_c": headings("temperature_c"), "logger": headings("logger")}


def _degrees(table: LoggerTable, heading: str, given: str, marks: Floats) -> Floats:
    """Return a column in °C, NaN where there is no reading."""
    text = pd.Series(table.column(heading), dtype=str)
    if table.decimal_comma:
        text = text.str.replace(",", ".", regex=False)
    none = text.str.casefold().isin(_NO_READING)
    values = pd.to_numeric(text.where(~none), errors="coerce").to_numpy(dtype=np.float64)
    wrong = (np.isnan(values) & ~none.to_numpy()) | np.isinf(values)
    if wrong.any():
        bad = int(wrong.argmax())
        raise ScoutingError(
            say(
                "{file}, row {row}, column '{column}': '{cell}' is not a number. Correct it, or "
                "empty the cell where there is no reading.",
                file=table.file,
                row=table.rows[bad],
                column=heading,
                cell=text[bad][:40],
            )
        )
    values = np.where(np.isin(values, marks), np.nan, values)
    unit = _unit_of(table, heading, given, values)
    celsius = (values - 32) / 1.8 if unit == "F" else values
    _check_range(table, heading, values, celsius, unit)
    return np.asarray(celsius)


def _unit_of(table: LoggerTable, heading: str, given: str, values: Floats) -> str:
    """Return the unit that the heading says or the user gave; refuse where neither does."""
    said = _UNIT_IN_HEADING.search(heading)
    told = (said[1] or said[2])[0].upper() if said else ""
    if told and given and told != given:
        raise ScoutingError(
            say(
                "{file}: the heading '{heading}' says °{told}, but unit='{given}' was given. Leave "
                "the unit out, or correct the heading.",
                file=table.file, heading=heading, told=told, given=given,
            )
        )  # fmt: skip
    if told or given:
        return told or given
    known = values[~np.isnan(values)]
    if not known.size:
        return "C"
    hot = bool(np.quantile(known, 0.99) > _HOT_SEASON_C)
    raise ScoutingError(
        say(_NO_UNIT[hot], file=table.file, heading=heading, low=known.min(), high=known.max())
    )


def _check_range(
    table: LoggerTable, heading: str, values: Floats, celsius: Floats, unit: str
) -> None:
    known = celsius[~np.isnan(celsius)]
    if not known.size:
        return
    if unit == "C" and _HOT_SEASON_C < np.quantile(known, 0.99) < 140:
        raise ScoutingError(
            say(
                "{file}, column '{column}': values up to {high:g}: is that Fahrenheit? As °C they "
                "cannot be. Give unit='F', or correct the heading.",
                file=table.file,
                column=heading,
                high=known.max(),
            )
        )
    wrong = (celsius < _COLDEST_C) | (celsius > _HOTTEST_C)
    if wrong.any():
        bad = int(wrong.argmax())
        raise ScoutingError(
            say(
                "{file}, row {row}, column '{column}': {reading:g} °{unit} is no temperature of "
                "the air over a crop. If it marks a missing reading, give missing=[{mark}]; if the "
                "sensor failed, empty the cell.",
                file=table.file,
                row=table.rows[bad],
                column=heading,
                reading=values[bad],
                unit=unit,
                mark=format(values[bad], "g"),
            )
        )


def _zoned(
    times: pd.DatetimeIndex,
    zone: tzinfo | None,
    rows: list[int],
    file: str,
    loggers: NDArray[np.object_],
) -> pd.DatetimeIndex:
    """Put times on the user's zone; without one, on the file's own distance from UTC."""
    if times.tz is not None:
        if zone is None:
            raise ScoutingError(
                say(
                    "{file}, row {row}: the times are tied to universal time, and nights need the "
                    "clock where the field lies. Give zone, such as 'Australia/Adelaide' or "
                    "'+09:30'.",
                    file=file,
                    row=rows[0],
                )
            )
        return times.tz_convert(zone)
    if zone is None:
        return times
    return put_on_zone(times, zone, rows, file, loggers)


def _check_alike(parts: list[pd.DataFrame], tables: list[LoggerTable]) -> None:
    tied = [part["time"].dt.tz is not None for part in parts]
    if any(tied) and not all(tied):
        at = tied.index(False)
        raise ScoutingError(
            say(
                "{file}: its times have no zone, but those of other files do. Give zone.",
                file=tables[at].file,
            )
        )


def _in_order(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Put records in order, drop what stands twice and refuse what contradicts itself."""
    table = pd.concat(parts, ignore_index=True)[list(TEMPERATURE_COLUMNS)]
    table = table.sort_values(["logger", "time"], kind="stable", ignore_index=True)
    same = table.duplicated(["logger", "time"], keep="first").to_numpy()
    repeats = table.duplicated(["logger", "time", "temperature_c"], keep="first").to_numpy()
    if (same & ~repeats).any():
        raise ScoutingError(_two_readings(table, int((same & ~repeats).argmax())))
    if repeats.any():
        warnings.warn(
            say(
                "{number:,} records stand twice, the first at row {row} of {file}; each was taken "
                "once.",
                number=repeats.sum(),
                row=str(table["row"].to_numpy()[repeats][0]),
                file=str(table["file"].to_numpy()[repeats][0]),
            ),
            ScoutingWarning,
            stacklevel=3,
        )
    return table[~repeats].reset_index(drop=True)


def _two_readings(table: pd.DataFrame, second: int) -> str:
    here, before = table.iloc[second], table.iloc[second - 1]
    zone = table["time"].dt.tz
    moved = isinstance(zone, timezone) or zone in (None, UTC)
    told = [
        say(
            "{file}, row {row}: logger {logger} has two readings, {before:.1f} and {here:.1f} °C, "
            "at {time:%Y-%m-%d %H:%M} (see row {other_row} of {other_file}).",
            file=here["file"],
            row=str(here["row"]),
            logger=str(here["logger"]),
            before=before["temperature_c"],
            here=here["temperature_c"],
            time=here["time"],
            other_row=str(before["row"]),
            other_file=before["file"],
        )
    ]
    if moved:
        told.append(
            say(
                "If the clock went back that night, give zone as a place, such as "
                "zone='Australia/Adelaide'."
            )
        )
    told.append(
        say(
            "If the file holds several loggers, name their column: columns={example}.",
            example="{'logger': ...}",
        )
    )
    return " ".join(told)
