"""Several layouts tried over the same yields, in one table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from trialkit.design.allocation import DRAWS, Draw
from trialkit.design.layout import TrialPlan, plan_trial
from trialkit.design.outline import Drawing
from trialkit.design.redraws import Layout
from trialkit.design.rehearsal import rehearse
from trialkit.design.strip_yields import proposed_strips
from trialkit.design.wishes import Wishes
from trialkit.errors import DesignError, LayoutError
from trialkit.language import say
from trialkit.position import local_grid


@dataclass(frozen=True, slots=True)
class Variants:
    """Layouts of one field that differ in what was varied.

    Parameters
    ----------
    plans
        Name, such as `6 blocks, 24 m, heading 90°`, to the layout.
    misfits
        Name to why it does not fit the field.
    """

    plans: dict[str, TrialPlan]
    misfits: dict[str, str]


def plan_variants(
    boundary: Drawing,
    treatments: Sequence[str],
    wishes: Wishes,
    *,
    blocks: Sequence[int],
    passes_per_strip: Sequence[int | None] = (None,),
    headings_deg: Sequence[float | None] = (None,),
    draws: Sequence[Draw] = ("random",),
    seed: int = 1,
    exclusions: Drawing | None = None,
) -> Variants:
    """Lay a field out in every way asked for.

    Parameters
    ----------
    boundary, treatments, wishes
        As for `plan_trial`.
    blocks
        Numbers of blocks to try.
    passes_per_strip
        Numbers of seeder passes in a strip; None for the fewest that hold a full cut.
    headings_deg
        Directions of the passes, degrees; None for that of the wishes.
    draws
        Ways of drawing.
    seed
        Seed of the draws. It only settles which layout is shown; rehearsing draws anew.
    exclusions
        As for `plan_trial`.

    Returns
    -------
    Variants
        Those that fit, and why the others do not.

    Raises
    ------
    LayoutError
        If not one of them fits.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from trialkit.design import Wishes, plan_variants
    >>> found = plan_variants(
    ...     box(85.0, -38.504, 85.006, -38.5),
    ...     ["untreated", "dressed"],
    ...     Wishes(seeder_m=12, harvester_m=9),
    ...     blocks=[4, 6, 60],
    ... )
    >>> list(found.plans), list(found.misfits)
    (['4 blocks, 12 m, heading 90°', '6 blocks, 12 m, heading 90°'], ['60 blocks'])
    """
    plans: dict[str, TrialPlan] = {}
    misfits: dict[str, str] = {}
    for number in blocks:
        for passes in passes_per_strip:
            for heading in headings_deg:
                for draw in draws:
                    wish = replace(
                        wishes,
                        passes_per_strip=passes or wishes.passes_per_strip,
                        heading_deg=wishes.heading_deg if heading is None else heading,
                    )
                    try:
                        plan = plan_trial(
                            boundary, treatments, number, wish,
                            seed=seed, exclusions=exclusions, draw=draw,
                        )  # fmt: skip
                    except LayoutError as error:
                        misfits[_wished(number, passes, heading, draw)] = str(error)
                    else:
                        plans[_named(plan)] = plan
    if not plans:
        name, why = next(iter(misfits.items()))
        raise LayoutError(f"None of the layouts fits. {name}: {why}")
    return Variants(plans, misfits)


def compare_layouts(
    layouts: Mapping[str, Layout],
    past_yield: pd.DataFrame | Sequence[pd.DataFrame],
    *,
    gain_t_ha: float | None = None,
    draws: int = 1000,
    seed: int | None = None,
    strip_sd_t_ha: float = 0.0,
) -> pd.DataFrame:
    """Rehearse several layouts over the same yields.

    Parameters
    ----------
    layouts
        Name of each layout, to what `rehearse` takes.
    past_yield
        As `rehearse` takes it; the maps must cover every layout.
    gain_t_ha
        A gain to be seen, t/ha, such as the break-even one.
    draws, seed, strip_sd_t_ha
        As for `rehearse`.

    Returns
    -------
    DataFrame
        One row a layout, the one that sees the smallest gain first and systematic ones last, as
        what they see is not known: `layout strips blocks width_m length_m
        area_ha std_error_t_ha detectable_t_ha false_positive_pct`, and `chance_seen_pct` of
        `gain_t_ha` where that is given. Width and length are medians over the strips.

    Raises
    ------
    DesignError
        If a layout cannot be rehearsed; the message names it.
    """
    if not layouts:
        raise DesignError("There is no layout to compare. Give at least one.")
    rows = []
    for name, layout in layouts.items():
        try:
            found = rehearse(
                layout, past_yield, draws=draws, seed=seed, strip_sd_t_ha=strip_sd_t_ha
            )
        except DesignError as error:
            raise DesignError(f"{name}: {error}") from error
        strips = proposed_strips(layout.layout if isinstance(layout, TrialPlan) else layout)
        rows.append(
            {
                "layout": name,
                "strips": found.strips,
                "blocks": found.blocks,
                **_sizes(strips),
                "std_error_t_ha": found.std_error_t_ha,
                "detectable_t_ha": found.detectable_t_ha,
                "false_positive_pct": found.false_positive_pct,
            }
            | ({} if gain_t_ha is None else {"chance_seen_pct": 100 * found.chance_seen(gain_t_ha)})
        )
    return pd.DataFrame(rows).sort_values("detectable_t_ha", kind="stable", ignore_index=True)


def _named(plan: TrialPlan) -> str:
    drawn = plan.allocation
    name = say(
        "{blocks} blocks, {width:g} m, heading {heading:.0f}°",
        blocks=len(drawn.orders),
        width=plan.passes_per_strip * plan.wishes.seeder_m,
        heading=plan.heading_deg % 180,
    )
    return name if drawn.draw == "random" else f"{name}, {say(DRAWS[drawn.draw])}"


def _wished(blocks: int, passes: int | None, heading: float | None, draw: Draw) -> str:
    parts = [say("{blocks} blocks", blocks=blocks)]
    if passes is not None:
        parts.append(say("{passes} passes a strip", passes=passes))
    if heading is not None:
        parts.append(say("heading {heading:g}°", heading=heading))
    return ", ".join(parts if draw == "random" else [*parts, say(DRAWS[draw])])


def _sizes(strips: gpd.GeoDataFrame) -> dict[str, float]:
    """Return width and length of the strips, m, as medians, and their area together, ha."""
    ground = strips.to_crs(local_grid(strips)).geometry
    corners = [
        shapely.get_coordinates(box) for box in shapely.minimum_rotated_rectangle(ground.to_numpy())
    ]
    sides = np.sort([np.hypot(*np.diff(corner[:3], axis=0).T) for corner in corners], axis=1)
    width, length = np.median(sides, axis=0)
    return {
        "width_m": float(width),
        "length_m": float(length),
        "area_ha": float(ground.area.sum() / 10_000),
    }
