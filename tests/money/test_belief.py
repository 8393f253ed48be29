"""Belief about the mean gain: Student's t where nothing else is known, and draws where it is."""

import math

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.money import value_of_knowing, value_of_trial
from trialkit.money.belief import believed

# 240 points on a smooth integrand: six digits were measured; seven for the losses.
POINTS = 1e-5
DRAWS = 2_000_000


@pytest.mark.parametrize("df", [1.05, 2, 5, 30, 1e6, math.inf])
@pytest.mark.parametrize("gain", [0.0, 0.05, 0.3])
def test_without_seasons_it_is_students_t(df, gain):
    belief = believed(gain, 0.07, df)
    places = np.array([-0.2, 0.0, 0.06, 0.2, 0.6])
    exact = stats.t.sf((places - gain) / 0.07, df)
    np.testing.assert_allclose(belief.above(places), exact, atol=POINTS)
    perfect = belief.loss(0.0, np.sqrt(belief.variances))
    assert perfect == pytest.approx(value_of_knowing(gain, 0.07, df), rel=POINTS, abs=1e-12)
    # A trial of nine pairs after one of six.
    moved = belief.moved_by(belief.error_variances * 6 / 9)
    exact = value_of_trial(gain, 0.07, df, 0.07 * math.sqrt(6 / 9))
    assert belief.loss(0.0, moved) == pytest.approx(exact, rel=POINTS, abs=1e-12)
    # It turns the choice round where t with the scale it is moved by passes zero.
    scale = 0.07 * math.sqrt(9 / 15)
    assert belief.turned(0.0, moved) == pytest.approx(stats.t.sf(gain / scale, df), abs=POINTS)


@pytest.mark.parametrize(("old", "new", "gain", "tau"), [(6, 9, 0.03, 0.05), (4, 12, 0.1, 0.03)])
def test_a_trial_among_seasons_that_differ_against_draws(old, new, gain, tau):
    # Whoever weighs the new trial here knows only the error that the old one showed. Ours knows
    # the true one, and is worth no more by it than the draws can tell.
    draw = np.random.default_rng(1)
    error = 0.07
    variance = (old - 1) * error**2 * old / draw.chisquare(old - 1, DRAWS)
    truth = gain + np.sqrt(variance / old + tau**2) * draw.standard_normal(DRAWS)
    result = truth + np.sqrt(variance / new + tau**2) * draw.standard_normal(DRAWS)
    before, after = error**2 + tau**2, error**2 * old / new + tau**2
    weighed = (before * result + after * gain) / (before + after)
    used = np.where(weighed > 0, truth, 0.0)
    noise = 4 * (used - truth).std() / math.sqrt(DRAWS)
    belief = believed(gain, error, old - 1, between=tau**2)
    moved = belief.moved_by(belief.error_variances * old / new + tau**2)
    assert belief.loss(0.0, moved) == pytest.approx((used - truth).mean(), abs=noise)
    assert belief.turned(0.0, moved) == pytest.approx(np.mean(weighed < 0), abs=5e-3)


def test_an_earlier_season_that_agrees_makes_small_errors_likelier():
    # Where the earlier seasons say something else, the strips must have erred more.
    agrees = believed(0.1, 0.05, 4, earlier=(0.1, 0.02))
    differs = believed(0.1, 0.05, 4, earlier=(-0.3, 0.02))
    assert differs.weights @ differs.error_variances > agrees.weights @ agrees.error_variances
    assert differs.estimate < -0.2


def test_the_reach_leaves_no_more_than_the_tail_on_either_side():
    belief = believed(0.1, 0.05, 4, between=0.002, earlier=(0.0, 0.08))
    for tail in (0.4, 0.025, 1e-4):
        far = belief.reach(tail)
        ends = belief.above(np.array([belief.estimate + far, belief.estimate - far]))
        assert max(ends[0], 1 - ends[1]) == pytest.approx(tail, rel=1e-6)


def test_nothing_moves_nothing():
    belief = believed(0.1, 0.05, math.inf)
    still = np.zeros(1)
    assert belief.loss(0.0, still) == 0
    assert belief.turned(0.0, still) == 0


@pytest.mark.parametrize("df", [0.3, 1.0])
def test_one_degree_is_enough_beside_earlier_seasons(df):
    belief = believed(0.1, 0.05, df, earlier=(0.0, 0.1))
    assert 0 < belief.estimate < 0.1
    with pytest.raises(MoneyError, match="standard error of earlier seasons is -1"):
        believed(0.1, 0.05, df, earlier=(0.0, -1))
