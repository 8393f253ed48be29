"""The counting sheet: random places inside the strips, with room for the counts."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from trialkit.language import figures, marked, say
from trialkit.report import sheet_headings
from trialkit.report.card_words import about, foot
from trialkit.report.numbers import number
from trialkit.report.paper import paper_page
from trialkit.report.pieces import Piece, fill, page_file
from trialkit.report.wording import INVENTED

if TYPE_CHECKING:
    from trialkit.scouting import ComparisonCounts, CountingSheet

#: More places than this stand on a second row of the strip.
_MOST_ACROSS = 8
#: Places told of in the words on how many it takes.
_TOLD = (2, 3, 5, 10, 20)

TITLE = marked("Counting sheet: {trial}")
GOES = marked(
    "Afterwards: type the counts into counting-sheet.csv, which holds the same places, and save it "
    "as counts.csv in the trial folder. Which strips are dressed is left out on purpose: who "
    "counts should not know."
)


def counting_page(
    sheet: CountingSheet,
    *,
    trial: str,
    season: int | str,
    paddock: str = "",
    crop: str = "",
    row_length_m: float = 1.0,
    row_spacing_m: float | None = None,
    wanted: ComparisonCounts | None = None,
    assumed: str = "",
    fingerprint: str = "",
    invented: bool = False,
) -> str:
    """Return the counting sheet as an HTML page that needs no other file.

    Parameters
    ----------
    sheet
        The places, from `trialkit.scouting.counting_sheet`.
    trial, season
        Name and year of the trial.
    paddock, crop
        Where and what, for the head of the sheet.
    row_length_m
        Length of row to count at each place, m.
    row_spacing_m
        Distance between rows, m; a blank to fill in where it is not known.
    wanted
        How many places it takes, from `counts_for_difference`.
    assumed
        What that rests on, in words.
    fingerprint
        SHA-256 of the layout's file, hexadecimal.
    invented
        Whether to say that the trial is an invented example.

    Returns
    -------
    str
        The page, A4.
    """
    places = int(sheet.places.groupby("strip").size().max())
    rows = list(_rows(sheet.places, places))
    strips, title = int(sheet.places["strip"].nunique()), say(TITLE, trial=trial)
    body = fill(
        "counting-sheet.html",
        title=title,
        headings=sheet_headings.said(sheet_headings.COUNTING),
        about=about(paddock, crop, season),
        invented=say(INVENTED) if invented else "",
        foot=foot(trial, season, fingerprint),
        places=places,
        in_strips=say("places in each of {strips} strips", strips=strips),
        row_length=figures(f"{row_length_m:g} m"),
        row_spacing="______ m" if row_spacing_m is None else figures(f"{row_spacing_m:g} m"),
        steps=list(_steps(sheet, row_length_m, row_spacing_m)),
        heading=_heading(sheet, row_spacing_m),
        columns=min(places, _MOST_ACROSS),
        rows=rows,
        goes=say(GOES),
        needed=_needed_words(wanted, assumed),
        small=_draw_words(sheet),
    )
    return paper_page(title, Piece(body), style=page_file("counting-sheet.css"))


def _rows(places: pd.DataFrame, most: int) -> Iterator[dict[str, object]]:
    """Yield the rows of the table as they are walked, places from the start of the strip."""
    across = min(most, _MOST_ACROSS)
    for number_of_strip, (strip, own) in enumerate(places.groupby("strip", sort=False)):
        back = number_of_strip % 2 == 1
        cells = [_place(row) for row in own.sort_values("place").to_dict("records")]
        for first in range(0, len(cells), across):
            part = cells[first : first + across]
            yield {
                "strip": str(strip),
                "walk": say("back ←") if back else say("out →"),
                "cells": [*part, *[""] * (across - len(part))],
            }


def _place(row: Mapping[Hashable, Any]) -> str:
    along = number(row["along_m"], 0)
    if pd.isna(row["drill_row"]):
        return say("{along} m · {across} m in", along=along, across=number(row["across_m"], 1))
    return say("{along} m · row {row}", along=along, row=row["drill_row"])


def _heading(sheet: CountingSheet, row_spacing_m: float | None) -> str:
    if row_spacing_m is None:
        return say(
            "Metres from the {start} end · metres in from the left edge, seen from there. Write "
            "the plants below.",
            start=say(sheet.start),
        )
    return say(
        "Metres from the {start} end · drill row from the left edge, seen from there. Write the "
        "plants below.",
        start=say(sheet.start),
    )


def _steps(sheet: CountingSheet, row_length_m: float, row_spacing_m: float | None) -> Iterator[str]:
    yield say(
        "Begin at the {start} end. Walk out along one strip and back along the next, down the "
        "list; on the way back take the places from right to left.",
        start=say(sheet.start),
    )
    if row_spacing_m is None:
        yield say(
            "Pace to the metres in the box, go to its distance from the edge, and lay the measure "
            "down where you stand, without choosing: thick or thin, the place stays. Write what "
            "you really took if it cannot be reached."
        )
    else:
        yield say(
            "Pace to the metres in the box, go to its row, and lay the measure down where you "
            "stand, without choosing: thick or thin, the place stays. Write what you really took "
            "if it cannot be reached."
        )
    yield say("Count every plant of that one row over {length:g} m.", length=row_length_m)
    yield say("Write 0 where you looked and found none. Leave blank where nobody looked.")
    yield say(
        "When: most plants up, none tillering yet, all strips within a few days. Sprayed lately? "
        "Keep to the label's time before anybody walks in."
    )


def _needed_words(wanted: ComparisonCounts | None, assumed: str) -> str:
    if wanted is None:
        return ""
    shown = wanted.table[wanted.table["counts_a_strip"].isin(_TOLD)]
    parts = [
        say(
            "{difference}% with {places}",
            difference=number(row["detectable_pct"], 0),
            places=int(row["counts_a_strip"]),
        )
        for row in shown.to_dict("records")
    ]
    needed = say(
        "How many places a strip: with {strips} strips a treatment, a difference of {each} shows "
        "in four trials of five. Below {floor}% no number of places helps, only more strips.",
        strips=wanted.pairs,
        each=", ".join(parts),
        floor=number(wanted.floor_pct, 0),
    )
    return f"{needed} {assumed}"


def _draw_words(sheet: CountingSheet) -> str:
    return say(
        "Places drawn by lot, one in each of equal sections of a strip; seed of the draw {seed}. "
        "Left out: {end} m at the ends and {edge} m along the edges. Ends and edges left out, and "
        "when to count: common practice, no source.",
        seed=str(sheet.seed),
        end=number(sheet.end_m, 0),
        edge=number(sheet.edge_m, 1),
    )
