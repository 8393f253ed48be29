"""Areas and lengths on the earth against pyproj's geodesics, wherever the field lies."""

from __future__ import annotations

from itertools import pairwise

import pytest
from pyproj import Geod

from trialkit.design import lay_out

#: Share by which an area may be off; the layout must hold 0.1%.
AREA = 1e-3
#: What it holds in fact: coordinates rounded to a millimetre on strips 12 m wide.
IN_FACT = 2e-4

EARTH = Geod(ellps="WGS84")

#: Both hemispheres, both sides of Greenwich, the border of two UTM zones, far north, the equator.
PLACES = {
    "south": (117.6, -33.2),
    "north": (-97.3, 49.1),
    "on a UTM border": (12.0, 52.2),
    "beside a UTM border": (147.001, -36.0),
    "far north": (26.7, 65.9),
    "equator": (36.8, 0.0),
    "far south": (-71.0, -53.5),
}


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
@pytest.mark.parametrize("heading", [0.0, 33.0, 90.0])
def test_areas_and_lengths_are_those_of_the_earth(draw_field, place, heading):
    field = draw_field(
        [(-900, -600), (900, -700), (1000, 600), (-800, 700)], (), place[0], place[1]
    )
    layout = lay_out(
        field, ["untreated", "dressed"], 8, seeder_m=12, harvester_m=9, seed=1, heading_deg=heading
    )
    strips = layout[layout["role"] == "strip"].geometry
    for polygon in strips:
        area, _ = EARTH.geometry_area_perimeter(polygon)
        corners = polygon.exterior.coords
        sides = [EARTH.inv(*first, *second)[2] for first, second in pairwise(corners)]
        assert min(sides) == pytest.approx(12, rel=IN_FACT)
        assert area == pytest.approx(12 * max(sides), rel=IN_FACT)
    whole, _ = EARTH.geometry_area_perimeter(strips.union_all())
    assert abs(whole) == pytest.approx(
        sum(EARTH.geometry_area_perimeter(polygon)[0] for polygon in strips), rel=AREA
    )
    azimuth = EARTH.inv(*strips[0].exterior.coords[0], *strips[0].exterior.coords[1])[0]
    off = min(abs((azimuth - heading + turn + 45) % 90 - 45) for turn in (0, 90))
    # A line on the grid bends from true north by its distance from the field's middle.
    assert off < 0.05


def test_a_headland_is_as_wide_as_was_asked(draw_field):
    field = draw_field([(0, 0), (800, 0), (800, 600), (0, 600)], (), 26.7, 65.9)
    layout = lay_out(field, ["a", "b"], 4, seeder_m=12, harvester_m=9, seed=1, headland_m=30)
    ring = layout[layout["role"] == "headland"].geometry.union_all()
    area, _ = EARTH.geometry_area_perimeter(ring)
    assert abs(area) == pytest.approx(800 * 600 - 740 * 540, rel=AREA)
