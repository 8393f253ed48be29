"""What else is known of a place, joined to the records: zones, rasters, earlier harvests."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from trialkit.errors import LogError, LogWarning
from trialkit.harvest.ground import M_DEGREE, Floats
from trialkit.harvest.metres import has_position
from trialkit.language import say

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Kinds of raster read; others may point to places elsewhere.
_RASTERS = {".tif": "GTiff", ".tiff": "GTiff", ".asc": "AAIGrid"}
#: Records without a value beyond which the two are hardly of one field.
_MOST_MISSING = 0.5


def join_zones(log: pd.DataFrame, zones: GeoDataFrame, column: str) -> pd.DataFrame:
    """Give each record the zone it lies in.

    Parameters
    ----------
    log
        With `longitude` and `latitude`.
    zones
        Areas with a coordinate system and the column wanted, such as soil types.
    column
        Column of the zones; it gets the same name in the log.

    Returns
    -------
    DataFrame
        The log with the column; missing outside all zones. Where zones overlap, the first one
        counts.

    Raises
    ------
    LogError
        If the zones lack the column or a coordinate system, or touch no record.

    Warns
    -----
    LogWarning
        If more than half of the records lie in no zone.

    Examples
    --------
    >>> import geopandas as gpd, pandas as pd
    >>> from shapely.geometry import box
    >>> zones = gpd.GeoDataFrame({"soil": ["sand", "clay"]}, crs="EPSG:4326",
    ...                          geometry=[box(85, -39, 86, -38), box(86, -39, 87, -38)])
    >>> log = pd.DataFrame({"longitude": [85.5, 86.5], "latitude": [-38.5, -38.5]})
    >>> join_zones(log, zones, "soil")["soil"].tolist()
    ['sand', 'clay']
    """
    if column not in zones:
        known = ", ".join(str(name) for name in zones.columns if name != zones.geometry.name)
        raise LogError(f"The zones have no column '{column}'. They have: {known or 'none'}.")
    if zones.crs is None:
        raise LogError(
            "The zones state no coordinate system, so nobody knows where they lie. Save them with "
            "one, such as WGS 84."
        )
    areas = zones.to_crs("EPSG:4326").geometry.to_numpy()
    longitude, latitude = _places(log)
    tree = shapely.STRtree(np.asarray(shapely.points(longitude, latitude), dtype=object))
    zone, record = tree.query(areas, predicate="intersects")
    own = np.full(len(log), -1, dtype=np.int64)
    own[record[::-1]] = zone[::-1]
    values = zones[column].reset_index(drop=True).reindex(own).set_axis(log.index)
    _check_met(own < 0, column, "the zones")
    return log.assign(**{column: values})


def join_raster(log: pd.DataFrame, path: str | Path, name: str, *, band: int = 1) -> pd.DataFrame:
    """Give each record the value of the raster cell it lies in.

    Parameters
    ----------
    log
        With `longitude` and `latitude`.
    path
        GeoTIFF or ASCII grid with a coordinate system, such as one of soil conductivity.
    name
        Name of the new column, with its unit in it.
    band
        Which band, from 1.

    Returns
    -------
    DataFrame
        The log with the column; NaN outside the raster and where it holds no data.

    Raises
    ------
    LogError
        If the raster cannot be read, states no coordinate system, or touches no record.

    Warns
    -----
    LogWarning
        If more than half of the records get no value.
    """
    file = Path(path)
    try:
        import rasterio
    except ImportError as error:
        raise LogError(
            f"{file.name}: reading a raster needs the package rasterio. Install it with "
            "`pip install rasterio`, or give the map as points or zones."
        ) from error
    if not file.is_file():
        raise LogError(f"{file}: there is no such file.")
    if file.suffix.lower() not in _RASTERS:
        raise LogError(f"{file.name}: rasters are read from {', '.join(_RASTERS)} files.")
    try:
        with rasterio.open(file, driver=_RASTERS[file.suffix.lower()]) as raster:
            if raster.crs is None:
                raise LogError(
                    f"{file.name}: the raster states no coordinate system, so nobody knows where "
                    "it lies. Save it with one."
                )
            if not 1 <= band <= raster.count:
                raise LogError(f"{file.name}: there is no band {band}; it has {raster.count}.")
            values = _sampled(log, raster, band)
    except rasterio.errors.RasterioError as error:
        raise LogError(
            f"{file.name}: this is no raster, or it is damaged ({str(error)[:80]}). Export it "
            "again, best as GeoTIFF."
        ) from error
    _check_met(np.isnan(values), name, file.name)
    return log.assign(**{name: values})


def _sampled(log: pd.DataFrame, raster: Any, band: int) -> Floats:
    """Read the part of a raster under the log, and the cell of each record in it."""
    from pyproj import Transformer
    from rasterio.windows import Window

    x, y = Transformer.from_crs("EPSG:4326", raster.crs.to_wkt(), always_xy=True).transform(
        *_places(log)
    )
    # Cells from places: the raster's transform the other way round.
    cell = raster.transform
    east, north = np.asarray(x) - cell.c, np.asarray(y) - cell.f
    size = cell.a * cell.e - cell.b * cell.d
    column, row = (cell.e * east - cell.b * north) / size, (cell.a * north - cell.d * east) / size
    inside = (column >= 0) & (row >= 0) & (column < raster.width) & (row < raster.height)
    values = np.full(len(log), np.nan)
    if not inside.any():
        return values
    columns, rows = column[inside].astype(np.int64), row[inside].astype(np.int64)
    window = Window(columns.min(), rows.min(), np.ptp(columns) + 1, np.ptp(rows) + 1)
    part = raster.read(band, window=window, masked=True)
    cells = part.astype(np.float64).filled(np.nan)
    values[inside] = cells[rows - rows.min(), columns - columns.min()]
    return values


def join_points(
    log: pd.DataFrame, other: pd.DataFrame, column: str, name: str, *, within_m: float = 15.0
) -> pd.DataFrame:
    """Give each record the mean of another map's points around it, such as an earlier yield.

    Parameters
    ----------
    log
        With `longitude` and `latitude`.
    other
        Points with `longitude`, `latitude` and the column wanted; records with `kept` False are
        passed over.
    column
        Column of the other map.
    name
        Name of the new column, with its unit in it.
    within_m
        Radius that is averaged over, m.

    Returns
    -------
    DataFrame
        The log with the column; NaN where the other map has no point so near.

    Raises
    ------
    LogError
        If the other map lacks the column, or touches no record.

    Warns
    -----
    LogWarning
        If more than half of the records get no value.

    Examples
    --------
    >>> import pandas as pd
    >>> past = pd.DataFrame({"longitude": [85.0, 85.0001], "latitude": -38.5, "yield_t_ha": [3, 4]})
    >>> log = pd.DataFrame({"longitude": [85.0], "latitude": [-38.5]})
    >>> join_points(log, past, "yield_t_ha", "past_t_ha")["past_t_ha"].tolist()
    [3.5]
    """
    from scipy.spatial import cKDTree

    for wanted in ("longitude", "latitude", column):
        if wanted not in other:
            raise LogError(f"The other map has no column '{wanted}'.")
    if "kept" in other:
        other = other[other["kept"]]
    values = other[column].to_numpy(dtype=np.float64)
    there = has_position(other) & np.isfinite(values)
    values = values[there]
    here = has_position(log)
    found = np.full(len(log), np.nan)
    if len(values) and here.any():
        middle = float(np.median(log.loc[here, "latitude"]))
        tree = cKDTree(_metres(other[there], middle))
        near = tree.query_ball_point(_metres(log[here], middle), within_m)
        lists = [np.asarray(points, dtype=np.int64) for points in near]
        count = np.array([points.size for points in lists])
        owner = np.repeat(np.arange(len(lists)), count)
        total = np.bincount(owner, values[np.concatenate(lists)], len(lists))
        found[here] = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    _check_met(np.isnan(found), name, "the other map")
    return log.assign(**{name: found})


def _metres(table: pd.DataFrame, middle: float) -> Floats:
    """Return places in metres, near enough within a field."""
    east = table["longitude"].to_numpy(dtype=np.float64) * np.cos(np.radians(middle))
    return M_DEGREE * np.column_stack([east, table["latitude"].to_numpy(dtype=np.float64)])


def _places(log: pd.DataFrame) -> tuple[Floats, Floats]:
    """Return longitude and latitude, NaN where there is no position."""
    known = has_position(log)
    longitude = np.where(known, log["longitude"].to_numpy(dtype=np.float64), np.nan)
    return longitude, np.where(known, log["latitude"].to_numpy(dtype=np.float64), np.nan)


def _check_met(missing: np.ndarray, name: str, source: str) -> None:
    if missing.all():
        raise LogError(
            f"'{name}': {source} and the harvest log do not touch. They are of different fields, "
            "or one of them has a wrong coordinate system."
        )
    if missing.mean() > _MOST_MISSING:
        warnings.warn(
            say(
                "'{column}': {missing_pct:.0f}% of the records get no value from {source}.",
                column=name,
                missing_pct=100 * missing.mean(),
                source=source,
            ),
            LogWarning,
            stacklevel=3,
        )
