"""Words of the what-if controls: labels with their units, and the answer beside the picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trialkit.language import marked, say
from trialkit.report.numbers import amounts, number, plain_t_ha, price

if TYPE_CHECKING:
    from collections.abc import Sequence

    from trialkit.result import Comparison

RATE_LABEL = marked("Rate, % of the trial's")
HOPED_LABEL = marked("Gain hoped for, t/ha")
TREATMENT_LABEL = marked("Treatment")
RESET = marked("As given")
RESET_TIP = marked("Back to the numbers that stand in trial.toml")

OTHER_RATE = marked(
    "Only the cost follows the rate here. What another rate does to the yield, this trial has not "
    "shown: the gain is taken as it was."
)
NOT_DRAWN = marked(
    "What the season report would say is not known: this layout is not drawn at random."
)


def price_label(currency: str) -> str:
    """Return the label of the control for the price."""
    return say("Price of grain, {currency}/t", currency=currency)


def cost_label(currency: str) -> str:
    """Return the label of the control for the cost."""
    return say("Cost of the dressing, {currency}/ha", currency=currency)


def taken(
    comparison: Comparison,
    *,
    price_per_t: float,
    price_range: tuple[float, float] | None,
    cost_per_ha: float,
    currency: str,
) -> str:
    """Say what an answer takes for granted.

    Parameters
    ----------
    comparison
        The treatment against the control.
    price_per_t, price_range
        Price of grain, and its lowest and highest or None, money per tonne.
    cost_per_ha
        Cost of the dressing, money per hectare.
    currency
        Code of the money, such as `AUD`.
    """
    given = {
        "price": price(price_per_t),
        "cost": price(cost_per_ha),
        "currency": currency,
        "treatment": comparison.treatment,
    }
    if price_range is None:
        return say("Grain at {price} {currency}/t, {treatment} at {cost} {currency}/ha.", **given)
    low, high = amounts(*price_range)
    return say(
        "Grain at {price} {currency}/t ({low} to {high}), {treatment} at {cost} {currency}/ha.",
        **given,
        low=low,
        high=high,
    )


def pays_from(
    break_even_t_ha: float, *, price_per_t: float, cost_per_ha: float, currency: str
) -> str:
    """Say from which gain it pays.

    Parameters
    ----------
    break_even_t_ha
        Gain that just covers the cost, t/ha.
    price_per_t, cost_per_ha
        Price of grain and cost of the dressing, money per tonne and per hectare.
    currency
        Code of the money, such as `AUD`.
    """
    return say(
        "Grain at {price} {currency}/t, the dressing at {cost} {currency}/ha: it pays from "
        "{gain} t/ha.",
        price=price(price_per_t),
        cost=price(cost_per_ha),
        currency=currency,
        gain=plain_t_ha(break_even_t_ha, 3),
    )


def would_say(gain_t_ha: float, shares_pct: Sequence[float]) -> str:
    """Say how often the season report would come to each verdict.

    Parameters
    ----------
    gain_t_ha
        True gain, t/ha.
    shares_pct
        Shares of draws that end with paid, not settled, did not pay, %.
    """
    if any(math.isnan(share) for share in shares_pct):
        return say(NOT_DRAWN)
    paid, not_settled, did_not_pay = (number(share, 0) for share in shares_pct)
    return say(
        "Were {gain} t/ha the true gain in every strip, the season report would say 'paid' in "
        "{paid}% of draws, 'not settled' in {not_settled}%, 'did not pay' in {did_not_pay}%.",
        gain=number(gain_t_ha, 2),
        paid=paid,
        not_settled=not_settled,
        did_not_pay=did_not_pay,
    )
