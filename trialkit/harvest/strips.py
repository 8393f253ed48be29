"""From records to strips: which record belongs to which strip, and what each strip yielded."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from trialkit.errors import LayoutError, LogError, LogWarning
from trialkit.harvest.ground import Floats, area_ha, column
from trialkit.harvest.left_out import beside_it
from trialkit.harvest.metres import has_position, on_grid
from trialkit.language import marked, say, say_counted

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

STRIP_EDGE = marked("strip edge")
OUTSIDE = marked("outside the strips")

STRIP_COLUMNS = ["strip", "block", "treatment", "yield_t_ha", "area_ha", "n", "moisture_pct"]

#: Share of the cut that may lie in the neighbour: steering is never better than this, and a
#: tenth of the neighbour's grain moves a difference by a tenth at most.
_STRADDLE_SHARE = 0.1

#: Fewer records than this inside the strips, and the log is not of this trial.
_LEAST_RECORDS = 10

#: Metres a degree of latitude, to say how far off a log is.
_KM_DEGREE = 111.2


def trial_strips(layout: GeoDataFrame) -> GeoDataFrame:
    """Return the strips of a layout without headlands and other pieces, index from 0.

    Raises
    ------
    LayoutError
        If the layout has no strips, or lacks a column.
    """
    for name in ("strip", "block", "treatment"):
        if name not in layout:
            raise LayoutError(f"layout.geojson: the strips have no '{name}'. Add it to each strip.")
    strips = layout[layout["role"] == "strip"] if "role" in layout else layout
    if len(strips) == 0:
        raise LayoutError("layout.geojson: there is no strip in it. Draw or lay out the strips.")
    return strips.reset_index(drop=True)


def assign_strips(
    log: pd.DataFrame, layout: GeoDataFrame, *, edge_m: float | None = None
) -> pd.DataFrame:
    """Put each record into the strip it was cut from.

    Parameters
    ----------
    log
        From `screen`; a log not yet screened counts as kept throughout.
    layout
        Strips: `strip block treatment geometry`, and `role` where there is other ground too.
    edge_m
        Least distance of a record from the edge of its strip, m. By default half the width cut
        less a tenth of it, so that the whole cut lies in the strip but for a tenth at most: a
        pass that straddles two strips counts for neither. Where no width is known, 0.

    Returns
    -------
    DataFrame
        The log with `strip`, `block`, `treatment` (None outside the strips). Records too near the
        edge get `kept` False with reason `strip edge`, others `outside the strips`; a reason
        given earlier stays.

    Raises
    ------
    LogError
        If hardly any record lies in the strips; the message says how far off the log is, and
        whether longitude and latitude are swapped or have lost their sign.
    LayoutError
        If the layout has no strips.

    Warns
    -----
    LogWarning
        If records lie in a strip and none far enough from its edge.
    """
    from trialkit.position import local_grid

    strips = trial_strips(layout)
    grid = local_grid(strips)
    drawn = np.asarray(strips.to_crs(grid).geometry.to_numpy(), dtype=object)
    # With the strips along an axis, bounding boxes all but tell them apart.
    turn = _turn(drawn[0])
    polygons = np.asarray(shapely.transform(drawn, lambda places: places @ turn), dtype=object)
    x, y = (np.column_stack(on_grid(log, grid)) @ turn).T
    points = np.asarray(shapely.points(x, y), dtype=object)
    known = np.isfinite(x)
    own = _strip_of(points, known, polygons)
    if int((own >= 0).sum()) < min(_LEAST_RECORDS, int(known.sum())):
        raise LogError(_elsewhere(log, strips))
    inside = _inside_edge(points, own, polygons, _edges(log, edge_m))
    reason = log["reason"].to_numpy(dtype=object).copy() if "reason" in log else _nothing(log)
    reason[(reason == "") & (own >= 0) & ~inside] = STRIP_EDGE
    reason[(reason == "") & (own < 0)] = OUTSIDE
    assigned = log.assign(
        **{
            name: np.array([*strips[name].astype(str), None], dtype=object)[own]
            for name in ("strip", "block", "treatment")
        },
        kept=reason == "",
        reason=reason,
    )
    _warn_of_tight_strips(strips["strip"], own, inside)
    return assigned


def _nothing(log: pd.DataFrame) -> NDArray[np.object_]:
    return np.full(len(log), "", dtype=object)


def _strip_of(
    points: NDArray[np.object_], known: NDArray[np.bool_], polygons: NDArray[np.object_]
) -> NDArray[np.int64]:
    """Return the number of the strip each point lies in, −1 for none."""
    own = np.full(len(points), -1, dtype=np.int64)
    where = np.flatnonzero(known)
    record, strip = shapely.STRtree(polygons).query(points[where])
    shapely.prepare(polygons)
    inside = shapely.intersects(polygons[strip], points[where[record]])
    record, strip = record[inside], strip[inside]
    # Backwards, so that where strips touch the first one in the layout keeps the point.
    order = np.lexsort((-strip, record))
    own[where[record[order]]] = strip[order]
    return own


def _turn(strip: shapely.Geometry) -> Floats:
    """Return the rotation that lays a strip's long side along the first axis."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(strip))
    sides = np.diff(corners, axis=0)
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    if not lengths.size or lengths.max() == 0:
        return np.eye(2)
    along = sides[lengths.argmax()] / lengths.max()
    return np.array([[along[0], -along[1]], [along[1], along[0]]])


