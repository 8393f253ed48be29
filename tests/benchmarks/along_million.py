"""Time and memory of fit_mixed with correlation along the pass, from 10,000 records to 1,000,000.

    python tests/benchmarks/along_million.py

An invented harvest: 24 passes, each a strip, in 6 blocks; yields correlated along the pass by
an Ornstein-Uhlenbeck process. Random block and strip. The last column is the time a record
takes over that of the smallest harvest: flat where work is linear in the records.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc

import numpy as np
import pandas as pd
from scipy.signal import lfilter

from trialkit.models import AlongPass, fit_mixed

PASSES, BLOCKS = 24, 6
STEP_M, RANGE_M, SILL, NUGGET = 2.0, 60.0, 0.20, 0.15
SEED = 20240818


def invented_harvest(records: int) -> pd.DataFrame:
    """Records of an invented harvest, in the order driven."""
    rng = np.random.default_rng(SEED)
    length = records // PASSES
    number = np.repeat(np.arange(PASSES), length)
    alike = np.exp(-STEP_M / RANGE_M)
    fresh = rng.normal(0, np.sqrt(SILL * (1 - alike**2)), (PASSES, length))
    fresh[:, 0] = rng.normal(0, np.sqrt(SILL), PASSES)
    process = lfilter([1.0], [1.0, -alike], fresh, axis=1).ravel()
    level = 3 + rng.normal(0, 0.10, BLOCKS)[number // 4] + rng.normal(0, 0.10, PASSES)[number]
    dressed = number % 2
    return pd.DataFrame(
        {
            "block": number // 4,
            "pass_id": number,
            "treatment": np.array(["untreated", "dressed"], dtype=object)[dressed],
            "distance_m": np.tile(np.arange(length) * STEP_M, PASSES),
            "yield_t_ha": level
            + 0.2 * dressed
            + process
            + rng.normal(0, np.sqrt(NUGGET), number.size),
        }
    )


def fit(data: pd.DataFrame) -> dict[str, float]:
    """Fit with random block and strip; return gain, standard error, df and range."""
    found = fit_mixed(
        "yield_t_ha ~ treatment", data, random=("block", "pass_id"), along=AlongPass()
    )
    row = found.differences("treatment", against="untreated").loc["dressed"]
    gain = {"gain": row["estimate"], "std_error": row["std_error"], "df": row["df"]}
    return {**gain, "range_m": found.variances["range_m"]}


def compare(sizes: tuple[int, ...]) -> pd.DataFrame:
    """Return one row a size."""
    fit(invented_harvest(1200))  # imports and first calls stay out of the times
    rows = []
    for records in sizes:
        harvest = invented_harvest(records)
        begin = time.perf_counter()
        result = fit(harvest)
        seconds = time.perf_counter() - begin
        tracemalloc.start()
        fit(harvest)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        frame = harvest.memory_usage(deep=True).sum() / 1e6
        rows.append(
            {
                "records": len(harvest), "seconds": seconds,
                "us_a_record": 1e6 * seconds / len(harvest),
                "peak_mb": peak, "peak_over_frame": peak / frame, **result,
            }
        )  # fmt: skip
    table = pd.DataFrame(rows)
    table["time_a_record_ratio"] = table["us_a_record"] / table["us_a_record"].iloc[0]
    return table


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    table = compare(tuple(parser.parse_args().records))
    print(table.to_string(index=False, float_format=lambda value: f"{value:.4g}"))


if __name__ == "__main__":
    main()
