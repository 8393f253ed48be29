"""Times as exports write them, read to the clock of the log."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError, LogWarning
from trialkit.harvest.readers.table import ExportedTable
from trialkit.language import say

#: Ways of writing a day that are not ISO 8601, day first and month first.
_DAY_FIRST = ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y")
_MONTH_FIRST = ("%m/%d/%Y", "%m-%d-%Y", "%m/%d/%y")
_YEAR_FIRST = ("%Y/%m/%d", "%Y.%m.%d", "%Y%m%d")
_CLOCKS = (" %H:%M:%S", " %H:%M:%S.%f", " %H:%M", " %I:%M:%S %p", " %I:%M %p")

#: Seconds since 1970 that a harvest can have (the years 1980 to 2100), and the same in ms.
_EPOCH_S = (315_532_800.0, 4_102_444_800.0)

_ZONE = r"(?:Z|[+-]\d{2}:?\d{2})$"


def read_times(table: ExportedTable, number: int) -> NDArray[np.datetime64]:
    """Read a column of times.

    Dates with a clock in ISO 8601 or the usual day-first and month-first ways, a clock alone, or
    a number: seconds (or ms) since 1970, or seconds since the log began. A time zone is read off
    and dropped: the clock stays what the file says.

    Parameters
    ----------
    table
        The exported file.
    number
        Number of the column.

    Returns
    -------
    ndarray of datetime64[ms]
        One a record; not-a-time where the cell is empty.

    Raises
    ------
    LogError
        If a cell cannot be read as a time.
    """
    cells = table.cells[number]
    if isinstance(cells.dtype, pd.DatetimeTZDtype):
        cells = cells.dt.tz_localize(None)
    if cells.dtype.kind == "M":
        return np.asarray(cells.to_numpy(dtype="datetime64[ms]"))
    if cells.dtype.kind in "iuf":
        return _from_numbers(table, number)
    as_is = _parse(table.text(number), "ISO8601")
    if as_is is not None:
        return as_is
    text = table.text(number).str.strip().str.replace(_ZONE, "", regex=True)
    text = text.where(text != "")
    for read in (_iso, _dated, _clock_alone):
        parsed = read(text, table, number)
        if parsed is not None:
            return parsed
    raise LogError(_unreadable(text, table, number))


def _from_numbers(table: ExportedTable, number: int) -> NDArray[np.datetime64]:
    values = table.numbers(number)
    middle = float(np.nanmedian(values)) if np.isfinite(values).any() else 0.0
    as_day = str(int(middle))
    if len(as_day) in (8, 14) and as_day[:2] in ("19", "20"):
        raise LogError(
            f"{table.file}, column '{table.headings[number]}': {as_day} looks like a date run "
            "together. Export times like 2025-11-24 10:30:00, or leave the column out."
        )
    factor = 1.0 if middle >= _EPOCH_S[0] * 1000 else 1000.0
    if np.nanmax(np.abs(values), initial=0.0) * factor > _EPOCH_S[1] * 1000:
        raise LogError(
            f"{table.file}, column '{table.headings[number]}': {middle:g} is no time trialkit "
            "knows. Export times like 2025-11-24 10:30:00, or leave the column out."
        )
    whole = np.round(np.nan_to_num(values) * factor).astype(np.int64).astype("datetime64[ms]")
    whole[np.isnan(values)] = np.datetime64("NaT")
    return whole


def _iso(
    text: pd.Series[str],
    _table: ExportedTable,
    _number: int,
) -> NDArray[np.datetime64] | None:
    return _parse(text, "ISO8601")


def _dated(
    text: pd.Series[str], table: ExportedTable, number: int
) -> NDArray[np.datetime64] | None:
    """Read days written otherwise; where day and month could be either, the shorter harvest."""
    spaced = text.str.replace("T", " ", regex=False)
    sample = spaced.dropna()
    if sample.empty:
        return np.full(len(text), "NaT", dtype="datetime64[ms]")
    readings = []
    for days in (_DAY_FIRST, _MONTH_FIRST, _YEAR_FIRST):
        for day in days:
            for clock in (*_CLOCKS, ""):
                if _parse(sample.iloc[[0]], day + clock) is None:
                    continue
                parsed = _parse(spaced, day + clock)
                if parsed is not None:
                    readings.append((day, parsed))
    if not readings:
        return None
    spans = [np.nanmax(times) - np.nanmin(times) for _, times in readings]
    best = int(np.argmin(spans))
    differ = any(not np.array_equal(readings[best][1], t, equal_nan=True) for _, t in readings)
    if differ and len({str(span) for span in spans}) == 1:
        warnings.warn(
            say(
                "{file}, column '{heading}': {time} could be day or month first; day first was "
                "taken. Export times like 2025-11-24 10:30:00 to be sure.",
                file=table.file,
                heading=table.headings[number],
                time=str(sample.iloc[0]),
            ),
            LogWarning,
            stacklevel=6,  # whoever called read_log
        )
    return readings[best][1]


def _clock_alone(
    text: pd.Series[str],
    _table: ExportedTable,
    _number: int,
) -> NDArray[np.datetime64] | None:
    """Read a clock without a day as hours since midnight; a fall back means the next day."""
    for clock in _CLOCKS:
        parsed = _parse(text, clock.strip())
        if parsed is not None:
            since = (parsed - parsed.astype("datetime64[D]")).astype("timedelta64[ms]")
            hours = pd.Series(since).ffill()
            nights = (hours.diff() < pd.Timedelta(hours=-12)).cumsum().to_numpy()
            days = nights.astype("timedelta64[D]").astype("timedelta64[ms]")
            return np.asarray(np.datetime64(0, "ms") + since + days)
    return None


def _parse(text: pd.Series[str], way: str) -> NDArray[np.datetime64] | None:
    """Read every cell one way, the clock as written; None where one does not fit."""
    try:
        with warnings.catch_warnings():
            # Mixed time zones: pandas is about to refuse them, so refuse them now.
            warnings.simplefilter("error", FutureWarning)
            times = pd.to_datetime(text, format=way, errors="raise")
        if times.dt.tz is not None:
            times = times.dt.tz_localize(None)
        stamps: NDArray[np.datetime64] = times.to_numpy(dtype="datetime64[ms]")
    except (ValueError, TypeError, OverflowError, AttributeError, FutureWarning):
        return None
    return stamps


def _unreadable(text: pd.Series[str], table: ExportedTable, number: int) -> str:
    bad = text[text.notna()]
    for way in ("ISO8601", *(day + clock for day in _DAY_FIRST for clock in _CLOCKS)):
        times = pd.to_datetime(text, format=way, errors="coerce")
        missed = text[times.isna() & text.notna()]
        if len(missed) < len(bad):
            bad = missed
    place = int(bad.index[0])
    return (
        f"{table.file}, row {table.rows[place]}, column '{table.headings[number]}': "
        f"{str(bad.iloc[0])[:40]!r} is not a time like the others, or not one trialkit knows. "
        "Export times like 2025-11-24 10:30:00."
    )
