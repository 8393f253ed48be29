"""The map and the table of what was sown against the plan."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import box

from trialkit.design.as_sown import Change, LostGround, as_sown
from trialkit.language import speaking
from trialkit.report.page_tables import sown_rows
from trialkit.report.sown_map import sown_map


@pytest.fixture(scope="module")
def plan():
    rows = [
        {
            "strip": f"S{n + 1}",
            "block": f"B{n // 2 + 1}",
            "treatment": ["untreated", "dressed"][n % 2],
            "role": "strip",
            "geometry": box(500_000 + 24 * n, 5_700_000, 500_024 + 24 * n, 5_700_300),
        }
        for n in range(12)
    ]
    return gpd.GeoDataFrame(rows, crs="EPSG:32745").to_crs("EPSG:4326")


@pytest.fixture(scope="module")
def sown(plan):
    moved = plan.loc[11, "geometry"]
    return as_sown(
        plan,
        [
            Change("S2", "untreated", note="wrong <bin>"),
            Change("S12", ground=gpd.GeoSeries([moved]).translate(0.0003).iloc[0]),
        ],
        [LostGround(strip="S10", why="bog")],
    )


def test_the_map_names_what_differs(plan, sown):
    picture = sown_map(plan, sown.layout, sown.differences)
    assert picture.alt == (
        "Map of what was sown, north up. Not as planned: S2 other treatment, S10 left out and S12 "
        "lies elsewhere."
    )
    assert "Dashed" in picture.caption
    assert picture.drawn("png").startswith(b"\x89PNG")


def test_the_same_map_twice(plan, sown):
    first, second = (sown_map(plan, sown.layout, sown.differences) for _ in range(2))
    assert first.drawn("svg") == second.drawn("svg")


def test_the_table_is_in_counting_order_and_escaped(sown):
    markup = sown_rows(sown.differences).html()
    assert markup.index(">S2<") < markup.index(">S10<") < markup.index(">S12<")
    assert "wrong &lt;bin&gt;" in markup
    assert "What was sown against the plan" in markup
    assert "100.0" in markup


def test_columns_with_nothing_in_them_are_left_out(plan):
    only = as_sown(plan, [Change("S2", "untreated")])
    markup = sown_rows(only.differences).html()
    assert "Left out" not in markup
    assert "Note" not in markup


def test_what_differs_is_said_on_the_map_and_in_the_table(plan, sown, german, words_in):
    words = {"other treatment": "andere Variante", "part left out": "zum Teil ausgelassen"}
    partly = as_sown(
        plan,
        [Change("S2", "untreated")],
        [LostGround(ground=plan.loc[1, "geometry"].buffer(-0.0001), strip="S2", why="bog")],
    )
    with speaking(german(words)):
        picture = sown_map(plan, sown.layout, sown.differences)
        assert {"andere Variante", "left out"} <= words_in(picture)
        assert "S2 andere Variante, S10 left out" in picture.alt
        assert "andere Variante, zum Teil ausgelassen" in sown_rows(partly.differences).html()
    assert partly.differences[0].what == "other treatment, part left out"
