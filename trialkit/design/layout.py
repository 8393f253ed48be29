"""Strips that fit the machines: on whole passes, between the headlands, in blocks, drawn."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from trialkit.design.allocation import (
    Allocation,
    Draw,
    allocate,
    check_blocks,
    check_seed,
    check_treatments,
)
from trialkit.design.assembly import (
    cut_lines,
    headland_rows,
    on_earth,
    strip_rows,
    strip_table,
    tramline_lines,
    tramline_places,
)
from trialkit.design.fitting import Placed, chosen_heading, place
from trialkit.design.misfit import misfit, which_piece
from trialkit.design.notes import plan_notes
from trialkit.design.outline import Drawing, Field, SplitFieldError, read_field
from trialkit.design.tramlines import Tramlines
from trialkit.design.wishes import EDGE_M, LEAST_LENGTH_M, Wishes
from trialkit.errors import LayoutError
from trialkit.shown import as_line, as_table


@dataclass(frozen=True, slots=True, eq=False)
class TrialPlan:
    """A layout with all that is needed to drive, draw and test it.

    Parameters
    ----------
    layout
        Columns `strip block treatment role geometry`, WGS 84: the strips `S1`, `S2` ... from
        left to right across the heading, then the headlands `H1` ...
    strips
        One row a strip: `strip block treatment along_from_m along_to_m across_from_m
        across_to_m cut_from_m cuts`; along the heading and across it to the right, in metres
        from the middle of the metre grid, the cut from the left edge of its strip.
    cuts
        Middle line of each full cut, columns `strip cut geometry`, WGS 84.
    tramlines
        Middle line of each tramline through the strips' ground, WGS 84; may be empty.
    allocation
        How the treatments were drawn.
    heading_deg
        Direction of the passes, degrees clockwise from north.
    passes_per_strip
        Seeder passes in a strip.
    crs
        Metre grid about the field, north up.
    wishes
        What was wished for.
    notes
        Sentences on what to know before sowing.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    layout: gpd.GeoDataFrame
    strips: pd.DataFrame
    cuts: gpd.GeoDataFrame
    tramlines: gpd.GeoDataFrame
    allocation: Allocation
    heading_deg: float
    passes_per_strip: int
    crs: CRS
    wishes: Wishes
    notes: tuple[str, ...]

    def record(self) -> dict[str, Any]:
        """Return how the layout came about as plain values, to be kept beside the strips."""
        return {
            "heading_deg": round(self.heading_deg, 6),
            "seeder_m": self.wishes.seeder_m,
            "harvester_m": self.wishes.harvester_m,
            "passes_per_strip": self.passes_per_strip,
            "headland_m": self.wishes.headland,
            "edge_m": self.wishes.edge_m,
            "allocation": self.allocation.record(),
            "notes": list(self.notes),
        }


def lay_out(
    boundary: Drawing,
    treatments: Sequence[str],
    blocks: int,
    *,
    seeder_m: float,
    harvester_m: float,
    heading_deg: float | None = None,
    headland_m: float | None = None,
    passes_per_strip: int | None = None,
    seed: int | None = None,
    exclusions: Drawing | None = None,
    clear_m: float | None = None,
    edge_m: float = EDGE_M,
    traffic_m: float | None = None,
    tramlines: Tramlines | None = None,
    least_length_m: float = LEAST_LENGTH_M,
    anchor: tuple[float, float] | None = None,
    gradient_deg: float | None = None,
    draw: Draw = "random",
) -> gpd.GeoDataFrame:
    """Lay out strips in blocks that the seeder and the harvester can drive.

    Parameters
    ----------
    boundary
        The field: a GeoDataFrame or GeoSeries, a shapely polygon or GeoJSON as a mapping, the
        last two in longitude and latitude, WGS 84. Its holes are dams, trees, rocks.
    treatments
        Names of the treatments, the untreated control among them; each once in a block. A strip
        that gets the carrier only, water without product, is one more treatment.
    blocks
        Number of blocks of neighbouring strips.
    seeder_m, harvester_m
        Working widths, m.
    heading_deg
        Direction of the passes, degrees clockwise from north; None for that of the field's
        longest side.
    headland_m
        Width of the ground left along the outline to turn on, m; None for two widths of the
        seeder or one of the harvester, whichever is more.
    passes_per_strip
        Seeder passes in a strip; None for the fewest that hold a full cut inside the margins.
    seed
        Seed of the draw; None for a new one, which is recorded.
    exclusions
        Further ground to stay off, in any form a boundary may have; points and lines too.
    clear_m
        Distance kept from holes and exclusion zones, m; None for one width of the seeder.
    edge_m
        Margin between the edge of a strip and the cut, m.
    traffic_m
        Controlled traffic: strips are a multiple of this width and start on one, m.
    tramlines
        The sprayer's: kept out of the cut, or the same in every strip.
    least_length_m
        Shortest strip worth having, m.
    anchor
        Longitude and latitude of a point on the edge of a pass, where guidance lines exist
        already; None to start at the headland.
    gradient_deg
        Direction in which the ground is known to change; the notes say how the strips lie to it.
    draw
        `"random"`, `"even sides"`, or systematic `"same order"` or `"turn about"`; see
        `allocate`.

    Returns
    -------
    GeoDataFrame
        Columns `strip block treatment role geometry`, WGS 84. Strips of a block are equally
        long and lie side by side. `attrs["design"]` holds the seed, the draw and the notes.

    Raises
    ------
    LayoutError
        If the boundary is faulty or a wish cannot be met; the message says what would fit.

    See Also
    --------
    plan_trial : The same with cut lines, tramlines and the draw as objects.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from trialkit.design import lay_out
    >>> field = box(85.0, -38.504, 85.006, -38.5)  # at sea: 523 m by 444 m
    >>> layout = lay_out(
    ...     field, ["untreated", "dressed"], 6, seeder_m=12, harvester_m=9, seed=20260412
    ... )
    >>> strips = layout[layout["role"] == "strip"]
    >>> len(strips), layout.attrs["design"]["passes_per_strip"]
    (12, 1)
    """
    wishes = Wishes(
        seeder_m=seeder_m,
        harvester_m=harvester_m,
        heading_deg=heading_deg,
        headland_m=headland_m,
        clear_m=clear_m,
        passes_per_strip=passes_per_strip,
        edge_m=edge_m,
        traffic_m=traffic_m,
        tramlines=tramlines,
        least_length_m=least_length_m,
        anchor=anchor,
        gradient_deg=gradient_deg,
    )
    return plan_trial(
        boundary, treatments, blocks, wishes, seed=seed, exclusions=exclusions, draw=draw
    ).layout


