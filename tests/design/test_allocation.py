"""Draws inside blocks: fair, restricted as asked, and kept for the randomisation test."""

from __future__ import annotations

import json
from collections import Counter
from math import comb, factorial

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.design import allocate, allocation_from_record, possible_layouts
from trialkit.errors import LayoutError
from trialkit.models import shuffle_test, smallest_p

#: A chance this small would fail a fair draw once in a thousand seeds; the seeds are fixed.
UNFAIR = 0.001

PAIR = ("untreated", "dressed")


def place_counts(orders):
    """How often each treatment stands in each place."""
    return [Counter(order[place] for order in orders) for place in range(len(orders[0]))]


@pytest.mark.parametrize("draw", ["random", "even sides", "same order", "turn about"])
@pytest.mark.parametrize(("arms", "blocks"), [(2, 1), (2, 7), (3, 6), (4, 9), (6, 13)])
def test_each_treatment_once_in_each_block(draw, arms, blocks):
    names = [f"T{number}" for number in range(arms)]
    found = allocate(names, blocks, seed=1, draw=draw)
    assert len(found.orders) == blocks
    assert all(sorted(order) == names for order in found.orders)
    assert allocate(names, blocks, seed=1, draw=draw) == found


def test_free_draws_are_fair():
    orders = [allocate(list("ABC"), 1, seed=seed).orders[0] for seed in range(1200)]
    counts = Counter(orders)
    assert len(counts) == 6
    assert stats.chisquare(list(counts.values())).pvalue > UNFAIR


@pytest.mark.parametrize(("arms", "blocks"), [(2, 6), (2, 7), (2, 30), (3, 6), (4, 8), (5, 7)])
def test_even_sides_are_even_but_for_one_block(arms, blocks):
    names = [f"T{number}" for number in range(arms)]
    for seed in range(20):
        orders = allocate(names, blocks, seed=seed, draw="even sides").orders
        for counts in place_counts(orders):
            numbers = [counts[name] for name in names]
            assert max(numbers) - min(numbers) <= 1


def test_even_sides_of_many_pairs_take_every_layout_alike():
    # 18 pairs are too many to list: the squares must still give each pair left and right alike.
    left = np.array(
        [
            [
                order[0] == "dressed"
                for order in allocate(PAIR, 18, seed=s, draw="even sides").orders
            ]
            for s in range(800)
        ]
    )
    assert (left.sum(axis=1) == 9).all()
    share = left.mean(axis=0)
    # Variance of a share is 1/4 / 800; 18 shares with a fixed sum have 17 degrees of freedom.
    statistic = ((share - 0.5) ** 2).sum() / (0.25 / 800) * 17 / 18
    assert stats.chi2.sf(statistic, 17) > UNFAIR


@pytest.mark.parametrize(("blocks", "possible"), [(4, 6), (5, 20), (6, 20), (20, comb(20, 10))])
def test_number_of_layouts_with_even_sides(blocks, possible):
    found = allocate(PAIR, blocks, seed=3, draw="even sides")
    assert found.possible == possible
    assert found.smallest_p == pytest.approx(2 / possible)


def test_three_treatments_with_even_places_are_latin_squares():
    # There are 12 Latin squares of order 3 (Fisher and Yates).
    assert allocate(list("ABC"), 3, seed=3, draw="even sides").possible == 12


def test_tramlines_are_shared_out():
    # The tramline runs now through the left strip of a pair, now through the right.
    tramline = [[block % 3 == 0, block % 3 == 1] for block in range(9)]
    with_tramline = set()
    for seed in range(30):
        found = allocate(PAIR, 9, seed=seed, tramline=tramline)
        arms = [
            order[place]
            for order, row in zip(found.orders, tramline, strict=True)
            for place in (0, 1)
            if row[place]
        ]
        assert Counter(arms) == {"untreated": 3, "dressed": 3}
        with_tramline.add(tuple(arms))
    assert len(with_tramline) > 5
    assert found.possible == comb(6, 3) * 2**3


def test_tramlines_and_sides_at_once_too_many_to_list():
    tramline = [[block % 3 == 0, block % 3 == 1] for block in range(24)]
    found = allocate(PAIR, 24, seed=5, draw="even sides", tramline=tramline)
    layouts = possible_layouts(found, draws=500)
    assert len(layouts) == 500
    dressed = (layouts == "dressed").to_numpy().reshape(500, 24, 2)
    assert (dressed[:, :, 0].sum(axis=1) == 12).all()
    assert (dressed[:, np.array(tramline)].sum(axis=1) == 8).all()


def test_all_possible_layouts_are_listed_the_one_sown_among_them():
    found = allocate(PAIR, 6, seed=8, draw="even sides")
    layouts = possible_layouts(found)
    assert layouts.shape == (20, 12)
    assert not layouts.duplicated().any()
    sown = [name for order in found.orders for name in order]
    assert (layouts == sown).all(axis=1).sum() == 1


def test_a_sample_leaves_out_the_layout_sown_and_is_the_same_again():
    found = allocate(PAIR, 30, seed=8, draw="even sides")
    layouts = possible_layouts(found, draws=300)
    sown = [name for order in found.orders for name in order]
    assert not (layouts == sown).all(axis=1).any()
    pd.testing.assert_frame_equal(layouts, possible_layouts(found, draws=300))


