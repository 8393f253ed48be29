"""The notebooks beside a trial, and JupyterLab to work in them."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from trialkit.errors import TrialkitError
from trialkit.shipped import shipped
from trialkit.trial.folder import FOLDER_OF_NOTEBOOKS
from trialkit.trial.writing import write_whole

_SETS_FOLDER = re.compile(r"^trial_folder = .*$", re.MULTILINE)


def lay_out_notebooks(folder: Path) -> list[Path]:
    """Copy the notebooks into a trial folder, set to that trial.

    Notebooks that are there already are left as they are: they may hold somebody's work.

    Parameters
    ----------
    folder
        The trial folder.

    Returns
    -------
    list of Path
        The notebooks written; those that were there already are not among them.
    """
    import nbformat

    written = []
    for source in sorted(shipped("notebooks").glob("*.ipynb")):
        target = folder / FOLDER_OF_NOTEBOOKS / source.name
        if target.exists():
            continue
        notebook = nbformat.read(source, as_version=4)
        for cell in notebook.cells:
            if "parameters" in cell.metadata.get("tags", ()):
                cell.source = _SETS_FOLDER.sub('trial_folder = ".."', cell.source)
        written.append(write_whole(target, nbformat.writes(notebook) + "\n"))
    return written


def start_lab(folder: Path, arguments: list[str]) -> int:
    """Open JupyterLab on a trial folder, and wait until it is closed.

    Parameters
    ----------
    folder
        The trial folder.
    arguments
        Further arguments for JupyterLab, such as `--no-browser`.

    Returns
    -------
    int
        JupyterLab's exit status.

    Raises
    ------
    TrialkitError
        If JupyterLab is not installed beside trialkit.
    """
    from importlib.util import find_spec

    if find_spec("jupyterlab") is None:
        raise TrialkitError("JupyterLab is not installed here. Install it: pip install jupyterlab")
    command = [sys.executable, "-m", "jupyterlab", f"--notebook-dir={folder}", *arguments]
    return subprocess.call(command)  # noqa: S603  our own interpreter, and the user's own options
