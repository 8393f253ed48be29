"""Hand-made pieces of a season, small and invented, for the report's tests."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from trialkit.money import payoff
from trialkit.result import Comparison, CrossCheck, InputFile, Summary

PRICE, COST = 250.0, 20.0


def comparison(gain=0.2, std_error=0.05, df=5, treatment="Dressed", cost=COST):
    """Return a comparison whose money follows from its gain."""
    from scipy import stats

    reach = float(stats.t.ppf(0.975, df)) * std_error
    money = payoff(gain, std_error, df, price_per_t=PRICE, cost_per_ha=cost)
    return Comparison(
        treatment=treatment,
        control="Untreated",
        gain_t_ha=gain,
        low_t_ha=gain - reach,
        high_t_ha=gain + reach,
        std_error_t_ha=std_error,
        df=df,
        p_value=float(2 * stats.t.sf(abs(gain) / std_error, df)),
        method="strip means, random blocks, REML, Kenward-Roger",
        break_even_t_ha=money.break_even_t_ha,
        net_per_ha=money.net_per_ha,
        net_low=money.net_low,
        net_high=money.net_high,
        chance_paid=money.chance_paid,
        verdict=money.verdict,
    )


@pytest.fixture
def compare():
    return comparison


@pytest.fixture
def layout():
    """Six blocks of two strips, 12 m by 400 m, at sea."""
    rows, shapes = [], []
    for strip in range(12):
        block = strip // 2 + 1
        dressed = (strip + block) % 2
        rows.append((f"S{strip + 1}", f"B{block}", "Dressed" if dressed else "Untreated", "strip"))
        shapes.append(box(strip * 12, 0, strip * 12 + 12, 400))
    frame = pd.DataFrame(rows, columns=["strip", "block", "treatment", "role"])
    grid = "+proj=tmerc +lat_0=-36 +lon_0=0 +k=1 +datum=WGS84 +units=m"
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=grid).to_crs("EPSG:4326")


@pytest.fixture
def boundary(layout):
    grid = "+proj=tmerc +lat_0=-36 +lon_0=0 +k=1 +datum=WGS84 +units=m"
    return gpd.GeoDataFrame(geometry=[box(-20, -40, 164, 440)], crs=grid).to_crs("EPSG:4326")


@pytest.fixture
def strips(layout):
    draw = np.random.default_rng(3)
    block = {f"B{i + 1}": value for i, value in enumerate(draw.normal(3.4, 0.25, 6))}
    table = layout.drop(columns=["geometry", "role"]).copy()
    table["yield_t_ha"] = table["block"].map(block) + 0.2 * (table["treatment"] == "Dressed")
    table["yield_t_ha"] += draw.normal(0, 0.05, len(table))
    table["area_ha"] = 0.44
    table["n"] = 210
    table["moisture_pct"] = 11.2
    return table


@pytest.fixture
def make_log(layout):
    """Return a maker of logs: `n` records in the strips, some of them left out."""

    def make(n=3000):
        draw = np.random.default_rng(4)
        x, y = draw.uniform(0, 144, n), draw.uniform(-20, 420, n)
        grid = "+proj=tmerc +lat_0=-36 +lon_0=0 +k=1 +datum=WGS84 +units=m"
        points = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=grid).to_crs("EPSG:4326")
        log = pd.DataFrame({"longitude": points.x, "latitude": points.y, "x_m": x, "y_m": y})
        log["yield_t_ha"] = 3.4 + 0.3 * np.sin(y / 60) + draw.normal(0, 0.2, n)
        log["reason"] = ""
        log.loc[(y < 10) | (y > 390), "reason"] = "pass end"
        spikes = draw.choice(n, 30, replace=False)
        log.loc[spikes, ["yield_t_ha", "reason"]] = [25.0, "yield out of bounds"]
        log["kept"] = log["reason"] == ""
        return log

    return make


@pytest.fixture
def screening():
    return pd.DataFrame(
        {
            "reason": ["pass end", "outside the strips", "yield out of bounds"],
            "records": [1_240, 610, 35],
            "share_pct": [6.2, 3.05, 0.175],
        }
    )


@pytest.fixture
def make_summary():
    def make(comparisons, checks=(), **changes):
        given = {
            "trial": "River flat oats",
            "season": 2025,
            "crop": "oats",
            "currency": "AUD",
            "comparisons": tuple(comparisons),
            "strips": {"n": 12, "by_treatment": {"Untreated": 6, "Dressed": 6}},
            "records": {"read": 20_000, "kept": 18_115, "reasons": {"pass end": 1_240}},
            "cross_checks": tuple(checks),
            "warnings": (),
            "inputs": (InputFile("trial.toml", "ab" * 32),),
            "versions": {"python": "3.11", "trialkit": "0.1.0"},
            "seed": 1,
        }
        return Summary(**{**given, **changes})

    return make


@pytest.fixture
def check():
    def make(gain=0.19, low=0.05, high=0.33, p=0.02, method="records", treatment="Dressed"):
        return CrossCheck(method, treatment, "Untreated", gain, low, high, p)

    return make
