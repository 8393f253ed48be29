"""The field card: what the driver of the seeder needs, on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pandas as pd

from trialkit.design import TrialPlan
from trialkit.design.notes import said_again
from trialkit.design.pegs import PeggedOut, peg_out
from trialkit.errors import LayoutError
from trialkit.language import say
from trialkit.position import local_grid
from trialkit.report import card_words, numbers
from trialkit.report.layout_map import layout_map, treatments_in_order
from trialkit.report.paper import paper_page
from trialkit.report.pieces import Piece, fill, page_file
from trialkit.report.wording import INVENTED
from trialkit.sowing.order import sowing_order
from trialkit.trial.laying_out import CAUTION

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Length of a pace, m. Common practice, no source: everybody checks their own.
PACE_M = 0.9

#: Paces that nobody takes, m.
_SHORTEST_PACE_M, _LONGEST_PACE_M = 0.3, 2.0

#: Room for the map beside the facts, and above them where the field is this much wider than high
#: or has more strips.
_BESIDE_IN, _ABOVE_IN, _WIDE, _MANY_STRIPS = (4.44, 3.9), (7.1, 4.9), 2.0, 16

#: Longest name of a treatment where its letter stands beside it; in full at the head of the card.
_LONGEST_NAME = 40

#: A strip drawn by hand is whole passes wide if it is so to this share of a pass.
_WHOLE_PASS = 0.1


def field_card(
    plan: TrialPlan | GeoDataFrame,
    *,
    trial: str,
    season: int | str,
    control: str | None = None,
    order: Sequence[str] | None = None,
    tanks: int = 1,
    paddock: str = "",
    crop: str = "",
    boundary: GeoDataFrame | None = None,
    zones: GeoDataFrame | None = None,
    seeder_m: float | None = None,
    pace_m: float = PACE_M,
    fingerprint: str = "",
    invented: bool = False,
) -> str:
    """Return the field card of a layout as an HTML page that needs no other file.

    Parameters
    ----------
    plan
        The layout, or strips drawn by hand: `strip block treatment role geometry`.
    trial, season
        Name and year of the trial.
    control
        The untreated control, sown first; None if that is not known.
    order
        The treatments in the order they are sown after it, the one with least on the seed first;
        None for that in which they lie.
    tanks
        Tanks for seed: with two, strips are sown side by side.
    paddock, crop
        Where and what, for the head of the card.
    boundary
        The field's outline with its holes, to measure from and for the map.
    zones
        Further ground to stay off, for the map.
    seeder_m
        Working width of the seeder, m; the plan's own goes first.
    pace_m
        Length of a pace, m.
    fingerprint
        SHA-256 of the layout's file, hexadecimal.
    invented
        Whether to say that the trial is an invented example.

    Returns
    -------
    str
        The page, A4.

    Raises
    ------
    LayoutError
        If there is no strip, or nobody takes such paces.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> from trialkit.design import Wishes, plan_trial
    >>> field = box(85.0, -38.504, 85.006, -38.5)  # at sea: 523 m by 444 m
    >>> plan = plan_trial(field, ["untreated", "dressed"], 6, Wishes(12, 9), seed=1)
    >>> page = field_card(plan, trial="Invented trial", season=2026, control="untreated")
    >>> "12 strips in 6 blocks" in page
    True
    """
    check_pace(pace_m)
    planned = plan if isinstance(plan, TrialPlan) else None
    layout = plan.layout if isinstance(plan, TrialPlan) else plan
    pegged = peg_out(layout, planned.heading_deg if planned else None, boundary=boundary)
    if planned is not None:
        seeder_m = planned.wishes.seeder_m
    arms = _arms(pegged.strips, control)
    letters = {arm["name"]: arm["letter"] for arm in arms}
    strips = _strip_rows(pegged, letters, seeder_m)
    wide = len(strips) > _MANY_STRIPS or _is_wide(layout if boundary is None else boundary)
    picture = layout_map(
        plan, boundary, control=control, zones=zones, box_in=_ABOVE_IN if wide else _BESIDE_IN
    )
    title = say(card_words.TITLE, trial=trial)
    body = fill(
        "field-card.html",
        title=title,
        headings={name: say(text) for name, text in card_words.HEADINGS.items()},
        about=card_words.about(paddock, crop, season),
        invented=say(INVENTED) if invented else "",
        foot=card_words.foot(trial, season, fingerprint),
        **_facts(pegged, strips, seeder_m),
        arms=arms,
        picture=picture,
        wide=wide,
        walk_first=say(CAUTION),
        more=say(card_words.MORE),
        cautions=list(card_words.cautions()),
        sowing=strips,
        sowing_arms=_sowing(arms, pegged.strips, control, order, tanks),
        why_order=card_words.why_this_order(len(arms), tanks) if control else "",
        write_down=say(card_words.WRITE_DOWN),
        clean_out=say(card_words.CLEAN_OUT),
        draw=card_words.draw_words(planned.allocation if planned else None),
        notes=[said_again(note) for note in planned.notes] if planned else (),
        strips=strips,
        level=pegged.level,
        steps=list(card_words.how_to_find(pegged, pace_m)),
        pegs=_peg_rows(pegged.pegs, pace_m),
        practice=say(card_words.PRACTICE),
        fingerprint=card_words.fingerprint_words(fingerprint) if fingerprint else "",
    )
    return paper_page(title, Piece(body), style=page_file("field-card.css"))


def check_pace(pace_m: float) -> None:
    """Raise a LayoutError if nobody takes such paces.

    Parameters
    ----------
    pace_m
        Length of a pace, m.
    """
    if not _SHORTEST_PACE_M <= pace_m <= _LONGEST_PACE_M:
        raise LayoutError(
            f"A pace of {pace_m:g} m is none. Walk 100 m, count your paces, and give 100 divided "
            "by their number."
        )


def _is_wide(ground: GeoDataFrame) -> bool:
    west, south, east, north = ground.to_crs(local_grid(ground)).total_bounds
    return bool(east - west > _WIDE * (north - south))


def _arms(strips: pd.DataFrame, control: str | None) -> list[dict[str, Any]]:
    """Return the treatments, the control first, with their strips and areas."""
    names = treatments_in_order(strips["treatment"], control)
    letters = numbers.letters(names)
    areas = {name: strips.loc[strips["treatment"] == name, "area_ha"] for name in names}
    return [
        {
            "letter": letters[name],
            "name": name,
            "short": numbers.shortened(name, _LONGEST_NAME),
            "strips": len(areas[name]),
            "area": numbers.number(areas[name].sum(), 2),
        }
        for name in names
    ]


def _facts(
    pegged: PeggedOut, rows: list[dict[str, str]], seeder_m: float | None
) -> dict[str, object]:
    table = pegged.strips
    widths = (table["to_m"] - table["from_m"]).tolist()
    return {
        "size": card_words.size_words(len(table), int(table["block"].nunique())),
        "width": card_words.width_words(widths, [row["passes"] for row in rows], seeder_m),
        "length": card_words.length_words(table["length_m"].tolist()),
        "heading": card_words.heading_words(pegged.heading_deg),
    }


def _strip_rows(
    pegged: PeggedOut, letters: dict[str, str], seeder_m: float | None
) -> list[dict[str, str]]:
    return [
        {
            "strip": row["strip"],
            "block": row["block"],
            "letter": letters[row["treatment"]],
            "treatment": numbers.shortened(row["treatment"], _LONGEST_NAME),
            "passes": _passes(row["to_m"] - row["from_m"], seeder_m),
            "from_m": numbers.number(row["from_m"], 1),
            "to_m": numbers.number(row["to_m"], 1),
            "start": card_words.start_words(row["start_m"]),
            "length_m": numbers.number(row["length_m"], 1),
            "area_ha": numbers.number(row["area_ha"], 3),
        }
        for row in pegged.strips.to_dict("records")
    ]


def _passes(width_m: float, seeder_m: float | None) -> str:
    """Return the seeder's passes in a strip; empty where they are not whole or not known."""
    if seeder_m is None:
        return ""
    passes = width_m / seeder_m
    return str(round(passes)) if abs(passes - round(passes)) < _WHOLE_PASS else ""


