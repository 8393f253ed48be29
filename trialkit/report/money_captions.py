"""Words on pictures of money, below them, and in their place for who cannot see them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.language import marked, say, say_counted
from trialkit.report.money_words import about
from trialkit.report.numbers import amounts, price

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.money import NextStep

#: The verdicts, as the ground of each is named.
PAID_ZONE, OPEN_ZONE, NOT_PAID_ZONE = marked("paid"), marked("not settled"), marked("did not pay")
BREAK_EVEN_CAPTION = marked(
    "Line: the cost that the gain just covers. Dot: your price and cost, with the range of prices "
    "where you gave one."
)
PAIRS_AXIS = marked("Pairs of strips next season")
BRINGS, COSTS = marked("expected to bring"), marked("costs")


def cost_axis(currency: str) -> str:
    """Return the words for the axis of costs."""
    return say("Cost of the dressing, {currency} a hectare", currency=currency)


def money_axis(currency: str) -> str:
    """Return the words for the axis of money."""
    return say("{currency}, whole farm", currency=currency)


def break_even_words(
    curve: DataFrame, price_per_t: float, cost_per_ha: float, currency: str
) -> str:
    """Describe the picture of prices and costs.

    Parameters
    ----------
    curve
        From `trialkit.money.break_even_curve`.
    price_per_t, cost_per_ha
        Price of grain and cost of the dressing, where the dot is.
    currency
        Code of the money.
    """
    columns = ["price_per_t", "paid_below", "even_at", "did_not_pay_above"]
    ends = curve.sort_values("price_per_t")[columns].to_numpy(dtype=float)[[0, -1]]
    each = [
        _zone_words(f"{price(round(at))} {currency}/t", paid, even, not_paid)
        for at, paid, even, not_paid in ends.tolist()
    ]
    return say(
        "Where the dressing pays, by the price of grain and its cost in {currency}/ha: {each}. "
        "Your price is {price}, your cost {cost}.",
        currency=currency,
        each="; ".join(each),
        price=price(price_per_t),
        cost=price(cost_per_ha),
    )


def _zone_words(at: str, paid: float, even: float, not_paid: float) -> str:
    if not_paid <= 0:
        return say("at {price} it did not pay at any cost", price=at)
    if paid > 0 and even > 0:
        words = marked(
            "at {price} paid up to {paid}, not settled up to {not_settled}, even at {even}"
        )
    elif even > 0:
        words = marked("at {price} not settled up to {not_settled}, even at {even}")
    elif paid > 0:
        words = marked("at {price} paid up to {paid}, not settled up to {not_settled}")
    else:
        words = marked("at {price} not settled up to {not_settled}")
    sure, level_at, open_to = amounts(max(paid, 0.0), max(even, 0.0), not_paid)
    return say(words, price=at, paid=sure, even=level_at, not_settled=open_to)


def next_step_words(step: NextStep, currency: str) -> str:
    """Describe the picture of what a trial costs and brings.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    currency
        Code of the money.
    """
    columns = ["pairs", "cost", "benefit"]
    ends = step.table[columns].to_numpy(dtype=float)[[0, -1][: len(step.table)]]
    each = [
        say_counted(
            "{count} pair costs {cost} and brings {benefit}",
            "{count} pairs cost {cost} and bring {benefit}",
            round(pairs),
            cost=about(cost),
            benefit=about(benefit),
        )
        for pairs, cost, benefit in ends.tolist()
    ]
    told = say(
        "What one more trial costs and can be expected to bring, {currency}: {each}.",
        currency=currency,
        each="; ".join(each),
    )
    if step.answer == "test again":
        worth = say_counted("Marked: {count} pair.", "Marked: {count} pairs.", step.pairs)
    else:
        worth = say("No trial brings what it costs.")
    return f"{told} {worth}"


def next_step_caption(step: NextStep, currency: str) -> str:
    """Say how to read the picture of what a trial costs and brings.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    currency
        Code of the money.
    """
    sentences = (
        say("Brought by the seasons after it, on {area} ha.", area=price(step.area_ha)),
        say("Marked: the fewest pairs that bring nine tenths of what the best number would.")
        if step.answer == "test again"
        else "",
        say(
            "To know for certain would be worth about {worth} {currency} over {seasons} seasons.",
            worth=about(step.value_of_knowing),
            currency=currency,
            seasons=step.seasons,
        ),
    )
    return " ".join(sentence for sentence in sentences if sentence)


def marked_pairs(step: NextStep) -> str:
    """Return the words beside the trial that is marked."""
    if step.answer != "test again":
        return ""
    return say_counted("{count} pair", "{count} pairs", step.pairs)
