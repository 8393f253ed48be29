"""Replicates against published tables, statsmodels and the noncentral t itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestPower

from trialkit.design import (
    detectable_difference,
    exact_replicates,
    power_to_see,
    strips_needed,
)
from trialkit.errors import DesignError

#: statsmodels stops its search near 1e-7 of the sample size.
SEARCH = 1e-6
#: Power by two libraries' noncentral distributions.
POWER = 1e-9


# Paired t, two-sided 5%, power 80%: statsmodels 0.14 TTestPower, effect = d / (CV √2), and to two
# decimals the project's page of facts.
@pytest.mark.parametrize(
    ("difference", "cv", "pairs"),
    [(5, 6, 24.59), (10, 10, 17.71), (10, 8, 12.11), (5, 10, 64.74)],
)
def test_pairs_as_published_and_as_statsmodels_has_them(difference, cv, pairs):
    found = exact_replicates(difference, cv)
    assert found == pytest.approx(pairs, abs=0.005)
    effect = difference / (cv * math.sqrt(2))
    reference = TTestPower().solve_power(effect_size=effect, power=0.8, alpha=0.05)
    assert found == pytest.approx(reference, rel=SEARCH)
    assert strips_needed(difference, cv) == math.ceil(pairs)


# Exact power of paired designs at two-sided 5%, computed in R 4.2.2:
# CV %, difference %, pairs, power.
@pytest.mark.parametrize(
    ("cv", "difference", "pairs", "power"),
    [
        (3, 5, 8, 0.8146),
        (5, 5, 18, 0.8070),
        (5, 10, 7, 0.8737),
        (5, 15, 5, 0.9357),
        (8, 10, 13, 0.8325),
        (10, 20, 7, 0.8737),
    ],
)
def test_exact_power_of_pairs(cv, difference, pairs, power):
    assert strips_needed(difference, cv) == pairs
    assert power_to_see(difference, cv, pairs) == pytest.approx(power, abs=5e-5)
    assert power_to_see(difference, cv, pairs - 1) < 0.8


@pytest.mark.parametrize("pairs", [2, 3, 4, 8, 25, 200])
@pytest.mark.parametrize("difference", [0.5, 4.0, 9.0])
def test_power_is_that_of_the_noncentral_t(pairs, difference):
    df = pairs - 1
    shift = difference / (6 * math.sqrt(2 / pairs))
    critical = stats.t.isf(0.025, df)
    expected = stats.nct.sf(critical, df, shift) + stats.nct.cdf(-critical, df, shift)
    if math.isnan(expected):  # SciPy's noncentral t has gaps where the power is all but 1
        assert shift > 2 * critical
        expected = 1.0
    assert power_to_see(difference, 6, pairs) == pytest.approx(expected, abs=POWER)


def test_blocks_of_four_by_simulated_analyses_of_variance():
    # Two of four treatments in six blocks, judged by the pooled error.
    generator = np.random.default_rng(20240501)
    trials, blocks, arms, gain, cv = 20_000, 6, 4, 10.0, 6.0
    yields = generator.normal(0, cv, size=(trials, blocks, arms))
    yields[:, :, 1] += gain
    means = yields.mean(axis=1)
    rest = (
        yields
        - means[:, None]
        - yields.mean(axis=2)[:, :, None]
        + yields.mean(axis=(1, 2))[:, None, None]
    )
    df = (blocks - 1) * (arms - 1)
    error = (rest**2).sum(axis=(1, 2)) / df
    t = (means[:, 1] - means[:, 0]) / np.sqrt(2 * error / blocks)
    share = (np.abs(t) > stats.t.isf(0.025, df)).mean()
    power = power_to_see(gain, cv, blocks, layout="blocks", treatments=arms)
    assert power == pytest.approx(share, abs=4 * math.sqrt(power * (1 - power) / trials))


def test_two_treatments_in_blocks_are_pairs():
    assert exact_replicates(5, 6, layout="blocks") == exact_replicates(5, 6)


def test_a_difference_in_tonnes_is_one_in_percent():
    assert exact_replicates(0.15, 6, mean=3) == pytest.approx(exact_replicates(5, 6))
    assert detectable_difference(8, 6, mean=3) == pytest.approx(
        0.03 * detectable_difference(8, 6), rel=1e-9
    )


@pytest.mark.parametrize("pairs", [2, 4, 6, 40])
@pytest.mark.parametrize("seasons", [1, 3])
def test_what_can_be_seen_is_seen_with_that_power(pairs, seasons):
    seen = detectable_difference(pairs, 5, power=0.9, seasons=seasons)
    assert power_to_see(seen, 5, pairs, seasons=seasons) == pytest.approx(0.9, abs=1e-8)


def test_more_variation_less_difference_and_more_power_take_more_pairs():
    assert strips_needed(5, 4) < strips_needed(5, 6) < strips_needed(3, 6)
    assert strips_needed(5, 6) < strips_needed(5, 6, power=0.95)
    assert strips_needed(5, 6) < strips_needed(5, 6, alpha=0.01)
    assert strips_needed(500, 1) == 2


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"difference": 0}, "above zero"),
        ({"difference": -3}, "above zero"),
        ({"difference": math.nan}, "above zero"),
        ({"cv_pct": 0}, "variation is 0%"),
        ({"cv_pct": math.inf}, "variation is inf%"),
        ({"power": 1.0}, "power is 1.0"),
        ({"power": 0.03}, "above alpha"),
        ({"alpha": 0}, "level alpha is 0"),
        ({"mean": -2}, "mean yield is -2"),
        ({"layout": "rows"}, "no layout 'rows'. Known: pairs, blocks"),
        ({"treatments": 3}, "A pair holds two strips, not 3"),
        ({"treatments": 1, "layout": "blocks"}, "nothing to compare"),
        ({"difference": 0.1}, "Not even 10,000 pairs"),
    ],
)
def test_numbers_that_make_no_sense(wrong, words):
    with pytest.raises(DesignError, match=words):
        strips_needed(**({"difference": 5, "cv_pct": 6} | wrong))


def test_one_pair_has_no_error():
    with pytest.raises(DesignError, match="Give at least 2 pairs"):
        power_to_see(5, 6, 1)
