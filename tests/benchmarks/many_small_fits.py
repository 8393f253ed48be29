"""Many small fits: the batched path beside fit_mixed one by one, in processor seconds.

    python tests/benchmarks/many_small_fits.py

Strip yields of invented trials, treated against untreated, random blocks, Kenward-Roger.
Processor time counts every core used, so that fits a second are fits a second on one core.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd

from trialkit.models import fit_mixed
from trialkit.models.batched import fit_batch

SEED = 20240818
#: Blocks, strips in each, and strips lost.
LAYOUTS = {"6 pairs": (6, 2, 0), "12 pairs, 3 lost": (12, 2, 3), "8 blocks of 4, 5 lost": (8, 4, 5)}


def invented_strips(
    blocks: int, size: int, lost: int, fits: int
) -> tuple[pd.DataFrame, np.ndarray]:
    """Return a layout of strips, and yields with one row a trial."""
    rng = np.random.default_rng(SEED)
    block = np.repeat(np.arange(blocks), size)
    layout = pd.DataFrame(
        {"block": [f"B{n}" for n in block], "treatment": ["a", "b"] * (len(block) // 2)}
    )
    yields = (
        3 + rng.normal(0, 0.2, (fits, blocks))[:, block] + rng.normal(0, 0.2, (fits, len(block)))
    )
    kept = np.sort(rng.permutation(len(block))[lost:])
    return layout.iloc[kept].reset_index(drop=True), yields[:, kept]


def compare(fits: int, single_fits: int) -> pd.DataFrame:
    """One row a layout: fits a processor second, both ways, and their ratio."""
    rows = []
    for name, (blocks, size, lost) in LAYOUTS.items():
        layout, yields = invented_strips(blocks, size, lost, fits)
        arms, groups = layout["treatment"], layout["block"]
        fit_batch(yields[:2], arms, groups, against="a")  # first calls stay out of the times
        begin = time.process_time()
        found = fit_batch(yields, arms, groups, against="a")
        batched = fits / (time.process_time() - begin)
        begin = time.process_time()
        last = 0.0
        for values in yields[:single_fits]:
            fit = fit_mixed("y ~ treatment", layout.assign(y=values), ["block"])
            last = fit.differences("treatment", against="a").loc["b", "p"]
        single = single_fits / (time.process_time() - begin)
        rows.append(
            {
                "layout": name,
                "batched_fits_per_s": batched,
                "fit_mixed_fits_per_s": single,
                "ratio": batched / single,
                "p_differs_by": abs(found.p[single_fits - 1, 0] - last),
            }
        )
    return pd.DataFrame(rows)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fits", type=int, default=20_000)
    parser.add_argument("--single-fits", type=int, default=100)
    options = parser.parse_args()
    table = compare(options.fits, options.single_fits)
    print(table.to_string(index=False, float_format=lambda value: f"{value:.4g}"))


if __name__ == "__main__":
    main()
