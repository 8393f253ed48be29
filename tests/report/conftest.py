"""Hand-made pieces of a season, small and invented, for the report's tests."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import Point, Polygon, box

from trialkit.design import Tramlines, Wishes, plan_trial
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
def words_in():
    """Return a reader of the words that stand in a picture once it is drawn."""

    def words(picture):
        from matplotlib import pyplot
        from matplotlib.text import Text

        figure = picture.plot.draw()
        figure.canvas.draw()
        found = {text.get_text() for text in figure.findobj(Text)}
        pyplot.close(figure)
        return found

    return words


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


#: Radii of a paddock with twelve sides, m, one every 30 degrees.
RADII = [330, 410, 380, 455, 430, 350, 390, 470, 445, 360, 425, 400]


@pytest.fixture(scope="session")
def fields():
    """Three fields at sea: a rectangle, an L with a dam, a paddock with twelve sides."""
    grid = "+proj=aeqd +lat_0=-38.5 +lon_0=85 +datum=WGS84 +units=m"
    corners = [(0, 0), (700, 0), (700, 320), (300, 320), (300, 620), (0, 620)]
    turns = np.radians(np.arange(12) * 30)
    sides = np.column_stack([1.3 * np.cos(turns), np.sin(turns)]) * np.array(RADII)[:, None]
    shapes = {
        "rectangle": box(0, 0, 620, 410),
        "ell": Polygon(corners, [Point(430, 170).buffer(40).exterior.coords]),
        "twelve": Polygon(sides),
    }
    return {
        name: gpd.GeoDataFrame(geometry=[shape], crs=grid).to_crs("EPSG:4326")
        for name, shape in shapes.items()
    }


@pytest.fixture(scope="session")
def plans(fields):
    """A plan on each field: pairs; strips up and down; three treatments beside tramlines."""
    pairs = ["untreated", "dressed"]
    three = ["untreated", "water only", "dressed"]
    wanted = {
        "rectangle": (pairs, 6, Wishes(12, 9)),
        "ell": (pairs, 6, Wishes(12, 9, heading_deg=0)),
        "twelve": (three, 4, Wishes(12, 9, tramlines=Tramlines(36))),
    }
    return {
        name: plan_trial(fields[name], arms, blocks, wishes, seed=5, control="untreated")
        for name, (arms, blocks, wishes) in wanted.items()
    }
