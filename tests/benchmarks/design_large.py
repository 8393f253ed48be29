"""A large layout and a long rehearsal, each beside a library doing part of the same.

    python tests/benchmarks/design_large.py

500 ha in 200 strips, held against geopandas cutting the same strips to the same field; a thousand
draws of 24 strips on a map of 50,000 yields, held against statsmodels fitting those draws one by
one, strip yields ready.
"""

from __future__ import annotations

import argparse
import time

import geopandas as gpd
import numpy as np
import pandas as pd
import statsmodels.formula.api as smf
from pyproj import CRS
from shapely.geometry import Polygon

from trialkit import simulate
from trialkit.design import lay_out, rehearse

GRID = CRS.from_proj4("+proj=aeqd +lat_0=-38.5 +lon_0=85 +datum=WGS84")
NAMES = ["untreated", "dressed"]
#: Corners of a field of 500 ha, m, and of a smaller one.
LARGE = [(0, 0), (1900, 120), (2700, 60), (2640, 1900), (900, 2040), (-40, 1880)]
SMALL = [(0, 0), (900, 60), (880, 900), (20, 860)]


def field(corners: list[tuple[int, int]]) -> gpd.GeoDataFrame:
    """Return a field at sea, WGS 84."""
    return gpd.GeoDataFrame(geometry=[Polygon(corners)], crs=GRID).to_crs(4326)


def compare(pairs: int = 100, draws: int = 1000, yields: int = 50_000) -> pd.DataFrame:
    """One row a task: how much, seconds here, seconds of the library, and their ratio."""
    rows = []
    large = field(LARGE)
    begin = time.perf_counter()
    layout = lay_out(large, NAMES, pairs, seeder_m=12, harvester_m=9, heading_deg=0, seed=1)
    own = time.perf_counter() - begin
    strips = layout[layout["role"] == "strip"]
    begin = time.perf_counter()
    gpd.overlay(strips.to_crs(GRID), large.to_crs(GRID))
    rows.append(("lay_out", len(strips), own, time.perf_counter() - begin))

    small = field(SMALL)
    layout = lay_out(small, NAMES, 12, seeder_m=12, harvester_m=9, seed=1)
    spacing_m = float(small.to_crs(GRID).area.sum() / 12 / yields)
    past = simulate.past_yield(small, seed=1, spacing_m=spacing_m)
    begin = time.perf_counter()
    found = rehearse(layout, past, draws=draws, strip_sd_t_ha=0.1)
    own = time.perf_counter() - begin
    few = min(draws, 50)
    table = layout[layout["role"] == "strip"][["block", "treatment"]]
    drawn = np.random.default_rng(1).normal(3, 0.1, (few, len(table)))
    begin = time.perf_counter()
    for each in drawn:
        smf.ols("y ~ C(block) + C(treatment)", table.assign(y=each)).fit().conf_int()
    library = (time.perf_counter() - begin) * draws / few
    rows.append((f"rehearse {len(past):,} yields", found.draws, own, library))
    result = pd.DataFrame(rows, columns=["task", "size", "seconds", "library_seconds"])
    return result.assign(ratio=result["seconds"] / result["library_seconds"])


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=1000)
    print(compare(draws=parser.parse_args().draws).to_string(index=False))
