"""The batched path against the engine, the paired t and the textbook's full matrices."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import ttest_rel

from trialkit.errors import ModelError
from trialkit.models import fit_mixed
from trialkit.models.batched import fit_batch

#: Two searches for the same optimum: each squares its error in the last step.
SAME_FIT = 1e-8
#: The textbook's variances come from SciPy's line search, which stops at this.
LINE_SEARCH = 1e-6
#: Linear algebra on the same numbers.
EXACT = 1e-10

FIGURES = ("estimate", "std_error", "df", "p", "low", "high")

LAYOUTS = {
    "pairs": ("ab" * 6, 2, []),
    "pairs, two strips lost": ("ab" * 6, 2, [3, 6]),
    "fours with five strips lost": ("abab" * 6, 4, [1, 7, 8, 12, 22]),
    "three treatments in three blocks": ("abc" * 3, 3, []),
    "three treatments, uneven": ("aabcbbac" * 4, 4, [1, 7, 12, 20, 31]),
}


@pytest.fixture(params=LAYOUTS)
def layout(request):
    arms, size, lost = LAYOUTS[request.param]
    strips = pd.DataFrame({"treatment": list(arms)})
    strips["block"] = [f"B{number // size}" for number in range(len(arms))]
    return strips.drop(index=lost).reset_index(drop=True)


@pytest.fixture
def yields(layout):
    """Responses from no blocks at all to blocks that outdo everything."""
    rng = np.random.default_rng(5)
    codes = pd.factorize(layout["block"])[0]
    spread = np.repeat([0.0, 0.1, 0.4, 5.0], 6)[:, None]
    return (
        3.0
        + (spread * rng.normal(size=(24, codes.max() + 1)))[:, codes]
        + rng.normal(0, 0.3, (24, len(codes)))
    )


def compare(found, row, table):
    for name in FIGURES:
        ours = getattr(found, name)[row]
        assert ours == pytest.approx(table[name].to_numpy(), rel=SAME_FIT, abs=SAME_FIT), name


def test_random_blocks_are_those_of_fit_mixed(layout, yields):
    found = fit_batch(yields, layout["treatment"], layout["block"], against="a")
    zero = found.block_variance == 0
    assert 0 < zero.sum() < len(yields)  # both kinds are here
    for row, values in enumerate(yields):
        fit = fit_mixed("y ~ treatment", layout.assign(y=values), ["block"])
        compare(found, row, fit.differences("treatment", against="a"))
        assert zero[row] == bool(fit.at_boundary)
        variances = [found.block_variance[row], found.residual_variance[row]]
        assert variances == pytest.approx(list(fit.variances), rel=SAME_FIT, abs=SAME_FIT)


def test_fixed_blocks_are_those_of_fit_mixed(layout, yields):
    found = fit_batch(yields, layout["treatment"], layout["block"], against="a", blocks="fixed")
    for row, values in enumerate(yields):
        fit = fit_mixed("y ~ block + treatment", layout.assign(y=values))
        compare(found, row, fit.differences("treatment", against="a"))


def test_unbounded_blocks_are_the_textbooks(layout, yields, textbook):
    arms, codes = layout["treatment"], pd.factorize(layout["block"])[0]
    found = fit_batch(yields, arms, codes, against="a", blocks="unbounded")
    assert (found.block_variance < 0).any()
    # At the lowest place that the search may reach there is no optimum to compare.
    edge = found.block_variance / found.residual_variance < -0.99 / np.bincount(codes).max()
    x = pd.get_dummies(arms).to_numpy(dtype=float)
    row_of = np.eye(x.shape[1])[1] - np.eye(x.shape[1])[0]
    for row in np.flatnonzero(~edge):
        book = textbook(yields[row], x, [codes])
        variances = found.block_variance[row], found.residual_variance[row]

        def criterion(share, book=book, variances=variances):
            return book.criterion((variances[0] + share * variances[1], variances[1]))

        best = minimize_scalar(criterion, bounds=(-0.01, 0.01), method="bounded")
        assert criterion(0) <= best.fun + LINE_SEARCH
        with np.errstate(divide="ignore"):  # four degrees of freedom are reached through infinity
            judged = book.kenward_roger(variances, row_of[None, :])
        assert found.std_error[row, 0] == pytest.approx(judged.errors[0], rel=LINE_SEARCH)
        assert found.df[row, 0] == pytest.approx(judged.df, rel=LINE_SEARCH)


def test_in_complete_blocks_unbounded_and_fixed_are_the_paired_t():
    # Stroup and Littell 2002 (from memory): a variance that may be negative keeps the F of the
    # analysis of variance.
    yields = np.random.default_rng(3).normal(3, 0.3, (50, 12))
    arms, pairs = list("ab" * 6), np.repeat(np.arange(6), 2)
    paired = ttest_rel(yields[:, 1::2], yields[:, ::2], axis=1)
    for blocks in ("unbounded", "fixed"):
        found = fit_batch(yields, arms, pairs, against="a", blocks=blocks)
        assert found.p[:, 0] == pytest.approx(paired.pvalue, abs=SAME_FIT)
        assert found.df[:, 0] == pytest.approx(5.0)


def test_a_response_gives_the_same_whatever_stands_beside_it():
    yields = np.random.default_rng(8).normal(3, 0.3, (40, 12))
    arms, pairs = list("ab" * 6), np.repeat(np.arange(6), 2)
    together = fit_batch(yields, arms, pairs, against="a")
    alone = fit_batch(yields[7:8], arms, pairs, against="a")
    assert together.p[7] == pytest.approx(alone.p[0], rel=EXACT)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"responses": np.ones((2, 8))}, "Row 0 of the responses has no scatter"),
        ({"responses": np.full((1, 8), np.nan)}, "Row 0 .* empty or infinite"),
        ({"responses": np.ones(8)}, "one row a fit and one column a strip"),
        ({"against": "c"}, "nothing to hold against 'c': the strips have 'a', 'b'"),
        ({"treatment": ["a"] * 8}, "nothing to hold against 'a'"),
        ({"treatment": [None, *"bababab"]}, "no treatment or no block"),
        ({"block": ["x"] * 8}, "more than one block"),
        ({"block": range(8)}, "more than one block, fewer than strips"),
        ({"blocks": "loose"}, "Give one of: random, unbounded, fixed"),
        ({"blocks": "fixed", "treatment": list("aabbaabb")}, "never share a block"),
        ({"confidence": 95}, "Give a share between 0 and 1"),
    ],
)
def test_bad_input(change, message):
    usual = {
        "responses": np.random.default_rng(1).normal(size=(2, 8)),
        "treatment": list("abababab"),
        "block": [0, 0, 1, 1, 2, 2, 3, 3],
        "against": "a",
    }
    with pytest.raises(ModelError, match=message):
        fit_batch(**(usual | change))


def test_too_few_whole_blocks():
    yields = np.random.default_rng(1).normal(size=(2, 4))
    with pytest.raises(ModelError, match="no scatter is left"):
        fit_batch(yields, list("abab"), [0, 0, 1, 2], against="a", blocks="fixed")
