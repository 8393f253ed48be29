"""The report's maps: strips by yield, yield along the passes, kept against left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import plotnine as p9
from mizani.breaks import breaks_extended

from trialkit.columns import label
from trialkit.position import local_grid
from trialkit.report import captions, numbers
from trialkit.report.pictures import AMBER, INK, LINE, QUIET, Picture, house_theme

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Most marks a map draws; more would not be seen at its size.
_MOST_MARKS = 8_000
#: Most passes that a map numbers.
_MOST_NUMBERS = 40
#: Room for a map of which two stand side by side; for its legend; for its scale bar; least width.
_HALF_PAGE_IN = (3.3, 4.6)
_LEGEND_IN, _FOOT_IN, _LEAST_IN = 0.65, 0.32, 2.4
#: Width of a mark on the yield map where the log does not say how wide the machine cut, m.
_USUAL_SWATH_M = 6.0


def strip_map(
    layout: GeoDataFrame,
    yields: pd.DataFrame,
    *,
    control: str,
    boundary: GeoDataFrame | None = None,
) -> Picture:
    """Draw the strips shaded by yield, each treatment marked by its letter.

    Parameters
    ----------
    layout
        Strips: `strip treatment role geometry`, any coordinate system.
    yields
        One row a strip: `strip yield_t_ha`.
    control
        The treatment whose letters stand at the far end.
    boundary
        The field's outline.
    """
    ground = layout[layout["role"] == "strip"] if "role" in layout else layout
    ground = ground.to_crs(local_grid(layout))
    ground = ground.merge(yields[["strip", "yield_t_ha"]], on="strip", how="left")
    marks = numbers.letters(list(dict.fromkeys([control, *ground["treatment"].astype(str)])))
    # The control's letters stand at one end, all others at the other: neighbours never touch.
    ends = _strip_ends(ground, (ground["treatment"].astype(str) == control).to_numpy())
    ends["letter"] = ground["treatment"].astype(str).map(marks).to_numpy()
    plot = (
        _canvas(layout, boundary)
        + p9.geom_map(ground, p9.aes(fill="yield_t_ha"), color="white", size=0.5)
        + p9.geom_text(p9.aes("x", "y", label="letter"), data=ends, size=7.5, color=INK)
        + p9.scale_fill_cmap(
            "cividis", name=label("yield_t_ha"), breaks=breaks_extended(4), na_value="#ffffff"
        )
        + _colour_bar()
    )
    return _map(
        plot,
        _frame(layout, boundary, ends),
        alt=captions.strip_map_picture(yields),
        caption=captions.strip_map_caption(marks),
        box_in=(3.9, 5.0),
    )


def yield_map(
    log: pd.DataFrame, layout: GeoDataFrame, *, boundary: GeoDataFrame | None = None
) -> Picture:
    """Draw the yield of the records kept, as averages of small squares, over the strips' outlines.

    Parameters
    ----------
    log
        Every record: `longitude latitude yield_t_ha kept`.
    layout
        Strips, any coordinate system.
    boundary
        The field's outline.
    """
    points = _in_metres(log[log["kept"].astype(bool)], layout)
    cells = _averaged(points)
    low, high = np.quantile(cells["yield_t_ha"], [0.02, 0.98]) if len(cells) else (0.0, 1.0)
    cells["shade"] = cells["yield_t_ha"].clip(low, high)
    frame = _frame(layout, boundary)
    swath_m = float(log["swath_m"].median()) if "swath_m" in log else _USUAL_SWATH_M
    # A mark as wide as the cut; the library draws a square of size 1 with sides of √π points.
    size = swath_m * _size(frame, _HALF_PAGE_IN)[2] * 72 / np.sqrt(np.pi)
    plot = (
        _canvas(layout, boundary)
        + p9.geom_point(p9.aes("x", "y", color="shade"), data=cells, size=size, stroke=0, shape="s")
        + p9.geom_map(layout.to_crs(local_grid(layout)), fill=None, color=INK, size=0.25)
        + p9.scale_color_cmap("cividis", name=label("yield_t_ha"), breaks=breaks_extended(4))
        + _colour_bar()
    )
    return _map(
        plot, frame, alt=captions.yield_map_picture(log), caption=captions.YIELD_MAP_CAPTION
    )


def kept_map(
    log: pd.DataFrame, layout: GeoDataFrame, *, boundary: GeoDataFrame | None = None
) -> Picture:
    """Draw which records count and which were left out.

    Parameters
    ----------
    log
        Every record: `longitude latitude kept`.
    layout
        Strips, any coordinate system.
    boundary
        The field's outline.
    """
    points = _in_metres(log, layout)
    # The field bounds the map; without one the records do, but for a stray hundredth.
    trimmed = points[["x", "y"]].quantile([0.01, 0.99]) if boundary is None else None
    frame = _frame(layout, boundary, trimmed)
    inside = points["x"].between(frame[0], frame[2]) & points["y"].between(frame[1], frame[3])
    beyond, points = int((~inside).sum()), points[inside]
    every = max(1, -(-len(points) // _MOST_MARKS))
    points = points.iloc[::every].sort_values("kept", ascending=False, kind="stable")
    points["group"] = pd.Categorical(
        np.where(points["kept"].astype(bool), captions.KEPT, captions.LEFT_OUT),
        [captions.KEPT, captions.LEFT_OUT],
    )
    plot = (
        _canvas(layout, boundary)
        + p9.geom_point(p9.aes("x", "y", color="group"), data=points, size=0.7, stroke=0)
        + p9.scale_color_manual(values=["#9db4bf", AMBER], drop=False)
        + p9.guides(color=p9.guide_legend(override_aes={"size": 3}))
        + p9.theme(legend_title=p9.element_blank())
    )
    return _map(
        plot,
        frame,
        alt=captions.kept_map_picture(log),
        caption=captions.kept_map_caption(every, beyond),
    )


def pass_map(
    log: pd.DataFrame, layout: GeoDataFrame, *, boundary: GeoDataFrame | None = None
) -> Picture:
    """Draw the passes over the strips, each with its number where it begins.

    Parameters
    ----------
    log
        Every record: `longitude latitude pass_id heading_deg`, and `reason` once screened.
    layout
        Strips, any coordinate system.
    boundary
        The field's outline.
    """
    driven = (log["pass_id"] > 0) & log["heading_deg"].notna()
    if "reason" in log:
        driven &= log["reason"] != captions.JUMP
    points = _in_metres(log[driven], layout)
    points["way"] = pd.Categorical(
        np.where(_there(points), captions.THERE, captions.BACK), [captions.THERE, captions.BACK]
    )
    begins = points.drop_duplicates("pass_id")
    every = max(1, -(-len(points) // _MOST_MARKS))
    ends = points.drop_duplicates("pass_id", keep="last")
    points = pd.concat([begins, points.iloc[::every], ends]).sort_index(kind="stable")
    shown = begins.iloc[:: max(1, -(-len(begins) // _MOST_NUMBERS))]
    frame = _frame(layout, boundary)
    plot = (
        _canvas(layout, boundary)
        + p9.geom_map(layout.to_crs(local_grid(layout)), fill="#e3e8ea", color="#9aa7ad", size=0.25)
        + p9.geom_path(p9.aes("x", "y", group="pass_id", color="way"), data=points, size=0.5)
        + p9.geom_text(p9.aes("x", "y", label="pass_id"), data=shown, size=6, color=INK)
        + p9.scale_color_manual(values=["#31446b", "#b08d1f"], drop=False)
        + p9.theme(legend_title=p9.element_blank())
    )
    caption = captions.pass_map_caption(len(begins), len(shown))
    return _map(plot, frame, alt=captions.pass_map_picture(log), caption=caption, box_in=(6.4, 6.0))


def _there(points: pd.DataFrame) -> np.ndarray:
    """Tell which records were driven one way along the passes, and which the other."""
    heading = np.radians(points["heading_deg"].to_numpy(dtype=float))
    axis = np.angle(np.exp(2j * heading).mean()) / 2 if len(points) else 0.0
    return np.asarray(np.cos(heading - axis) >= 0)


def _in_metres(log: pd.DataFrame, layout: GeoDataFrame) -> pd.DataFrame:
    """Return the log with `x` and `y`, metres on the layout's own grid."""
    places = gpd.GeoSeries(gpd.points_from_xy(log["longitude"], log["latitude"]), crs="EPSG:4326")
    places = places.to_crs(local_grid(layout))
    return log.assign(x=places.x.to_numpy(), y=places.y.to_numpy())


