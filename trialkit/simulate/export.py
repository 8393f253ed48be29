"""Write a simulated season as the files a grower would have."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely.geometry import mapping

from trialkit.columns import COLUMNS
from trialkit.simulate.outcome import SimulatedHarvest
from trialkit.simulate.plan import COORDINATE_DECIMALS, field_boundary
from trialkit.units import convert

#: Decimals written where nothing else is asked for.
_DECIMALS = {"longitude": COORDINATE_DECIMALS, "latitude": COORDINATE_DECIMALS}
_USUAL_DECIMALS = 3


@dataclass(frozen=True, slots=True)
class Export:
    """How a monitor writes its log.

    Parameters
    ----------
    columns
        Our column name to the heading in the file, in the order of the file. Columns of the log
        that are not canonical are written as they are.
    units
        Our column name to the unit in the file; where none is given, ours.
    decimals
        Our column name to the decimals written, in the unit of the file.
    delimiter
        Between cells.
    decimal_mark
        In numbers.
    encoding
        Of the file.
    """

    columns: Mapping[str, str]
    units: Mapping[str, str] = field(default_factory=dict)
    decimals: Mapping[str, int] = field(default_factory=dict)
    delimiter: str = ","
    decimal_mark: str = "."
    encoding: str = "utf-8"


#: A log under our own names, in our own units, without a yield: it follows from the flow.
PLAIN_EXPORT = Export(
    {
        name: name
        for name in (
            "time",
            "longitude",
            "latitude",
            "elevation_m",
            "speed_m_s",
            "swath_m",
            "flow_kg_s",
            "moisture_pct",
        )
    }
)


def write_log(
    log: pd.DataFrame, path: str | Path, export: Export = PLAIN_EXPORT, *, crop: str | None = None
) -> Path:
    """Write a harvest log the way a monitor would.

    Parameters
    ----------
    log
        Canonical columns, and any others that `export` names.
    path
        Where the file goes; its folder is made if need be.
    export
        Headings, units, decimals, delimiter and decimal mark.
    crop
        The crop, needed only where a unit is in bushels.

    Returns
    -------
    Path
        The file written.
    """
    cells = [list(_cells(log[name], name, export, crop)) for name in export.columns]
    rows = [export.columns.values(), *zip(*cells, strict=True)]
    text = "".join(export.delimiter.join(row) + "\n" for row in rows)
    file = Path(path)
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(text.encode(export.encoding))
    return file


def write_trial(
    folder: str | Path,
    layout: gpd.GeoDataFrame,
    season: SimulatedHarvest | None = None,
    *,
    settings: str | None = None,
    boundary: gpd.GeoDataFrame | None = None,
    tables: Mapping[str, pd.DataFrame] | None = None,
    export: Export = PLAIN_EXPORT,
    log_name: str = "log.csv",
    crop: str = "oats",
) -> Path:
    """Write a whole trial folder.

    Parameters
    ----------
    folder
        Where it goes; made if need be.
    layout
        Strips and headlands, WGS 84.
    season
        The harvest, whose log goes into `harvest/` and whose truth into `truth.json`; None for a
        trial without a log.
    settings
        Text of `trial.toml`; a short one, in which the first strip's treatment is the control
        unless there is one named `untreated`, if not given.
    boundary
        Outline of the field; one that just holds the layout if not given.
    tables
        File name without `.csv` to table, such as `{"weights": ...}`; numbers are written as they
        are, so round them first.
    export
        How the log is written.
    log_name
        File name of the log.
    crop
        What was sown; used where no settings are given and where a unit is in bushels.

    Returns
    -------
    Path
        The folder.

    Examples
    --------
    >>> import tempfile
    >>> from trialkit import simulate
    >>> layout = simulate.lay_strips(["untreated", "dressed"], blocks=4, seed=1)
    >>> season = simulate.harvest_trial(layout, seed=2)
    >>> folder = simulate.write_trial(tempfile.mkdtemp(), layout, season)
    >>> sorted(path.name for path in folder.iterdir())
    ['boundary.geojson', 'harvest', 'layout.geojson', 'trial.toml', 'truth.json']
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    swath_m = 12.0 if season is None else season.machine.swath_m
    _write_text(
        folder / "trial.toml", settings or short_settings(layout, swath_m, crop=crop, export=export)
    )
    _write_drawing(folder / "layout.geojson", layout)
    _write_drawing(
        folder / "boundary.geojson", field_boundary(layout) if boundary is None else boundary
    )
    for name, table in (tables or {}).items():
        _write_text(folder / f"{name}.csv", table.to_csv(index=False, lineterminator="\n"))
    if season is not None:
        write_log(season.log, folder / "harvest" / log_name, export, crop=crop)
        _write_text(folder / "truth.json", truth_as_json(season))
    return folder


