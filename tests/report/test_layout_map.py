"""The map of a layout: every strip where it lies, readable without colours."""

from __future__ import annotations

from io import BytesIO

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from matplotlib.image import imread
from shapely.geometry import Point

from trialkit.design import Wishes, plan_trial
from trialkit.design.pegs import peg_out
from trialkit.position import local_grid
from trialkit.report.layout_map import layout_map, treatments_in_order

FIELDS = ["rectangle", "ell", "twelve"]
#: Fills whose grey differs by less than this look alike in black and white, of 1.
GREY_APART = 0.1


def layers(picture, name):
    """Return the data of all layers of a kind."""
    return [
        layer._data for layer in picture.plot.layers if type(layer.geom).__name__ == f"geom_{name}"
    ]


def in_metres(plan):
    strips = plan.layout[plan.layout["role"] == "strip"]
    return strips.to_crs(local_grid(plan.layout)).set_index("strip")


@pytest.mark.parametrize("name", FIELDS)
def test_letters_stand_on_the_strip_they_are_of(plans, fields, name):
    plan = plans[name]
    picture = layout_map(plan, fields[name], control="untreated")
    strips = in_metres(plan)
    first = strips["treatment"].str[0].str.upper()
    (letters,) = layers(picture, "label")
    assert len(letters) == 2 * len(strips)
    places = gpd.GeoSeries.from_xy(letters["x"], letters["y"], crs=strips.crs)
    for place, letter in zip(places, letters["letter"], strict=True):
        (on,) = strips.index[strips.contains(place)]
        assert letter == first[on]


@pytest.mark.parametrize("name", FIELDS)
def test_numbers_stand_before_the_near_end_and_blocks_beyond_the_far_one(plans, fields, name):
    plan = plans[name]
    picture = layout_map(plan, fields[name], control="untreated")
    marks = pd.concat(layers(picture, "text")).set_index("name")
    strips = in_metres(plan)
    heading = np.radians(plan.heading_deg)
    along = np.array([np.sin(heading), np.cos(heading)])
    shown = [strip for strip in strips.index if strip in marks.index]
    assert len(shown) == len(strips)
    for strip in shown:
        place = marks.loc[strip, ["x", "y"]].to_numpy(dtype=float)
        ends = np.array(strips.geometry[strip].exterior.coords) @ along
        assert place @ along < ends.min()
    for block, group in strips.groupby("block"):
        place = marks.loc[block, ["x", "y"]].to_numpy(dtype=float)
        ends = np.array([np.array(shape.exterior.coords) @ along for shape in group.geometry])
        assert place @ along > ends.max()


@pytest.mark.parametrize("name", FIELDS)
def test_cuts_run_inside_their_strips_and_tramlines_inside_the_field(plans, fields, name):
    plan = plans[name]
    picture = layout_map(plan, fields[name], control="untreated")
    (lines,) = layers(picture, "segment")[:1]
    strips = in_metres(plan)
    field = fields[name].to_crs(strips.crs).union_all()
    ground = strips.union_all().buffer(0.1)
    cuts = lines[lines["kind"] == "middle of a harvester's cut"]
    assert len(cuts) == len(plan.cuts)
    for line in lines.itertuples():
        inside = ground if line.kind != "tramline" else field.buffer(0.1)
        assert inside.contains(Point(line.x, line.y))
        assert inside.contains(Point(line.xend, line.yend))
    assert (lines["kind"] == "tramline").any() == (name == "twelve")


def test_the_mark_is_at_the_reference_corner(plans, fields):
    picture = layout_map(plans["ell"], fields["ell"], control="untreated")
    (mark,) = layers(picture, "point")
    first = peg_out(plans["ell"].layout, plans["ell"].heading_deg).pegs.iloc[:1]
    point = gpd.GeoSeries.from_xy(first["longitude"], first["latitude"], crs=4326)
    place = point.to_crs(local_grid(plans["ell"].layout)).iloc[0]
    assert mark[["x", "y"]].iloc[0].tolist() == pytest.approx([place.x, place.y], abs=0.01)


