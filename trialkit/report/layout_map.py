"""The map of a layout: where each strip lies, what it gets, and where the machines run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import plotnine as p9
import shapely
from matplotlib import colormaps
from matplotlib.colors import to_hex

from trialkit.design import TrialPlan
from trialkit.design.pegs import PeggedOut, peg_out
from trialkit.language import marked, say
from trialkit.position import local_grid
from trialkit.report import captions, numbers
from trialkit.report.map_frame import FOOT_IN, frame_around, framed, size_on_page
from trialkit.report.pictures import BLUE, INK, QUIET, Picture, house_theme

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Room for the map on a screen.
SCREEN_IN = (9.0, 8.0)

#: Text on a strip, points: the largest, and the smallest that can be read.
_TEXT_PT, _LEAST_TEXT_PT = 9.0, 4.0

#: Room for a letter, for a mark and for a row of the map's key, inches.
_LETTER_IN, _KEY_MARK_IN, _KEY_ROW_IN = 0.075, 0.5, 0.19

#: Beside the arrow that points north.
_NORTH = marked("N")

#: Longest name of a treatment in the legend, and of a strip or block on the ground.
_LONGEST_NAME, _LONGEST_MARK = 40, 8


def layout_map(
    plan: TrialPlan | GeoDataFrame,
    boundary: GeoDataFrame | None = None,
    *,
    control: str | None = None,
    zones: GeoDataFrame | None = None,
    box_in: tuple[float, float] = SCREEN_IN,
) -> Picture:
    """Draw the field with strips, blocks, headlands, cut lines and tramlines.

    Parameters
    ----------
    plan
        The layout, or strips drawn by hand: `strip block treatment role geometry`.
    boundary
        The field's outline with its holes.
    control
        The untreated control, which stays white.
    zones
        Further ground to stay off.
    box_in
        Room for the map, inches wide and high.

    Returns
    -------
    Picture
        Every strip has its number at its near end and the letter of its treatment on it, so the
        map can be read without colours.
    """
    layout = plan.layout if isinstance(plan, TrialPlan) else plan
    grid = local_grid(layout)
    strips = layout[layout["role"] == "strip"].to_crs(grid)
    heading = plan.heading_deg if isinstance(plan, TrialPlan) else None
    pegged = peg_out(layout, heading)
    names = treatments_in_order(strips["treatment"], control)
    letters, fills = numbers.letters(names), _fills(names, control)
    lines = _lines(plan, boundary, grid)
    frame = frame_around(layout, boundary)
    key = _key(box_in, names, list(lines["kind"].cat.categories))
    scale = size_on_page(frame, box_in, key.high_in)[2]
    width_pt = _width_pt(pegged, scale)
    text_pt = min(_TEXT_PT, max(_LEAST_TEXT_PT, 0.72 * width_pt))
    rows = max(1, math.ceil(1.2 * text_pt / width_pt))
    ends = _end_marks(pegged, grid, text_pt / 72 / scale, rows)
    frame = frame_around(layout, boundary, ends)
    plot = (
        _ground(layout, boundary, zones, grid)
        + _strips(strips, names, letters, fills, key.most_letters)
        + _line_layers(lines)
        + p9.geom_map(
            strips.dissolve("block")[["geometry"]].reset_index(),
            fill=None,
            color=INK,
            size=min(0.9, 0.14 * width_pt),
        )
        + _letters(strips, pegged, letters, text_pt, rows)
        + _end_layers(ends, text_pt)
        + _corner(pegged, grid)
        + _north(frame, size_on_page(frame, box_in, key.high_in)[2])
        + _legend()
    )
    return framed(
        plot,
        frame,
        alt=captions.layout_map_picture(pegged, boundary is not None),
        caption=captions.layout_map_caption(
            headlands=bool((layout["role"] == "headland").any()), off=zones is not None
        ),
        box_in=box_in,
        legend_in=key.high_in,
        least_in=key.wide_in,
    )


@dataclass(frozen=True, slots=True)
class _Key:
    """Room that the map's key takes above it, and the letters it has room for in a name."""

    wide_in: float
    high_in: float
    most_letters: int


