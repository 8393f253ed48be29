"""Open a trial folder: everything in it read and checked, every fault at once."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.checks import Check, faults
from trialkit.design.as_sown import Difference, told
from trialkit.errors import LogError, TrialFolderError, TrialkitWarning
from trialkit.language import say, say_counted
from trialkit.shown import as_line, as_table
from trialkit.trial.config import FILE, TrialConfig, read_config
from trialkit.trial.drawings import (
    BOUNDARY_FILE,
    LAYOUT_FILE,
    check_ground,
    read_boundary,
    read_layout,
)
from trialkit.trial.dressing_record import check_dressing
from trialkit.trial.scouting_checks import check_records
from trialkit.trial.scouting_files import logger_files, read_loggers
from trialkit.trial.sowing_remarks import check_sowing
from trialkit.trial.sown_layout import read_sown, sown_files
from trialkit.trial.tables import FORMS, read_rows

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

#: Folder of the yield monitor's exports, and the endings read from it: delimited text, vector
#: files, zips. Folders in it hold task data or more of these.
HARVEST_FOLDER = "harvest"
_TASK_FILE = "taskdata.xml"
_SHAPEFILE = ".shp"
LOG_ENDINGS = (
    ".csv", ".txt", ".tsv", _SHAPEFILE, ".gpkg", ".geojson", ".parquet", ".geoparquet", ".zip",
)  # fmt: skip

RESULTS_FOLDER = "results"

#: What stands in front of notes on the sowing.
_AS_SOWN = "as sown"

#: Where `trialkit lab` puts the notebooks of a trial.
FOLDER_OF_NOTEBOOKS = "notebooks"


@dataclass(frozen=True, slots=True)
class Trial:
    """A trial folder as read: what it says, and the tables it holds.

    Parameters
    ----------
    path
        The folder.
    config
        What `trial.toml` says.
    layout
        Strips in WGS 84 as they were sown, which is what is analysed: `strip block treatment role
        geometry`; and where the sowing differs from the plan, `planned`, see `Sown`.
    boundary
        The field in WGS 84, where `boundary.geojson` is there.
    dressing, counts, scores, weights, quality
        The tables, each None where its file is absent.
    harvest_logs
        Yield-monitor exports, files or folders, in order of their names.
    checks
        What was noticed but does not stop the work.
    planned_layout
        The plan, as `layout.geojson` has it.
    sown_differences
        How the strips differ from it, by the files `as-sown`; empty where they do not.
    stages, heads
        Growth stages seen, and sterile florets of heads; each None where its file is absent.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    path: Path
    config: TrialConfig
    layout: GeoDataFrame
    boundary: GeoDataFrame | None
    dressing: DataFrame | None
    counts: DataFrame | None
    scores: DataFrame | None
    weights: DataFrame | None
    quality: DataFrame | None
    harvest_logs: tuple[Path, ...]
    checks: tuple[Check, ...]
    planned_layout: GeoDataFrame
    sown_differences: tuple[Difference, ...] = ()
    stages: DataFrame | None = None
    heads: DataFrame | None = None

    @property
    def planned_treatments(self) -> dict[str, str]:
        """The treatment of each strip by the plan."""
        strips = self.planned_layout[self.planned_layout["role"] == "strip"]
        return dict(zip(strips["strip"].astype(str), strips["treatment"].astype(str), strict=True))

    @property
    def sown_notes(self) -> tuple[str, ...]:
        """How what was sown differs from the plan, in sentences: the whole first, then each."""
        return told(self.sown_differences, len(self.planned_treatments))

    @property
    def results(self) -> Path:
        """Folder that everything we write goes into."""
        return self.path / RESULTS_FOLDER

    @property
    def input_files(self) -> list[Path]:
        """Every file that the answer can rest on, in a fixed order."""
        return _input_files(self.path)

    def harvest_log(self) -> DataFrame:
        """Read the yield monitor's exports with the column map and units of `trial.toml`.

        Raises
        ------
        LogError
            If there is no export, or it cannot be read.
        """
        if not self.harvest_logs:
            raise LogError(
                say(
                    "{folder}/: there is no harvest log ({endings}). Copy the yield monitor's "
                    "export into it, or give scale weights in weights.csv.",
                    folder=HARVEST_FOLDER,
                    endings=", ".join(LOG_ENDINGS),
                )
            )
        from trialkit.harvest import read_log

        harvest = self.config.harvest
        return read_log(
            self.harvest_logs,
            columns=harvest.columns or None,
            units=harvest.units or None,
            crs=harvest.crs,
            crop=self.config.trial.crop,
            standard_moisture_pct=harvest.standard_moisture_pct,
            harvester_m=self.config.machines.harvester_m,
            header_ahead_m=harvest.header_ahead_m,
            header_right_m=harvest.header_right_m,
            only=harvest.only or None,
        )

    def temperatures(self) -> DataFrame:
        """Read the temperature loggers' files as `trial.toml` says.

        Raises
        ------
        ScoutingError
            If there is no file, or one cannot be read.
        """
        return read_loggers(logger_files(self.path), self.config.scouting)


