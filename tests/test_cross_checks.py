"""The randomisation test of the season respects how the treatments were drawn."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trialkit.answer import compare, fit_strips
from trialkit.cross_checks import by_shuffling, disagreements
from trialkit.design import allocate
from trialkit.errors import TrialkitWarning
from trialkit.language import speaking
from trialkit.trial import open_trial

ARMS = ["untreated", "dressed"]


@pytest.fixture
def config(trial_folder):
    return open_trial(trial_folder).config


def strips_of(drawn, seed=1):
    rng = np.random.default_rng(seed)
    rows = [
        (f"S{len(ARMS) * block + place + 1}", f"B{block + 1}", arm)
        for block, order in enumerate(drawn.orders)
        for place, arm in enumerate(order)
    ]
    table = pd.DataFrame(rows, columns=["strip", "block", "treatment"])
    grows = 3 + 0.3 * (table["treatment"] == "dressed") + rng.normal(0, 0.1, len(table))
    return table.assign(yield_t_ha=grows)


def difference(strips, labels):
    value = strips["yield_t_ha"].to_numpy()
    dressed = np.asarray(labels) == "dressed"
    return value[dressed].mean() - value[~dressed].mean()


def test_a_free_draw_flips_every_pair(config):
    drawn = allocate(ARMS, 6, seed=3)
    strips = strips_of(drawn)
    (with_draw,), (without,) = (list(by_shuffling(strips, config, d)) for d in (drawn, None))
    assert with_draw == without
    assert "no p below 0.031" in with_draw.note


def test_a_restricted_draw_is_compared_with_the_layouts_it_could_give(config):
    # Every layout with the dressed strip on the left in three of six pairs, by hand.
    drawn = allocate(ARMS, 6, seed=3, draw="even sides")
    strips = strips_of(drawn)
    possible = []
    for left in itertools.combinations(range(6), 3):
        orders = [ARMS[::-1] if block in left else ARMS for block in range(6)]
        possible.append([arm for order in orders for arm in order])
    found = difference(strips, strips["treatment"])
    extreme = [abs(difference(strips, labels)) >= abs(found) - 1e-12 for labels in possible]
    (check,) = by_shuffling(strips, config, drawn)
    assert check.p_value == pytest.approx(np.mean(extreme))
    assert "as the design restricted them (even sides)" in check.note
    assert "no p below 0.1" in check.note


def test_a_lost_strip_leaves_the_rest_of_the_layouts(config):
    drawn = allocate(ARMS, 6, seed=3, draw="even sides")
    strips = strips_of(drawn)
    strips.loc[2, "yield_t_ha"] = np.nan
    with pytest.warns(TrialkitWarning, match="No yield from strip S3"):
        (check,) = by_shuffling(strips, config, drawn)
    assert 0 < check.p_value <= 1


@pytest.mark.parametrize("draw", ["same order", "turn about"])
def test_what_was_not_drawn_has_no_randomisation_test(config, draw):
    drawn = allocate(ARMS, 6, seed=3, draw=draw)
    with pytest.warns(TrialkitWarning, match=f"not drawn but laid out in a fixed order .{draw}"):
        assert list(by_shuffling(strips_of(drawn), config, drawn)) == []


def test_strips_not_sown_as_drawn_count_as_drawn_freely(config):
    drawn = allocate(ARMS, 6, seed=3, draw="even sides")
    strips = strips_of(drawn)
    strips.loc[[0, 1], "treatment"] = strips.loc[[1, 0], "treatment"].to_numpy()
    with pytest.warns(TrialkitWarning, match="not sown as they were drawn"):
        (check,) = by_shuffling(strips, config, drawn)
    assert "no p below 0.031" in check.note


# Sown otherwise than planned ----------------------------------------------------------------------


def swapped_pair(strips, first, second):
    sown = strips.copy()
    other = {"untreated": "dressed", "dressed": "untreated"}
    sown.loc[[first, second], "treatment"] = sown.loc[[first, second], "treatment"].map(other)
    return sown


def plan_of(strips):
    return dict(zip(strips["strip"], strips["treatment"], strict=True))


@pytest.mark.parametrize("draw", ["random", "even sides"])
def test_a_plan_that_was_not_kept_is_what_is_drawn_again(config, draw):
    drawn = allocate(ARMS, 10, seed=3, draw=draw)
    planned = strips_of(drawn)
    (as_drawn,) = by_shuffling(planned, config, drawn)
    sown = swapped_pair(planned, 4, 5)
    (check,) = by_shuffling(sown, config, drawn, plan_of(planned))
    assert check.p_value == as_drawn.p_value
    assert check.gain_t_ha == pytest.approx(as_drawn.gain_t_ha / 0.8)  # one of ten pairs
    assert "2 of 20 strips were not sown as drawn, and only the draw was random" in check.note
    assert ("even sides" in check.note) == (draw == "even sides")


def test_a_strip_lost_leaves_the_draws_of_the_others(config):
    drawn = allocate(ARMS, 8, seed=3)
    planned = strips_of(drawn)
    left = planned.drop(index=[4]).reset_index(drop=True)
    (check,) = by_shuffling(left, config, drawn, plan_of(planned))
    # Seven pairs are left; the eighth strip stands alone. By hand: 2 / 2^7.
    assert "no p below 0.016" in check.note
    assert "sown as drawn" not in check.note


def test_half_the_pairs_sown_the_other_way_leave_no_test(config):
    drawn = allocate(ARMS, 4, seed=3)
    planned = strips_of(drawn)
    sown = swapped_pair(swapped_pair(planned, 0, 1), 2, 3)
    with pytest.warns(TrialkitWarning, match="nothing to do with what was drawn"):
        assert list(by_shuffling(sown, config, drawn, plan_of(planned))) == []


def test_a_sample_of_draws_is_never_called_every_draw(config):
    # 18 pairs with even sides are too many to list; of those left, a draw may match the plan.
    drawn = allocate(ARMS, 18, seed=3, draw="even sides")
    planned = strips_of(drawn)
    left = planned.iloc[:8].reset_index(drop=True)
    (check,) = by_shuffling(left, config, drawn, plan_of(planned))
    assert "random draws" in check.note
    assert "every possible" not in check.note


def test_a_check_says_how_in_another_language_and_keeps_its_name(config, german):
    words = {
        "By every possible draw within blocks, as the design restricted them ({draw}).": (
            "Alle Auslosungen ({draw})."
        ),
        "even sides": "Seiten ausgeglichen",
        "The layout allows no p below {p:.2g}, so it gives no {confidence:.0%} interval.": (
            "p ab {p:.2g}, kein Bereich von {confidence:.0%}."
        ),
        "The methods disagree on '{treatment}': {method} gives {gain:+.2f} t/ha, outside the main "
        "analysis's {low:+.2f} to {high:+.2f} t/ha. Find out why before you act on either.": (
            "{treatment}, {method}: {gain:+.2f}, nicht {low:+.2f} bis {high:+.2f}."
        ),
        "randomisation test of strip means": "Randomisierungstest",
    }
    drawn = allocate(ARMS, 6, seed=3, draw="even sides")
    (english,) = by_shuffling(strips_of(drawn), config, drawn)
    with speaking(german(words)):
        (check,) = by_shuffling(strips_of(drawn), config, drawn)
        (main,) = compare(fit_strips(strips_of(drawn), config), config)
        far = replace(main, low_t_ha=-1.5, high_t_ha=-1.25)
        (note,) = disagreements((far,), (replace(check, low_t_ha=0.0),))
    assert check.note == (
        "Alle Auslosungen (Seiten ausgeglichen). p ab 0,1, kein Bereich von 95\u00a0%."
    )
    assert replace(check, note="") == replace(english, note="")
    gain = f"{check.gain_t_ha:+.2f}".replace(".", ",")
    assert note == f"dressed, Randomisierungstest: {gain}, nicht -1,50 bis -1,25."