def treatments_in_order(treatments: pd.Series, control: str | None) -> list[str]:
    """Return the treatments once each, the control first.

    Parameters
    ----------
    treatments
        One entry a strip.
    control
        The untreated control; None if that is not known.
    """
    named = list(dict.fromkeys(treatments.astype(str)))
    return sorted(named, key=lambda name: name != control)


def _key(box_in: tuple[float, float], names: Sequence[str], kinds: Sequence[str]) -> _Key:
    """Return how the key fits: treatments above the map, lines and the mark below it."""
    below = [len(say(captions.CORNER)), *([max(map(len, kinds))] if kinds else [])]
    below_in = sum(_KEY_MARK_IN + _LETTER_IN * length for length in below)
    most = int((box_in[0] - _KEY_MARK_IN) / _LETTER_IN) - 3
    most = min(_LONGEST_NAME, most, max(len(name) for name in names))
    wide_in = max(below_in, _KEY_MARK_IN + _LETTER_IN * (most + 3))
    return _Key(wide_in, 0.4 + _KEY_ROW_IN * (len(names) + max(1, len(kinds))), most)


def _fills(names: Sequence[str], control: str | None) -> dict[str, str]:
    """Return a colour a treatment: white for the control, else shades apart in lightness too."""
    others = [name for name in names if name != control]
    places = np.linspace(0.94, 0.48, len(others)) if len(others) > 1 else [0.75]
    shades = {
        name: to_hex(colormaps["cividis"](place))
        for name, place in zip(others, places, strict=False)
    }
    return {name: shades.get(name, "#ffffff") for name in names}


def _lines(
    plan: TrialPlan | GeoDataFrame, boundary: GeoDataFrame | None, grid: object
) -> pd.DataFrame:
    """Return cuts and tramlines as `x y xend yend kind`, inside the field."""
    shapes: list[shapely.Geometry] = []
    kinds: list[str] = []
    if isinstance(plan, TrialPlan):
        for frame, kind in ((plan.cuts, captions.CUT), (plan.tramlines, captions.TRAMLINE)):
            lines = frame.to_crs(grid).geometry.to_numpy()
            if boundary is not None:
                lines = shapely.intersection(lines, boundary.to_crs(grid).union_all())
            parts = [part for part in shapely.get_parts(lines) if part.geom_type == "LineString"]
            shapes += parts
            kinds += [say(kind)] * len(parts)
    ends = np.array([shapely.get_coordinates(line)[[0, -1]] for line in shapes]).reshape(-1, 4)
    table = pd.DataFrame(ends, columns=["x", "y", "xend", "yend"])
    return table.assign(kind=pd.Categorical(kinds, list(dict.fromkeys(kinds))))


def _width_pt(pegged: PeggedOut, scale: float) -> float:
    """Return how wide the usual strip is on the map, points."""
    wide_m = float((pegged.strips["to_m"] - pegged.strips["from_m"]).median())
    return wide_m * scale * 72


def _ground(
    layout: GeoDataFrame, boundary: GeoDataFrame | None, zones: GeoDataFrame | None, grid: object
) -> p9.ggplot:
    """Return the field, what is to be stayed off in it, and the headlands."""
    plot = p9.ggplot() + house_theme()
    if boundary is not None:
        field = boundary.to_crs(grid)
        holes = _holes(field)
        plot += p9.geom_map(field[["geometry"]], fill="#f0f2ee", color=INK, size=0.8)
        if len(holes):
            plot += p9.geom_map(holes, fill="#8fa3ad", color=INK, size=0.5)
    other = layout[layout["role"] != "strip"]
    if len(other):
        plot += p9.geom_map(other.to_crs(grid)[["geometry"]], fill="#dde2e4", color="none", size=0)
    if zones is not None:
        plot += p9.geom_map(zones.to_crs(grid)[["geometry"]], fill="#8fa3ad", color=INK, size=0.5)
    return plot


