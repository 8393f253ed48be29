"""Strips on the ground: laid out for a simulation, and measured back from any layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from shapely.geometry import Polygon, box

from trialkit.errors import LayoutError
from trialkit.position import local_grid

Floats = NDArray[np.float64]

_WGS84 = "EPSG:4326"

#: Decimals of a coordinate in degrees: about a centimetre, as a machine's terminal writes them.
COORDINATE_DECIMALS = 7

#: Share of its enclosing rectangle that a strip must fill to be driven as one.
_RECTANGLE_SHARE = 0.98


@dataclass(frozen=True, slots=True)
class Site:
    """Where a simulated trial lies: at sea, so that no real farm is shown.

    Parameters
    ----------
    longitude, latitude
        The middle of the trial, degrees, WGS 84.
    heading_deg
        Direction of the strips, degrees clockwise from north.
    """

    longitude: float = 85.0
    latitude: float = -38.5
    heading_deg: float = 23.0


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Strips in metres along and across their own direction, about the trial's middle.

    Parameters
    ----------
    strips
        One row a strip: `strip block treatment along_from_m along_to_m across_from_m
        across_to_m`. Across is to the right of the heading.
    heading_deg
        Direction of the strips, degrees clockwise from north, from -45 to 135.
    crs
        Metre grid about the trial, north up.
    east_m, north_m
        The trial's middle in that grid, m.
    """

    strips: pd.DataFrame
    heading_deg: float
    crs: CRS
    east_m: float = 0.0
    north_m: float = 0.0

    @property
    def length_m(self) -> float:
        """From the near end of the strips to the far end, m."""
        return float(self.strips["along_to_m"].max() - self.strips["along_from_m"].min())

    @property
    def width_m(self) -> float:
        """From the left edge of the strips to the right edge, m."""
        return float(self.strips["across_to_m"].max() - self.strips["across_from_m"].min())

    def to_lonlat(self, along_m: ArrayLike, across_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return longitude and latitude, degrees, of positions in the plan, m."""
        east, north = self.to_grid(along_m, across_m)
        back = Transformer.from_crs(self.crs, _WGS84, always_xy=True)
        longitude, latitude = back.transform(east, north)
        return longitude, latitude

    def to_grid(self, along_m: ArrayLike, across_m: ArrayLike) -> tuple[Floats, Floats]:
        """Return metres east and north in the metre grid of positions in the plan, m."""
        sine, cosine = _direction(self.heading_deg)
        along, across = np.asarray(along_m, dtype=float), np.asarray(across_m, dtype=float)
        east: Floats = self.east_m + along * sine + across * cosine
        north: Floats = self.north_m + along * cosine - across * sine
        return east, north

    def from_grid(self, polygons: gpd.GeoSeries) -> gpd.GeoSeries:
        """Return polygons of the metre grid in metres along (x) and across (y)."""
        sine, cosine = _direction(self.heading_deg)
        matrix = [sine, cosine, cosine, -sine, 0.0, 0.0]
        return polygons.translate(-self.east_m, -self.north_m).affine_transform(matrix)


def lay_strips(
    treatments: Sequence[str],
    blocks: int,
    *,
    seed: int | np.random.Generator,
    length_m: float | Sequence[float] = 200.0,
    width_m: float = 24.0,
    headland_m: float = 24.0,
    site: Site | None = None,
) -> gpd.GeoDataFrame:
    """Lay neighbouring strips in blocks, each treatment once in a block, in random order.

    Parameters
    ----------
    treatments
        Names of the treatments.
    blocks
        Number of blocks.
    seed
        Seed of the draw, or a generator.
    length_m
        Length of the strips, m: one for all, or one for each block. All start on one line.
    width_m
        Width of a strip, m.
    headland_m
        Width of the ground left all around the strips, m; 0 for none.
    site
        Where the trial lies, and the direction of its strips.

    Returns
    -------
    GeoDataFrame
        Columns `strip block treatment role geometry`, WGS 84: strips `S1`, `S2` ... in order
        across the field, then the headlands `H1`, `H2` at the near and the far end.

    Raises
    ------
    LayoutError
        If there are no treatments or blocks, or not one length for each block.

    Examples
    --------
    >>> from trialkit import simulate
    >>> layout = simulate.lay_strips(["untreated", "dressed"], blocks=4, seed=1)
    >>> len(layout[layout["role"] == "strip"])
    8
    """
    site = site or Site()
    if not len(treatments) or blocks < 1:
        raise LayoutError("A trial needs at least one treatment and one block.")
    lengths = np.atleast_1d(np.asarray(length_m, dtype=float))
    if len(lengths) not in (1, blocks):
        raise LayoutError(f"Give one length, or one for each of the {blocks} blocks.")
    lengths = np.broadcast_to(lengths, (blocks,))
    draw = np.random.default_rng(seed)
    order = [str(name) for _ in range(blocks) for name in draw.permutation(list(treatments))]
    number = len(order)
    block = np.repeat(np.arange(blocks), len(treatments))
    near = -lengths.max() / 2
    left = (np.arange(number) - number / 2) * width_m
    bounds = pd.DataFrame(
        {
            "along_from_m": near,
            "along_to_m": near + lengths[block],
            "across_from_m": left,
            "across_to_m": left + width_m,
        }
    )
    labels = {
        "strip": [f"S{at + 1}" for at in range(number)],
        "block": [f"B{at + 1}" for at in block],
        "treatment": order,
        "role": "strip",
    }
    rectangles = _rectangles(bounds)
    rows = pd.DataFrame(labels | {"geometry": rectangles})
    if headland_m > 0:
        rows = pd.concat([rows, _headlands(rectangles, headland_m)], ignore_index=True)
    return _on_earth(rows, site)


def field_boundary(layout: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the outline of a field that holds a layout and no more.

    Parameters
    ----------
    layout
        Strips and headlands, as `lay_strips` returns them.

    Returns
    -------
    GeoDataFrame
        One polygon, in the coordinate system of the layout.
    """
    # Pieces share corners that were rounded one by one: closing by a few centimetres joins them.
    grid = local_grid(layout)
    outline = layout.to_crs(grid).union_all().convex_hull.simplify(0.1)
    return _rounded(gpd.GeoDataFrame(geometry=[outline], crs=grid).to_crs(layout.crs))


def measure(layout: gpd.GeoDataFrame) -> Plan:
    """Measure the strips of a layout along and across their direction.

    Parameters
    ----------
    layout
        Columns `strip block treatment geometry` and, if there are headlands, `role`; in any
        coordinate system. Strips are rectangles that all run the same way.

    Returns
    -------
    Plan
        The strips in metres about the trial's middle.

    Raises
    ------
    LayoutError
        If there is no strip, or a strip is no rectangle in the common direction.
    """
    strips = layout[layout["role"] == "strip"] if "role" in layout else layout
    if not len(strips):
        raise LayoutError("The layout has no strips to simulate on.")
    crs = local_grid(strips)
    polygons = strips.geometry.to_crs(crs)
    plan = Plan(pd.DataFrame(), _heading(polygons), crs)
    bounds = plan.from_grid(polygons).bounds
    filled = polygons.area / ((bounds["maxx"] - bounds["minx"]) * (bounds["maxy"] - bounds["miny"]))
    if (filled < _RECTANGLE_SHARE).any():
        name = strips["strip"][filled < _RECTANGLE_SHARE].iloc[0]
        raise LayoutError(
            f"Strip {name} is not a rectangle that runs the way the others do. "
            "The simulation drives straight strips only."
        )
    along = float(bounds["minx"].min() + bounds["maxx"].max()) / 2
    across = float(bounds["miny"].min() + bounds["maxy"].max()) / 2
    sine, cosine = _direction(plan.heading_deg)
    table = strips[["strip", "block", "treatment"]].assign(
        along_from_m=bounds["minx"] - along,
        along_to_m=bounds["maxx"] - along,
        across_from_m=bounds["miny"] - across,
        across_to_m=bounds["maxy"] - across,
    )
    return Plan(
        pd.DataFrame(table).reset_index(drop=True),
        plan.heading_deg,
        crs,
        east_m=along * sine + across * cosine,
        north_m=along * cosine - across * sine,
    )


def _direction(heading_deg: float) -> tuple[float, float]:
    """Return east and north part of a heading."""
    angle = np.deg2rad(heading_deg)
    return float(np.sin(angle)), float(np.cos(angle))


def _rectangles(bounds: pd.DataFrame) -> list[Polygon]:
    columns = ["along_from_m", "across_from_m", "along_to_m", "across_to_m"]
    return [box(*row) for row in bounds[columns].to_numpy()]


def _headlands(strips: list[Polygon], headland_m: float) -> pd.DataFrame:
    """Return the ground around the strips, cut in two halfway along them."""
    ground = shapely.union_all(strips)
    outline = ground.convex_hull.buffer(headland_m, join_style="mitre")
    near, left, far, right = outline.bounds
    middle = (ground.bounds[0] + ground.bounds[2]) / 2
    ends = [box(near, left, middle, right), box(middle, left, far, right)]
    return pd.DataFrame(
        {
            "strip": ["H1", "H2"],
            "block": "",
            "treatment": "",
            "role": "headland",
            "geometry": [outline.difference(ground).intersection(end) for end in ends],
        }
    )


def _on_earth(rows: pd.DataFrame, site: Site) -> gpd.GeoDataFrame:
    """Turn polygons in metres along and across into WGS 84, about the site."""
    middle = gpd.points_from_xy([site.longitude], [site.latitude], crs=_WGS84)
    sine, cosine = _direction(site.heading_deg)
    polygons = gpd.GeoSeries(
        list(rows["geometry"]), crs=local_grid(gpd.GeoDataFrame(geometry=middle))
    )
    turned = polygons.affine_transform([sine, cosine, cosine, -sine, 0.0, 0.0])
    frame = gpd.GeoDataFrame(rows.drop(columns="geometry"), geometry=turned)
    return _rounded(frame.to_crs(_WGS84))


def _rounded(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    polygons = shapely.transform(
        frame.geometry.to_numpy(), lambda corners: np.round(corners, COORDINATE_DECIMALS)
    )
    # Turning from along/across to east/north mirrors the plan; GeoJSON wants outer rings
    # anticlockwise (RFC 7946, section 3.1.6).
    return frame.set_geometry(shapely.orient_polygons(polygons), crs=frame.crs)


def _heading(polygons: gpd.GeoSeries) -> float:
    """Return the direction of the longest side of a strip, degrees from -45 to 135.

    The range ends where few fields lie: a strip that runs north is never taken to run south.
    """
    rectangles = [polygon.minimum_rotated_rectangle for polygon in polygons]
    corners = [shapely.get_coordinates(rectangle)[:3] for rectangle in rectangles]
    sides = np.concatenate([np.diff(corner, axis=0) for corner in corners])
    east, north = sides[np.argmax(np.hypot(sides[:, 0], sides[:, 1]))]
    return float((np.rad2deg(np.arctan2(east, north)) + 45) % 180 - 45)
