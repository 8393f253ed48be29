"""Yield maps of earlier seasons in a trial folder, to rehearse layouts on."""

from __future__ import annotations

import warnings
from functools import partial
from pathlib import Path

import pandas as pd

from trialkit.errors import LogError, TrialFolderError, TrialkitWarning
from trialkit.harvest import read_log, screen
from trialkit.trial.config import TrialConfig
from trialkit.trial.folder import check_inside

#: One file or folder in it for each season.
PAST_YIELDS_FOLDER = "past-yields"


def read_past_yields(path: str | Path, config: TrialConfig) -> dict[str, pd.DataFrame]:
    """Read and screen the yield maps of earlier seasons.

    Parameters
    ----------
    path
        The trial folder; each file or folder in its `past-yields/` is one season in which the
        field was treated alike.
    config
        What `trial.toml` says. Headings and units are those of `[harvest]` if the file has them,
        else trialkit's own.

    Returns
    -------
    dict
        Name of the file or folder without its ending, in the order of the alphabet, to the
        screened log with `longitude latitude yield_t_ha kept`; empty if there is none. Grain is
        not moved back to where it was cut: that shifts yields along the passes only.

    Raises
    ------
    LogError
        If a file cannot be read or holds no yields.
    TrialFolderError
        If a link leads out of the folder.

    Warns
    -----
    TrialkitWarning
        What reading and screening have to say, with the season's name before it.
    """
    home = Path(path) / PAST_YIELDS_FOLDER
    if not home.is_dir():
        return {}
    found = sorted(entry for entry in home.iterdir() if not entry.name.startswith((".", "_")))
    outside = check_inside(Path(path), found)
    if outside:
        raise TrialFolderError("\n".join(check.sentence() for check in outside))
    return {entry.stem: _screened(entry, config) for entry in found}


def _screened(entry: Path, config: TrialConfig) -> pd.DataFrame:
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        log = screen(_read(entry, config), config.harvest.screening)
    for warning in said:
        if issubclass(warning.category, TrialkitWarning):
            warnings.warn(
                f"{PAST_YIELDS_FOLDER}/{entry.name}: {warning.message}",
                warning.category,
                stacklevel=4,
            )
    return log


def _read(entry: Path, config: TrialConfig) -> pd.DataFrame:
    harvest = config.harvest
    read = partial(
        read_log,
        entry,
        crop=config.trial.crop,
        standard_moisture_pct=harvest.standard_moisture_pct,
    )
    try:
        return read(columns=harvest.columns or None, units=harvest.units or None, crs=harvest.crs)
    except LogError:
        if not harvest.columns:
            raise
        return read()
