"""Positions as degrees of longitude and latitude, WGS 84, checked against the globe."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import LogError, LogWarning
from trialkit.language import say

WGS84 = "EPSG:4326"

#: Share of records with a position off the globe beyond which the file is wrong as a whole.
_MOST_OFF_GLOBE = 0.05


def on_the_globe(log: pd.DataFrame, file: str) -> pd.DataFrame:
    """Return the log with its positions checked.

    Parameters
    ----------
    log
        With `longitude`, `latitude` and `row`.
    file
        Name of the file, for messages.

    Raises
    ------
    LogError
        If positions are off the globe, or no record has one.
    """
    longitude, latitude = log["longitude"].to_numpy(), log["latitude"].to_numpy()
    off = (np.abs(longitude) > 180) | (np.abs(latitude) > 90)
    if off.mean() > _MOST_OFF_GLOBE:
        raise LogError(f"{file}, row {log['row'].iloc[int(off.argmax())]}: {_why_off(log, off)}")
    if off.any():
        warnings.warn(
            say(
                "{file}: {number} records have a position off the globe, the first in row {row}. "
                "They count as without position.",
                file=file,
                number=int(off.sum()),
                row=str(log["row"].iloc[int(off.argmax())]),
            ),
            LogWarning,
            stacklevel=3,
        )
        log = log.assign(longitude=np.where(off, np.nan, longitude))
        log["latitude"] = np.where(off, np.nan, latitude)
    if not (np.isfinite(longitude) & np.isfinite(latitude) & ~_nowhere(log)).any():
        raise LogError(
            f"{file}: no record has a position; longitude and latitude are empty or zero "
            "throughout. The receiver was off, or the wrong columns are named under "
            "[harvest.columns]. Use scale weights (weights.csv) if the positions are lost."
        )
    return log


def _nowhere(log: pd.DataFrame) -> NDArray[np.bool_]:
    return np.asarray((log["longitude"] == 0) & (log["latitude"] == 0), dtype=np.bool_)


def in_degrees(log: pd.DataFrame, crs: str) -> pd.DataFrame:
    """Return the log with WGS 84 positions.

    Parameters
    ----------
    log
        With `longitude` and `latitude`, in another coordinate system easting and northing.
    crs
        Coordinate system of the positions: a code, or as a file states it.

    Raises
    ------
    LogError
        If the coordinate system is not known.
    """
    if crs.upper().replace(" ", "") in (WGS84, "WGS84", "OGC:CRS84"):
        return log
    from pyproj import Transformer
    from pyproj.exceptions import CRSError, ProjError

    try:
        to_degrees = Transformer.from_crs(crs, WGS84, always_xy=True)
        longitude, latitude = to_degrees.transform(
            log["longitude"].to_numpy(), log["latitude"].to_numpy()
        )
    except (CRSError, ProjError) as error:
        raise LogError(
            f"'{crs[:60]}' is not a coordinate system trialkit knows. Give it under [harvest] as "
            'crs = "EPSG:...", such as "EPSG:32755" for UTM zone 55 south.'
        ) from error
    finite = np.isfinite(longitude) & np.isfinite(latitude)
    return log.assign(
        longitude=np.where(finite, longitude, np.nan), latitude=np.where(finite, latitude, np.nan)
    )


def _why_off(log: pd.DataFrame, off: NDArray[np.bool_]) -> str:
    first = log.iloc[int(off.argmax())]
    longitude, latitude = float(first["longitude"]), float(first["latitude"])
    found = f"longitude {longitude:g}, latitude {latitude:g} is no place on the globe."
    if abs(longitude) <= 90 and abs(latitude) <= 180:
        return f"{found} Swapped they would be one: swap the two under [harvest.columns]."
    return (
        f"{found} If these are metres, name their coordinate system under [harvest], such as "
        'crs = "EPSG:32755"; else check which columns are named under [harvest.columns].'
    )
