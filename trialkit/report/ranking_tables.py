"""Several treatments side by side in money: which looks best, how sure, what knowing is worth."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from markupsafe import Markup

from trialkit.language import figures, marked, say
from trialkit.report import pieces
from trialkit.report.money_words import ranking_sentence
from trialkit.report.numbers import amount, p_text
from trialkit.report.pieces import Piece
from trialkit.report.table_look import house_table

if TYPE_CHECKING:
    from trialkit.money import Ranking

TITLE = marked("Which treatment?")
CAPTION = marked("The treatments side by side")
LUCK = marked(
    "Of several treatments the one that looks best has more often had luck than not: its gain is "
    "sooner smaller than it looks than larger."
)
LOSS_NOTE = marked(
    "Forgone: what choosing that treatment would lose on average against the best, not knowing "
    "which it is. The chances to be the best count all treatments together."
)
NOT_KNOWN = marked(
    "What it would be worth to know the best for certain cannot be told: it takes three degrees of "
    "freedom or more, that is, more blocks."
)
HEADINGS = {
    "treatment": marked("Treatment"),
    "gain_t_ha": marked("Gain, t/ha"),
    "net_per_ha": marked("Net, {currency}/ha"),
    "chance_paid": marked("Chance it paid"),
    "chance_best": marked("Chance it is the best"),
    "expected_loss_per_ha": marked("Forgone, {currency}/ha"),
}


def ranking_section(ranking: Ranking | None, currency: str) -> Piece:
    """Show which treatment looks best, and how sure that is; nothing where there is only one.

    Parameters
    ----------
    ranking
        From `trialkit.money.rank_treatments`; None where there is nothing to rank.
    currency
        Code of the money.
    """
    if ranking is None:
        return Piece("")
    told = (ranking_sentence(ranking, currency), worth_of_knowing(ranking, currency), say(LUCK))
    parts = (
        Piece(Markup("<h3>{}</h3>").format(say(TITLE))),
        pieces.bullets(told),
        ranking_rows(ranking, currency),
    )
    return Piece("".join(part.html() for part in parts))


def worth_of_knowing(ranking: Ranking, currency: str) -> str:
    """Say what it would be worth to know the best for certain.

    Parameters
    ----------
    ranking
        From `trialkit.money.rank_treatments`.
    currency
        Code of the money.
    """
    if math.isnan(ranking.value_of_knowing_per_ha):
        return say(NOT_KNOWN)
    return say(
        "To know the best for certain would be worth {worth} {currency}/ha and season: no trial "
        "can bring more.",
        worth=amount(ranking.value_of_knowing_per_ha),
        currency=currency,
    )


def ranking_rows(ranking: Ranking, currency: str) -> Piece:
    """Show one row a treatment, the control first.

    Parameters
    ----------
    ranking
        From `trialkit.money.rank_treatments`.
    currency
        Code of the money.
    """
    table = ranking.table[list(HEADINGS)].copy()
    for name in ("chance_paid", "chance_best"):
        table[name] = [p_text(None) if math.isnan(x) else figures(f"{x:.1%}") for x in table[name]]
    return house_table(
        "ranking",
        table,
        caption=say(CAPTION),
        headings={name: say(text, currency=currency) for name, text in HEADINGS.items()},
        decimals={"gain_t_ha": 3, "net_per_ha": 2, "expected_loss_per_ha": 2},
        right=("chance_paid", "chance_best"),
        note=say(LOSS_NOTE),
    )
