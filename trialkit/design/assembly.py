"""From blocks in their places to strips, headlands and lines on the earth."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from trialkit.design.allocation import Allocation
from trialkit.design.fitting import Placed, inner_ground, turned
from trialkit.design.outline import Field
from trialkit.design.tramlines import Cut, place_cut
from trialkit.design.wishes import Wishes

_WGS84 = "EPSG:4326"

#: Decimals of a coordinate in degrees: about a millimetre.
_DECIMALS = 8


def tramline_places(placed: Placed, wishes: Wishes) -> list[list[bool]]:
    """Return which places of each block have a tramline; nothing where all are alike.

    Parameters
    ----------
    placed
        The blocks in their places.
    wishes
        What was wished for.
    """
    if wishes.tramlines is None:
        return []
    wide = placed.width_m
    touched = [
        [
            len(wishes.tramlines.inside(placed.left_m(start) - placed.anchor_m, wide)) > 0
            for start in block.starts
        ]
        for block in placed.blocks
    ]
    return touched if any(len(set(block)) > 1 for block in touched) else []


def strip_table(wishes: Wishes, placed: Placed, allocation: Allocation) -> pd.DataFrame:
    """Return one row a strip, as `TrialPlan` has them.

    Parameters
    ----------
    wishes
        What was wished for.
    placed
        The blocks in their places.
    allocation
        Which place gets which treatment.
    """
    starts = [start for block in placed.blocks for start in block.starts]
    ends = np.array([(block.from_m, block.to_m) for block in placed.blocks for _ in block.starts])
    left = np.array([placed.left_m(start) for start in starts])
    cuts = [_cut(wishes, placed, edge) for edge in left]
    return pd.DataFrame(
        {
            "strip": [f"S{number + 1}" for number in range(len(starts))],
            "block": [
                f"B{number}"
                for number, block in enumerate(placed.blocks, start=1)
                for _ in block.starts
            ],
            "treatment": [name for order in allocation.orders for name in order],
            "along_from_m": ends[:, 0],
            "along_to_m": ends[:, 1],
            "across_from_m": left,
            "across_to_m": left + placed.width_m,
            "cut_from_m": [cut.from_m for cut in cuts],
            "cuts": [cut.number for cut in cuts],
        }
    )


def strip_rows(strips: pd.DataFrame, heading_deg: float) -> pd.DataFrame:
    """Return the strips as rows of a layout, in metres east and north.

    Parameters
    ----------
    strips
        One row a strip, from `strip_table`.
    heading_deg
        Direction of the passes, degrees.
    """
    corners = strips[["along_from_m", "across_from_m", "along_to_m", "across_to_m"]].to_numpy()
    rectangles = [turned(box(*corner), heading_deg) for corner in corners]
    return strips[["strip", "block", "treatment"]].assign(
        role="strip", geometry=pd.Series(rectangles, index=strips.index)
    )


def headland_rows(field: Field, wishes: Wishes) -> pd.DataFrame:
    """Return the ground to turn on as rows of a layout, in metres east and north.

    Parameters
    ----------
    field
        The field.
    wishes
        What was wished for.
    """
    ring = field.ground.difference(inner_ground(field, wishes))
    parts = [part for part in shapely.get_parts(ring) if part.area > 1]
    names = [f"H{number + 1}" for number in range(len(parts))]
    return pd.DataFrame(
        {"strip": names, "block": "", "treatment": "", "role": "headland", "geometry": parts}
    )


def cut_lines(strips: pd.DataFrame, wishes: Wishes, heading_deg: float) -> pd.DataFrame:
    """Return the middle line of each full cut, in metres east and north.

    Parameters
    ----------
    strips
        One row a strip, from `strip_table`.
    wishes
        What was wished for.
    heading_deg
        Direction of the passes, degrees.
    """
    each = strips.loc[strips.index.repeat(strips["cuts"])].copy()
    each["cut"] = each.groupby("strip", sort=False).cumcount() + 1
    middle = (
        each["across_from_m"] + each["cut_from_m"] + (each["cut"] - 0.5) * wishes.harvester_m
    ).to_numpy()
    ends = each[["along_from_m", "along_to_m"]].to_numpy()
    lines = [
        _line(float(near), float(far), float(at), heading_deg)
        for (near, far), at in zip(ends, middle, strict=True)
    ]
    return pd.DataFrame(
        {"strip": each["strip"].to_numpy(), "cut": each["cut"].to_numpy(), "geometry": lines}
    )


def tramline_lines(wishes: Wishes, placed: Placed, strips: pd.DataFrame) -> pd.DataFrame:
    """Return the middle line of each tramline near the strips, in metres east and north.

    Parameters
    ----------
    wishes
        What was wished for.
    placed
        The blocks in their places.
    strips
        One row a strip, from `strip_table`.
    """
    if wishes.tramlines is None:
        return pd.DataFrame({"geometry": []})
    left, right = float(strips["across_from_m"].min()), float(strips["across_to_m"].max())
    middles = wishes.tramlines.inside(left - placed.anchor_m, right - left).mean(axis=1) + left
    near, far = placed.lanes.near_m, placed.lanes.far_m
    return pd.DataFrame({"geometry": [_line(near, far, at, placed.heading_deg) for at in middles]})


def on_earth(rows: pd.DataFrame, crs: CRS) -> gpd.GeoDataFrame:
    """Return rows with shapes in metres as a GeoDataFrame in WGS 84.

    Parameters
    ----------
    rows
        With a column `geometry`, metres east and north.
    crs
        The metre grid.
    """
    frame = gpd.GeoDataFrame(rows, geometry="geometry", crs=crs).to_crs(_WGS84)
    shapes = shapely.transform(
        frame.geometry.to_numpy(), lambda corners: np.round(corners, _DECIMALS)
    )
    # GeoJSON wants outer rings anticlockwise (RFC 7946, section 3.1.6).
    return frame.set_geometry(shapely.orient_polygons(shapes), crs=frame.crs)


def _cut(wishes: Wishes, placed: Placed, left_m: float) -> Cut:
    spared = None
    if wishes.tramlines is not None and placed.starts.clean:
        spared = wishes.tramlines.inside(left_m - placed.anchor_m, placed.width_m)
    cut = place_cut(placed.width_m, wishes.harvester_m, wishes.edge_m, spared)
    if cut is None:  # the starts were chosen so that one fits
        raise AssertionError("a strip was placed that holds no cut")
    return cut


def _line(from_m: float, to_m: float, across_m: float, heading_deg: float) -> BaseGeometry:
    return turned(LineString([(from_m, across_m), (to_m, across_m)]), heading_deg)
