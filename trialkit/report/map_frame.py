"""What every map has: ground, room around it, true proportions, a scale bar, no axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import plotnine as p9

from trialkit.position import local_grid
from trialkit.report import captions
from trialkit.report.pictures import INK, LINE, QUIET, Picture, house_theme

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Room for a map of which two stand side by side; for its legend; for its scale bar; least width.
HALF_PAGE_IN = (3.3, 4.6)
LEGEND_IN, FOOT_IN, _LEAST_IN = 0.65, 0.32, 2.4


def canvas(layout: GeoDataFrame, boundary: GeoDataFrame | None) -> p9.ggplot:
    """Return the empty map: the field and whatever in the layout is not a strip."""
    grid = local_grid(layout)
    drawn = [] if boundary is None else [boundary.to_crs(grid)]
    if "role" in layout and (layout["role"] != "strip").any():
        drawn.append(layout[layout["role"] != "strip"].to_crs(grid))
    empty = p9.ggplot() + house_theme()
    for shape in drawn:
        empty += p9.geom_map(shape[["geometry"]], fill="#f6f7f7", color=LINE, size=0.6)
    return empty


def frame_around(
    layout: GeoDataFrame, boundary: GeoDataFrame | None, places: pd.DataFrame | None = None
) -> np.ndarray:
    """Return west, south, east and north of ground and places, with a little room, metres."""
    grid = local_grid(layout)
    boxes = [layout.to_crs(grid).total_bounds]
    if boundary is not None:
        boxes.append(boundary.to_crs(grid).total_bounds)
    if places is not None:
        boxes.append(np.concatenate([places[["x", "y"]].min(), places[["x", "y"]].max()]))
    stacked = np.array(boxes)
    low, high = stacked[:, :2].min(axis=0), stacked[:, 2:].max(axis=0)
    room = 0.015 * float(np.hypot(*(high - low)))
    return np.concatenate([low - room, high + room])


def framed(
    plot: p9.ggplot,
    frame: np.ndarray,
    *,
    alt: str,
    caption: str = "",
    box_in: tuple[float, float] = HALF_PAGE_IN,
    legend_in: float = LEGEND_IN,
    least_in: float = _LEAST_IN,
) -> Picture:
    """Add what every map has: true proportions, a scale bar, north, no axes."""
    west, south, east, north = frame
    width_in, height_in, scale = size_on_page(frame, box_in, legend_in)
    width_in = max(width_in, least_in)
    bar = round_length((east - west) * 0.4)
    foot = south - FOOT_IN * 0.6 / scale
    plot = (
        plot
        + p9.annotate("segment", x=west, xend=west + bar, y=foot, yend=foot, color=INK, size=1.2)
        + p9.annotate(
            "text",
            x=west + bar + 0.06 / scale,
            y=foot,
            label=captions.scale_bar(bar),
            ha="left",
            size=8,
            color=QUIET,
        )
        + p9.coord_fixed(xlim=(west, east), ylim=(foot - 0.06 / scale, north), expand=False)
        + p9.labs(x="", y="")
        + p9.theme(
            axis_text=p9.element_blank(),
            axis_ticks=p9.element_blank(),
            panel_grid=p9.element_blank(),
            plot_margin=0.01,
        )
    )
    return Picture(plot, alt, width_in, height_in, caption, raster=True)


def size_on_page(
    frame: np.ndarray, box_in: tuple[float, float], legend_in: float = LEGEND_IN
) -> tuple[float, float, float]:
    """Return a map's width and height, inches, and its scale, inches a metre."""
    wide, high = frame[2] - frame[0], frame[3] - frame[1]
    scale = min(box_in[0] / wide, (box_in[1] - legend_in - FOOT_IN) / high)
    return wide * scale + 0.1, high * scale + legend_in + FOOT_IN, scale


def round_length(wanted: float) -> float:
    """Return the longest of 1, 2 or 5 times a power of ten that fits."""
    step = 10 ** np.floor(np.log10(wanted))
    return float(step * max(m for m in (1, 2, 5) if m * step <= wanted))
