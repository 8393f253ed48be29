"""A copy of a trial folder rewritten to be shared: positions shifted, names taken out.

Logs keep the columns that trialkit reads and no others, because what else a machine writes may
name the farm or the place.
"""

from __future__ import annotations

import csv
import io
import json
import tomllib
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from trialkit.columns import LOG_COLUMNS, MACHINE_COLUMNS
from trialkit.errors import BundleError
from trialkit.trial.config import FILE, RECORD_COLUMNS, TrialConfig
from trialkit.trial.drawings import BOUNDARY_FILE, LAYOUT_FILE
from trialkit.trial.folder import HARVEST_FOLDER
from trialkit.trial.past_yields import PAST_YIELDS_FOLDER
from trialkit.trial.planning import EXCLUSIONS_FILE
from trialkit.trial.scouting_files import TEMPERATURES_FOLDER
from trialkit.trial.seeder_record import RECORD_FOLDER
from trialkit.trial.shifted import Shift
from trialkit.trial.sowing_notes import SOWN_DRAWING, SOWN_FORM
from trialkit.trial.tables import FORMS
from trialkit.trial.writing import write_whole

#: What stands in place of the trial's name.
NO_NAME = "Strip trial"

#: Free text in the tables of a trial.
_FREE_TEXT = ("note",)

#: Properties of a drawing that trialkit reads.
_DRAWN = ("strip", "block", "treatment", "role")

#: Members of a drawing that trialkit reads.
_MEMBERS = ("type", "features", "geometry", "properties", "coordinates", "geometries", "design")

_TEXT_ENDINGS = (".csv", ".txt", ".tsv")
_DRAWING_ENDINGS = (".geojson", ".json")
_POSITION = ("longitude", "latitude")
_DEGREES = ("EPSG:4326", "WGS84", "OGC:CRS84")

#: What the files of a folder are called without their names.
_CALLED = {HARVEST_FOLDER: "log", PAST_YIELDS_FOLDER: "past", RECORD_FOLDER: "record"}


@dataclass(frozen=True, slots=True)
class Rewriting:
    """What is done to every file of a folder.

    Parameters
    ----------
    folder
        The trial folder, which stays as it is.
    target
        Folder that the rewritten files go into.
    config
        What `trial.toml` says.
    shift
        How positions are moved; None to leave them.
    without_names
        Whether names of trial, paddock and files go, and free text.
    """

    folder: Path
    target: Path
    config: TrialConfig
    shift: Shift | None
    without_names: bool


def rewrite(job: Rewriting, files: Sequence[Path]) -> None:
    """Write every file of a trial folder anew.

    Parameters
    ----------
    job
        The folder, where the files go, and what is done to them.
    files
        Which files of the folder.

    Raises
    ------
    BundleError
        If a file is of a format that cannot be rewritten, or a position is far from the field.
    """
    if job.without_names and job.config.harvest.only:
        raise BundleError(
            f"{FILE}, [harvest] only: it picks records by what the machine wrote, which may be a "
            "name. Put those records into a file of their own, or bundle with names."
        )
    loggers = _logger_names(job)
    called = _file_names(job, files, loggers)
    for path in sorted(files):
        inside = path.relative_to(job.folder).as_posix()
        write = _way(job, path, loggers)
        write(path, job.target / called.get(inside, inside))
    _rewrite_config(job, loggers)


def _way(job: Rewriting, path: Path, loggers: dict[str, str]) -> Callable[[Path, Path], None]:
    """Return how a file is rewritten: a function of the file and where it goes."""
    inside = path.relative_to(job.folder)
    home = inside.parts[0] if len(inside.parts) == 2 else ""
    tables = (*(form.file for form in FORMS.values()), SOWN_FORM.file)
    drawings = (BOUNDARY_FILE, LAYOUT_FILE, EXCLUSIONS_FILE, SOWN_DRAWING)
    if inside.as_posix() == FILE:
        return lambda _path, _target: None  # last, by _rewrite_config
    if inside.as_posix() in drawings:
        return lambda path, target: _rewrite_drawing(path, target, job, _DRAWN)
    if inside.as_posix() in tables:
        return lambda path, target: _rewrite_table(path, target, job)
    if home == TEMPERATURES_FOLDER:
        return lambda path, target: _rewrite_logger(path, target, job, loggers)
    ending = path.suffix.lower()
    if home in _CALLED and ending in _TEXT_ENDINGS:
        return lambda path, target: _rewrite_log(path, target, job)
    if home in _CALLED and ending in _DRAWING_ENDINGS:
        columns = _columns(job, home).values()
        return lambda path, target: _rewrite_drawing(path, target, job, columns)
    raise BundleError(
        f"{inside.as_posix()}: this format cannot be rewritten, so it would still say where the "
        f"field is, and whose. Export it as delimited text with longitude and latitude, straight "
        f"into {inside.parts[0]}/ of a copy of the folder, or bundle without --shift and "
        "--without-names."
    )


