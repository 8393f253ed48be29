"""Intervals that hold together, against the studentised range, Dunnett and sampling."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.models import fit_mixed
from trialkit.models.simultaneous import critical_value, exceedance, largest_projections

#: Quasi-random directions give four digits in three dimensions and more.
SAMPLED = 3e-4
#: One and two dimensions are integrated.
INTEGRATED = 1e-6


def all_pairs(count):
    """Correlation of all differences between means of equal error."""
    rows = np.array([np.eye(count)[i] - np.eye(count)[j] for i in range(count) for j in range(i)])
    return rows @ rows.T / 2


@pytest.mark.parametrize(("count", "tolerance"), [(2, 1e-9), (3, INTEGRATED), (5, SAMPLED)])
@pytest.mark.parametrize("degrees", [3.7, 12.0, 60.0])
def test_all_pairs_are_the_studentised_range(count, tolerance, degrees):
    projections, rank = largest_projections(all_pairs(count))
    assert rank == count - 1
    found = critical_value(0.05, degrees, projections, rank)
    expected = stats.studentized_range.ppf(0.95, count, degrees) / np.sqrt(2)
    assert found == pytest.approx(expected, rel=tolerance)
    tail = stats.studentized_range.sf(2.2 * np.sqrt(2), count, degrees)
    assert exceedance(2.2, degrees, projections, rank) == pytest.approx(tail, rel=10 * tolerance)


# Dunnett 1964, Biometrics 20:482-491, two-sided 5%, equal replication: from memory.
@pytest.mark.parametrize(
    ("treatments", "degrees", "printed"),
    [(1, 20, 2.09), (2, 20, 2.38), (3, 20, 2.54), (4, 20, 2.65), (2, 5, 3.03)],
)
def test_dunnett_table(treatments, degrees, printed):
    correlation = np.full((treatments, treatments), 0.5) + 0.5 * np.eye(treatments)
    projections, rank = largest_projections(correlation)
    found = critical_value(0.05, degrees, projections, rank)
    assert found == pytest.approx(printed, abs=0.005)


def test_without_end_of_degrees_it_is_normal():
    projections, rank = largest_projections(np.eye(3))
    expected = stats.norm.ppf((1 + 0.95 ** (1 / 3)) / 2)
    assert critical_value(0.05, np.inf, projections, rank) == pytest.approx(expected, rel=SAMPLED)


@pytest.fixture
def ladder():
    rng = np.random.default_rng(4)
    treatment = np.tile(["none", "low", "mid", "high"], 6)
    return pd.DataFrame({"treatment": treatment, "value": rng.normal(0, 1, 24)})


def test_p_values_of_dunnett(ladder):
    table = fit_mixed("value ~ treatment", ladder).differences(
        "treatment", against="none", simultaneous=True
    )
    groups = {name: part["value"].to_numpy() for name, part in ladder.groupby("treatment")}
    other = stats.dunnett(*(groups[name] for name in table.index), control=groups["none"], rng=1)
    assert table["t"].to_numpy() == pytest.approx(other.statistic)
    # scipy samples its p-values to about three digits.
    assert table["p"].to_numpy() == pytest.approx(other.pvalue, abs=2e-3)
    interval = other.confidence_interval()
    assert table["low"].to_numpy() == pytest.approx(interval.low, abs=5e-3)
    assert table["high"].to_numpy() == pytest.approx(interval.high, abs=5e-3)


def test_together_is_wider_than_alone_and_equal_for_one(ladder, strips):
    fit = fit_mixed("value ~ treatment", ladder)
    alone, together = fit.differences("treatment"), fit.differences("treatment", simultaneous=True)
    assert (together["p"] > alone["p"]).all()
    assert (together["low"] < alone["low"]).all()
    fit = fit_mixed("yield_t_ha ~ treatment", strips, ["block"])
    pair = [fit.differences("treatment", simultaneous=flag).to_numpy() for flag in (False, True)]
    assert pair[0] == pytest.approx(pair[1])


def test_the_same_answer_twice(ladder):
    fit = fit_mixed("value ~ treatment", ladder)
    first, second = (fit.differences("treatment", simultaneous=True) for _ in range(2))
    pd.testing.assert_frame_equal(first, second, check_exact=True)
