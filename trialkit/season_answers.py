"""The answers of several trial folders: as stored where they still hold, else worked out anew."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from trialkit.errors import SeasonsError, TrialkitError, TrialkitWarning
from trialkit.language import say
from trialkit.result import Summary
from trialkit.season import analyse
from trialkit.trial import Trial, TrialConfig, open_trial
from trialkit.trial.config import FILE
from trialkit.trial.folder import HARVEST_FOLDER, RESULTS_FOLDER
from trialkit.trial.stored_result import RESULT_FILE, read_stored
from trialkit.trial.tables import FORMS

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class SeasonAnswer:
    """One trial folder's answer.

    Parameters
    ----------
    path
        The folder.
    config
        What its `trial.toml` says.
    summary
        What its analysis says.
    notes
        Whether it was worked out anew, and why.
    """

    path: Path
    config: TrialConfig
    summary: Summary
    notes: tuple[str, ...]

    @property
    def label(self) -> str:
        """Season and paddock, as a row is named."""
        about = self.config.trial
        return f"{about.season} {about.paddock or about.name}".strip()

    @property
    def by_grade(self) -> bool:
        """Whether its grain was sold by grade."""
        quality = self.summary.grain_quality
        return quality is not None and bool(quality.chances)


def season_answers(
    folders: Sequence[str | Path], tell: Progress, *, own: SeasonAnswer | None = None
) -> tuple[SeasonAnswer, ...]:
    """Return the answer of each folder, in order of season.

    Parameters
    ----------
    folders
        Trial folders, two or more.
    tell
        Called with the name of each step as it begins.
    own
        An answer that is known already, to be taken together with those of the folders.

    Raises
    ------
    SeasonsError
        If there are fewer than two, one is there twice, or they cannot be compared.
    TrialkitError
        If a folder is faulty or cannot be analysed; the message names it.
    """
    paths = [Path(folder) for folder in folders]
    known = () if own is None else (own,)
    if len(paths) + len(known) < 2:
        raise SeasonsError("Give two trial folders or more: one season cannot be pooled.")
    held = [answer.path for answer in known]
    twice = [path for place, path in enumerate(paths) if _same(path, [*held, *paths[:place]])]
    if twice:
        raise SeasonsError(f"{twice[0]}: this folder is given twice. A season counts once.")
    answers = sorted(
        (*known, *(_answer(path, tell) for path in paths)),
        key=lambda a: (a.config.trial.season, a.label),
    )
    _check_once_each(answers)
    _check_comparable(answers)
    return tuple(answers)


def harvested_among(folders: Sequence[str | Path]) -> tuple[list[Path], tuple[str, ...]]:
    """Return the folders to take together, and a note on what was passed over.

    Files, such as what lies beside the folders, and trials that are still to be harvested have no
    season to add; anything else is kept, so that what is wrong with it is said.

    Parameters
    ----------
    folders
        As they were given.
    """
    paths = [Path(folder) for folder in folders]
    over = [path for path in paths if path.is_file() or _to_be_harvested(path)]
    if not over:
        return paths, ()
    named = ", ".join(path.name for path in over)
    note = say("Passed over, being no harvested trial folder: {paths}.", paths=named)
    return [path for path in paths if path not in over], (note,)


def _to_be_harvested(folder: Path) -> bool:
    stored = folder / RESULTS_FOLDER / RESULT_FILE
    return (folder / FILE).is_file() and not _harvested(folder) and not stored.is_file()


def trials_beside(trial_folder: str | Path) -> list[Path]:
    """Return the harvested trial folders beside one, itself among them, by name.

    Parameters
    ----------
    trial_folder
        A trial folder.
    """
    home = Path(trial_folder).resolve().parent
    folders = sorted(path.parent for path in home.glob(f"*/{FILE}"))
    return [folder for folder in folders if _harvested(folder)]


def _harvested(folder: Path) -> bool:
    logs = folder / HARVEST_FOLDER
    weighed = folder / FORMS["weights"].file
    return (logs.is_dir() and any(logs.iterdir())) or (
        weighed.is_file() and len(weighed.read_bytes().splitlines()) > 1
    )


def _same(path: Path, others: Sequence[Path]) -> bool:
    return any(path.resolve() == other.resolve() for other in others)


def _answer(path: Path, tell: Progress) -> SeasonAnswer:
    tell(f"Reading {path.name or path}")
    try:
        trial = open_trial(path)
        stored = read_stored(trial)
        if stored is not None and not stored.changes:
            return SeasonAnswer(path, trial.config, stored.summary, ())
        why = say("There was no answer in the folder.") if stored is None else stored.changes[0]
        tell(f"Working out {path.name or path}")
        note = say("Worked out anew. {why}", why=why)
        return SeasonAnswer(path, trial.config, _anew(trial), (note,))
    except TrialkitError as error:
        raise type(error)(f"{path}: {error}") from error


def _anew(trial: Trial) -> Summary:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TrialkitWarning)  # they stand in the summary
        return analyse(trial).summary


def _check_once_each(answers: Sequence[SeasonAnswer]) -> None:
    """Refuse the same trial from two folders: it would count twice."""
    seen: dict[tuple[str, int, tuple[object, ...]], Path] = {}
    for answer in answers:
        key = (answer.summary.trial, answer.summary.season, answer.summary.inputs)
        if key in seen:
            raise SeasonsError(
                f"{answer.path}: it holds the same files as {seen[key]}. A season counts once."
            )
        seen[key] = answer.path


def _check_comparable(answers: Sequence[SeasonAnswer]) -> None:
    first, *others = answers
    for answer in others:
        for what, one, other in (
            ("crop", first.config.trial.crop, answer.config.trial.crop),
            (
                "moisture that yields are stated at, %,",
                first.config.harvest.standard_moisture_pct,
                answer.config.harvest.standard_moisture_pct,
            ),
        ):
            if one != other and str(one).casefold() != str(other).casefold():
                raise SeasonsError(
                    f"{answer.path}: the {what} is {other}, in {first.path} it is {one}. Gains "
                    "of the two cannot be pooled. Leave one of them out."
                )
