"""Looking ahead, for the report: what next, the sum behind it, the risk, where it pays."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from markupsafe import Markup

from trialkit.language import marked, say
from trialkit.report import grade_words, money_words, pieces
from trialkit.report.money_pictures import break_even_picture, next_step_picture
from trialkit.report.pieces import Piece, Shown
from trialkit.report.price_words import beside_the_picture
from trialkit.report.ranking_tables import ranking_section

if TYPE_CHECKING:
    from trialkit.money import Outlook, Ranking
    from trialkit.trial.config import Money


BY_ITSELF = marked(
    "Here each is weighed by itself against {control}, as if there were no other. Only one can be "
    "on the same seed: which, stands above."
)


def what_next(ahead: Sequence[Outlook], money: Money, ranking: Ranking | None = None) -> Piece:
    """Show what to do about each treatment, and why.

    Parameters
    ----------
    ahead
        From `trialkit.answer.outlooks`.
    money
        `[money]` of `trial.toml`.
    ranking
        The treatments side by side in money; None where there is only one.
    """
    parts: list[Shown] = [ranking_section(ranking, money.currency)]
    missing = [key for key in money_words.KEY_WORDS if getattr(money, key) is None]
    if missing:
        parts.append(pieces.words(money_words.keys_wanted(missing)))
    if ranking is not None:
        parts.append(pieces.words(say(BY_ITSELF, control=str(ranking.table["treatment"].iloc[0]))))
    for one in ahead:
        if len(ahead) > 1:
            parts.append(Piece(Markup("<h3>{}</h3>").format(one.treatment)))
        parts += _about(one, money)
    steps = [one.step for one in ahead if one.step is not None]
    for_all = [sentence for step in steps for sentence in money_words.next_step_provisos(step)]
    parts.append(pieces.bullets(dict.fromkeys(for_all)))
    return Piece("".join(part.html() for part in parts))


def _about(one: Outlook, money: Money) -> list[Shown]:
    currency, parts = money.currency, list[Shown]()
    if one.step is not None:
        own = money_words.next_step_reasons(one.step, one.treatment, currency)
        parts.append(pieces.bullets(own))
        parts.append(pieces.words(grade_words.grade_to_learn(one.step, currency)))
        if not one.step.table.empty:
            parts.append(next_step_picture(one.step, currency))
    parts.append(pieces.words(one.why_not))
    parts.append(pieces.bullets(money_words.risk_sentences(one.risk, currency)))
    parts.append(
        break_even_picture(
            one.curve,
            price_per_t=one.price_per_t,
            cost_per_ha=one.cost_per_ha,
            currency=currency,
            price_range=one.price_range,
        )
    )
    grade = None if one.price_gain is None else one.price_gain.through_grade_per_ha
    parts.append(pieces.words(beside_the_picture(one.saved_per_ha, grade, currency)))
    return parts


def in_short(ahead: Sequence[Outlook], currency: str, ranking: Ranking | None = None) -> list[str]:
    """Return what to do about each treatment in a few sentences, for the first page.

    Parameters
    ----------
    ahead
        From `trialkit.answer.outlooks`.
    currency
        Code of the money, such as `AUD`.
    ranking
        The treatments side by side in money; None where there is only one.
    """
    told = [(one.treatment, one.step) for one in ahead if one.step is not None]
    if ranking is not None:
        # Only one can be on the same seed: where one is expected to pay, the others can wait.
        best = [(name, step) for name, step in told if name == ranking.best]
        steps = money_words.next_steps_in_short(best or told)
        return [money_words.ranking_sentence(ranking, currency), *steps]
    if len(told) > 1:  # the page has room for the answers, not for the sums
        return money_words.next_steps_in_short(told)
    return [money_words.next_step_in_short(step, name, currency) for name, step in told]
