"""What a bundle holds, as machines read it: a Frictionless Data Package, and checksums.

Source: the open specification Data Package, version 1, with Data Resource, Tabular Data Resource,
Table Schema and CSV Dialect, https://specs.frictionlessdata.io (looked up through the descriptor
models of the PyPI package `frictionless`).
"""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from trialkit.columns import COLUMNS, Column
from trialkit.errors import LogError
from trialkit.harvest.readers.delimited import Dialect, dialect_of
from trialkit.trial.config import TrialConfig
from trialkit.trial.folder import HARVEST_FOLDER
from trialkit.trial.sowing_notes import SOWN_FORM
from trialkit.trial.tables import FORMS

#: Name of the description, fixed by the specification.
DESCRIPTION_FILE = "datapackage.json"
#: Checksums as the common command-line programs write and check them.
CHECKSUM_FILE = "SHA256SUMS"

_MEDIA_TYPES = {
    "csv": "text/csv",
    "tsv": "text/tab-separated-values",
    "txt": "text/plain",
    "geojson": "application/geo+json",
    "json": "application/json",
    "toml": "application/toml",
    "html": "text/html",
    "xml": "application/xml",
    "zip": "application/zip",
}
_ANY = "application/octet-stream"

#: Ours for the kinds of the Table Schema. Times come in many forms, which `any` leaves open.
_FIELDS: dict[str, dict[str, str]] = {
    "number": {"type": "number"},
    "text": {"type": "string"},
    "flag": {"type": "boolean"},
    "time": {"type": "datetime", "format": "any"},
}


def describe(files: Mapping[str, bytes], config: TrialConfig) -> dict[str, Any]:
    """Return the description of a bundle.

    Parameters
    ----------
    files
        Content of each file by its path in the bundle.
    config
        What `trial.toml` says.

    Returns
    -------
    dict
        Plain values: the content of `datapackage.json`.
    """
    about = config.trial
    names: dict[str, None] = {}
    resources = []
    for path in sorted(files):
        name = _name(path, names)
        resources.append({"name": name} | _resource(path, files[path], config))
    return {
        "profile": "data-package",
        "name": _slug(f"{about.name}-{about.season}"),
        "title": f"{about.name}, {about.season}",
        "description": (
            "A strip trial of seed dressing: what was tested, laid out, sown and harvested, and "
            f"the answer. Crop: {about.crop}. Money in {config.money.currency}. Positions in "
            "degrees of longitude and latitude, WGS 84, where nothing else is said."
        ),
        "keywords": ["field trial", "seed dressing", about.crop],
        "resources": resources,
    }


def _resource(path: str, raw: bytes, config: TrialConfig) -> dict[str, Any]:
    ending = PurePosixPath(path).suffix.lower().lstrip(".")
    entry: dict[str, Any] = {
        "path": path,
        "format": ending,
        "mediatype": _MEDIA_TYPES.get(ending, _ANY),
        "bytes": len(raw),
        "hash": f"sha256:{sha256(raw)}",
    }
    columns = _columns_of(path, config)
    if columns is None:
        return entry
    try:
        dialect = dialect_of(raw, path)
    except LogError:  # what is no table is described as a file
        return entry
    if dialect.delimiter == " ":
        return entry
    return entry | _table(dialect, columns)


def _columns_of(path: str, config: TrialConfig) -> dict[str, tuple[Column, str]] | None:
    """Return column and unit by heading, of a file that is a table; None for another."""
    own = {name: (column, column.unit) for name, column in COLUMNS.items()}
    if path in {*(form.file for form in FORMS.values()), SOWN_FORM.file}:
        return own
    home, _, name = path.rpartition("/")
    if home != HARVEST_FOLDER or PurePosixPath(name).suffix.lower() not in (".csv", ".txt", ".tsv"):
        return None
    harvest = config.harvest
    named = {
        heading: (COLUMNS[name], harvest.units.get(name, ""))
        for name, heading in harvest.columns.items()
    }
    return own | named


def _table(dialect: Dialect, columns: Mapping[str, tuple[Column, str]]) -> dict[str, Any]:
    fields = []
    for heading in dialect.headings:
        known = columns.get(" ".join(heading.split()))
        field: dict[str, Any] = {"name": heading, "type": "any"}
        if known is not None:
            column, unit = known
            field |= _FIELDS[column.kind] | {"description": column.meaning}
            field |= {"unit": unit} if unit else {}
            if column.kind == "number" and dialect.decimal != ".":
                field["decimalChar"] = dialect.decimal
        fields.append(field)
    return {
        "profile": "tabular-data-resource",
        "encoding": dialect.encoding.removesuffix("-sig"),
        "dialect": {"delimiter": dialect.delimiter},
        "schema": {"fields": fields, "missingValues": [""]},
    }


def _slug(text: str) -> str:
    """Return a name as the specification wants it: small letters, figures, hyphens."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "trial"


def _name(path: str, taken: dict[str, None]) -> str:
    """Return a name for a file that no other has."""
    wanted = name = _slug(path)
    number = 2
    while name in taken:
        name, number = f"{wanted}-{number}", number + 1
    taken[name] = None
    return name


def description_text(description: Mapping[str, Any]) -> str:
    """Return a description as it is written.

    Parameters
    ----------
    description
        From `describe`.
    """
    return json.dumps(description, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def checksum_text(files: Mapping[str, bytes]) -> str:
    """Return the checksums of files, one a line; `sha256sum -c` reads them.

    Parameters
    ----------
    files
        Content of each file by its path.
    """
    return "".join(f"{sha256(files[path])}  {path}\n" for path in sorted(files))


def read_checksums(text: str) -> dict[str, str]:
    """Return the checksums by path that `checksum_text` wrote.

    Parameters
    ----------
    text
        Content of the file; lines that are no checksum are passed over.
    """
    found: Sequence[tuple[str, str]] = re.findall(r"^([0-9a-f]{64}) [ *](.+)$", text, re.M)
    return {path: digest for digest, path in found}


def sha256(raw: bytes) -> str:
    """Return the SHA-256 of some bytes in hexadecimal."""
    return hashlib.sha256(raw).hexdigest()
