"""Read harvest logs: any export in, one frame of canonical columns in metric units out."""

from __future__ import annotations

import difflib
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.columns import COLUMNS, LOG_COLUMNS, MACHINE_COLUMNS
from trialkit.errors import LogError, LogWarning, UnitError
from trialkit.harvest.column_guess import (
    USUAL_UNITS,
    match_headings,
    proposal_text,
    propose_for,
    take_apart,
)
from trialkit.harvest.crops import wanted_records
from trialkit.harvest.degrees import WGS84, in_degrees, on_the_globe
from trialkit.harvest.grain import at_standard_moisture, yield_from_mass
from trialkit.harvest.ground import interval_s, swath_m, travel_m
from trialkit.harvest.header import AHEAD, RIGHT
from trialkit.harvest.machines import joined, machines_of, tracks_of
from trialkit.harvest.readers import ExportedTable, open_export
from trialkit.harvest.stamps import read_times
from trialkit.language import say
from trialkit.units import convert

#: Shortest travel and narrowest cut over which grain can be spread, m: the machine stands or
#: cuts nothing otherwise.
_LEAST_SPREAD_M = 0.02


def read_log(
    path: str | Path | Sequence[str | Path],
    *,
    columns: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    crs: str | None = None,
    crop: str | None = None,
    standard_moisture_pct: float | None = None,
    harvester_m: float | None = None,
    header_ahead_m: float | None = None,
    header_right_m: float | None = None,
    only: Mapping[str, str] | None = None,
) -> pd.DataFrame:
    r"""Read the export of a yield monitor, in one file or several.

    Yield is taken as recorded (at the standard moisture, as the monitor was set), or computed
    from grain flow or grain mass, distance, width and moisture.

    Parameters
    ----------
    path
        Delimited text: comma, semicolon, tab, bar or blanks; decimal point or comma; UTF-8, UTF-16
        or Latin-1. Vector files: shapefile, GeoPackage, GeoJSON, GeoParquet. Task data of ISO
        11783-10: the folder, or its TASKDATA.XML. A zip or folder of any of these. Several files
        are put in the order of their first record.
    columns
        Our name to the file's heading, such as `{"flow_kg_s": "Grain flow"}`. Without it the
        headings must be our own names: a guess is never used unseen, see `propose_columns`.
    units
        Our name to the file's unit, such as `{"flow_kg_s": "lb/s"}`; not needed where the
        heading is our own name or says its unit, such as `Speed (km/h)`, nor for degrees of
        longitude and latitude, per cent of moisture and seconds.
    crs
        Coordinate system of the positions where the file states none; WGS 84 by default. In any
        other, the columns mapped to `longitude` and `latitude` hold easting and northing.
    crop
        Crop, for yields in bushels.
    standard_moisture_pct
        Moisture that yield is brought to, %; needed where yield is computed and moisture recorded.
    harvester_m
        Full cutting width, m, to compute yield where the log has no width, or a machine had not
        written it yet.
    header_ahead_m, header_right_m
        How far the cut is ahead of the antenna and to the right of it, m; by default what task
        data declare. `split_passes` moves the positions there.
    only
        Heading of a column to the one value of it that is wanted, such as `{"Crop": "oats"}`, for
        logs in which several crops, varieties or fields stand together. Of task data the columns
        are `crop`, `variety` and `partfield`.

    Returns
    -------
    DataFrame
        Columns of `trialkit.columns.LOG_COLUMNS` that are known, in that order; then `grain_kg`
        (grain of the record at the standard moisture) where yield was computed; then what the
        machine declares of itself (`latency_s lead_ignore_s lag_ignore_s yield_held`) and where
        its header is (`header_ahead_m header_right_m`); `machine`, from 1, where files overlap in
        time, so that several machines were at work; then `file` and `row`, the place the record
        stands in its file, counted from 1 with the heading included. Plain index. Empty cells are
        NaN. Of task data one row for each yield the machine updated.

    Raises
    ------
    LogError
        If a file cannot be read, a column or a unit is missing, a cell is no number, positions
        are off the globe, or yield is missing or zero throughout.
    UnitError
        If a unit is unknown or measures something else.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> text = "Lat;Lon;Yield (kg/ha)\n-35,1;84,9;3100\n-35,2;84,9;2900\n"
    >>> names = {"latitude": "Lat", "longitude": "Lon", "yield_t_ha": "Yield (kg/ha)"}
    >>> with TemporaryDirectory() as folder:
    ...     file = Path(folder, "log.csv")
    ...     _ = file.write_text(text)
    ...     log = read_log(file, columns=names)
    >>> log["yield_t_ha"].tolist()
    [3.1, 2.9]
    """
    tables = open_export(path)
    if not tables:
        raise LogError("There is no harvest log: no file was given.")
    tables = wanted_records(tables, columns or {}, only or {}, crop)
    frames = [
        in_degrees(_canonical(table, columns, units or {}, crop), table.crs or crs or WGS84)
        for table in tables
    ]
    file = tables[0].file if len(tables) == 1 else f"{tables[0].file} and others"
    _check_alike(frames)
    parts = []
    for group in machines_of(frames):
        ordered = on_the_globe(_in_order(pd.concat(group, ignore_index=True)), file)
        for log in tracks_of(ordered):
            if "swath_m" in tables[0].made and harvester_m is not None:
                log = log.fillna({"swath_m": harvester_m})
            parts.append(_with_yield(log, standard_moisture_pct, harvester_m, file))
    log = joined(parts)
    _check_yield(log, file)
    for name, told in ((AHEAD, header_ahead_m), (RIGHT, header_right_m)):
        if told is not None:
            log[name] = float(told)
    order = (*LOG_COLUMNS, "grain_kg", *MACHINE_COLUMNS, "machine", "file", "row")
    names = [name for name in order if name in log]
    return log[names]


