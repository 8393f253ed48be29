"""The randomisation test: counted by hand, sampled, and refused."""

from __future__ import annotations

from itertools import chain, product

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError
from trialkit.models import ShuffleTest, fit_mixed, shuffle_test

COLUMNS = ("yield_t_ha", "treatment", "block")


def pairs(count, seed=0):
    rng = np.random.default_rng(seed)
    return pd.DataFrame(
        {
            "block": np.repeat(np.arange(count), 2),
            "treatment": ["dressed", "untreated"] * count,
            "yield_t_ha": rng.normal(3, 0.3, 2 * count),
        }
    )


# With k pairs no two-sided p is under 2 / 2^k (Fisher 1935): 0.25, 0.125, 0.0625, 0.03125.
@pytest.mark.parametrize(("count", "smallest"), [(3, 0.25), (4, 0.125), (5, 0.0625), (6, 0.03125)])
def test_the_smallest_p_of_pairs(count, smallest):
    data = pairs(count)
    data.loc[data["treatment"] == "dressed", "yield_t_ha"] += 10
    found = shuffle_test(data, *COLUMNS, against="untreated")
    assert isinstance(found, ShuffleTest)
    assert (found.p, found.smallest_p, found.exact) == (smallest, smallest, True)
    assert (found.draws, found.monte_carlo_error) == (2**count, 0.0)


@pytest.mark.parametrize("seed", range(5))
def test_pairs_are_sign_flips(seed):
    data = pairs(7, seed)
    wide = data.pivot_table("yield_t_ha", "block", "treatment")
    gaps = (wide["dressed"] - wide["untreated"]).to_numpy()
    flipped = np.array(list(product([1, -1], repeat=7))) @ gaps
    expected = (np.abs(flipped) >= abs(gaps.sum()) - 1e-12).mean()
    found = shuffle_test(data, *COLUMNS, against="untreated")
    assert found.p == expected
    assert found.difference == pytest.approx(gaps.mean())


def test_uneven_blocks_are_weighted_as_least_squares_does():
    rng = np.random.default_rng(3)
    sizes = {"A": "dduu", "B": "duuu", "C": "ddu", "D": "dd"}
    rows = [(block, arm) for block, arms in sizes.items() for arm in arms]
    data = pd.DataFrame(rows, columns=["block", "treatment"])
    data["yield_t_ha"] = rng.normal(3, 0.3, len(data))
    found = shuffle_test(data, *COLUMNS, against="u")
    fit = fit_mixed("yield_t_ha ~ block + treatment", data)
    assert found.difference == pytest.approx(fit.differences("treatment", "u")["estimate"].item())
    assert (found.exact, found.draws) == (True, 6 * 4 * 3)
    assert found.smallest_p == 1 / 72
    assert found.notes == ("1 of 4 blocks hold only one of the two: left out.",)
    # Counted by fitting every allocation.
    fits = []
    for chosen in product(*(allocations(arms) for arms in ("dduu", "duuu", "ddu"))):
        labels = [arm for block in chosen for arm in block] + ["d", "d"]
        moved = fit_mixed("yield_t_ha ~ block + treatment", data.assign(treatment=labels))
        fits.append(abs(moved.coefficients["estimate"].iloc[-1]))
    assert found.p == pytest.approx(np.mean(np.array(fits) >= abs(found.difference) - 1e-12))


def allocations(arms):
    return sorted(set(permuted(arms)))


def permuted(arms):
    if len(arms) < 2:
        return [tuple(arms)]
    return [
        (arms[i], *rest) for i in range(len(arms)) for rest in permuted(arms[:i] + arms[i + 1 :])
    ]


def test_ties_count_whatever_the_rounding():
    data = pairs(4)
    data["yield_t_ha"] = [3.1, 3.0, 3.1, 3.0, 3.1, 3.0, 3.0, 3.1]
    found = shuffle_test(data, *COLUMNS)
    # Gaps of 0.1 all: three of a sign and one of the other, or all of a sign: 8 + 2 of 16.
    assert found.p == 10 / 16


def test_the_sample_agrees_with_the_count(monkeypatch):
    data = pairs(12, seed=5)
    counted = shuffle_test(data, *COLUMNS)
    monkeypatch.setattr("trialkit.models.shuffle.EXACT_UP_TO", 0)
    sampled = shuffle_test(data, *COLUMNS, draws=20_000, seed=1)
    assert (sampled.exact, sampled.draws) == (False, 20_000)
    assert abs(sampled.p - counted.p) < 4 * sampled.monte_carlo_error
    assert sampled.monte_carlo_error == pytest.approx(
        np.sqrt(counted.p * (1 - counted.p) / 20_000), rel=0.1
    )


