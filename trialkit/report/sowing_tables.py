"""Tables of the sowing for a notebook: the mix, the packs, the seed, what was written down."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from trialkit.language import say
from trialkit.report import sowing_captions as words
from trialkit.report.pieces import Piece
from trialkit.report.table_look import house_table
from trialkit.sowing.recipe import WATER
from trialkit.sowing.sensible import shown

if TYPE_CHECKING:
    from trialkit.sowing import ArmCheck, MixPlan, SeedNeed
    from trialkit.trial.dressing_record import DressingRecord

_SEED = {
    **{"area_ha": 2, "seed_kg_ha": 1, "drill_kg_ha": 1, "seed_t": 3, "load_t": 3},
    **{"cart_fills": 0, "ha_per_fill": 1},
}


def _headings() -> dict[str, str]:
    return {name: say(heading) for name, heading in words.HEADINGS.items()}


def _products(products: pd.Series) -> list[str]:
    return [say(WATER) if name == WATER else str(name) for name in products]


def mix_rows(mix: MixPlan) -> Piece:
    """Show one mix, step by step, and what all mixes take.

    Parameters
    ----------
    mix
        The mixes.
    """
    shown_rows = mix.per_mix[["step", "product", "how", "measure"]].assign(
        product=_products(mix.per_mix["product"]),
        amount=[
            f"{shown(amount)} {unit}"
            for amount, unit in zip(mix.totals["amount"], mix.totals["unit"], strict=True)
        ],
    )
    return house_table(
        "mix",
        shown_rows,
        caption=say(words.MIX_TITLE),
        headings=_headings(),
        decimals={"step": 0},
    )


def pack_rows(mix: MixPlan, currency: str) -> Piece:
    """Show what the lot takes of each product, packs to buy and costs.

    Parameters
    ----------
    mix
        The mixes.
    currency
        Code of the money.
    """
    names = ["product", "need", "unit", "packs", "left_over", "outlay", "cost_per_ha"]
    headings = _headings()
    money = {name: f"{headings[name]}, {currency}" for name in ("outlay", "cost_per_ha")}
    return house_table(
        "packs",
        mix.purchase[names],
        caption=say(words.TOTALS_TITLE),
        headings=headings | money,
        decimals={"need": 2, "packs": 0, "left_over": 2, "outlay": 2, "cost_per_ha": 2},
    )


def seed_rows(need: SeedNeed) -> Piece:
    """Show the seed of each treatment.

    Parameters
    ----------
    need
        The seed.
    """
    table = need.table[["treatment", *_SEED]]
    known = [name for name in table if table[name].notna().any()]
    return house_table(
        "seed",
        table[known],
        caption=say(words.SEED_TITLE),
        headings=_headings(),
        decimals={name: places for name, places in _SEED.items() if name in known},
        note=" ".join(need.notes),
    )


def match_rows(table: pd.DataFrame) -> Piece:
    """Show the pump flow that matches an auger as it really runs.

    Parameters
    ----------
    table
        From `trialkit.sowing.pump_by_auger`.
    """
    return house_table(
        "match",
        table,
        caption=say(words.MATCH_TITLE),
        headings=_headings(),
        decimals={"auger_t_h": 1, "pump_l_min": 2, "bucket_l": 1, "seconds": 0},
    )


def arm_rows(check: ArmCheck) -> Piece:
    """Show whether the arms were sown alike.

    Parameters
    ----------
    check
        From `trialkit.sowing.compare_arms`.
    """
    return house_table(
        "arms",
        check.table[["treatment", "plants_m2", "difference_pct", "bias_t_ha"]],
        caption=say(words.ARMS_TITLE),
        headings=_headings(),
        decimals={"plants_m2": 0, "difference_pct": 1, "bias_t_ha": 3},
        note=check.assumption,
    )


def rate_rows(record: DressingRecord) -> Piece:
    """Show what was written down of each product beside the plan.

    Parameters
    ----------
    record
        From `trialkit.trial.dressing_record.read_dressing_record`.
    """
    return house_table(
        "rates",
        record.rates[
            ["treatment", "product", "planned_per_t", "real_per_t", "unit", "off_pct"]
        ].assign(product=_products(record.rates["product"])),
        caption=say(words.RATES_TITLE),
        headings=_headings(),
        decimals={"planned_per_t": 2, "real_per_t": 2, "off_pct": 0},
    )
