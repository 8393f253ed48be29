"""The gain by height: found where it was put, and the mirror of the gain along the cold."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_1samp

from trialkit.errors import LogError
from trialkit.frost_answer import gain_along_cold
from trialkit.harvest import add_relief
from trialkit.report.frost_pictures import gain_along_plot
from trialkit.trial import open_trial
from trialkit.where_it_worked import MEASURE, NOT_WHY, gain_by_height

WIDE_M = 1000.0


@pytest.fixture
def config(trial_folder):
    return open_trial(trial_folder).config


def ground(per_m, *, noise=0.0, flat=(), seed=1, pairs=6):
    """Strips 300 m long that fall by 3 m; the dressing gains `per_m` t/ha more each metre up."""
    draw = np.random.default_rng(seed)
    north = np.arange(2.5, 300, 5.0)
    rows = []
    for strip in range(2 * pairs):
        arm = ("untreated", "dressed")[(strip + strip // 2) % 2]
        height = np.full(north.size, 1.5) if strip in flat else 0.01 * north
        grown = 3 + 0.1 * draw.standard_normal() + (0.3 + per_m * height) * (arm == "dressed")
        rows += [
            pd.DataFrame(
                {
                    "strip": f"S{strip + 1}",
                    "block": f"B{strip // 2 + 1}",
                    "treatment": arm,
                    "x_m": 24.0 * strip + lane,
                    "y_m": north,
                    "elevation_m": 100 + height,
                    "yield_t_ha": grown + noise * draw.standard_normal(north.size),
                    "kept": True,
                }
            )
            for lane in (6, 18)
        ]
    return pd.concat(rows, ignore_index=True)


@pytest.mark.parametrize(
    ("per_m", "says"), [(0.1, "larger on higher ground"), (-0.1, "larger on lower ground")]
)
def test_a_gain_that_changes_with_height_is_found_as_it_is(config, per_m, says):
    found = gain_by_height(ground(per_m, noise=0.02), config, around_m=WIDE_M)
    lowest, highest = found.gains["at"].iloc[[0, -1]]
    # But for the smoothing of heights along the edge.
    expected = per_m * (highest - lowest)
    assert found.change.loc["dressed", "estimate"] == pytest.approx(expected, rel=0.1)
    assert lowest < 0 < highest
    assert says in found.sentences[0]
    assert found.notes[0] == NOT_WHY


def test_the_slopes_are_compared_as_a_paired_t_test(config):
    """Against slopes fitted by NumPy, strip by strip, and SciPy's paired t test."""
    log = ground(0.02, noise=0.3)
    found = gain_by_height(log, config, around_m=WIDE_M)
    relief = add_relief(log, around_m=WIDE_M)
    slopes = {
        (own["block"].iloc[0], own["treatment"].iloc[0]): np.polyfit(
            own["relative_height_m"], own["yield_t_ha"], 1
        )[0]
        for _, own in relief.groupby("strip")
    }
    blocks = sorted({block for block, _ in slopes})
    apart = [slopes[block, "dressed"] - slopes[block, "untreated"] for block in blocks]
    change = found.change.loc["dressed"]
    assert change["p"] == pytest.approx(ttest_1samp(apart, 0.0).pvalue, rel=1e-6)
    assert change["df"] == pytest.approx(5)


def test_it_is_the_mirror_of_the_gain_along_the_cold(config):
    """Without loggers cold is height the other way round; its error rates hold here, too."""
    log = ground(0.05, noise=0.2)
    found = gain_by_height(log, config, around_m=WIDE_M)
    cold = gain_along_cold(log, config, around_m=WIDE_M)
    np.testing.assert_allclose(found.gains["at"], -cold.gains["at"][::-1], atol=1e-9)
    np.testing.assert_allclose(found.gains["estimate"], cold.gains["estimate"][::-1], atol=1e-9)
    change, along = found.change.loc["dressed"], cold.change.loc["dressed"]
    assert change["estimate"] == pytest.approx(-along["estimate"])
    assert (change["p"], change["std_error"]) == pytest.approx((along["p"], along["std_error"]))


def test_what_is_not_settled_is_said(config):
    found = gain_by_height(ground(0.0, noise=0.3), config, around_m=WIDE_M)
    assert "does not settle whether the gain differs" in found.sentences[0]


def test_strips_on_one_ground_are_left_out_and_named(config):
    found = gain_by_height(ground(0.1, noise=0.1, flat=(0,)), config, around_m=WIDE_M)
    assert found.notes[-1] == "Left out here, with too little ground both low and high: S1."


def test_no_strip_over_low_and_high_ground(config):
    log = ground(0.1, noise=0.1)
    # Each strip level by itself, one higher than the next.
    steps = log["strip"].str[1:].astype(float)
    with pytest.raises(LogError, match="up and down the slope would tell"):
        gain_by_height(log.assign(elevation_m=100 + steps), config, around_m=WIDE_M)


def test_a_log_without_heights(config):
    with pytest.raises(LogError, match="height"):
        gain_by_height(ground(0.1).drop(columns="elevation_m"), config)


def test_the_picture_says_which_ground_lies_where(config):
    found = gain_by_height(ground(0.1, noise=0.1), config, around_m=WIDE_M)
    picture = gain_along_plot(found.gains, MEASURE, control="untreated")
    assert "Lower ground lies to the left" in picture.caption
    assert picture.alt.startswith("Gain by height")
