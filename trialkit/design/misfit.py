"""Why the strips wished for do not fit, and what would."""

from __future__ import annotations

from dataclasses import replace

from trialkit.design.fitting import Way, chosen_heading, find_ways, place, turned, upright
from trialkit.design.outline import Field, SplitFieldError
from trialkit.design.placement import longest_for, most_blocks
from trialkit.design.wishes import Wishes
from trialkit.errors import LayoutError

#: Strips shorter than this are not worth proposing, m. Common practice, no source.
_SHORTEST_M = 30.0


def misfit(
    field: Field, wishes: Wishes, heading_deg: float, blocks: int, strips: int
) -> LayoutError:
    """Return the error that says why a layout does not fit, and what would.

    Parameters
    ----------
    field
        The field.
    wishes
        What was wished for.
    heading_deg
        Direction of the passes, degrees.
    blocks, strips
        Blocks wanted, and strips in each.
    """
    wide = wishes.passes()[0] * wishes.seeder_m
    ways = list(find_ways(field, wishes, heading_deg, strips))
    what = (
        f"{blocks} block{'s' if blocks > 1 else ''} of {strips} strips, each {wide:g} m wide and "
        f"at least {wishes.least_length_m:g} m long, do not fit at heading {_degrees(heading_deg)}°"
    )
    fitting = _what_would_fit(field, wishes, heading_deg, blocks, strips, ways)
    remedy = f"What would fit: {'; '.join(fitting)}." if fitting else _no_way(wishes)
    if not ways or not len(ways[0].lanes.number):
        near, left, far, right = turned(field.outer, heading_deg).bounds
        why = (
            f"the field is {far - near:.0f} m by {right - left:.0f} m, and inside headlands of "
            f"{wishes.headland:g} m there is no room for one pass of {wishes.seeder_m:g} m"
        )
        return LayoutError(f"{what}: {why}. {remedy}")
    lanes = ways[0].lanes
    why = (
        f"inside the headlands there are {len(lanes.number) * lanes.seeder_m:g} m across the "
        f"strips, and they need {blocks * strips * wide:g} m; along them there are at most "
        f"{lanes.far_m - lanes.near_m:.0f} m{_kept_clear(field, wishes)}"
    )
    return LayoutError(f"{what}: {why}. {remedy}")


def which_piece(split: SplitFieldError, wishes: Wishes, blocks: int, strips: int) -> str:
    """Return the sentence that says in which piece of a split field the trial would fit.

    Parameters
    ----------
    split
        The error that holds the pieces.
    wishes
        What was wished for.
    blocks, strips
        Blocks wanted, and strips in each.
    """
    fitting = [
        f"{piece.area_ha:,.1f} ha"
        for piece in split.pieces
        if place(piece, wishes, chosen_heading(piece, wishes), blocks, strips) is not None
    ]
    if not fitting:
        return f"The {blocks} blocks fit in none of them."
    return f"All {blocks} blocks fit in the piece of {' and in that of '.join(fitting)}."


def _kept_clear(field: Field, wishes: Wishes) -> str:
    """Return what else takes room, as the end of a sentence."""
    takers = [
        words
        for words, there in (
            ("the obstacles", not field.obstacles.is_empty),
            ("the tramlines", wishes.tramlines is not None),
            ("the wheel tracks", wishes.traffic_m is not None),
        )
        if there
    ]
    return f", less what {' and '.join(takers)} take" if takers else ""


def _what_would_fit(
    field: Field, wishes: Wishes, heading_deg: float, blocks: int, strips: int, ways: list[Way]
) -> list[str]:
    fitting = []
    fewer = max((most_blocks(way.sites, wishes.least_length_m) for way in ways), default=0)
    if 0 < fewer < blocks:
        fitting.append(f"{fewer} block{'s' if fewer > 1 else ''}")
    shorter = max((longest_for(way.sites, blocks, several=True) for way in ways), default=0.0)
    if _SHORTEST_M <= shorter < wishes.least_length_m:
        fitting.append(f"strips {int(shorter)} m long")
    for other, words in _other_wishes(wishes):
        if place(field, other, heading_deg, blocks, strips) is not None:
            fitting.append(words)
    if place(field, wishes, upright(heading_deg + 90), blocks, strips) is not None:
        fitting.append(f"the same strips at heading {_degrees(heading_deg + 90)}°")
    return fitting


def _other_wishes(wishes: Wishes) -> list[tuple[Wishes, str]]:
    others = []
    if wishes.passes_per_strip is not None:
        free = replace(wishes, passes_per_strip=None)
        fewest = free.passes()[0]
        if fewest < wishes.passes_per_strip:
            words = f"strips of {fewest * wishes.seeder_m:g} m ({fewest} seeder passes each)"
            others.append((free, words.replace("1 seeder passes", "1 seeder pass")))
    if wishes.tramlines is not None:
        others.append((replace(wishes, tramlines=None), "the same strips with no tramlines"))
    if wishes.traffic_m is not None:
        others.append((replace(wishes, traffic_m=None), "the same strips off the wheel tracks"))
    for headland in (replace(wishes, headland_m=None).headland, wishes.seeder_m):
        if headland < wishes.headland:
            narrow = replace(wishes, headland_m=headland)
            others.append((narrow, f"headlands of {headland:g} m"))
    return others


def _degrees(heading_deg: float) -> str:
    return f"{round(heading_deg, 1) % 180:g}"


def _no_way(wishes: Wishes) -> str:
    return (
        f"Not one block of strips that long fits, whichever way they run; use a larger field, "
        f"strips shorter than {wishes.least_length_m:g} m, or fewer treatments."
    )