def _canonical(
    table: ExportedTable,
    columns: Mapping[str, str] | None,
    units: Mapping[str, str],
    crop: str | None,
) -> pd.DataFrame:
    """Return one file's columns under our names, in our units."""
    places = _own_names(table) if columns is None else _mapped(table, columns)
    log: dict[str, Any] = {}
    for name in (*LOG_COLUMNS, *MACHINE_COLUMNS):
        if name not in places:
            continue
        place = places[name]
        if name == "time":
            log[name] = read_times(table, place)
            continue
        unit = _unit(table, name, place, units)
        log[name] = _metric(table, name, place, unit, crop)
    log["file"] = pd.Categorical([table.file]).repeat(len(table.rows))
    log["row"] = table.rows
    return pd.DataFrame(log)


def _mapped(table: ExportedTable, columns: Mapping[str, str]) -> dict[str, int]:
    places = {}
    for name, heading in columns.items():
        if name not in LOG_COLUMNS:
            raise LogError(
                f"'{name}' is not a column of a harvest log.{_near(name, LOG_COLUMNS)} "
                f"Known: {', '.join(LOG_COLUMNS)}."
            )
        place = table.find(heading)
        if place is None and table.made >= set(table.headings):
            raise LogError(
                f"{table.file}: this log says itself what its columns are, and has none called "
                f"'{heading}'. Take [harvest.columns] and [harvest.units] out of trial.toml."
            )
        if place is None:
            raise LogError(
                f"{table.file}, row 1: there is no column '{heading}' for {name}."
                f"{_near(heading, table.headings)} The headings are: "
                f"{_listed(table.headings)}. Correct [harvest.columns] in trial.toml."
            )
        places[name] = place
    for number, heading in enumerate(table.headings):
        if heading in table.made:
            places.setdefault(heading, number)
    _check_enough(places, table.file)
    return places


def _own_names(table: ExportedTable) -> dict[str, int]:
    """Return where our own names stand; refuse a file that needs a guess, and show the guess."""
    places = {}
    for name in (*LOG_COLUMNS, *MACHINE_COLUMNS):
        place = table.find(name)
        if place is not None:
            places[name] = place
    guess = match_headings(table.headings)
    if any(table.headings[place] != name for name, place in guess.items()):
        raise LogError(
            f"{table.file}: nobody has said yet which column is which. This is a proposal from "
            "the headings and the values. Check each line, then copy it into trial.toml:\n\n"
            f"{proposal_text(propose_for(table))}"
        )
    _check_enough(places, table.file)
    return places


def _check_enough(places: Mapping[str, int], file: str) -> None:
    for name in ("longitude", "latitude"):
        if name not in places:
            raise LogError(
                f"{file}: there is no column for {name}. Without positions the records cannot be "
                "put into strips. Name it under [harvest.columns] in trial.toml, or use scale "
                "weights (weights.csv)."
            )
    if not {"yield_t_ha", "flow_kg_s", "mass_kg"} & set(places):
        raise LogError(
            f"{file}: there is no column for yield_t_ha, flow_kg_s or mass_kg. One of them is "
            "needed. Name it under [harvest.columns] in trial.toml."
        )


