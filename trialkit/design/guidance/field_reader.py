"""Read what a terminal or a map program exported of a field: outline, lines, strips."""

from __future__ import annotations

from pathlib import Path, PurePosixPath

from trialkit.design.guidance.candidates import Candidate, chosen
from trialkit.design.guidance.field_drawing import FieldDrawing
from trialkit.design.guidance.map_import import map_fields, readable
from trialkit.design.guidance.task_import import TASK_FILE, task_fields
from trialkit.errors import LayoutError, LogError
from trialkit.incoming.file_set import FileSet, open_beside, open_folder, open_zip

_FORMATS = "ISO 11783-10 task data, shapefile, GeoPackage, GeoJSON or KML"


def read_field_drawing(path: str | Path, *, field: str | int | None = None) -> FieldDrawing:
    """Read the outline of a field, and its guidance lines and strips where there are any.

    Parameters
    ----------
    path
        A file, a zip or a folder: ISO 11783-10 task data of any version, shapefile, GeoPackage,
        GeoJSON or KML. What it is is told by what it holds.
    field
        Which field, where there are several: its name or code, or its place in the file from 1.

    Returns
    -------
    FieldDrawing
        In WGS 84. Start a layout from it with `lay_out(drawing.boundary, ...,
        heading_deg=drawing.heading_deg, anchor=drawing.pass_edge(seeder_m))`.

    Raises
    ------
    LayoutError
        If there is no outline of one field in it; the message says what is there instead.

    Examples
    --------
    >>> import json, tempfile
    >>> from pathlib import Path
    >>> from shapely.geometry import box, mapping
    >>> from trialkit.design import read_field_drawing
    >>> home = Path(tempfile.mkdtemp(), "home.geojson")
    >>> _ = home.write_text(json.dumps(mapping(box(85.0, -38.504, 85.006, -38.5))))
    >>> drawing = read_field_drawing(home)
    >>> round(float(drawing.boundary["area_m2"].sum()) / 10_000, 1)
    23.2
    """
    place = Path(path)
    try:
        files, given = _opened(place)
        found = map_fields(files, [given]) if given else _candidates(files)
        return chosen(found, field, files.name)
    except LogError as error:  # of the part that opens files; here they are no logs
        raise LayoutError(str(error)) from error


def _opened(path: Path) -> tuple[FileSet, str]:
    """Return the files, and the name of the one that was given where it was one."""
    try:
        if path.is_dir():
            return open_folder(path), ""
        if not path.is_file():
            raise LayoutError(f"{path}: there is no such file or folder. Check its name.")
        with path.open("rb") as file:
            packed = file.read(4).startswith(b"PK")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise LayoutError(f"{path}: it cannot be opened ({reason}). Copy it again.") from error
    return (open_zip(path), "") if packed else (open_beside(path), path.name)


def _candidates(files: FileSet) -> list[Candidate]:
    homes = [path for path in files.members if PurePosixPath(path).name.lower() == TASK_FILE]
    if len(homes) > 1:
        raise LayoutError(
            f"{files.name}: it holds {len(homes)} sets of task data: {', '.join(homes[:5])}. Give "
            "the folder or zip of one set."
        )
    if homes:
        return task_fields(files, homes[0])
    return map_fields(files, _alike(files))


def _alike(files: FileSet) -> list[str]:
    """Return the files to read: those of one format, or the one that was given."""
    found = readable(files)
    kinds = sorted({PurePosixPath(path).suffix.lower() for path in found})
    if len(kinds) > 1:
        raise LayoutError(
            f"{files.name}: it holds drawings in {len(kinds)} formats ({', '.join(kinds)}), and "
            "they could differ. Give the one to read."
        )
    if not found:
        held = ", ".join(sorted(PurePosixPath(path).name for path in files.members)[:5])
        raise LayoutError(
            f"{files.name}: there is no drawing of a field in it (it holds {held or 'nothing'}). "
            f"Give {_FORMATS}."
        )
    return found
