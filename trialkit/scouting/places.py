"""Where to count: random places inside the strips, drawn before anybody has seen the crop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from shapely import Point, get_coordinates

from trialkit.errors import ScoutingError
from trialkit.position import local_grid
from trialkit.scouting.strip_labels import Floats, require_columns

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from shapely.geometry import Polygon

#: Draws for one place before a strip counts as too ragged for it.
_TRIES = 200
_QUARTERS = ("north", "north-east", "east", "south-east", "south", "south-west", "west",
             "north-west")  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class CountingSheet:
    """Places to count at, strip by strip.

    Parameters
    ----------
    places
        One row a place, in the order they are walked, up one strip and down the next: `strip
        place along_m across_m drill_row longitude latitude`. Metres from the start of the strip
        and from its left edge, facing away from the start; `drill_row` from 1 at that edge,
        missing where the row spacing is not known. The treatment is left out on purpose: who
        counts should not know it.
    start
        Side of the field where all strips start, such as `"south"`.
    seed
        Seed of the draw.
    end_m, edge_m
        Ground left out at the ends and along the edges, m.
    """

    places: pd.DataFrame
    start: str
    seed: int
    end_m: float
    edge_m: float


def counting_sheet(
    layout: GeoDataFrame,
    *,
    places: int = 5,
    seed: int,
    end_m: float = 20.0,
    edge_m: float = 1.0,
    row_spacing_m: float | None = None,
) -> CountingSheet:
    """Draw random places to count at inside each strip.

    Each strip is cut along its length into as many equal sections as there are places, and one
    place is drawn in each, so that the places spread over the whole strip and none was chosen.

    Parameters
    ----------
    layout
        The strips, `strip` and geometry, in any coordinate system; headlands (`role`) are passed
        over.
    places
        Places a strip; see `counts_needed` and `counts_for_difference`.
    seed
        Seed of the draw, kept with the sheet. The same seed draws the same places.
    end_m
        Ground left out at each end, m: turning, overlap and headland traffic.
    edge_m
        Ground left out along each edge, m: the neighbour's seed, wheel tracks.
    row_spacing_m
        Distance between drill rows, m, to name the row to count.

    Returns
    -------
    CountingSheet

    Raises
    ------
    ScoutingError
        If there are no strips, or one has no room left inside its margins.

    Notes
    -----
    Stratified random sampling along the strip (Cochran 1977, Sampling Techniques, ch. 5: from
    memory). How much to leave out at ends and edges: common practice, no source.

    Examples
    --------
    >>> import geopandas as gpd
    >>> from shapely.geometry import box
    >>> strips = gpd.GeoDataFrame({"strip": ["S1"]}, crs="EPSG:4326",
    ...                           geometry=[box(85, -38.503, 85.0002, -38.5)])
    >>> sheet = counting_sheet(strips, places=3, seed=7)
    >>> sheet.start, sheet.places["along_m"].round().tolist()
    ('south', [81.0, 193.0, 245.0])
    """
    require_columns(layout, ["strip"], "strips of the layout")
    strips = layout[layout["role"] == "strip"] if "role" in layout else layout
    if strips.empty:
        raise ScoutingError("The layout holds no strips to count in. Draw or lay out strips first.")
    if layout.crs is None:
        raise ScoutingError("The layout states no coordinate system. Save it as WGS 84.")
    if places < 1:
        raise ScoutingError(f"places={places} is no number of places. Give 1 or more, such as 5.")
    if isinstance(seed, bool) or not isinstance(seed, (int, np.integer)) or seed < 0:
        raise ScoutingError(f"seed={seed!r} is no whole number from 0 up, such as 2024.")
    if row_spacing_m is not None and not 0 < row_spacing_m <= 2:
        raise ScoutingError(f"row_spacing_m={row_spacing_m:g} is not in metres: 25 cm is 0.25.")
    grid = local_grid(strips)
    polygons = strips.to_crs(grid).geometry
    heading = _common_heading(polygons.to_list())
    draw = np.random.default_rng(seed)
    parts = []
    for number, (name, polygon) in enumerate(zip(strips["strip"], polygons, strict=True)):
        own = _places_in(str(name), polygon, heading, places, end_m, edge_m, draw)
        parts.append(own.iloc[::-1] if number % 2 else own)
    table = pd.concat(parts, ignore_index=True)
    table = _with_degrees(table, strips, row_spacing_m)
    return CountingSheet(table, _side(-heading), int(seed), end_m, edge_m)


def _common_heading(polygons: list[Polygon]) -> Floats:
    """Return the unit vector along the longest strip, pointing north, or east where level."""
    longest = max(polygons, key=lambda polygon: float(polygon.length))
    corners = get_coordinates(longest.minimum_rotated_rectangle)[:3]
    sides = np.diff(corners, axis=0)
    along = sides[int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))]
    along = along / np.hypot(*along)
    forward = along[1] > 1e-6 or (abs(along[1]) <= 1e-6 and along[0] > 0)
    return np.asarray(along if forward else -along)


def _places_in(
    name: str,
    polygon: Polygon,
    heading: Floats,
    places: int,
    end_m: float,
    edge_m: float,
    draw: np.random.Generator,
) -> pd.DataFrame:
    """Draw one place in each section of a strip."""
    left = np.array([-heading[1], heading[0]])
    corners = get_coordinates(polygon)
    along, to_left = corners @ heading, corners @ left
    start, length = float(along.min()), float(np.ptp(along))
    top, width = float(to_left.max()), float(np.ptp(to_left))
    if length <= 2 * end_m or width <= 2 * edge_m:
        raise ScoutingError(
            f"Strip {name} is {length:.0f} m long and {width:.0f} m wide: nothing is left of it "
            f"with end_m={end_m:g} and edge_m={edge_m:g}. Give smaller margins."
        )
    inner = polygon.buffer(-min(edge_m, end_m) * 0.999) if min(edge_m, end_m) > 0 else polygon
    section = (length - 2 * end_m) / places
    found = []
    for place in range(places):
        for _ in range(_TRIES):
            at = end_m + section * (place + float(draw.random()))
            across = edge_m + (width - 2 * edge_m) * float(draw.random())
            x, y = (start + at) * heading + (top - across) * left
            if inner.covers(Point(x, y)):
                found.append((name, place + 1, at, across, x, y))
                break
        else:
            raise ScoutingError(
                f"Strip {name}: no room was found for place {place + 1} of {places} inside its "
                "margins. The strip is ragged there; ask for fewer places or smaller margins."
            )
    return pd.DataFrame(found, columns=["strip", "place", "along_m", "across_m", "x_m", "y_m"])


def _with_degrees(
    table: pd.DataFrame, strips: GeoDataFrame, row_spacing_m: float | None
) -> pd.DataFrame:
    from geopandas import points_from_xy

    points = points_from_xy(table["x_m"], table["y_m"], crs=local_grid(strips)).to_crs("EPSG:4326")
    row = pd.array([pd.NA] * len(table), dtype="Int64")
    if row_spacing_m is not None:
        row = pd.array(np.ceil(table["across_m"] / row_spacing_m).astype(int), dtype="Int64")
    return table.drop(columns=["x_m", "y_m"]).assign(
        drill_row=row, longitude=np.round(points.x, 7), latitude=np.round(points.y, 7)
    )


def _side(direction: Floats) -> str:
    """Return the side of the field that a vector east and north points to."""
    bearing = float(np.degrees(np.arctan2(direction[0], direction[1]))) % 360
    return _QUARTERS[round(bearing / 45) % 8]
