"""One zip of a trial to send: its data, the answer, the report, and a description of it all."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.errors import BundleError
from trialkit.repeated import repeated
from trialkit.season import analyse
from trialkit.trial.data_package import (
    CHECKSUM_FILE,
    DESCRIPTION_FILE,
    checksum_text,
    describe,
    description_text,
    sha256,
)
from trialkit.trial.folder import RESULTS_FOLDER, Trial, check_inside, open_trial
from trialkit.trial.outdated import REPORT_FILE, report_inputs
from trialkit.trial.past_yields import PAST_YIELDS_FOLDER
from trialkit.trial.planning import EXCLUSIONS_FILE
from trialkit.trial.provenance import input_files
from trialkit.trial.rewritten import Rewriting, rewrite
from trialkit.trial.shifted import random_shift
from trialkit.trial.stored_result import RESULT_FILE, Stored, changes_since, read_stored
from trialkit.trial.writing import write_whole

if TYPE_CHECKING:
    import numpy as np

#: More than this nobody mails, and `trialkit check` would not open it.
LARGEST_BYTES = 500_000_000

#: Folders of a trial that are made by trialkit, or are of no interest to others.
_OURS = (RESULTS_FOLDER, "notebooks")

#: A shorter name stands in too many words to be looked for.
_SHORTEST_NAME = 4

#: Files left out that are told by name.
_TOLD = 8

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Bundle:
    """A bundle that was made.

    Parameters
    ----------
    path
        The zip.
    sha256
        Its checksum: tell it by another way, and the other side knows the zip is yours.
    files
        What is in it, in order.
    notes
        What the sender should know.
    """

    path: Path
    sha256: str
    files: tuple[str, ...]
    notes: tuple[str, ...]

    def as_plain(self) -> dict[str, object]:
        """Return what was made as plain values, for JSON."""
        return {
            "wrote": [str(self.path)],
            "sha256": self.sha256,
            "files": list(self.files),
            "notes": list(self.notes),
        }

    def sentences(self) -> list[str]:
        """Return what was made, in words."""
        return [
            f"{len(self.files)} files in the bundle, each with its checksum.",
            *self.notes,
            f"SHA-256 of the bundle: {self.sha256}",
        ]


def make_bundle(
    folder: Path,
    out_file: Path | None = None,
    *,
    shift: bool = False,
    without_names: bool = False,
    rng: np.random.Generator | None = None,
    progress: Progress | None = None,
) -> Bundle:
    """Put a trial into one zip that another can check.

    Parameters
    ----------
    folder
        The trial folder, which stays as it is.
    out_file
        Where the zip goes; by default beside the folder, under its name.
    shift
        Whether to move all positions elsewhere on the earth, alike.
    without_names
        Whether to take out the names of trial, paddock and files, free text and comments.
    rng
        Source of the shift; by default one that nobody can repeat.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    Bundle

    Raises
    ------
    TrialkitError
        If the folder has faults, its answer is out of date, or it cannot be bundled as asked.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from trialkit.shipped import demo_trials
    >>> with TemporaryDirectory() as home:
    ...     bundle = make_bundle(min(demo_trials().values()), Path(home, "demo.zip"))
    >>> bundle.files[:2]
    ('SHA256SUMS', 'boundary.geojson')
    """
    tell = progress or (lambda _: None)
    tell("Collecting the files")
    trial = open_trial(folder)
    stored = _stored(trial)
    out_file = out_file or folder.resolve().with_name(f"{folder.resolve().name}.zip")
    _check_place(out_file, folder)
    shared, notes = _shared(trial)
    with tempfile.TemporaryDirectory(prefix="trialkit-") as home:
        copy = Path(home, "trial")
        if shift or without_names:
            tell("Shifting and taking names out")
            field = trial.planned_layout if trial.boundary is None else trial.boundary
            way = random_shift(field, rng) if shift else None
            rewrite(Rewriting(folder, copy, trial.config, way, without_names), shared)
        else:
            _copy(shared, folder, copy)
        files, own = _with_answer(trial, stored, copy, tell)
        config = open_trial(copy).config
    notes += own
    if shift:
        notes.append(
            "Shape, heights and times stay: the shift hides the place from a reader, not from "
            "somebody who sets out to find it."
        )
    if without_names:
        notes += _names_left(trial, files)
    files[DESCRIPTION_FILE] = description_text(describe(files, config)).encode()
    files[CHECKSUM_FILE] = checksum_text(files).encode()
    tell("Writing the zip")
    packed = _zipped(files)
    write_whole(out_file, packed)
    return Bundle(out_file, sha256(packed), tuple(sorted(files)), tuple(notes))


def _copy(files: Iterable[Path], folder: Path, copy: Path) -> None:
    for path in files:
        target = copy / path.relative_to(folder)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)


def _stored(trial: Trial) -> Stored | None:
    """Return the answer in the folder; refuse one that rests on other files."""
    stored = read_stored(trial)
    if stored is not None and stored.changes:
        raise BundleError(
            f"{RESULTS_FOLDER}/{RESULT_FILE} rests on other files than the folder has now. "
            f"{' '.join(stored.changes)} Run `trialkit analyse FOLDER` again, then bundle."
        )
    return stored


def _check_place(out_file: Path, folder: Path) -> None:
    if out_file.is_dir():
        raise BundleError(f"{out_file}: this is a folder. Give the zip a name, such as trial.zip.")
    home = out_file.resolve().parent
    inside = home.is_relative_to(folder.resolve())
    if inside and not home.is_relative_to((folder / RESULTS_FOLDER).resolve()):
        raise BundleError(
            f"{out_file}: this would lie among the files of the trial. Put it outside the folder."
        )


def _shared(trial: Trial) -> tuple[list[Path], list[str]]:
    """Return the files of a trial that are shared, and say which are not."""
    folder = trial.path
    past = folder / PAST_YIELDS_FOLDER
    known = {*trial.input_files, *past.rglob("*"), folder / EXCLUSIONS_FILE}
    every = sorted(path for path in folder.rglob("*") if path.is_file())
    plain = [path for path in every if not _hidden(path, folder)]
    shared = [path for path in plain if path in known]
    outside = check_inside(folder, shared)
    if outside:
        raise BundleError("\n".join(check.sentence() for check in outside))
    size = sum(path.stat().st_size for path in shared)
    if size > LARGEST_BYTES:
        raise BundleError(
            f"{folder.name}: its files hold {size / 1e6:,.0f} MB, more than a bundle may "
            f"({LARGEST_BYTES / 1e6:,.0f} MB). Take out past yields or logs of other fields."
        )
    others = [path.relative_to(folder) for path in plain if path not in known]
    left = [path.as_posix() for path in others if path.parts[0] not in _OURS]
    if not left:
        return shared, []
    more = f" and {len(left) - _TOLD} more" if len(left) > _TOLD else ""
    return shared, [
        f"Left out, because trialkit does not read them: {', '.join(left[:_TOLD])}{more}."
    ]


def _hidden(path: Path, folder: Path) -> bool:
    parts = path.relative_to(folder).parts
    return any(part.startswith((".", "__MACOSX")) for part in parts)


def _with_answer(
    trial: Trial, stored: Stored | None, copy: Path, tell: Progress
) -> tuple[dict[str, bytes], list[str]]:
    """Return the files of the copy with answer and report, and what is to be said of these."""
    copied = open_trial(copy)
    inputs = tuple(input_files(copied))
    notes = []
    if stored is not None and stored.summary.inputs == inputs:
        answer = (trial.results / RESULT_FILE).read_bytes()
    else:
        tell("Working the season out")
        summary = analyse(copied).summary
        answer = summary.to_json().encode()
        if stored is not None:
            notes.append(_moved_numbers(repeated(stored.summary, summary).largest))
    files = {path.relative_to(copy).as_posix(): path.read_bytes() for path in _files(copy)}
    files[f"{RESULTS_FOLDER}/{RESULT_FILE}"] = answer
    report, own = _report(trial, copied, tell)
    if report is not None:
        files[f"{RESULTS_FOLDER}/{REPORT_FILE}"] = report
    return files, [*notes, *own]


def _moved_numbers(largest: float) -> str:
    return (
        "The answer was worked out anew from the files in the bundle; the largest difference of a "
        f"number to your own is {largest:.1g} of it."
    )


def _report(trial: Trial, copied: Trial, tell: Progress) -> tuple[bytes | None, list[str]]:
    """Return the report: as it is where the copy's files are those it rests on, else made anew."""
    path = trial.results / REPORT_FILE
    if not path.is_file():
        return None, ["There is no report in it: run `trialkit report FOLDER` first to add one."]
    rests_on = report_inputs(path)
    if rests_on is not None and not changes_since(rests_on, input_files(copied)):
        return path.read_bytes(), []
    from trialkit.report.render import render

    tell("Making the report")
    render(copied.path, copied.path / RESULTS_FOLDER / REPORT_FILE)
    made = (copied.path / RESULTS_FOLDER / REPORT_FILE).read_bytes()
    return made, ["The report was made anew from the files in the bundle."]


def _files(folder: Path) -> Iterator[Path]:
    yield from sorted(path for path in folder.rglob("*") if path.is_file())


def _names_left(trial: Trial, files: Mapping[str, bytes]) -> list[str]:
    """Say where a name still stands that was to be taken out."""
    about = trial.config.trial
    named = {trial.path.resolve().name, about.name, about.paddock}
    notes = []
    for name in sorted(name for name in named if len(name) >= _SHORTEST_NAME):
        where = [path for path, raw in sorted(files.items()) if _says(raw, name) or name in path]
        if where:
            notes.append(f"Look before you send it: '{name}' still stands in {', '.join(where)}.")
    kept = ", ".join(treatment.name for treatment in trial.config.treatments)
    return [*notes, f"Names of treatments ({kept}), products, strips and headings stay."]


def _says(raw: bytes, name: str) -> bool:
    return name.casefold() in raw.decode("utf-8", errors="ignore").casefold()


def _zipped(files: Mapping[str, bytes]) -> bytes:
    """Pack files, so that the same files make the same bytes."""
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(files):
            entry = zipfile.ZipInfo(path, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # the same whatever system it is made on
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, files[path])
    return packed.getvalue()
