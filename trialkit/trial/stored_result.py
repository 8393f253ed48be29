"""The answer of an earlier run in a trial folder, and what has changed in the folder since."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import TypeAdapter, ValidationError

from trialkit.result import Summary
from trialkit.trial.folder import Trial
from trialkit.trial.provenance import input_files

RESULT_FILE = "result.json"

#: An answer of one season is some tens of kB; what is larger than this is none.
_LARGEST_BYTES = 20_000_000


@dataclass(frozen=True, slots=True)
class Stored:
    """An earlier answer.

    Parameters
    ----------
    summary
        What it says.
    changes
        A sentence for each input file that is new, gone or not the same; empty where the answer
        rests on the folder as it is.
    """

    summary: Summary
    changes: tuple[str, ...]


def read_stored(trial: Trial) -> Stored | None:
    """Read the answer of the last run.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    Stored or None
        None where there is none, or it cannot be read: it can be made again.
    """
    path = trial.results / RESULT_FILE
    if not path.is_file() or path.stat().st_size > _LARGEST_BYTES:
        return None
    try:
        summary = TypeAdapter(Summary).validate_json(path.read_bytes(), strict=False)
    except (ValidationError, RecursionError):
        return None
    now = {entry.file: entry.sha256 for entry in input_files(trial)}
    then = {entry.file: entry.sha256 for entry in summary.inputs}
    changes = [
        f"{file} {_what(file, then, now)} since the answer was worked out."
        for file in sorted({**then, **now})
        if then.get(file) != now.get(file)
    ]
    return Stored(summary, tuple(changes))


def _what(file: str, then: dict[str, str], now: dict[str, str]) -> str:
    if file not in now:
        return "is gone"
    return "is new" if file not in then else "has changed"
