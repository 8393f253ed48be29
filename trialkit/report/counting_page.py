"""The counting sheet: random places inside the strips, with room for the counts."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

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

GOES = (
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
    body = fill(
        "counting-sheet.html",
        trial=trial,
        about=about(paddock, crop, season),
        invented=INVENTED if invented else "",
        foot=foot(trial, season, fingerprint),
        places=places,
        strips=sheet.places["strip"].nunique(),
        row_length=f"{row_length_m:g} m",
        row_spacing="______ m" if row_spacing_m is None else f"{row_spacing_m:g} m",
        steps=list(_steps(sheet, row_length_m, row_spacing_m)),
        heading=_heading(sheet, row_spacing_m),
        columns=min(places, _MOST_ACROSS),
        rows=rows,
        goes=GOES,
        needed=_needed_words(wanted, assumed),
        small=_draw_words(sheet),
    )
    return paper_page(
        f"Counting sheet: {trial}", Piece(body), style=page_file("counting-sheet.css")
    )


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
                "walk": "back ←" if back else "out →",
                "cells": [*part, *[""] * (across - len(part))],
            }


def _place(row: Mapping[Hashable, Any]) -> str:
    along = number(row["along_m"], 0)
    if pd.isna(row["drill_row"]):
        return f"{along} m · {number(row['across_m'], 1)} m in"
    return f"{along} m · row {row['drill_row']}"


def _heading(sheet: CountingSheet, row_spacing_m: float | None) -> str:
    row = "metres in from" if row_spacing_m is None else "drill row from"
    return (
        f"Metres from the {sheet.start} end · {row} the left edge, seen from there. Write the "
        "plants below."
    )


def _steps(sheet: CountingSheet, row_length_m: float, row_spacing_m: float | None) -> Iterator[str]:
    yield (
        f"Begin at the {sheet.start} end. Walk out along one strip and back along the next, down "
        "the list; on the way back take the places from right to left."
    )
    what = "row" if row_spacing_m is not None else "distance from the edge"
    yield (
        f"Pace to the metres in the box, go to its {what}, and lay the measure down where you "
        "stand, without choosing: thick or thin, the place stays. Write what you really took if it "
        "cannot be reached."
    )
    yield f"Count every plant of that one row over {row_length_m:g} m."
    yield "Write 0 where you looked and found none. Leave blank where nobody looked."
    yield (
        "When: most plants up, none tillering yet, all strips within a few days. Sprayed lately? "
        "Keep to the label's time before anybody walks in."
    )


def _needed_words(wanted: ComparisonCounts | None, assumed: str) -> str:
    if wanted is None:
        return ""
    shown = wanted.table[wanted.table["counts_a_strip"].isin(_TOLD)]
    parts = [
        f"{number(row['detectable_pct'], 0)}% with {int(row['counts_a_strip'])}"
        for row in shown.to_dict("records")
    ]
    floor = number(wanted.floor_pct, 0)
    return (
        f"How many places a strip: with {wanted.pairs} strips a treatment, a difference of "
        f"{', '.join(parts)} shows in four trials of five. Below {floor}% no number of places "
        f"helps, only more strips. {assumed}"
    )


def _draw_words(sheet: CountingSheet) -> str:
    return (
        f"Places drawn by lot, one in each of equal sections of a strip; seed of the draw "
        f"{sheet.seed}. Left out: {number(sheet.end_m, 0)} m at the ends and "
        f"{number(sheet.edge_m, 1)} m along the edges. Ends and edges left out, and when to count: "
        "common practice, no source."
    )
