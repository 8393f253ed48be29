"""Harvest logs of ISO 11783-10 task data: one row for each yield the machine updated.

A machine writes a channel when it changes. So every channel is carried forward from where it was
last written, inside one log, and a row is taken only where a yield was written: counted by
records, a machine that writes eight times a second would stand for eight times its grain.

Numbers of channels (DDI), their units and counts: the data dictionary of ISO 11783-11.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import replace
from pathlib import PurePosixPath

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError, LogWarning, UnitError
from trialkit.harvest.ground import step_m
from trialkit.harvest.readers.geometry import header_place
from trialkit.harvest.readers.machine_log import MachineLog
from trialkit.harvest.readers.table import ExportedTable
from trialkit.harvest.readers.task_set import Channel, TaskSet, read_header, read_task_set
from trialkit.harvest.readers.time_log import TimeLog, decode
from trialkit.incoming.file_set import FileSet
from trialkit.language import marked, say, say_counted
from trialkit.units import convert

Floats = NDArray[np.float64]

#: Yield as the machine may write it: wet grain by area and by time, dry grain likewise.
_WET_AREA, _WET_TIME, _DRY_AREA, _DRY_TIME = 84, 87, 181, 182
_YIELDS = (_WET_TIME, _WET_AREA, _DRY_TIME, _DRY_AREA)
_TOTAL, _MOISTURE, _REFERENCE_MOISTURE, _SPEED = 90, 99, 184, 397
_WIDTH, _WIDTH_USUAL, _WIDTH_MOST, _WORK = 67, 68, 70, 141
_LATENCY, _HOLD, _LAG_IGNORE, _LEAD_IGNORE = 143, 239, 259, 260
_WANTED = {
    *_YIELDS, _TOTAL, _MOISTURE, _REFERENCE_MOISTURE, _SPEED, _WIDTH, _WORK, _LATENCY, _HOLD,
    _LAG_IGNORE, _LEAD_IGNORE,
}  # fmt: skip
#: Unit of a count of the channels whose display is compared, and what a message calls them.
_UNITS = {
    _WIDTH: ("mm", marked("working width")),
    _WET_TIME: ("mg/s", marked("grain flow")),
    _WET_AREA: ("mg/m**2", marked("yield")),
}
#: What is lost of a damaged log, by whether bytes make no record and whether the last one is cut.
_DAMAGES = {
    (True, False): marked("{file} is damaged: {skipped:,} bytes inside it make no record."),
    (False, True): marked("{file} is damaged: its last record is cut ({cut} bytes)."),
    (True, True): marked(
        "{file} is damaged: {skipped:,} bytes inside it make no record and its last record is cut "
        "({cut} bytes)."
    ),
}
#: Channels and properties that belong to a header.
_OF_HEADER = (_WIDTH, _WORK, 161, _WIDTH_USUAL, _WIDTH_MOST)
#: Work state of a machine that is out of work, and state of a yield that is held.
_OFF, _HELD = 0, 1
#: Share by which the grain flow may miss the machine's own total before it is said, and the
#: least total worth comparing, kg.
_TOTAL_MISSED, _LEAST_TOTAL_KG = 0.05, 1000.0
#: The same for the display of a channel.
_DISPLAY_MISSED = 0.01


def open_task_data(files: FileSet) -> list[ExportedTable]:
    """Read the harvest logs of a task-data set.

    Parameters
    ----------
    files
        The set.

    Returns
    -------
    list of ExportedTable
        One a log with yields, under our own names and in our units; `rows` count the records of
        the binary from 1. All have the same columns.

    Raises
    ------
    LogError
        If the set cannot be read, or no log has a yield.

    Warns
    -----
    LogWarning
        If logs are missing or damaged, if the flow misses the machine's own total, or its
        display says otherwise than its log.
    """
    tasks = read_task_set(files)
    logs, faults = _read_logs(files, tasks)
    with_yield = [log for log in logs if log.updated(_YIELDS).any()]
    if not with_yield:
        raise LogError(_no_yield(files, tasks, logs, faults))
    for fault in faults:
        warnings.warn(f"{files.name}: {fault}", LogWarning, stacklevel=7)
    for log in with_yield:
        _compare_total(log)
    _compare_displays(with_yield)
    frames = [_columns(log) for log in with_yield]
    names = list(dict.fromkeys(str(name) for frame in frames for name in frame))
    return [
        ExportedTable(
            log.file,
            tuple(names),
            frame.reindex(columns=names).set_axis(range(len(names)), axis=1),
            np.flatnonzero(log.updated(_YIELDS)).astype(np.int64) + 1,
            made=frozenset(names),
        )
        for log, frame in zip(with_yield, frames, strict=True)
    ]


def _read_logs(files: FileSet, tasks: TaskSet) -> tuple[list[MachineLog], list[str]]:
    """Read every log there is; say what is missing or damaged."""
    logs: list[MachineLog] = []
    faults: list[str] = []
    missing = []
    for task, about in zip(tasks.logs, tasks.about, strict=True):
        read = []
        for name in task:
            paths = [files.named(f"{name}.{end}", beside=tasks.home) for end in ("xml", "bin")]
            if paths[0] is None or paths[1] is None:
                missing.append(name)
                continue
            try:
                header = read_header(files.read(paths[0]), PurePosixPath(paths[0]).name)
                wanted = {n for n, c in enumerate(header.channels) if c.ddi in _WANTED}
                records = decode(files.read(paths[1]), header.layout, wanted)
            except LogError as error:
                faults.append(str(error))
                continue
            file = PurePosixPath(paths[1]).name
            if records.skipped_bytes or records.cut_bytes:
                faults.append(_damage(file, records))
            if len(records):
                read.append((file, records, header.channels))
        logs += [replace(log, about=about) for log in _beside(read, tasks)]
    if missing:
        shown = ", ".join(missing[:8])
        faults.insert(
            0,
            say_counted(
                "Not there, though the tasks name them: {count} log ({names}). If they belong to "
                "this field, copy the whole set from the terminal.",
                "Not there, though the tasks name them: {count} logs ({names}). If they belong to "
                "this field, copy the whole set from the terminal.",
                len(missing),
                names=say("{names} and others", names=shown) if len(missing) > 8 else shown,
            ),
        )
    return logs, faults


def _damage(file: str, records: TimeLog) -> str:
    lost = _DAMAGES[records.skipped_bytes > 0, records.cut_bytes > 0]
    rest = say(
        "{records:,} records were read. Copy it from the terminal again if you can.",
        records=len(records),
    )
    damage = say(lost, file=file, skipped=records.skipped_bytes, cut=records.cut_bytes)
    return f"{damage} {rest}"


def _beside(
    read: Sequence[tuple[str, TimeLog, tuple[Channel, ...]]], tasks: TaskSet
) -> list[MachineLog]:
    """Put logs of one task together that hold the same records: a log has 255 channels at most."""
    logs: list[MachineLog] = []
    for file, records, channels in read:
        known = logs[-1] if logs else None
        if known is not None and np.array_equal(known.records.time, records.time):
            sources = (*known.sources, (records, channels))
            logs[-1] = MachineLog(known.file, known.records, sources, tasks.parts, tasks.joints)
        else:
            sources = ((records, channels),)
            logs.append(MachineLog(file, records, sources, tasks.parts, tasks.joints))
    return logs


def _no_yield(files: FileSet, tasks: TaskSet, logs: list[MachineLog], faults: list[str]) -> str:
    if not tasks.logs:
        return (
            f"{files.name}: the task data name no time log. They may be a plan for a machine and "
            "not what a machine wrote. Export the harvest from the terminal."
        )
    why = f" {faults[0]}" if faults else ""
    ddis = sorted({c.ddi for log in logs for _, channels in log.sources for c in channels})
    held = f" Channels found (DDI): {', '.join(map(str, ddis[:30]))}." if ddis else ""
    return (
        f"{files.name}: no time log holds a yield (mass by area or by time), so this is not a "
        f"harvest, or the yield monitor was off.{held}{why}"
    )


def _columns(log: MachineLog) -> pd.DataFrame:
    """Return the columns of a log under our names, one row a yield update."""
    rows = log.updated(_YIELDS)
    records = log.records
    columns: dict[str, object] = {
        "time": records.time[rows],
        "longitude": records.longitude[rows],
        "latitude": records.latitude[rows],
    }
    if np.isfinite(records.elevation_m).any() and (np.nan_to_num(records.elevation_m) != 0).any():
        columns["elevation_m"] = records.elevation_m[rows]
    speed = log.values(_SPEED)
    if speed is not None:
        columns["speed_m_s"] = speed[rows] / 1000.0
    width, work = _width(log), log.values(_WORK)
    if width is not None:
        columns["swath_m"] = (width if work is None else np.where(work == _OFF, 0.0, width))[rows]
    columns |= {name: values[rows] for name, values in _grain(log, width).items()}
    for name, ddi, sign in (
        ("latency_s", _LATENCY, -1),
        ("lead_ignore_s", _LEAD_IGNORE, 1),
        ("lag_ignore_s", _LAG_IGNORE, 1),
    ):
        told = log.values(ddi)
        known = told if told is not None else _constant(log, ddi)
        if known is not None:
            columns[name] = sign * known[rows] / 1000.0
    held = log.values(_HOLD)
    if held is not None and (held == _HELD).any():  # 3 says that the machine cannot tell
        columns["yield_held"] = np.asarray(held == _HELD, dtype=np.float64)[rows]
    place = header_place(log.parts, log.joints, _headers(log))
    if place is not None:
        columns |= {"header_ahead_m": place.ahead_m, "header_right_m": place.right_m}
    columns |= {name: pd.Categorical([told]).repeat(rows.sum()) for name, told in log.about.items()}
    return pd.DataFrame(columns)


def _headers(log: MachineLog) -> list[str]:
    """Return the parts that may be the header: what writes, or has, a width or a work state."""
    writing = [channel.element for ddi in _OF_HEADER for _, _, channel in log.find(ddi)]
    having = [n for n, part in log.parts.items() if set(_OF_HEADER) & part.constants.keys()]
    return list(dict.fromkeys([*writing, *having]))


def _constant(log: MachineLog, ddi: int) -> Floats | None:
    value = log.property(ddi)
    return None if value is None else np.full(len(log.records), value)


def _width(log: MachineLog) -> Floats | None:
    """Return the width in work, m: logged, else the machine's own."""
    width = log.values(_WIDTH)
    own = [log.property(ddi) for ddi in (_WIDTH, _WIDTH_USUAL, _WIDTH_MOST)]
    full = next((value for value in own if value), None)
    if width is None and full is None:
        return None
    if width is None:
        width = np.full(len(log.records), np.nan)
    return np.where(np.isnan(width), np.nan if full is None else full, width) / 1000.0