def test_many_strips_are_sampled_and_seeded():
    data = pairs(20)
    first, second = (shuffle_test(data, *COLUMNS, draws=500, seed=7) for _ in range(2))
    assert first == second
    assert not first.exact
    assert first.smallest_p == 1 / 501
    assert shuffle_test(data, *COLUMNS, draws=500, seed=8).p != first.p


def test_a_sampled_p_is_never_zero():
    data = pairs(20)
    data.loc[data["treatment"] == "dressed", "yield_t_ha"] += 10
    assert shuffle_test(data, *COLUMNS, draws=500, seed=7).p == 1 / 501


def test_a_fake_treatment_is_found_as_often_as_it_should():
    # Six pairs: p at most 0.0625 in 4 of 64 draws of the labels, whatever the yields.
    rng = np.random.default_rng(12)
    low = 0
    for _ in range(400):
        data = pairs(6, seed=rng.integers(2**31))
        low += shuffle_test(data, *COLUMNS).p <= 0.0625
    # Four standard errors of a share of 1/16 in 400.
    assert abs(low / 400 - 0.0625) < 4 * np.sqrt(0.0625 * 0.9375 / 400)


def test_the_level_compared_against():
    data = pairs(5)
    one = shuffle_test(data, *COLUMNS)
    two = shuffle_test(data, *COLUMNS, against="dressed")
    three = shuffle_test(data, *COLUMNS, against="untreated")
    assert one == two
    assert two.treatments == ("untreated", "dressed")
    assert three.difference == pytest.approx(-two.difference)
    assert three.p == two.p


def test_empty_cells_are_counted():
    data = pairs(6)
    data.loc[4, "yield_t_ha"] = np.nan
    found = shuffle_test(data, *COLUMNS)
    assert found.draws == 2**5
    assert found.notes == (
        "1 of 12 records left out for empty cells: 'yield_t_ha' in 1.",
        "1 of 6 blocks hold only one of the two: left out.",
        "Too few allocations for an interval at 95%: no p falls below 0.062.",
    )
    assert (found.low, found.high) == (-np.inf, np.inf)


def refused(message, data, **change):
    columns = dict(zip(("response", "treatment", "block"), COLUMNS, strict=True))
    with pytest.raises(ModelError, match=message):
        shuffle_test(data, **{**columns, **change})


def test_bad_input():
    data = pairs(4)
    refused(r"names column 'blok'.*Did you mean 'block'", data, block="blok")
    refused(r"no value 'none'. It has: 'dressed', 'untreated'", data, against="none")
    refused(r"draws=0 is no number of draws", data, draws=0)
    refused(r"The table is empty", data.iloc[:0])
    refused(r"same 'yield_t_ha'", data.assign(yield_t_ha=3.0))
    refused(r"holds text, such as 'x'", data.assign(yield_t_ha="x"))
    refused(r"holds 1 values: 'dressed'. Add records", data[data["treatment"] == "dressed"])
    three = data.assign(treatment=["a", "b", "c", "a", "b", "c", "a", "b"])
    refused(
        r"holds 3 values: 'a', 'b', 'c'. Pass only the records of the two.*or use shuffle_several",
        three,
    )
    alone = data.assign(block=data["treatment"])
    refused(r"No 'block' holds both 'untreated' and 'dressed'", alone)


# Strips that did not get what was drawn for them ------------------------------------------------


def swapped_pairs(gain, seed, blocks=8, swapped=(0, 3)):
    """Pairs drawn at random, two of them sown the other way round."""
    rng = np.random.default_rng(seed)
    drawn = np.concatenate([rng.permutation(["dressed", "untreated"]) for _ in range(blocks)])
    table = pd.DataFrame({"block": np.repeat(np.arange(blocks), 2), "drawn": drawn})
    turned = table["block"].isin(swapped)
    other = table["drawn"].map({"dressed": "untreated", "untreated": "dressed"})
    table["sown"] = table["drawn"].where(~turned, other)
    ground = rng.normal(3, 0.3, blocks)[table["block"]] + rng.normal(0, 0.1, len(table))
    return table.assign(yields=ground + gain * (table["sown"] == "dressed"))


