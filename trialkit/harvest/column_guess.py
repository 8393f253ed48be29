"""Propose which column of an export is which, from trade words and from the values.

A proposal is shown for confirmation and never used unseen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.columns import COLUMNS, LOG_COLUMNS, MACHINE_COLUMNS
from trialkit.errors import LogError, UnitError
from trialkit.harvest.readers import ExportedTable, open_export
from trialkit.units import convert

#: Words that name a column, most telling first; each is a set of words that must all be there.
_WORDS: dict[str, tuple[str, ...]] = {
    "time": ("time stamp", "timestamp", "date time", "datetime", "gps time", "time", "date"),
    "longitude": ("longitude", "long", "lon", "lng", "easting", "x"),
    "latitude": ("latitude", "lat", "northing", "y"),
    "elevation_m": ("elevation", "altitude", "elev", "alt", "height"),
    "speed_m_s": ("ground speed", "vehicle speed", "speed", "velocity"),
    "swath_m": ("cut width", "swath width", "working width", "swath", "header width", "width"),
    "flow_kg_s": ("grain flow", "mass flow", "crop flow", "flow rate", "flow"),
    "moisture_pct": ("grain moisture", "crop moisture", "moisture", "moist", "water content"),
    "yield_t_ha": ("yield dry", "dry yield", "yield", "yld"),
    "interval_s": ("interval", "duration", "cycle", "logging interval", "seconds"),
    "travel_m": ("distance", "travel", "dist"),
    "mass_kg": ("grain mass", "mass", "grain weight", "weight"),
}

#: Words that show a heading is about something else.
_OTHER = {"total", "target", "accumulated", "count", "id", "pass", "avg", "average", "area"}

#: Units as headings write them, to the spelling trialkit reads.
_UNIT_WORDS = {
    "kg/s": "kg/s", "lb/s": "lb/s", "t/h": "t/h", "kg/h": "kg/h", "lbs": "lb", "lbs/s": "lb/s",
    "kg/sec": "kg/s", "lb/sec": "lb/s", "lbs/sec": "lb/s", "t/hr": "t/h", "tonnes/ha": "t/ha",
    "t/ha": "t/ha", "kg/ha": "kg/ha", "bu/ac": "bu/ac", "bu/acre": "bu/ac", "bushels/acre": "bu/ac",
    "lb/ac": "lb/ac", "q/ha": "q/ha", "dt/ha": "q/ha", "m/s": "m/s", "km/h": "km/h", "kmh": "km/h",
    "kph": "km/h", "mph": "mph", "m": "m", "cm": "cm", "mm": "mm", "ft": "ft", "in": "in", "s": "s",
    "sec": "s", "ms": "ms", "%": "percent", "pct": "percent", "percent": "percent", "kg": "kg",
    "lb": "lb", "t": "t", "g": "g", "deg": "degree", "°": "degree", "degrees": "degree",
    "metres": "m", "meters": "m", "feet": "ft", "inches": "in", "seconds": "s",
}  # fmt: skip

#: Units that a column comes in, with the range its median then lies in, likeliest first.
_RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "speed_m_s": {"m/s": (0.5, 3.2), "km/h": (3.2, 12.0), "mph": (1.5, 7.0)},
    "swath_m": {"m": (2.0, 19.0), "ft": (19.0, 62.0), "in": (62.0, 750.0), "cm": (200.0, 1900.0)},
    "flow_kg_s": {"kg/s": (0.5, 40.0), "lb/s": (1.0, 90.0), "t/h": (2.0, 150.0)},
    "moisture_pct": {"percent": (5.0, 40.0)},
    "yield_t_ha": {
        "t/ha": (0.3, 16.0),
        "bu/ac": (16.0, 300.0),
        "q/ha": (16.0, 160.0),
        "kg/ha": (300.0, 16_000.0),
    },
    "interval_s": {"s": (0.1, 20.0), "ms": (100.0, 20_000.0)},
    "travel_m": {"m": (0.1, 20.0), "ft": (0.3, 60.0), "in": (4.0, 700.0)},
    "mass_kg": {"kg": (0.1, 200.0), "lb": (0.2, 450.0)},
    "elevation_m": {"m": (-50.0, 4000.0), "ft": (-150.0, 12_000.0)},
    "longitude": {"degree": (-180.0, 180.0)},
    "latitude": {"degree": (-90.0, 90.0)},
}

#: Units that every export shares, so that nobody has to say them.
USUAL_UNITS = {
    "longitude": "degree",
    "latitude": "degree",
    "moisture_pct": "percent",
    "interval_s": "s",
}


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading taken apart: its words, and the unit it names (empty where it names none)."""

    words: frozenset[str]
    unit: str


def take_apart(heading: str) -> Heading:
    """Split a heading such as `Speed (km/h)` or `speed_km_h` into words and unit.

    Parameters
    ----------
    heading
        A column's heading.

    Returns
    -------
    Heading
        Lower-case words without the unit, and the unit.
    """
    text = heading.strip().lower()
    bracketed = re.search(r"[(\[{<]\s*([^()\[\]{}<>]*?)\s*[)\]}>]\s*$", text)
    if bracketed and _as_unit(bracketed.group(1)):
        return Heading(_words(text[: bracketed.start()]), _as_unit(bracketed.group(1)))
    parts = [part for part in re.split(r"[\s_,]+", text) if part]
    for length in (2, 1):
        if len(parts) > length:
            unit = _as_unit("/".join(parts[-length:]))
            if unit and (length == 2 or unit != "t"):
                return Heading(_words(" ".join(parts[:-length])), unit)
    return Heading(_words(text), "")