def _averaged(points: pd.DataFrame) -> pd.DataFrame:
    """Average records over squares, as small as the number of marks allows."""
    if points.empty:
        return points[["x", "y", "yield_t_ha"]].copy()
    area = float(np.ptp(points["x"]) * np.ptp(points["y"]))
    side = max(3.0, float(np.sqrt(area / _MOST_MARKS)))
    columns, rows = (points["x"] // side).rename("column"), (points["y"] // side).rename("row")
    averages = points[["x", "y", "yield_t_ha"]].groupby([columns, rows]).mean()
    return averages.reset_index(drop=True)


def _strip_ends(ground: GeoDataFrame, far: np.ndarray) -> pd.DataFrame:
    """Return a point just beyond one end of each strip: the upper, or the lower where `far`."""
    reach = 0.03 * float(np.hypot(*np.ptp(ground.total_bounds.reshape(2, 2), axis=0)))
    places = []
    for shape, other_end in zip(ground.geometry, far, strict=True):
        corners = np.array(shape.minimum_rotated_rectangle.exterior.coords)[:4]
        sides = np.roll(corners, -1, axis=0) - corners
        long = sides[np.argmax(np.hypot(*sides.T))]
        length = float(np.hypot(*long))
        along = long / length
        # North for strips that run north, else west: the same end for all strips of a field.
        steep = abs(along[1]) > 0.3
        if (along[1] < 0) if steep else (along[0] > 0):
            along = -along
        if other_end:
            along = -along
        places.append(corners.mean(axis=0) + along * (length / 2 + reach))
    return pd.DataFrame(places, columns=["x", "y"])


def _canvas(layout: GeoDataFrame, boundary: GeoDataFrame | None) -> p9.ggplot:
    """Return the empty map: the field and whatever in the layout is not a strip."""
    grid = local_grid(layout)
    drawn = [] if boundary is None else [boundary.to_crs(grid)]
    if "role" in layout and (layout["role"] != "strip").any():
        drawn.append(layout[layout["role"] != "strip"].to_crs(grid))
    canvas = p9.ggplot() + house_theme()
    for shape in drawn:
        canvas += p9.geom_map(shape[["geometry"]], fill="#f6f7f7", color=LINE, size=0.6)
    return canvas


def _frame(
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


def _map(
    plot: p9.ggplot,
    frame: np.ndarray,
    *,
    alt: str,
    caption: str = "",
    box_in: tuple[float, float] = _HALF_PAGE_IN,
) -> Picture:
    """Add what every map has: true proportions, a scale bar, north, no axes."""
    west, south, east, north = frame
    width_in, height_in, scale = _size(frame, box_in)
    bar = _round_length((east - west) * 0.4)
    foot = south - _FOOT_IN * 0.6 / scale
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


def _size(frame: np.ndarray, box_in: tuple[float, float]) -> tuple[float, float, float]:
    """Return a map's width and height, inches, and its scale, inches a metre."""
    wide, high = frame[2] - frame[0], frame[3] - frame[1]
    scale = min(box_in[0] / wide, (box_in[1] - _LEGEND_IN - _FOOT_IN) / high)
    width_in = max(wide * scale + 0.1, _LEAST_IN)
    return width_in, high * scale + _LEGEND_IN + _FOOT_IN, scale


def _round_length(wanted: float) -> float:
    """Return the longest of 1, 2 or 5 times a power of ten that fits."""
    step = 10 ** np.floor(np.log10(wanted))
    return float(step * max(m for m in (1, 2, 5) if m * step <= wanted))


def _colour_bar() -> p9.theme:
    """Return the look of a legend that is a bar of shades."""
    return p9.theme(legend_key_width=90, legend_key_height=9, legend_title_position="top")
