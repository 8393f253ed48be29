"""The look of every table: a caption, headings, figures to the right, cells escaped."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pandas as pd
from great_tables import GT

from trialkit.language import language
from trialkit.report.pieces import Piece, captioned


def house_table(
    key: str,
    shown: pd.DataFrame,
    *,
    caption: str,
    headings: Mapping[str, str],
    decimals: Mapping[str, int],
    right: tuple[str, ...] = (),
    note: str = "",
) -> Piece:
    """Return a table in the look of the page.

    Parameters
    ----------
    key
        Name of the table on its page.
    shown
        What it holds; each column is shown.
    caption
        Words above it.
    headings
        Column to its heading.
    decimals
        Column to decimal places, for columns of figures; all others are shown as text.
    right
        Columns of text to be set to the right, such as chances.
    note
        Words below it.
    """
    shown = shown.reset_index(drop=True).copy()
    figures = [str(name) for name in shown if name in decimals]
    texts = [str(name) for name in shown if name not in decimals]
    for name in texts:
        shown[name] = ["" if pd.isna(cell) else str(cell) for cell in shown[name]]
    table = GT(shown, id=f"tk-{key}").cols_label({str(name): headings[str(name)] for name in shown})
    spoken = language()
    for name in figures:
        table = table.fmt_number(
            name, decimals=decimals[name], dec_mark=spoken.decimal, sep_mark=spoken.thousands
        )
    table = table.sub_missing(missing_text="–")
    table = table.cols_align("left", [name for name in texts if name not in right])
    table = table.cols_align("right", [*figures, *right])
    if note:
        table = table.tab_source_note(note)
    # The table's own style sheet would restyle the whole page.
    markup = re.sub(r"<style>.*?</style>", "", table.as_raw_html(), count=1, flags=re.S)
    return captioned(markup, caption)
