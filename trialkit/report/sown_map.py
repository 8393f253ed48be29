"""The map of what was sown against the plan."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import plotnine as p9

from trialkit.language import marked, say
from trialkit.position import local_grid
from trialkit.report.map_frame import canvas, frame_around, framed
from trialkit.report.maps import strip_ends
from trialkit.report.numbers import listed
from trialkit.report.pictures import AMBER, INK, Picture, level_words
from trialkit.report.table_captions import differing

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from trialkit.design.as_sown import Difference

AS_PLANNED, OTHER, LEFT_OUT = marked("as planned"), marked("other treatment"), marked("left out")
_FILLS = {AS_PLANNED: "#dde5e9", OTHER: AMBER, LEFT_OUT: "#46545c"}


def sown_map(
    planned: GeoDataFrame,
    layout: GeoDataFrame,
    differences: Sequence[Difference],
    *,
    boundary: GeoDataFrame | None = None,
) -> Picture:
    """Draw what was sown: strips as planned, with another treatment, and ground left out.

    Parameters
    ----------
    planned
        The plan, any coordinate system.
    layout
        The layout as sown: strips, and ground with the role `lost`.
    differences
        The strips that are not as planned.
    boundary
        The field's outline.
    """
    grid = local_grid(planned)
    other = [one.strip for one in differences if one.other_treatment]
    ground = layout[layout["role"].isin(["strip", "lost"])].to_crs(grid)
    ground["state"] = pd.Categorical(
        [_state(row.strip, row.role, other) for row in ground.itertuples()],
        [state for state in _FILLS if state in _states(ground, other)],
    )
    moved = {one.strip for one in differences if one.moved}
    outlines = planned[planned["strip"].isin(moved)].to_crs(grid)
    places = _beyond_ends(planned[planned["role"] == "strip"].to_crs(grid), differences)
    plot = canvas(planned, boundary) + p9.geom_map(
        ground, p9.aes(fill="state"), color="white", size=0.5
    )
    if len(outlines):
        plot += p9.geom_map(
            outlines[["geometry"]], fill=None, color=INK, size=0.35, linetype="dashed"
        )
    plot += p9.geom_text(p9.aes("x", "y", label="strip"), data=places, size=6.5, color=INK)
    plot += p9.scale_fill_manual(values=_FILLS, labels=level_words)
    plot += p9.theme(legend_title=p9.element_blank())
    whole = pd.concat([planned[["geometry"]], layout[["geometry"]]])
    return framed(
        plot,
        frame_around(gpd.GeoDataFrame(whole, crs=planned.crs), boundary, places),
        alt=_alt(differences),
        caption=_caption(bool(moved)),
        box_in=(6.4, 5.0),
    )


def _state(strip: str, role: str, other: Sequence[str]) -> str:
    if role == "lost":
        return LEFT_OUT
    return OTHER if strip in other else AS_PLANNED


def _states(ground: GeoDataFrame, other: Sequence[str]) -> set[str]:
    return {_state(row.strip, row.role, other) for row in ground.itertuples()}


def _beyond_ends(strips: GeoDataFrame, differences: Sequence[Difference]) -> pd.DataFrame:
    """Return a point beyond an end of each strip that differs: neighbours at either end."""
    named = strips["strip"].isin({one.strip for one in differences}).to_numpy()
    far = (np.cumsum(named) % 2 == 0) & named
    ends: pd.DataFrame = strip_ends(strips, far).assign(strip=strips["strip"].to_numpy())
    beyond: pd.DataFrame = ends.loc[named]
    return beyond


def _caption(moved: bool) -> str:
    named = say("North is up. Named are the strips that differ from the plan.")
    if not moved:
        return named
    dashed = say("Dashed: where strips that were sown elsewhere had been planned.")
    return f"{named} {dashed}"


def _alt(differences: Sequence[Difference]) -> str:
    each = [f"{one.strip} {differing(one.what)}" for one in differences]
    return say("Map of what was sown, north up. Not as planned: {strips}.", strips=listed(each))