def test_a_hole_and_a_zone_are_drawn(plans, fields):
    zone = gpd.GeoDataFrame(geometry=[Point(85.006, -38.499).buffer(0.0003)], crs=4326)
    bare = layout_map(plans["ell"], fields["ell"])
    with_zone = layout_map(plans["ell"], fields["ell"], zones=zone)
    assert len(layers(with_zone, "map")) == len(layers(bare, "map")) + 1
    assert "stay off" in with_zone.caption
    assert "stay off" not in bare.caption
    without_hole = fields["ell"].copy()
    without_hole["geometry"] = [shape.convex_hull for shape in without_hole.geometry]
    assert (
        len(layers(layout_map(plans["ell"], without_hole), "map")) == len(layers(bare, "map")) - 1
    )


@pytest.mark.parametrize("number", [2, 3, 5])
def test_treatments_differ_in_grey_and_the_control_is_white(fields, number):
    names = ["untreated", *(f"rate {n}" for n in range(1, number))]
    plan = plan_trial(fields["rectangle"], names, 2, Wishes(12, 9), seed=1)
    picture = layout_map(plan, control="untreated")
    (scale,) = [each for each in picture.plot.scales if "fill" in each.aesthetics]
    fills = [to_rgb(fill) for fill in scale.palette(number)]
    assert fills[0] == (1, 1, 1)
    grey = sorted(np.dot(fill, [0.299, 0.587, 0.114]) for fill in fills)
    assert min(np.diff(grey)) > GREY_APART


def test_the_picture_in_words_names_every_strip(plans, fields):
    plan = plans["ell"]
    picture = layout_map(plan, fields["ell"])
    assert "12 strips in the field in 6 blocks, north up" in picture.alt
    assert "reference corner in the south-west: S1 " in picture.alt
    for row in plan.strips.itertuples():
        assert f"{row.strip} {row.treatment}" in picture.alt


@pytest.mark.parametrize("name", FIELDS)
def test_the_same_plan_gives_the_same_picture_with_nothing_cut_off(plans, fields, name):
    data = layout_map(plans[name], fields[name], control="untreated").drawn("png")
    if name == "twelve":
        assert layout_map(plans[name], fields[name], control="untreated").drawn("png") == data
    ink = imread(BytesIO(data))[..., :3].min(axis=2) < 0.5
    # No text or line runs into the picture's edge.
    assert not ink[[0, 1, -2, -1], :].any()
    assert not ink[:, [0, 1, -2, -1]].any()


def test_long_names_do_not_widen_the_map_beyond_its_box(fields):
    names = ["untreated", "a dressing with a name as long as nobody would print on a label"]
    plan = plan_trial(fields["rectangle"], names, 6, Wishes(12, 9), seed=1)
    picture = layout_map(plan, fields["rectangle"], box_in=(4.44, 3.9))
    assert picture.width_in <= 4.44 + 0.11
    assert names[1] in picture.alt


def test_names_with_markup_and_dollars_are_drawn_as_they_stand(fields):
    names = ["$untreated_1$", "<b>dressed</b> & more_$x^2$"]
    plan = plan_trial(fields["rectangle"], names, 6, Wishes(12, 9), seed=1)
    picture = layout_map(plan, fields["rectangle"], control=names[0])
    assert picture.drawn("png").startswith(b"\x89PNG")
    assert "&lt;b&gt;dressed&lt;/b&gt; &amp; more" in picture.html()


def test_strips_drawn_by_hand_are_a_map_without_cuts(layout, boundary):
    picture = layout_map(layout, boundary, control="Untreated")
    assert "12 strips" in picture.alt
    assert "headlands" not in picture.caption
    assert [len(data) for data in layers(picture, "label")] == [24]
    picture.drawn("png")


def test_the_control_comes_first():
    treatments = pd.Series(["b", "a", "c", "a", "b"])
    assert treatments_in_order(treatments, "c") == ["c", "b", "a"]
    assert treatments_in_order(treatments, None) == ["b", "a", "c"]