def _holes(field: GeoDataFrame) -> GeoDataFrame:
    polygons = shapely.get_parts(field.geometry.to_numpy())
    rings = [ring for polygon in polygons for ring in polygon.interiors]
    return gpd.GeoDataFrame(geometry=[shapely.Polygon(ring) for ring in rings], crs=field.crs)


def _strips(
    strips: GeoDataFrame,
    names: Sequence[str],
    letters: dict[str, str],
    fills: dict[str, str],
    most_letters: int,
) -> list[object]:
    labels = {name: f"{letters[name]}  {numbers.shortened(name, most_letters)}" for name in names}
    shown = strips[["geometry"]].assign(
        named=pd.Categorical(strips["treatment"].astype(str).map(labels), list(labels.values()))
    )
    return [
        p9.geom_map(shown, p9.aes(fill="named"), color="#4b5a61", size=0.3),
        p9.scale_fill_manual(values=[fills[name] for name in names], drop=False),
    ]


def _line_layers(lines: pd.DataFrame) -> list[object]:
    if lines.empty:
        return []
    places = p9.aes("x", "y", xend="xend", yend="yend", linetype="kind", color="kind")
    looks = {say(captions.CUT): ("dashed", INK), say(captions.TRAMLINE): ("dotted", BLUE)}
    drawn = [looks[kind] for kind in lines["kind"].cat.categories]
    return [
        p9.geom_segment(places, data=lines, size=0.5),
        p9.scale_linetype_manual(values=[line for line, _ in drawn]),
        p9.scale_color_manual(values=[color for _, color in drawn]),
    ]


def _letters(
    strips: GeoDataFrame, pegged: PeggedOut, letters: dict[str, str], text_pt: float, rows: int
) -> list[object]:
    """Return each treatment's letter on its strip, twice, so that either end can be read."""
    along = _unit(pegged.heading_deg)
    lying = pegged.strips.reset_index().set_index("strip").loc[strips["strip"]]
    middles = shapely.get_coordinates(shapely.centroid(strips.geometry.to_numpy()))
    # Where strips are narrower than a letter, neighbours have theirs at different places.
    step = (lying["index"].to_numpy() % rows) * 0.05
    shares = [-0.28 + step, 0.28 - step]
    length = lying["length_m"].to_numpy()
    places = np.vstack([middles + (share * length)[:, None] * along for share in shares])
    marks = pd.DataFrame(places, columns=["x", "y"])
    marks["letter"] = np.tile(strips["treatment"].astype(str).map(letters).to_numpy(), 2)
    return [
        p9.geom_label(
            p9.aes("x", "y", label="letter"),
            data=marks,
            fill="white",
            color=INK,
            size=text_pt,
            angle=_upright_angle(pegged.heading_deg),
            label_size=0,
            label_padding=0.08,
            boxstyle="square",
        )
    ]


