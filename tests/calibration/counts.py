"""How honest is the error of counts? Coverage of `fit_counts` on trials with known truth.

    python tests/calibration/counts.py [--draws 200]

Five counts in each of two strips a block, plants at 20 a count, blocks with a spread of 0.2 on
the log scale, strips with none, a small and a large one; Poisson counts, and negative binomial
with variance mu + 0.1 mu^2. The dressing does nothing, so that the share of intervals that miss
is also that of false positives at 5%. The last rows have one count a strip, without a random
term for it: theta alone takes up the scatter. Same seed, same numbers. Two cores take some
twenty minutes; `--draws 20` takes two.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.models import fit_counts

SEED, DRAWS = 1000, 200
MEAN, BLOCK_SPREAD, PHI = 20.0, 0.2, 0.1
SMALL, LARGE = 0.1, 0.3


@dataclass(frozen=True, slots=True)
class Case:
    """One line of the table; `spread` is that between strips, on the log scale."""

    pairs: int
    family: str
    spread: float
    counts: int = 5

    @property
    def random(self) -> list[str]:
        """The random terms of the fit."""
        return ["block", "strip"] if self.counts > 1 else ["block"]


CASES = [
    *(
        Case(pairs, family, spread)
        for family in ("poisson", "negative-binomial")
        for spread in (0.0, SMALL, LARGE)
        for pairs in (3, 6, 12)
    ),
    *(Case(pairs, "negative-binomial", 0.0, counts=1) for pairs in (3, 6, 12)),
]


def drawn(case: Case, rng: np.random.Generator) -> pd.DataFrame:
    """Return one trial."""
    block = np.repeat(np.arange(case.pairs), 2 * case.counts)
    arm = np.tile(np.repeat([0, 1], case.counts), case.pairs)
    strip = 2 * block + arm
    level = np.log(MEAN) + rng.normal(0, BLOCK_SPREAD, case.pairs)[block]
    rate = np.exp(level + rng.normal(0, case.spread, 2 * case.pairs)[strip])
    if case.family != "poisson":
        rate = rate * rng.gamma(1 / PHI, PHI, rate.size)
    treatment = np.where(arm, "dressed", "untreated")
    return pd.DataFrame(
        {"block": block, "strip": strip, "treatment": treatment, "plants": rng.poisson(rate)}
    )


def measure(case: Case, draws: int) -> dict[str, object]:
    """Fit a case again and again; shares in percent."""
    rng = np.random.default_rng([SEED, CASES.index(case)])
    held = {"containment": 0, "normal": 0}
    means = unsettled = 0
    for _ in range(draws):
        data = drawn(case, rng)
        for df in held:
            fit = fit_counts("plants ~ treatment", data, case.random, family=case.family, df=df)
            row = fit.rate_ratios("treatment", against="untreated").iloc[0]
            held[df] += bool(row["low"] <= 1.0 <= row["high"])
            unsettled += not fit.converged
            if df == "containment":
                mean = fit.means("treatment").loc["untreated"]
                means += bool(mean["low"] <= MEAN <= mean["high"])
    return {
        "counts": case.family,
        "a strip": case.counts,
        "strips' spread": case.spread,
        "pairs": case.pairs,
        "ratio held %": round(100 * held["containment"] / draws, 1),
        "false positives %": round(100 - 100 * held["containment"] / draws, 1),
        "mean held %": round(100 * means / draws, 1),
        "held with df='normal' %": round(100 * held["normal"] / draws, 1),
        "not converged": unsettled,
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Coverage of fit_counts, where truth is known.")
    parser.add_argument("--draws", type=int, default=DRAWS, help="trials a line")
    draws = parser.parse_args().draws
    begun = time.perf_counter()
    with ProcessPoolExecutor() as pool:
        rows = list(pool.map(measure, CASES, [draws] * len(CASES)))
    print(pd.DataFrame(rows).to_string(index=False))
    error = 100 * np.sqrt(0.05 * 0.95 / draws)
    print(
        f"\n{draws} trials a line, so 95% is known to {error:.1f}; "
        f"{time.perf_counter() - begun:.0f} s."
    )


if __name__ == "__main__":
    main()
