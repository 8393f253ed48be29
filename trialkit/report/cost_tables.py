"""Tables of costs and prices: what each treatment takes, and what is left of the price."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from typing import TYPE_CHECKING, Any

import pandas as pd

from trialkit.language import figures, say
from trialkit.money import net_price
from trialkit.report import price_words as words
from trialkit.report.pieces import Piece
from trialkit.report.table_look import house_table

if TYPE_CHECKING:
    from trialkit.trial.config import Money, TrialConfig


def costs(config: TrialConfig) -> Piece:
    """Show what each treatment costs, item by item; nothing where products are all there is.

    Parameters
    ----------
    config
        What `trial.toml` says.
    """
    rows: list[tuple[str, str, str, float | None, float]] = []
    items: set[str] = set()
    for treatment in config.treatments:
        sheet = config.cost_sheet(treatment.name)
        items.update(sheet.lines["item"])
        rows += [
            (treatment.name, say(words.ITEMS[str(line["item"])]), _amount(line), line["price"],
             line["per_ha"])
            for line in sheet.lines.to_dict("records")
        ]  # fmt: skip
        if len(sheet.lines) > 1:
            rows.append((treatment.name, say(words.ALL_ITEMS), "", None, sheet.per_ha))
    if items <= {"products"}:
        return Piece("")
    table = pd.DataFrame(rows, columns=list(words.COST_HEADINGS))
    currency = config.money.currency
    return house_table(
        "cost-items",
        table.astype({"price": float}),
        caption=say(words.COSTS_CAPTION),
        headings={key: say(text, currency=currency) for key, text in words.COST_HEADINGS.items()},
        decimals={"price": 2, "per_ha": 2},
        right=("amount",),
        note=say(words.WORK_IN_PRODUCTS) if _work_in_products(config) else "",
    )


def _amount(line: Mapping[Hashable, Any]) -> str:
    unit, amount = str(line["unit"]), float(line["amount"])
    if unit == "ha":
        return ""
    if unit == "kl":
        return say(words.UNITS[unit], litres=figures(f"{1000 * amount:.3g}"))
    return f"{figures(f'{amount:.3g}')} {say(words.UNITS[unit])}"


def _work_in_products(config: TrialConfig) -> bool:
    """Tell whether the cost of some treatment follows from its products and holds the work."""
    return bool(config.dressing.work_per_t_seed) and any(
        treatment.products and treatment.cost_per_ha is None and treatment.cost_per_t_seed is None
        for treatment in config.treatments
    )


def prices(money: Money) -> Piece:
    """Show what comes off the price, and what is left; nothing where nothing comes off.

    Parameters
    ----------
    money
        `[money]` of `trial.toml`.
    """
    if money.price_per_t == money.paid_per_t:
        return Piece("")
    off = money.deductions
    low, high = money.paid_range or (money.paid_per_t, money.paid_per_t)
    paid = {"low": low, "central": money.paid_per_t, "high": high}
    if money.paid_range is None:
        paid = {"central": money.paid_per_t}
    lines = [(say(words.PAID), paid)]
    for name, per_t in (
        (words.FREIGHT, off.freight_per_t),
        (words.LEVY_BY_WEIGHT, off.levy_per_t),
        (words.HARVEST, off.harvest_per_t),
    ):
        if per_t:
            lines.append((say(name), dict.fromkeys(paid, -per_t)))
    if off.levy_pct:
        share = off.levy_pct / 100
        taken = {key: -value * share for key, value in paid.items()}
        lines.append((words.levy_by_value(off.levy_pct), taken))
    lines.append((say(words.LEFT), {key: net_price(value, off) for key, value in paid.items()}))
    table = pd.DataFrame([{"what": what, **values} for what, values in lines])
    return house_table(
        "price",
        table,
        caption=say(words.PRICE_CAPTION, currency=money.currency),
        headings={str(key): say(words.PRICE_HEADINGS[str(key)]) for key in table},
        decimals=dict.fromkeys(paid, 2),
    )


def basis(config: TrialConfig) -> Piece:
    """Show what the money rests on where it is more than a price and a cost: price, then costs.

    Parameters
    ----------
    config
        What `trial.toml` says.
    """
    return Piece(prices(config.money).html() + costs(config).html())