def _grain(log: MachineLog, width: Floats | None) -> dict[str, Floats]:
    """Return flow and moisture, or the yield where no flow and no width is known."""
    moisture = log.values(_MOISTURE)
    wet = {} if moisture is None else {"moisture_pct": moisture / 1e4}
    flow = log.values(_WET_TIME)
    if flow is not None:
        return {"flow_kg_s": flow / 1e6, **wet}
    by_area = log.values(_WET_AREA)
    if by_area is not None:
        return {"flow_kg_s": _flow(log, by_area, width), **wet} if width is not None else {
            "yield_t_ha": by_area * 1e-5, **wet
        }  # fmt: skip
    return _dry_grain(log, width)


def _dry_grain(log: MachineLog, width: Floats | None) -> dict[str, Floats]:
    """Return dry grain: at the reference moisture, which then stands for the grain's."""
    reference = log.values(_REFERENCE_MOISTURE)
    if reference is None:
        reference = _constant(log, _REFERENCE_MOISTURE)
    if reference is None:
        warnings.warn(
            say(
                "{file}: the machine wrote dry grain and not at which moisture. It was taken as "
                "the moisture your grain is sold at; check the setting on the monitor.",
                file=log.file,
            ),
            LogWarning,
            stacklevel=8,
        )
    at = {} if reference is None else {"moisture_pct": reference / 1e4}
    flow = log.values(_DRY_TIME)
    if flow is not None:
        return {"flow_kg_s": flow / 1e6, **at}
    by_area = log.values(_DRY_AREA)
    assert by_area is not None  # noqa: S101  one of the four yields is there
    if width is None:
        return {"yield_t_ha": by_area * 1e-5}
    return {"flow_kg_s": _flow(log, by_area, width), **at}


