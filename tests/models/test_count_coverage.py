"""Do intervals of ratios hold the truth where strips are few? Small trials of known truth.

Bounds are three and a half standard errors of a share at the number of trials drawn, so that a
sound method fails at one seed in two thousand. The full table: `tests/calibration/counts.py`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit.models import fit_counts

TRIALS = 100
RATIO = 1.2


def drawn(rng, strips, spread, phi, counts):
    """Counts in strips dressed and not by turns; no plant bears on any other."""
    strip = np.repeat(np.arange(strips), counts)
    dressed = strip % 2
    level = np.log(20) + np.log(RATIO) * dressed + rng.normal(0, spread, strips)[strip]
    rate = np.exp(level) * (rng.gamma(1 / phi, phi, level.size) if phi else 1.0)
    treatment = np.where(dressed, "dressed", "untreated")
    return pd.DataFrame({"strip": strip, "treatment": treatment, "plants": rng.poisson(rate)})


def share_held(strips, spread, phi, seed, *, counts=3, **options):
    rng = np.random.default_rng(seed)
    held = 0
    for _ in range(TRIALS):
        data = drawn(rng, strips, spread, phi, counts)
        fit = fit_counts("plants ~ treatment", data, **options)
        row = fit.rate_ratios("treatment", against="untreated").iloc[0]
        held += row["low"] <= RATIO <= row["high"]
    return held / TRIALS


def slack(share):
    return 3.5 * np.sqrt(share * (1 - share) / TRIALS)


def test_intervals_hold_the_truth_where_strips_differ():
    held = share_held(6, 0.4, 0.0, 1, random=["strip"])
    assert abs(held - 0.95) <= slack(0.95)


def test_walds_intervals_do_not():
    # the fault that t and the adjusted errors are there for
    held = share_held(6, 0.4, 0.0, 1, random=["strip"], df="normal")
    assert held < 0.95 - slack(0.95)


def test_counts_judged_by_the_scatter_between_counts():
    # one count a strip: theta holds the scatter between strips, and 6 degrees of freedom judge it
    held = share_held(8, 0.0, 0.2, 5, counts=1, family="negative-binomial")
    assert abs(held - 0.95) <= slack(0.95)
