"""Pooling: the likelihood's top, its edge at zero, few and odd studies, coverage."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.errors import ModelError
from trialkit.models import leave_one_study_out, pool

GAINS = [0.21, 0.05, 0.12, -0.02, 0.3]
ERRORS = [0.06, 0.05, 0.07, 0.05, 0.09]
#: A maximum found on a grid this fine.
GRID = 2e-3


def restricted_log_likelihood(tau2, effects, errors):
    """As defined: the density of the contrasts that know nothing of the mean."""
    effects, size = np.asarray(effects), len(effects)
    variance = np.diag(tau2 + np.asarray(errors) ** 2)
    contrasts = np.eye(size)[1:] - np.eye(size)[0]
    return stats.multivariate_normal.logpdf(
        contrasts @ effects, np.zeros(size - 1), contrasts @ variance @ contrasts.T
    )


@pytest.mark.parametrize("seed", range(6))
def test_tau2_is_the_top_of_the_restricted_likelihood(seed):
    rng = np.random.default_rng(seed)
    errors = rng.uniform(0.1, 1, 7)
    effects = rng.normal(0, 0.5 * (seed % 3), 7) + errors * rng.normal(size=7)
    found = pool(effects, errors)
    grid = np.arange(0, 3, GRID)
    heights = [restricted_log_likelihood(tau2, effects, errors) for tau2 in grid]
    assert found.tau2 == pytest.approx(grid[int(np.argmax(heights))], abs=GRID)
    weights = 1 / (found.tau2 + errors**2)
    assert found.estimate == pytest.approx(np.average(effects, weights=weights))


def test_knapp_and_hartungs_standard_error():
    found = pool(GAINS, ERRORS)
    weights = 1 / (found.tau2 + np.square(ERRORS))
    scatter = weights @ (np.array(GAINS) - found.estimate) ** 2 / 4
    assert found.std_error == pytest.approx(np.sqrt(scatter / weights.sum()))
    reach = stats.t.ppf(0.975, 4) * found.std_error
    assert (found.low, found.high) == pytest.approx(
        (found.estimate - reach, found.estimate + reach)
    )
    assert found.p == pytest.approx(2 * stats.t.sf(found.estimate / found.std_error, 4))
    ahead = stats.t.ppf(0.975, 4) * np.hypot(found.std_error, np.sqrt(found.tau2))
    assert found.next_high == pytest.approx(found.estimate + ahead)
    assert found.next_low < found.low < found.high < found.next_high
    assert found.table["weight_pct"].to_list() == pytest.approx(100 * weights / weights.sum())
    assert found.q_p == pytest.approx(stats.chi2.sf(found.q, 4))


def test_equally_exact_studies_give_the_t_interval_of_their_estimates():
    found = pool(GAINS, [0.01] * 5)
    mean, error = np.mean(GAINS), stats.sem(GAINS)
    assert (found.estimate, found.std_error) == pytest.approx((mean, error))
    low, high = stats.t.interval(0.95, 4, mean, error)
    assert (found.low, found.high) == pytest.approx((low, high))
    assert found.tau2 == pytest.approx(np.var(GAINS, ddof=1) - 0.01**2)


def test_the_unit_changes_nothing():
    tonnes, grams = pool(GAINS, ERRORS), pool(1e6 * np.array(GAINS), 1e6 * np.array(ERRORS))
    assert grams.tau2 == pytest.approx(1e12 * tonnes.tau2, rel=1e-9)
    assert grams.estimate == pytest.approx(1e6 * tonnes.estimate, rel=1e-9)
    assert grams.p == pytest.approx(tonnes.p, rel=1e-9)
    assert grams.i2_pct == pytest.approx(tonnes.i2_pct, rel=1e-9)


def test_order_and_level():
    forth = pool(GAINS, ERRORS)
    back = pool(np.array(GAINS)[::-1] + 1000, ERRORS[::-1])
    assert back.estimate == pytest.approx(forth.estimate + 1000)
    assert back.tau2 == pytest.approx(forth.tau2, rel=1e-6)


def test_labels():
    found = pool(pd.Series(GAINS), pd.Series(ERRORS), labels=range(2020, 2025))
    assert list(found.table.index) == [2020, 2021, 2022, 2023, 2024]
    assert list(pool(GAINS, ERRORS).table.index) == [1, 2, 3, 4, 5]
    row = found.table.loc[2020]
    assert (row["low"], row["high"]) == pytest.approx(stats.norm.interval(0.95, 0.21, 0.06))


def test_studies_that_agree_too_well_keep_the_ordinary_interval():
    found = pool([0.2, 0.2, 0.2], [0.1, 0.1, 0.1])
    ordinary = pool([0.2, 0.2, 0.2], [0.1, 0.1, 0.1], knapp_hartung=False)
    assert (found.low, found.high, found.p) == (ordinary.low, ordinary.high, ordinary.p)
    assert found.std_error == pytest.approx(0.1 / np.sqrt(3))
    assert found.tau2 == 0.0
    assert found.i2_pct == 0.0
    assert (found.next_low, found.next_high) == (found.low, found.high)
    assert "The ordinary one is given" in found.notes[1]
    assert (found.tau2_low, found.tau2_high) == (0.0, 0.0)
    assert found.heterogeneity == (
        "The studies differ no more than their own errors say (Q 0 on 2 degrees, p = 1). If they "
        "do not, the true effect in the next one is the mean: between 0.087 and 0.31."
    )
    assert not any("ordinary" in note for note in ordinary.notes)


def test_two_studies():
    found = pool([0.2, 0.1], [0.05, 0.05])
    assert found.df == 1
    assert found.high - found.low == pytest.approx(2 * stats.t.ppf(0.975, 1) * found.std_error)
    assert found.notes[0].startswith("2 studies hardly tell how much studies differ")
    assert "(Q 2 on 1 degree, p = 0.16)" in found.heterogeneity


# For two equally exact studies Q(tau2) = d^2 / 2 / (tau2 + s^2) on one degree.
def test_the_interval_of_tau2_for_two_studies():
    found = pool([1.0, 0.0], [0.1, 0.1])
    for end, share in ((found.tau2_low, 0.975), (found.tau2_high, 0.025)):
        assert end == pytest.approx(0.5 / stats.chi2.ppf(share, 1) - 0.01)


def scatter(tau2):
    weights = 1 / (tau2 + np.square(ERRORS))
    mean = np.average(GAINS, weights=weights)
    return weights @ (np.array(GAINS) - mean) ** 2


def test_the_interval_of_tau2_holds_what_chance_would_give():
    found = pool(GAINS, ERRORS, confidence=0.9)
    assert scatter(found.tau2_low) == pytest.approx(stats.chi2.ppf(0.95, 4))
    assert scatter(found.tau2_high) == pytest.approx(stats.chi2.ppf(0.05, 4))
    assert found.tau2_low < found.tau2 < found.tau2_high
    wider = pool(GAINS, ERRORS)
    assert wider.tau2_low < found.tau2_low
    assert wider.tau2_high > found.tau2_high


@pytest.mark.parametrize("factor", [1e-9, 1e6])
def test_the_interval_of_tau2_does_not_hang_on_the_unit(factor):
    plain, other = pool(GAINS, ERRORS), pool(factor * np.array(GAINS), factor * np.array(ERRORS))
    assert other.tau2_low == pytest.approx(factor**2 * plain.tau2_low, rel=1e-6)
    assert other.tau2_high == pytest.approx(factor**2 * plain.tau2_high, rel=1e-9)


def test_studies_worlds_apart():
    found = pool([0.0, 1e6, -1e6], [1.0, 1.0, 1.0])
    assert found.tau2 == pytest.approx(1e12, rel=1e-9)
    assert found.i2_pct == pytest.approx(100)
    low, high = stats.t.interval(0.95, 2, 0.0, 1e6 / np.sqrt(3))
    assert (found.low, found.high) == pytest.approx((low, high))
    assert found.heterogeneity.startswith(
        "True effects differ from study to study (Q 2e+12 on 2 degrees, p < 0.001)."
    )


@pytest.mark.parametrize(
    ("estimates", "words"),
    [
        ([0.3, 0.05, 0.2, 0.0], "Whether true effects differ cannot be told (Q 5.69 on 3 degrees"),
        ([0.5, 0.05, 0.3, -0.1], "True effects differ from study to study (Q 21.2 on 3 degrees"),
        ([0.2, 0.05, 0.1, 0.1], "though a standard deviation of up to 0.21 would do too"),
    ],
)
def test_heterogeneity_in_words(estimates, words):
    assert words in pool(estimates, [0.1] * 4).heterogeneity


def test_one_study_beyond_compare():
    found = pool([0.1, 5.0, -3.0], [1e-6, 10.0, 10.0])
    assert found.tau2 == 0.0
    assert found.estimate == pytest.approx(0.1, abs=1e-6)


@pytest.mark.parametrize(
    ("estimates", "errors", "options", "message"),
    [
        ([0.2], [0.1], {}, r"1 study is nothing to pool: its own interval is all there is"),
        ([], [], {}, r"0 study is nothing to pool"),
        ([0.2, 0.1], [0.1], {}, r"2 estimates but 1 standard errors"),
        ([0.2, np.nan], [0.1, 0.1], {}, r"The estimate of study '2' is nan"),
        ([0.2, 0.1], [0.1, np.inf], {"labels": ["A", "B"]}, r"standard error of study 'B' is inf"),
        ([0.2, 0.1], [0.0, 0.1], {}, r"The standard error of study '1' is 0\. .*above zero"),
        ([0.2, 0.1], [0.1, -0.1], {}, r"The standard error of study '2' is -0\.1"),
        ([0.2, "much"], [0.1, 0.1], {}, r"The estimates hold something that is no number"),
        ([[0.2, 0.1]], [0.1, 0.1], {}, r"The estimates have 2 dimensions"),
        ([0.2, 0.1], [0.1, 0.1], {"labels": ["A"]}, r"2 estimates but 1 labels"),
        ([0.2, 0.1], [0.1, 0.1], {"confidence": 95}, r"confidence=95 is no level"),
    ],
)
def test_bad_input(estimates, errors, options, message):
    with pytest.raises(ModelError, match=message):
        pool(estimates, errors, **options)


def test_leaving_one_season_out():
    table = leave_one_study_out(GAINS, ERRORS, labels=range(2020, 2025), confidence=0.9)
    alone = pool(GAINS[:2] + GAINS[3:], ERRORS[:2] + ERRORS[3:], confidence=0.9)
    columns = ["estimate", "std_error", "p", "low", "high", "tau2", "i2_pct"]
    assert list(table.columns) == columns
    assert table.index.name == "left_out"
    assert table.loc[2022].to_list() == [getattr(alone, name) for name in columns]
    with pytest.raises(ModelError, match=r"Leaving one out needs three or more"):
        leave_one_study_out(GAINS[:2], ERRORS[:2])


def test_intervals_cover_the_mean():
    rng = np.random.default_rng(7)
    covered, draws = 0, 400
    for _ in range(draws):
        errors = rng.uniform(0.5, 1.5, 6)
        found = pool(rng.normal(0.3, 1.5, 6) + errors * rng.normal(size=6), errors)
        covered += found.low <= 0.3 <= found.high
    # 380 of 400 expected, standard deviation 4.4
    assert 367 <= covered <= 393


def test_the_interval_of_tau2_covers_it():
    rng = np.random.default_rng(8)
    covered, draws = 0, 400
    for _ in range(draws):
        errors = rng.uniform(0.5, 1.5, 4)
        found = pool(rng.normal(0.3, 1.2, 4) + errors * rng.normal(size=4), errors)
        covered += found.tau2_low <= 1.2**2 <= found.tau2_high
    # 380 of 400 expected, standard deviation 4.4
    assert 367 <= covered <= 393