def _edges(log: pd.DataFrame, edge_m: float | None) -> Floats:
    """Return the least distance from the edge for each record, m."""
    if edge_m is not None:
        return np.full(len(log), float(edge_m))
    width = column(log, "swath_m")
    if width is None:
        return np.zeros(len(log))
    return np.nan_to_num(width) * (0.5 - _STRADDLE_SHARE)


def _inside_edge(
    points: NDArray[np.object_],
    own: NDArray[np.int64],
    polygons: NDArray[np.object_],
    edge: Floats,
) -> NDArray[np.bool_]:
    """Tell which points lie in their strip at least so far from its edge."""
    inside = np.zeros(len(points), dtype=bool)
    within = np.flatnonzero(own >= 0)
    outlines = shapely.boundary(polygons)
    inside[within] = shapely.distance(points[within], outlines[own[within]]) >= edge[within]
    return inside


def _elsewhere(log: pd.DataFrame, strips: GeoDataFrame) -> str:
    """Say where a log lies that does not touch the strips, and what would bring it there."""
    west, south, east, north = strips.to_crs("EPSG:4326").total_bounds
    known = log[has_position(log)]
    longitude, latitude = float(known["longitude"].median()), float(known["latitude"].median())
    middle = (west + east) / 2, (south + north) / 2
    north_km = (latitude - middle[1]) * _KM_DEGREE
    east_km = (longitude - middle[0]) * _KM_DEGREE * float(np.cos(np.radians(middle[1])))
    away = f"{float(np.hypot(north_km, east_km)):,.1f} km"
    file = f"{log['file'].iloc[0]}: t" if "file" in log else "T"
    found = (
        f"{file}he harvest log is not of this trial's strips: its middle ({longitude:.5f}, "
        f"{latitude:.5f}) lies {away} from the middle of the strips in layout.geojson "
        f"({middle[0]:.5f}, {middle[1]:.5f})."
    )
    near = max(north - south, east - west, 0.02)
    for point, remedy in (
        ((latitude, longitude), "Longitude and latitude are swapped: swap the two headings"),
        ((longitude, -latitude), "The latitude has lost its minus sign: correct it"),
        ((-longitude, latitude), "The longitude has lost its minus sign: correct it"),
    ):
        if abs(point[0] - middle[0]) < near and abs(point[1] - middle[1]) < near:
            return f"{found} {remedy} under [harvest.columns] in trial.toml, or in the export."
    return (
        f"{found} It seems to be another field. Put the log of this field into harvest/, or check "
        "the coordinate system (crs under [harvest]) and layout.geojson."
    )


def _warn_of_tight_strips(
    names: pd.Series[str], own: NDArray[np.int64], inside: NDArray[np.bool_]
) -> None:
    entered = np.bincount(own[own >= 0], minlength=len(names)) >= _LEAST_RECORDS
    fitting = np.bincount(own[inside], minlength=len(names)) > 0
    tight = names[entered & ~fitting]
    if len(tight):
        warnings.warn(
            say(
                "No pass lies wholly inside {strips}: every one straddles the edge, so there is no "
                "yield from there. Check swath_m and the layout; or, if the harvester is wider "
                "than the strips, weigh them by themselves.",
                strips=listed_strips(tight),
            ),
            LogWarning,
            stacklevel=3,
        )


