"""Files that belong together, in a folder or a zip, by name and whatever their case.

Zips come by mail: nothing is unpacked to disk, and what a zip says of its sizes is checked first.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from trialkit.errors import LogError

#: A log of a million records holds some 100 MB; what is larger than this is no log or drawing.
LARGEST_BYTES = 500_000_000
#: Nor does a set of files hold more than so many, or pack more than so many times.
_MOST_FILES = 20_000
_MOST_PACKED = 200
#: Folders looked into below the one given.
_DEEPEST = 4


@dataclass(frozen=True, slots=True)
class FileSet:
    """Files by their path inside a folder or zip.

    Parameters
    ----------
    name
        Name of the folder or zip, for messages.
    members
        Path inside it, with `/`, to what reads the file.
    """

    name: str
    members: dict[str, Callable[[], bytes]]

    def named(self, file: str, beside: str = "") -> str | None:
        """Return the path of a file by its name, upper or lower case.

        Parameters
        ----------
        file
            Name with its ending.
        beside
            Path of a file in whose folder it is looked for; anywhere if empty.
        """
        home = PurePosixPath(beside).parent
        for path in self.members:
            own = PurePosixPath(path)
            if own.name.lower() == file.lower() and (not beside or own.parent == home):
                return path
        return None

    def ending(self, *endings: str) -> list[str]:
        """Return the paths of files with one of some endings, such as `.csv`, in order."""
        return sorted(
            path for path in self.members if PurePosixPath(path).suffix.lower() in endings
        )

    def read(self, path: str) -> bytes:
        """Return the bytes of a file.

        Raises
        ------
        LogError
            If it cannot be read.
        """
        try:
            return self.members[path]()
        except (
            OSError,
            zipfile.BadZipFile,
            NotImplementedError,
            RuntimeError,
            EOFError,
            ValueError,
        ) as error:
            raise LogError(
                f"{self.name}: {path} cannot be read ({str(error)[:80]}). The file is damaged or "
                "locked. Export or copy it again."
            ) from error
        except Exception as error:  # zlib and lzma have errors of their own
            raise LogError(
                f"{self.name}: {path} is damaged ({type(error).__name__}). Copy the zip again."
            ) from error


def open_folder(path: Path) -> FileSet:
    """Return the files of a folder and of the folders in it.

    Raises
    ------
    LogError
        If there are too many.
    """
    home = path.resolve()
    members: dict[str, Callable[[], bytes]] = {}
    for found in sorted(path.rglob("*")):
        inside = found.relative_to(path)
        if len(inside.parts) > _DEEPEST or _litter(inside.as_posix()) or not found.is_file():
            continue
        if not found.resolve().is_relative_to(home):
            continue  # a link that leads out of the folder
        members[inside.as_posix()] = _reader(found)
        if len(members) > _MOST_FILES:
            raise LogError(
                f"{path.name}: more than {_MOST_FILES} files. Give the folder of one field's files."
            )
    return FileSet(path.name, members)


def _reader(path: Path) -> Callable[[], bytes]:
    def read() -> bytes:
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise ValueError(f"{size / 1e6:,.0f} MB are more than the files of a field hold")
        return path.read_bytes()

    return read


def open_beside(path: Path) -> FileSet:
    """Return a file, with those beside it that bear its name or the ending `.xml`.

    The parts of a shapefile share a name; task data refer to further XML files.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    LogError
        If there are too many.
    """
    members = {path.name: _reader(path)}
    home = path.resolve().parent
    related = path.suffix.lower() == ".xml"
    for found in sorted(path.parent.iterdir()):
        own = found.stem == path.stem or (related and found.suffix.lower() == ".xml")
        if not own or found.name in members or _litter(found.name) or not found.is_file():
            continue
        if found.resolve().parent != home:
            continue  # a link that leads out of the folder
        members[found.name] = _reader(found)
        if len(members) > _MOST_FILES:
            raise LogError(
                f"{path.name}: more than {_MOST_FILES} files beside it. Give the folder of one "
                "field's files."
            )
    return FileSet(path.name, members)


def open_zip(path: Path) -> FileSet:
    """Return the files of a zip.

    Raises
    ------
    LogError
        If it is no zip, or holds more than the files of one field do.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
        if not all(entry.filename for entry in entries):
            raise ValueError("a file without a name")
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise LogError(
            f"{path.name}: this is not a whole zip file. Copy or export it again."
        ) from error
    entries = [entry for entry in entries if not entry.is_dir() and not _litter(entry.filename)]
    unpacked = sum(entry.file_size for entry in entries)
    packed = sum(entry.compress_size for entry in entries)
    if (
        len(entries) > _MOST_FILES
        or unpacked > 2 * LARGEST_BYTES
        or (unpacked > 10_000_000 and unpacked > _MOST_PACKED * packed)
    ):
        raise LogError(
            f"{path.name}: the zip would unpack to {len(entries):,} files and "
            f"{unpacked / 1e6:,.0f} MB, more than the files of a field hold. Zip this field's "
            "files alone."
        )
    return FileSet(path.name, {entry.filename: _unpacker(path, entry) for entry in entries})


def _unpacker(path: Path, entry: zipfile.ZipInfo) -> Callable[[], bytes]:
    def read() -> bytes:
        with zipfile.ZipFile(path) as archive:
            return archive.read(entry)

    return read


def _litter(path: str) -> bool:
    """Tell what some systems leave beside the files: `._name`, `__MACOSX`, hidden files."""
    return any(part.startswith((".", "__MACOSX")) for part in PurePosixPath(path).parts)
