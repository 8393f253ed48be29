"""Replicates by price and variation, against statsmodels' power of the paired t test."""

from __future__ import annotations

import math

import pytest
from statsmodels.stats.power import TTestPower

from trialkit.design import foresee, replicates_table
from trialkit.errors import DesignError


def test_against_statsmodels():
    table = replicates_table(
        [200, 250, 400], [3, 5, 8], cost_per_ha=16, mean_t_ha=3.2, expected_t_ha=0.3
    )
    for row in table.itertuples():
        assert row.to_see_t_ha == pytest.approx(0.3 - 16 / row.price_per_t)
        effect = row.to_see_t_ha / (row.cv_pct / 100 * 3.2 * math.sqrt(2))
        exact = TTestPower().solve_power(effect, alpha=0.05, power=0.8)
        assert row.replicates == math.ceil(exact)


def test_same_as_foreseen_one_by_one():
    table = replicates_table([300], [4], cost_per_ha=15, mean_t_ha=3)
    alone = foresee(4, 4, mean_t_ha=3, break_even_t_ha=0.05)
    assert table["replicates"].item() == alone.replicates_needed
    assert table["break_even_t_ha"].item() == alone.to_see_t_ha == 0.05


def test_a_gain_that_just_breaks_even_cannot_be_told():
    table = replicates_table([100, 200], [4], cost_per_ha=20, mean_t_ha=3, expected_t_ha=0.2)
    assert table["replicates"].isna().tolist() == [True, False]


def test_bad_input():
    with pytest.raises(DesignError, match="The price is 0 a tonne"):
        replicates_table([0], [4], cost_per_ha=20, mean_t_ha=3)
    with pytest.raises(DesignError, match="The cost is nan a hectare"):
        replicates_table([300], [4], cost_per_ha=math.nan, mean_t_ha=3)
    with pytest.raises(DesignError, match="costs nothing"):
        replicates_table([300], [4], cost_per_ha=0, mean_t_ha=3)
    with pytest.raises(DesignError, match="variation"):
        replicates_table([300], [-4], cost_per_ha=20, mean_t_ha=3)
