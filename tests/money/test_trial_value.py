"""Value of information against quadrature, simulation and each other."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from trialkit.errors import MoneyError
from trialkit.money import normal_loss, t_loss, value_of_knowing, value_of_trial

# Adaptive quadrature is asked for 1e-12.
QUADRATURE = 1e-10
DRAWS = 4_000_000


@pytest.mark.parametrize("margin", [-2.0, 0.0, 0.4, 1.0, 3.0, 6.0])
def test_normal_loss_against_quadrature(margin):
    exact = integrate.quad(lambda z: (z - margin) * stats.norm.pdf(z), margin, np.inf,
                           epsabs=1e-14)[0]  # fmt: skip
    assert normal_loss(margin) == pytest.approx(exact, abs=1e-12, rel=1e-8)


@pytest.mark.parametrize("df", [1.5, 2, 5, 30, 1e9])
@pytest.mark.parametrize("margin", [-1.0, 0.0, 0.7, 4.0])
def test_t_loss_against_quadrature(margin, df):
    exact = integrate.quad(lambda x: stats.t.sf(x, df), margin, np.inf, epsabs=1e-12, limit=500)[0]
    # The tail of 1.5 degrees falls so slowly that the quadrature itself is good to four digits.
    assert t_loss(margin, df) == pytest.approx(exact, abs=QUADRATURE, rel=1e-3 if df < 2 else 1e-8)


def test_loss_on_either_side_differs_by_the_margin():
    for df in (3, math.inf):
        assert t_loss(-1.3, df) - t_loss(1.3, df) == pytest.approx(1.3, abs=1e-12)


def test_far_out_nothing_is_lost():
    assert normal_loss(40) == 0
    assert value_of_knowing(1e6, 1, math.inf) == 0
    assert value_of_knowing(5, 0, 3) == 0
    assert value_of_trial(5, 0, 3, 2) == 0


def test_normal_trial_against_quadrature():
    # Belief N(8, 20^2), a trial with error 15: the mean it would leave is N(8, s*^2), and one
    # then takes the better of it and nothing.
    prior, error = 20.0, 15.0

    def taken(result):
        weight = prior**2 / (prior**2 + error**2)
        after = weight * result + (1 - weight) * 8
        return max(after, 0.0) * stats.norm.pdf(result, 8, math.hypot(prior, error))

    exact = integrate.quad(taken, -200, 200, epsabs=1e-12, limit=400, points=[-4.5])[0] - 8
    assert value_of_trial(8, prior, math.inf, error) == pytest.approx(exact, abs=1e-8)


def test_strips_with_errors_that_are_estimated_against_simulation():
    # 6 pairs with mean 10 and standard error 12; 9 new pairs of the same unknown variance. Drawn
    # by the textbook: variance, then mean, then the new trial; then the mean weighed by pairs.
    old, new, estimate, error = 6, 9, 10.0, 12.0
    draw = np.random.default_rng(5)
    variance = (old - 1) * error**2 * old / draw.chisquare(old - 1, DRAWS)
    truth = estimate + np.sqrt(variance / old) * draw.standard_normal(DRAWS)
    result = truth + np.sqrt(variance / new) * draw.standard_normal(DRAWS)
    after = (old * estimate + new * result) / (old + new)
    simulated = np.maximum(after, 0).mean() - estimate
    ours = value_of_trial(estimate, error, old - 1, error * math.sqrt(old / new))
    spread = np.maximum(after, 0).std() / math.sqrt(DRAWS)
    assert ours == pytest.approx(simulated, abs=4 * spread)
    perfect = np.maximum(truth, 0).mean() - estimate
    assert value_of_knowing(estimate, error, old - 1) == pytest.approx(perfect, abs=5 * spread)


def test_a_trial_without_error_is_perfect():
    assert value_of_trial(3, 10, 5, 0) == pytest.approx(value_of_knowing(3, 10, 5))


@pytest.mark.parametrize("df", [1, 0.5, math.nan])
def test_too_few_degrees_have_no_mean(df):
    with pytest.raises(MoneyError, match="three pairs of strips or more"):
        value_of_knowing(1, 1, df)


def test_nonsense_is_refused():
    with pytest.raises(MoneyError, match="margin is nan"):
        normal_loss(math.nan)
    with pytest.raises(MoneyError, match="standard error of the net money is -1"):
        value_of_knowing(1, -1, 5)
    with pytest.raises(MoneyError, match="standard deviation of the trial's result is -1"):
        value_of_trial(1, 1, 5, -1)
