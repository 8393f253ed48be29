"""Readers: one kind of file in, one table of its own columns out.

A reader knows a file format and nothing of harvests. It hands over headings and cells as they
are, with the line of the file each row came from; `trialkit.harvest.log` names the columns,
converts the units and checks the values. A further format is a further module here with a
function that returns an `ExportedTable`, and a line in `open_export`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from trialkit.harvest.readers.delimited import open_delimited
from trialkit.harvest.readers.table import ExportedTable

__all__ = ["ExportedTable", "open_export"]


def open_export(path: str | Path | Sequence[str | Path]) -> list[ExportedTable]:
    """Open the exported files of one harvest.

    Parameters
    ----------
    path
        One file or several.

    Returns
    -------
    list of ExportedTable
        One a file, in the order given.

    Raises
    ------
    LogError
        If a file cannot be read as a table.
    """
    paths = [path] if isinstance(path, str | Path) else list(path)
    return [open_delimited(Path(one)) for one in paths]
