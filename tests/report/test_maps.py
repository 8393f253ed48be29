from __future__ import annotations

import re
import time
from io import BytesIO

import geopandas as gpd
import numpy as np
import pytest
from matplotlib.image import imread
from shapely import affinity

from trialkit.language import speaking
from trialkit.position import local_grid
from trialkit.report import maps
from trialkit.report.map_frame import round_length

# The promise for 100,000 records on an ordinary machine.
SECONDS = 3.0


def png(picture):
    assert picture.raster
    data = picture.drawn("png")
    assert data.startswith(b"\x89PNG")
    return data


def layer(picture, name):
    """Return the data of the first layer of a kind."""
    return next(
        each._data for each in picture.plot.layers if type(each.geom).__name__ == f"geom_{name}"
    )


def test_strips_are_shaded_and_lettered(layout, strips, boundary):
    picture = maps.strip_map(layout, strips, control="Untreated", boundary=boundary)
    letters = layer(picture, "text")
    assert sorted(letters["letter"].unique()) == ["D", "U"]
    assert (letters["letter"] == "D").tolist() == (layout["treatment"] == "Dressed").tolist()
    assert picture.caption == "North is up. U: Untreated, D: Dressed."
    png(picture)


def test_letters_stand_outside_their_strip_at_opposite_ends(layout, strips):
    picture = maps.strip_map(layout, strips, control="Untreated")
    letters = layer(picture, "text")
    grid = layout.to_crs(local_grid(layout))
    for shape, x, y, letter in zip(
        grid.geometry, letters["x"], letters["y"], letters["letter"], strict=True
    ):
        west, south, east, north = shape.bounds
        assert west < x < east
        assert y < south if letter == "U" else y > north


@pytest.mark.parametrize("turn", [30, 75, 90, 160])
def test_letters_of_one_arm_stand_at_one_side_however_the_field_lies(layout, strips, turn):
    grid = local_grid(layout)
    turned = layout.to_crs(grid)
    turned["geometry"] = [affinity.rotate(g, turn, origin=(0, 0)) for g in turned.geometry]
    picture = maps.strip_map(turned.to_crs("EPSG:4326"), strips, control="Untreated")
    letters = layer(picture, "text")
    # Turned back, all D lie on one side of the middle and all U on the other.
    angle = np.radians(turn)
    along = -np.sin(angle) * letters["x"] + np.cos(angle) * letters["y"]
    treated = (letters["letter"] == "D").to_numpy()
    assert along[treated].min() > along[~treated].max() or (
        along[treated].max() < along[~treated].min()
    )
    png(picture)


def test_a_strip_without_a_yield_stays_on_the_map(layout, strips):
    strips = strips.drop(index=[2])
    strips.loc[5, "yield_t_ha"] = np.nan
    picture = maps.strip_map(layout, strips, control="Untreated")
    assert len(layer(picture, "text")) == len(layout)
    png(picture)


def test_headlands_are_drawn_but_are_no_strips(layout, strips):
    layout = layout.copy()
    layout.loc[11, "role"] = "headland"
    picture = maps.strip_map(layout, strips, control="Untreated")
    assert len(layer(picture, "text")) == len(layout) - 1
    png(picture)


@pytest.mark.parametrize("kind", [maps.yield_map, maps.kept_map])
def test_a_hundred_thousand_records_draw_in_three_seconds(kind, layout, boundary, make_log):
    log = make_log(100_000)
    started = time.process_time()  # of this process alone: other work must not fail it
    png(kind(log, layout, boundary=boundary))
    assert time.process_time() - started < SECONDS


def test_the_yield_map_averages_kept_records_only(layout, boundary, make_log):
    log = make_log(20_000)
    picture = maps.yield_map(log, layout, boundary=boundary)
    cells = layer(picture, "point")
    assert len(cells) < 2 * maps._MOST_MARKS
    # The spikes of 25 t/ha are left out; every average lies inside what was kept.
    kept = log.loc[log["kept"], "yield_t_ha"]
    assert cells["yield_t_ha"].between(kept.min(), kept.max()).all()


def test_the_kept_map_thins_and_says_so(layout, boundary, make_log):
    log = make_log(20_000)
    picture = maps.kept_map(log, layout, boundary=boundary)
    marks = layer(picture, "point")
    assert len(marks) <= maps._MOST_MARKS
    assert "One record in 3 is drawn." in picture.caption
    share = (marks["group"] == "left out").mean()
    assert share == pytest.approx((~log["kept"]).mean(), abs=0.02)


