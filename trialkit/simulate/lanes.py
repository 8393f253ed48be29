"""The harvester's lanes over the strips, and what truly grows in them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon, box

from trialkit.simulate.paddock import Ground
from trialkit.simulate.plan import Floats, Plan

#: Widest piece of a cut that is taken to yield the same from edge to edge, m.
_PIECE_M = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Stand:
    """The standing crop, lane by lane.

    Parameters
    ----------
    along_m
        Places along the lanes, m, shape (places,).
    yield_t_ha
        True yield over the width of each lane, t/ha, shape (lanes, places).
    strips
        One row a strip, over the ground that lanes cover: `strip block treatment area_ha
        yield_t_ha undressed_t_ha`, the last being what the same ground yields undressed.
    gains
        One row a treatment, as index: `gain_t_ha`, the mean over all strips of what it adds to
        their ground, whatever they were sown with; and `mean_t_ha`, the mean true yield of its
        own strips.
    """

    along_m: Floats
    yield_t_ha: Floats
    strips: pd.DataFrame
    gains: pd.DataFrame


def lay_lanes(plan: Plan, swath_m: float, *, follow_strips: bool = True) -> pd.DataFrame:
    """Lay the harvester's lanes over the strips.

    Parameters
    ----------
    plan
        The strips.
    swath_m
        Width of the cut, m.
    follow_strips
        Whether lanes keep to strips: as many whole cuts as fit, in the middle of each strip, at
        least one. If not, lanes lie side by side over the whole width wherever the strips are,
        and the last one is as wide as what is left.

    Returns
    -------
    DataFrame
        One row a lane from left to right: `across_m` of its middle, `cut_m`, `along_from_m` and
        `along_to_m`, from edge to edge of the ground that holds the strips.
    """
    strips = plan.strips
    left, right = strips["across_from_m"].to_numpy(), strips["across_to_m"].to_numpy()
    if follow_strips:
        fit = np.maximum(np.floor((right - left) / swath_m + 0.01).astype(int), 1)
        middle = np.repeat((left + right) / 2, fit)
        place = np.concatenate([np.arange(n) - (n - 1) / 2 for n in fit])
        across = np.unique(np.round(middle + place * swath_m, 2))
        cut = np.full(len(across), swath_m)
    else:
        edges = np.append(np.arange(left.min(), right.max() - 0.01, swath_m), right.max())
        across, cut = (edges[:-1] + edges[1:]) / 2, np.diff(edges)
    reach = plan.length_m
    ground = strips_outline(plan)
    ends = [
        shapely.intersection(ground, LineString([(-reach, at), (reach, at)])).bounds
        for at in across
    ]
    near, far = np.array([[end[0], end[2]] for end in ends]).T
    return pd.DataFrame({"across_m": across, "cut_m": cut, "along_from_m": near, "along_to_m": far})


def strips_outline(plan: Plan) -> Polygon:
    """Return the ground that holds all strips, m along (x) and across (y), without bays.

    Parameters
    ----------
    plan
        The strips.
    """
    bounds = plan.strips[["along_from_m", "across_from_m", "along_to_m", "across_to_m"]]
    corners = shapely.get_coordinates([box(*row) for row in bounds.to_numpy()])
    return Polygon(shapely.get_coordinates(shapely.MultiPoint(corners).convex_hull))


def strip_at(plan: Plan, along_m: Floats, across_m: Floats) -> NDArray[np.int64]:
    """Return the row of the strip at each place, -1 outside.

    Parameters
    ----------
    plan
        The strips.
    along_m, across_m
        Places, m; arrays are broadcast against each other.
    """
    shape = np.broadcast_shapes(along_m.shape, across_m.shape)
    found = np.full(shape, -1, dtype=np.int64)
    sides = ["along_from_m", "along_to_m", "across_from_m", "across_to_m"]
    for row, (near, far, left, right) in enumerate(plan.strips[sides].to_numpy(dtype=float)):
        within = (along_m >= near) & (along_m < far) & (across_m >= left) & (across_m < right)
        found[within] = row
    return found


def grow(
    ground: Ground,
    lanes: pd.DataFrame,
    *,
    seed: int | np.random.Generator,
    step_m: float = 1.0,
) -> Stand:
    """Let the crop grow in the lanes.

    Parameters
    ----------
    ground
        The field as drawn.
    lanes
        The harvester's lanes, from `lay_lanes`.
    seed
        Seed of the noise along the passes, or a generator.
    step_m
        Distance between places along the lanes, m.

    Returns
    -------
    Stand
        True yields along each lane, of each strip and by treatment.
    """
    plan = ground.plan
    near, far = lanes["along_from_m"].min(), lanes["along_to_m"].max()
    along = np.arange(near + step_m / 2, far, step_m)
    pieces = max(1, int(np.ceil(lanes["cut_m"].max() / _PIECE_M)))
    share = (np.arange(pieces) + 0.5) / pieces - 0.5
    cut = lanes["cut_m"].to_numpy()
    across = (lanes["across_m"].to_numpy()[:, None] + cut[:, None] * share).reshape(-1, 1)
    noise = ground.pass_noise_t_ha((len(lanes), len(along)), step_m, np.random.default_rng(seed))
    strip = strip_at(plan, along[None, :], across)
    of_strip = np.append(ground.strip_t_ha, 0.0)[strip]  # -1, outside, takes the zero at the end
    bare = ground.potential_t_ha(along[None, :], across) + of_strip + np.repeat(noise, pieces, 0)
    loss = ground.frost_loss(along[None, :], across)
    # An edge of a lane that sticks out of the field, or a place past its ends, is no ground.
    ends = lanes[["along_from_m", "along_to_m"]].to_numpy().repeat(pieces, axis=0)
    covered = (along >= ends[:, :1]) & (along < ends[:, 1:])
    area = np.where(covered, (cut * step_m / pieces).repeat(pieces)[:, None], 0.0)
    yields, strips, gains = _by_strip(ground, bare, loss, strip, area)
    mean = yields.reshape(len(lanes), pieces, len(along)).mean(axis=1)
    return Stand(along, mean, strips, gains)


def _by_strip(
    ground: Ground, bare: Floats, loss: Floats, strip: NDArray[np.int64], area_m2: Floats
) -> tuple[Floats, pd.DataFrame, pd.DataFrame]:
    """Return true yield at each place, and means by strip and by treatment."""
    table = ground.plan.strips[["strip", "block", "treatment"]].copy()
    sown = table["treatment"].to_numpy()
    inside = strip >= 0
    row, weight = strip[inside], area_m2[inside]
    total = np.bincount(row, weight, len(table))

    def mean(values: Floats) -> Floats:
        grain = np.bincount(row, weight * values[inside], len(table))
        means: Floats = np.divide(grain, total, out=np.full(len(table), np.nan), where=total > 0)
        return means

    undressed = ground.dressed(bare, loss, "")
    yields, undressed_mean, gains = undressed.copy(), mean(undressed), {}
    for treatment in dict.fromkeys(sown):
        dressed = ground.dressed(bare, loss, treatment)
        here = inside & (sown[strip] == treatment)
        yields[here] = dressed[here]
        gains[treatment] = float(np.nanmean(mean(dressed) - undressed_mean))
    table["area_ha"] = total / 10_000
    table["yield_t_ha"] = mean(yields)
    table["undressed_t_ha"] = undressed_mean
    means = table.groupby("treatment", sort=False)["yield_t_ha"].mean()
    by_treatment = pd.DataFrame({"gain_t_ha": pd.Series(gains), "mean_t_ha": means})
    return yields, table, by_treatment.rename_axis("treatment")