def test_what_was_sown_as_drawn_changes_nothing():
    table = swapped_pairs(0.3, 1, swapped=())
    as_drawn = shuffle_test(table, "yields", "drawn", "block", against="untreated")
    sown = shuffle_test(table, "yields", "drawn", "block", against="untreated", sown="sown")
    assert sown == as_drawn


def test_p_is_that_of_the_draw_and_the_gain_that_of_what_was_sown():
    table = swapped_pairs(0.3, 2)
    by_draw = shuffle_test(table, "yields", "drawn", "block", against="untreated")
    sown = shuffle_test(table, "yields", "drawn", "block", against="untreated", sown="sown")
    assert sown.p == by_draw.p
    # Two of eight pairs turned round: six of them pull one way, two the other.
    assert sown.difference == pytest.approx(by_draw.difference / (4 / 8))


def test_the_interval_leaves_out_only_gains_that_the_draw_rejects():
    # A little wider than need be: draws with more swaps than were made count for every gain.
    # By hand: every draw of the pairs, on yields less the gain on the strips that really got it.
    table = swapped_pairs(0.3, 3, blocks=10, swapped=(4,))
    found = shuffle_test(table, "yields", "drawn", "block", against="untreated", sown="sown")
    signs = np.array(list(product([-1, 1], repeat=10)))

    def p_of(gain):
        left = table["yields"] - gain * (table["sown"] == "dressed")
        side = np.where(table["drawn"] == "dressed", 1, -1)
        gaps = (left * side).groupby(table["block"]).sum().to_numpy()
        return (np.abs(signs @ gaps) >= abs(gaps.sum()) - 1e-12).mean()

    for end, outward in ((found.low, -1), (found.high, 1)):
        assert p_of(end + outward * 1e-6) <= 0.05
        assert p_of(end - outward * 0.02) > 0.05


def test_too_many_turned_round_leave_the_interval_open():
    # Two of eight pairs: for gains beyond all bounds 74 of 256 draws are as extreme, by hand.
    table = swapped_pairs(0.3, 3)
    found = shuffle_test(table, "yields", "drawn", "block", against="untreated", sown="sown")
    assert (found.low, found.high) == (-np.inf, np.inf)
    assert 0 < found.p <= 1


def test_a_list_of_layouts_gives_the_same_as_the_free_draw():
    table = swapped_pairs(0.3, 4)
    pairs = [("dressed", "untreated"), ("untreated", "dressed")]
    layouts = [list(chain(*order)) for order in product(pairs, repeat=8)]
    free, listed = (
        shuffle_test(
            table, "yields", "drawn", "block", against="untreated", sown="sown", allocations=given
        )
        for given in (None, layouts)
    )
    for name in ("difference", "p", "low", "high", "smallest_p"):
        assert getattr(listed, name) == pytest.approx(getattr(free, name))


def test_half_the_pairs_turned_round_leave_no_test():
    table = swapped_pairs(0.3, 5, swapped=(0, 1, 2, 3))
    with pytest.raises(ModelError, match="nothing to do with what was drawn"):
        shuffle_test(table, "yields", "drawn", "block", sown="sown")


def test_the_test_of_the_draw_keeps_its_error_whatever_the_mistakes_hang_on():
    # No gain at all; the better strip of the two worst pairs always ends up dressed. By what was
    # sown that looks like a gain; by the draw 5 in 100 are called, as they should be.
    called = {"draw": 0, "sown": 0}
    trials, rng = 400, np.random.default_rng(6)
    for _ in range(trials):
        yields = rng.normal(3, 0.1, 16)
        drawn = np.concatenate([rng.permutation(["dressed", "untreated"]) for _ in range(8)])
        sown = drawn.copy()
        for pair in (0, 1, 2, 3):
            places = np.array([2 * pair, 2 * pair + 1])
            better = places[yields[places].argmax()]
            sown[places] = np.where(places == better, "dressed", "untreated")
        table = pd.DataFrame(
            {"block": np.repeat(np.arange(8), 2), "drawn": drawn, "sown": sown, "yields": yields}
        )
        naive = shuffle_test(table, "yields", "sown", "block", against="untreated")
        called["sown"] += naive.p <= 0.05
        try:
            by_draw = shuffle_test(
                table, "yields", "drawn", "block", against="untreated", sown="sown"
            )
        except ModelError:
            continue
        called["draw"] += by_draw.p <= 0.05
    assert called["draw"] / trials < 0.05 + 3 * np.sqrt(0.05 * 0.95 / trials)
    assert called["sown"] / trials > 0.15
