"""The answer of an earlier run in a trial folder, and what has changed in the folder since."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pydantic import TypeAdapter, ValidationError

from trialkit.language import marked, say
from trialkit.result import InputFile, Summary
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
    return Stored(summary, changes_since(summary.inputs, input_files(trial)))


def changes_since(before: Iterable[InputFile], after: Iterable[InputFile]) -> tuple[str, ...]:
    """Say which input files are new, gone or not the same.

    Parameters
    ----------
    before
        What an answer or a report rests on.
    after
        What there is now.

    Returns
    -------
    tuple of str
        A sentence a file, in order of their names; empty where nothing has changed.
    """
    then = {entry.file: entry.sha256 for entry in before}
    now = {entry.file: entry.sha256 for entry in after}
    return tuple(
        say(_what(file, then, now), file=file)
        for file in sorted({**then, **now})
        if then.get(file) != now.get(file)
    )


def _what(file: str, then: dict[str, str], now: dict[str, str]) -> str:
    if file not in now:
        return marked("{file} is gone since the answer was worked out.")
    if file not in then:
        return marked("{file} is new since the answer was worked out.")
    return marked("{file} has changed since the answer was worked out.")
