"""Time and memory of fit_mixed on a million records, beside statsmodels on a tenth of them.

    python tests/benchmarks/mixed_million.py

An invented harvest: 6 blocks of 4 strips, half of them dressed, random block and strip,
1,000,000 records. statsmodels MixedLM gets every tenth record of the same harvest; fit_mixed
is timed on those too, so that the ratio at equal size is shown as well.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

from trialkit.models import fit_mixed

BLOCKS, STRIPS_PER_BLOCK = 6, 4
SEED = 20240817


def invented_harvest(records: int) -> pd.DataFrame:
    """Records of an invented harvest, in the order driven."""
    rng = np.random.default_rng(SEED)
    strips = BLOCKS * STRIPS_PER_BLOCK
    strip = np.sort(rng.integers(0, strips, records))
    block, dressed = strip // STRIPS_PER_BLOCK, strip % 2
    level = 3 + rng.normal(0, 0.10, BLOCKS)[block] + rng.normal(0, 0.15, strips)[strip]
    return pd.DataFrame(
        {
            "block": np.array([f"B{n}" for n in range(BLOCKS)], dtype=object)[block],
            "strip": np.array([f"S{n:02d}" for n in range(strips)], dtype=object)[strip],
            "treatment": np.array(["untreated", "dressed"], dtype=object)[dressed],
            "yield_t_ha": level + 0.2 * dressed + rng.normal(0, 0.5, records),
        }
    )


def ours(data: pd.DataFrame) -> dict[str, float]:
    """Fit with Kenward-Roger; return the gain, its standard error and df."""
    fit = fit_mixed("yield_t_ha ~ treatment", data, random=("block", "block:strip"))
    row = fit.differences("treatment", against="untreated").loc["dressed"]
    return {"gain": row["estimate"], "std_error": row["std_error"], "df": row["df"]}


def theirs(data: pd.DataFrame) -> dict[str, float]:
    """Fit the same model with statsmodels, which has no small-sample df."""
    model = MixedLM.from_formula(
        "yield_t_ha ~ C(treatment, Treatment('untreated'))",
        data,
        groups="block",
        re_formula="1",
        vc_formula={"strip": "0 + C(strip)"},
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = model.fit(reml=True)
    return {"gain": fit.fe_params.iloc[1], "std_error": fit.bse_fe.iloc[1], "df": np.inf}


def measured(
    name: str, fit: Callable[[pd.DataFrame], dict[str, float]], data: pd.DataFrame
) -> dict:
    """Time one fit, then take its peak memory in a second one."""
    begin = time.perf_counter()
    result = fit(data)
    seconds = time.perf_counter() - begin
    tracemalloc.start()
    fit(data)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    frame = data.memory_usage(deep=True).sum() / 1e6
    return {
        "fit": name,
        "records": len(data),
        "seconds": seconds,
        "peak_mb": peak,
        "peak_over_frame": peak / frame,
        **result,
    }


def compare(records: int) -> pd.DataFrame:
    """One row a fit: ours on all records and on a tenth, statsmodels on the tenth."""
    harvest = invented_harvest(records)
    tenth = harvest.iloc[::10].reset_index(drop=True)
    ours(tenth.iloc[:: max(1, len(tenth) // 500)])  # imports and first calls stay out of the times
    rows = [
        measured("fit_mixed", ours, harvest),
        measured("fit_mixed", ours, tenth),
        measured("statsmodels", theirs, tenth),
    ]
    return pd.DataFrame(rows)


def main() -> None:
    """Print the table and the ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=1_000_000)
    table = compare(parser.parse_args().records)
    print(table.to_string(index=False, float_format=lambda value: f"{value:.4g}"))
    seconds = table["seconds"]
    print(f"fit_mixed on ten times the records takes {seconds[0] / seconds[2]:.3g} of the time")
    print(f"fit_mixed on the same records takes {seconds[1] / seconds[2]:.3g} of the time")


if __name__ == "__main__":
    main()
