"""From a field and wishes to blocks of strips in their places, in metres."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry.base import BaseGeometry

from trialkit.design.outline import Field, longest_side_deg
from trialkit.design.placement import (
    DRAWN_M,
    Block,
    Lanes,
    Site,
    choose_blocks,
    find_lanes,
    find_sites,
)
from trialkit.design.starts import Starts, ways_to_start
from trialkit.design.wishes import Wishes
from trialkit.errors import LayoutError

_WGS84 = "EPSG:4326"

#: A guidance line from further off is of another field, or of none, km.
FARTHEST_ANCHOR_KM = 20.0


@dataclass(frozen=True, slots=True)
class Placed:
    """Blocks in their places, and the axes they are measured on.

    Parameters
    ----------
    heading_deg
        Direction of the passes, degrees clockwise from north.
    lanes
        The passes across the field.
    starts
        How strips start.
    blocks
        The blocks, from left to right, then along.
    anchor_m
        Edge of pass number 0, m across.
    width_m
        Width of a strip, m.
    """

    heading_deg: float
    lanes: Lanes
    starts: Starts
    blocks: tuple[Block, ...]
    anchor_m: float
    width_m: float

    def left_m(self, start: int) -> float:
        """Return the left edge of the strip that starts with a pass, m across."""
        return float(self.lanes.left_m[start])


@dataclass(frozen=True, slots=True)
class Way:
    """One way to lay strips: the passes, how strips start, and where blocks could lie."""

    lanes: Lanes
    starts: Starts
    sites: list[Site]


def place(
    field: Field, wishes: Wishes, heading_deg: float, blocks: int, strips: int
) -> Placed | None:
    """Return the blocks in their places, or None where they do not fit.

    Parameters
    ----------
    field
        The field.
    wishes
        What the strips must fit.
    heading_deg
        Direction of the passes, degrees.
    blocks, strips
        Number of blocks, and of strips in each.
    """
    for way in find_ways(field, wishes, heading_deg, strips):
        lanes, passes = way.lanes, way.starts.passes
        middle = len(lanes.number) / 2
        found = choose_blocks(way.sites, blocks, wishes.least_length_m, middle, passes)
        if found is not None:
            found = sorted(found, key=lambda block: (block.starts, block.from_m))
            anchor = float(lanes.left_m[0] - lanes.number[0] * lanes.seeder_m)
            wide = passes * wishes.seeder_m
            return Placed(heading_deg, lanes, way.starts, tuple(found), anchor, wide)
    return None


def find_ways(field: Field, wishes: Wishes, heading_deg: float, strips: int) -> Iterator[Way]:
    """Return where blocks could lie, for each way the strips may start, the best first.

    Parameters
    ----------
    field
        The field.
    wishes
        What the strips must fit.
    heading_deg
        Direction of the passes, degrees.
    strips
        Strips in a block.
    """
    passes_allowed = wishes.passes()
    inner = turned(inner_ground(field, wishes), heading_deg)
    if inner.is_empty:
        return
    anchor = None if wishes.anchor is None else _anchor_m(wishes.anchor, field.crs, heading_deg)
    give = min(DRAWN_M, wishes.headland / 2) + 0.001
    lanes = find_lanes(inner, wishes.seeder_m, anchor, give)
    for passes in passes_allowed:
        for starts in ways_to_start(lanes.number, passes, wishes):
            yield Way(lanes, starts, find_sites(lanes, starts.allowed, passes, strips))


def inner_ground(field: Field, wishes: Wishes) -> BaseGeometry:
    """Return the ground free for strips, metres east and north.

    Parameters
    ----------
    field
        The field.
    wishes
        Headlands, and the distance kept from obstacles.
    """
    inner = field.outer.buffer(-wishes.headland, join_style="mitre")
    if field.obstacles.is_empty:
        return inner
    return inner.difference(field.obstacles.buffer(wishes.clear))


def turned(shape: BaseGeometry, heading_deg: float) -> BaseGeometry:
    """Swap between metres east and north and metres along and across; the same both ways.

    Parameters
    ----------
    shape
        Any shape.
    heading_deg
        Direction of along, degrees clockwise from north; across is to its right.
    """
    sine, cosine = math.sin(math.radians(heading_deg)), math.cos(math.radians(heading_deg))
    turn = np.array([[sine, cosine], [cosine, -sine]])
    return shapely.transform(shape, lambda corners: corners @ turn)


def chosen_heading(field: Field, wishes: Wishes) -> float:
    """Return the direction of the passes, degrees from -45 to 135.

    Parameters
    ----------
    field
        The field, whose longest side counts where no heading was wished for.
    wishes
        What was wished for.
    """
    if wishes.heading_deg is None:
        return longest_side_deg(field)
    return upright(wishes.heading_deg)


def upright(heading_deg: float) -> float:
    """Return a heading between -45 and 135 degrees: a strip is driven both ways.

    Parameters
    ----------
    heading_deg
        Any heading, degrees.
    """
    return (float(heading_deg) + 45) % 180 - 45


def _anchor_m(anchor: tuple[float, float], crs: CRS, heading_deg: float) -> float:
    point = gpd.GeoSeries(gpd.points_from_xy([anchor[0]], [anchor[1]]), crs=_WGS84).to_crs(crs)
    place = point.iloc[0]
    off_km = math.hypot(place.x, place.y) / 1000
    if not off_km < FARTHEST_ANCHOR_KM:
        raise LayoutError(
            f"The anchor {anchor[0]:.6g}, {anchor[1]:.6g} is not near the field. Give the "
            "longitude and then the latitude of a point on the edge of a pass in it."
        )
    return float(shapely.get_coordinates(turned(place, heading_deg))[0, 1])
