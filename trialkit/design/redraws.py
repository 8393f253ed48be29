"""The draws of a layout over and over, as the order its strips take among fixed places."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeAlias

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.design.allocation import Allocation, allocation_from_record
from trialkit.design.draws import ENUMERATE_UP_TO, Rules, all_orders, draw_orders, systematic
from trialkit.design.layout import TrialPlan
from trialkit.errors import DesignError

Layout: TypeAlias = "gpd.GeoDataFrame | TrialPlan"
Places = NDArray[np.intp]


def allocation_of(layout: Layout, strips: gpd.GeoDataFrame) -> Allocation | None:
    """Return how a layout was drawn, or a free draw inside its blocks where it does not say.

    Parameters
    ----------
    layout
        The layout.
    strips
        Its strips, from `proposed_strips`, with `treatment`.

    Returns
    -------
    Allocation or None
        None where a block does not hold each treatment once, which no draw of ours gives.
    """
    if isinstance(layout, TrialPlan):
        return layout.allocation
    design = layout.attrs.get("design")
    if isinstance(design, Mapping) and "allocation" in design:
        return allocation_from_record(design["allocation"])
    names = tuple(str(name) for name in dict.fromkeys(strips["treatment"]))
    orders = tuple(tuple(block) for _, block in strips.groupby("block", sort=False)["treatment"])
    if any(sorted(order) != sorted(names) for order in orders):
        return None
    return Allocation(names, orders, seed=0)


def redraw(
    strips: gpd.GeoDataFrame,
    allocation: Allocation | None,
    draws: int,
    generator: np.random.Generator,
    *,
    listed: bool,
) -> tuple[Places, Places, bool]:
    """Draw the treatments of a layout again and again.

    The layout that is fitted stays the same, so that all draws are one batch of fits: what a
    draw moves is the yields.

    Parameters
    ----------
    strips
        `strip block treatment`, index from 0.
    allocation
        How the treatments were drawn; None for any order inside the blocks.
    draws
        Number of draws.
    generator
        Where the randomness comes from.
    listed
        Whether to list all draws once where they are no more than `draws`.

    Returns
    -------
    laid_out, drawn, every
        Rows of the strips sorted by block and treatment, as laid out, shape (strips,), and in
        each draw, shape (draws, strips); and whether these are all draws, each once.

    Raises
    ------
    DesignError
        If the strips are not those of the draw.
    """
    block = pd.factorize(strips["block"])[0]
    if allocation is None:
        laid_out = np.lexsort((pd.factorize(strips["treatment"])[0], block))
        keys = block + generator.random((draws, len(strips)))
        return laid_out, np.argsort(keys, axis=1), False
    codes = {name: code for code, name in enumerate(allocation.treatments)}
    own = strips["treatment"].astype(str).map(codes)
    held = strips.groupby([block, own])["strip"].count()
    if own.isna().any() or len(strips) != len(held) or len(held) != _size(allocation):
        raise DesignError(
            "The strips do not match the draw recorded with them: each block should hold each of "
            f"{', '.join(allocation.treatments)} once. Lay the strips out anew, or give the draw."
        )
    drawn, every = _orders(allocation, draws, generator, listed=listed)
    treatment = np.empty((len(drawn), len(strips)), dtype=np.intp)
    treatment[:, np.argsort(block, kind="stable")] = drawn.reshape(len(drawn), -1)
    in_block = block * len(codes)
    return np.argsort(in_block + own.to_numpy()), np.argsort(in_block + treatment, axis=1), every


def _size(allocation: Allocation) -> int:
    return len(allocation.treatments) * len(allocation.orders)


def _orders(
    allocation: Allocation, draws: int, generator: np.random.Generator, *, listed: bool
) -> tuple[Places, bool]:
    """Return treatments by draw, block and place, and whether these are all possible ones."""
    rules = Rules(
        len(allocation.treatments), len(allocation.orders), allocation.draw, allocation.tramline
    )
    if allocation.systematic:
        return np.repeat(systematic(rules)[None], 1 if listed else draws, axis=0), listed
    possible = allocation.possible
    if (
        listed
        and possible is not None
        and possible <= draws
        and rules.free_count <= ENUMERATE_UP_TO
    ):
        return all_orders(rules), True
    return draw_orders(rules, generator, draws), False
