"""Times as loggers write them, on a clock that the nights can be told by.

A clock that follows daylight saving has an hour twice in autumn and one not at all in spring.
Loggers mostly keep one time all year; which it is, only the user knows, but a time that the
clock on the wall never showed gives it away.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Sequence
from datetime import timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.days import whole_date
from trialkit.errors import ScoutingError, ScoutingWarning
from trialkit.language import say

_DAY_FIRST = ("%d/%m/%Y", "%d.%m.%Y", "%d-%m-%Y", "%d/%m/%y", "%d.%m.%y", "%d-%m-%y")
_MONTH_FIRST = ("%m/%d/%Y", "%m-%d-%Y", "%m/%d/%y", "%m-%d-%y")
_YEAR_FIRST = ("%Y-%m-%d", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d")
_CLOCKS = (" %H:%M:%S", " %H:%M", " %H:%M:%S.%f", " %I:%M:%S %p", " %I:%M %p")
_OFFSET = re.compile(r":\d{2}.*?(?:Z|UTC|GMT|[+-]\d{2}:?\d{2})$", re.IGNORECASE)
#: Seconds since 1970 of the years 1980 to 2100.
_EPOCH_S = (315_532_800.0, 4_102_444_800.0)
_YEARS = (1980, 2100)


def time_zone(zone: str | None) -> tzinfo | None:
    """Return a time zone by its name or its distance from universal time.

    Parameters
    ----------
    zone
        `"Australia/Adelaide"` for the clock on the wall there; `"+09:30"` for a clock that is
        never moved; None for no zone.

    Raises
    ------
    ScoutingError
        If there is no such zone.
    """
    if zone is None:
        return None
    offset = re.fullmatch(r"(?:UTC)?([+-])(\d{1,2}):?(\d{2})?", zone.strip())
    if offset:
        apart = timedelta(hours=int(offset[2]), minutes=int(offset[3] or 0))
        if apart <= timedelta(hours=14):
            return timezone(-apart if offset[1] == "-" else apart)
    try:
        return ZoneInfo(zone.strip())
    except Exception as error:  # unknown keys raise several kinds, by how they are wrong
        raise ScoutingError(
            f"zone='{zone}' is no time zone. Give one like 'Australia/Adelaide' for the clock on "
            "the wall, or like '+09:30' for a logger that keeps one time all year."
        ) from error


def read_clock(
    text: Sequence[str], rows: Sequence[int], file: str, *, day_first: bool | None
) -> pd.DatetimeIndex:
    """Read times as written.

    Parameters
    ----------
    text
        One time a record, none blank.
    rows
        Line of the file each stands on, for messages.
    file
        Name of the file.
    day_first
        Whether 03/04 is the third of April; None to find it out.

    Returns
    -------
    DatetimeIndex
        Without a zone; or in UTC where the file gives the distance from it, or counts seconds.

    Raises
    ------
    ScoutingError
        If a time cannot be read, or day and month cannot be told apart.
    """
    cells = pd.Series([" ".join(cell.split()) for cell in text], dtype=str)
    if cells.str.fullmatch(r"\d{9,13}(\.\d+)?").all():
        return _from_seconds(cells, rows, file)
    offsets = cells.str.contains(_OFFSET)
    if offsets.any():
        if not offsets.all():
            bad = int((~offsets).to_numpy().argmax())
            raise ScoutingError(
                say(
                    "{file}, row {row}: '{cell}' gives no distance from universal time, but other "
                    "rows do. Export all times alike.",
                    file=file,
                    row=rows[bad],
                    cell=cells[bad][:40],
                )
            )
        cells = cells.str.replace(r"\s*(?:UTC|GMT|Z)$", "Z", regex=True, flags=re.IGNORECASE)
        return _checked(_read(cells, rows, file, day_first, utc=True), rows, file)
    return _checked(_read(cells, rows, file, day_first, utc=False), rows, file)


def _from_seconds(cells: pd.Series, rows: Sequence[int], file: str) -> pd.DatetimeIndex:
    seconds = cells.astype(float).to_numpy()
    if np.median(seconds) > _EPOCH_S[1]:
        seconds = seconds / 1000
    wrong = (seconds < _EPOCH_S[0]) | (seconds > _EPOCH_S[1])
    if wrong.any():
        bad = int(wrong.argmax())
        raise ScoutingError(
            say(
                "{file}, row {row}: {cell} is no time. Export times like 2024-09-14 03:30:00.",
                file=file,
                row=rows[bad],
                cell=str(cells[bad]),
            )
        )
    return pd.DatetimeIndex(pd.to_datetime(seconds, unit="s", utc=True)).as_unit("ms")


def _read(
    cells: pd.Series, rows: Sequence[int], file: str, day_first: bool | None, *, utc: bool
) -> pd.DatetimeIndex:
    """Read every cell one way; where several fit, the way whose steps run forward."""
    iso = _parsed(cells, "ISO8601", utc)
    if iso is not None:
        return iso
    spaced = cells.str.replace(r"^(\S*\d)T(\d)", r"\1 \2", regex=True)
    spaced = spaced.str.replace(r"\b([ap])\.?m\.?$", r"\1m", regex=True, flags=re.IGNORECASE)
    orders = {True: (*_DAY_FIRST, *_YEAR_FIRST), False: (*_MONTH_FIRST, *_YEAR_FIRST),
              None: (*_DAY_FIRST, *_MONTH_FIRST, *_YEAR_FIRST)}  # fmt: skip
    found: list[pd.DatetimeIndex] = []
    tail = "%z" if utc else ""
    for day in orders[day_first]:
        for clock in _CLOCKS:
            if _parsed(spaced.iloc[:1], day + clock + tail, utc) is None:
                continue
            times = _parsed(spaced, day + clock + tail, utc)
            if times is not None and not any(times.equals(other) for other in found):
                found.append(times)
    if not found:
        raise ScoutingError(_unreadable(cells, rows, file))
    scores = [_disorder(times) for times in found]
    best = min(scores)
    if scores.count(best) > 1:
        first, second = [
            times for times, score in zip(found, scores, strict=True) if score == best
        ][:2]
        raise ScoutingError(
            say(
                "{file}, row {row}: '{cell}' could be {first} or {second}. Give day_first=True or "
                "day_first=False.",
                file=file,
                row=rows[0],
                cell=cells.iloc[0],
                first=whole_date(first[0]),
                second=whole_date(second[0]),
            )
        )
    return found[scores.index(best)]


def _disorder(times: pd.DatetimeIndex) -> tuple[int, float]:
    """Return how often times run backward, and how far they jump."""
    steps = np.diff(times.asi8.astype(np.float64))
    return int((steps < 0).sum()), float(np.abs(steps).sum())


def _parsed(cells: pd.Series, way: str, utc: bool) -> pd.DatetimeIndex | None:
    try:
        times = pd.DatetimeIndex(pd.to_datetime(cells, format=way, errors="raise", utc=utc))
        return None if times.isna().any() else times.as_unit("ms")
    except (ValueError, TypeError, OverflowError, AttributeError):
        return None


def _unreadable(cells: pd.Series, rows: Sequence[int], file: str) -> str:
    bad = 0
    for way in ("ISO8601", *(day + clock for day in _DAY_FIRST for clock in _CLOCKS)):
        missed = pd.to_datetime(cells, format=way, errors="coerce", utc=True).isna().to_numpy()
        if missed.sum() < len(cells) and missed.any():
            bad = int(missed.argmax())
            break
    return say(
        "{file}, row {row}: '{cell}' is not a time like the others, or not one trialkit knows. "
        "Export times like 2024-09-14 03:30:00.",
        file=file,
        row=rows[bad],
        cell=cells.iloc[bad][:40],
    )


def _checked(times: pd.DatetimeIndex, rows: Sequence[int], file: str) -> pd.DatetimeIndex:
    years = times.year.to_numpy()
    wrong = (years < _YEARS[0]) | (years > _YEARS[1])
    if wrong.any():
        bad = int(wrong.argmax())
        raise ScoutingError(
            say(
                "{file}, row {row}: the year {year} cannot be. The logger's clock was not set, or "
                "the time has another form. Correct it, or leave these rows out.",
                file=file,
                row=rows[bad],
                year=years[bad],
            )
        )
    return times


def put_on_zone(
    times: pd.DatetimeIndex,
    zone: tzinfo,
    rows: Sequence[int],
    file: str,
    loggers: NDArray[np.object_],
) -> pd.DatetimeIndex:
    """Give times of the clock on the wall their zone.

    Parameters
    ----------
    times
        Without a zone, in the order of the file.
    zone
        Where the clock hangs.
    rows, file
        Lines of the file and its name, for messages.
    loggers
        Which logger each time is of.

    Returns
    -------
    DatetimeIndex
        In that zone.

    Raises
    ------
    ScoutingError
        If the clock there never showed one of the times.

    Warns
    -----
    ScoutingWarning
        If the hour that came twice was logged once.
    """
    summer = np.ones(len(times), dtype=bool)
    never = np.asarray(times.tz_localize(zone, ambiguous=summer, nonexistent="NaT").isna())
    if never.any():
        bad = int(never.argmax())
        raise ScoutingError(
            say(
                "{file}, row {row}: {time:%Y-%m-%d %H:%M} never was in {zone}; the clock went "
                "forward over it. The logger probably keeps one time all year: give the distance "
                "from universal time instead, such as zone='+09:30'.",
                file=file,
                row=rows[bad],
                time=times[bad],
                zone=str(zone),
            )
        )
    twice = np.asarray(times.tz_localize(zone, ambiguous="NaT", nonexistent="NaT").isna())
    if twice.any():
        summer = _first_time_round(times, twice, loggers, file)
    return times.tz_localize(zone, ambiguous=summer, nonexistent="NaT")


def _first_time_round(
    times: pd.DatetimeIndex, twice: NDArray[np.bool_], loggers: NDArray[np.object_], file: str
) -> NDArray[np.bool_]:
    """Tell which times of the hour that came twice are of its first coming.

    The second one begins where a time comes again, or where the times step back.
    """
    summer = np.ones(len(times), dtype=bool)
    known = pd.DataFrame({"time": times, "logger": loggers, "day": times.normalize()})[twice]
    for (logger, day), own in known.groupby(["logger", "day"], sort=False):
        again = own.groupby("time").cumcount().to_numpy() > 0
        back = np.diff(own["time"].to_numpy(), prepend=own["time"].to_numpy()[:1])
        second = again | (np.cumsum(back < np.timedelta64(0, "ms")) > 0)
        if not second.any():
            second[:] = True
            warnings.warn(
                say(
                    "{file}, logger {logger}: the clock went back on {day:%Y-%m-%d}, but its hour "
                    "is logged once; it was taken for winter time. If the logger keeps one time "
                    "all year, give zone as its distance from universal time, such as '+09:30'.",
                    file=file,
                    logger=str(logger),
                    day=day,
                ),
                ScoutingWarning,
                stacklevel=5,
            )
        summer[own.index[second]] = False
    return summer
