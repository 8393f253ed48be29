"""Randomisation of several treatments, against scipy and the analysis of variance."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.errors import ModelError
from trialkit.models import fit_mixed, shuffle_several, shuffle_test

COLUMNS = ("yield_t_ha", "treatment", "block")


def trial(sizes, seed=0):
    rng = np.random.default_rng(seed)
    rows = [(f"B{place}", arm) for place, arms in enumerate(sizes) for arm in arms]
    data = pd.DataFrame(rows, columns=["block", "treatment"])
    return data.assign(yield_t_ha=rng.normal(3, 0.3, len(data)))


def by_hand(data, against):
    """Return F and |t| of the fixed-block model, as the engine for other questions gives them."""
    fit = fit_mixed("yield_t_ha ~ block + treatment", data)
    return fit.test("treatment").statistic, fit.differences("treatment", against)["t"].abs()


@pytest.mark.parametrize("sizes", [["abc"] * 3, ["abc", "aabc", "ab"], ["aabb", "bbcc"]])
def test_f_is_that_of_the_analysis_of_variance(sizes):
    data = trial(sizes, seed=1)
    found = shuffle_several(data, *COLUMNS, against="a")
    fit = fit_mixed("yield_t_ha ~ block + treatment", data)
    assert found.statistic == pytest.approx(fit.test("treatment").statistic)
    expected = fit.differences("treatment", "a")["estimate"]
    assert found.differences["estimate"].to_numpy() == pytest.approx(expected.to_numpy())
    assert found.differences.index.tolist() == ["b", "c"]


def test_every_layout_counted_by_fitting_it():
    data = trial(["abc", "abb"], seed=2)
    data.loc[:, "yield_t_ha"] += 0.3 * (data["treatment"] == "b")
    found = shuffle_several(data, *COLUMNS, against="a")
    overall, each = by_hand(data, "a")
    draws = [
        by_hand(data.assign(treatment=[*first, *second]), "a")
        for first, second in product(permutations("abc"), sorted(set(permutations("abb"))))
    ]
    assert found.draws == len(draws) == 18
    close = 1 - 1e-9
    assert found.p == np.mean([f >= overall * close for f, _ in draws])
    for arm in "bc":
        assert found.differences.loc[arm, "p"] == np.mean(
            [t[arm] >= each[arm] * close for _, t in draws]
        )
        assert found.differences.loc[arm, "p_together"] == np.mean(
            [t.max() >= each[arm] * close for _, t in draws]
        )


def test_scipy_agrees():
    data = trial(["abc"] * 5, seed=7)
    wide = data.pivot_table("yield_t_ha", "block", "treatment").to_numpy()

    def scatter(a, b, c, axis):
        return np.var([a.mean(axis=axis), b.mean(axis=axis), c.mean(axis=axis)], axis=0)

    second = stats.permutation_test(
        tuple(wide.T), scatter, permutation_type="samples", vectorized=True, n_resamples=np.inf,
        alternative="greater",
    )  # fmt: skip
    found = shuffle_several(data, *COLUMNS)
    assert (found.exact, found.draws) == (True, 6**5)
    assert found.p == pytest.approx(second.pvalue)


def test_two_treatments_are_the_shuffle_of_two():
    data = trial(["du"] * 8, seed=3)
    several = shuffle_several(data, *COLUMNS, against="u")
    two = shuffle_test(data, *COLUMNS, against="u")
    assert several.p == two.p == several.differences.loc["d", "p_together"]
    assert several.differences.loc["d", "estimate"] == pytest.approx(two.difference)
    assert (several.draws, several.smallest_p) == (two.draws, two.smallest_p)


def test_the_largest_possible_effect_reaches_the_smallest_p():
    data = trial(["abc"] * 4)
    data["yield_t_ha"] += data["treatment"].map({"a": 0.0, "b": 10.0, "c": 25.0})
    found = shuffle_several(data, *COLUMNS)
    assert found.smallest_p == 6 / 6**4
    assert found.p == found.smallest_p
    uneven = shuffle_several(trial(["abc", "aabc"]), *COLUMNS)
    assert uneven.smallest_p == 2 / (6 * 12)  # only b and c can change names


def test_many_strips_are_sampled_and_seeded():
    data = trial(["abcd"] * 6, seed=5)
    first, second = (shuffle_several(data, *COLUMNS, draws=2000, seed=1) for _ in range(2))
    pd.testing.assert_frame_equal(first.differences, second.differences, check_exact=True)
    assert (first.exact, first.draws, first.p) == (False, 2000, second.p)
    assert first.monte_carlo_error == pytest.approx(np.sqrt(first.p * (1 - first.p) / 2000))
    f = fit_mixed("yield_t_ha ~ block + treatment", data).test("treatment")
    assert abs(first.p - f.p) < 0.05  # normal yields: F's own p is near


def test_together_is_never_smaller_than_alone():
    data = trial(["abcd"] * 3, seed=9)
    table = shuffle_several(data, *COLUMNS).differences
    assert table.index.names == ["treatment", "against"]
    assert len(table) == 6
    assert (table["p_together"] >= table["p"]).all()


def test_a_listed_draw_is_respected():
    data = trial(["abc"] * 4, seed=2)
    turns = [list("abc"), list("bca"), list("cab")]
    listed = [[label for order in orders for label in order] for orders in product(turns, repeat=4)]
    found = shuffle_several(data, *COLUMNS, allocations=listed)
    assert (found.draws, found.exact) == (81, True)
    assert found.smallest_p == 3 / 81  # the layout sown with its three names turned round


def test_a_fake_treatment_is_found_as_often_as_it_should():
    rng = np.random.default_rng(3)
    hits = 0
    for _ in range(200):
        data = trial(["abc"] * 4, seed=rng.integers(2**31))
        hits += shuffle_several(data, *COLUMNS, against="a").differences["p_together"].min() <= 0.05
    assert abs(hits / 200 - 0.05) < 4 * np.sqrt(0.05 * 0.95 / 200)


def refused(message, data, **options):
    with pytest.raises(ModelError, match=message):
        shuffle_several(data, *COLUMNS, **options)


def test_bad_input():
    data = trial(["abc"] * 3)
    refused(r"draws=0", data, draws=0)
    refused(r"no value 'z'. It has: 'a', 'b', 'c'", data, against="z")
    refused(r"same 'yield_t_ha'", data.assign(yield_t_ha=1.0))
    refused(r"holds only 'a'. Add records", data[data["treatment"] == "a"])
    refused(r"some never stand beside the others", trial(["aabb", "ccdd"]))
    refused(r"too few strips: nothing is left", trial(["ab", "bc"]))
