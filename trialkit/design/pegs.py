"""Where the strips lie as measured on the ground: from a corner, along the ends of the strips."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from trialkit.design.fitting import turned, upright
from trialkit.errors import LayoutError
from trialkit.language import marked
from trialkit.position import local_grid

_WGS84 = "EPSG:4326"

#: Edges nearer than this share a peg, m: no tape is read better over a field.
SAME_PEG_M = 0.1

#: Blocks whose left edges differ by less lie along the same passes, m.
_SAME_PASSES_M = 0.5

_COMPASS = (
    marked("north"), marked("north-east"), marked("east"), marked("south-east"),
    marked("south"), marked("south-west"), marked("west"), marked("north-west"),
)  # fmt: skip

#: A point far outside any field, m.
_FAR_M = 30_000.0


@dataclass(frozen=True, slots=True, eq=False)
class PeggedOut:
    """A layout as measured from its reference corner.

    Parameters
    ----------
    strips
        One row a strip, in the order they lie: `strip block treatment from_m to_m start_m
        length_m area_ha`; from and to across the passes from the reference corner, start along
        them (0 where the strip begins level with the corner).
    pegs
        One row a peg, at the near end of each edge of a strip: `peg left_strip right_strip
        across_m along_m longitude latitude`; a strip's name is empty where the peg has none on
        that side. The first is the reference corner.
    heading_deg
        Direction of the passes away from the reference corner, degrees clockwise from north.
    corner
        Which corner of the trial the reference corner is: `south-west` and the like.
    to_fence_m
        From the reference corner to the outline of the field: back along the passes, and
        sideways away from the strips, m; None where the field is not known.
    """

    strips: pd.DataFrame
    pegs: pd.DataFrame
    heading_deg: float
    corner: str
    to_fence_m: tuple[float, float] | None = None

    @property
    def level(self) -> bool:
        """Whether all strips begin on one line across."""
        return bool((self.strips["start_m"].abs() < SAME_PEG_M).all())


def peg_out(
    layout: gpd.GeoDataFrame,
    heading_deg: float | None = None,
    *,
    boundary: gpd.GeoDataFrame | None = None,
) -> PeggedOut:
    """Measure a layout from the near left corner of its first strip.

    Parameters
    ----------
    layout
        Columns `strip block treatment role geometry`, any coordinate system; strips drawn by hand
        are measured as the rectangles along the heading that hold them.
    heading_deg
        Direction of the passes, degrees clockwise from north, to a few degrees; None for that of
        the strips' long sides.
    boundary
        The field, to measure from its outline.

    Returns
    -------
    PeggedOut

    Raises
    ------
    LayoutError
        If there is no strip.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from trialkit.design import lay_out
    >>> field = box(85.0, -38.504, 85.006, -38.5)  # at sea: 523 m by 444 m
    >>> layout = lay_out(field, ["untreated", "dressed"], 6, seeder_m=12, harvester_m=9, seed=1)
    >>> pegged = peg_out(layout)
    >>> pegged.corner, len(pegged.pegs), pegged.strips["to_m"].round(1).tolist()[:3]
    ('north-west', 13, [12.0, 24.0, 36.0])
    """
    strips = layout[layout["role"] == "strip"].reset_index(drop=True)
    if strips.empty:
        raise LayoutError("There are no strips in the layout: nothing to peg out.")
    grid = local_grid(strips)
    ground = strips.to_crs(grid)
    heading = _sides_deg(ground, heading_deg)
    lying = gpd.GeoSeries([turned(shape, heading) for shape in ground.geometry])
    boxes = lying.bounds.set_axis(["near", "left", "far", "right"], axis=1)
    order = _as_they_lie(strips["block"], boxes)
    strips, boxes = strips.iloc[order], boxes.iloc[order]
    corner = boxes.iloc[0]
    table = pd.DataFrame(
        {
            "strip": strips["strip"].to_numpy(),
            "block": strips["block"].to_numpy(),
            "treatment": strips["treatment"].astype(str).to_numpy(),
            "from_m": (boxes["left"] - corner["left"]).to_numpy(),
            "to_m": (boxes["right"] - corner["left"]).to_numpy(),
            "start_m": (boxes["near"] - corner["near"]).to_numpy(),
            "length_m": (boxes["far"] - boxes["near"]).to_numpy(),
            "area_ha": ground.area.to_numpy()[order] / 10_000,
        }
    )
    pegs = _pegs(table)
    places = np.column_stack([pegs["along_m"] + corner["near"], pegs["across_m"] + corner["left"]])
    on_ground = gpd.GeoSeries([turned(Point(place), heading) for place in places], crs=grid)
    on_earth = on_ground.to_crs(_WGS84)
    pegs["longitude"], pegs["latitude"] = on_earth.x.to_numpy(), on_earth.y.to_numpy()
    fence = None if boundary is None else _to_fence(boundary.to_crs(grid), heading, places[0])
    # The corner lies behind the near ends and left of the strips: between those two directions.
    return PeggedOut(table, pegs, heading % 360, compass_words(heading + 225), fence)


def compass_words(degrees: float) -> str:
    """Return a direction as one of eight words.

    Parameters
    ----------
    degrees
        Clockwise from north.
    """
    return _COMPASS[round((degrees % 360) / 45) % 8]


def _sides_deg(ground: gpd.GeoDataFrame, about_deg: float | None) -> float:
    """Return the mean direction of the strips' sides on this grid, degrees from -45 to 135.

    On another grid the same passes have a slightly other direction, which would widen the
    rectangles around long strips by centimetres: so it is measured, and what was given only says
    which sides are meant.
    """
    total = 0j
    for shape in ground.geometry:
        corners = shapely.get_coordinates(shape.minimum_rotated_rectangle)[:3]
        sides = np.diff(corners, axis=0) @ np.array([1j, 1])
        if about_deg is None:
            side = sides[np.argmax(np.abs(sides))]
        else:
            side = sides[np.argmax(np.abs(np.cos(np.angle(sides) - np.radians(about_deg))))]
        # Twice the angle: a side drawn the other way round has the same direction.
        total += complex(side**2 / abs(side))
    return upright(float(np.degrees(np.angle(total)) / 2))


def _as_they_lie(blocks: pd.Series, boxes: pd.DataFrame) -> NDArray[np.int64]:
    """Return the places of the strips: block by block from the left, then along."""
    name = blocks.to_numpy()
    left = boxes["left"].groupby(name).transform("min")
    ordered = left.sort_values()
    column = (ordered.diff() > _SAME_PASSES_M).cumsum().reindex(left.index)
    near = boxes["near"].groupby(name).transform("min")
    keys = [boxes["near"], boxes["left"], blocks, near, column]
    return np.lexsort([key.to_numpy() for key in keys])


def _pegs(strips: pd.DataFrame) -> pd.DataFrame:
    """Return a row for each edge's near end, one for neighbours that share it."""
    rows: list[dict[str, object]] = []
    for edge in _edges(strips):
        shared = next((row for row in rows if _same(row, edge)), None)
        if shared is None:
            rows.append(edge)
        else:
            side = "right_strip" if edge["right_strip"] else "left_strip"
            shared[side] = shared[side] or edge[side]
    pegs = pd.DataFrame(rows)
    pegs.insert(0, "peg", range(1, len(pegs) + 1))
    return pegs


