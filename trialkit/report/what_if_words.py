"""Words of the what-if controls: labels with their units, and the answer beside the picture."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trialkit.report.numbers import amounts, number, plain_t_ha, price

if TYPE_CHECKING:
    from collections.abc import Sequence

    from trialkit.result import Comparison

RATE_LABEL = "Rate, % of the trial's"
HOPED_LABEL = "Gain hoped for, t/ha"
TREATMENT_LABEL = "Treatment"
RESET = "As given"
RESET_TIP = "Back to the numbers that stand in trial.toml"

OTHER_RATE = (
    "Only the cost follows the rate here. What another rate does to the yield, this trial has not "
    "shown: the gain is taken as it was."
)
NOT_DRAWN = "What the season report would say is not known: this layout is not drawn at random."


def price_label(currency: str) -> str:
    """Return the label of the control for the price."""
    return f"Price of grain, {currency}/t"


def cost_label(currency: str) -> str:
    """Return the label of the control for the cost."""
    return f"Cost of the dressing, {currency}/ha"


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
    span = ""
    if price_range is not None:
        low, high = amounts(*price_range)
        span = f" ({low} to {high})"
    return (
        f"Grain at {price(price_per_t)} {currency}/t{span}, {comparison.treatment} at "
        f"{price(cost_per_ha)} {currency}/ha."
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
    return (
        f"Grain at {price(price_per_t)} {currency}/t, the dressing at {price(cost_per_ha)} "
        f"{currency}/ha: it pays from {plain_t_ha(break_even_t_ha, 3)} t/ha."
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
        return NOT_DRAWN
    paid, not_settled, did_not_pay = (number(share, 0) for share in shares_pct)
    return (
        f"Were {number(gain_t_ha, 2)} t/ha the true gain in every strip, the season report would "
        f"say 'paid' in {paid}% of draws, 'not settled' in {not_settled}%, 'did not pay' in "
        f"{did_not_pay}%."
    )
