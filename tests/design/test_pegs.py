"""Pegs against the ellipsoid: pyproj's geodesics (Karney, GeographicLib) are the outside truth."""

from __future__ import annotations

import itertools
import math

import geopandas as gpd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod
from shapely.geometry import box

from trialkit.design import Tramlines, Wishes, plan_trial
from trialkit.design.pegs import compass_words, peg_out
from trialkit.errors import LayoutError
from trialkit.position import local_grid

EARTH = Geod(ellps="WGS84")

#: Share of a distance a peg may be off: 1 cm in 100 m, and the layout's own rounding, about 1 mm.
SHARE, ROUNDING_M = 1e-4, 0.003
#: Share of an area that a strip may be off.
AREA = 1e-3
#: Far-apart places on the earth: either hemisphere, across a zone border, high latitude.
PLACES = [(85.0, -38.5), (-101.3, 52.7), (6.0, 49.9), (25.0, 68.0), (178.4, -17.9)]


@pytest.fixture(params=["rectangle", "ell", "twelve_sides"])
def field(request):
    return request.getfixturevalue(request.param)


def plan_of(field, blocks=6, treatments=("untreated", "dressed"), **wishes):
    wanted = Wishes(12, 9, **wishes)
    return plan_trial(field, list(treatments), blocks, wanted, seed=1, control=treatments[0])


def geodesic_m(one, other):
    return EARTH.inv(one["longitude"], one["latitude"], other["longitude"], other["latitude"])[2]


def test_each_peg_is_as_far_from_the_first_as_it_says(field):
    plan = plan_of(field)
    pegs = peg_out(plan.layout, plan.heading_deg).pegs.to_dict("records")
    for peg in pegs[1:]:
        said = math.hypot(peg["across_m"], peg["along_m"])
        assert geodesic_m(pegs[0], peg) == pytest.approx(said, rel=SHARE, abs=ROUNDING_M)


@pytest.mark.parametrize("place", PLACES)
def test_distances_hold_anywhere_on_earth(draw_field, place):
    field = draw_field([(-450, -300), (450, -300), (450, 300), (-450, 300)], (), *place)
    plan = plan_of(field, heading_deg=25)
    pegged = peg_out(plan.layout, plan.heading_deg)
    pegs = pegged.pegs.to_dict("records")
    for before, after in itertools.pairwise(pegs):
        across, along = (after[name] - before[name] for name in ("across_m", "along_m"))
        assert geodesic_m(before, after) == pytest.approx(
            math.hypot(across, along), rel=SHARE, abs=ROUNDING_M
        )
    # The line of pegs runs at right angles to the passes: azimuth 25 + 90 degrees.
    first, last = pegs[0], pegs[-1]
    azimuth = EARTH.inv(first["longitude"], first["latitude"], last["longitude"], last["latitude"])
    off = math.degrees(math.atan2(last["along_m"], last["across_m"]))
    # The grid bends from true north by the distance from the field's middle: 0.05 degrees.
    assert (azimuth[0] + off) % 360 == pytest.approx(115, abs=0.05)


def test_each_strip_is_as_large_as_on_the_ellipsoid(field):
    plan = plan_of(field)
    table = peg_out(plan.layout, plan.heading_deg).strips.set_index("strip")
    strips = plan.layout[plan.layout["role"] == "strip"]
    for strip, shape in zip(strips["strip"], strips.geometry, strict=True):
        area_m2, _ = EARTH.geometry_area_perimeter(shape)
        assert table.loc[strip, "area_ha"] * 10_000 == pytest.approx(abs(area_m2), rel=AREA)


def test_strips_are_those_of_the_layout_whatever_the_order_of_its_rows(field):
    plan = plan_of(field, 8)
    shuffled = plan.layout.sample(frac=1, random_state=3)
    for pegged in (peg_out(plan.layout, plan.heading_deg), peg_out(shuffled)):
        found = pegged.strips[["strip", "block", "treatment"]].to_numpy().tolist()
        assert found == plan.strips[["strip", "block", "treatment"]].to_numpy().tolist()
        assert pegged.strips["length_m"].to_numpy() == pytest.approx(
            (plan.strips["along_to_m"] - plan.strips["along_from_m"]).to_numpy(), abs=0.05
        )


def test_a_trial_far_from_the_middle_of_its_field_is_as_wide_as_it_is(draw_field):
    # On the field's grid and on the strips' own, north differs: at 68° N by 0.03 degrees here.
    field = draw_field([(-1500, -800), (1500, -800), (1500, -300), (-1500, 900)], (), 25.0, 68.0)
    plan = plan_of(field, 3, heading_deg=0)
    pegged = peg_out(plan.layout, plan.heading_deg)
    wide = pegged.strips["to_m"] - pegged.strips["from_m"]
    assert wide.tolist() == pytest.approx([12] * 6, abs=ROUNDING_M)


def test_blocks_one_behind_the_other_are_counted_block_by_block():
    # Two blocks along the same passes: S1 and S2 near, S3 and S4 beyond a track.
    grid = "+proj=tmerc +lat_0=-36 +lon_0=0 +k=1 +datum=WGS84 +units=m"
    shapes = [box(x, y, x + 12, y + 200) for y in (0, 230) for x in (0, 12)]
    layout = gpd.GeoDataFrame(
        {
            "strip": ["S1", "S2", "S3", "S4"],
            "block": ["B1", "B1", "B2", "B2"],
            "treatment": ["u", "d", "d", "u"],
            "role": "strip",
        },
        geometry=shapes,
        crs=grid,
    ).to_crs(4326)
    pegged = peg_out(layout.iloc[[3, 0, 2, 1]])
    assert pegged.strips["strip"].tolist() == ["S1", "S2", "S3", "S4"]
    assert not pegged.level
    assert pegged.strips["start_m"].tolist() == pytest.approx([0, 0, 230, 230], abs=ROUNDING_M)
    assert len(pegged.pegs) == 6