def short_settings(
    layout: gpd.GeoDataFrame,
    swath_m: float,
    *,
    cost_per_ha: float = 14.0,
    price_per_t: float = 300.0,
    crop: str = "oats",
    season: int = 2024,
    standard_moisture_pct: float = 12.5,
    export: Export = PLAIN_EXPORT,
) -> str:
    """Return a short `trial.toml` for a simulated trial.

    Parameters
    ----------
    layout
        The strips; `untreated`, or else the treatment of the first strip, is the control.
    swath_m
        Width of the harvester, and of the seeder, m.
    cost_per_ha
        Cost of every treatment but the control, a hectare.
    price_per_t
        Price of the grain, a tonne.
    crop, season
        What was sown, and the year of harvest.
    standard_moisture_pct
        Moisture that yields are stated at, %.
    export
        How the log is written.
    """
    strips = layout[layout["role"] == "strip"]
    names = list(dict.fromkeys(strips["treatment"]))
    control = "untreated" if "untreated" in names else names[0]
    lines = ["[trial]", 'name = "Simulated trial"', f"season = {season}", f"crop = {_quoted(crop)}"]
    lines += ["invented = true", ""]
    for name in sorted(names, key=lambda name: name != control):
        lines += ["[[treatments]]", f"name = {_quoted(name)}"]
        lines += ["control = true" if name == control else f"cost_per_ha = {cost_per_ha}", ""]
    lines += ["[machines]", f"seeder_m = {swath_m}", f"harvester_m = {swath_m}", ""]
    lines += ["[harvest]", f"standard_moisture_pct = {standard_moisture_pct}", ""]
    lines += [column_map(export)]
    lines += ["[money]", 'currency = "AUD"', f"price_per_t = {price_per_t}", ""]
    return "\n".join(lines)


def column_map(export: Export) -> str:
    """Return the tables `[harvest.columns]` and `[harvest.units]` of `trial.toml` for an export.

    Parameters
    ----------
    export
        How the log is written. Times, longitudes and latitudes need no unit.
    """
    names = [name for name in export.columns if name in COLUMNS]
    headings = [f"{name} = {_quoted(export.columns[name])}" for name in names]
    units = [
        f"{name} = {_quoted(export.units.get(name, COLUMNS[name].unit))}"
        for name in names
        if COLUMNS[name].unit not in ("", "degree")
    ]
    return "\n".join(["[harvest.columns]", *headings, "", "[harvest.units]", *units, ""])


def truth_as_json(season: SimulatedHarvest, control: str | None = None) -> str:
    """Return the truth of a season as JSON text.

    Records are numbered from 0; runs of them are given as first and last.

    Parameters
    ----------
    season
        The harvest.
    control
        The treatment that gains are counted from; `untreated` or the first one if not given.
    """
    truth, monitor = season.truth, season.monitor
    names = list(truth.gains.index)
    control = control or ("untreated" if "untreated" in names else names[0])
    strips = truth.strips.round({"yield_t_ha": 4, "undressed_t_ha": 4, "area_ha": 4})
    content = {
        "control": control,
        "gain_t_ha": {
            name: round(truth.gain_t_ha(name, control), 4) for name in names if name != control
        },
        "difference_of_strip_means_t_ha": {
            name: round(truth.difference_t_ha(name, control), 4)
            for name in names
            if name != control
        },
        "delay_s": monitor.delay_s,
        "smear_s": monitor.smear_s,
        "moisture_delay_s": monitor.moisture_delay_s,
        "calibration": monitor.calibration,
        "records": len(season.log),
        "mishaps": {
            str(k): int(n) for k, n in truth.mishaps["kind"].value_counts().sort_index().items()
        },
        "mishap_records": {
            str(kind): _runs(rows["record"].to_numpy())
            for kind, rows in truth.mishaps.groupby("kind")
        },
        "strips": strips[
            ["strip", "block", "treatment", "area_ha", "yield_t_ha", "undressed_t_ha"]
        ].to_dict("records"),
    }
    lines = [f'"{name}": {json.dumps(value)}' for name, value in content.items()]
    return "{\n" + ",\n".join(lines).replace('{"strip"', '\n {"strip"') + "\n}\n"


def _runs(records: NDArray[np.int64]) -> list[list[int]]:
    """Return first and last of each unbroken run of record numbers."""
    starts = np.flatnonzero(np.diff(records, prepend=-2) > 1)
    return [[int(run[0]), int(run[-1])] for run in np.split(records, starts[1:])]


def _cells(values: pd.Series, name: str, export: Export, crop: str | None) -> Iterator[str]:
    column = COLUMNS.get(name)
    if column is None or column.kind == "text":
        yield from values.astype(str)
    elif column.kind == "time":
        whole = (values.dt.microsecond == 0).all()
        stamps = np.datetime_as_string(values.to_numpy(), unit="s" if whole else "ms")
        yield from stamps.tolist()
    else:
        unit = export.units.get(name, column.unit)
        converted = convert(values.to_numpy(dtype=float), column.unit, unit, crop=crop)
        decimals = export.decimals.get(name, _DECIMALS.get(name, _USUAL_DECIMALS))
        for value in (np.round(converted, decimals) + 0.0).tolist():  # + 0.0: no minus zero
            yield f"{value:.{decimals}f}".replace(".", export.decimal_mark)


def _quoted(text: str) -> str:
    """Return text as a TOML string; JSON's escapes are TOML's too."""
    return json.dumps(text, ensure_ascii=False)


def _write_drawing(path: Path, drawing: gpd.GeoDataFrame) -> None:
    """Write polygons as GeoJSON, a feature a line."""
    table = pd.DataFrame(drawing.drop(columns="geometry"))
    properties = table.to_dict("records") if len(table.columns) else [{} for _ in range(len(table))]
    features = [
        {"type": "Feature", "properties": row, "geometry": mapping(polygon)}
        for row, polygon in zip(properties, drawing.geometry, strict=True)
    ]
    lines = ",\n".join(json.dumps(feature, ensure_ascii=False) for feature in features)
    _write_text(path, f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n')


def _write_text(path: Path, text: str) -> None:
    path.write_bytes(text.encode())
