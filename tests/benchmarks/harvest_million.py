"""Time of the way from a yield monitor's file to strip yields, beside a bare pandas.read_csv.

    python tests/benchmarks/harvest_million.py

An invented field of strips 1,000 m long, logged five times a second; for more records there are
more strips. Each step's share is shown; memory is the most the process ever held, every size
in a process of its own.
"""

from __future__ import annotations

import argparse
import resource
import time
import warnings
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import numpy as np
import pandas as pd

from trialkit import simulate
from trialkit.harvest import (
    assign_strips,
    find_delay,
    read_log,
    screen,
    shift_flow,
    split_passes,
    strip_table,
)

SIZES = (10_000, 100_000, 1_000_000)
LENGTH_M, SWATH_M, SPEED_M_S, INTERVAL_S = 1000.0, 12.0, 2.0, 0.2
STEPS = ("read", "split", "delay", "screen", "assign")


def invent(records: int, folder: str) -> None:
    """Write a log of about so many records, and its strips, into a folder."""
    a_strip = LENGTH_M / SPEED_M_S / INTERVAL_S
    blocks = max(2, round(records / (2 * a_strip)))
    layout = simulate.lay_strips(
        ["untreated", "dressed"], blocks, seed=1, length_m=LENGTH_M, width_m=SWATH_M
    )
    season = simulate.harvest_trial(
        layout,
        simulate.Field(drying_pct_h=0.0),  # days without end would dry the grain to nothing
        seed=2,
        machine=simulate.Machine(swath_m=SWATH_M, speed_m_s=SPEED_M_S),
        monitor=simulate.Monitor(interval_s=INTERVAL_S),
    )
    simulate.write_log(season.log, Path(folder, "log.csv"))
    layout.to_file(Path(folder, "strips.gpkg"))


def measured(folder: str) -> dict[str, float]:
    """Time the steps on the log in a folder."""
    path, layout = Path(folder, "log.csv"), gpd.read_file(Path(folder, "strips.gpkg"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        run(path, layout)  # imports and first calls stay out of the times
        begin = time.perf_counter()
        bare = pd.read_csv(path)
        row = {"records": len(bare), "read_csv": time.perf_counter() - begin}
        row |= run(path, layout)
    row["seconds"] = sum(row[step] for step in STEPS)
    row["over_read_csv"] = row["seconds"] / row["read_csv"]
    row["peak_gb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    return row


def run(path: Path, layout: gpd.GeoDataFrame) -> dict[str, float]:
    """Take a log to strip yields; return the seconds of each step."""
    seconds = {}
    log = pd.DataFrame()

    def timed(step: str, work: Callable[[], pd.DataFrame]) -> pd.DataFrame:
        begin = time.perf_counter()
        result = work()
        seconds[step] = time.perf_counter() - begin
        return result

    log = timed("read", lambda: read_log(path, standard_moisture_pct=12.5))
    log = timed("split", lambda: split_passes(log))
    log = timed("delay", lambda: shift_flow(log, find_delay(log).delay_s))
    log = timed("screen", lambda: screen(log))
    log = timed("assign", lambda: assign_strips(log, layout))
    assert np.isfinite(strip_table(log)["yield_t_ha"]).all()
    return seconds


def compare(sizes: tuple[int, ...]) -> pd.DataFrame:
    """One row a size, each measured in a process of its own."""
    rows = []
    for size in sizes:
        with TemporaryDirectory() as folder:
            for work, given in ((invent, (size, folder)), (measured, (folder,))):
                with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
                    row = pool.submit(work, *given).result()
        rows.append(row)
    table = pd.DataFrame(rows)
    a_record = table["seconds"] / table["records"]
    return table.assign(time_a_record_ratio=a_record / a_record.iloc[0])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sizes", type=int, nargs="+", default=list(SIZES))
    table = compare(tuple(parser.parse_args().sizes))
    print(table.to_string(index=False, float_format=lambda value: f"{value:.3g}"))


if __name__ == "__main__":
    main()
