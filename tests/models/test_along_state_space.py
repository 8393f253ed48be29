"""Correlation along the pass, against statsmodels' state-space filter.

An Ornstein-Uhlenbeck process seen at even steps is an autoregression of order one (Uhlenbeck and
Ornstein 1930, Physical Review 36:823-841), with a nugget one with measurement error. statsmodels
gives the likelihood of such a series from a Kalman filter: no formula of ours enters.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.tsa.statespace.sarimax import SARIMAX

from trialkit.models import AlongPass, fit_mixed

#: A filter's recursion against ours, on 150 records.
FILTER = 1e-8
STEP_M = 4.0


@pytest.fixture
def even_passes():
    """Six passes of 25 records, 4 m apart, two treatments, yields rising along the pass."""
    rng = np.random.default_rng(31)
    share = np.exp(-STEP_M / 15.0)
    process = np.empty((6, 25))
    process[:, 0] = rng.normal(size=6)
    for place in range(1, 25):
        fresh = np.sqrt(1 - share**2) * rng.normal(size=6)
        process[:, place] = share * process[:, place - 1] + fresh
    distance = np.tile(STEP_M * np.arange(25), 6)
    return pd.DataFrame(
        {
            "pass_id": np.repeat(np.arange(6), 25),
            "distance_m": distance,
            "treatment": np.repeat(["a", "b"] * 3, 25),
            "value": 5 + 0.01 * distance + process.ravel() + rng.normal(0, 0.6, 150),
        }
    )


def filtered_criterion(data, along, reach, nugget):
    """-2 log restricted likelihood; every quadratic form is a difference of log likelihoods."""
    share = np.exp(-STEP_M / reach)
    design = np.column_stack(
        [np.ones(len(data)), data["treatment"] == "b", data["distance_m"]]
    ).astype(float)
    columns = np.column_stack([design, data["value"]])

    def log_likelihood(values):
        parameters = [share, nugget, along * (1 - share**2)]
        return sum(
            SARIMAX(values[rows], order=(1, 0, 0), measurement_error=True).loglike(parameters)
            for rows in data.groupby("pass_id").indices.values()
        )

    nothing = log_likelihood(np.zeros(len(data)))

    def square(values):
        return 2 * (nothing - log_likelihood(values))

    count = columns.shape[1]
    forms = np.diag([square(column) for column in columns.T])
    for i in range(count):
        for j in range(i):
            both = square(columns[:, i] + columns[:, j])
            forms[i, j] = forms[j, i] = (both - forms[i, i] - forms[j, j]) / 2
    gram, beside = forms[:-1, :-1], forms[:-1, -1]
    beta = np.linalg.solve(gram, beside)
    rest = forms[-1, -1] - beside @ beta
    fixed = np.linalg.slogdet(gram)[1] - len(beta) * np.log(2 * np.pi)
    return -2 * nothing + fixed + rest, beta, np.sqrt(np.diag(np.linalg.inv(gram)))


def test_criterion_estimates_and_errors_are_those_of_the_filter(even_passes):
    fit = fit_mixed("value ~ treatment + distance_m", even_passes, along=AlongPass())
    assert fit.converged
    found = fit.variances[["along", "range_m", "residual"]].to_numpy()
    criterion, beta, errors = filtered_criterion(even_passes, *found)
    assert fit.reml_criterion == pytest.approx(criterion, rel=FILTER)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(beta, rel=1e-6)
    assert fit.coefficients["std_error"].to_numpy() == pytest.approx(errors, rel=1e-6)
    for place in range(3):
        for factor in (0.9, 1.1):
            moved = found * np.where(np.arange(3) == place, factor, 1.0)
            assert filtered_criterion(even_passes, *moved)[0] > criterion
