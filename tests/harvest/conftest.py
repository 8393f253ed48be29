"""Small harvests by hand: a machine going up and down a field at sea, with known truth."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

#: Metres a degree of latitude; the tests lie near 38.5° S, 85° E, where there is only water.
METRES_A_DEGREE = 111_195.0
LONGITUDE, LATITUDE = 85.0, -38.5


def degrees(x_m: np.ndarray, y_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    east = METRES_A_DEGREE * np.cos(np.radians(LATITUDE))
    return LONGITUDE + np.asarray(x_m) / east, LATITUDE + np.asarray(y_m) / METRES_A_DEGREE


def up_and_down(
    *,
    passes: int = 8,
    length_m: float = 300.0,
    swath_m: float = 10.0,
    speed_m_s: float = 2.0,
    interval_s: float = 1.0,
    delay_s: float = 0.0,
    noise_m: float = 0.0,
    yield_t_ha: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
    seed: int = 1,
) -> pd.DataFrame:
    """A log with turns, and truth beside it: `true_pass` (-1 in turns), `true_t_ha`, x and y."""
    step = speed_m_s * interval_s
    xs, ys, numbers = [], [], []
    for number in range(passes):
        up = np.arange(0.0, length_m, step)
        xs.append(np.full(len(up), number * swath_m))
        ys.append(up if number % 2 == 0 else length_m - up)
        numbers.append(np.full(len(up), number))
        if number < passes - 1:
            angle = np.arange(step, np.pi * swath_m / 2, step) / (swath_m / 2)
            side = 1.0 if number % 2 == 0 else -1.0
            xs.append(number * swath_m + swath_m / 2 * (1 - np.cos(angle)))
            ys.append((length_m if side > 0 else 0.0) + side * swath_m / 2 * np.sin(angle))
            numbers.append(np.full(len(angle), -1))
    x, y, number = np.concatenate(xs), np.concatenate(ys), np.concatenate(numbers)
    grows = (yield_t_ha or (lambda x, y: np.full(len(x), 4.0)))(x, y)
    intake = np.where(number >= 0, grows / 10 * speed_m_s * swath_m, 0.0)
    late = round(delay_s / interval_s)
    flow = np.concatenate((np.zeros(late), intake[: len(intake) - late]))
    # No two readings are quite equal, or the sensor would count as frozen.
    flow *= 1 + 1e-13 * np.sin(np.arange(len(flow)))
    draw = np.random.default_rng(seed)
    longitude, latitude = degrees(
        x + noise_m * draw.standard_normal(len(x)), y + noise_m * draw.standard_normal(len(x))
    )
    milliseconds = np.round(np.arange(len(x)) * interval_s * 1000)
    return pd.DataFrame(
        {
            "time": pd.Timestamp("2025-11-24 10:00") + pd.to_timedelta(milliseconds, unit="ms"),
            "longitude": longitude,
            "latitude": latitude,
            "speed_m_s": speed_m_s,
            "swath_m": swath_m,
            "flow_kg_s": flow,
            "moisture_pct": 12.5,
            "yield_t_ha": flow / (speed_m_s * swath_m) * 10,
            "grain_kg": flow * interval_s,
            "true_pass": number,
            "true_t_ha": grows,
            "true_x_m": x,
            "true_y_m": y,
        }
    )


@pytest.fixture(scope="session")
def drive() -> Callable[..., pd.DataFrame]:
    """Make a log of a machine that goes up and down; see `up_and_down`."""
    return up_and_down


@pytest.fixture(scope="session")
def strips_beside() -> Callable[..., gpd.GeoDataFrame]:
    """Make strips side by side along north, their first edge half a swath west of pass 1."""

    def make(
        number: int = 4, width_m: float = 20.0, length_m: float = 300.0, west_m: float = -5.0
    ) -> gpd.GeoDataFrame:
        corners = [
            (*degrees(west_m + n * width_m, 0.0), *degrees(west_m + (n + 1) * width_m, length_m))
            for n in range(number)
        ]
        return gpd.GeoDataFrame(
            {
                "strip": [f"S{n + 1}" for n in range(number)],
                "block": [f"B{n // 2 + 1}" for n in range(number)],
                "treatment": ["untreated" if n % 2 == 0 else "dressed" for n in range(number)],
            },
            geometry=[box(*corner) for corner in corners],
            crs="EPSG:4326",
        )

    return make


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write text or bytes as a log file and return its path."""

    def put(content: str | bytes, name: str = "log.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))
        return path

    return put


@pytest.fixture
def rough_field() -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """A yield that waves across the field, some 30 m from low to high."""

    def grows(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 4.0 + 0.8 * np.sin(y / 9.0 + x / 40.0) + 0.3 * np.cos(y / 23.0)

    return grows


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of open data beside the project."""
    path = Path(__file__).parents[3] / "shared" / "data"
    if not path.is_dir():
        pytest.skip("no data beside the project (../shared/data)")
    return path