def _file_names(
    job: Rewriting, files: Sequence[Path], loggers: Mapping[str, str]
) -> dict[str, str]:
    """Return the new path of each file whose name is taken out, by its old one."""
    if not job.without_names:
        return {}
    names = {}
    for home, called in _CALLED.items():
        own = sorted(path for path in files if path.parent == job.folder / home)
        for at, path in enumerate(own, 1):
            names[f"{home}/{path.name}"] = f"{home}/{called}-{at:02}{path.suffix.lower()}"
    for path in files:
        if path.parent == job.folder / TEMPERATURES_FOLDER:
            new = f"{loggers[path.stem]}{path.suffix.lower()}"
            names[f"{TEMPERATURES_FOLDER}/{path.name}"] = f"{TEMPERATURES_FOLDER}/{new}"
    return names


def _columns(job: Rewriting, home: str) -> Mapping[str, str]:
    """Return the headings of a folder's files by our names for them."""
    if home == RECORD_FOLDER:
        return {name: name for name in RECORD_COLUMNS} | job.config.as_sown.columns
    harvest = job.config.harvest
    own = {name: name for name in (*LOG_COLUMNS, *MACHINE_COLUMNS)}
    only = {f"only {heading}": heading for heading in harvest.only}
    return own | harvest.columns | only


def _rewrite_log(path: Path, target: Path, job: Rewriting) -> None:
    """Keep the columns that are read, as comma-separated text, positions shifted."""
    from trialkit.harvest.readers.delimited import open_delimited

    home = path.parent.name
    where = f"{home}/{path.name}"
    crs = job.config.as_sown.crs if home == RECORD_FOLDER else job.config.harvest.crs
    if job.shift is not None and crs.upper().replace(" ", "") not in _DEGREES:
        raise BundleError(
            f"{where}: its positions are in {crs}, and only longitude and latitude can be shifted. "
            "Export it in degrees (WGS 84), or bundle without --shift."
        )
    table = open_delimited(path)
    found = {name: table.find(heading) for name, heading in _columns(job, home).items()}
    if home == PAST_YIELDS_FOLDER and None in (found["longitude"], found["latitude"]):
        found = {name: table.find(name) for name in LOG_COLUMNS}  # under our own names
    places = {name: at for name, at in found.items() if at is not None}
    numeric = {*LOG_COLUMNS, *MACHINE_COLUMNS} - {"time"}
    cells = {
        name: table.numbers(at) if name in numeric else table.text(at).to_numpy(dtype=object)
        for name, at in places.items()
    }
    if job.shift is not None:
        if not set(_POSITION) <= set(cells):
            raise BundleError(
                f"{where}: there is no column of longitude and latitude to shift. Name them in "
                f"{FILE}, or bundle without --shift."
            )
        longitude, latitude = (cells[name] for name in _POSITION)
        cells["longitude"], cells["latitude"] = job.shift.moved(longitude, latitude, where)
    headings = [table.headings[at] for at in places.values()]
    records = zip(*([_cell(value) for value in column] for column in cells.values()), strict=True)
    _write_rows(target, [headings, *records], ",")


def _cell(value: object) -> str:
    """Return a value as it is read back again."""
    if value is None or value != value:  # the second is what is not a number
        return ""
    if isinstance(value, float | np.floating):
        return repr(float(value)).removesuffix(".0")
    return str(value)


def _write_rows(path: Path, rows: Iterable[Iterable[str]], delimiter: str) -> None:
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter, lineterminator="\n").writerows(rows)
    write_whole(path, text.getvalue())


def _rewrite_table(path: Path, target: Path, job: Rewriting) -> None:
    """Shift positions of a table of the trial, and take its free text out."""
    text = path.read_text(encoding="utf-8-sig")
    header = text.split("\n", 1)[0]
    delimiter = ";" if header.count(";") > header.count(",") else ","
    rows = [row for row in csv.reader(io.StringIO(text), delimiter=delimiter) if any(row)]
    headings = [heading.strip() for heading in rows[0]] if rows else []
    if job.shift is not None and set(_POSITION) <= set(headings):
        at = [headings.index(name) for name in _POSITION]
        degrees = np.array(
            [[_degrees(row[place], delimiter) for place in at] for row in rows[1:]]
        ).reshape(-1, 2)
        moved = job.shift.moved(degrees[:, 0], degrees[:, 1], path.name)
        for row, *position in zip(rows[1:], *moved, strict=True):
            for place, value in zip(at, position, strict=True):
                row[place] = _cell(value)
    gone = _FREE_TEXT if job.without_names else ()
    kept = [place for place, heading in enumerate(headings) if heading not in gone]
    _write_rows(target, ([row[place] for place in kept] for row in rows), delimiter)


def _degrees(cell: str, delimiter: str) -> float:
    text = cell.strip().replace(",", ".") if delimiter == ";" else cell.strip()
    return float(text) if text else float("nan")


