"""Write into a trial folder: whole files only, and nothing a spreadsheet would run."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pandas import DataFrame

#: First characters that make a spreadsheet take a cell for a formula.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def write_whole(path: Path, content: str | bytes) -> Path:
    """Write a file under a temporary name, then move it into place.

    An interrupted run so leaves the last good file.

    Parameters
    ----------
    path
        Where the file goes; its folder is made if need be.
    content
        What it holds; text is written as UTF-8.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content.encode() if isinstance(content, str) else content)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return path


def write_csv(path: Path, table: DataFrame, decimals: int = 6) -> Path:
    """Write a table as CSV, text cells guarded against being run as formulas.

    Parameters
    ----------
    path
        Where the file goes.
    table
        The table; its index is left out.
    decimals
        Decimal places of numbers.
    """
    safe = table.copy()
    for name in safe.columns:
        if safe[name].dtype == object or str(safe[name].dtype) in ("string", "str", "category"):
            safe[name] = safe[name].astype(object).map(_guarded)
    text = safe.to_csv(index=False, float_format=f"%.{decimals}f", lineterminator="\n")
    return write_whole(path, text)


def _guarded(cell: object) -> object:
    if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell
