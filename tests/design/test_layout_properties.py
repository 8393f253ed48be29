"""For any sane field, widths and seed: strips that hold what the design promises."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod
from shapely.geometry import Polygon

from trialkit.design import Tramlines, Wishes, plan_trial
from trialkit.errors import LayoutError

#: Coordinates are rounded to about a millimetre, and a pass may stick 2 cm out of ground drawn to
#: the centimetre.
EDGE_M = 0.025
WIDTH_M = 0.004

EARTH = Geod(ellps="WGS84")


@st.composite
def fields(draw):
    """A field of five to twelve sides around a place, now and then with a dam."""
    sides = draw(st.integers(5, 12))
    radii = [draw(st.floats(110, 600)) for _ in range(sides)]
    stretch, turn = draw(st.floats(0.6, 1.6)), draw(st.floats(0, 2 * math.pi))
    longitude, latitude = draw(st.floats(-179, 179)), draw(st.floats(-70, 70))
    turns = [turn + 2 * math.pi * side / sides for side in range(sides)]
    corners = [
        (stretch * r * math.cos(t), r * math.sin(t)) for r, t in zip(radii, turns, strict=True)
    ]
    holes = []
    if draw(st.booleans()):
        x, y, size = draw(st.floats(-80, 80)), draw(st.floats(-60, 60)), draw(st.floats(5, 30))
        holes = [[(x, y), (x + size, y), (x + size, y + size), (x, y + size)]]
    grid = CRS.from_proj4(f"+proj=aeqd +lat_0={latitude} +lon_0={longitude} +datum=WGS84")
    field = Polygon(corners, holes)
    if not field.is_valid:
        field = Polygon(corners)
    return gpd.GeoDataFrame(geometry=[field], crs=grid).to_crs(4326), grid


@st.composite
def machines(draw):
    """Widths a farm may have."""
    seeder = draw(st.sampled_from([3.0, 6.0, 9.0, 9.14, 12.0, 12.19, 18.3]))
    return Wishes(
        seeder_m=seeder,
        harvester_m=draw(st.sampled_from([5.0, 7.5, 9.0, 10.7, 12.0, 13.7])),
        heading_deg=draw(st.none() | st.floats(0, 360)),
        headland_m=draw(st.none() | st.sampled_from([0.0, 10.0, 25.0])),
        clear_m=draw(st.none() | st.just(4.0)),
        edge_m=draw(st.sampled_from([0.0, 0.5, 1.0])),
        tramlines=draw(st.none() | st.just(Tramlines(4 * seeder, width_m=2.0))),
        least_length_m=60,
    )


def planned(field, names, blocks, wishes, seed):
    """The plan, or None and why not."""
    try:
        return plan_trial(field, names, blocks, wishes, seed=seed), ""
    except LayoutError as error:
        return None, str(error)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(fields(), machines(), st.integers(2, 4), st.integers(1, 7), st.integers(0, 2**32))
def test_strips_keep_what_the_design_promises(drawn, wishes, arms, blocks, seed):
    field, grid = drawn
    names = [f"T{number}" for number in range(arms)]
    plan, refused = planned(field, names, blocks, wishes, seed)
    event("fits" if plan else "does not fit")
    if plan is None:
        assert "What would fit" in refused or "Not one block" in refused
        return
    strips = plan.layout[plan.layout["role"] == "strip"].reset_index(drop=True)
    on_grid = strips.to_crs(grid)
    polygons, ground = on_grid.geometry, field.to_crs(grid).geometry[0]
    assert len(strips) == arms * blocks
    # Each block holds each treatment once.
    assert strips.groupby("block")["treatment"].agg(sorted).tolist() == [names] * blocks
    # Strips never leave the field, nor come near its holes.
    for polygon in polygons:
        assert polygon.difference(ground.buffer(EDGE_M, join_style="mitre")).is_empty
    # They never overlap.
    one, other = polygons.sindex.query(polygons.to_numpy(), predicate="intersects")
    for first, second in zip(one, other, strict=True):
        if first < second:
            shared = polygons[first].intersection(polygons[second])
            assert shared.area <= WIDTH_M * polygons[first].length / 2
    # They are whole passes wide, all of a block equally long, and long enough.
    lengths = []
    for polygon in polygons:
        steps = np.diff(shapely.get_coordinates(polygon), axis=0)
        length = np.sort(np.hypot(*steps.T))
        width = plan.passes_per_strip * wishes.seeder_m
        # Either pair of sides may be the longer one.
        assert np.abs(length - width).min() < WIDTH_M
        lengths.append(length[0] if abs(length[-1] - width) < WIDTH_M else length[-1])
        area, _ = EARTH.geometry_area_perimeter(
            gpd.GeoSeries([polygon], crs=grid).to_crs(4326).iloc[0]
        )
        assert abs(abs(area) / (width * lengths[-1]) - 1) < 1e-3
    assert min(lengths) >= 60 - WIDTH_M
    strips["length"] = lengths
    assert strips.groupby("block")["length"].agg(np.ptp).max() < 2 * WIDTH_M
    # Each holds a full cut inside its margins.
    right = plan.strips["cut_from_m"] + plan.strips["cuts"] * wishes.harvester_m
    assert (plan.strips["cuts"] >= 1).all()
    assert (plan.strips["cut_from_m"] >= wishes.edge_m - 0.021).all()
    assert (right <= plan.passes_per_strip * wishes.seeder_m - wishes.edge_m + 0.021).all()


@settings(max_examples=15, deadline=None)
@given(fields(), st.integers(0, 2**32))
def test_the_same_seed_gives_the_same_layout(drawn, seed):
    wishes = Wishes(seeder_m=9, harvester_m=7.5)
    once = plan_trial(drawn[0], ["untreated", "dressed"], 3, wishes, seed=seed)
    again = plan_trial(drawn[0], ["untreated", "dressed"], 3, wishes, seed=seed)
    assert once.layout.equals(again.layout)
    assert once.record() == again.record()
