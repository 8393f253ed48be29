"""Layouts compared over the same yields."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from trialkit import simulate
from trialkit.design import Wishes, compare_layouts, plan_variants, rehearse
from trialkit.errors import DesignError, LayoutError

WISHES = Wishes(seeder_m=12, harvester_m=9)
NAMES = ["untreated", "dressed"]


@pytest.fixture(scope="module")
def variants(rectangle):
    return plan_variants(
        rectangle,
        NAMES,
        WISHES,
        blocks=[4, 8, 40],
        passes_per_strip=[1, 2],
        headings_deg=[0, 90],
        draws=["random", "turn about"],
    )


@pytest.fixture(scope="module")
def yields(rectangle):
    # Rises by 1 t/ha from south to north: strips that run east to west differ, the others do not.
    steep = simulate.Field(
        rise_across_t_ha=0, rise_along_t_ha=1, wave_across_t_ha=0, patch_sd_t_ha=0, pass_sd_t_ha=0
    )
    return simulate.past_yield(rectangle, steep, seed=1)


def test_what_fits_and_what_does_not(variants):
    assert "8 blocks, 24 m, heading 0°" in variants.plans
    assert "4 blocks, 12 m, heading 90°, turn about" in variants.plans
    assert "40 blocks, 2 passes a strip, heading 0°" in variants.misfits
    assert all(len(why) > 40 for why in variants.misfits.values())


def test_nothing_fits(rectangle):
    with pytest.raises(LayoutError, match=r"None of the layouts fits\. 900 blocks: "):
        plan_variants(rectangle, NAMES, WISHES, blocks=[900])


def test_table_holds_each_layout_with_its_rehearsal(variants, yields):
    table = compare_layouts(variants.plans, yields, gain_t_ha=0.1)
    assert set(table["layout"]) == set(variants.plans)
    drawn = table[~table["layout"].str.contains("turn about")]
    assert drawn["detectable_t_ha"].is_monotonic_increasing
    assert table["detectable_t_ha"].isna().to_numpy()[len(drawn) :].all()
    row = table.set_index("layout").loc["8 blocks, 24 m, heading 0°"]
    alone = rehearse(variants.plans["8 blocks, 24 m, heading 0°"], yields)
    assert row["detectable_t_ha"] == alone.detectable_t_ha
    assert row["chance_seen_pct"] == 100 * alone.chance_seen(0.1)
    assert row["width_m"] == pytest.approx(24, abs=0.01)
    assert row["strips"] == 16
    strips = variants.plans["8 blocks, 24 m, heading 0°"].strips
    assert row["length_m"] == pytest.approx(
        (strips["along_to_m"] - strips["along_from_m"]).median(), abs=0.01
    )
    assert row["area_ha"] == pytest.approx(16 * row["width_m"] * row["length_m"] / 1e4, rel=1e-3)


def test_strips_up_the_rise_see_more_than_strips_across_it(variants, yields):
    table = compare_layouts(variants.plans, yields).set_index("layout")
    error = table["std_error_t_ha"]
    assert error["8 blocks, 12 m, heading 0°"] < error["8 blocks, 12 m, heading 90°"]
    assert "chance_seen_pct" not in table


def test_a_layout_off_the_map_is_named(variants, yields):
    north = yields[yields["latitude"] > yields["latitude"].median()]
    with pytest.raises(DesignError, match=r"^8 blocks, 12 m, heading 0°: The past yield map"):
        compare_layouts(
            {"8 blocks, 12 m, heading 0°": variants.plans["8 blocks, 12 m, heading 0°"]},
            north[::40],
        )
    with pytest.raises(DesignError, match="no layout to compare"):
        compare_layouts({}, yields)


def test_simulated_map_stays_in_the_field_and_varies_as_told(twelve_sides):
    quiet = simulate.Field(
        mean_t_ha=4.0, rise_across_t_ha=0, wave_across_t_ha=0, patch_sd_t_ha=0.4,
        patch_radius_m=25, pass_sd_t_ha=0,
    )  # fmt: skip
    maps = [
        simulate.past_yield(twelve_sides, quiet, seed=seed, heading_deg=30, noise_sd_t_ha=0)
        for seed in range(8)
    ]
    outline = twelve_sides.union_all()
    assert shapely.contains_xy(outline, maps[0]["longitude"], maps[0]["latitude"]).all()
    # 5 m by 12 m a point.
    hectares = twelve_sides.to_crs(twelve_sides.estimate_utm_crs()).area.sum() / 1e4
    assert len(maps[0]) * 60 / 1e4 == pytest.approx(hectares, rel=0.01)
    assert np.mean([each["yield_t_ha"].mean() for each in maps]) == pytest.approx(4.0, abs=0.05)
    # Means over a cut are a little smoother than the ground.
    assert np.mean([each["yield_t_ha"].std() for each in maps]) == pytest.approx(0.39, abs=0.03)
