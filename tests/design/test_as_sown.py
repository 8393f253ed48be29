"""The plan with its mistakes, losses and shifts: what counts, what is left out, what is said."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from trialkit.design.as_sown import LOST, Change, LostGround, as_sown, told
from trialkit.design.strip_parts import moved_across, part_along
from trialkit.errors import LayoutError

#: A metre grid, so that areas can be told by hand: UTM zone 45 south.
GRID = "EPSG:32745"
#: Metres about a corner in that grid; ground goes to degrees and back, and the metre grid of a
#: field differs from UTM by its scale of 0.9996, squared.
EAST, NORTH = 500_000.0, 5_700_000.0
AREA = 1.5e-3


def rectangle(x, y, wide, long):
    return box(EAST + x, NORTH + y, EAST + x + wide, NORTH + y + long)


def degrees(shape):
    return gpd.GeoSeries([shape], crs=GRID).to_crs("EPSG:4326").iloc[0]


@pytest.fixture(scope="module")
def plan():
    """Six strips of 24 by 300 m in three blocks, and a headland; WGS 84."""
    rows = [
        {
            "strip": f"S{n + 1}",
            "block": f"B{n // 2 + 1}",
            "treatment": ["untreated", "dressed"][n % 2],
            "role": "strip",
            "geometry": rectangle(24 * n, 0, 24, 300),
        }
        for n in range(6)
    ]
    headland = {"strip": "H1", "block": "", "treatment": "", "role": "headland"}
    rows.append({**headland, "geometry": rectangle(0, 300, 144, 24)})
    return gpd.GeoDataFrame(rows, crs=GRID).to_crs("EPSG:4326")


def strips_of(sown):
    return sown.layout[sown.layout["role"] == "strip"].set_index("strip")


def area_m2(layout):
    return layout.geometry.to_crs(GRID).area


def test_nothing_said_leaves_every_corner_of_the_plan(plan):
    sown = as_sown(plan)
    assert sown.differences == ()
    columns = ["strip", "block", "treatment", "role", "geometry"]
    assert sown.layout[columns].equals(plan[columns])


def test_two_strips_swapped(plan):
    sown = as_sown(plan, [Change("S3", "dressed", note="bins"), Change("S4", "untreated")])
    assert strips_of(sown).loc[["S3", "S4"], "treatment"].tolist() == ["dressed", "untreated"]
    assert strips_of(sown).loc[["S3", "S4"], "planned"].tolist() == ["untreated", "dressed"]
    assert [one.sentence() for one in sown.differences] == [
        "S3 got dressed instead of untreated (bins).",
        "S4 got untreated instead of dressed.",
    ]
    untouched = plan.set_index("strip").geometry.drop("H1")
    assert strips_of(sown).geometry.geom_equals(untouched).all()


def test_a_strip_that_got_what_was_planned_is_no_difference(plan):
    assert as_sown(plan, [Change("S1", "untreated")]).differences == ()


def test_a_lost_strip_is_kept_as_lost_ground(plan):
    sown = as_sown(plan, lost=[LostGround(strip="S2", why="bog")])
    assert "S2" not in strips_of(sown).index
    (gone,) = sown.layout[sown.layout["role"] == LOST].itertuples()
    assert (gone.strip, gone.treatment, gone.planned) == ("S2", "", "dressed")
    (one,) = sown.differences
    assert one.left_out
    assert one.lost_pct == pytest.approx(100)
    assert one.sentence() == "S2 is left out (bog)."


def test_a_lost_part_leaves_the_rest(plan):
    bog = degrees(rectangle(0, 180, 48, 400))  # the north of S1 and S2, and beyond
    sown = as_sown(plan, lost=[LostGround(bog, why="drowned")])
    left = area_m2(strips_of(sown))
    assert left[["S1", "S2"]].to_numpy() == pytest.approx(24 * 180, rel=AREA)
    assert left.drop(["S1", "S2"]).to_numpy() == pytest.approx(24 * 300, rel=AREA)
    assert [one.what for one in sown.differences] == ["part left out"] * 2
    assert sown.differences[0].lost_m2 == pytest.approx(24 * 120, rel=AREA)
    assert sown.differences[0].lost_pct == pytest.approx(40, rel=AREA)


def test_a_short_rest_goes_with_the_part_lost(plan):
    bog = degrees(rectangle(0, 60, 24, 240))  # four fifths of S1
    assert as_sown(plan, lost=[LostGround(bog)]).differences[0].left_out


def test_lost_ground_of_one_strip_takes_nothing_from_its_neighbours(plan):
    bog = degrees(rectangle(0, 0, 48, 100))
    sown = as_sown(plan, lost=[LostGround(bog, "S2")])
    assert [one.strip for one in sown.differences] == ["S2"]


def test_a_slip_of_the_pen_is_no_loss(plan):
    sliver = degrees(rectangle(23.99, 0, 48, 1))
    assert as_sown(plan, lost=[LostGround(sliver, "S1")]).differences == ()


def test_a_strip_drawn_anew_lies_where_it_was_drawn(plan):
    there = degrees(rectangle(0, 50, 24, 200))
    sown = as_sown(plan, [Change("S1", ground=there, note="short")])
    assert strips_of(sown).loc["S1", "geometry"].equals(there)
    assert sown.differences[0].what == "lies elsewhere"
    assert sown.differences[0].sentence() == "S1 does not lie where planned (short)."


@pytest.mark.parametrize(
    ("changes", "lost", "message"),
    [
        ([Change("S9", "dressed")], [], "no strip 'S9'. It has S1, S2"),
        ([Change("S1", "dressed"), Change("S1", "untreated")], [], "S1 is changed twice"),
        ([], [LostGround(strip="S77")], "no strip 'S77'"),
    ],
)
def test_what_cannot_be_is_refused(plan, changes, lost, message):
    with pytest.raises(LayoutError, match=message):
        as_sown(plan, changes, lost)


def test_the_whole_is_told_first_and_what_it_means_last(plan):
    sown = as_sown(
        plan,
        [Change("S1", "dressed")],
        [LostGround(strip="S2", why="bog"), LostGround(degrees(rectangle(48, 0, 24, 60)))],
    )
    first, *each, chance, fair = told(sown.differences, 6)
    assert first.startswith("3 of 6 strips were not sown or kept as planned (1 got another")
    assert [words.split()[0] for words in each] == ["S1", "S2", "S3"]
    assert "What 1 of 6 strips got was not drawn for them" in chance
    assert "would have been lost with any treatment" in fair
    assert told((), 6) == ()


def test_a_lot_moved_as_one_is_told_in_one_sentence(plan):
    strips = plan[plan["role"] == "strip"].to_crs(GRID)
    moved = [
        Change(name, ground=degrees(moved_across(strip, 24, 90)), note="sown 24 m to the east")
        for name, strip in zip(strips["strip"], strips.geometry, strict=True)
    ]
    sentences = told(as_sown(plan, moved).differences, 6)
    assert sentences[1:] == ("S1, S2, S3, S4, S5, S6: sown 24 m to the east.",)


# Whatever is said, strips do not overlap and lie within what was drawn ---------------------------

treatments = st.sampled_from([None, "untreated", "dressed"])
rectangles = st.builds(
    rectangle,
    st.floats(-50, 150),
    st.floats(-50, 300),
    st.floats(0.5, 80),
    st.floats(0.5, 250),
)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(treatments, min_size=6, max_size=6),
    st.lists(st.tuples(rectangles, st.sampled_from([None, "S1", "S4"])), max_size=4),
    st.sets(st.sampled_from(["S2", "S3", "S5"])),
)
def test_sown_strips_never_overlap_and_lie_within_what_was_drawn(plan, got, bogs, gone):
    changes = [Change(f"S{n + 1}", treatment) for n, treatment in enumerate(got)]
    lost = [LostGround(degrees(bog), strip) for bog, strip in bogs]
    sown = as_sown(plan, changes, [*lost, *(LostGround(strip=name) for name in gone)])
    own = strips_of(sown).geometry.to_crs(GRID)
    assert not gone & set(own.index)
    planned = plan.set_index("strip").geometry.to_crs(GRID)
    slip_m2 = 0.5  # corners of ground that is cut are rounded to a millimetre, of 300 m
    for name, strip in own.items():
        assert strip.is_valid
        assert strip.difference(planned[name]).area < slip_m2
    left, right = own.sindex.query(own.to_numpy(), predicate="intersects")
    for one, other in zip(left, right, strict=True):
        if one < other:
            assert own.iloc[one].intersection(own.iloc[other]).area < slip_m2
    # Nothing gets lost unsaid: what counts and what was lost make up the plan.
    both = sown.layout[sown.layout["role"].isin(["strip", LOST])]
    assert area_m2(both).sum() == pytest.approx(planned.drop("H1").area.sum(), rel=1e-4)
    by_strip = {one.strip: one for one in sown.differences}
    for number, treatment in enumerate(got):
        name = f"S{number + 1}"
        if name in own.index:
            asked = treatment or plan.set_index("strip").loc[name, "treatment"]
            assert strips_of(sown).loc[name, "treatment"] == asked
        else:
            assert by_strip[name].left_out


# Parts of strips ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("toward", "wanted"),
    [(0, (180, 300)), (180, (0, 120)), (30, (180, 300)), (225, (0, 120))],
)
def test_a_part_is_measured_from_the_end_named(toward, wanted):
    strip = rectangle(0, 0, 24, 300)
    part = strip.intersection(part_along(strip, toward, 0, 120))
    assert part.area == pytest.approx(24 * 120)
    assert (part.bounds[1] - NORTH, part.bounds[3] - NORTH) == pytest.approx(wanted)


@pytest.mark.parametrize("turn", [10, 23, 60, 100, 140])
def test_a_part_of_a_turned_strip_has_its_share_of_the_ground(turn):
    strip = shapely.affinity.rotate(box(0, 0, 24, 300), -turn)
    ground = part_along(strip, turn, 50, 200)
    assert strip.intersection(ground).area == pytest.approx(24 * 150)
    rest = strip.difference(ground)
    assert sorted(piece.area for piece in rest.geoms) == pytest.approx([24 * 50, 24 * 100])


def test_no_distance_to_is_up_to_the_far_end():
    strip = rectangle(0, 0, 24, 300)
    assert strip.intersection(part_along(strip, 0, 100)).area == pytest.approx(24 * 200)


@pytest.mark.parametrize(
    ("toward", "part", "message"),
    [
        (90, (0, 100), "runs north and south, so that names neither end"),
        (0, (0, 350), "It is 300 m long, not 350 m"),
        (0, (301, None), "no part of it|long"),
        (0, (200, 100), "the first must be less"),
    ],
)
def test_a_part_that_is_none_is_refused(toward, part, message):
    with pytest.raises(LayoutError, match=message):
        part_along(rectangle(0, 0, 24, 300), toward, *part)


@pytest.mark.parametrize("toward", [90, 60, 135])
def test_a_strip_is_moved_square_to_its_length(toward):
    moved = moved_across(rectangle(0, 0, 24, 300), 24, toward)
    assert np.array(moved.bounds) == pytest.approx(np.array(rectangle(24, 0, 24, 300).bounds))


def test_a_strip_is_not_moved_along_itself():
    with pytest.raises(LayoutError, match="names neither side"):
        moved_across(rectangle(0, 0, 24, 300), 24, 0)
