"""What can be taken from a simulated field without a machine: yields and scale weights."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from trialkit.position import local_grid
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


def past_yield(
    boundary: gpd.GeoDataFrame,
    field: Field | None = None,
    *,
    seed: int | np.random.Generator,
    heading_deg: float = 0.0,
    swath_m: float = 12.0,
    spacing_m: float = 5.0,
    noise_sd_t_ha: float = 0.1,
) -> pd.DataFrame:
    """Draw the clean yield map of a season without a trial, to rehearse layouts on.

    Parameters
    ----------
    boundary
        The field, in any coordinate system.
    field
        How it varies; the usual one if not given. Nothing in it that differs by strip or block
        is used: there are none.
    seed
        Seed, or a generator.
    heading_deg
        Direction the field was harvested in, degrees clockwise from north.
    swath_m
        Width of the cut, m.
    spacing_m
        Distance between points, m.
    noise_sd_t_ha
        Standard deviation of noise from point to point, t/ha.

    Returns
    -------
    DataFrame
        Columns `longitude latitude yield_t_ha`, inside the field, in order along each pass.

    Examples
    --------
    >>> import geopandas as gpd
    >>> from shapely.geometry import box
    >>> from trialkit import simulate
    >>> paddock = gpd.GeoDataFrame(geometry=[box(85.0, -38.504, 85.006, -38.5)], crs=4326)
    >>> yields = simulate.past_yield(paddock, seed=1)
    >>> bool(yields["yield_t_ha"].between(1, 5).all())
    True
    """
    ground_draw, stand_draw, noise_draw = np.random.default_rng(seed).spawn(3)
    plan = _all_around(boundary, heading_deg)
    alike = replace(field or Field(), strip_sd_t_ha=0.0, block_sd_t_ha=0.0)
    ground = draw_ground(plan, alike, seed=ground_draw)
    lanes = lay_lanes(plan, swath_m, follow_strips=False)
    stand = grow(ground, lanes, seed=stand_draw, step_m=spacing_m)
    along, across = np.broadcast_arrays(stand.along_m, lanes["across_m"].to_numpy()[:, None])
    longitude, latitude = plan.to_lonlat(along.ravel(), across.ravel())
    noise = noise_sd_t_ha * noise_draw.standard_normal(along.size)
    yields = pd.DataFrame(
        {
            "longitude": longitude,
            "latitude": latitude,
            "yield_t_ha": np.maximum(stand.yield_t_ha.ravel() + noise, 0.0),
        }
    )
    outline = boundary.to_crs("EPSG:4326").union_all()
    shapely.prepare(outline)
    inside = shapely.contains_xy(outline, longitude, latitude)
    return yields[inside].reset_index(drop=True)


def _all_around(boundary: gpd.GeoDataFrame, heading_deg: float) -> Plan:
    """Return one strip that holds the whole field, in the direction it was harvested."""
    grid = local_grid(boundary)
    plan = Plan(pd.DataFrame(), heading_deg, grid)
    near, left, far, right = plan.from_grid(boundary.to_crs(grid).geometry).total_bounds
    along, across = (near + far) / 2, (left + right) / 2
    east, north = plan.to_grid(along, across)
    sides = {
        "along_from_m": near - along,
        "along_to_m": far - along,
        "across_from_m": left - across,
        "across_to_m": right - across,
    }
    whole = pd.DataFrame([{"strip": "S1", "block": "B1", "treatment": "none"} | sides])
    return replace(plan, strips=whole, east_m=float(east), north_m=float(north))


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
