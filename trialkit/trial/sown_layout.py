"""The layout that is analysed: the plan, with what was said, drawn and recorded after sowing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
from shapely.geometry.base import BaseGeometry

from trialkit.checks import Check, faults
from trialkit.design.as_sown import Change, LostGround, Sown, as_sown
from trialkit.design.strip_parts import moved_across, part_along
from trialkit.errors import LayoutError
from trialkit.language import marked, say
from trialkit.position import local_grid
from trialkit.trial.config import TrialConfig
from trialkit.trial.drawings import check_ground
from trialkit.trial.seeder_record import RECORD_FOLDER, by_record, read_record, record_files
from trialkit.trial.sowing_notes import (
    ALL,
    BEARINGS,
    SOWN_DRAWING,
    SOWN_FORM,
    SowingNote,
    read_sowing_notes,
    read_sown_drawing,
)

_WGS84 = "EPSG:4326"


def sown_files(folder: Path) -> list[Path]:
    """Return the files that say what was sown, those that are there.

    Parameters
    ----------
    folder
        The trial folder.
    """
    written = [folder / name for name in (SOWN_FORM.file, SOWN_DRAWING)]
    inside = folder / RECORD_FOLDER
    parts = sorted(path for path in inside.rglob("*") if path.is_file()) if inside.is_dir() else []
    return [*(path for path in written if path.exists()), *parts]


#: What is said of a strip that was moved, by the side.
_MOVED = {
    "north": marked("sown {metres:g} m to the north of the plan"),
    "north-east": marked("sown {metres:g} m to the north-east of the plan"),
    "east": marked("sown {metres:g} m to the east of the plan"),
    "south-east": marked("sown {metres:g} m to the south-east of the plan"),
    "south": marked("sown {metres:g} m to the south of the plan"),
    "south-west": marked("sown {metres:g} m to the south-west of the plan"),
    "west": marked("sown {metres:g} m to the west of the plan"),
    "north-west": marked("sown {metres:g} m to the north-west of the plan"),
}


def read_sown(
    folder: Path,
    config: TrialConfig,
    planned: gpd.GeoDataFrame,
    boundary: gpd.GeoDataFrame | None,
) -> tuple[Sown | None, list[Check]]:
    """Return the layout as it was sown.

    Parameters
    ----------
    folder
        The trial folder.
    config
        What `trial.toml` says.
    planned
        The plan, faultless.
    boundary
        The field, WGS 84, where it is known.

    Returns
    -------
    sown, checks
        The layout and its differences, or None where nothing was said of the sowing or what was
        said is faulty; and everything noticed.
    """
    if not sown_files(folder):
        return None, []
    notes, checks = read_sowing_notes(folder, config, planned)
    drawn, bogs, found = read_sown_drawing(folder, config, planned)
    passes, in_record = read_record(folder, config)
    checks += [*found, *in_record, *_contradictions(notes, drawn)]
    if faults(checks):
        return None, checks
    strips = planned[planned["role"] == "strip"]
    whole = {note.strip: note for note in notes if not note.of_part}
    by_drawing = {note.strip: note for note in drawn}
    places, found = _places(strips, whole, by_drawing)
    checks += found
    lost = [LostGround(ground, why=why or say("lost")) for ground, why in bogs]
    parts, found = _lost_by_hand(notes, places, strips)
    checks += found
    changes = _changes(strips, whole, by_drawing, places)
    if passes is not None and not faults(checks):
        ground = gpd.GeoDataFrame(
            strips[["strip", "treatment"]], geometry=list(places.values()), crs=planned.crs
        )
        said = _said(strips, whole, by_drawing)
        more, unsown, found = by_record(ground, passes, config, said)
        checks += found
        parts += unsown
        changes = [_joined(change, more) for change in changes]
    if faults(checks):
        return None, checks
    sown = as_sown(planned, changes, [*lost, *parts])
    checks += _new_faults(config, planned, boundary, sown, _source(folder))
    return (None if faults(checks) else sown), checks


def _source(folder: Path) -> str:
    """Return the files that say what was sown, as one name for messages."""
    names = [name for name in (SOWN_FORM.file, SOWN_DRAWING) if (folder / name).exists()]
    return ", ".join([*names, *([RECORD_FOLDER + "/"] if record_files(folder) else [])])


def _contradictions(notes: Sequence[SowingNote], drawn: Sequence[SowingNote]) -> Iterator[Check]:
    """Say where the table and the drawing do not agree on a strip."""
    by_drawing = {note.strip: note for note in drawn}
    for note in notes:
        other = by_drawing.get(note.strip)
        if other is None or note.of_part:
            continue
        if note.treatment and other.treatment and note.treatment != other.treatment:
            yield note.fault(
                say(
                    "It says {treatment} for {strip}, and {file} {other}.",
                    treatment=note.treatment,
                    strip=note.strip,
                    file=SOWN_DRAWING,
                    other=other.treatment,
                ),
                say("Correct one of them."),
                "treatment",
            )
        if note.moved_m is not None and other.ground is not None:
            found = say(
                "{strip} is moved here and drawn anew in {file}.",
                strip=note.strip, file=SOWN_DRAWING,
            )  # fmt: skip
            yield note.fault(found, say("Say it in one of them."), "moved_m")


def _places(
    strips: gpd.GeoDataFrame, whole: dict[str, SowingNote], by_drawing: dict[str, SowingNote]
) -> tuple[dict[str, BaseGeometry], list[Check]]:
    """Return where each strip lies, WGS 84: drawn anew, moved, or as planned."""
    grid = local_grid(strips)
    places: dict[str, BaseGeometry] = {}
    checks: dict[tuple[str, str], Check] = {}
    on_grid = strips.to_crs(grid).geometry
    for name, planned, metres in zip(strips["strip"], strips.geometry, on_grid, strict=True):
        drawn = by_drawing.get(name)
        own = whole.get(name)
        move = own if own is not None and own.moved_m is not None else whole.get(ALL)
        places[name] = planned
        if drawn is not None and drawn.ground is not None:
            places[name] = drawn.ground
        elif move is not None and move.moved_m:
            try:
                there = moved_across(metres, move.moved_m, BEARINGS[move.toward])
            except LayoutError as error:
                wanted = say("Name the side that it was moved to.")
                checks.setdefault(move.place, move.fault(str(error), wanted, "toward"))
                continue
            places[name] = gpd.GeoSeries([there], crs=grid).to_crs(_WGS84).iloc[0]
    return places, list(checks.values())


def _lost_by_hand(
    notes: Sequence[SowingNote], places: dict[str, BaseGeometry], strips: gpd.GeoDataFrame
) -> tuple[list[LostGround], list[Check]]:
    """Return the strips and parts of strips that the table leaves out."""
    grid = local_grid(strips)
    planned = dict(zip(strips["strip"], strips["treatment"], strict=True))
    lost, checks = [], []
    whole = {note.strip: note.treatment for note in notes if not note.of_part}
    for note in notes:
        if note.lost and not note.of_part:
            lost.append(LostGround(strip=note.strip, why=note.note or say("lost")))
        if not note.of_part or note.strip not in places:
            continue
        got = whole.get(note.strip) or planned[note.strip]
        if not note.lost and note.treatment == got:
            continue
        strip = gpd.GeoSeries([places[note.strip]], crs=_WGS84).to_crs(grid).iloc[0]
        try:
            part = part_along(strip, BEARINGS[note.from_end], note.from_m or 0.0, note.to_m)
        except LayoutError as error:
            wanted = say("Give distances along {strip} and one of its ends.", strip=note.strip)
            checks.append(note.fault(str(error), wanted))
            continue
        why = note.note or (
            say("lost") if note.lost else say("sown with {treatment}", treatment=note.treatment)
        )
        ground = gpd.GeoSeries([part], crs=grid).to_crs(_WGS84).iloc[0]
        lost.append(LostGround(ground, note.strip, why))
    return lost, checks


def _changes(
    strips: gpd.GeoDataFrame,
    whole: dict[str, SowingNote],
    by_drawing: dict[str, SowingNote],
    places: dict[str, BaseGeometry],
) -> list[Change]:
    """Return what each strip got and where it lies, by hand."""
    changes = []
    for name, planned in zip(strips["strip"], strips.geometry, strict=True):
        own, drawn = whole.get(name), by_drawing.get(name)
        notes = [note for note in (own, drawn) if note is not None]
        treatment = next((note.treatment for note in notes if note.treatment), None)
        words = [note.note for note in notes if note.note and not note.lost]
        moved = places[name] is not planned
        if moved and (drawn is None or drawn.ground is None):
            move = own if own is not None and own.moved_m is not None else whole[ALL]
            words.append(say(_MOVED[move.toward], metres=move.moved_m))
        changes.append(Change(name, treatment, places[name] if moved else None, "; ".join(words)))
    return changes


def _said(
    strips: gpd.GeoDataFrame, whole: dict[str, SowingNote], by_drawing: dict[str, SowingNote]
) -> dict[str, str]:
    """Return the strips of which the grower said what they got."""
    said = {}
    for name, planned in zip(strips["strip"], strips["treatment"], strict=True):
        notes = [note for note in (whole.get(name), by_drawing.get(name)) if note is not None]
        treatment = next((note.treatment for note in notes if note.treatment), "")
        if treatment or any(note.lost is False for note in notes):
            said[name] = treatment or planned
    return said


def _joined(change: Change, by_machine: Sequence[Change]) -> Change:
    """Add what the seeder's record says of a strip to what was said by hand."""
    other = next((one for one in by_machine if one.strip == change.strip), None)
    if other is None:
        return change
    note = "; ".join(words for words in (change.note, other.note) if words)
    return replace(change, treatment=other.treatment, note=note)


def _new_faults(
    config: TrialConfig,
    planned: gpd.GeoDataFrame,
    boundary: gpd.GeoDataFrame | None,
    sown: Sown,
    source: str,
) -> list[Check]:
    """Check the layout as sown like the plan, and return what was not said of the plan."""
    if not (sown.layout["role"] == "strip").any():
        found, wanted = say("No strip is left."), say("Without strips nobody can tell anything.")
        return [Check(source, "", found, wanted)]
    before = set(check_ground(config, boundary, planned))
    return [
        replace(check, file=source)
        for check in check_ground(config, boundary, sown.layout)
        if check not in before
    ]