def open_trial(path: str | Path) -> Trial:
    """Open a trial folder.

    Parameters
    ----------
    path
        The folder that holds `trial.toml`.

    Returns
    -------
    Trial
        Its configuration, layout and tables.

    Raises
    ------
    TrialFolderError
        If anything in the folder is faulty; the message lists every fault at once.

    Examples
    --------
    >>> import trialkit
    >>> from trialkit.shipped import shipped
    >>> trial = trialkit.open_trial(next(shipped("data-demo").glob("*frost*")))
    >>> trial.config.trial.crop
    'oats'
    """
    trial, checks = check_folder(path)
    if trial is None:
        found = faults(checks)
        lines = "\n".join(f"- {check.sentence()}" for check in found)
        said = say_counted(
            "{folder}: the trial folder has a fault.",
            "{folder}: the trial folder has {count} faults.",
            len(found),
            folder=Path(path).name or path,
        )
        raise TrialFolderError(f"{said}\n{lines}")
    return trial


def check_there(folder: Path) -> None:
    """Raise a TrialFolderError where there is no trial folder, whatever state it is in.

    Parameters
    ----------
    folder
        The folder.
    """
    if not (folder / FILE).is_file():
        raise TrialFolderError(
            say(
                "{folder}: there is no {file} here. Give a trial folder, or make one with "
                "`trialkit new FOLDER`.",
                folder=folder,
                file=FILE,
            )
        )


def check_folder(path: str | Path) -> tuple[Trial | None, list[Check]]:
    """Read everything in a trial folder but the harvest logs, and check it.

    Returns
    -------
    trial, checks
        The trial, or None where there are faults; and all that was noticed.
    """
    folder = Path(path)
    if not folder.is_dir():
        found = say("This is not a folder.")
        if not folder.exists():
            found = say("There is no such folder.")
        return None, [Check(str(path), "", found, say("Make one with `trialkit new FOLDER`."))]
    outside = check_inside(folder, _input_files(folder))
    if outside:
        return None, outside
    config, checks = read_config(folder / FILE)
    boundary, found_in_boundary = read_boundary(folder)
    layout, found_in_layout = read_layout(folder)
    checks += found_in_boundary + found_in_layout
    if config is not None and layout is not None:
        checks += check_ground(config, boundary, layout)
    strips = [] if layout is None else layout.loc[layout["role"] == "strip", "strip"].tolist()
    tables = {}
    for name, form in FORMS.items():
        tables[name], found_in_table = read_rows(folder, form, strips)
        checks += found_in_table
    if config is not None:
        checks += check_records(tables, config.scouting)
    for name, table in tables.items():
        tables[name] = None if table is None else table.reset_index(drop=True)
    if config is None or layout is None or faults(checks):
        return None, checks
    sown, found_in_sown = read_sown(folder, config, layout, boundary)
    checks += found_in_sown
    if faults(checks):
        return None, checks
    differences = () if sown is None else sown.differences
    if differences:
        tables["weights"], found_in_weights = _without_lost(tables["weights"], differences)
        checks += found_in_weights
    checks += [*check_sowing(config), *check_dressing(config, tables["dressing"])]
    trial = Trial(
        folder,
        config,
        sown.layout if sown is not None and differences else layout,
        boundary,
        **tables,
        harvest_logs=_harvest_logs(folder),
        checks=tuple(checks),
        planned_layout=layout,
        sown_differences=differences,
    )
    notes = (Check(_AS_SOWN, "", note, outcome="warning") for note in trial.sown_notes)
    return trial, [*checks, *notes]