def _rewrite_drawing(path: Path, target: Path, job: Rewriting, properties: Iterable[str]) -> None:
    """Shift a drawing; keep of its properties those that are read."""
    where = path.relative_to(job.folder).as_posix()
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise BundleError(f"{where}: this is not valid GeoJSON. Export it again.") from error
    if not isinstance(content, dict):
        raise BundleError(f"{where}: this is not GeoJSON. Export it again.")
    if job.shift is not None:
        if content.get("crs") and "CRS84" not in json.dumps(content["crs"]):
            raise BundleError(
                f"{where}: it names a coordinate system of its own. Export it as GeoJSON in "
                "longitude and latitude, or bundle without --shift."
            )
        content = job.shift.moved_drawing(content, where)
    content = _known_members(content, set(properties))
    if isinstance(content.get("design"), dict):
        content["design"] = _design(content["design"], job.shift, where)
    write_whole(target, json.dumps(content, ensure_ascii=False) + "\n")


def _known_members(content: Mapping[str, Any], properties: Collection[str]) -> dict[str, Any]:
    """Return GeoJSON with the members that are read, and no name or remark beside them."""
    kept = {name: value for name, value in content.items() if name in _MEMBERS}
    if isinstance(own := kept.get("properties"), dict):
        kept["properties"] = {name: own[name] for name in own if name in properties}
    if isinstance(features := kept.get("features"), list):
        whole = [feature for feature in features if isinstance(feature, dict)]
        kept["features"] = [_known_members(feature, properties) for feature in whole]
    return kept


def _design(design: Mapping[str, Any], shift: Shift | None, where: str) -> dict[str, Any]:
    """Return how a layout came about, its positions shifted and its remarks left out."""
    kept = dict(design) | ({"notes": []} if "notes" in design else {})
    if shift is None:
        return kept
    if "grid_middle" in kept:
        kept["grid_middle"] = shift.moved_places(kept["grid_middle"], where)
    sprayer = kept.get("machines", {}).get("sprayer")
    if sprayer:
        moved = {"tramlines": shift.moved_places(sprayer["tramlines"], where)}
        kept["machines"] = kept["machines"] | {"sprayer": sprayer | moved}
    return kept


def _logger_names(job: Rewriting) -> dict[str, str]:
    """Return what each logger is called; by its own name where names stay."""
    how = job.config.scouting.temperatures
    files = sorted((job.folder / TEMPERATURES_FOLDER).glob("*"))
    named = {path.stem: None for path in files} | dict.fromkeys(how.places if how else ())
    names = {name: name for name in named}
    if job.without_names:
        names = {name: f"logger-{at:02}" for at, name in enumerate(named, 1)}
    return names


def _rewrite_logger(path: Path, target: Path, job: Rewriting, loggers: dict[str, str]) -> None:
    """Keep the columns that are read of a temperature logger, without what stands above them."""
    from trialkit.scouting.logger_files import OWN_NAMES, open_loggers, plain

    how = job.config.scouting.temperatures
    columns = {name: tuple(given) for name, given in how.columns.items()} if how else {}
    wanted = [heading for headings in columns.values() for heading in headings]
    (table,) = open_loggers(path, wanted)
    read = {plain(heading) for heading in (wanted or OWN_NAMES)}
    naming = {plain(heading) for heading in (columns.get("logger", ()) if wanted else ["logger"])}
    kept = [at for at, heading in enumerate(table.headings) if plain(heading) in read]
    headings = [table.headings[at] for at in kept]
    marked = [plain(heading) in naming for heading in headings]
    rows = (
        [
            _called(cells[at], loggers, job.without_names) if is_name else cells[at]
            for at, is_name in zip(kept, marked, strict=True)
        ]
        for cells in table.cells
    )
    _write_rows(target, [headings, *rows], ";")


def _called(name: str, loggers: dict[str, str], without_names: bool) -> str:
    """Return what a logger is called, and remember it where it is a new one."""
    new = f"logger-{len(loggers) + 1:02}" if without_names else name
    return loggers.setdefault(name, new)


def _rewrite_config(job: Rewriting, loggers: dict[str, str]) -> None:
    """Write `trial.toml` anew, without its comments: they may hold anything."""
    import tomli_w

    content = tomllib.loads((job.folder / FILE).read_text(encoding="utf-8"))
    if job.without_names:
        content["trial"]["name"] = NO_NAME
        for key in ("paddock", "question"):
            content["trial"].pop(key, None)
        for treatment in content["treatments"]:
            treatment.pop("description", None)
        for at, grade in enumerate(content["money"].get("grades", []), 1):
            grade["name"] = f"grade {at}"  # a buyer's own word may say who bought
    design = content.get("design", {})
    temperatures = content.get("scouting", {}).get("temperatures", {})
    places = temperatures.get("places", {})
    if job.shift is not None:
        for key in ("anchor", "guidance_point"):
            if key in design:
                design[key] = job.shift.moved_places(design[key], FILE)
        for place in places.values():
            if set(_POSITION) <= set(place):
                degrees = [place[name] for name in _POSITION]
                moved = job.shift.moved_places(degrees, FILE)
                place.update(zip(_POSITION, moved, strict=True))
    if places:
        temperatures["places"] = {loggers[name]: place for name, place in places.items()}
    write_whole(job.target / FILE, tomli_w.dumps(content))
