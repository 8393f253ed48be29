"""Strips in an order that carries nothing over."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.errors import SowingError
from trialkit.sowing import cautions_for, sowing_order


def field(treatments, **columns):
    n = len(treatments)
    return pd.DataFrame(
        {
            "strip": [f"S{at}" for at in range(1, n + 1)],
            "block": [f"B{at // 2 + 1}" for at in range(n)],
            "treatment": treatments,
        }
        | columns
    )


PAIRS = ["untreated", "dressed", "dressed", "untreated", "untreated", "dressed"]


def test_one_tank_sows_the_untreated_first_and_comes_back():
    order = sowing_order(field(PAIRS, area_ha=0.8), "untreated", seed_kg_ha=75)
    assert order.steps["strip"].tolist() == ["S1", "S4", "S5", "S6", "S3", "S2"]
    assert order.steps["order"].tolist() == [1, 2, 3, 4, 5, 6]
    assert order.steps["start_end"].tolist() == ["near", "far"] * 3
    assert order.steps["seed_kg"].tolist() == pytest.approx([60.0] * 6)
    assert [(c.after, c.leaves, c.comes) for c in order.clean_outs] == [
        (0, "", "untreated"),
        (3, "untreated", "dressed"),
        (6, "dressed", ""),
    ]
    assert order.warnings == ()
    assert any("differ by the hour too" in note for note in order.notes)
    assert "locked out" in order.clean_outs[1].tasks[0]
    brushed = [any("Brush" in task for task in change.tasks) for change in order.clean_outs]
    assert brushed == [True, False, True]
    assert any("never food, feed" in task for task in order.clean_outs[2].tasks)


def test_two_passes_a_strip_end_where_they_began():
    order = sowing_order(field(PAIRS), "untreated", passes_per_strip=2)
    assert set(order.steps["start_end"]) == {"near"}
    assert order.steps["area_ha"].isna().all()


def test_two_tanks_sow_side_by_side():
    order = sowing_order(field(PAIRS), "untreated", tanks=2)
    assert order.steps["strip"].tolist() == ["S1", "S2", "S3", "S4", "S5", "S6"]
    assert order.steps["tank"].tolist() == [1, 2, 2, 1, 1, 2]
    assert [(c.after, c.tank, c.leaves, c.comes) for c in order.clean_outs] == [
        (0, 1, "", "untreated"),
        (0, 2, "", "dressed"),
        (6, 1, "untreated", ""),
        (6, 2, "dressed", ""),
    ]
    assert "switched 3 times" in order.warnings[0]


def test_three_dressings_and_two_tanks_take_rounds():
    strips = field(["untreated", "a", "b", "c"] * 2)
    order = sowing_order(strips, "untreated", tanks=2, treatment_order=["b", "a", "c"])
    assert order.steps.groupby("round")["treatment"].agg(lambda t: sorted(set(t))).tolist() == [
        ["b", "untreated"], ["a"], ["c"],
    ]  # fmt: skip
    changes = [(c.tank, c.leaves, c.comes) for c in order.clean_outs if c.leaves and c.comes]
    assert changes == [(2, "b", "a"), (2, "a", "c")]


def test_places_across_the_field_give_the_order_and_headlands_are_left_out():
    strips = field(PAIRS, across_from_m=[50, 40, 30, 20, 10, 0])
    headland = pd.DataFrame(
        {"strip": ["H1"], "block": [""], "treatment": [""], "across_from_m": [None]}
    )
    laid_out = pd.concat([strips.assign(role="strip"), headland.assign(role="headland")])
    order = sowing_order(laid_out, "untreated")
    assert order.steps["strip"].tolist()[:3] == ["S5", "S4", "S1"]
    assert len(order.steps) == 6


def test_a_trial_without_a_comparison_is_told_so():
    alone = sowing_order(field(["untreated"] * 4), "untreated")
    assert "nothing to compare it with" in alone.warnings[0]
    gap = sowing_order(field(["untreated", "dressed", "dressed", "dressed"]), "untreated")
    assert "1 block has no 'untreated' strip: B2" in gap.warnings[0]
    spare = sowing_order(field(PAIRS), "untreated", tanks=3)
    assert "3 tanks for 2 treatments" in spare.warnings[0]


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.sampled_from(["untreated", "a", "b", "c"]), min_size=1, max_size=24),
    st.integers(1, 5),
)
def test_each_strip_once_and_nothing_dressed_before_an_untreated_in_its_tank(treatments, tanks):
    strips = field(["untreated", *treatments])
    order = sowing_order(strips, "untreated", tanks=tanks)
    steps = order.steps
    assert sorted(steps["strip"]) == sorted(strips["strip"])
    bare_tanks = set(steps.loc[steps["treatment"] == "untreated", "tank"])
    assert bare_tanks == {1}
    if tanks > 1:
        assert set(steps.loc[steps["tank"] == 1, "treatment"]) == {"untreated"}
    else:
        bare = steps["treatment"] == "untreated"
        assert bare.tolist() == sorted(bare.tolist(), reverse=True)
    # A clean-out stands between any two treatments that follow each other in a tank.
    for tank, sown in steps.groupby("tank"):
        changed = sown["treatment"] != sown["treatment"].shift()
        follow = list(sown.loc[changed, "treatment"])
        cleaned = [c.comes for c in order.clean_outs if c.tank == tank and c.comes]
        assert cleaned == follow


@pytest.mark.parametrize(
    ("strips", "change", "says"),
    [
        ([1, 2], {}, "Give the strips as a table"),
        (field(PAIRS).drop(columns="block"), {}, "no column block"),
        (field([]), {}, "There are no strips"),
        (field(PAIRS).assign(strip="S1"), {}, "strip 'S1' stands twice"),
        (field([*PAIRS, None]), {}, "Strip 7 of the table has no treatment"),
        (field(PAIRS, area_ha=[1, 1, -1, 1, 1, 1]), {}, "area of strip 'S3' is -1 ha"),
        (field(PAIRS), {"untreated": "untreted"}, "Did you mean 'untreated'"),
        (field(PAIRS), {"tanks": 0}, "number of tanks is 0"),
        (field(PAIRS), {"tanks": 1.5}, "number of tanks is 1.5. It must be a whole"),
        (field(PAIRS), {"passes_per_strip": "two"}, "passes in a strip is 'two'"),
        (field(PAIRS), {"treatment_order": ["untreated"]}, "Name each once, without 'untreated'"),
        (field(PAIRS), {"seed_kg_ha": 75_000}, "did you mean 75"),
    ],
)
def test_an_order_that_makes_no_sense(strips, change, says):
    with pytest.raises(SowingError, match=says):
        sowing_order(strips, **({"untreated": "untreated"} | change))


def test_cautions_stand_where_they_belong():
    shed = " ".join(caution.text for caution in cautions_for("shed"))
    for words in ("safety data sheet", "dust mask", "gloves", "eye protection", "Guards on augers",
                  "lock out", "Nobody climbs into a bin", "bridges over outlets", "electricity",
                  "never goes into food, feed", "drain, ditch or pond", "registered"):  # fmt: skip
        assert words in shed
    cab = [caution.topic for caution in cautions_for("cab")]
    assert {"Lock out", "Never into grain", "Damp seed bridges", "Never food or feed"} <= set(cab)
    assert "Dust" not in [caution.topic for caution in cautions_for("shed", powders=False)]
    with pytest.raises(SowingError, match="no page 'barn'"):
        cautions_for("barn")