def _flow(log: MachineLog, by_area: Floats, width: Floats) -> Floats:
    """Return the flow, kg/s, that a yield by area (mg/m²), a width and a speed come from."""
    speed = log.values(_SPEED)
    speed_m_s = _speed_m_s(log) if speed is None else speed / 1000.0
    return np.asarray(by_area * width * speed_m_s / 1e6)


def _speed_m_s(log: MachineLog) -> Floats:
    """Return the speed from one yield update to the next, by position; NaN at other records."""
    rows = np.flatnonzero(log.updated(_YIELDS))
    places = {"latitude": log.records.latitude[rows], "longitude": log.records.longitude[rows]}
    step = step_m(pd.DataFrame(places))[1:]
    seconds = np.diff(log.records.time[rows]) / np.timedelta64(1, "s")
    speed = np.full(len(log.records), np.nan)
    speed[rows[1:]] = np.where(seconds > 0, step / np.where(seconds > 0, seconds, 1.0), np.nan)
    return speed


def _compare_total(log: MachineLog) -> None:
    """Say where the flow, added up over time, misses the total the machine counted."""
    total, flow = log.values(_TOTAL), log.values(_WET_TIME)
    if total is None or flow is None:
        return
    seconds = np.diff(log.records.time) / np.timedelta64(1, "s")
    own = float(np.nansum(flow[1:] / 1e6 * np.clip(seconds, 0.0, 60.0)))
    counted = total[np.isfinite(total)]
    machine = float(counted[-1] - counted[0])
    if machine > _LEAST_TOTAL_KG and abs(own / machine - 1) > _TOTAL_MISSED:
        warnings.warn(
            say(
                "{file}: the grain flow adds up to {own:,.1f} t, the machine's own total to "
                "{machine:,.1f} t. Part of the log may be missing.",
                file=log.file,
                own=own / 1000,
                machine=machine / 1000,
            ),
            LogWarning,
            stacklevel=7,
        )


def _compare_displays(logs: list[MachineLog]) -> None:
    """Say where a machine shows a channel otherwise than its log has it by the standard."""
    said = set()
    for log, (ddi, (unit, words)) in ((log, item) for log in logs for item in _UNITS.items()):
        values = log.values(ddi)
        shown = next((p.displays[ddi] for p in log.parts.values() if ddi in p.displays), None)
        if values is None or shown is None or ddi in said:
            continue
        typical = float(np.nanmax(values))
        try:
            by_display = convert((typical + shown.offset) * shown.scale, shown.unit, unit)
        except UnitError:
            continue
        if typical > 0 and abs(by_display / typical - 1) > _DISPLAY_MISSED:
            said.add(ddi)
            warnings.warn(
                say(
                    "{file}: the machine's display shows the {channel} {times:.3g} times as large "
                    "as its log holds it by the standard. The log was taken. Compare it with what "
                    "you know.",
                    file=log.file,
                    channel=say(words),
                    times=by_display / typical,
                ),
                LogWarning,
                stacklevel=7,
            )
