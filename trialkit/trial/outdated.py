"""Whether the answer and the report in a trial folder still rest on the files it has now."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from html import escape
from html.parser import HTMLParser
from pathlib import Path

from trialkit.checks import Check
from trialkit.language import say
from trialkit.result import InputFile
from trialkit.trial.folder import RESULTS_FOLDER, Trial
from trialkit.trial.provenance import input_files
from trialkit.trial.stored_result import RESULT_FILE, changes_since, read_stored

REPORT_FILE = "report.html"

#: Name of the element of a report that holds the fingerprints of its inputs.
_ELEMENT = "trialkit-inputs"

#: A report of one season holds some MB; what is larger than this is none.
_LARGEST_BYTES = 200_000_000

#: The element stands in the head of the page, before any picture.
_LONGEST_HEAD = 1_000_000


def fingerprinted(page: str, inputs: Sequence[InputFile]) -> str:
    """Return a report with the fingerprints of what it rests on in its head.

    Parameters
    ----------
    page
        The report, HTML.
    inputs
        The files it rests on.
    """
    content = escape(json.dumps({entry.file: entry.sha256 for entry in inputs}), quote=True)
    element = f'<meta name="{_ELEMENT}" content="{content}">\n'
    before, title, after = page.partition("<title>")
    return before + element + title + after if title else page


def report_inputs(path: Path) -> tuple[InputFile, ...] | None:
    """Return what a report says it rests on; None where it says nothing, or is none.

    Parameters
    ----------
    path
        The report, an HTML file.
    """
    if not path.is_file() or path.stat().st_size > _LARGEST_BYTES:
        return None
    with path.open(encoding="utf-8", errors="replace") as file:
        head = file.read(_LONGEST_HEAD)
    reader = _Head()
    reader.feed(head)
    try:
        content = json.loads(reader.found)
    except (ValueError, RecursionError):
        return None
    if not isinstance(content, dict):
        return None
    return tuple(InputFile(str(file), str(digest)) for file, digest in content.items())


class _Head(HTMLParser):
    """The first element of ours in a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at an element as it begins."""
        said = dict(attrs)
        if tag == "meta" and said.get("name") == _ELEMENT and not self.found:
            self.found = said.get("content") or ""


def check_results(trial: Trial) -> list[Check]:
    """Note where the stored answer or report rests on other files than the folder has now.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    list of Check
        A warning for each of the two that is out of date; empty where there is none.
    """
    return list(_outdated(trial))


def since_last_report(trial: Trial) -> list[str]:
    """Say what has changed since the last report, to whoever makes a new one.

    Parameters
    ----------
    trial
        An opened trial.

    Returns
    -------
    list of str
        Sentences; empty where there is no earlier report or answer, or it is up to date.
    """
    changes = _changed_since_report(trial)
    before = (
        [say("Since the report before: {changes}", changes=" ".join(changes))] if changes else []
    )
    return before + [note.sentence() for note in _outdated_answer(trial)]


def _outdated(trial: Trial) -> Iterator[Check]:
    yield from _outdated_answer(trial)
    changes = _changed_since_report(trial)
    if changes:
        yield _note(REPORT_FILE, changes, say("Run `trialkit report FOLDER` again."))


def _outdated_answer(trial: Trial) -> Iterator[Check]:
    stored = read_stored(trial)
    if stored is not None and stored.changes:
        yield _note(RESULT_FILE, stored.changes, say("Run `trialkit analyse FOLDER` again."))


def _changed_since_report(trial: Trial) -> tuple[str, ...]:
    before = report_inputs(trial.results / REPORT_FILE)
    return () if before is None else changes_since(before, input_files(trial))


def _note(file: str, changes: tuple[str, ...], wanted: str) -> Check:
    found = say("It does not rest on the files as they are now.")
    found = f"{found} {' '.join(changes)}"
    return Check(f"{RESULTS_FOLDER}/{file}", "", found, wanted, "warning")
