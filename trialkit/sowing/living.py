"""Living organisms on a seed, against what has been published as the least."""

from __future__ import annotations

import pandas as pd

from trialkit.language import marked
from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.product import Product

_CANADA = marked(
    "nodule bacteria; Canada Fertilizers Regulations, C.R.C. c. 666, s. 10.2(1), in force 2006 to "
    "2013"
)

#: Least viable nodule bacteria a seed, by the legume. Source: Canada Fertilizers Regulations,
#: C.R.C. c. 666, s. 10.2(1), in force 2006-03-22 to 2013-04-25. Ten times as many were called for
#: by Olsen et al. 1994, Plant and Soil 161:127-134; France asked for a million on soybean
#: (Herridge et al. 2002). Lucerne is another name of alfalfa.
MINIMUM_CELLS_PER_SEED: dict[str, float] = {
    "alfalfa": 1e3,
    "lucerne": 1e3,
    "clover": 1e3,
    "birdsfoot trefoil": 1e3,
    "sainfoin": 1e4,
    "bean": 1e5,
    "pea": 1e5,
    "soybean": 1e5,
}


def cells_per_seed(living_per_t: float, seed_weight_g_1000: float) -> float:
    """Return the living organisms on one seed.

    Parameters
    ----------
    living_per_t
        Living organisms on a tonne of seed.
    seed_weight_g_1000
        Weight of a thousand seeds, g.

    Returns
    -------
    float
        Organisms a seed: a tonne holds 10⁹ / (thousand-seed weight in g) seeds.

    Examples
    --------
    A gram with 10⁹, 250 g on 100 kg of seed of 40 g a thousand:

    >>> cells_per_seed(1e9 * 2500, 40)
    100000.0
    """
    return living_per_t * seed_weight_g_1000 / 1e9


def published_minimum(crop: str | None) -> float | None:
    """Return the least living nodule bacteria a seed of a crop; None where none was published.

    Parameters
    ----------
    crop
        Name of the crop, such as `"field peas"`.
    """
    if not crop:
        return None
    name = crop.strip().casefold()
    for known in (name, name.removesuffix("s"), name.split()[-1], name.split()[-1].rstrip("s")):
        if known in MINIMUM_CELLS_PER_SEED:
            return MINIMUM_CELLS_PER_SEED[known]
    return None


def living_table(job: MixJob) -> pd.DataFrame:
    """Return the living organisms a seed gets of each product that is alive.

    Parameters
    ----------
    job
        What the mix must do; without the weight of a thousand seeds the counts are unknown.

    Returns
    -------
    DataFrame
        Columns `product living_per_t cells_per_seed minimum_per_seed enough source`; `enough` is
        None where the count or the minimum is unknown. Counts are those at mixing: many die
        before the seed is in the ground.
    """
    rows = [_row(product, job) for product in job.products if product.living]
    names = [
        "product", "living_per_t", "cells_per_seed", "minimum_per_seed", "enough", "source",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=names).astype(
        {"living_per_t": float, "cells_per_seed": float, "minimum_per_seed": float}
        | {"enough": object, "source": object}
    )


def _row(product: Product, job: MixJob) -> list[object]:
    per_t = product.living_per_t(job.seed_kg_ha)
    count = job.seed_weight_g_1000 and cells_per_seed(per_t, job.seed_weight_g_1000)
    minimum, source = product.minimum_per_seed, marked("given with the product")
    if minimum is None:
        minimum = published_minimum(job.crop)
        source = _CANADA if minimum else marked("none published for this crop; ask the maker")
    enough = bool(count >= minimum * (1 - 1e-9)) if count and minimum else None
    return [product.name, per_t, count, minimum, enough, source]
