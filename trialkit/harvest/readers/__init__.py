"""Readers: one kind of file in, one table of its own columns out.

A reader knows a file format and nothing of harvests. It hands over headings and cells as they
are, with the line of the file each row came from; `trialkit.harvest.log` names the columns,
converts the units and checks the values. A further format is a further module here with a
function that returns an `ExportedTable`, and a line in `open_export`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from trialkit.errors import LogError
from trialkit.harvest.readers.delimited import open_delimited, read_delimited
from trialkit.harvest.readers.table import ExportedTable
from trialkit.harvest.readers.task_data import open_task_data
from trialkit.harvest.readers.task_set import TASK_FILE
from trialkit.harvest.readers.vector import VECTOR_ENDINGS, open_packed_vector, open_vector
from trialkit.incoming.file_set import FileSet, open_folder, open_zip

__all__ = ["TEXT_ENDINGS", "VECTOR_ENDINGS", "ZIP_ENDING", "ExportedTable", "open_export"]

TEXT_ENDINGS = (".csv", ".txt", ".tsv")
ZIP_ENDING = ".zip"


def open_export(path: str | Path | Sequence[str | Path]) -> list[ExportedTable]:
    """Open the exported files of one harvest.

    Parameters
    ----------
    path
        One file or several: delimited text, a vector file, task data of ISO 11783-10 (the folder,
        or its TASKDATA.XML), or a zip or folder of any of these.

    Returns
    -------
    list of ExportedTable
        One a file or log, in the order given.

    Raises
    ------
    LogError
        If a file cannot be read as a table.
    """
    paths = [path] if isinstance(path, str | Path) else list(path)
    return [table for one in paths for table in _open(Path(one))]


def _open(path: Path) -> list[ExportedTable]:
    if path.is_dir():
        return _open_set(open_folder(path))
    if path.name.lower() == TASK_FILE and path.is_file():
        return open_task_data(open_folder(path.parent))
    ending = path.suffix.lower()
    if ending == ZIP_ENDING and path.is_file():
        return _open_set(open_zip(path))
    return [open_vector(path) if ending in VECTOR_ENDINGS else open_delimited(path)]


def _open_set(files: FileSet) -> list[ExportedTable]:
    """Open a folder or zip: task data if it is a set of these, else every log in it."""
    if any(PurePosixPath(path).name.lower() == TASK_FILE for path in files.members):
        return open_task_data(files)
    vectors, texts = files.ending(*VECTOR_ENDINGS), files.ending(*TEXT_ENDINGS)
    if not vectors and not texts:
        held = ", ".join(sorted(files.members)[:6]) or "nothing"
        raise LogError(
            f"{files.name}: there is no harvest log in it (it holds {held}). A log is delimited "
            f"text ({', '.join(TEXT_ENDINGS)}), a vector file ({', '.join(VECTOR_ENDINGS)}) or "
            "task data with its TASKDATA.XML."
        )
    return [
        *(open_packed_vector(files, path) for path in vectors),
        *(read_delimited(files.read(path), PurePosixPath(path).name) for path in texts),
    ]
