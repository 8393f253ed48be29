"""A check is a row: where we looked, what we found, what we wanted.

Checks stack into one table that `trialkit check` prints and the report shows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pandas import DataFrame

Outcome = Literal["ok", "warning", "fault"]


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at, and how it stood.

    Parameters
    ----------
    file
        File the check looked at, relative to the trial folder.
    place
        Key, row or column inside the file; empty for the whole file.
    found
        What was found; for a fault, what is wrong.
    wanted
        What would be right; for a fault, the remedy.
    outcome
        `"ok"`, `"warning"` (the work can go on) or `"fault"` (it cannot).
    """

    file: str
    place: str
    found: str
    wanted: str = ""
    outcome: Outcome = "fault"

    def sentence(self) -> str:
        """Return the check as one line of text for a person."""
        where = f"{self.file}, {self.place}" if self.place else self.file
        remedy = f" {self.wanted}" if self.wanted else ""
        return f"{where}: {self.found}{remedy}"


def faults(checks: Iterable[Check]) -> list[Check]:
    """Return the checks that stop the work, in their order."""
    return [check for check in checks if check.outcome == "fault"]


def checklist(checks: Iterable[Check]) -> DataFrame:
    """Stack checks into a table.

    Returns
    -------
    DataFrame
        One row a check, columns `outcome file place found wanted`.
    """
    import pandas as pd

    names = ["outcome", "file", "place", "found", "wanted"]
    return pd.DataFrame(
        [[getattr(check, name) for name in names] for check in checks], columns=names
    )
