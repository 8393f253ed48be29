"""What was scouted in a trial: the loggers' files, and every table ready for the station."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.checks import Check, Outcome, faults
from trialkit.errors import ScoutingError, TrialkitError, TrialkitWarning, noted
from trialkit.language import marked, say, say_counted
from trialkit.trial.config_faults import FILE, suggestion
from trialkit.trial.config_scouting import Scouting
from trialkit.trial.scouting_checks import odd_scores

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.trial.folder import Trial

#: Folder of the temperature loggers' files, and the endings read from it.
TEMPERATURES_FOLDER = "temperatures"
_ENDINGS = (".csv", ".txt", ".tsv", ".dat", ".tab")
_TABLE = "[scouting.temperatures]"


def logger_files(folder: Path) -> list[Path]:
    """Return the loggers' files of a trial folder, in order of their names.

    Parameters
    ----------
    folder
        The trial folder.
    """
    inside = folder / TEMPERATURES_FOLDER
    if not inside.is_dir():
        return []
    return sorted(
        path
        for path in inside.iterdir()
        if path.is_file() and path.suffix.lower() in _ENDINGS and not path.name.startswith(".")
    )


def read_loggers(files: list[Path], settings: Scouting) -> DataFrame:
    """Read loggers' files as `trial.toml` says.

    Parameters
    ----------
    files
        The files.
    settings
        What `trial.toml` says under `[scouting]`.

    Returns
    -------
    DataFrame
        As `trialkit.scouting.read_temperatures` gives it.

    Raises
    ------
    ScoutingError
        If there is no file, or one cannot be read.
    """
    from trialkit.scouting import read_temperatures

    if not files:
        raise ScoutingError(
            say(
                "{folder}: there is no logger file ({endings}). Copy the loggers' exports into it.",
                folder=TEMPERATURES_FOLDER + "/", endings=", ".join(_ENDINGS),
            )
        )  # fmt: skip
    how = settings.temperatures
    if how is None:
        return read_temperatures(files)
    return read_temperatures(
        files,
        columns=how.columns or None,
        unit=how.unit,
        zone=how.zone,
        day_first=how.day_first,
        missing=how.missing,
    )


def check_scouting(trial: Trial) -> list[Check]:
    """Read the loggers' files and say whether that works; and what of the scores is odd.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    list of Check
        Every fault at once, and what was noticed.
    """
    settings = trial.config.scouting
    checks = [*odd_scores(trial.scores, settings), *_places_in(trial)]
    files = logger_files(trial.path)
    if not files:
        if settings.temperatures is not None:
            found = say("trial.toml has {table}, and there is no logger file yet.", table=_TABLE)
            wanted = say("Copy the loggers' exports into it.")
            checks.append(Check(TEMPERATURES_FOLDER + "/", "", found, wanted, "warning"))
        return checks
    if settings.temperatures is None:
        found = say(
            "trial.toml does not say where the loggers hang: there is no {table}.", table=_TABLE
        )
        wanted = say('Add it, with sensor = "canopy" or "screen".')
        checks.append(Check(FILE, "", found, wanted, "warning"))
    alone = [check for file in files for check in _read_alone(file, settings)]
    checks += alone
    return checks if faults(alone) else [*checks, *_read_together(files, settings)]


def _read_alone(file: Path, settings: Scouting) -> list[Check]:
    """Read one file, so that the faults of every file are found."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", TrialkitWarning)
        try:
            read_loggers([file], settings)
        except TrialkitError as error:
            return [_in_file(file.name, str(error), "fault")]
    notes = [str(one.message) for one in caught if issubclass(one.category, TrialkitWarning)]
    return [_in_file(file.name, note, "warning") for note in dict.fromkeys(notes)]


def _in_file(name: str, message: str, outcome: Outcome) -> Check:
    """Return what the reader said of a file as a check, its place apart."""
    parts = re.match(rf"{re.escape(name)}(?:, ([^:]*))?: (.*)", message, re.S)
    place, found = (parts[1] or "", parts[2]) if parts else ("", message)
    asks = re.search(r"\b(unit|zone|columns|day_first|missing)\b", found)
    wanted = (
        say(
            "Keys such as {key} stand under {table} in {file}.",
            key=asks[1],
            table=_TABLE,
            file=FILE,
        )
        if asks
        else ""
    )
    found = found[:1].upper() + found[1:]
    return Check(f"{TEMPERATURES_FOLDER}/{name}", place, found, wanted, outcome)


def _read_together(files: list[Path], settings: Scouting) -> Iterator[Check]:
    place = TEMPERATURES_FOLDER + "/"
    try:
        with noted():
            read = read_loggers(files, settings)
    except ScoutingError as error:
        yield Check(place, "", str(error))
        return
    loggers = [str(name) for name in read["logger"].unique()]
    found = say_counted(
        "{number:,} temperatures of {count} logger read.",
        "{number:,} temperatures of {count} loggers read.",
        len(loggers),
        number=len(read),
    )
    yield Check(place, "", found, outcome="ok")
    named = {} if settings.temperatures is None else settings.temperatures.places
    for name in named:
        if name not in loggers:
            near = suggestion(name, loggers).strip() or say(
                "There are {names}.", names=", ".join(loggers)
            )
            found = say("No logger is called '{logger}'.", logger=name)
            yield Check(FILE, f"{_TABLE[:-1]}.places]", found, near)


def _places_in(trial: Trial) -> Iterator[Check]:
    """Say which loggers hang in strips that are not there."""
    how = trial.config.scouting.temperatures
    strips = list(trial.planned_treatments)
    for name, place in ({} if how is None else how.places).items():
        if place.strip and place.strip not in strips:
            near = suggestion(place.strip, strips).strip() or say(
                "It has {names}.", names=", ".join(strips)
            )
            where = f"{_TABLE[:-1]}.places.{name}] strip"
            found = say("The layout has no strip '{strip}'.", strip=place.strip)
            yield Check(FILE, where, found, near)


@dataclass(frozen=True, slots=True, eq=False)
class Scouted:
    """What was scouted in a trial, each None where its file is not there.

    Parameters
    ----------
    plants
        Counts on the ground, from `trialkit.scouting.plant_table`.
    scores
        Scores with their scale, from `score_table`.
    sterility
        One row a strip, from `sterility_by_strip`.
    stages
        `date` and `stage`, the decimal code of Zadoks.
    temperatures
        From `read_temperatures`.
    places
        Where the loggers hang: `logger strip longitude latitude relative_height_m`.
    sensor
        `"canopy"`, `"screen"`, or empty where nobody says.
    missing
        Sentences on what is not there, and how to add it.
    notes
        What was noticed on reading.
    """

    plants: DataFrame | None
    scores: DataFrame | None
    sterility: DataFrame | None
    stages: DataFrame | None
    temperatures: DataFrame | None
    places: DataFrame | None
    sensor: str
    missing: tuple[str, ...]
    notes: tuple[str, ...]


_MISSING = {
    "plants": marked(
        "Plants were not counted: `trialkit countsheet FOLDER` writes a sheet, and counts.csv "
        "takes the counts."
    ),
    "stages": marked("No growth stage was written down: stages.csv takes date and Zadoks code."),
    "temperatures": marked(
        "There are no temperatures: the folder {folder} takes the loggers' files."
    ),
    "sterility": marked(
        "No heads were looked at: heads.csv takes florets and sterile florets, a row a head."
    ),
    "scores": marked(
        "Nothing was scored: scores.csv takes strip, date, what was scored, and the value."
    ),
}


def read_scouting(trial: Trial) -> Scouted:
    """Read all that was scouted in a trial.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    Scouted
        Strips that were lost or left out at sowing are left out here too.

    Raises
    ------
    ScoutingError
        If a logger's file cannot be read.
    """
    from trialkit.scouting import plant_table, score_table, sterility_by_strip

    settings = trial.config.scouting
    with noted() as notes:
        counts, scores, heads = (_of_strips(trial, name, notes) for name in _FILLED)
        scales = {} if scores is None else {
            str(name): settings.scale_of(str(name)) for name in scores["score"].unique()
        }  # fmt: skip
        usual = settings.sterile_without_frost_pct
        found = {
            "plants": None if counts is None else plant_table(counts, trial.layout),
            "stages": None
            if trial.stages is None
            else trial.stages.rename(columns={"zadoks": "stage"}),
            "temperatures": trial.temperatures() if logger_files(trial.path) else None,
            "sterility": None
            if heads is None
            else sterility_by_strip(heads, trial.layout, sterile_without_frost_pct=usual),
            "scores": None if scores is None else score_table(scores, trial.layout, scales=scales),
        }
    how = settings.temperatures
    return Scouted(
        **found,
        places=None if how is None or not how.places else _places_table(settings),
        sensor="" if how is None else how.sensor,
        missing=tuple(
            say(words, folder=TEMPERATURES_FOLDER + "/")
            for name, words in _MISSING.items()
            if found[name] is None
        ),
        notes=tuple(dict.fromkeys(notes)),
    )


#: Tables by strip, and the column that holds what was seen.
_FILLED = {"counts": "count", "scores": "value", "heads": "sterile"}


def _of_strips(trial: Trial, name: str, notes: list[str]) -> DataFrame | None:
    """Return the records of strips that are part of the trial as it was sown."""
    table: DataFrame | None = getattr(trial, name)
    if table is None:
        return None
    layout = trial.layout
    known = set(layout.loc[layout["role"] == "strip", "strip"])
    kept = table[table["strip"].isin(known)].reset_index(drop=True)
    if len(kept) < len(table):
        gone = sorted(set(table["strip"]) - known)
        notes.append(
            say("{file}: {strips} left out, as sown.", file=name + ".csv", strips=", ".join(gone))
        )
    return kept if kept[_FILLED[name]].notna().any() else None


def _places_table(settings: Scouting) -> DataFrame:
    import pandas as pd

    how = settings.temperatures
    places = {} if how is None else how.places
    names = ["strip", "longitude", "latitude", "relative_height_m"]
    rows = [[logger, *(getattr(place, name) for name in names)] for logger, place in places.items()]
    table = pd.DataFrame(rows, columns=["logger", *names])
    return table.astype(dict.fromkeys(names[1:], float))
