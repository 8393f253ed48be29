"""Does the error stay what it says? Fits of fields with a known truth.

Bounds are three and a half standard errors of a share at the number of fields drawn, so that
a sound method fails at one seed in two thousand.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import ttest_ind

from trialkit.models import AlongPass, fit_mixed

FIELDS = 500
POINT_FIELDS = 250
ALONG_FIELDS = 60


def within_bounds(hits, fields, expected):
    return abs(hits / fields - expected) < 3.5 * np.sqrt(expected * (1 - expected) / fields)


@pytest.fixture
def layout():
    """Eight blocks of four strips and three treatments; five strips lost."""
    table = pd.DataFrame({"block": np.repeat(np.arange(8), 4)})
    table["treatment"] = np.array(["a", "a", "b", "c", "b", "b", "a", "c"] * 4)
    return table.drop(index=[1, 7, 12, 20, 31]).reset_index(drop=True)


def test_false_positives_of_strips(layout):
    rng = np.random.default_rng(2024)
    low, covered = 0, 0
    for _ in range(FIELDS):
        blocks = rng.normal(0, 0.6, 8)[layout["block"]]
        data = layout.assign(value=blocks + rng.normal(0, 0.4, len(layout)))
        fit = fit_mixed("value ~ treatment", data, ["block"])
        low += fit.test("treatment").p < 0.05
        gap = fit.differences("treatment", against="a").loc["c"]
        covered += gap["low"] < 0 < gap["high"]
    assert within_bounds(low, FIELDS, 0.05)
    assert within_bounds(covered, FIELDS, 0.95)


def test_points_do_not_count_as_replicates():
    # Twelve strips in blocks of two, 15 points a strip: the strips carry the error.
    rng = np.random.default_rng(7)
    strip = np.repeat(np.arange(12), 15)
    data = pd.DataFrame({"strip": strip, "block": strip // 2})
    data["treatment"] = np.where(strip % 2 == 0, "a", "b")
    ours, plain = 0, 0
    for _ in range(POINT_FIELDS):
        value = rng.normal(0, 0.3, 6)[data["block"]] + rng.normal(0, 0.3, 12)[strip]
        data["value"] = value + rng.normal(0, 0.5, len(data))
        ours += fit_mixed("value ~ treatment", data, ["block", "strip"]).test("treatment").p < 0.05
        groups = [part["value"] for _, part in data.groupby("treatment")]
        plain += ttest_ind(*groups).pvalue < 0.05
    assert within_bounds(ours, POINT_FIELDS, 0.05)
    assert plain / POINT_FIELDS > 0.25  # what points taken as replicates would claim


def test_correlation_along_the_pass_keeps_its_error():
    # The model itself: six pairs, 12 records a pass, a process that reaches 4 records, a nugget,
    # and strips that differ.
    rng = np.random.default_rng(19)
    strip = np.repeat(np.arange(12), 12)
    data = pd.DataFrame({"pass_id": strip, "block": strip // 2})
    data["distance_m"] = np.tile(10.0 * np.arange(12), 12)
    data["treatment"] = np.where(strip % 2 == 0, "a", "b")
    gaps = np.abs(np.subtract.outer(np.arange(12), np.arange(12)))
    root = np.linalg.cholesky(np.exp(-gaps / 4.0))
    formula = "value ~ C(block) + treatment"
    ours, plain = 0, 0
    for _ in range(ALONG_FIELDS):
        process = (rng.normal(size=(12, 12)) @ root.T).ravel()
        data["value"] = process + rng.normal(0, 0.5, 12)[strip] + rng.normal(0, 0.7, len(data))
        fit = fit_mixed(formula, data, ["pass_id"], along=AlongPass())
        ours += fit.test("treatment").p < 0.05
        plain += fit_mixed(formula, data).test("treatment").p < 0.05
    assert within_bounds(ours, ALONG_FIELDS, 0.05)
    assert plain / ALONG_FIELDS > 0.25  # what points taken as replicates would claim