def test_every_edge_has_its_peg_and_neighbours_share_one(field):
    plan = plan_of(field, 7)
    pegged = peg_out(plan.layout, plan.heading_deg)
    pegs = pegged.pegs
    for row in pegged.strips.itertuples():
        left = pegs[pegs["right_strip"] == row.strip].iloc[0]
        right = pegs[pegs["left_strip"] == row.strip].iloc[0]
        for peg, at in ((left, row.from_m), (right, row.to_m)):
            assert peg["across_m"] == pytest.approx(at, abs=0.1)
            assert peg["along_m"] == pytest.approx(row.start_m, abs=0.1)
    assert pegs["peg"].tolist() == list(range(1, len(pegs) + 1))
    assert pegs[["across_m", "along_m"]].iloc[0].tolist() == [0, 0]


def test_the_fence_is_where_the_rectangle_ends(rectangle):
    plan = plan_of(rectangle, heading_deg=0, headland_m=30)
    pegged = peg_out(plan.layout, plan.heading_deg, boundary=rectangle)
    back, left = pegged.to_fence_m
    assert pegged.corner == "south-west"
    corner = pegged.pegs.iloc[0]
    # The rectangle was drawn from its south-west corner, 85° E 38.5° S.
    assert back == pytest.approx(30, abs=0.05)
    assert EARTH.inv(85.0, corner["latitude"], corner["longitude"], corner["latitude"])[
        2
    ] == pytest.approx(left, abs=0.2)
    assert peg_out(plan.layout, plan.heading_deg).to_fence_m is None


def test_a_corner_outside_the_field_is_measured_from_nothing(rectangle, draw_field):
    plan = plan_of(rectangle)
    elsewhere = draw_field([(5000, 0), (5600, 0), (5600, 400), (5000, 400)])
    assert peg_out(plan.layout, boundary=elsewhere).to_fence_m is None


@pytest.mark.parametrize(
    ("heading", "corner"),
    [(0, "south-west"), (44, "west"), (90, "north-west"), (134, "north"), (-44, "south")],
)
def test_the_corner_has_the_name_a_compass_gives_it(heading, corner, draw_field):
    field = draw_field([(-400, -400), (400, -400), (400, 400), (-400, 400)])
    plan = plan_of(field, heading_deg=heading)
    pegged = peg_out(plan.layout, plan.heading_deg)
    assert pegged.corner == corner
    # And it lies on that side of all strips.
    strips = plan.layout[plan.layout["role"] == "strip"].to_crs(local_grid(plan.layout))
    west, south, east, north = strips.total_bounds
    first = pegged.pegs.iloc[:1]
    point = gpd.GeoSeries.from_xy(first["longitude"], first["latitude"], crs=4326)
    place = point.to_crs(local_grid(plan.layout)).iloc[0]
    reach = {"north": place.y - south, "south": north - place.y}
    reach |= {"east": place.x - west, "west": east - place.x}
    size = {
        "north": north - south,
        "south": north - south,
        "east": east - west,
        "west": east - west,
    }
    for side in corner.split("-"):
        assert reach[side] > 0.9 * size[side]


@pytest.mark.parametrize(
    ("degrees", "words"), [(0, "north"), (359, "north"), (-90, "west"), (135, "south-east")]
)
def test_directions_in_words(degrees, words):
    assert compass_words(degrees) == words


def test_tramline_layouts_leave_gaps_with_pegs_on_both_sides(twelve_sides):
    plan = plan_of(twelve_sides, 4, ("a", "b", "c"), tramlines=Tramlines(36))
    pegged = peg_out(plan.layout, plan.heading_deg)
    table = pegged.strips
    gaps = (table["from_m"].to_numpy()[1:] - table["to_m"].to_numpy()[:-1]) > 1
    assert gaps.any()
    lone = (pegged.pegs["left_strip"] == "") | (pegged.pegs["right_strip"] == "")
    assert lone.sum() >= 2 * gaps.sum() + 2


def test_no_strips_no_pegs(rectangle):
    layout = plan_of(rectangle).layout
    with pytest.raises(LayoutError, match="no strips in the layout"):
        peg_out(layout[layout["role"] != "strip"])


@settings(max_examples=25, deadline=None)
@given(
    heading=st.floats(-45, 134.9),
    latitude=st.floats(-70, 70),
    longitude=st.floats(-179.9, 179.9),
    number=st.integers(2, 12),
    width=st.floats(3, 40),
)
def test_any_rectangles_are_measured_as_they_were_drawn(
    heading, latitude, longitude, number, width
):
    from shapely import affinity

    grid = f"+proj=tmerc +lat_0={latitude} +lon_0={longitude} +k=1 +datum=WGS84 +units=m"
    shapes = [
        affinity.rotate(box(n * width, 0, (n + 1) * width, 300 + width), -heading, origin=(0, 0))
        for n in range(number)
    ]
    layout = gpd.GeoDataFrame(
        {
            "strip": [f"S{n + 1}" for n in range(number)],
            "block": "B1",
            "treatment": ["u", "d"] * (number // 2) + ["u"] * (number % 2),
            "role": "strip",
        },
        geometry=shapes,
        crs=grid,
    ).to_crs(4326)
    pegged = peg_out(layout, heading)
    assert pegged.strips["strip"].tolist() == layout["strip"].tolist()
    assert pegged.pegs["across_m"].tolist() == pytest.approx(
        [n * width for n in range(number + 1)], rel=SHARE, abs=ROUNDING_M
    )
    assert pegged.level
