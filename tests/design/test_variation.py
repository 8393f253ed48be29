"""Strip-to-strip variation from a past yield map, against fields of known variation."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import box

from trialkit.design import (
    StripVariation,
    beyond_the_map,
    lay_out,
    strip_variation,
    strips_needed,
    typical_cvs,
)
from trialkit.errors import DesignError


@pytest.fixture(scope="module")
def layout(draw_field):
    boundary = draw_field([(0, 0), (620, 0), (620, 410), (0, 410)])
    return lay_out(boundary, ["a", "b"], 12, seeder_m=12, harvester_m=9, seed=1)


def yields_on(layout, seed, strip_sd, block_sd=0.5, mean=3.0):
    """Forty yields in each strip: its own level and its block's, and noise that averages out."""
    generator = np.random.default_rng(seed)
    strips = layout[layout["role"] == "strip"]
    of_block = {name: generator.normal(0, block_sd) for name in strips["block"].unique()}
    rows = []
    for strip in strips.itertuples():
        level = mean + of_block[strip.block] + generator.normal(0, strip_sd)
        west, south, east, north = strip.geometry.bounds
        noise = generator.normal(0, 0.3, 40)
        rows.append(
            pd.DataFrame(
                {
                    "longitude": np.linspace(west, east, 42)[1:-1],
                    "latitude": (south + north) / 2,
                    "yield_t_ha": level + noise - noise.mean(),
                }
            )
        )
    return pd.concat(rows, ignore_index=True)


def test_blocks_are_taken_out_and_the_interval_holds_the_truth(layout):
    true_cv = 100 * 0.15 / 3
    found = [
        strip_variation(yields_on(layout, seed, 0.15, block_sd=0.0), layout) for seed in range(60)
    ]
    held = sum(each.low_pct <= true_cv <= each.high_pct for each in found)
    # 95% intervals: of 60, 51 or fewer hold the truth once in a thousand tries.
    assert held >= 52
    assert {each.df for each in found} == {12}
    with_blocks = strip_variation(yields_on(layout, 7, 0.15), layout)
    assert with_blocks.low_pct <= true_cv <= with_blocks.high_pct


def test_against_the_residual_of_an_ordinary_fit(layout):
    import statsmodels.formula.api as smf

    records = yields_on(layout, 3, 0.15)
    strips = layout[layout["role"] == "strip"]
    table = strips[["strip", "block"]].assign(
        y=records["yield_t_ha"].to_numpy().reshape(-1, 40).mean(axis=1)
    )
    residual = smf.ols("y ~ C(block)", pd.DataFrame(table)).fit()
    found = strip_variation(records, layout)
    assert found.cv_pct == pytest.approx(100 * residual.mse_resid**0.5 / table["y"].mean())
    assert found.df == residual.df_resid
    assert found.mean_t_ha == pytest.approx(table["y"].mean())


def test_records_screened_out_do_not_count(layout):
    records = yields_on(layout, 3, 0.15).assign(kept=True)
    spoilt = records.assign(kept=True)
    extra = records.iloc[::7].assign(yield_t_ha=40.0, kept=False)
    both = pd.concat([spoilt, extra], ignore_index=True)
    assert strip_variation(both, layout) == strip_variation(records, layout)


def test_the_variation_found_goes_into_the_replicates(layout):
    found = strip_variation(yields_on(layout, 5, 0.15), layout)
    assert strips_needed(0.2, found.cv_pct, mean=found.mean_t_ha) > 4


def test_a_map_of_another_field(layout):
    records = yields_on(layout, 3, 0.15)
    records["longitude"] += 1
    with pytest.raises(DesignError, match=r"has 0 yields in strip S1; at least 10"):
        strip_variation(records, layout)


def test_a_map_without_yields(layout):
    with pytest.raises(DesignError, match="no column 'yield_t_ha'"):
        strip_variation(pd.DataFrame({"longitude": [1.0], "latitude": [1.0]}), layout)


def test_blocks_of_one_strip():
    lone = gpd.GeoDataFrame(
        {"strip": ["S1", "S2"], "block": ["B1", "B2"]},
        geometry=[box(0, 0, 0.01, 0.001), box(0, 0.002, 0.01, 0.003)],
        crs=4326,
    )
    x = np.linspace(0.001, 0.009, 20)
    records = pd.DataFrame(
        {
            "longitude": np.tile(x, 2),
            "latitude": np.repeat([0.0005, 0.0025], 20),
            "yield_t_ha": 3.0,
        }
    )
    with pytest.raises(DesignError, match="No block holds two strips"):
        strip_variation(records, lone)
    with pytest.raises(DesignError, match="zero or less"):
        strip_variation(records.assign(yield_t_ha=-1.0), lone)


def test_published_variations_name_their_source():
    table = typical_cvs()
    assert table.columns.tolist() == ["what", "cv_pct", "source"]
    assert table["cv_pct"].is_monotonic_increasing
    assert table["source"].str.len().min() > 10


def test_published_variations_that_can_be_worked_out():
    # Mercer and Hall's wheat is on no package here; Student's barley: standard deviation of 51
    # differences 24.28824 stones an acre at means of 184.4902 and 171.1176.
    table = typical_cvs().set_index("source")["cv_pct"]
    student = 100 * 24.28824 / np.sqrt(2) / ((184.4902 + 171.1176) / 2)
    assert table[table.index.str.startswith("Student")].iloc[0] == pytest.approx(student, abs=0.05)
    assert table[table.index.str.startswith("Wood")].iloc[0] == pytest.approx(5 / 0.6745, abs=0.05)
    rice = 100 * np.sqrt(110558.411) / 4959.583
    assert table[table.index.str.startswith("Gomez")].iloc[0] == pytest.approx(rice, abs=0.05)


def test_what_the_map_does_not_hold_makes_up_the_rest():
    maps = [StripVariation(2.0, 1.5, 3.0, 8, 3.0), StripVariation(1.0, 0.7, 1.5, 8, 2.0)]
    own = beyond_the_map(4.0, maps)
    # Variances add up: 4% of 2.5 t/ha, less the mean of 0.06 and 0.02 t/ha squared.
    assert own**2 + (0.06**2 + 0.02**2) / 2 == pytest.approx(0.1**2)
    assert beyond_the_map(1.0, maps) == 0
    with pytest.raises(DesignError, match="no past season"):
        beyond_the_map(4, [])
    with pytest.raises(DesignError, match="Strips differ by -1%"):
        beyond_the_map(-1, maps)
