"""Low and high ground from logged heights."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import LogError, LogWarning
from trialkit.harvest import add_relief


def log_of(height, noise_m=0.0, swath_m=12.0, size_m=600.0):
    """Passes 12 m apart and records 2 m apart, with heights given by a function of place."""
    x, y = np.meshgrid(np.arange(0, size_m, swath_m), np.arange(0, size_m, 2.0))
    x, y = x.T.ravel(), y.T.ravel()
    noise = noise_m * np.random.default_rng(1).standard_normal(x.size)
    return pd.DataFrame({"x_m": x, "y_m": y, "elevation_m": height(x, y) + noise})


@pytest.mark.parametrize("noise_m", [0.0, 0.3])
def test_slope_of_a_plane(noise_m):
    log = add_relief(log_of(lambda x, y: 200 + 0.03 * x + 0.04 * y, noise_m))
    inside = log["x_m"].between(60, 540) & log["y_m"].between(60, 540)
    assert log.loc[inside, "slope_pct"].mean() == pytest.approx(5.0, abs=0.3 if noise_m else 0.1)
    deep = log["x_m"].between(200, 400) & log["y_m"].between(200, 400)
    assert log.loc[deep, "relative_height_m"].abs().max() < (0.1 if noise_m else 0.02)


def test_a_hollow_lies_below_its_surroundings_by_what_it_is_deep():
    # A bowl 60 m wide and 3 m deep; the mean within 150 m is known by integration.
    def bowl(x, y):
        return 200 - 3 * np.exp(-((x - 300) ** 2 + (y - 300) ** 2) / (2 * 60**2))

    log = add_relief(log_of(bowl, 0.2))
    lowest = log.loc[log["relative_height_m"].idxmin()]
    assert np.hypot(lowest["x_m"] - 300, lowest["y_m"] - 300) < 20
    # Smoothing by 15 m: depth 3 * 60^2 / (60^2 + 15^2); mean of the bowl over a disc of 150 m.
    spread = 60**2 + 15**2
    depth = 3 * 60**2 / spread
    around = depth * 2 * spread / 150**2 * (1 - np.exp(-(150**2) / (2 * spread)))
    assert lowest["relative_height_m"] == pytest.approx(around - depth, abs=0.15)


def test_records_without_height_or_place_get_none():
    log = log_of(lambda x, y: 200 + 0.03 * x)
    log.loc[10:19, "elevation_m"] = np.nan
    log.loc[20:29, "x_m"] = np.nan
    found = add_relief(log)
    assert found["relative_height_m"].isna().to_numpy().nonzero()[0].tolist() == list(range(10, 30))


def test_flat_ground_is_said():
    with pytest.warns(LogWarning, match="less than 0.5 m over the field"):
        add_relief(log_of(lambda x, y: 200 + 0 * x, 0.02))


def test_no_heights_and_stray_positions():
    log = log_of(lambda x, y: 200 + 0.03 * x)
    with pytest.raises(LogError, match=r"no heights .elevation_m.*low and high ground"):
        add_relief(log.drop(columns="elevation_m"))
    with pytest.raises(LogError, match="more than one field"):
        add_relief(pd.concat([log, log.iloc[:1].assign(x_m=9e6)], ignore_index=True))