def _edges(strips: pd.DataFrame) -> Iterator[dict[str, object]]:
    for row in strips.to_dict("records"):
        for side, at in (("right_strip", row["from_m"]), ("left_strip", row["to_m"])):
            names = {"left_strip": "", "right_strip": ""} | {side: row["strip"]}
            yield names | {"across_m": at, "along_m": row["start_m"]}


def _same(row: dict[str, object], edge: dict[str, object]) -> bool:
    apart = [
        abs(float(str(row[name])) - float(str(edge[name]))) for name in ("across_m", "along_m")
    ]
    return max(apart) < SAME_PEG_M


def _to_fence(
    field: gpd.GeoDataFrame, heading_deg: float, corner: NDArray[np.float64]
) -> tuple[float, float] | None:
    """Return how far the outline is from the corner, back along the passes and to the left."""
    outline = turned(field.union_all().boundary, heading_deg)
    along, across = float(corner[0]), float(corner[1])
    back = _first_meeting(outline, (along, across), (along - _FAR_M, across))
    left = _first_meeting(outline, (along, across), (along, across - _FAR_M))
    return None if back is None or left is None else (back, left)


def _first_meeting(
    outline: BaseGeometry, start: tuple[float, float], end: tuple[float, float]
) -> float | None:
    met = outline.intersection(LineString([start, end]))
    return None if met.is_empty else float(met.distance(Point(start)))
