"""The CSV tables of a trial folder, checked column by column and row by row."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import dataclass, field
from functools import reduce
from pathlib import Path

import pandas as pd

from trialkit.checks import Check
from trialkit.columns import COLUMNS
from trialkit.language import figures, marked, say, say_counted
from trialkit.trial.config_faults import suggestion

#: No table of a trial needs more; a larger file is a harvest log in the wrong place.
LARGEST_TABLE_BYTES = 10_000_000

#: A time of day without its day.
_CLOCK = r"([01]?\d|2[0-3])[:.][0-5]\d"

#: The time zone behind a time.
_ZONE = r":\d\d(?:\.\d+)?\s*(Z|[+-]\d\d(?::?\d\d)?)$"

#: Faults of one column beyond which only their number is given.
_SHOWN_ROWS = 3


@dataclass(frozen=True, slots=True)
class TableForm:
    """What one table must and may hold.

    Parameters
    ----------
    file
        File name in the trial folder.
    needed
        Columns that must be there, every cell filled unless it may be blank.
    ways
        Alternatives, one of which must be there: sets of columns.
    optional
        Columns that may be there, with blank cells allowed.
    limits
        Lowest and highest sensible value by column, in the column's unit.
    may_be_blank
        Needed columns whose cells may be blank: nobody looked there, which is not the same as 0.
    clocks
        Columns of times that may be written without their day, such as `07:40`: it is the row's
        `date`.
    ours
        Columns that trialkit writes, which a table made by hand does not need.
    """

    file: str
    needed: tuple[str, ...]
    ways: tuple[tuple[str, ...], ...] = ()
    optional: tuple[str, ...] = ()
    limits: dict[str, tuple[float, float]] = field(default_factory=dict)
    may_be_blank: tuple[str, ...] = ()
    clocks: tuple[str, ...] = ()
    ours: tuple[str, ...] = ()

    @property
    def known(self) -> list[str]:
        """Every column the table may have."""
        ways = (name for way in self.ways for name in way)
        names = [*self.needed, *ways, *self.optional, *self.ours]
        return list(dict.fromkeys(names))


FORMS: dict[str, TableForm] = {
    "dressing": TableForm(
        "dressing.csv",
        needed=("date", "product", "amount", "unit"),
        optional=("treatment", "seed_t", "litres", "start", "end", "last_sown", "note"),
        limits={"amount": (0, 1e6), "seed_t": (0, 1e5), "litres": (0, 1e6)},
        clocks=("start", "end", "last_sown"),
    ),
    "counts": TableForm(
        "counts.csv",
        needed=("strip", "count"),
        ways=(("row_length_m", "row_spacing_m"), ("area_m2",)),
        optional=("place", "date", "note"),
        ours=("along_m", "drill_row", "longitude", "latitude"),
        limits={
            "count": (0, 1e5),
            "row_length_m": (0.05, 100),
            "row_spacing_m": (0.05, 2),
            "area_m2": (0.01, 100),
            "place": (1, 1000),
        },
        may_be_blank=("count",),
    ),
    "stages": TableForm(
        "stages.csv",
        needed=("date", "zadoks"),
        optional=("note",),
        limits={"zadoks": (0, 99)},
    ),
    "scores": TableForm(
        "scores.csv",
        needed=("strip", "date", "score", "value"),
        optional=("place", "note"),
        limits={"place": (1, 1000)},
        may_be_blank=("value",),
    ),
    "heads": TableForm(
        "heads.csv",
        needed=("strip", "date", "sterile", "florets"),
        optional=("note",),
        limits={"sterile": (0, 1000), "florets": (1, 1000)},
        may_be_blank=("sterile", "florets"),
    ),
    "weights": TableForm(
        "weights.csv",
        needed=("mass_kg",),
        ways=(("strip",), ("load", "start", "end")),
        optional=("moisture_pct", "area_ha", "date", "note"),
        limits={"mass_kg": (1, 1e6), "moisture_pct": (0, 60), "area_ha": (0.001, 1000)},
    ),
    "quality": TableForm(
        "quality.csv",
        needed=("strip",),
        optional=("protein_pct", "screenings_pct", "test_weight_kg_hl", "note"),
        limits={
            "protein_pct": (0, 40),
            "screenings_pct": (0, 100),
            "test_weight_kg_hl": (10, 100),
        },
    ),
}


def read_table(
    folder: Path, form: TableForm, strips: Collection[str]
) -> tuple[pd.DataFrame | None, list[Check]]:
    """Read and check one table of a trial folder.

    Parameters
    ----------
    folder
        The trial folder.
    form
        What the table must hold.
    strips
        Names of the strips in the layout; empty where there is no layout to check against.

    Returns
    -------
    table, checks
        The table with canonical columns in canonical units, or None where it is absent, faulty or
        has no rows yet; and all its faults at once.
    """
    table, checks = read_rows(folder, form, strips)
    return (None if table is None else table.reset_index(drop=True)), checks


def read_rows(
    folder: Path, form: TableForm, strips: Collection[str]
) -> tuple[pd.DataFrame | None, list[Check]]:
    """Read and check one table like `read_table`, its index the row in the file, from 1.

    Parameters
    ----------
    folder, form, strips
        As for `read_table`.
    """
    path = folder / form.file
    if not path.exists():
        return None, []
    cells, checks = _read_cells(path, form.file)
    if cells is None:
        return None, checks
    checks = _check_headings(cells, form)
    if checks or cells.empty:
        return None, checks
    used = [name for name in form.known if name in cells.columns]
    way = next((way for way in form.ways if set(way) <= set(cells.columns)), ())
    table = pd.DataFrame(index=cells.index)
    for name in used:
        required = name in (*form.needed, *way) and name not in form.may_be_blank
        column = _with_day(cells, name) if name in form.clocks else cells[name]
        table[name], found = _column(column, name, form, required=required)
        checks += found
    if strips and "strip" in table:
        checks += _unknown_strips(table["strip"], form.file, strips)
    return (None if checks else table), checks


def _read_cells(path: Path, file: str) -> tuple[pd.DataFrame | None, list[Check]]:
    """Read the cells as text, indexed by their row in the file, counted from 1."""
    if path.stat().st_size > LARGEST_TABLE_BYTES:
        found = say(
            "It holds {size:.0f} MB, too much for this table.", size=path.stat().st_size / 1e6
        )
        return None, [Check(file, "", found, say("Harvest logs go into the folder harvest/."))]
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        row = path.read_bytes()[: error.start].count(b"\n") + 1
        found = say("The file is not UTF-8 text.")
        return None, [Check(file, _row(row), found, say("Save it as CSV, UTF-8."))]
    header = text.split("\n", 1)[0]
    delimiter = ";" if header.count(";") > header.count(",") else ","
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    if not rows:
        return None, [Check(file, "", say("The file is empty."), say("Fill it in, or delete it."))]
    headings = [heading.strip() for heading in rows[0]]
    numbered = [(at, row) for at, row in enumerate(rows[1:], 2) if any(c.strip() for c in row)]
    checks = [
        Check(
            file,
            _row(at),
            say(
                "It has {cells} cells, but there are {headings} headings.",
                cells=len(row),
                headings=len(headings),
            ),
            say("Quote text that holds the delimiter."),
        )
        for at, row in numbered
        if len(row) != len(headings)
    ]
    if checks:
        return None, checks[:_SHOWN_ROWS]
    cells = pd.DataFrame(
        [[cell.strip() for cell in row] for _, row in numbered],
        columns=headings,
        index=[at for at, _ in numbered],
        dtype=str,
    )
    if delimiter == ";":  # spreadsheets that split by semicolons write decimals with a comma
        cells = cells.replace(r"^(-?\d+),(\d+)$", r"\1.\2", regex=True)
    return cells, []


def _check_headings(cells: pd.DataFrame, form: TableForm) -> list[Check]:
    headings = list(cells.columns)
    checks = [
        Check(
            form.file,
            _row(1),
            say("There is no column '{name}' in this table.", name=name),
            f"{suggestion(name, form.known)} {_known(form)}".strip(),
        )
        for name in headings
        if name not in form.known
    ]
    checks += [
        Check(
            form.file,
            _row(1),
            say("The column '{name}' stands twice.", name=name),
            say("Keep one of them."),
        )
        for name in dict.fromkeys(headings)
        if headings.count(name) > 1
    ]
    checks += [
        Check(form.file, _row(1), say("The column '{name}' is missing.", name=name), _meaning(name))
        for name in form.needed
        if name not in headings
    ]
    if form.ways and not any(set(way) <= set(headings) for way in form.ways):
        ways = [reduce(_both, way) for way in form.ways]
        wanted = say("Give {ways}.", ways=reduce(_either, ways))
        checks.append(Check(form.file, _row(1), say("Columns are missing."), wanted))
    return checks


def _row(number: int) -> str:
    return say("row {number}", number=number)


def _cell(number: object, name: str) -> str:
    return say("row {number}, {column}", number=number, column=name)


def _known(form: TableForm) -> str:
    return say("Known: {columns}.", columns=", ".join(form.known))


def _both(one: str, other: str) -> str:
    return say("{one} with {other}", one=one, other=other)


def _either(one: str, other: str) -> str:
    return say("{one} or {other}", one=one, other=other)


def _meaning(name: str) -> str:
    column = COLUMNS.get(name)
    return say("Add it.") if column is None else f"{say('Add it.')} {say(column.meaning)}"


def _with_day(cells: pd.DataFrame, name: str) -> pd.Series[str]:
    """Put the day of its row before a time that is written without one."""
    column = cells[name]
    clock = column.str.fullmatch(_CLOCK)
    if "date" not in cells or not clock.any():
        return column
    # Where the day is no date, that is said of the day alone.
    day = cells["date"].str.slice(0, 10)
    day = day.where(pd.to_datetime(day, errors="coerce", format="ISO8601").notna())
    timed = day + "T" + column.str.replace(".", ":", regex=False).str.zfill(5)
    return column.where(~clock, timed.fillna(""))


def _column(
    cells: pd.Series[str], name: str, form: TableForm, *, required: bool
) -> tuple[pd.Series, list[Check]]:
    """Convert one column of text cells and check it."""
    kind = COLUMNS[name].kind if name in COLUMNS else "text"
    blank = cells == ""
    empty = marked("'{value}' is blank.")
    checks = _rows_at_fault(blank & required, cells, name, form.file, empty, say("Fill it in."))
    if kind == "number":
        values = pd.to_numeric(cells.where(~blank), errors="coerce")
        wrong = values.isna() & ~blank
        odd = marked("'{value}' is not a number.")
        remedy = say("Write it like {number}.", number=figures("12.5"))
        checks += _rows_at_fault(wrong, cells, name, form.file, odd, remedy)
        low, high = form.limits.get(name, (-float("inf"), float("inf")))
        outside = (values < low) | (values > high)
        odd = marked("'{value}' cannot be right.")
        remedy = say("Expected {low:g} to {high:g}.", low=low, high=high)
        checks += _rows_at_fault(outside, cells, name, form.file, odd, remedy)
        return values, checks
    if kind == "time":
        zones = cells.str.extract(_ZONE, expand=False).fillna("")
        usual = "" if name in form.clocks else next(iter(zones[~blank]), "")
        if (foreign := (zones != usual) & ~blank).any():
            remedy = say("Write every time as the clock on your wall shows it, without a zone.")
            found = marked("'{value}' is in another time zone than the rest.")
            return cells, checks + _rows_at_fault(foreign, cells, name, form.file, found, remedy)
        times = pd.to_datetime(cells.where(~blank), errors="coerce", format="ISO8601")
        wrong = times.isna() & ~blank
        remedy = say("Write it year first, like 2024-05-17.")
        if name in form.clocks:
            remedy = say("Write it like 07:40, or with its day, 2024-05-17 07:40.")
        odd = marked("'{value}' is not a date.")
        checks += _rows_at_fault(wrong, cells, name, form.file, odd, remedy)
        return times, checks
    return cells, checks


def _rows_at_fault(
    wrong: pd.Series[bool], cells: pd.Series[str], name: str, file: str, found: str, wanted: str
) -> list[Check]:
    rows = [int(row) for row in cells.index[wrong]]
    checks = [
        Check(file, _cell(row, name), say(found, value=str(cells.loc[row])), wanted)
        for row in rows[:_SHOWN_ROWS]
    ]
    if len(rows) > _SHOWN_ROWS:
        more = say_counted(
            "{count} more row has the same fault.",
            "{count} more rows have the same fault.",
            len(rows) - _SHOWN_ROWS,
        )
        checks.append(Check(file, name, more, wanted))
    return checks


def _unknown_strips(named: pd.Series, file: str, strips: Collection[str]) -> list[Check]:
    return [
        Check(
            file,
            _cell(row, "strip"),
            say("The layout has no strip '{strip}'.", strip=name),
            suggestion(str(name), list(strips)).strip()
            or say("It has {strips}.", strips=", ".join(sorted(strips))),
        )
        for row, name in named.items()
        if name not in strips
    ][:_SHOWN_ROWS]
