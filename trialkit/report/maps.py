"""The report's maps: strips by yield, yield along the passes, kept against left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import plotnine as p9
from mizani.breaks import breaks_extended

from trialkit.columns import label
from trialkit.language import say
from trialkit.position import local_grid
from trialkit.report import captions, numbers
from trialkit.report.map_frame import HALF_PAGE_IN, canvas, frame_around, framed, size_on_page
from trialkit.report.pictures import AMBER, INK, Picture, level_words, tick_marks

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Most marks a map draws; more would not be seen at its size.
_MOST_MARKS = 8_000
#: Most passes that a map numbers.
_MOST_NUMBERS = 40
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
    ends = strip_ends(ground, (ground["treatment"].astype(str) == control).to_numpy())
    ends["letter"] = ground["treatment"].astype(str).map(marks).to_numpy()
    plot = (
        canvas(layout, boundary)
        + p9.geom_map(ground, p9.aes(fill="yield_t_ha"), color="white", size=0.5)
        + p9.geom_text(p9.aes("x", "y", label="letter"), data=ends, size=7.5, color=INK)
        + p9.scale_fill_cmap(
            "cividis",
            name=label("yield_t_ha"),
            breaks=breaks_extended(4),
            labels=tick_marks,
            na_value="#ffffff",
        )
        + _colour_bar()
    )
    return framed(
        plot,
        frame_around(layout, boundary, ends),
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
    frame = frame_around(layout, boundary)
    swath_m = float(log["swath_m"].median()) if "swath_m" in log else _USUAL_SWATH_M
    # A mark as wide as the cut; the library draws a square of size 1 with sides of √π points.
    size = swath_m * size_on_page(frame, HALF_PAGE_IN)[2] * 72 / np.sqrt(np.pi)
    plot = (
        canvas(layout, boundary)
        + p9.geom_point(p9.aes("x", "y", color="shade"), data=cells, size=size, stroke=0, shape="s")
        + p9.geom_map(layout.to_crs(local_grid(layout)), fill=None, color=INK, size=0.25)
        + p9.scale_color_cmap(
            "cividis", name=label("yield_t_ha"), breaks=breaks_extended(4), labels=tick_marks
        )
        + _colour_bar()
    )
    return framed(
        plot, frame, alt=captions.yield_map_picture(log), caption=say(captions.YIELD_MAP_CAPTION)
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
    frame = frame_around(layout, boundary, trimmed)
    inside = points["x"].between(frame[0], frame[2]) & points["y"].between(frame[1], frame[3])
    beyond, points = int((~inside).sum()), points[inside]
    every = max(1, -(-len(points) // _MOST_MARKS))
    points = points.iloc[::every].sort_values("kept", ascending=False, kind="stable")
    points["group"] = pd.Categorical(
        np.where(points["kept"].astype(bool), captions.KEPT, captions.LEFT_OUT),
        [captions.KEPT, captions.LEFT_OUT],
    )
    plot = (
        canvas(layout, boundary)
        + p9.geom_point(p9.aes("x", "y", color="group"), data=points, size=0.7, stroke=0)
        + p9.scale_color_manual(values=["#9db4bf", AMBER], labels=level_words, drop=False)
        + p9.guides(color=p9.guide_legend(override_aes={"size": 3}))
        + p9.theme(legend_title=p9.element_blank())
    )
    return framed(
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
    frame = frame_around(layout, boundary)
    plot = (
        canvas(layout, boundary)
        + p9.geom_map(layout.to_crs(local_grid(layout)), fill="#e3e8ea", color="#9aa7ad", size=0.25)
        + p9.geom_path(p9.aes("x", "y", group="pass_id", color="way"), data=points, size=0.5)
        + p9.geom_text(p9.aes("x", "y", label="pass_id"), data=shown, size=6, color=INK)
        + p9.scale_color_manual(values=["#31446b", "#b08d1f"], labels=level_words, drop=False)
        + p9.theme(legend_title=p9.element_blank())
    )
    caption = captions.pass_map_caption(len(begins), len(shown))
    return framed(
        plot, frame, alt=captions.pass_map_picture(log), caption=caption, box_in=(6.4, 6.0)
    )


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


def strip_ends(ground: GeoDataFrame, far: np.ndarray) -> pd.DataFrame:
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


def _colour_bar() -> p9.theme:
    """Return the look of a legend that is a bar of shades."""
    return p9.theme(legend_key_width=90, legend_key_height=9, legend_title_position="top")
