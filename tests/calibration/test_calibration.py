"""The fast part of the calibration: is the error what it says? The full run is `run.py`.

Bounds are those of the binomial: a method that keeps its rate fails at one seed in two thousand.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, ttest_ind

ROOT = Path(__file__).parents[2]
SEED = 11
DRAWS, POINT_DRAWS = 800, 100
#: A trend over the field takes half a second a fit; `run.py` draws more.
TREND_DRAWS = 60
#: Chance that a sound method falls outside its bounds.
ALARM = 1 / 2000
#: Linear algebra on the same numbers.
EXACT = 1e-9

KEPT = [
    "smooth trend across the strips",
    "noise correlated along the pass",
    "dressed strips vary five times as much",
    "8 pairs, 3 strips lost",
    "6 blocks of 2 + 2, 5 strips lost",
    "3 treatments, 3 blocks",
    "blocks do not matter",
    "neighbours compete",
    "real ground: apple trees",
    "real ground: tomato plots",
]


def within(hits: np.ndarray, rate: float) -> bool:
    low, high = binom.interval(1 - ALARM, len(hits), rate)
    return low <= hits.sum() <= high


def above(hits: np.ndarray, rate: float) -> bool:
    return hits.sum() > binom.ppf(1 - ALARM, len(hits), rate)


@pytest.mark.parametrize("name", KEPT)
def test_the_main_analysis_keeps_its_error(calibration, scenario, name):
    draws = scenario(name).draw(DRAWS, SEED)
    assert within(calibration.by_strips(draws, draws.bare, "fixed").finds(), 0.05)
    dressed = calibration.by_strips(draws, calibration.observed(draws), "fixed")
    assert within(dressed.holds(calibration.true_gain(draws)), 0.95)


def test_where_gains_differ_from_strip_to_strip_intervals_are_too_wide_not_too_narrow(
    calibration, scenario
):
    draws = scenario("frost in one corner").draw(DRAWS, SEED)
    assert within(calibration.by_strips(draws, draws.bare, "fixed").finds(), 0.05)
    dressed = calibration.by_strips(draws, calibration.observed(draws), "fixed")
    missed = ~dressed.holds(calibration.true_gain(draws))
    assert not above(missed, 0.05)


def test_random_blocks_claim_too_much_where_neighbours_compete(calibration, scenario):
    # Why the season's main analysis has fixed blocks; also shows that this test can fail.
    draws = scenario("neighbours compete").draw(DRAWS, SEED)
    assert above(calibration.by_strips(draws, draws.bare, "random").finds(), 0.05)


def test_a_pooled_error_is_wrong_where_one_of_three_treatments_varies_more(calibration, scenario):
    # A limit of the main analysis, kept in sight.
    draws = scenario("3 treatments, dressed vary five times as much").draw(DRAWS, SEED)
    assert above(calibration.by_strips(draws, draws.bare, "fixed").finds(), 0.05)


@pytest.mark.parametrize("name", ["usual field, 6 pairs", "real ground: tomato plots"])
@pytest.mark.parametrize(
    ("way", "number"), [("points", POINT_DRAWS), ("points, field trend", TREND_DRAWS)]
)
def test_points_models_keep_their_error(calibration, scenario, way, number, name):
    draws = scenario(name).draw(number, SEED)
    assert within(calibration.by_points(draws, draws.bare, way).finds(), 0.05)


def test_strips_weighted_along_the_pass_keep_their_error(calibration, scenario):
    draws = scenario("usual field, 6 pairs").draw(POINT_DRAWS, SEED)
    assert within(calibration.by_points(draws, draws.bare, calibration.WEIGHTED_WAY).finds(), 0.05)


def test_correlation_along_the_pass_is_measured_where_asked_for(calibration, scenario):
    numbers = calibration.Numbers(12, 1, 1, 2)
    row = calibration.measure(scenario("3 pairs"), numbers, SEED)
    for way in (*calibration.ALONG_WAY, calibration.WEIGHTED_WAY):
        assert 0 <= row[f"{way} false"] <= 100
        assert way in calibration.detail_tables([row])


def test_a_plain_t_test_on_points_claims_far_too_much(calibration, scenario):
    draws = scenario("usual field, 6 pairs").draw(DRAWS, SEED)
    found = calibration.by_plain_t(draws, draws.bare)
    assert above(found.finds(), 0.25)
    dressed = (draws.points["treatment"] == "dressed").to_numpy()
    reference = ttest_ind(draws.bare[:, dressed], draws.bare[:, ~dressed], axis=1)
    statistic = found.estimate / found.std_error
    assert statistic == pytest.approx(reference.statistic, rel=EXACT, abs=EXACT)


def test_the_same_seed_gives_the_same_numbers(calibration, scenario):
    one, other = (scenario("frost in one corner").draw(3, 5) for _ in range(2))
    assert (one.bare == other.bare).all()
    assert (one.dressed == other.dressed).all()
    assert (one.bare != scenario("frost in one corner").draw(3, 6).bare).any()


def test_the_command_prints_the_table_that_the_readme_shows():
    few = ["--draws", "4", "--point-draws", "1", "--surface-draws", "1"]
    run = subprocess.run(
        [sys.executable, "tests/calibration/run.py", *few, "--workers", "1"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    printed = run.stdout.split("\n\n")[0].splitlines()
    section = (ROOT / "README.md").read_text().split("## How honest is the error")[1]
    shown = [line for line in section.splitlines() if line.startswith("|")]
    assert printed[:2] == shown[:2]
    names = [[re.split(r" *\| *", line)[1] for line in table[2:]] for table in (printed, shown)]
    assert names[0] == names[1]
