"""All guidance files of a trial in one go, whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from trialkit.design.guidance.field_drawing import FieldDrawing
from trialkit.design.guidance.from_plan import draw_guidance
from trialkit.design.guidance.kml import as_kml
from trialkit.design.guidance.map_export import as_geojson, as_geopackage, as_shapefiles
from trialkit.design.guidance.task_export import task_data_zip, zone_names
from trialkit.design.layout import TrialPlan
from trialkit.design.outline import Drawing
from trialkit.language import figures, marked, say, say_counted

#: What `read-me.txt` says.
_FILES = marked(
    """\
{name}: files for the terminal and the map

Which file
  taskdata-version-4.zip   terminals that take ISO 11783-10 task data. Unpack it on the root of
                           the stick, so that the stick holds a folder TASKDATA.
  taskdata-version-3.zip   the same for older terminals. Never both on one stick.
  shapefiles.zip           terminals and map programs that take shapefiles.
  field.gpkg               GeoPackage, field.geojson GeoJSON: map programs.
  field.kml                maps on a telephone or a globe, with the names on the strips.
All positions are WGS 84.

"""
)
_NO_RATE = marked(
    """\
  The task data name what each strip gets and hold no seed rate: set it by hand, the
  same for all strips.
"""
)
_ONE_RATE = marked(
    """\
  The task data sow {rate:g} kg/ha in all strips, in the rest of the field
  and where the position is lost; out of the field they stop the seeder. Some
  terminals take the ground beside strips for out of the field: try the headland.
"""
)
_RATES = marked(
    """\
  The seed rate differs between strips. In the rest of the field, out of it, and where
  the position is lost, the task data stop the seeder: watch it, and mark any gap.
"""
)
_TANK = marked(
    """\

What goes into the tank
{sown}
"""
)
_BEFORE = marked(
    """\

Before you drive
  Compare a corner of the first strip on the terminal with its peg in the ground. A position of
  the day can differ from that of the drawing: shift the line to the peg, not the peg to the line.
  The terminal knows no power lines, wet holes or people. The handbook of the machine and local
  rules stand above these files.
"""
)


def guidance_files(
    plan: TrialPlan,
    boundary: Drawing,
    *,
    name: str,
    seed_rates_kg_ha: float | Mapping[str, float] | None = None,
    exclusions: Drawing | None = None,
) -> dict[str, bytes]:
    """Return what a terminal or a map program can load, by file name.

    Parameters
    ----------
    plan
        The strips as laid out.
    boundary
        The field, as it was given to `plan_trial`.
    name
        Name of the field or trial, as the terminal shall show it.
    seed_rates_kg_ha
        Seed rate of all strips, or of each treatment, kg/ha; None leaves it to the operator.
    exclusions
        Ground to stay off, as it was given to `plan_trial`: shown as obstacles.

    Returns
    -------
    dict
        The same trial gives the same bytes. `read-me.txt` says which file is for what.

    Raises
    ------
    LayoutError
        If a name or a rate makes no sense.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from trialkit.design import Wishes, guidance_files, plan_trial
    >>> field = box(85.0, -38.504, 85.006, -38.5)  # at sea: 523 m by 444 m
    >>> plan = plan_trial(field, ["untreated", "dressed"], 6, Wishes(12, 9), seed=20260412)
    >>> files = guidance_files(plan, field, name="Invented field")
    >>> for file in files:
    ...     print(file)
    taskdata-version-4.zip
    taskdata-version-3.zip
    shapefiles.zip
    field.gpkg
    field.geojson
    field.kml
    read-me.txt
    """
    drawing = draw_guidance(
        plan, boundary, name=name, seed_rates_kg_ha=seed_rates_kg_ha, exclusions=exclusions
    )
    return {
        "taskdata-version-4.zip": task_data_zip(drawing, 4),
        "taskdata-version-3.zip": task_data_zip(drawing, 3),
        "shapefiles.zip": as_shapefiles(drawing),
        "field.gpkg": as_geopackage(drawing),
        "field.geojson": as_geojson(drawing),
        "field.kml": as_kml(drawing),
        "read-me.txt": _read_me(drawing).encode("utf-8"),
    }


def write_guidance(
    plan: TrialPlan,
    boundary: Drawing,
    folder: str | Path,
    *,
    name: str,
    seed_rates_kg_ha: float | Mapping[str, float] | None = None,
    exclusions: Drawing | None = None,
) -> list[Path]:
    """Write what a terminal or a map program can load.

    Parameters
    ----------
    plan
        The strips as laid out.
    boundary
        The field, as it was given to `plan_trial`.
    folder
        Where the files go; made if need be. Files of the same names are replaced.
    name
        Name of the field or trial, as the terminal shall show it.
    seed_rates_kg_ha
        Seed rate of all strips, or of each treatment, kg/ha; None leaves it to the operator.
    exclusions
        Ground to stay off, as it was given to `plan_trial`: shown as obstacles.

    Returns
    -------
    list
        The files written, those of `guidance_files`. Nothing is written if one cannot be made.

    Raises
    ------
    LayoutError
        If a name or a rate makes no sense.
    """
    files = guidance_files(
        plan, boundary, name=name, seed_rates_kg_ha=seed_rates_kg_ha, exclusions=exclusions
    )
    home = Path(folder)
    home.mkdir(parents=True, exist_ok=True)
    return [_write_whole(home / file, content) for file, content in files.items()]


def _write_whole(path: Path, content: bytes) -> Path:
    """Write under a temporary name, then move into place."""
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(temporary).chmod(0o644)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise
    return path


def _read_me(drawing: FieldDrawing) -> str:
    """Return what each file is for, in the words of the cab."""
    reference = drawing.lines.iloc[0]
    strips = drawing.strips
    shown = zone_names(strips)
    sown = "\n".join(
        f"  {row['strip']:<5} {row['treatment']}{_rate_words(row['seed_kg_ha'])}"
        + _cut_words(f"{row['strip']} {row['treatment']}", shown[row["strip"]])
        for row in strips.to_dict("records")
    )
    drive = say_counted(
        """\
How to drive
  Load the line "{line}" and set the width to {swath:g} m: the terminal's own lines
  then fall on every pass of every strip. It heads {heading:.2f} degrees. Each
  strip is one pass wide; its lines are there by name too.
""",
        """\
How to drive
  Load the line "{line}" and set the width to {swath:g} m: the terminal's own lines
  then fall on every pass of every strip. It heads {heading:.2f} degrees. Each
  strip is {count} passes wide; its lines are there by name too.
""",
        (len(drawing.lines) - 1) // len(strips),
        line=reference["name"],
        swath=float(reference["swath_m"]),
        heading=float(reference["heading_deg"]),
    )
    parts = (say(_FILES, name=drawing.name), drive, _rate_note(drawing), say(_TANK, sown=sown))
    return "".join([*parts, say(_BEFORE)])


def _rate_words(kg_ha: float) -> str:
    return "" if kg_ha != kg_ha else f", {figures(f'{kg_ha:g}')} kg/ha"


def _cut_words(name: str, shown: str) -> str:
    if name == shown:
        return ""
    terminal = say("(the terminal shows: {name})", name=shown)
    return f" {terminal}"


def _rate_note(drawing: FieldDrawing) -> str:
    rates = drawing.strips["seed_kg_ha"]
    if rates.isna().all():
        return say(_NO_RATE)
    return say(_ONE_RATE, rate=float(rates.iloc[0])) if rates.nunique() == 1 else say(_RATES)