def test_stray_positions_do_not_shrink_the_map(layout, boundary, make_log):
    log = make_log(2_000)
    calm = maps.kept_map(log, layout, boundary=boundary)
    log.loc[7, ["longitude", "latitude"]] += 0.2
    stray = maps.kept_map(log, layout, boundary=boundary)
    assert (stray.width_in, stray.height_in) == (calm.width_in, calm.height_in)
    assert "Records beyond the map: 1." in stray.caption
    png(stray)
    without = maps.kept_map(log, layout)
    assert without.height_in < 6
    png(without)


def test_maps_keep_true_proportions(layout, strips, boundary):
    picture = maps.strip_map(layout, strips, control="Untreated", boundary=boundary)
    pixels = imread(BytesIO(png(picture)))[..., :3]
    # The field is drawn in #f6f7f7: 184 m wide and 480 m high in the fixture.
    field = np.abs(pixels - np.array([0xF6, 0xF7, 0xF7]) / 255).max(axis=2) < 0.003
    high = np.ptp(np.nonzero(field.sum(axis=1) > 20)[0])
    wide = np.ptp(np.nonzero(field.sum(axis=0) > 20)[0])
    # The outline covers a few of the field's pixels.
    assert high / wide == pytest.approx(480 / 184, rel=0.03)


@pytest.mark.parametrize(
    ("wanted", "expected"), [(73, 50), (50, 50), (49, 20), (19, 10), (1999, 1000), (0.7, 0.5)]
)
def test_scale_bars_are_round(wanted, expected):
    assert round_length(wanted) == expected


def test_any_coordinate_system_will_do(layout, strips):
    metres = layout.to_crs(local_grid(layout))
    assert isinstance(metres, gpd.GeoDataFrame)
    png(maps.strip_map(metres, strips, control="Untreated"))


def with_passes(log, swath_m=2.0):
    """Give records the pass they would lie in, every other one driven back."""
    log["pass_id"] = (log["x_m"] // swath_m).astype(int) + 1
    log["heading_deg"] = np.where(log["pass_id"] % 2 == 1, 1.0, 181.0)
    way = np.where(log["pass_id"] % 2 == 1, 1, -1)
    return log.assign(_way=way * log["y_m"]).sort_values(["pass_id", "_way"], ignore_index=True)


def test_passes_are_drawn_and_numbered_by_the_way_driven(layout, boundary, make_log):
    log = with_passes(make_log(20_000))
    log.loc[log["pass_id"] == 7, "pass_id"] = 0  # a turn
    log.loc[3, ["longitude", "latitude", "reason"]] = [0.1, -36.1, "position jump"]
    picture = maps.pass_map(log, layout, boundary=boundary)
    drawn, begun = layer(picture, "path"), layer(picture, "text")
    assert set(drawn["pass_id"]) == set(log["pass_id"]) - {0}
    ways = drawn.groupby("pass_id")["way"].nunique()
    assert (ways == 1).all()
    assert (drawn.loc[drawn["pass_id"] % 2 == 1, "way"].nunique()) == 1
    assert len(begun) <= maps._MOST_NUMBERS
    # A number stands where its pass begins: odd ones at the south end, even ones at the north.
    south = begun.loc[begun["pass_id"] % 2 == 1, "y"]
    assert (south < drawn["y"].min() + 50).all()
    assert np.ptp(drawn["x"]) < 200  # the position that jumped is not on a line
    assert picture.caption.startswith("71 passes over the strips (shaded)")
    assert "Map of the 71 passes" in picture.alt
    png(picture)


def test_a_hundred_thousand_records_in_passes_draw_in_three_seconds(layout, boundary, make_log):
    log = with_passes(make_log(100_000))
    started = time.process_time()
    png(maps.pass_map(log, layout, boundary=boundary))
    assert time.process_time() - started < SECONDS


def test_maps_in_another_language(layout, strips, boundary, make_log, german, words_in):
    words = {
        "Yield, t/ha": "Ertrag, t/ha",
        "kept": "behalten",
        "driven back": "zurück",
        "North is up. {letters}.": "Norden oben. {letters}.",
    }
    log = with_passes(make_log(2_000))
    with speaking(german(words)):
        strip_map = maps.strip_map(layout, strips, control="Untreated", boundary=boundary)
        kept, passes = maps.kept_map(log, layout), maps.pass_map(log, layout)
        groups = set(layer(kept, "point")["group"])
        shown = words_in(strip_map)
        assert {"behalten", "left out"} <= words_in(kept)
        assert "zurück" in words_in(passes)
    assert "Ertrag, t/ha" in shown
    assert any(re.fullmatch(r"\d,\d+", word) for word in shown)
    assert strip_map.caption == "Norden oben. U: Untreated, D: Dressed."
    assert groups == {"kept", "left out"}
