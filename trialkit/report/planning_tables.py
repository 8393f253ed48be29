"""Tables for planning: replicates, past seasons, layouts beside each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from trialkit.language import say
from trialkit.report import planning_captions as words
from trialkit.report.pieces import Piece
from trialkit.report.table_look import house_table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from trialkit.design import Rehearsal

_DECIMALS = {
    **{"cv_pct": 1, "low_pct": 1, "high_pct": 1, "mean_t_ha": 2, "strips": 0, "blocks": 0},
    **{"width_m": 1, "length_m": 0, "area_ha": 1, "std_error_t_ha": 3, "detectable_t_ha": 2},
    **{"false_positive_pct": 1, "chance_seen_pct": 0, "gain_t_ha": 2},
    **{"paid_pct": 0, "not_settled_pct": 0, "did_not_pay_pct": 0},
}


def replicates_rows(table: pd.DataFrame, currency: str, layout: str = "pairs") -> Piece:
    """Show how many pairs or blocks it takes: a row a price, a column a variation.

    Parameters
    ----------
    table
        From `trialkit.design.replicates_table`.
    currency
        Code of the money.
    layout
        What is counted: `"pairs"` or `"blocks"`.
    """
    wide = table.set_index(["price_per_t", "cv_pct"])["replicates"].unstack()  # noqa: PD010
    wide.columns = [words.variation_name(float(cv)) for cv in wide.columns]
    shown = wide.astype("Float64").reset_index()
    headings = {name: name for name in wide.columns}
    return house_table(
        "replicates",
        shown,
        caption=words.replicates_title(layout),
        headings=headings | {"price_per_t": words.price_axis(currency)},
        decimals={"price_per_t": 0} | dict.fromkeys(headings, 0),
    )


def typical_rows(table: pd.DataFrame) -> Piece:
    """Show published variations.

    Parameters
    ----------
    table
        From `trialkit.design.typical_cvs`.
    """
    shown = table.assign(what=table["what"].map(say), source=table["source"].map(say))
    return house_table(
        "typical",
        shown,
        caption=say(words.TYPICAL_TITLE),
        headings=words.headings(),
        decimals=_DECIMALS,
    )


def season_rows(rehearsal: Rehearsal, seasons: list[str]) -> Piece:
    """Show what a layout would have shown in each past season.

    Parameters
    ----------
    rehearsal
        The rehearsal.
    seasons
        Names of its maps.
    """
    shown = rehearsal.by_map.copy()
    shown.insert(0, "season", seasons)
    return house_table(
        "seasons",
        shown,
        caption=say(words.SEASONS_TITLE),
        headings=words.headings(),
        decimals=_DECIMALS,
    )


def verdict_rows(verdicts: pd.DataFrame) -> Piece:
    """Show what the report would say of true gains.

    Parameters
    ----------
    verdicts
        From `Rehearsal.verdicts`.
    """
    return house_table(
        "verdicts",
        verdicts,
        caption=say(words.VERDICTS_TITLE),
        headings=words.headings(),
        decimals=_DECIMALS,
        note=say(words.VERDICTS_NOTE),
    )


def layout_rows(table: pd.DataFrame) -> Piece:
    """Show layouts beside each other.

    Parameters
    ----------
    table
        From `trialkit.design.compare_layouts`.
    """
    return house_table(
        "layouts",
        table,
        caption=say(words.LAYOUTS_TITLE),
        headings=words.headings(),
        decimals=_DECIMALS,
        note=say(words.LAYOUTS_NOTE),
    )


def misfit_rows(misfits: Mapping[str, str]) -> Piece:
    """Show which layouts do not fit, and why; nothing where all do.

    Parameters
    ----------
    misfits
        Name to why, from `trialkit.design.plan_variants`.
    """
    if not misfits:
        return Piece("")
    shown = pd.DataFrame({"layout": list(misfits), "why": list(misfits.values())})
    return house_table(
        "misfits", shown, caption=say(words.MISFITS_TITLE), headings=words.headings(), decimals={}
    )
