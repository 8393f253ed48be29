"""Random places lie inside their strips, spread along them, and are drawn again by their seed."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.affinity import rotate
from shapely.geometry import Polygon, box

from trialkit.errors import ScoutingError
from trialkit.position import local_grid
from trialkit.scouting import counting_sheet


def on_the_ground(sheet, drawn):
    points = gpd.GeoSeries(
        gpd.points_from_xy(sheet.places["longitude"], sheet.places["latitude"]), crs="EPSG:4326"
    )
    return points.to_crs(local_grid(drawn))


@pytest.mark.parametrize("turn", [0, 30, 90, 160])
def test_places_lie_inside_away_from_edges(drawn, turn):
    metric = drawn.to_crs(local_grid(drawn))
    turned = metric.set_geometry([rotate(shape, turn, (0, 0)) for shape in metric.geometry])
    turned = turned.to_crs("EPSG:4326")
    sheet = counting_sheet(turned, places=6, seed=4, end_m=25, edge_m=2)
    points, strips = on_the_ground(sheet, turned), turned.to_crs(local_grid(turned))
    shapes = strips.set_index("strip").geometry
    for point, name in zip(points, sheet.places["strip"], strict=True):
        assert shapes[name].buffer(-1.95).covers(point)  # degrees are rounded to a centimetre
    assert sheet.places["along_m"].between(25, 275.5).all()
    assert sheet.places["across_m"].between(2, 10.1).all()


def test_one_place_in_each_section(drawn):
    sheet = counting_sheet(drawn, places=5, seed=1, end_m=20)
    section = np.floor((sheet.places["along_m"] - 20) / (sheet.places["along_m"].max() - 20) * 5)
    assert sheet.places.groupby("strip")["place"].apply(sorted).tolist() == [[1, 2, 3, 4, 5]] * 12
    assert section.max() <= 5
    inside = ((sheet.places["along_m"] - 20) // 52).astype(int) + 1  # 260 m in five sections
    assert (inside == sheet.places["place"]).mean() > 0.95  # 299.x m long, so edges may differ


def test_walked_up_one_strip_and_down_the_next(drawn):
    places = counting_sheet(drawn, places=3, seed=2).places
    ways = [own["place"].tolist() for _, own in places.groupby("strip", sort=False)]
    assert ways[:2] == [[1, 2, 3], [3, 2, 1]]


def test_the_seed_decides(drawn):
    first, again = (counting_sheet(drawn, places=3, seed=9) for _ in range(2))
    pd.testing.assert_frame_equal(first.places, again.places)
    assert first.seed == 9
    other = counting_sheet(drawn, places=3, seed=10)
    assert not np.allclose(first.places["along_m"], other.places["along_m"])


def test_the_start_and_the_left_edge_are_where_it_says(drawn):
    sheet = counting_sheet(drawn, places=4, seed=3, row_spacing_m=0.25)
    assert sheet.start == "south"
    points = on_the_ground(sheet, drawn)
    edges = drawn.set_index("strip").to_crs(local_grid(drawn)).bounds.loc[sheet.places["strip"]]
    up = points.y.to_numpy() - edges["miny"].to_numpy()
    left = points.x.to_numpy() - edges["minx"].to_numpy()
    # North by degrees and north by metres part by a few centimetres on a field.
    assert np.allclose(up, sheet.places["along_m"], atol=0.05)
    assert np.allclose(left, sheet.places["across_m"], atol=0.05)
    rows = np.ceil(sheet.places["across_m"] / 0.25)
    assert (sheet.places["drill_row"] == rows).all()


def test_who_counts_is_not_told_the_treatment(drawn):
    sheet = counting_sheet(drawn, seed=1)
    assert "treatment" not in sheet.places
    assert sheet.places["drill_row"].isna().all()


def test_headlands_are_passed_over(drawn):
    drawn.loc[0, "role"] = "headland"
    assert "S1" not in counting_sheet(drawn, seed=1).places["strip"].tolist()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"end_m": 160}, r"Strip S1 is 300 m long and 12 m wide: nothing is left"),
        ({"edge_m": 6.5}, "nothing is left of it"),
        ({"places": 0}, "no number of places"),
        ({"seed": -1}, "no whole number"),
        ({"seed": 1.5}, "no whole number"),
        ({"row_spacing_m": 25}, "25 cm is 0.25"),
    ],
)
def test_wishes_that_cannot_be(drawn, change, message):
    with pytest.raises(ScoutingError, match=message):
        counting_sheet(drawn, **({"seed": 1} | change))


def test_layouts_that_cannot_be(drawn):
    with pytest.raises(ScoutingError, match="states no coordinate system"):
        counting_sheet(drawn.set_crs(None, allow_override=True), seed=1)
    with pytest.raises(ScoutingError, match="holds no strips"):
        counting_sheet(drawn.assign(role="headland"), seed=1)
    gap = Polygon([(85, -38.5), (85.0002, -38.5), (85.0002, -38.4999), (85, -38.4999)])
    ragged = drawn.iloc[:1].set_geometry([gap.union(box(85, -38.491, 85.0002, -38.49))])
    with pytest.raises(ScoutingError, match="Strip S1: no room was found for place"):
        counting_sheet(ragged, places=9, seed=1, edge_m=1)