def listed_strips(names: pd.Series[str]) -> str:
    """Return strips by name, for a message."""
    listed = ", ".join(str(name) for name in names)
    return say_counted("strip {names}", "strips {names}", len(names), names=listed)


def strip_table(log: pd.DataFrame, layout: GeoDataFrame | None = None) -> pd.DataFrame:
    """Return what each strip yielded: its grain over its ground.

    Parameters
    ----------
    log
        From `assign_strips`.
    layout
        Strips, for their order and to list those that no record lies in; without it, strips stand
        in the order they were harvested.

    Returns
    -------
    DataFrame
        One row a strip: `strip block treatment yield_t_ha area_ha n moisture_pct`. Yield is the
        sum of grain over the sum of ground, not the mean of the points. Ground whose records were
        left out has the yield of the records within 30 m of it on the same pass; beyond, and
        where the log has no passes, that of the strip. Area, number and moisture (weighted by
        grain) are of the records kept. A strip with no record kept has `n` 0 and NaN. Where the
        log has no width, yield is weighted by distance and the area is NaN.

    Warns
    -----
    LogWarning
        If a strip has no record that counts.

    Notes
    -----
    On 160 simulated seasons the 324 strips whose raw mean was off by 3% or more were afterwards
    off by 0.28% root mean square, 93% within 0.5%; with left-out ground at the strip's mean by
    0.36%, 87% within.
    """
    if layout is None:
        names = ["strip", "block", "treatment"]
        table = log.loc[log["strip"].notna(), names].drop_duplicates("strip")
    else:
        strips = trial_strips(layout)
        table = pd.DataFrame({n: strips[n].astype(str) for n in ("strip", "block", "treatment")})
    table = table.set_index("strip")
    sums = _sums(log).reindex(table.index)
    table["yield_t_ha"] = sums["grain"] / sums["ground"]
    table["area_ha"] = sums["area"]
    table["n"] = sums["n"].fillna(0).astype(int)
    table["moisture_pct"] = sums["water"] / sums["wet_weight"]
    empty = table.index.to_series()[table["n"] == 0]
    if len(empty):
        warnings.warn(
            say(
                "No record counts in {strips}: see the reasons in the harvest log.",
                strips=listed_strips(empty),
            ),
            LogWarning,
            stacklevel=2,
        )
    return table.reset_index()[STRIP_COLUMNS]


def _sums(log: pd.DataFrame) -> pd.DataFrame:
    """Return sums by strip: of the records that count, and of ground whose records do not.

    The ground of a record is taken from the whole log: its neighbours may have been left out.
    """
    area = area_ha(log)
    weight = _distance(log) if area is None else area
    value = log["yield_t_ha"].to_numpy(dtype=np.float64)
    beside, ground = beside_it(log, weight)
    kept = log["kept"].to_numpy()
    moisture = column(log, "moisture_pct")
    water = np.full(len(log), np.nan) if moisture is None else moisture
    wet = np.where(np.isnan(water), np.nan, value * weight)
    parts = {
        "grain": np.where(kept, value * weight, beside * ground),
        "ground": np.where(kept, np.where(np.isnan(value), np.nan, weight), ground),
        "area": np.where(kept, np.nan if area is None else area, np.nan),
        "water": np.where(kept, water * wet, np.nan),
        "wet_weight": np.where(kept, wet, np.nan),
        "n": kept.astype(np.float64),
    }
    sums = pd.DataFrame({"strip": log["strip"].to_numpy(), **parts})
    counted = sums[(kept | (ground > 0)) & log["strip"].notna().to_numpy()]
    return counted.groupby("strip", sort=False).sum(min_count=1)


def _distance(log: pd.DataFrame) -> Floats:
    """Return the metres each record stands for; alike where even that is unknown."""
    for name in ("travel_m", "speed_m_s"):
        values = column(log, name)
        if values is not None:
            return values
    return np.ones(len(log))
