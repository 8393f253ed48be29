"""Words on prices and costs: what comes off the price, what a treatment takes and what it saves."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.language import figures, marked, say
from trialkit.report.numbers import amount, between, listed, number, price

if TYPE_CHECKING:
    from trialkit.selling import Selling
    from trialkit.trial.config import Money, TrialConfig

#: The items of a cost sheet, and the units that they are counted in.
ITEMS = {
    "products": marked("products"),
    "freight": marked("freight"),
    "labour": marked("labour"),
    "machines": marked("machines"),
    "water": marked("water"),
    "extra passes": marked("extra passes"),
    "extra seed": marked("extra seed"),
    "saved inputs": marked("saved inputs"),
}
UNITS = {
    "t seed": marked("t of seed"),
    "h": marked("h"),
    "kl": marked("{litres} l, priced by 1,000 l"),
    "pass": marked("pass"),
}
ALL_ITEMS = marked("all together")
COSTS_CAPTION = marked("What each treatment costs, item by item")
COST_HEADINGS = {
    "treatment": marked("Treatment"),
    "item": marked("Item"),
    "amount": marked("Amount a hectare"),
    "price": marked("Price of a unit, {currency}"),
    "per_ha": marked("{currency}/ha"),
}
WORK_IN_PRODUCTS = marked(
    "Products hold the work of dressing too: work_per_t_seed under [dressing]."
)
PRICE_CAPTION = marked("From the price that is paid to what a tonne leaves, {currency}/t")
PRICE_HEADINGS = {
    "what": marked("Price"),
    "low": marked("Lowest"),
    "central": marked("Central"),
    "high": marked("Highest"),
}
PAID, LEFT = marked("paid"), marked("left, and used in every sum here")
FREIGHT, HARVEST = marked("freight"), marked("harvest, handling and storage")
LEVY_BY_WEIGHT, LEVY_BY_VALUE = marked("levies by weight"), marked("levies, {share}% of the price")
SAVINGS_IN_BUDGET = marked(
    "What one treatment saves stands here as a cost of those that do not save it."
)
GRADES_IN_BUDGET = marked("Each yield is taken at what its grade is expected to fetch.")


def levy_by_value(share_pct: float) -> str:
    """Return the name of a levy by value."""
    return say(LEVY_BY_VALUE, share=figures(f"{share_pct:g}"))


def prices_in_short(config: TrialConfig, selling: Selling) -> str:
    """Say what the grain leaves and what the treatments cost, for the first page.

    Parameters
    ----------
    config
        What `trial.toml` says.
    selling
        What the grain is sold for.

    Returns
    -------
    str
        Empty where nothing comes off the price and there is no grade: then the price says all.
    """
    money = config.money
    if money.price_per_t == money.paid_per_t and not selling.price_gains:
        return ""
    names = [treatment.name for treatment in config.treatments if not treatment.control]
    base = config.cost_per_ha(config.control)
    costs_per_ha = {name: config.cost_per_ha(name) - base for name in names}
    sentences = [left_in_the_hand(money) or _paid(money)]
    if selling.price_gains:
        prices = [_priced(name, selling, money.currency) for name in (config.control, *names)]
        sentences.append(
            say(
                "By grade the grain is expected to leave: {prices}. Net money and chances count "
                "that, and how unsure the grade is.",
                prices=listed(prices),
            )
        )
    costs = [f"{name} {price(cost)} {money.currency}/ha" for name, cost in costs_per_ha.items()]
    sentences.append(say("Extra cost: {costs}.", costs=listed(costs)))
    return " ".join(sentences)


def left_in_the_hand(money: Money) -> str:
    """Say what a tonne leaves once everything is taken off; empty where nothing comes off.

    Parameters
    ----------
    money
        `[money]` of `trial.toml`.
    """
    if money.price_per_t == money.paid_per_t:
        return ""
    given = {
        "paid": price(money.paid_per_t),
        "left": price(money.price_per_t),
        "currency": money.currency,
    }
    if money.price_range is None:
        return say(
            "Grain paid at {paid} {currency}/t leaves {left} once freight, levies and harvest are "
            "off.",
            **given,
        )
    return say(
        "Grain paid at {paid} {currency}/t leaves {left} ({span}) once freight, levies and harvest "
        "are off.",
        span=between(*map(price, money.price_range)),
        **given,
    )


def _paid(money: Money) -> str:
    paid = price(money.paid_per_t)
    if money.paid_range is None:
        return say("Grain at {price} {currency}/t.", price=paid, currency=money.currency)
    span = between(*map(price, money.paid_range))
    return say(
        "Grain at {price} {currency}/t ({span}).", price=paid, currency=money.currency, span=span
    )


def _priced(name: str, selling: Selling, currency: str) -> str:
    return f"{name} {number(selling.price_of(name), 2)} {currency}/t"


def covered_down_to(loss: str) -> str:
    """Say that savings or the grade cover the cost, down to a loss of yield in t/ha."""
    return say(
        "What it saves, or what its grade fetches more, is expected to cover its cost: down to "
        "{loss} t/ha it pays.",
        loss=loss,
    )


def beside_the_budget(config: TrialConfig, selling: Selling) -> str:
    """Say what the partial budget takes in besides yields, prices and costs; empty for nothing.

    Parameters
    ----------
    config
        What `trial.toml` says.
    selling
        What the grain is sold for.
    """
    saving = min(config.cost_per_ha(treatment.name) for treatment in config.treatments) < 0
    said = (
        say(GRADES_IN_BUDGET) if selling.price_gains else "",
        say(SAVINGS_IN_BUDGET) if saving else "",
    )
    return " ".join(sentence for sentence in said if sentence)


def beside_the_picture(
    saved_per_ha: float, through_grade_per_ha: float | None, currency: str
) -> str:
    """Say what the picture of prices and costs counts besides the gain; empty for nothing.

    Parameters
    ----------
    saved_per_ha
        What the treatment saves, money per hectare.
    through_grade_per_ha
        What its grade is expected to bring, money per hectare; None where all fetches the same.
    currency
        Code of the money.
    """
    said = []
    if saved_per_ha:
        said.append(
            say(
                "The {saved} {currency}/ha that it saves are counted as earned; the cost is that "
                "before savings.",
                saved=amount(saved_per_ha),
                currency=currency,
            )
        )
    if through_grade_per_ha is not None:
        template = marked(
            "The price is that of the control's grain, and the {worth} {currency}/ha that the "
            "grade is expected to bring are counted at every price."
        )
        if through_grade_per_ha < 0:
            template = marked(
                "The price is that of the control's grain, and the {worth} {currency}/ha that the "
                "grade is expected to cost are counted at every price."
            )
        said.append(say(template, worth=amount(abs(through_grade_per_ha)), currency=currency))
    return " ".join(said)
