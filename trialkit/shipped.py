"""Where the notebooks and the demo data lie: inside the wheel, or at the top of the sources."""

from __future__ import annotations

import shutil
from pathlib import Path

from trialkit.errors import TrialFolderError


def shipped(name: str) -> Path:
    """Return the path of `notebooks` or `data-demo` as shipped with this trialkit."""
    package = Path(__file__).resolve().parent
    inside = package / "_shipped" / name
    return inside if inside.exists() else package.parent / name


def demo_trials() -> dict[str, Path]:
    """Return the demo trials that were sown and harvested, by name."""
    return {
        name: folder
        for name, folder in demo_folders().items()
        if (folder / "layout.geojson").exists()
    }


def demo_folders() -> dict[str, Path]:
    """Return all demo trials by name, those still to be planned among them."""
    folders = sorted(path.parent for path in shipped("data-demo").glob("*/trial.toml"))
    return {folder.name: folder for folder in folders}


def copy_demo(folder: Path, name: str = "") -> list[Path]:
    """Copy a demo trial's input files out.

    Parameters
    ----------
    folder
        Where the copy goes; it must not exist yet, or be empty.
    name
        Which demo trial; the first one if empty.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    TrialFolderError
        If there is something in the way, or no demo trial of that name.
    """
    trials = demo_folders()
    if name and name not in trials:
        raise TrialFolderError(f"There is no demo trial '{name}'. There are: {', '.join(trials)}.")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise TrialFolderError(
            f"{folder}: there is something here already. Give a name that is not taken yet."
        )
    source = trials[name or next(iter(trials))]
    shutil.copytree(
        source, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("results", ".*")
    )
    return sorted(path for path in folder.rglob("*") if path.is_file())
