"""What the commands print on a terminal for a person to read."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from trialkit.checks import Check
    from trialkit.result import Summary
    from trialkit.season import Harvested
    from trialkit.trial import Trial


@contextmanager
def progress(steps: int | None) -> Iterator[Callable[[str], None]]:
    """Show a bar with the step's name on a terminal; nothing where output is read by a program."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("Starting", total=steps)
        begun = False

        def tell(step: str) -> None:
            nonlocal begun
            bar.update(task, description=step, advance=1 if begun else 0)
            begun = True

        yield tell


def print_checks(checks: Sequence[Check], trial: Trial | None) -> None:
    """Print what was found in a trial folder, and whether it is in order."""
    from trialkit.checks import faults

    words = {"fault": "FAULT", "warning": "note ", "ok": "ok   "}
    for row in checks:
        print(f"{words[row.outcome]}  {row.sentence()}")
    if trial is not None:
        print(_trial_line(trial))
    found = faults(checks)
    print("The folder is in order." if not found else f"Faults to mend: {len(found)}.")


def _trial_line(trial: Trial) -> str:
    strips = trial.layout[trial.layout["role"] == "strip"]
    counts = strips["treatment"].value_counts(sort=False)
    arms = ", ".join(f"{number} {name}" for name, number in counts.items())
    return f"{trial.config.trial.name}: {len(strips)} strips ({arms})."


def print_harvest(harvested: Harvested) -> None:
    """Print strip yields, and what was left out."""
    from rich.console import Console
    from rich.table import Table

    from trialkit.columns import label

    console = Console()
    if harvested.delay is not None:
        print(f"Grain-flow delay: {harvested.delay.delay_s:.0f} s.")
    for frame, title in ((harvested.strips, "Strips"), (harvested.screening, "Left out, and why")):
        if frame is None:
            continue
        table = Table(title=title, title_justify="left")
        for name in frame.columns:
            number = frame[name].dtype.kind in "if"
            table.add_column(label(name), justify="right" if number else "left")
        for row in frame.itertuples(index=False):
            table.add_row(*(f"{c:,.2f}" if isinstance(c, float) else str(c) for c in row))
        console.print(table)
    for note in harvested.warnings:
        print(f"Note: {note}")


def print_summary(summary: Summary) -> None:
    """Print the verdict of each comparison, and the notes."""
    from trialkit.report.wording import verdict_sentence

    print(f"{summary.trial}, {summary.season}")
    for comparison in summary.comparisons:
        print(verdict_sentence(comparison, summary.currency))
    for note in summary.warnings:
        print(f"Note: {note}")


def print_json(content: object) -> None:
    """Print a result for another program to read."""
    print(json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False))


def wrote(paths: Sequence[Path], as_json: bool) -> None:
    """Say which files were written."""
    if as_json:
        print_json({"wrote": [str(path) for path in paths]})
    else:
        for path in paths:
            print(f"Wrote {path}")
