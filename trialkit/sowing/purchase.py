"""Packs to buy, what they cost, and what is left over."""

from __future__ import annotations

import math

import pandas as pd

from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.product import Product

_COLUMNS = [
    "product", "need", "unit", "pack", "packs", "left_over",
    "cost", "cost_per_t", "cost_per_ha", "outlay",
]  # fmt: skip


def purchase_table(job: MixJob) -> pd.DataFrame:
    """Return what to buy for a dressing.

    Parameters
    ----------
    job
        What the mix must do.

    Returns
    -------
    DataFrame
        One row a product, columns `product need unit pack packs left_over cost cost_per_t
        cost_per_ha outlay`. Amounts are in the product's own unit. `cost`, `cost_per_t` and
        `cost_per_ha` are for what goes on the seed; `outlay` is for whole packs. Blank (NaN)
        where a pack, a price or the seed rate was not given.
    """
    table = pd.DataFrame([_row(product, job) for product in job.products], columns=_COLUMNS)
    return table.astype({name: float for name in _COLUMNS if name not in ("product", "unit")})


def _row(product: Product, job: MixJob) -> list[object]:
    per_t = product.per_tonne(job.seed_kg_ha)
    need = per_t * job.seed_t
    size, price = product.pack_size(), product.cost_per_unit()
    packs = None if size is None else math.ceil(need / size - 1e-9)
    bought = need if packs is None or size is None else packs * size
    cost_per_t = None if price is None else price * per_t
    per_ha = None
    if cost_per_t is not None and job.seed_kg_ha is not None:
        per_ha = cost_per_t * job.seed_kg_ha / 1000
    return [
        product.name,
        need,
        product.unit,
        size,
        packs,
        None if packs is None else max(bought - need, 0.0),
        None if cost_per_t is None else cost_per_t * job.seed_t,
        cost_per_t,
        per_ha,
        None if price is None else price * bought,
    ]