def _sowing(
    arms: list[dict[str, Any]],
    strips: pd.DataFrame,
    control: str | None,
    order: Sequence[str] | None,
    tanks: int,
) -> list[dict[str, Any]]:
    """Return the strips in the order they are sown, parted where the seeder is cleaned out."""
    first, *others = [arm["name"] for arm in arms]
    if order is not None:
        others.sort(key=lambda name: order.index(name) if name in order else len(order))
    table = strips[["strip", "block", "treatment"]]
    steps = sowing_order(table, control or first, tanks=tanks, treatment_order=others).steps
    marks = {arm["name"]: {"letter": arm["letter"], "short": arm["short"]} for arm in arms}
    parted = "treatment" if tanks == 1 else "round"
    return [
        {"rows": [row | marks[row["treatment"]] for row in part.to_dict("records")]}
        for _, part in steps.groupby(parted, sort=False)
    ]


def _peg_rows(pegs: pd.DataFrame, pace_m: float) -> list[dict[str, object]]:
    return [
        {
            "peg": peg["peg"],
            "edge": card_words.edge_words(peg["left_strip"], peg["right_strip"]),
            "across_m": numbers.number(peg["across_m"], 1),
            "paces": math.floor(peg["across_m"] / pace_m + 0.5),
            "start": card_words.start_words(peg["along_m"]),
            "latitude": card_words.degrees(peg["latitude"]),
            "longitude": card_words.degrees(peg["longitude"]),
        }
        for peg in pegs.to_dict("records")
    ]
