"""What the grower wrote and drew after sowing: `as-sown.csv` and `as-sown.geojson`, checked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from trialkit.checks import Check
from trialkit.language import say
from trialkit.trial.config import TrialConfig, suggestion
from trialkit.trial.drawings import read_features
from trialkit.trial.tables import TableForm, read_rows

SOWN_DRAWING = "as-sown.geojson"

SOWN_FORM = TableForm(
    "as-sown.csv",
    needed=("strip",),
    optional=(
        "treatment", "lost", "from_m", "to_m", "from_end", "moved_m", "toward", "note",
    ),
    limits={"from_m": (0, 20_000), "to_m": (0, 20_000), "moved_m": (0, 5_000)},
)  # fmt: skip

#: In place of a strip's name: every strip.
ALL = "all"

_YES, _NO = ("yes", "y", "true", "x", "1"), ("no", "n", "false", "0")

_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
BEARINGS = {name: 45.0 * at for at, name in enumerate(_POINTS)}
_SHORT = {"".join(part[0] for part in name.split("-")): name for name in _POINTS}
_JOINED = {name.replace("-", ""): name for name in _POINTS}

#: A strip drawn again is the same where no more than this share of it lies elsewhere.
_SAME_SHARE = 0.002


@dataclass(frozen=True, slots=True)
class SowingNote:
    """One row of `as-sown.csv`, or one strip of `as-sown.geojson`.

    Parameters
    ----------
    place
        File and row, or file and feature, for messages.
    strip
        Name of the strip, or `all`.
    treatment
        What it was sown with; empty for as planned.
    lost
        Whether it, or the part given, was lost; None where nothing is said.
    from_m, to_m
        The part of it that this speaks of, m from the end named; None for the whole strip.
    from_end
        The end measured from, in words of the compass.
    moved_m, toward
        How far it lies from where it was planned, and to which side.
    ground
        Where it lies, WGS 84, where it was drawn again.
    note
        Words on it.
    """

    place: tuple[str, str]
    strip: str
    treatment: str = ""
    lost: bool | None = None
    from_m: float | None = None
    to_m: float | None = None
    from_end: str = ""
    moved_m: float | None = None
    toward: str = ""
    ground: BaseGeometry | None = None
    note: str = ""

    @property
    def of_part(self) -> bool:
        """Whether it speaks of a part of the strip."""
        return self.from_m is not None or self.to_m is not None

    def fault(self, found: str, wanted: str, column: str = "") -> Check:
        """Return a fault of this row."""
        file, place = self.place
        return Check(file, ", ".join(part for part in (place, column) if part), found, wanted)


def read_sowing_notes(
    folder: Path, config: TrialConfig, planned: gpd.GeoDataFrame
) -> tuple[list[SowingNote], list[Check]]:
    """Read `as-sown.csv`.

    Parameters
    ----------
    folder
        The trial folder.
    config
        What `trial.toml` says.
    planned
        The plan.

    Returns
    -------
    notes, checks
        One note a row that says something; and every fault.
    """
    strips = [str(name) for name in planned.loc[planned["role"] == "strip", "strip"]]
    table, checks = read_rows(folder, SOWN_FORM, ())
    if table is None:
        return [], checks
    if not {"treatment", "lost", "moved_m"} & set(table):
        unsaid = say("Nothing says what was sown.")
        wanted = say("Add a column 'treatment' (blank for as planned), or 'lost' (yes or no).")
        return [], [Check(SOWN_FORM.file, say("row {number}", number=1), unsaid, wanted)]
    notes = []
    for row, cells in table.iterrows():
        note, found = _read_row(int(str(row)), cells, config)
        checks += [*found, *_unknown_strip(note, [*strips, ALL]), *_faults_of(note, config)]
        notes.append(note)
    checks += _twice(notes)
    return notes, checks


def _read_row(row: int, cells: pd.Series, config: TrialConfig) -> tuple[SowingNote, list[Check]]:
    def text(name: str) -> str:
        return str(cells.get(name, "")).strip()

    def number(name: str) -> float | None:
        value = cells.get(name)
        return None if value is None or pd.isna(value) else float(value)

    ends = {name: _compass(text(name)) for name in ("from_end", "toward")}
    lost = {**dict.fromkeys(_YES, True), **dict.fromkeys(_NO, False)}.get(text("lost").lower())
    note = SowingNote(
        (SOWN_FORM.file, say("row {number}", number=row)),
        text("strip"),
        _spelt(text("treatment"), config),
        lost,
        number("from_m"),
        number("to_m"),
        ends["from_end"],
        number("moved_m"),
        ends["toward"],
        note=text("note"),
    )
    checks = [
        note.fault(
            say("'{cell}' is no direction.", cell=text(name)),
            say("Write one like north or south-west."),
            name,
        )
        for name in ends
        if text(name) and not ends[name]
    ]
    if text("lost") and lost is None:
        unclear = say("'{cell}' is not clear.", cell=text("lost"))
        checks.append(note.fault(unclear, say("Write yes or no."), "lost"))
    return note, checks


def _compass(words: str) -> str:
    """Return a direction as `BEARINGS` has it, empty where it is none."""
    plain = words.lower().replace("_", "-").replace(" ", "-")
    if plain in BEARINGS:
        return plain
    return _SHORT.get(plain) or _JOINED.get(plain.replace("-", ""), "")


def _spelt(treatment: str, config: TrialConfig) -> str:
    """Return a treatment as `trial.toml` spells it, where only capitals differ."""
    own = {entry.name.lower(): entry.name for entry in config.treatments}
    return own.get(treatment.lower(), treatment)


def _faults_of(note: SowingNote, config: TrialConfig) -> Iterator[Check]:
    """Say what of one row does not go together."""
    yield from _unknown_treatment(note, config)
    if note.strip == ALL and (note.treatment or note.lost is not None or note.of_part):
        wanted = say(
            "'{all}' can only be moved: moved_m and toward. Name the other strips one by one.",
            all=ALL,
        )
        yield note.fault(say("'{all}' cannot get one treatment, or be lost.", all=ALL), wanted)
    if note.of_part and not note.from_end:
        wanted = say("Give from_end: the end of the strip that from_m and to_m are measured from.")
        yield note.fault(say("It does not say from which end."), wanted, "from_end")
    if note.of_part and not note.lost and not note.treatment:
        found = say("It gives a part of the strip, and not what became of it.")
        yield note.fault(found, say("Write lost = yes, or the treatment that this part got."))
    if note.of_part and note.moved_m is not None:
        found = say("A part of a strip cannot be moved.")
        yield note.fault(found, say("Draw it in as-sown.geojson."))
    if (note.moved_m is None) != (not note.toward):
        yield note.fault(
            say("moved_m and toward belong together."),
            say("Give both: how many metres, and to which side (such as east), or neither."),
        )


def _unknown_treatment(note: SowingNote, config: TrialConfig) -> Iterator[Check]:
    named = [treatment.name for treatment in config.treatments]
    if note.treatment and note.treatment not in named:
        near = suggestion(note.treatment, named).strip() or say(
            "It has {names}.", names=", ".join(named)
        )
        wanted = say("If the strip got something that is not on trial, write lost = yes.")
        yield note.fault(
            say("trial.toml has no treatment '{treatment}'.", treatment=note.treatment),
            f"{near} {wanted}",
            "treatment",
        )


def _twice(notes: list[SowingNote]) -> Iterator[Check]:
    """Say where two rows speak of the same whole strip."""
    first: dict[str, SowingNote] = {}
    for note in notes:
        if note.of_part:
            continue
        other = first.setdefault(note.strip, note)
        if other is not note:
            yield note.fault(
                say(
                    "Strip {strip} stands twice: {row} speaks of it too.",
                    strip=note.strip,
                    row=other.place[1],
                ),
                say("Keep one row a strip; further rows only for parts, with from_m and to_m."),
                "strip",
            )


def read_sown_drawing(
    folder: Path, config: TrialConfig, planned: gpd.GeoDataFrame
) -> tuple[list[SowingNote], list[tuple[BaseGeometry, str]], list[Check]]:
    """Read `as-sown.geojson`: strips drawn again, and ground that was lost.

    Parameters
    ----------
    folder
        The trial folder.
    config
        What `trial.toml` says.
    planned
        The plan.

    Returns
    -------
    notes, lost, checks
        One note a strip drawn; lost ground, WGS 84, with a word on why; and every fault.
    """
    path = folder / SOWN_DRAWING
    if not path.exists():
        return [], [], []
    features, checks = read_features(path)
    if not features and not checks:
        wanted = say("Draw what was sown otherwise, or delete the file.")
        return [], [], [Check(SOWN_DRAWING, "", say("There is nothing in it."), wanted)]
    plan = planned[planned["role"] == "strip"].set_index("strip").geometry
    notes, lost = [], []
    for place, ground, properties in features:
        told = {name: str(value).strip() for name, value in properties.items() if value is not None}
        role = told.get("role", "").lower() or ("strip" if told.get("strip") else "")
        note = SowingNote(
            (SOWN_DRAWING, place),
            told.get("strip", ""),
            _spelt(told.get("treatment", ""), config),
            ground=ground,
            note=told.get("note", ""),
        )
        if role == "lost":
            lost.append((ground, note.note))
            checks += _touches_none(note, plan)
        elif role == "strip":
            known = [str(name) for name in plan.index]
            checks += [*_unknown_strip(note, known), *_unknown_treatment(note, config)]
            checks += _far_off(note, plan)
            notes.append(note)
        elif role != "headland":  # a copy of the layout has those too
            wanted = say("Give it the property strip (its name) or role (lost).")
            checks.append(note.fault(say("Nothing says what this ground is."), wanted))
    checks += [*_drawn_twice(notes), *_not_drawn(notes, plan)]
    return [_without_same_ground(note, plan) for note in notes], lost, checks


def _unknown_strip(note: SowingNote, known: list[str]) -> Iterator[Check]:
    if note.strip not in known:
        strips = ", ".join(name for name in known if name != ALL)
        wanted = suggestion(note.strip, known).strip() or say("It has {names}.", names=strips)
        found = say("The layout has no strip '{strip}'.", strip=note.strip)
        yield note.fault(found, wanted, "strip")


def _touches_none(note: SowingNote, plan: gpd.GeoSeries) -> Iterator[Check]:
    if note.ground is not None and not plan.intersects(note.ground).any():
        wanted = _swapped(note.ground, plan) or say("Draw it where it is (WGS 84), or delete it.")
        yield note.fault(say("This lost ground touches no strip."), wanted)


def _far_off(note: SowingNote, plan: gpd.GeoSeries) -> Iterator[Check]:
    """Refuse a strip drawn further from the trial than the trial is wide: it is a mistake."""
    if note.ground is None:
        return
    west, south, east, north = plan.total_bounds
    about = box(west, south, east, north).buffer(max(east - west, north - south))
    if not about.intersects(note.ground):
        wanted = _swapped(note.ground, plan) or say("Draw it where it lies (WGS 84).")
        found = say("Strip {strip} is drawn far from the trial.", strip=note.strip)
        yield note.fault(found, wanted)


def _swapped(ground: BaseGeometry, plan: gpd.GeoSeries) -> str:
    """Say so where longitude and latitude are swapped."""
    turned = shapely.transform(ground, lambda corners: corners[:, ::-1])
    if turned.intersects(box(*plan.total_bounds)):
        return say("Longitude and latitude are swapped: longitude comes first.")
    return ""


def _drawn_twice(notes: list[SowingNote]) -> Iterator[Check]:
    for name, number in Counter(note.strip for note in notes).items():
        if number > 1:
            wanted = say("Draw a strip once; one of several pieces as one feature.")
            found = say("Strip {strip} is drawn {number} times.", strip=name, number=number)
            yield Check(SOWN_DRAWING, say("strip {strip}", strip=name), found, wanted)


def _not_drawn(notes: list[SowingNote], plan: gpd.GeoSeries) -> Iterator[Check]:
    """Say which strips are missing where nearly all are drawn: deleted, they are not lost."""
    missing = [str(name) for name in plan.index if name not in {note.strip for note in notes}]
    if missing and len(missing) < len(plan) / 2:
        yield Check(
            SOWN_DRAWING,
            "",
            say("Not drawn here: {strips}. They count as planned.", strips=", ".join(missing)),
            say('If one was lost, draw it with role = "lost".'),
            "warning",
        )


def _without_same_ground(note: SowingNote, plan: gpd.GeoSeries) -> SowingNote:
    """Drop the ground of a strip that was drawn where it was planned."""
    if note.strip not in plan.index or note.ground is None:
        return note
    own = plan.loc[note.strip]
    if not isinstance(own, BaseGeometry):
        return note
    elsewhere = own.symmetric_difference(note.ground).area
    if elsewhere > _SAME_SHARE * own.area:
        return note
    return SowingNote(note.place, note.strip, note.treatment, note=note.note)
