import geopandas as gpd
import numpy as np
import pytest
import shapely
from pyproj import Geod

from trialkit import simulate
from trialkit.errors import LayoutError

#: Coordinates are rounded to 1e-7 degrees, so an edge can be off by a centimetre.
ROUNDING_M = 0.02


def strips_of(layout):
    return layout[layout["role"] == "strip"]


def test_each_block_holds_each_treatment_once(layout):
    strips = strips_of(layout)
    for _, block in strips.groupby("block"):
        assert sorted(block["treatment"]) == ["a", "b", "untreated"]
    assert strips["strip"].is_unique


def test_order_is_random_and_the_seed_settles_it():
    draws = [
        tuple(strips_of(simulate.lay_strips(["u", "d"], 8, seed=seed))["treatment"])
        for seed in range(6)
    ]
    assert len(set(draws)) > 1
    again = simulate.lay_strips(["u", "d"], 8, seed=3)
    assert tuple(strips_of(again)["treatment"]) == draws[3]


@pytest.mark.parametrize(
    ("longitude", "latitude", "heading"),
    [(85.0, -38.5, 23.0), (-104.0, 50.0, 0.0), (179.99, -45.0, 90.0), (14.0, 64.0, 150.0)],
)
def test_areas_on_the_ellipsoid_are_right(longitude, latitude, heading):
    """Against geodesic areas by pyproj (Karney 2013, J. Geodesy 87:43-55)."""
    site = simulate.Site(longitude, latitude, heading)
    layout = simulate.lay_strips(["u", "d"], 2, seed=1, length_m=800, width_m=24, site=site)
    geod = Geod(ellps="WGS84")
    for strip in strips_of(layout).geometry:
        area, _ = geod.geometry_area_perimeter(strip)
        assert area == pytest.approx(800 * 24, rel=1e-3)  # anticlockwise, so positive


def test_strips_neither_overlap_nor_leave_the_boundary(layout):
    plan = simulate.measure(layout)
    pieces = layout.to_crs(plan.crs).geometry
    field = simulate.field_boundary(layout).to_crs(plan.crs).geometry.iloc[0]
    whole = shapely.union_all(pieces.to_numpy())
    assert pieces.area.sum() == pytest.approx(whole.area, rel=1e-4)
    assert field.area == pytest.approx((12 * 24 + 48) * (200 + 48), rel=1e-3)
    assert whole.difference(field).area < field.length * ROUNDING_M


def test_measuring_finds_what_was_laid():
    site = simulate.Site(85.0, -38.5, 23.0)
    layout = simulate.lay_strips(["u", "d"], 2, seed=1, length_m=[300, 260], width_m=18, site=site)
    plan = simulate.measure(layout)
    assert plan.heading_deg == pytest.approx(23.0, abs=0.01)
    assert plan.width_m == pytest.approx(72, abs=2 * ROUNDING_M)
    lengths = plan.strips["along_to_m"] - plan.strips["along_from_m"]
    assert lengths.to_numpy() == pytest.approx([300, 300, 260, 260], abs=2 * ROUNDING_M)
    assert plan.strips["across_from_m"].is_monotonic_increasing
    assert list(plan.strips["treatment"]) == list(strips_of(layout)["treatment"])


def test_a_place_comes_back_where_it_was(layout):
    plan = simulate.measure(layout)
    longitude, latitude = plan.to_lonlat([-100, 40], [12, -60])
    back = gpd.GeoSeries(gpd.points_from_xy(longitude, latitude, crs="EPSG:4326")).to_crs(plan.crs)
    places = plan.from_grid(back)
    assert places.x.to_numpy() == pytest.approx([-100, 40], abs=1e-6)
    assert places.y.to_numpy() == pytest.approx([12, -60], abs=1e-6)


def test_across_is_to_the_right_of_the_heading(layout):
    plan = simulate.measure(layout)
    (west, east), (south, north) = plan.to_lonlat([0, 0], [-50, 50])
    bearing, _, _ = Geod(ellps="WGS84").inv(west, south, east, north)
    assert bearing == pytest.approx(plan.heading_deg + 90, abs=0.1)


def test_no_headland_where_none_is_wanted():
    layout = simulate.lay_strips(["u", "d"], 2, seed=1, headland_m=0)
    assert set(layout["role"]) == {"strip"}


def test_nothing_to_lay_out_is_refused():
    with pytest.raises(LayoutError, match="at least one treatment and one block"):
        simulate.lay_strips([], 4, seed=1)
    with pytest.raises(LayoutError, match="one for each of the 4 blocks"):
        simulate.lay_strips(["u", "d"], 4, seed=1, length_m=[100, 200])


def test_a_crooked_strip_is_refused(layout):
    bent = strips_of(layout).copy()
    corners = shapely.get_coordinates(bent.geometry.iloc[0])
    bent.loc[bent.index[0], "geometry"] = shapely.Polygon(np.delete(corners, 1, axis=0))
    with pytest.raises(LayoutError, match="Strip S1 is not a rectangle"):
        simulate.measure(bent)
    with pytest.raises(LayoutError, match="no strips"):
        simulate.measure(layout[layout["role"] == "headland"])
