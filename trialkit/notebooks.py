"""The notebooks beside a trial, JupyterLab to work in them, and plain words for its errors."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path
from traceback import extract_tb
from typing import TYPE_CHECKING

from trialkit.errors import TrialkitError
from trialkit.shipped import shipped
from trialkit.trial.folder import FOLDER_OF_NOTEBOOKS
from trialkit.trial.writing import write_whole

if TYPE_CHECKING:
    from types import TracebackType

    from IPython.core.interactiveshell import InteractiveShell

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


def plain_errors() -> None:
    """Show faults of the input in a notebook as their message, without the traceback.

    All other errors stay as they are. The traceback of the last fault is there on request, in
    a cell of its own: `%tb`. Outside a notebook nothing happens.
    """
    from IPython import get_ipython

    shell = get_ipython()
    if shell is not None:
        shell.set_custom_exc((TrialkitError,), _show_plainly)


def _show_plainly(
    shell: InteractiveShell,
    kind: type[TrialkitError],
    error: TrialkitError,
    trace: TracebackType | None,
    tb_offset: int | None = None,  # noqa: ARG001  the hook's name
) -> list[str]:
    """Show the message, and the line of the cell that it came from."""
    # What `%tb` shows is kept here.
    sys.last_type, sys.last_value, sys.last_traceback = kind, error, trace
    lines = [str(error), ""]
    # The first frame is the notebook's own machinery, the next one the cell.
    cell = extract_tb(trace)[1:2]
    lines += [f"Line {frame.lineno} of this cell: {frame.line}" for frame in cell if frame.line]
    lines.append("For the whole traceback, run %tb in a cell.")
    shown = ["\n".join(lines)]
    shell._showtraceback(kind, error, shown)
    return shown
