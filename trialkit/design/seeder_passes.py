"""What a seeder's own record says each strip got: the swaths of its passes over the plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from trialkit.design.as_sown import LEAST_LEFT_SHARE
from trialkit.design.strip_parts import polygons_of
from trialkit.language import figures
from trialkit.position import local_grid

#: A treatment must have at least this share of what was sown on a strip; with less the strip is
#: mixed, and nobody guesses. Common practice, no source.
LEAST_SHARE = 0.9

#: Ground of a strip without a pass that is put down to the record's ends and gaps.
_UNSOWN_SHARE = 0.1

#: Steps this many times as long as the usual one end a pass.
_GAP_STEPS = 5.0

_WGS84 = "EPSG:4326"


@dataclass(frozen=True, slots=True, eq=False)
class StripSowing:
    """What the record says of one strip.

    Parameters
    ----------
    strip
        Name of the strip.
    shares
        Share of the ground sown that each label of the record has, largest first.
    sown_share
        Share of the strip that any pass covers.
    unsown
        Ground of the strip without a pass, WGS 84; None where that is no more than a record's
        ends and gaps.
    """

    strip: str
    shares: Mapping[str, float]
    sown_share: float
    unsown: BaseGeometry | None

    @property
    def most(self) -> str:
        """The label that covers most; empty where no pass covers the strip."""
        return next(iter(self.shares), "")

    @property
    def untouched(self) -> bool:
        """Whether too little of the strip was sown to count."""
        return self.sown_share < LEAST_LEFT_SHARE

    def mixed(self, least_share: float = LEAST_SHARE) -> bool:
        """Tell whether no label has the share that it takes.

        Parameters
        ----------
        least_share
            Share of the ground sown.
        """
        return bool(self.shares) and next(iter(self.shares.values())) < least_share

    def told(self) -> str:
        """Return the shares as words: `70% dressed, 30% untreated`."""
        return ", ".join(
            f"{figures(f'{share:.0%}')} {label}" for label, share in self.shares.items()
        )


def passes_from_points(points: pd.DataFrame, width_m: float) -> gpd.GeoDataFrame:
    """Join the records of a seeder to the lines it drove.

    Parameters
    ----------
    points
        Records in the order driven: `longitude latitude treatment`, and `pass_id` and `file`
        where known.
    width_m
        Width of the seeder, m: a step longer than it is no step where the usual one is short.

    Returns
    -------
    GeoDataFrame
        One row a line, `treatment geometry`, WGS 84. A line ends where label, pass or file
        change, and where the next record is far off.
    """
    known = points.dropna(subset=["longitude", "latitude"])
    places = gpd.GeoSeries(gpd.points_from_xy(known["longitude"], known["latitude"]), crs=_WGS84)
    if len(places) < 2:
        return gpd.GeoDataFrame({"treatment": []}, geometry=[], crs=_WGS84)
    grid = local_grid(gpd.GeoDataFrame(geometry=places))
    metres = shapely.get_coordinates(places.to_crs(grid).to_numpy())
    step = np.hypot(*np.diff(metres, axis=0).T)
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 0.0
    ends = step > max(_GAP_STEPS * usual, width_m)
    for name in ("treatment", "pass_id", "file"):
        if name in known:
            column = known[name].astype(str).to_numpy()
            ends |= column[1:] != column[:-1]
    labels = known["treatment"].astype(str).to_numpy()
    lines = [
        (labels[run[0]], shapely.LineString(metres[run]))
        for run in np.split(np.arange(len(metres)), np.flatnonzero(ends) + 1)
        if len(np.unique(metres[run], axis=0)) > 1
    ]
    frame = gpd.GeoDataFrame(
        {"treatment": [label for label, _ in lines]},
        geometry=[line for _, line in lines],
        crs=grid,
    )
    return frame.to_crs(_WGS84)


def what_strips_got(
    planned: gpd.GeoDataFrame, passes: gpd.GeoDataFrame, width_m: float
) -> tuple[StripSowing, ...]:
    """Lay the swaths of a seeder's passes over the strips.

    Parameters
    ----------
    planned
        Strips: `strip geometry`, and `role` where there is other ground.
    passes
        One row a pass: `treatment`, the label of the record, and `geometry`, a line that was
        driven or the ground that was covered; any coordinate system.
    width_m
        Width of the seeder, m: a line stands for the ground so wide about it.

    Returns
    -------
    tuple of StripSowing
        One a strip, in the plan's order.

    Examples
    --------
    >>> from shapely.geometry import LineString, box
    >>> plan = gpd.GeoDataFrame(
    ...     {"strip": ["S1"]}, geometry=[box(0, 0, 24, 300)], crs="EPSG:32755"
    ... )
    >>> drawn = gpd.GeoDataFrame(
    ...     {"treatment": ["tank A", "tank A"]},
    ...     geometry=[LineString([(x, -5), (x, 305)]) for x in (6, 18)], crs="EPSG:32755"
    ... )
    >>> (got,) = what_strips_got(plan, drawn, width_m=12)
    >>> got.most, got.mixed(), got.unsown is None
    ('tank A', False, True)
    """
    strips = planned[planned["role"] == "strip"] if "role" in planned else planned
    grid = local_grid(strips)
    swaths = _swaths(passes.to_crs(grid), width_m)
    on_grid = strips.to_crs(grid).geometry
    return tuple(
        _one(str(name), strip, swaths, width_m, grid)
        for name, strip in zip(strips["strip"], on_grid, strict=True)
    )


def _swaths(passes: gpd.GeoDataFrame, width_m: float) -> dict[str, BaseGeometry]:
    """Return the ground that each label covered."""
    found = {}
    for label, part in passes.groupby("treatment", sort=False):
        shapes = part.geometry.to_numpy()
        lines = shapely.get_dimensions(shapes) < 2
        driven = shapely.buffer(shapes[lines], width_m / 2, cap_style="flat")
        found[str(label)] = shapely.union_all(np.concatenate([driven, shapes[~lines]]))
    return found


def _one(
    name: str, strip: BaseGeometry, swaths: Mapping[str, BaseGeometry], width_m: float, grid: object
) -> StripSowing:
    own = {label: polygons_of(strip.intersection(swath)) for label, swath in swaths.items()}
    areas = {label: ground.area for label, ground in own.items() if ground.area > 0}
    total = sum(areas.values())
    ranked = sorted(areas, key=lambda label: (-areas[label], label))
    cover = polygons_of(shapely.union_all(list(own.values())))
    sown_share = float(cover.area / strip.area)
    unsown = None
    if sown_share < 1 - _UNSOWN_SHARE:
        # Gaps narrower than half a pass are steering, not ground without seed.
        opened = strip.difference(cover).buffer(-width_m / 4).buffer(width_m / 4)
        bare = polygons_of(opened.intersection(strip))
        unsown = gpd.GeoSeries([bare], crs=grid).to_crs(_WGS84).iloc[0] if bare.area else None
    shares = {label: float(areas[label] / total) for label in ranked}
    return StripSowing(name, shares, sown_share, unsown)
