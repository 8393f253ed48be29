"""The report's section on grain quality: by treatment, by grade, and what it is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
from markupsafe import Markup

from trialkit.columns import label
from trialkit.language import figures, say
from trialkit.report import grade_words as words
from trialkit.report import pieces
from trialkit.report.numbers import p_text
from trialkit.report.pieces import Piece, Shown
from trialkit.report.table_captions import interval_note
from trialkit.report.table_look import house_table

if TYPE_CHECKING:
    from trialkit.result import GrainQuality
    from trialkit.selling import Selling
    from trialkit.trial.config import TrialConfig


def quality_section(quality: GrainQuality | None, selling: Selling, config: TrialConfig) -> Piece:
    """Show what was measured of the grain and what its grade is worth; nothing if nothing was.

    Parameters
    ----------
    quality
        From the answer; None where nothing was measured.
    selling
        What the grain is sold for.
    config
        What `trial.toml` says.
    """
    if quality is None:
        return Piece("")
    control, currency = config.control, config.money.currency
    parts: list[Shown] = [
        Piece(Markup("<h3>{}</h3>").format(say(words.TITLE))),
        pieces.words(say(words.SAME_MODEL)),
        measured(quality, config.analysis.confidence),
    ]
    if quality.chances:
        gains = [
            words.through_grade(name, control, gain, currency)
            for name, gain in selling.price_gains.items()
        ]
        parts += [
            chances(quality, currency),
            worth(selling, control, currency),
            pieces.bullets(gains),
            pieces.words(say(words.HOW_GRADED)),
        ]
    elif not config.money.grades:
        parts.append(pieces.words(say(words.NO_GRADES)))
    return Piece("".join(part.html() for part in parts))


def measured(quality: GrainQuality, confidence: float) -> Piece:
    """Show each measure by treatment.

    Parameters
    ----------
    quality
        From the answer.
    confidence
        Level of the intervals.
    """
    names = ["measure", "treatment", "strips", "mean", "std_error", "difference", "low", "high"]
    rows = [
        (
            label(one.measure), one.treatment, one.strips, one.mean, one.std_error,
            one.difference, one.difference_low, one.difference_high, p_text(one.p_value),
        )
        for one in quality.means
    ]  # fmt: skip
    table = pd.DataFrame(rows, columns=[*names, "p"])
    apart = ["difference", "low", "high"]
    return house_table(
        "quality",
        table.astype(dict.fromkeys(apart, float)),
        caption=say(words.QUALITY_CAPTION),
        headings=_headings(table, currency=""),
        decimals={"strips": 0} | dict.fromkeys(["mean", "std_error", *apart], 2),
        right=("p",),
        note=interval_note(confidence),
    )


def chances(quality: GrainQuality, currency: str) -> Piece:
    """Show the chance of each grade by treatment.

    Parameters
    ----------
    quality
        From the answer.
    currency
        Code of the money.
    """
    rows = [
        (one.treatment, one.grade, one.price_per_t, figures(f"{one.chance:.1%}"))
        for one in quality.chances
    ]
    table = pd.DataFrame(rows, columns=["treatment", "grade", "price_per_t", "chance"])
    return house_table(
        "grades",
        table,
        caption=say(words.CHANCES_CAPTION),
        headings=_headings(table, currency),
        decimals={"price_per_t": 2},
        right=("chance",),
    )


def worth(selling: Selling, control: str, currency: str) -> Piece:
    """Show what each treatment's grade is expected to fetch, and what that is worth a hectare.

    Parameters
    ----------
    selling
        What the grain is sold for.
    control
        Name of the control.
    currency
        Code of the money.
    """
    rows: list[tuple[str, float, float | None, float | None, float | None]] = [
        (control, selling.price_per_t, None, None, None)
    ]
    rows += [
        (name, selling.price_of(name), gain.per_t, gain.std_error, gain.through_grade_per_ha)
        for name, gain in selling.price_gains.items()
    ]
    money = ["expected_per_t", "gain_per_t", "spread_per_t", "gain_per_ha"]
    table = pd.DataFrame(rows, columns=["treatment", *money]).astype(dict.fromkeys(money, float))
    return house_table(
        "grade-worth",
        table,
        caption=say(words.WORTH_CAPTION),
        headings=_headings(table, currency),
        decimals=dict.fromkeys(money, 2),
    )


def _headings(table: pd.DataFrame, currency: str) -> dict[str, str]:
    return {str(name): say(words.HEADINGS[str(name)], currency=currency) for name in table}
