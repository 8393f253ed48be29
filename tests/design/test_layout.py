"""Strips in a rectangle, an L with a dam and a paddock with twelve sides."""

from __future__ import annotations

import math
import time

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import Point, box

from trialkit.design import Tramlines, Wishes, lay_out, plan_trial, possible_layouts
from trialkit.errors import LayoutError

PAIR = ("untreated", "dressed")
MACHINES = {"seeder_m": 12, "harvester_m": 9}

#: Coordinates are rounded to about a millimetre.
ROUNDED_M = 0.003


def strips_of(layout):
    """Strips in metres, on a grid true in all directions from the middle of the layout."""
    strips = layout[layout["role"] == "strip"]
    west, south, east, north = layout.total_bounds
    grid = f"+proj=aeqd +lat_0={(south + north) / 2} +lon_0={(west + east) / 2} +datum=WGS84"
    return strips.to_crs(grid).reset_index(drop=True)


def sides(polygon):
    """Width and length of a rectangle, m."""
    corners = shapely.get_coordinates(polygon)
    length = np.hypot(*np.diff(corners, axis=0).T)
    return length.min(), length.max()


def test_a_rectangle(rectangle):
    layout = lay_out(rectangle, PAIR, 6, seed=4, **MACHINES)
    assert layout.columns.tolist() == ["strip", "block", "treatment", "role", "geometry"]
    assert layout.crs.to_epsg() == 4326
    strips = strips_of(layout)
    assert strips["strip"].tolist() == [f"S{n + 1}" for n in range(12)]
    assert strips["block"].tolist() == [f"B{n // 2 + 1}" for n in range(12)]
    # Headlands of two seeder widths at both ends: 620 - 48 m long.
    for polygon in strips.geometry:
        assert sides(polygon) == pytest.approx((12, 572), abs=0.03)
    headland = layout[layout["role"] == "headland"]
    assert headland["strip"].tolist() == ["H1"]
    ring = headland.to_crs(strips.crs).area.sum()
    assert ring == pytest.approx(620 * 410 - 572 * 362, rel=1e-4)


def test_neighbours_share_their_edge(rectangle):
    strips = strips_of(lay_out(rectangle, PAIR, 6, seed=4, **MACHINES))
    together = shapely.union_all(strips.geometry.buffer(ROUNDED_M).to_numpy())
    assert together.geom_type == "Polygon"
    assert together.area == pytest.approx(strips.area.sum(), rel=1e-3)


def test_an_ell_with_a_dam(ell):
    layout = lay_out(ell, [*PAIR, "water only"], 4, seed=4, seeder_m=9, harvester_m=7)
    strips = strips_of(layout)
    assert len(strips) == 12
    field = ell.to_crs(strips.crs).geometry[0]
    dam = shapely.Polygon(field.interiors[0])
    assert strips.distance(dam).min() >= 9 - ROUNDED_M
    assert all(group["treatment"].nunique() == 3 for _, group in strips.groupby("block"))
    lengths = strips.geometry.map(lambda polygon: sides(polygon)[1])
    assert lengths.groupby(strips["block"]).agg(np.ptp).max() < ROUNDED_M
    assert lengths.min() > 250


def test_blocks_before_and_behind_a_dam(draw_field):
    # Room for three pairs side by side, and the dam stands in the way of all of them.
    narrow = draw_field(
        [(0, 0), (700, 0), (700, 100), (0, 100)], [[(330, 30), (370, 30), (370, 70), (330, 70)]]
    )
    wishes = {"seed": 1, "seeder_m": 12, "harvester_m": 9, "headland_m": 12}
    strips = strips_of(lay_out(narrow, PAIR, 6, **wishes))
    assert len(strips) == 12
    dam = shapely.Polygon(narrow.to_crs(strips.crs).geometry[0].interiors[0])
    assert strips.distance(dam).min() >= 12 - ROUNDED_M
    before = strips.geometry.centroid.x < dam.centroid.x
    assert before.sum() == 6


def test_twelve_sides_follow_the_longest(twelve_sides):
    plan = plan_trial(twelve_sides, PAIR, 8, Wishes(**MACHINES), seed=4)
    corners = shapely.get_coordinates(twelve_sides.to_crs(plan.crs).geometry[0])
    steps = np.diff(corners, axis=0)
    east, north = steps[np.hypot(*steps.T).argmax()]
    turn = math.degrees(math.atan2(east, north)) - plan.heading_deg
    assert (turn + 90) % 180 - 90 == pytest.approx(0, abs=0.01)
    lengths = strips_of(plan.layout).geometry.map(lambda polygon: sides(polygon)[1])
    assert lengths.min() > 800