def plan_trial(
    boundary: Drawing,
    treatments: Sequence[str],
    blocks: int,
    wishes: Wishes,
    *,
    seed: int | None = None,
    exclusions: Drawing | None = None,
    draw: Draw = "random",
    control: str | None = None,
) -> TrialPlan:
    """Lay out strips, and keep all that is needed to drive, draw and test them.

    Parameters
    ----------
    boundary
        The field, as for `lay_out`.
    treatments
        Names of the treatments, each once in a block.
    blocks
        Number of blocks of neighbouring strips.
    wishes
        Machines, headlands, tramlines and the rest.
    seed
        Seed of the draw; None for a new one, which is recorded.
    exclusions
        Further ground to stay off.
    draw
        Way of drawing; see `allocate`.
    control
        Which treatment is the untreated control; None if that is not said.

    Returns
    -------
    TrialPlan

    Raises
    ------
    LayoutError
        If the boundary is faulty or a wish cannot be met; the message says what would fit.
    """
    names = check_treatments(treatments)
    check_blocks(blocks)
    if control is not None and control not in names:
        raise LayoutError(
            f"The control '{control}' is not among the treatments: {', '.join(names)}. Without "
            "untreated strips nobody can tell what the dressing did. Add it."
        )
    seed = secrets.randbelow(10**8) if seed is None else seed
    check_seed(seed)
    try:
        field = read_field(boundary, exclusions)
    except SplitFieldError as split:
        raise LayoutError(f"{split} {which_piece(split, wishes, blocks, len(names))}") from None
    heading = chosen_heading(field, wishes)
    placed = place(field, wishes, heading, blocks, len(names))
    if placed is None:
        raise misfit(field, wishes, heading, blocks, len(names))
    allocation = allocate(
        names, blocks, seed=int(seed), draw=draw, tramline=tramline_places(placed, wishes)
    )
    return _assemble(field, wishes, placed, allocation, control)


def _assemble(
    field: Field, wishes: Wishes, placed: Placed, allocation: Allocation, control: str | None
) -> TrialPlan:
    strips = strip_table(wishes, placed, allocation)
    heading = placed.heading_deg
    rows = [strip_rows(strips, heading), headland_rows(field, wishes)]
    plan = TrialPlan(
        layout=on_earth(
            pd.concat([part for part in rows if len(part)], ignore_index=True), field.crs
        ),
        strips=strips,
        cuts=on_earth(cut_lines(strips, wishes, heading), field.crs),
        tramlines=on_earth(tramline_lines(wishes, placed, strips), field.crs),
        allocation=allocation,
        heading_deg=heading,
        passes_per_strip=placed.starts.passes,
        crs=field.crs,
        wishes=wishes,
        notes=plan_notes(strips, wishes, heading, placed.starts, allocation, control),
    )
    plan.layout.attrs["design"] = plan.record()
    return plan