def _end_marks(pegged: PeggedOut, grid: object, text_m: float, rows: int) -> pd.DataFrame:
    """Return the numbers of strips before their near ends, and of blocks beyond their far ends."""
    pegs = gpd.GeoSeries.from_xy(pegged.pegs["longitude"], pegged.pegs["latitude"], crs=4326)
    corner = shapely.get_coordinates(pegs.iloc[:1].to_crs(grid).to_numpy())[0]
    table = pegged.strips
    middle, far = (table["from_m"] + table["to_m"]) / 2, table["start_m"] + table["length_m"]
    names = [numbers.shortened(str(name), _LONGEST_MARK) for name in table["strip"]]
    # Numbers that are wider than their strip stand in two rows; where that is not enough, some.
    row = np.arange(len(table)) % min(rows, 2)
    longest_m = text_m * (0.66 * max(map(len, names)) + 0.5)
    strip_marks = pd.DataFrame(
        {"name": names, "across": middle, "along": table["start_m"] - row * longest_m}
    ).iloc[:: math.ceil(rows / 2)]
    blocks = pd.DataFrame({"name": table["block"], "across": middle, "along": far})
    blocks = blocks.groupby("name", sort=False).agg({"across": "mean", "along": "max"})
    blocks = blocks.reset_index().iloc[:: math.ceil(rows / table["block"].value_counts().max())]
    blocks["name"] = [numbers.shortened(str(name), _LONGEST_MARK) for name in blocks["name"]]
    marks = pd.concat(
        [strip_marks.assign(kind="strip"), blocks.assign(kind="block")], ignore_index=True
    )
    # Half the text's length and a little room away from the ends, on the ground.
    half_m = (0.33 * marks["name"].str.len() + 0.45) * text_m
    away = marks["along"] + np.where(marks["kind"] == "block", half_m, -half_m)
    places = (
        corner
        + np.outer(away, _unit(pegged.heading_deg))
        + np.outer(marks["across"], _unit(pegged.heading_deg + 90))
    )
    return marks.assign(x=places[:, 0], y=places[:, 1], angle=_upright_angle(pegged.heading_deg))


def _end_layers(ends: pd.DataFrame, text_pt: float) -> list[object]:
    angle = float(ends["angle"].iloc[0])
    text = p9.aes("x", "y", label="name")
    return [
        p9.geom_text(text, data=some, size=text_pt, angle=angle, color=color, fontweight=weight)
        for some, color, weight in (
            (ends[ends["kind"] == "strip"], INK, "bold"),
            (ends[ends["kind"] == "block"], QUIET, "normal"),
        )
    ]


def _corner(pegged: PeggedOut, grid: object) -> list[object]:
    """Return the mark of the reference corner."""
    first = pegged.pegs.iloc[:1]
    place = gpd.GeoSeries.from_xy(first["longitude"], first["latitude"], crs=4326).to_crs(grid)
    mark = pd.DataFrame({"x": place.x, "y": place.y, "what": [say(captions.CORNER)]})
    return [
        p9.geom_point(p9.aes("x", "y", shape="what"), data=mark, size=2.4, fill=INK, color="white"),
        p9.scale_shape_manual(values={say(captions.CORNER): "D"}),
    ]


def _north(frame: np.ndarray, scale: float) -> list[object]:
    """Return an arrow to the north at the right of the foot."""
    _, south, east, _ = frame
    x, low, high = east - 0.08 / scale, south - (FOOT_IN - 0.07) / scale, south - 0.01 / scale
    return [
        p9.annotate(
            "segment", x=x, xend=x, y=low, yend=high, color=INK, size=0.9,
            arrow=p9.arrow(length=0.09, type="closed"),
        ),
        p9.annotate(
            "text", x=x - 0.16 / scale, y=(low + high) / 2, label=say(_NORTH), size=9, color=INK,
        ),
    ]  # fmt: skip


def _legend() -> list[object]:
    below = {
        kind: p9.guide_legend(ncol=1, position="bottom") for kind in ("linetype", "color", "shape")
    }
    return [
        p9.guides(fill=p9.guide_legend(ncol=1, position="top"), **below),
        p9.theme(
            legend_title=p9.element_blank(),
            legend_box="horizontal",
            legend_key_height=10,
            legend_key_width=22,
            legend_box_just="top",
        ),
    ]


def _unit(heading_deg: float) -> np.ndarray:
    return np.array([np.sin(np.radians(heading_deg)), np.cos(np.radians(heading_deg))])


def _upright_angle(heading_deg: float) -> float:
    """Return the angle of text along a heading that nobody has to read upside down, degrees."""
    return (90 - heading_deg + 90) % 180 - 90