def _without_lost(
    weights: DataFrame | None, differences: tuple[Difference, ...]
) -> tuple[DataFrame | None, list[Check]]:
    """Leave out the weights of strips that are left out; doubt those of strips with a part lost."""
    if weights is None or "strip" not in weights:
        return weights, []
    weighed = set(weights["strip"])
    gone = [d.strip for d in differences if d.left_out and d.strip in weighed]
    parts = [d.strip for d in differences if d.lost_m2 > 0 and d.strip in weighed - set(gone)]
    checks = []
    if gone:
        found = say(
            "The weight of {strips} does not count: left out as sown.", strips=", ".join(gone)
        )
        checks.append(Check(FORMS["weights"].file, "", found, outcome="warning"))
    if parts:
        found = say(
            "A part of {strips} is left out, and the weight must be of the rest.",
            strips=", ".join(parts),
        )
        wanted = say("Weigh the rest alone; if all of it was weighed, say the strip is lost.")
        checks.append(Check(FORMS["weights"].file, "", found, wanted, "warning"))
    kept = weights[~weights["strip"].isin(gone)].reset_index(drop=True)
    return (kept if len(kept) else None), checks


def check_harvest(trial: Trial) -> list[Check]:
    """Read the harvest logs and say whether that works.

    Returns
    -------
    list of Check
        The log reads, cannot be read, or is not there yet; and what was noticed on reading it.
    """
    if not trial.harvest_logs:
        if trial.weights is not None:
            return []
        found = say("There is no harvest log and no weights.csv yet.")
        wanted = say("Add one after harvest.")
        return [Check(HARVEST_FOLDER + "/", "", found, wanted, "warning")]
    place = HARVEST_FOLDER + "/"
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", TrialkitWarning)
        try:
            count = say("{records:,} records read.", records=len(trial.harvest_log()))
            read = Check(place, "", count, outcome="ok")
        except LogError as error:
            read = Check(place, "", str(error))
    noted = [str(one.message) for one in caught if issubclass(one.category, TrialkitWarning)]
    return [read, *(Check(place, "", note, outcome="warning") for note in dict.fromkeys(noted))]


def _input_files(folder: Path) -> list[Path]:
    names = [FILE, BOUNDARY_FILE, LAYOUT_FILE, *(form.file for form in FORMS.values())]
    present = [folder / name for name in names if (folder / name).exists()]
    logs = (file for log in _harvest_logs(folder) for file in _files_of(log))
    return [*present, *sown_files(folder), *logger_files(folder), *logs]


def _harvest_logs(folder: Path) -> tuple[Path, ...]:
    """Return the exports: the whole folder if it is a set of task data, else what is in it."""
    harvest = folder / HARVEST_FOLDER
    if not harvest.is_dir():
        return ()
    inside = sorted(path for path in harvest.iterdir() if not path.name.startswith("."))
    if any(path.name.lower() == _TASK_FILE for path in inside):
        return (harvest,)
    return tuple(
        path
        for path in inside
        if (path.is_file() and path.suffix.lower() in LOG_ENDINGS)
        or (path.is_dir() and any(path.iterdir()))
    )


def _files_of(log: Path) -> list[Path]:
    """Return the files an export is made of."""
    if log.is_dir():
        return sorted(path for path in log.rglob("*") if path.is_file())
    if log.suffix.lower() == _SHAPEFILE:
        return sorted(path for path in log.parent.iterdir() if path.stem == log.stem)
    return [log]


def check_inside(folder: Path, files: list[Path]) -> list[Check]:
    """Refuse links that lead out of the folder: folders come by mail.

    Parameters
    ----------
    folder
        The trial folder.
    files
        What is to be read in it.
    """
    home = folder.resolve()
    return [
        Check(
            path.relative_to(folder).as_posix(),
            "",
            say("It points outside the trial folder."),
            say("Put the file itself here."),
        )
        for path in files
        if not path.resolve().is_relative_to(home)
    ]
