"""One mix, product by product, in the order it goes in and as it is measured."""

from __future__ import annotations

import pandas as pd

from trialkit.language import marked, say
from trialkit.sowing.measuring import Measured, measure
from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.product import Product

#: What fills the mix up to its rate.
WATER = marked("water")

_HOW = {
    "watery": marked("Pour in, stirring."),
    "powder": marked("Sprinkle in slowly, stirring, until no lumps are left."),
    "syrupy": marked("Pour in last, stirring; rinse the jug with mix."),
}
_WATER_FIRST = marked(
    "Pour in most of it. Keep some to rinse jugs and to fill to the mark at the end."
)

_COLUMNS = [
    "step", "product", "form", "amount", "unit", "measure", "measured", "measured_unit",
    "rounding_pct", "how",
]  # fmt: skip


def one_mix(job: MixJob, seed_per_mix_t: float) -> pd.DataFrame:
    """Return what goes into one mix.

    Parameters
    ----------
    job
        What the mix must do.
    seed_per_mix_t
        Seed that one mix is for, t.

    Returns
    -------
    DataFrame
        One row an ingredient, water first, columns `step product form amount unit measure
        measured measured_unit rounding_pct how`. `amount` is exact, in the product's own unit;
        `measured` is what a jug or a scale can measure of it, in litres, millilitres, kilograms
        or grams, `measure` the same in words, and `rounding_pct` what the rounding does to the
        rate. The water takes up the rounding of the other liquids.
    """
    rows: list[list[object]] = []
    room = job.rate_l_t * seed_per_mix_t
    for product in job.in_order:
        amount = product.per_tonne(job.seed_kg_ha) * seed_per_mix_t
        basic = product.basic(amount)
        measured = measure(basic, product.base)
        room -= product.litres_per_t(job.seed_kg_ha) * seed_per_mix_t * measured.basic / basic
        off = 100 * (measured.basic / basic - 1)
        rows.append(_row(product, amount, product.unit, measured, off, job))
    water_l = job.water_l_t * seed_per_mix_t
    if water_l > 0:
        measured = measure(max(room, 0.0), "l", down=True)
        off = 100 * (measured.basic / water_l - 1)
        rows.insert(0, _row(None, water_l, "l", measured, off, job))
    return pd.DataFrame([[step, *row] for step, row in enumerate(rows, start=1)], columns=_COLUMNS)


def all_mixes(per_mix: pd.DataFrame, mixes: int, seed_t: float) -> pd.DataFrame:
    """Return what the whole lot takes, and the rates that measuring makes of the recipe.

    Parameters
    ----------
    per_mix
        As from `one_mix`.
    mixes
        Number of mixes.
    seed_t
        Seed to dress, t.

    Returns
    -------
    DataFrame
        Columns `product amount unit per_t per_t_measured rounding_pct`, in the product's own
        unit.
    """
    table = per_mix[["product", "amount", "unit"]].copy()
    table["amount"] *= mixes
    table["per_t"] = table["amount"] / seed_t
    table["per_t_measured"] = table["per_t"] * (1 + per_mix["rounding_pct"] / 100)
    table["rounding_pct"] = per_mix["rounding_pct"]
    return table


def _row(
    product: Product | None,
    amount: float,
    unit: str,
    measured: Measured,
    rounding_pct: float,
    job: MixJob,
) -> list[object]:
    return [
        product.name if product else WATER,
        product.form if product else "watery",
        amount,
        unit,
        measured.words(job.jug_l),
        measured.amount,
        measured.unit,
        round(rounding_pct, 9) + 0.0,
        say(_HOW[product.form]) if product else say(_WATER_FIRST),
    ]