def test_the_heading_given_is_the_heading_driven(twelve_sides):
    for heading in (0, 37.5, 90, 142, 359, -10):
        plan = plan_trial(twelve_sides, PAIR, 5, Wishes(**MACHINES, heading_deg=heading), seed=4)
        strip = plan.layout.geometry[0]
        grid = plan.layout.iloc[[0]].to_crs(plan.crs).geometry[0]
        corners = shapely.get_coordinates(grid)
        steps = np.diff(corners, axis=0)
        east, north = steps[np.hypot(*steps.T).argmax()]
        turn = math.degrees(math.atan2(east, north)) - heading
        assert (turn + 90) % 180 - 90 == pytest.approx(0, abs=0.001)
        assert strip.is_valid


def test_a_side_drawn_with_many_corners_is_still_the_longest(draw_field):
    edge = [(x, 0.3 * (x // 20 % 2)) for x in range(0, 501, 20)]
    boundary = draw_field([*edge, (500, 400), (0, 400)])
    plan = plan_trial(boundary, PAIR, 4, Wishes(**MACHINES), seed=1)
    assert plan.heading_deg == pytest.approx(90, abs=0.3)


def test_a_ring_that_starts_in_the_middle_of_its_longest_side(draw_field):
    boundary = draw_field([(300, 0), (600, 0), (600, 400), (0, 400), (0, 0)])
    plan = plan_trial(boundary, PAIR, 4, Wishes(**MACHINES), seed=1)
    assert plan.heading_deg == pytest.approx(90, abs=0.1)


def test_same_seed_same_layout_and_none_is_recorded(rectangle):
    first = lay_out(rectangle, PAIR, 6, seed=11, **MACHINES)
    assert first.equals(lay_out(rectangle, PAIR, 6, seed=11, **MACHINES))
    fresh = lay_out(rectangle, PAIR, 6, **MACHINES)
    seed = fresh.attrs["design"]["allocation"]["seed"]
    assert fresh.equals(lay_out(rectangle, PAIR, 6, seed=seed, **MACHINES))
    orders = {
        tuple(lay_out(rectangle, PAIR, 6, seed=seed, **MACHINES)["treatment"]) for seed in range(8)
    }
    assert len(orders) > 4


def test_boundaries_in_any_form(rectangle):
    polygon = rectangle.geometry[0]
    expected = lay_out(rectangle, PAIR, 4, seed=1, **MACHINES)
    forms = [
        rectangle.geometry,
        polygon,
        polygon.__geo_interface__,
        rectangle.__geo_interface__,
        shapely.force_3d(polygon),
        shapely.LineString(polygon.exterior.coords),
    ]
    for form in forms:
        assert lay_out(form, PAIR, 4, seed=1, **MACHINES).equals(expected)
    on_utm = lay_out(rectangle.to_crs("EPSG:32745"), PAIR, 4, seed=1, **MACHINES)
    apart = strips_of(on_utm).geometry.hausdorff_distance(strips_of(expected).geometry)
    assert apart.max() < 0.01


def test_a_strip_holds_a_cut_inside_its_margins(rectangle):
    # Equal widths: a second pass makes room for the margin.
    plan = plan_trial(rectangle, PAIR, 4, Wishes(seeder_m=12, harvester_m=12), seed=1)
    assert plan.passes_per_strip == 2
    assert set(plan.strips["cuts"]) == {1}
    assert set(plan.strips["cut_from_m"]) == {6.0}
    flush = plan_trial(rectangle, PAIR, 4, Wishes(seeder_m=12, harvester_m=12, edge_m=0), seed=1)
    assert flush.passes_per_strip == 1
    wide = plan_trial(
        rectangle, PAIR, 4, Wishes(seeder_m=12, harvester_m=9, passes_per_strip=3), seed=1
    )
    assert set(wide.strips["cuts"]) == {3}


def test_cut_lines_run_where_the_cut_is(twelve_sides):
    plan = plan_trial(
        twelve_sides, PAIR, 4, Wishes(seeder_m=9, harvester_m=7.5, passes_per_strip=2), seed=1
    )
    strips = plan.layout.to_crs(plan.crs).set_index("strip").geometry
    cuts = plan.cuts.to_crs(plan.crs)
    assert len(cuts) == 16
    for row in cuts.itertuples():
        swath = row.geometry.buffer(7.5 / 2, cap_style="flat")
        margin = strips[row.strip].buffer(-0.5 + ROUNDED_M, join_style="mitre")
        beside = swath.difference(strips[row.strip].buffer(ROUNDED_M, join_style="mitre"))
        assert beside.area < 1
        across = swath.difference(margin).area / row.geometry.length
        assert across < 0.02


@pytest.mark.parametrize("traffic", [12, 18, 24])
def test_controlled_traffic(rectangle, traffic):
    plan = plan_trial(rectangle, PAIR, 4, Wishes(**MACHINES, traffic_m=traffic), seed=1)
    width = plan.passes_per_strip * 12
    assert width % traffic == 0
    from_edge = plan.strips["across_from_m"] - plan.strips["across_from_m"].min()
    assert np.allclose(from_edge % traffic, 0, atol=1e-6) or np.allclose(
        from_edge % traffic, traffic, atol=1e-6
    )


def test_passes_meet_the_guidance_lines_there_are(rectangle):
    anchor = (85.003, -38.498)
    plan = plan_trial(rectangle, PAIR, 4, Wishes(**MACHINES, anchor=anchor), seed=1)
    point = gpd.GeoSeries([Point(*anchor)], crs=4326).to_crs(plan.crs).iloc[0]
    strips = plan.layout[plan.layout["role"] == "strip"].to_crs(plan.crs)
    heading = math.radians(plan.heading_deg)
    across = np.array([math.cos(heading), -math.sin(heading)])
    edges = [(shapely.get_coordinates(p) @ across).min() for p in strips.geometry]
    off = (np.array(edges) - np.array([point.x, point.y]) @ across) / 12
    assert np.abs(off - off.round()).max() * 12 < 0.01


def tramline_overlap(plan, width_m=3.0):
    """Area shared by cuts and tramlines, m², for each strip."""
    cuts = plan.cuts.to_crs(plan.crs)
    swaths = cuts.geometry.buffer(plan.wishes.harvester_m / 2, cap_style="flat")
    wheels = shapely.union_all(
        plan.tramlines.to_crs(plan.crs).buffer(width_m / 2, cap_style="flat").to_numpy()
    )
    return swaths.intersection(wheels).area.groupby(cuts["strip"]).sum()


def test_tramlines_stay_out_of_the_cut(rectangle):
    wishes = Wishes(**MACHINES, tramlines=Tramlines(36))
    plan = plan_trial(rectangle, PAIR, 8, wishes, seed=1)
    assert len(plan.tramlines) >= 5
    assert tramline_overlap(plan).max() < 0.05 * plan.strips["along_to_m"].max()
    assert "The tramlines stay out of every cut." in " ".join(plan.notes)
    # A gap of one pass where the tramline runs, never more.
    left = plan.strips["across_from_m"].to_numpy()
    assert set(np.diff(left).round(2)) == {12.0, 24.0}


def test_tramlines_the_same_in_every_strip(rectangle):
    # The sprayer is as wide as a strip: no strip without a tramline, so all have it alike.
    wishes = Wishes(
        seeder_m=6, harvester_m=9, passes_per_strip=2, tramlines=Tramlines(12, width_m=4)
    )
    plan = plan_trial(rectangle, PAIR, 6, wishes, seed=1)
    shared = tramline_overlap(plan, 4)
    assert shared.min() > 0
    assert shared.max() == pytest.approx(shared.min(), rel=1e-3)
    assert "the same place in every strip" in " ".join(plan.notes)
    assert plan.allocation.tramline == ()


def test_strips_that_touch_a_tramline_are_shared_out(rectangle):
    # Strips of 24 m with one cut of 9 m: a tramline at the side of every other one.
    wishes = Wishes(
        seeder_m=12,
        harvester_m=9,
        passes_per_strip=2,
        tramlines=Tramlines(48, first_m=2, width_m=3),
        headland_m=12,
    )
    plan = plan_trial(rectangle, PAIR, 6, wishes, seed=2)
    touched = plan.allocation.tramline
    assert len(touched) == 6
    arms = [
        name
        for order, row in zip(plan.allocation.orders, touched, strict=True)
        for name, has in zip(order, row, strict=True)
        if has
    ]
    assert arms.count("dressed") == arms.count("untreated") == 3
    assert len(possible_layouts(plan.allocation)) == 20
    assert tramline_overlap(plan).max() < 0.05 * plan.strips["along_to_m"].max()


def test_exclusion_zones_of_any_shape(rectangle, draw_field):
    rocks = draw_field([(200, 100), (230, 100), (230, 130), (200, 130)]).geometry[0]
    tree = draw_field([(400, 300), (401, 300), (401, 301)]).geometry[0].centroid
    zones = gpd.GeoSeries([rocks, tree], crs=4326)
    layout = lay_out(rectangle, PAIR, 10, seed=1, exclusions=zones, clear_m=5, **MACHINES)
    strips = strips_of(layout)
    assert len(strips) == 20
    assert (zones.to_crs(strips.crs).map(lambda zone: strips.distance(zone).min()) > 4.99).all()


def test_notes_say_what_to_know(rectangle):
    def notes(blocks=6, control="untreated", draw="random", **change):
        wishes = Wishes(**(MACHINES | change))
        plan = plan_trial(rectangle, PAIR, blocks, wishes, seed=1, draw=draw, control=control)
        return " ".join(plan.notes)

    assert "1 full cut of 9 m; 3 m along its sides" in notes()
    assert "not said which treatment is the untreated control" in notes(control=None)
    assert "This trial cannot tell" in notes(blocks=1)
    assert "3 blocks are few" in notes(blocks=3)
    assert "cannot reach 5%" in notes(blocks=5)
    assert "cannot reach 5%" not in notes(blocks=6)
    assert "cannot reach 5%" in notes(blocks=6, draw="even sides")
    assert "no randomisation test can be made" in notes(draw="same order")
    assert "run along the gradient" in notes(gradient_deg=100)
    assert "run across the gradient" in notes(gradient_deg=5)
    assert "aslant" in notes(gradient_deg=45)


def test_short_strips_are_noted(draw_field):
    field = draw_field([(0, 0), (250, 0), (250, 249), (0, 249)])
    plan = plan_trial(field, PAIR, 6, Wishes(**MACHINES), seed=1, control="untreated")
    assert any("shortest strips are 202 m" in note for note in plan.notes)


def test_500_hectares_with_200_strips_in_two_seconds(draw_field):
    turns = np.linspace(0, 2 * math.pi, 2001)[:-1]
    radius = 1400 * (1 + 0.02 * np.sin(40 * turns))
    field = draw_field(np.column_stack([radius * np.cos(turns), radius * np.sin(turns)]))
    assert field.to_crs(6933).area.sum() > 5_000_000
    begun = time.perf_counter()
    layout = lay_out(field, PAIR, 100, seed=1, **MACHINES)
    took = time.perf_counter() - begun
    assert (layout["role"] == "strip").sum() == 200
    assert took < 2.0


def test_a_layout_passes_the_check_of_the_trial_folder(trial_folder, twelve_sides):
    from trialkit.trial import check_folder

    layout = lay_out(twelve_sides, PAIR, 6, seed=3, **MACHINES)
    (trial_folder / "layout.geojson").write_text(layout.to_json(drop_id=True))
    (trial_folder / "boundary.geojson").write_text(twelve_sides.to_json(drop_id=True))
    trial, checks = check_folder(trial_folder)
    assert [check.sentence() for check in checks] == []
    assert trial is not None
    assert trial.layout["role"].value_counts().to_dict() == {"strip": 12, "headland": 1}


def test_a_layout_can_be_simulated_on(rectangle):
    from trialkit import simulate

    plan = plan_trial(rectangle, PAIR, 4, Wishes(**MACHINES), seed=1)
    measured = simulate.measure(plan.layout)
    assert measured.strips["strip"].tolist() == plan.strips["strip"].tolist()
    lengths = measured.strips["along_to_m"] - measured.strips["along_from_m"]
    assert lengths.to_numpy() == pytest.approx(572, abs=0.05)


def test_no_control_among_the_treatments(rectangle):
    with pytest.raises(LayoutError, match="The control 'untreated' is not among the treatments"):
        plan_trial(rectangle, ["a", "b"], 4, Wishes(**MACHINES), seed=1, control="untreated")


def test_shapes_are_valid_and_turn_anticlockwise(ell):
    layout = lay_out(ell, PAIR, 4, seed=1, **MACHINES)
    assert layout.is_valid.all()
    assert all(polygon.exterior.is_ccw for polygon in layout.geometry)
    assert layout.within(box(*ell.total_bounds).buffer(1e-6)).all()


@pytest.mark.parametrize(("notch", "side_by_side"), [(60, True), (330, False)])
def test_blocks_lie_side_by_side_unless_that_costs_much_length(draw_field, notch, side_by_side):
    # A notch in the far end, over the middle third: shallow, it is worth staying together.
    top = 700 - notch
    field = draw_field(
        [(0, 0), (600, 0), (600, 700), (400, 700), (400, top), (200, top), (200, 700), (0, 700)]
    )
    wishes = Wishes(**MACHINES, heading_deg=0, headland_m=12)
    plan = plan_trial(field, PAIR, 9, wishes, seed=1)
    left = plan.strips["across_from_m"].to_numpy()
    assert (np.diff(left).max() < 12.01) == side_by_side


def test_a_draw_that_came_out_in_one_order_is_noted(rectangle):
    noted = []
    for seed in range(60):
        plan = plan_trial(rectangle, PAIR, 4, Wishes(**MACHINES), seed=seed)
        same = len(set(plan.allocation.orders)) == 1
        noted.append(any("same order" in note for note in plan.notes))
        assert noted[-1] == same
    assert any(noted)


def test_no_margin_is_noted(rectangle):
    plan = plan_trial(rectangle, PAIR, 6, Wishes(seeder_m=12, harvester_m=12, edge_m=0), seed=1)
    assert any("there is no margin: a cut that strays" in note for note in plan.notes)