def _near(name: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
    return f" Did you mean '{near[0]}'?" if near else ""


def _listed(headings: Sequence[str]) -> str:
    shown = ", ".join(f"'{heading[:40]}'" for heading in headings[:25])
    return shown + (f" and {len(headings) - 25} more" if len(headings) > 25 else "")


def _unit(table: ExportedTable, name: str, place: int, units: Mapping[str, str]) -> str:
    """Return the unit a column is in: as told, as its heading says, or as all logs have it."""
    told = units.get(name, "").strip()
    if told:
        return told
    heading = table.headings[place]
    if heading == name:
        return COLUMNS[name].unit
    unit = take_apart(heading).unit or USUAL_UNITS.get(name, "")
    if unit:
        return unit
    raise LogError(
        f"{table.file}, column '{heading}': the unit is missing, and a wrong guess would be a "
        f'wrong yield. Write under [harvest.units] in trial.toml: {name} = "..." '
        f"(for example {_example_units(name)})."
    )


def _example_units(name: str) -> str:
    examples = {
        "speed_m_s": '"m/s", "km/h" or "mph"',
        "swath_m": '"m", "ft" or "in"',
        "flow_kg_s": '"kg/s", "lb/s" or "t/h"',
        "yield_t_ha": '"t/ha", "kg/ha" or "bu/ac"',
        "mass_kg": '"kg" or "lb"',
    }
    return examples.get(name, '"m" or "ft"')


def _metric(
    table: ExportedTable, name: str, place: int, unit: str, crop: str | None
) -> NDArray[np.float64]:
    values = table.numbers(place)
    if name in ("longitude", "latitude") and unit in ("degree", "deg", "°", "m"):
        return values  # metres where another coordinate system is named; checked on the globe
    try:
        return convert(values, unit, COLUMNS[name].unit, crop=crop)
    except UnitError as error:
        raise UnitError(
            f"{table.file}, column '{table.headings[place]}' ({name}): {error}"
        ) from error


def _check_alike(frames: list[pd.DataFrame]) -> None:
    """Refuse files that do not have the same columns."""
    have = [set(frame) - {"file", "row"} for frame in frames]
    for frame, names in zip(frames, have, strict=True):
        if names != have[0]:
            odd = ", ".join(sorted(str(name) for name in names ^ have[0]))
            raise LogError(
                f"{frame['file'].iloc[0]}: this file and {frames[0]['file'].iloc[0]} do not have "
                f"the same columns ({odd}). Export all files of a harvest in the same way."
            )


def _in_order(log: pd.DataFrame) -> pd.DataFrame:
    """Return the log in the order of time, where some records stand out of it."""
    if "time" not in log or not (log["time"].diff() < pd.Timedelta(0)).any():
        return log
    place = int((log["time"].diff() < pd.Timedelta(0)).to_numpy().argmax())
    warnings.warn(
        say(
            "{file}, row {row}: the time falls back. The records were put in the order of time. If "
            "two machines wrote into one file, export them apart.",
            file=str(log["file"].iloc[place]),
            row=str(log["row"].iloc[place]),
        ),
        LogWarning,
        stacklevel=3,
    )
    return log.sort_values("time", kind="stable", ignore_index=True)


def _with_yield(
    log: pd.DataFrame, standard_pct: float | None, full_m: float | None, file: str
) -> pd.DataFrame:
    """Return the log with a yield: recorded, or grain over ground at the standard moisture."""
    if "yield_t_ha" in log:
        return log
    grain = _grain_kg(log, file)
    if "moisture_pct" not in log:
        warnings.warn(
            say(
                "{file}: there is no column for moisture_pct, so the yield stays as harvested. "
                "Strips cut at different moistures are then not comparable.",
                file=file,
            ),
            LogWarning,
            stacklevel=3,
        )
    elif standard_pct is None:
        raise LogError(
            f"{file}: yield is computed from grain as harvested, and nobody has said which "
            "moisture to bring it to. Write under [harvest] in trial.toml: "
            "standard_moisture_pct = ... (the moisture your grain is sold at)."
        )
    else:
        grain = at_standard_moisture(grain, log["moisture_pct"].to_numpy(), standard_pct)
    travel, swath = travel_m(log), swath_m(log, full_m)
    if swath is None:
        raise LogError(
            f"{file}: there is no column for swath_m, so nobody knows the ground that was cut. "
            "Name it under [harvest.columns], or give machines.harvester_m in trial.toml."
        )
    return log.assign(grain_kg=grain, yield_t_ha=spread(grain, travel, swath))


def _grain_kg(log: pd.DataFrame, file: str) -> NDArray[np.float64]:
    """Return the grain of each record as harvested, kg."""
    if "mass_kg" in log:
        return log["mass_kg"].to_numpy(dtype=np.float64)
    interval = interval_s(log)
    if interval is None:
        raise LogError(
            f"{file}: there is a grain flow, and neither a column for interval_s nor for time, so "
            "nobody knows how long each record lasts. Name one under [harvest.columns]."
        )
    return np.asarray(log["flow_kg_s"].to_numpy(dtype=np.float64) * interval)


def spread(
    grain_kg: NDArray[np.float64], travel_m: NDArray[np.float64], swath_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return grain over ground, t/ha; NaN where the machine stood or cut nothing."""
    cut = (travel_m >= _LEAST_SPREAD_M) & (swath_m >= _LEAST_SPREAD_M)
    safe = np.where(cut, travel_m, 1.0), np.where(cut, swath_m, 1.0)
    return np.where(cut, yield_from_mass(grain_kg, *safe), np.nan)


def _check_yield(log: pd.DataFrame, file: str) -> None:
    values = log["yield_t_ha"].to_numpy(dtype=np.float64)
    if np.isnan(values).all():
        raise LogError(
            f"{file}: not one record has a yield. A column it is made from is empty, or zero "
            "throughout (speed, distance or width). Check [harvest.columns] in trial.toml."
        )
    if not (np.nan_to_num(values) != 0).any():
        raise LogError(
            f"{file}: every yield is zero, so the grain sensor was off or the wrong column is "
            "named under [harvest.columns]. Use scale weights (weights.csv) if the sensor failed."
        )
