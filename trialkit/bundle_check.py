"""The other side of a bundle: every checksum, then the same numbers from the same files.

Checksums show damage and careless change. Who changes a file and writes all checksums anew is found
out by working the season out again, unless the answer was made to fit too; then only the checksum
of the whole zip helps, told by another way.
"""

from __future__ import annotations

import json
import re
import tempfile
import warnings
import zipfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from trialkit.checks import Check, faults
from trialkit.errors import BundleError, TrialkitError, TrialkitWarning
from trialkit.incoming.file_set import FileSet, open_zip
from trialkit.repeated import Repeated, repeat
from trialkit.trial.data_package import CHECKSUM_FILE, DESCRIPTION_FILE, read_checksums, sha256
from trialkit.trial.folder import open_trial

#: The longest path that is unpacked, and the longest description that is read.
_LONGEST_PATH = 240
_LARGEST_DESCRIPTION = 10_000_000

#: What no path in a bundle holds: other systems' separators, drives, characters nobody sees.
_ODD = re.compile(r'[\x00-\x1f\x7f\\:*?"<>|]')

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class CheckedBundle:
    """What the check of a bundle found.

    Parameters
    ----------
    checks
        A row for each file: its checksum is right, or what is wrong.
    again
        The stored answer beside the one worked out again; None where a file was at fault, and
        nothing was unpacked.
    sha256
        Checksum of the zip.
    """

    checks: tuple[Check, ...]
    again: Repeated | None
    sha256: str

    @property
    def right(self) -> bool:
        """Whether every checksum is right and every number the same."""
        return not faults(self.checks) and self.again is not None and self.again.same

    def sentences(self) -> list[str]:
        """Return what was found in words."""
        wrong = [check.sentence() for check in faults(self.checks)]
        said = [f"FAULT  {sentence}" for sentence in wrong]
        if not wrong:
            said.append(f"{len(self.checks)} files, every checksum right.")
        if self.again is None:
            said.append("Nothing was unpacked. Ask for the bundle again.")
        else:
            said += self.again.sentences()
        return [*said, f"SHA-256 of the bundle: {self.sha256}"]

    def as_plain(self) -> dict[str, Any]:
        """Return what was found as plain values, for JSON."""
        again = self.again
        return {
            "right": self.right,
            "sha256": self.sha256,
            "files": len(self.checks),
            "faults": [check.sentence() for check in faults(self.checks)],
            "again": None if again is None else again.as_plain(),
        }


def check_bundle(path: Path, *, progress: Progress | None = None) -> CheckedBundle:
    """Check a bundle: its checksums, and whether its numbers come out again.

    Nothing in it is run. It is unpacked into a folder of its own, which is removed again, and only
    if every checksum is right.

    Parameters
    ----------
    path
        The zip.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    CheckedBundle

    Raises
    ------
    TrialkitError
        If it is no bundle, would write outside its folder or unpack to too much, or the trial in
        it cannot be worked out.
    """
    tell = progress or (lambda _: None)
    tell("Checking checksums")
    files = open_zip(path)
    for name in _every_name(path):
        _check_path(path, name)
    checks = tuple(_checksums(files, _resources(path, files)))
    own = sha256(path.read_bytes())
    if faults(checks):
        return CheckedBundle(checks, None, own)
    with tempfile.TemporaryDirectory(prefix="trialkit-") as home:
        folder = Path(home, "trial")
        for name in files.members:
            target = folder / name
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(files.read(name))
        tell("Working the season out again")
        return CheckedBundle(checks, _again(path, folder), own)


def _every_name(bundle: Path) -> list[str]:
    """Return the path of every file in a zip, those too that would be passed over as hidden."""
    with zipfile.ZipFile(bundle) as archive:
        return [entry.filename for entry in archive.infolist() if not entry.is_dir()]


def _check_path(bundle: Path, name: str) -> None:
    """Refuse a path that leads out of the folder, or that another system would read so."""
    path = PurePosixPath(name)
    plain = path.as_posix() == name and not path.is_absolute() and ".." not in path.parts
    if not plain or _ODD.search(name) or len(name) > _LONGEST_PATH:
        raise BundleError(
            f"{bundle.name}: the path {name[:80]!r} in it is none that `trialkit bundle` writes, "
            "and unpacking it could harm. Do not unpack this zip; ask for the bundle again."
        )


def _resources(bundle: Path, files: FileSet) -> dict[str, tuple[str, int]]:
    """Return checksum and size of each file that the description names."""
    remedy = "Make one with `trialkit bundle FOLDER`."
    if DESCRIPTION_FILE not in files.members:
        raise BundleError(
            f"{bundle.name}: this zip is no bundle, there is no {DESCRIPTION_FILE} in it. {remedy}"
        )
    raw = files.read(DESCRIPTION_FILE)
    broken = BundleError(f"{bundle.name}: its {DESCRIPTION_FILE} is damaged. {remedy}")
    if len(raw) > _LARGEST_DESCRIPTION:
        raise broken
    try:
        content = json.loads(raw)
        named = {
            str(entry["path"]): (str(entry["hash"]).removeprefix("sha256:"), int(entry["bytes"]))
            for entry in content["resources"]
        }
    except (ValueError, TypeError, LookupError, RecursionError) as error:
        raise broken from error
    if not named:
        raise broken
    return named


def _checksums(files: FileSet, named: Mapping[str, tuple[str, int]]) -> Iterator[Check]:
    """Check every file against the description, and the description against the checksums."""
    again = "Ask for the bundle again."
    listed: dict[str, str] = {}
    if CHECKSUM_FILE in files.members:
        listed = read_checksums(files.read(CHECKSUM_FILE).decode("utf-8", errors="replace"))
    else:
        yield Check(CHECKSUM_FILE, "", "The file is missing.", again)
    expected = {path: digest for path, (digest, _) in named.items()}
    for path in sorted({*named, *listed, *files.members} - {CHECKSUM_FILE}):
        if path not in files.members:
            yield Check(path, "", "It is not in the zip.", again)
            continue
        raw = files.read(path)
        if path not in named and path != DESCRIPTION_FILE:
            yield Check(path, "", f"It was added: {DESCRIPTION_FILE} does not name it.", again)
        elif sha256(raw) != listed.get(path) or sha256(raw) != expected.get(path, sha256(raw)):
            yield Check(path, "", "It was changed after the checksums were made.", again)
        elif path in named and len(raw) != named[path][1]:
            yield Check(path, "", f"{len(raw)} bytes, not {named[path][1]}.", again)
        else:
            yield Check(path, "", "The checksum is right.", outcome="ok")


def _again(bundle: Path, folder: Path) -> Repeated:
    """Work the season out again and compare it with the stored answer."""
    try:
        trial = open_trial(folder)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", TrialkitWarning)  # they stand in the summary
            return repeat(trial)
    except TrialkitError as error:
        raise type(error)(f"{bundle.name}: {error}") from error