def test_the_randomisation_test_takes_the_layouts():
    found = allocate(PAIR, 6, seed=8, draw="even sides")
    table = pd.DataFrame(
        {
            "strip": [f"S{n + 1}" for n in range(12)],
            "block": np.repeat([f"B{n + 1}" for n in range(6)], 2),
            "treatment": [name for order in found.orders for name in order],
        }
    )
    table["yield_t_ha"] = 3 + 0.4 * (table["treatment"] == "dressed") + 0.01 * table.index
    table = table.sample(frac=1, random_state=1)
    listed = possible_layouts(found)[table["strip"]]
    restricted = shuffle_test(table, "yield_t_ha", "treatment", "block", allocations=listed)
    assert restricted.exact
    assert restricted.draws == 20
    assert restricted.p == found.smallest_p == restricted.smallest_p == pytest.approx(0.1)
    free = shuffle_test(table, "yield_t_ha", "treatment", "block")
    assert free.p < restricted.p


def test_false_positives_of_the_restricted_test_stay_at_their_level():
    # Over all layouts that could be drawn, p <= 0.1 in at most a tenth, whatever the yields.
    found = allocate(PAIR, 6, seed=8, draw="even sides")
    layouts = possible_layouts(found)
    yields = np.random.default_rng(3).normal(size=12)
    table = pd.DataFrame({"y": yields, "block": np.repeat(np.arange(6), 2)})
    p = [
        shuffle_test(table.assign(t=row), "y", "t", "block", allocations=layouts).p
        for row in layouts.to_numpy()
    ]
    for level in (0.1, 0.2, 0.5):
        assert np.mean(np.array(p) <= level + 1e-12) <= level


@pytest.mark.parametrize(("arms", "blocks"), [(2, 5), (3, 4)])
def test_a_free_draw_has_the_smallest_p_of_the_models(arms, blocks):
    found = allocate([f"T{n}" for n in range(arms)], blocks, seed=1)
    assert found.possible == factorial(arms) ** blocks
    assert found.smallest_p == pytest.approx(smallest_p(blocks, treatments=arms))
    assert found.cost == ""


def test_systematic_layouts_say_what_they_cost():
    same = allocate(PAIR, 6, seed=1, draw="same order")
    about = allocate(PAIR, 6, seed=1, draw="turn about")
    assert set(same.orders) == {PAIR}
    assert about.orders[:3] == (PAIR, PAIR[::-1], PAIR)
    assert "the change goes into the gain" in same.cost
    assert "no randomisation test can be made" in about.cost
    assert (same.possible, same.smallest_p, len(possible_layouts(same))) == (1, 1.0, 1)


def test_a_steady_trend_goes_into_the_same_order_and_out_of_turn_about():
    def gain(found):
        names = np.array([name for order in found.orders for name in order])
        trend = np.arange(12.0)
        return trend[names == "dressed"].mean() - trend[names == "untreated"].mean()

    assert gain(allocate(PAIR, 6, seed=1, draw="same order")) == pytest.approx(1.0)
    assert gain(allocate(PAIR, 6, seed=1, draw="turn about")) == pytest.approx(0.0)


def test_a_record_survives_a_file():
    tramline = [[True, False]] * 4
    found = allocate(PAIR, 4, seed=7, draw="even sides", tramline=tramline)
    assert allocation_from_record(json.loads(json.dumps(found.record()))) == found


@pytest.mark.parametrize(
    "change",
    [{"seed": "x"}, {"draw": "dice"}, {"orders": [["dressed", "dressed"]] * 4}, {"orders": 4}],
)
def test_a_damaged_record(change):
    record = allocate(PAIR, 4, seed=7).record() | change
    with pytest.raises(LayoutError, match=r"damaged|seed is"):
        allocation_from_record(record)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"treatments": ["dressed"]}, "nothing to compare it with. Add strips of an untreated"),
        ({"treatments": []}, "There is no treatment"),
        ({"treatments": ["a", " a"]}, "'a' stands twice"),
        ({"treatments": ["a", ""]}, "Treatment 2 has no name"),
        ({"blocks": 0}, "0 is no number of blocks"),
        ({"blocks": 2.0}, "2.0 is no number of blocks"),
        ({"seed": 1.5}, "The seed is 1.5. Give a whole number"),
        ({"seed": True}, "The seed is True"),
        ({"seed": -1}, "The seed is -1"),
        ({"draw": "dice"}, "no draw 'dice'. Known: random, even sides"),
        ({"tramline": [[True, False]]}, "not given for 4 blocks of 2 strips"),
    ],
)
def test_wishes_that_make_no_sense(wrong, words):
    given = {"treatments": PAIR, "blocks": 4, "seed": 1} | wrong
    with pytest.raises(LayoutError, match=words):
        allocate(given.pop("treatments"), given.pop("blocks"), **given)


def test_wishes_that_no_draw_meets():
    # Of two pairs one must be turned round, and then one treatment has both tramlines.
    tramline = [[True, False], [False, True]]
    with pytest.raises(LayoutError, match="evens out the places in the blocks and the tramlines"):
        allocate(PAIR, 2, seed=1, draw="even sides", tramline=tramline)


def test_even_places_take_every_order_not_only_one_square():
    # Eight blocks of four are too many layouts to list: squares are drawn.
    orders = {
        order
        for seed in range(60)
        for order in allocate(list("ABCD"), 8, seed=seed, draw="even sides").orders
    }
    assert len(orders) == factorial(4)
