"""The seeder's own record in the folder `as-sown/`: lines, areas or points with what was sown."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd
from pyproj.exceptions import CRSError

from trialkit.checks import Check
from trialkit.design.as_sown import Change, LostGround
from trialkit.design.seeder_passes import StripSowing, passes_from_points, what_strips_got
from trialkit.errors import LogError
from trialkit.harvest.readers import TEXT_ENDINGS, VECTOR_ENDINGS, open_export
from trialkit.harvest.readers.table import ExportedTable
from trialkit.harvest.readers.vector import read_shapes
from trialkit.language import say
from trialkit.trial.config import FILE, AsSown, TrialConfig

RECORD_FOLDER = "as-sown"
_PLACE = RECORD_FOLDER + "/"

#: A label that covers less of a strip than this is the edge of a neighbour's pass.
_EDGE_SHARE = 0.02

#: Strips that come out mixed beyond this share of all, and the whole lot lies beside its plan.
_BESIDE_SHARE = 0.25

#: Passes, or headings, named in a message.
_NAMED = 8

#: A record this near, °, is of this place.
_NEAR_DEG = 0.1

_WGS84 = "EPSG:4326"


def record_files(folder: Path) -> list[Path]:
    """Return the files in `as-sown/` that can be read, in order of their names.

    Parameters
    ----------
    folder
        The trial folder.
    """
    inside = folder / RECORD_FOLDER
    if not inside.is_dir():
        return []
    endings = (*TEXT_ENDINGS, *VECTOR_ENDINGS)
    return sorted(path for path in inside.iterdir() if path.suffix.lower() in endings)


def read_record(folder: Path, config: TrialConfig) -> tuple[gpd.GeoDataFrame | None, list[Check]]:
    """Read the seeder's record.

    Parameters
    ----------
    folder
        The trial folder.
    config
        What `trial.toml` says.

    Returns
    -------
    passes, checks
        One row a pass: `treatment geometry`, WGS 84, treatments by their own names where the
        record's are known and else by the record's; None where there is no record, or a faulty
        one. And every fault.
    """
    inside = folder / RECORD_FOLDER
    files = record_files(folder)
    if not files:
        if inside.is_dir() and any(inside.iterdir()):
            endings = ", ".join((*TEXT_ENDINGS, *VECTOR_ENDINGS))
            wanted = say(
                "Known: {endings}. Task data are not read here: export the passes as a map.",
                endings=endings,
            )
            return None, [Check(_PLACE, "", say("No file here can be read."), wanted)]
        return None, []
    parts, checks = [], []
    for path in files:
        place = f"{_PLACE}{path.name}"
        try:
            parts.append(_read(path, config))
        except LogError as error:
            checks.append(Check(place, "", str(error).removeprefix(f"{path.name}: ")))
        except CRSError:
            found = say(
                "[as_sown] crs = {crs} is no coordinate system.", crs=repr(config.as_sown.crs)
            )
            wanted = say('Write it like "EPSG:32755".')
            checks.append(Check(FILE, "[as_sown] crs", found, wanted))
    if checks:
        return None, checks
    passes = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True), crs=_WGS84)
    names = _names(config)
    passes["treatment"] = [names.get(label.lower(), label) for label in passes["treatment"]]
    return passes, []


def _names(config: TrialConfig) -> dict[str, str]:
    """Return the treatment of each name that a record may use, the name in small letters."""
    own = {treatment.name.lower(): treatment.name for treatment in config.treatments}
    given = {name.lower(): to for name, to in config.as_sown.names.items() if to}
    return own | given


def _read(path: Path, config: TrialConfig) -> gpd.GeoDataFrame:
    settings = config.as_sown
    if path.suffix.lower() in VECTOR_ENDINGS:
        shapes = read_shapes(path)
        if shapes.crs is None:
            shapes = shapes.set_crs(settings.crs)
        shapes = shapes.to_crs(_WGS84)
        if not (shapes.geom_type == "Point").all():
            return _shapes(shapes, path.name, settings)
    (table,) = open_export(path)
    return passes_from_points(_points(table, settings), _width(config))


def _width(config: TrialConfig) -> float:
    return config.as_sown.width_m or config.machines.seeder_m


def _shapes(shapes: gpd.GeoDataFrame, file: str, settings: AsSown) -> gpd.GeoDataFrame:
    heading = settings.columns.get("treatment", "treatment")
    if heading not in shapes:
        headings = [str(name) for name in shapes if name != shapes.geometry.name]
        raise LogError(_no_column(file, "treatment", heading, headings))
    known = shapes[shapes.geometry.notna() & ~shapes.geometry.is_empty]
    labels = [_label(cell) for cell in known[heading]]
    return gpd.GeoDataFrame({"treatment": labels}, geometry=known.geometry.to_list(), crs=_WGS84)


def _label(cell: object) -> str:
    text = "" if cell is None or cell != cell else str(cell).strip()
    return text or "(blank)"


def _no_column(file: str, name: str, heading: str, headings: list[str]) -> str:
    shown = ", ".join(f"'{own}'" for own in headings[:_NAMED]) or "none"
    return (
        f"{file}: there is no column '{heading}', which should hold the {name}. Headings here: "
        f"{shown}. Name the right one under [as_sown.columns] in {FILE}, such as "
        f'{name} = "{headings[0] if headings else "Product"}".'
    )


def _points(table: ExportedTable, settings: AsSown) -> pd.DataFrame:
    """Return the records of a table: `longitude latitude treatment`, and pass, time where named."""
    columns: dict[str, object] = {}
    for name in ("treatment", "longitude", "latitude", "pass_id", "time"):
        heading = settings.columns.get(name, name)
        at = table.find(heading)
        if at is None:
            if name in ("pass_id", "time") and name not in settings.columns:
                continue
            raise LogError(_no_column(table.file, name, heading, list(table.headings)))
        numeric = name in ("longitude", "latitude")
        columns[name] = table.numbers(at) if numeric else table.text(at).to_numpy()
    points = pd.DataFrame(columns).assign(file=table.file)
    points["treatment"] = [_label(cell) for cell in points["treatment"]]
    if "time" in points:
        points = points.assign(time=pd.to_datetime(points["time"], errors="coerce", utc=True))
        points = points.sort_values("time", kind="stable")
    return _on_earth(points, table, table.crs or settings.crs)


def _on_earth(points: pd.DataFrame, table: ExportedTable, crs: str) -> pd.DataFrame:
    places = gpd.GeoSeries(
        gpd.points_from_xy(points["longitude"], points["latitude"]), crs=crs
    ).to_crs(_WGS84)
    points = points.assign(longitude=places.x.to_numpy(), latitude=places.y.to_numpy())
    beyond = (points["latitude"].abs() > 90) | (points["longitude"].abs() > 180)
    if beyond.any():
        row = table.rows[int(beyond.to_numpy().argmax())]
        raise LogError(
            f"{table.file}, row {row}: its position is no place on the earth. Longitude comes "
            f"first, both in degrees; or name the coordinate system, crs under [as_sown] in {FILE}."
        )
    return points


def by_record(
    ground: gpd.GeoDataFrame,
    passes: gpd.GeoDataFrame,
    config: TrialConfig,
    by_hand: Mapping[str, str],
) -> tuple[list[Change], list[LostGround], list[Check]]:
    """Say what each strip got by the seeder's record.

    Parameters
    ----------
    ground
        Strips where they were sown: `strip treatment geometry`, the treatments of the plan.
    passes
        From `read_record`.
    config
        What `trial.toml` says.
    by_hand
        Strips of which the grower said what they got: treatment by name. They are left alone,
        and it is noted where the record says otherwise.

    Returns
    -------
    changes, lost, checks
        What the record changes, and what is odd about it.
    """
    found = what_strips_got(ground, passes, _width(config))
    if not any(one.shares for one in found):
        return [], [], [_elsewhere(ground, passes)]
    unknown = _unknown(found, config)
    if unknown:
        return [], [], unknown
    planned = dict(zip(ground["strip"].astype(str), ground["treatment"].astype(str), strict=True))
    named = {treatment.name for treatment in config.treatments}
    changes, lost, checks = [], [], []
    mixed = 0
    for one in found:
        least = config.as_sown.least_share_pct / 100
        mixed += one.mixed(least)
        if one.strip in by_hand:
            checks += _otherwise(one, by_hand[one.strip], least)
            continue
        why = _why_lost(one, least, named)
        if why:
            lost.append(LostGround(strip=one.strip, why=why))
            continue
        if one.most != planned[one.strip]:
            changes.append(Change(one.strip, one.most, note=_by_record(one)))
        if one.unsown is not None:
            lost.append(LostGround(one.unsown, one.strip, say("not sown, by the seeder's record")))
    if mixed > _BESIDE_SHARE * len(found):
        checks.append(_beside(mixed, len(found)))
    return changes, lost, checks


def _why_lost(one: StripSowing, least: float, named: set[str]) -> str:
    if one.untouched:
        return say("the seeder's record has no pass on it")
    if one.mixed(least):
        return say("mixed by the seeder's record: {shares}", shares=one.told())
    if one.most in named:
        return ""
    return say("sown with {treatment}, which is not on trial", treatment=one.most)


def _by_record(one: StripSowing) -> str:
    return say("{shares} by the seeder's record", shares=one.told())


def _unknown(found: tuple[StripSowing, ...], config: TrialConfig) -> list[Check]:
    """Ask for the treatment of every label that stands on a strip."""
    known = {treatment.name for treatment in config.treatments} | set(config.as_sown.names)
    covered: dict[str, list[str]] = {}
    for one in found:
        for label, share in one.shares.items():
            if label not in known and share > _EDGE_SHARE:
                covered.setdefault(label, []).append(one.strip)
    first = config.treatments[-1].name
    return [
        Check(
            FILE,
            "[as_sown.names]",
            say(
                "The seeder's record has '{label}' on {strips}, and nobody says which treatment "
                "that is.",
                label=label,
                strips=", ".join(strips[:_NAMED]),
            ),
            say(
                'Write it under [as_sown.names]: "{label}" = "{treatment}", or "" if it is not on '
                "trial.",
                label=label,
                treatment=first,
            ),
        )
        for label, strips in covered.items()
    ]


def _otherwise(one: StripSowing, treatment: str, least: float) -> list[Check]:
    if not one.shares or (one.most == treatment and not one.mixed(least)):
        return []
    found = say(
        "The seeder's record says {shares}; what you wrote was taken: {treatment}.",
        shares=one.told(), treatment=treatment,
    )  # fmt: skip
    place, wanted = say("strip {strip}", strip=one.strip), say("Check which is right.")
    return [Check(_PLACE, place, found, wanted, "warning")]


def _beside(mixed: int, strips: int) -> Check:
    return Check(
        _PLACE,
        "",
        say(
            "{mixed} of {strips} strips come out mixed: the passes lie beside the plan.",
            mixed=mixed,
            strips=strips,
        ),
        say(
            "If the whole lot was sown aside, say so in as-sown.csv: a row for all, with moved_m "
            "and toward."
        ),
        "warning",
    )


def _elsewhere(ground: gpd.GeoDataFrame, passes: gpd.GeoDataFrame) -> Check:
    """Say where a record lies that does not touch the strips."""
    (x, y), (own_x, own_y) = _middle(passes), _middle(ground)
    found = say(
        "No pass lies on a strip: the record's middle is ({record}), the strips' ({strips}).",
        record=f"{x:.4f}, {y:.4f}", strips=f"{own_x:.4f}, {own_y:.4f}",
    )  # fmt: skip
    wanted = (
        say("Longitude and latitude are swapped: name them under [as_sown.columns].")
        if abs(x - own_y) < _NEAR_DEG and abs(y - own_x) < _NEAR_DEG
        else say(
            "Give this field's record, or its coordinate system: crs under [as_sown] in {file}.",
            file=FILE,
        )
    )
    return Check(_PLACE, "", found, wanted)


def _middle(drawing: gpd.GeoDataFrame) -> tuple[float, float]:
    west, south, east, north = (float(value) for value in drawing.total_bounds)
    return (west + east) / 2, (south + north) / 2
