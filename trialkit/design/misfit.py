"""Why the strips wished for do not fit, and what would."""

from __future__ import annotations

from dataclasses import replace

from trialkit.design.fitting import Way, chosen_heading, find_ways, place, turned, upright
from trialkit.design.outline import Field, SplitFieldError
from trialkit.design.placement import longest_for, most_blocks
from trialkit.design.wishes import Wishes
from trialkit.errors import LayoutError
from trialkit.language import figures, marked, say, say_counted

#: What else takes room.
_OBSTACLES, _TRAMLINES = marked("the obstacles"), marked("the tramlines")
_WHEEL_TRACKS = marked("the wheel tracks")

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
    what = say_counted(
        "{count} block of {strips} strips, each {width:g} m wide and at least {least:g} m long, do "
        "not fit at heading {heading}°: {why}.",
        "{count} blocks of {strips} strips, each {width:g} m wide and at least {least:g} m long, "
        "do not fit at heading {heading}°: {why}.",
        blocks,
        strips=strips,
        width=wide,
        least=wishes.least_length_m,
        heading=_degrees(heading_deg),
        why=_why(field, wishes, heading_deg, blocks * strips * wide, ways),
    )
    fitting = _what_would_fit(field, wishes, heading_deg, blocks, strips, ways)
    remedy = say("What would fit: {each}.", each="; ".join(fitting)) if fitting else _no_way(wishes)
    return LayoutError(f"{what} {remedy}")


def _why(field: Field, wishes: Wishes, heading_deg: float, needed_m: float, ways: list[Way]) -> str:
    """Return why there is no room, as the end of a sentence."""
    if not ways or not len(ways[0].lanes.number):
        near, left, far, right = turned(field.outer, heading_deg).bounds
        return say(
            "the field is {along:.0f} m by {across:.0f} m, and inside headlands of {headland:g} m "
            "there is no room for one pass of {seeder:g} m",
            along=far - near,
            across=right - left,
            headland=wishes.headland,
            seeder=wishes.seeder_m,
        )
    lanes, takers = ways[0].lanes, _takers(field, wishes)
    across, along = len(lanes.number) * lanes.seeder_m, lanes.far_m - lanes.near_m
    if not takers:
        return say(
            "inside the headlands there are {across:g} m across the strips, and they need "
            "{needed:g} m; along them there are at most {along:.0f} m",
            across=across,
            needed=needed_m,
            along=along,
        )
    return say(
        "inside the headlands there are {across:g} m across the strips, and they need {needed:g} "
        "m; along them there are at most {along:.0f} m, less what {takers} take",
        across=across,
        needed=needed_m,
        along=along,
        takers=takers,
    )


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


def _takers(field: Field, wishes: Wishes) -> str:
    """Return what else takes room; empty where nothing does."""
    said = ""
    for words, there in (
        (_OBSTACLES, not field.obstacles.is_empty),
        (_TRAMLINES, wishes.tramlines is not None),
        (_WHEEL_TRACKS, wishes.traffic_m is not None),
    ):
        if there:
            taker = say(words)
            said = say("{names} and {last}", names=said, last=taker) if said else taker
    return said


def _what_would_fit(
    field: Field, wishes: Wishes, heading_deg: float, blocks: int, strips: int, ways: list[Way]
) -> list[str]:
    fitting = []
    fewer = max((most_blocks(way.sites, wishes.least_length_m) for way in ways), default=0)
    if 0 < fewer < blocks:
        fitting.append(say_counted("{count} block", "{count} blocks", fewer))
    shorter = max((longest_for(way.sites, blocks, several=True) for way in ways), default=0.0)
    if _SHORTEST_M <= shorter < wishes.least_length_m:
        fitting.append(say("strips {length} m long", length=int(shorter)))
    for other, words in _other_wishes(wishes):
        if place(field, other, heading_deg, blocks, strips) is not None:
            fitting.append(words)
    if place(field, wishes, upright(heading_deg + 90), blocks, strips) is not None:
        turned_by = _degrees(heading_deg + 90)
        fitting.append(say("the same strips at heading {heading}°", heading=turned_by))
    return fitting


def _other_wishes(wishes: Wishes) -> list[tuple[Wishes, str]]:
    others = []
    if wishes.passes_per_strip is not None:
        free = replace(wishes, passes_per_strip=None)
        fewest = free.passes()[0]
        if fewest < wishes.passes_per_strip:
            words = say_counted(
                "strips of {width:g} m ({count} seeder pass each)",
                "strips of {width:g} m ({count} seeder passes each)",
                fewest,
                width=fewest * wishes.seeder_m,
            )
            others.append((free, words))
    if wishes.tramlines is not None:
        words = say("the same strips with no tramlines")
        others.append((replace(wishes, tramlines=None), words))
    if wishes.traffic_m is not None:
        words = say("the same strips off the wheel tracks")
        others.append((replace(wishes, traffic_m=None), words))
    for headland in (replace(wishes, headland_m=None).headland, wishes.seeder_m):
        if headland < wishes.headland:
            narrow = replace(wishes, headland_m=headland)
            others.append((narrow, say("headlands of {width:g} m", width=headland)))
    return others


def _degrees(heading_deg: float) -> str:
    return figures(f"{round(heading_deg, 1) % 180:g}")


def _no_way(wishes: Wishes) -> str:
    return say(
        "Not one block of strips that long fits, whichever way they run; use a larger field, "
        "strips shorter than {least:g} m, or fewer treatments.",
        least=wishes.least_length_m,
    )
