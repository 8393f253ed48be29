"""What an answer rests on: the files of the trial and the software."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterator
from importlib.metadata import version

from trialkit.result import InputFile
from trialkit.trial.folder import Trial

#: Packages whose versions can change a number.
_PACKAGES = ("trialkit", "numpy", "pandas", "scipy", "formulaic", "geopandas", "shapely", "pyproj")


def input_files(trial: Trial) -> Iterator[InputFile]:
    """Return the files of a trial, each with its SHA-256."""
    for path in trial.input_files:
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        yield InputFile(path.relative_to(trial.path).as_posix(), digest)


def software() -> dict[str, str]:
    """Return the version of Python and of each package that can change a number."""
    return {"python": platform.python_version()} | {name: version(name) for name in _PACKAGES}
