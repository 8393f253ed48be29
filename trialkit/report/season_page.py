"""The report of several seasons: one page that needs no other file."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import pandas as pd
from markupsafe import Markup

from trialkit.language import say
from trialkit.report import money_words
from trialkit.report import season_words as words
from trialkit.report.numbers import p_text
from trialkit.report.pieces import Piece, Shown, bullets, fill, page_file
from trialkit.report.pieces import words as paragraph
from trialkit.report.table_look import house_table

if TYPE_CHECKING:
    from trialkit.models import Pooled
    from trialkit.money import NextStep, Payoff

_DECIMALS = {
    **{"gain_t_ha": 2, "low_t_ha": 2, "high_t_ha": 2, "std_error_t_ha": 3, "std_error": 3},
    **{"estimate": 2, "low": 2, "high": 2, "weight_pct": 0, "net_per_ha": 2, "seasons": 0},
    "chance_paid": 2,
}


def answer(
    treatment: str, control: str, gain: Pooled, mean_pays: Payoff, next_season: Payoff
) -> Piece:
    """Say in words what the seasons say together.

    Parameters
    ----------
    treatment, control
        Names.
    gain
        The gains taken together.
    mean_pays, next_season
        Whether the mean gain pays, and that of one more season.
    """
    seasons = len(gain.table)
    head = Markup('<p class="tk-words"><strong>{}</strong></p>').format(
        words.headline(treatment, mean_pays, seasons)
    )
    told = paragraph(
        words.mean_sentence(gain, mean_pays, control),
        words.next_sentence(gain, next_season),
        words.few_sentence(seasons),
    )
    return Piece(head + Markup(told.html()))  # noqa: S704  both are escaped already


def next_step(
    step: NextStep | None, why_not: str, treatment: str, currency: str, *, level: int = 2
) -> Piece:
    """Say what next, with the sum behind it; nothing where nobody asked.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`, or None.
    why_not
        Why there is none.
    treatment
        Its name.
    currency
        Code of the money.
    level
        Level of the heading on its page.
    """
    if step is None:
        return paragraph(why_not)
    heading = Markup("<h{0}>{1}</h{0}>").format(level, say(words.NEXT_TITLE))
    told = bullets(money_words.next_step_sentences(step, treatment, currency))
    return Piece(heading + Markup(told.html()))  # noqa: S704  both are escaped already


def season_table(table: pd.DataFrame, currency: str | None) -> Piece:
    """Show one row a season.

    Parameters
    ----------
    table
        `label frost gain_t_ha low_t_ha high_t_ha weight_pct net_per_ha chance_paid verdict`.
    currency
        Code of the money; None where it is not the same in all seasons.
    """
    names = ["label", "frost", "gain_t_ha", "low_t_ha", "high_t_ha", "weight_pct"]
    names += ["net_per_ha", "chance_paid", "verdict"]
    if currency is None:
        names.remove("net_per_ha")
    frost = [say(words.FROST_WORDS[value]) for value in table["frost"]]
    shown = table[names].assign(frost=frost)
    return _table("season-rows", shown, words.SEASONS_TITLE, currency or "")


def so_far_table(table: pd.DataFrame) -> Piece:
    """Show the answer as the seasons came in.

    Parameters
    ----------
    table
        `label seasons gain_t_ha low_t_ha high_t_ha chance_paid verdict`.
    """
    return _table("so-far", table, words.SO_FAR_TITLE)


def without_table(table: pd.DataFrame | None) -> Piece:
    """Show the answer without each season in turn; nothing where there are too few.

    Parameters
    ----------
    table
        From `trialkit.models.leave_one_study_out`, or None.
    """
    if table is None:
        return Piece("")
    shown = table[["estimate", "std_error", "low", "high"]].rename_axis("left_out").reset_index()
    return _table("without-one", shown, words.WITHOUT_TITLE)


def frost_table(table: pd.DataFrame) -> Piece:
    """Show seasons with and without frost; nothing unless there are both.

    Parameters
    ----------
    table
        `what seasons gain_t_ha low_t_ha high_t_ha p`.
    """
    if table.empty:
        return Piece("")
    shown = table.rename(columns={"seasons": "number"})
    shown = shown.assign(
        what=shown["what"].map(say),
        p=[p_text(value) for value in shown["p"]],
        number=shown["number"].map(str),
    )
    return _table("frost", shown, words.FROST_TITLE, note=say(words.FROST_NOTE))


def season_page(parts: Sequence[Shown], notes: Iterable[str]) -> str:
    """Return the whole page.

    Parameters
    ----------
    parts
        Answers, pictures and tables, in order.
    notes
        Sentences to keep in mind.
    """
    heading = Markup("<h1>{}</h1>").format(say(words.TITLE))
    last = Markup("<h2>{}</h2>").format(say(words.NOTES_TITLE))
    told = bullets([*notes, say(words.CAUTION)])
    body = heading + Markup("").join(Markup(part.html()) for part in parts)  # noqa: S704
    style = Piece(page_file("page.css") + page_file("pieces.css"))
    whole = Piece(body + last + Markup(told.html()))  # noqa: S704
    return fill("page.html", title=say(words.TITLE), style=style, body=whole)


def _table(
    key: str, shown: pd.DataFrame, caption: str, currency: str = "", *, note: str = ""
) -> Piece:
    headings = {name: say(words.HEADINGS[name], currency=currency) for name in map(str, shown)}
    if "verdict" in shown:
        shown = shown.assign(verdict=shown["verdict"].map(say))
    return house_table(
        key,
        shown,
        caption=say(caption),
        headings=headings,
        decimals=_DECIMALS,
        right=tuple(name for name in ("p", "number") if name in shown),
        note=note,
    )
