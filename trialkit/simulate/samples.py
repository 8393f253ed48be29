"""What can be taken from a simulated trial without a machine: points, and scale weights."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd

from trialkit.simulate.lanes import grow, lay_lanes, strip_at
from trialkit.simulate.outcome import SimulatedHarvest
from trialkit.simulate.paddock import Effect, Field, draw_ground
from trialkit.simulate.plan import Plan, measure


def points(
    layout: gpd.GeoDataFrame | Plan,
    field: Field | None = None,
    effects: Mapping[str, Effect] | None = None,
    *,
    seed: int | np.random.Generator,
    swath_m: float = 12.0,
    spacing_m: float = 10.0,
    noise_sd_t_ha: float = 0.1,
) -> pd.DataFrame:
    """Draw clean yield points along the lanes of a trial: no machine, no delay, no mishaps.

    Many draws of this cost little: measure the layout once and pass the plan.

    Parameters
    ----------
    layout
        The strips, or their plan.
    field
        How the field varies; the usual one if not given.
    effects
        What each treatment does; a treatment that is not named does nothing.
    seed
        Seed, or a generator.
    swath_m
        Width of the cut, m.
    spacing_m
        Distance between points, m.
    noise_sd_t_ha
        Standard deviation of noise from point to point, t/ha.

    Returns
    -------
    DataFrame
        Columns `strip block treatment pass_id distance_m x_m y_m yield_t_ha`, points in order
        along each pass; headlands are left out.

    Raises
    ------
    LayoutError
        If strips are no rectangles, or an effect names no treatment.
    """
    plan = layout if isinstance(layout, Plan) else measure(layout)
    field_draw, stand_draw, noise_draw = np.random.default_rng(seed).spawn(3)
    ground = draw_ground(plan, field or Field(), effects, seed=field_draw)
    lanes = lay_lanes(plan, swath_m)
    stand = grow(ground, lanes, seed=stand_draw, step_m=spacing_m)
    across = lanes["across_m"].to_numpy()
    at = strip_at(plan, stand.along_m[None, :], across[:, None])
    lane, place = np.nonzero(at >= 0)
    strips = plan.strips.iloc[at[lane, place]]
    east, north = plan.to_grid(stand.along_m[place], across[lane])
    noise = noise_sd_t_ha * noise_draw.standard_normal(len(lane))
    return pd.DataFrame(
        {
            "strip": strips["strip"].to_numpy(),
            "block": strips["block"].to_numpy(),
            "treatment": strips["treatment"].to_numpy(),
            "pass_id": lane,
            "distance_m": stand.along_m[place] - stand.along_m[0],
            "x_m": east,
            "y_m": north,
            "yield_t_ha": stand.yield_t_ha[lane, place] + noise,
        }
    )


def trailer_weights(
    season: SimulatedHarvest,
    *,
    seed: int | np.random.Generator,
    scale_sd_pct: float = 0.3,
    moisture_sd_pct: float = 0.1,
) -> pd.DataFrame:
    """Weigh the grain of each strip on a trailer with scales, and test its moisture.

    Parameters
    ----------
    season
        The harvest.
    seed
        Seed of the errors, or a generator.
    scale_sd_pct
        Standard deviation of the scales' error, % of the mass.
    moisture_sd_pct
        Standard deviation of the moisture tester's error, points.

    Returns
    -------
    DataFrame
        Columns `strip mass_kg moisture_pct area_ha`, as `weights.csv` has them.
    """
    draw = np.random.default_rng(seed)
    strips = season.truth.strips
    dry_share = (100 - strips["moisture_pct"]) / (100 - season.standard_moisture_pct)
    mass = 1000 * strips["yield_t_ha"] * strips["area_ha"] / dry_share
    scales = 1 + scale_sd_pct / 100 * draw.standard_normal(len(strips))
    tester = moisture_sd_pct * draw.standard_normal(len(strips))
    return pd.DataFrame(
        {
            "strip": strips["strip"],
            "mass_kg": mass * scales,
            "moisture_pct": strips["moisture_pct"] + tester,
            "area_ha": strips["area_ha"],
        }
    )