def _as_unit(text: str) -> str:
    return _UNIT_WORDS.get(text.replace(" ", "").replace("per", "/"), "")


def _words(text: str) -> frozenset[str]:
    return frozenset(re.findall(r"[^\W\d_]+", text))


def propose_columns(path: str | Path) -> pd.DataFrame:
    """Propose our name and unit for the columns of an export.

    Parameters
    ----------
    path
        The exported file.

    Returns
    -------
    DataFrame
        One row a column of the file that looks like one of ours, in our order: `name` (ours),
        `heading` (the file's), `unit` (empty where the heading names none and the values do not
        settle it), `sample` (the first values) and `remark` (what to look at; empty where the
        values are plausible).

    Raises
    ------
    LogError
        If the file cannot be read.

    See Also
    --------
    proposal_text : the proposal ready to paste into `trial.toml`.
    """
    return propose_for(open_export(path)[0])


def propose_for(table: ExportedTable) -> pd.DataFrame:
    """Propose our names for the columns of an opened file; see `propose_columns`."""
    rows = []
    for name, number in match_headings(table.headings).items():
        if table.headings[number] in table.made:
            continue
        unit, remark = _unit_and_remark(table, name, number)
        cells = table.cells[number].dropna().iloc[:3]
        sample = ", ".join(str(cell)[:24] for cell in cells)
        rows.append((name, table.headings[number], unit, sample, remark))
    return pd.DataFrame(rows, columns=["name", "heading", "unit", "sample", "remark"])


def match_headings(headings: tuple[str, ...]) -> dict[str, int]:
    """Give each of our columns the heading that fits best, each heading to one column only.

    Parameters
    ----------
    headings
        The file's headings, in order.

    Returns
    -------
    dict
        Our name to the number of the column, counted from 0.
    """
    scores = []
    for place, heading in enumerate(headings):
        if heading in MACHINE_COLUMNS:
            continue  # one of our own names, of which nothing is to be guessed
        taken_apart = take_apart(heading)
        for order, name in enumerate(LOG_COLUMNS):
            score = 1000.0 if heading == name else _score(name, taken_apart)
            if score > 0:
                scores.append((-score, order, place, name))
    chosen: dict[str, int] = {}
    for _, _, place, name in sorted(scores):
        if name not in chosen and place not in chosen.values():
            chosen[name] = place
    return {name: chosen[name] for name in LOG_COLUMNS if name in chosen}


def _score(name: str, heading: Heading) -> float:
    if heading.words & _OTHER:
        return 0.0
    if heading.unit and not _measures(heading.unit, COLUMNS[name].unit):
        return 0.0
    for rank, phrase in enumerate(_WORDS[name]):
        words = set(phrase.split())
        if words <= heading.words:
            exact = 5.0 if words == heading.words else 0.0
            return 10.0 * len(words) + exact - 0.1 * rank - len(heading.words - words)
    return 0.0


def _measures(unit: str, ours: str) -> bool:
    if not ours:
        return False
    if ours == "degree" and unit == "m":
        return True
    try:
        convert(1.0, unit, ours, crop="wheat")
    except UnitError:
        return False
    return True


def _unit_and_remark(table: ExportedTable, name: str, number: int) -> tuple[str, str]:
    if name == "time":
        return "", ""
    try:
        values = table.numbers(number)
    except LogError as error:
        return "", str(error).split(": ", 1)[-1]
    heading = table.headings[number]
    stated = COLUMNS[name].unit if heading == name else take_apart(heading).unit
    stated = stated or USUAL_UNITS.get(name, "")
    typical = _typical(values)
    if typical is None:
        return stated, "every cell is empty or zero"
    fitting = [u for u, (low, high) in _RANGES[name].items() if low <= typical <= high]
    if stated in _RANGES[name]:
        return stated, "" if stated in fitting else _remark(typical, stated, fitting)
    if stated:
        return stated, ""
    return "", _remark(typical, "", fitting)


def _typical(values: NDArray[np.float64]) -> float | None:
    real = values[np.isfinite(values) & (values != 0)]
    return float(np.median(real)) if len(real) else None


def _remark(typical: float, stated: str, fitting: list[str]) -> str:
    looks = f"a median of {typical:.4g}"
    if not fitting:
        return f"{looks} is odd for this column" + (f" in {stated}" if stated else "")
    likely = " or ".join(fitting)
    return f"{looks} looks like {likely}" + (
        f", not {stated}" if stated else "; the heading names no unit"
    )


def proposal_text(proposal: pd.DataFrame) -> str:
    """Write a proposal as text ready to paste into `trial.toml`.

    Parameters
    ----------
    proposal
        From `propose_columns`.

    Returns
    -------
    str
        The tables `[harvest.columns]` and `[harvest.units]`, with samples and remarks as comments;
        units that nobody can know are left blank to fill in.
    """
    columns, units = [], []
    for row in proposal.astype(str).to_dict("records"):
        name, unit, remark = row["name"], row["unit"], row["remark"]
        columns.append(f"{name} = {_quoted(row['heading'])}  # such as {_comment(row['sample'])}")
        usual = unit == USUAL_UNITS.get(name) and not remark
        if name != "time" and not usual:
            units.append(
                f"{name} = {_quoted(unit)}" + (f"  # {_comment(remark)}" if remark else "")
            )
    text = "[harvest.columns]\n" + "\n".join(columns) + "\n"
    return text + ("\n[harvest.units]\n" + "\n".join(units) + "\n" if units else "")


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{"".join(c for c in escaped if c.isprintable())}"'


def _comment(text: str) -> str:
    return "".join(c for c in str(text) if c.isprintable())
