"""An invented trial of six pairs for scouting tests: layout, counts, sound temperatures."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box


@pytest.fixture
def layout():
    """Twelve strips in six pairs; the dressed one is first in every other pair."""
    arms = ["dressed", "untreated", "untreated", "dressed"] * 3
    return pd.DataFrame(
        {
            "strip": [f"S{n}" for n in range(1, 13)],
            "block": [f"B{n // 2 + 1}" for n in range(12)],
            "treatment": arms,
        }
    )


@pytest.fixture
def drawn(layout):
    """The same strips on the ground, 12 m wide and 300 m long, running north, at sea."""
    east, north = 1 / 87_000, 1 / 111_000
    shapes = [
        box(85 + 12 * n * east, -38.5, 85 + 12 * (n + 1) * east, -38.5 + 300 * north)
        for n in range(12)
    ]
    return gpd.GeoDataFrame(layout.assign(role="strip"), geometry=shapes, crs="EPSG:4326")


@pytest.fixture
def counts(layout):
    """Four counts a strip, Poisson around 45, a fifth more where dressed."""
    draw = np.random.default_rng(11)
    rows = layout.loc[layout.index.repeat(4), ["strip", "treatment"]].reset_index(drop=True)
    mean = 45 * np.where(rows["treatment"] == "dressed", 1.2, 1.0)
    return pd.DataFrame(
        {
            "strip": rows["strip"],
            "date": pd.Timestamp("2024-06-04"),
            "count": draw.poisson(mean),
            "row_length_m": 1.0,
            "row_spacing_m": 0.25,
        }
    )


@pytest.fixture
def data_demo():
    """The folder of the demo trials."""
    return Path(__file__).parents[2] / "data-demo"
