"""From a recipe, a heap of seed and the machines to mixes, pump flow, packs and cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import SowingError
from trialkit.shown import as_line, as_table
from trialkit.sowing.living import living_table
from trialkit.sowing.mix_job import MixJob, checked_products
from trialkit.sowing.mix_warnings import mix_notes, mix_warnings
from trialkit.sowing.product import Product
from trialkit.sowing.purchase import purchase_table
from trialkit.sowing.recipe import all_mixes, one_mix
from trialkit.sowing.sensible import counted, shown


@dataclass(frozen=True, slots=True, eq=False)
class MixPlan:
    """How to dress a lot of seed.

    Parameters
    ----------
    total_l
        Mix for the lot, litres.
    mixes
        Number of mixes, all alike.
    mix_l
        Volume of one mix, litres.
    seed_per_mix_t
        Seed that one mix is for, t.
    per_mix
        One row an ingredient, in the order they go in: `step product form amount unit measure
        measured measured_unit rounding_pct how`; see `recipe.one_mix`.
    totals
        What the lot takes: `product amount unit per_t per_t_measured rounding_pct`.
    tank_fills
        Fillings of the tank, each of whole mixes; None without a tank.
    mixes_per_fill
        Mixes in a full tank; None without a tank.
    pump_l_min
        Pump flow that matches the auger, l/min; None where the auger's flow is not known.
    minutes
        Time the auger runs for the lot; None where its flow is not known. Mixing and moving
        come on top.
    moisture_rise_pct
        Water that comes on the seed, % of the seed's mass: 1 for 10 l of water a tonne.
    moisture_after_pct
        Moisture of the dressed seed, % of its wet mass; None where that of the bare seed is not
        known.
    weight_gain_pct
        What the seed gains in weight, %.
    use_within_h
        Hours within which the mix must be on the seed; None if no product says.
    sow_within_h
        Hours within which the dressed seed must be in the ground; None if no product says.
    living
        Living organisms on a seed: `product living_per_t cells_per_seed minimum_per_seed enough
        source`.
    purchase
        What to buy: `product need unit pack packs left_over cost cost_per_t cost_per_ha outlay`.
    cost_per_t
        Cost of the products on a tonne of seed, in the trial's currency; None unless each has a
        price.
    cost_per_ha
        The same a hectare; None without the seed rate too.
    warnings
        Sentences on what may go wrong.
    notes
        Sentences on what the plan took for granted.
    job
        What was asked.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    total_l: float
    mixes: int
    mix_l: float
    seed_per_mix_t: float
    per_mix: pd.DataFrame
    totals: pd.DataFrame
    tank_fills: int | None
    mixes_per_fill: int | None
    pump_l_min: float | None
    minutes: float | None
    moisture_rise_pct: float
    moisture_after_pct: float | None
    weight_gain_pct: float
    use_within_h: float | None
    sow_within_h: float | None
    living: pd.DataFrame
    purchase: pd.DataFrame
    cost_per_t: float | None
    cost_per_ha: float | None
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    job: MixJob


def mix_plan(
    seed_t: float,
    products: Sequence[Product],
    *,
    rate_l_t: float,
    mixer_l: float,
    tank_l: float | None = None,
    auger_t_h: float | None = None,
    seed_kg_ha: float | None = None,
    seed_weight_g_1000: float | None = None,
    crop: str | None = None,
    seed_moisture_pct: float | None = None,
    storage_limit_pct: float | None = None,
    order: Sequence[str] | None = None,
    jug_l: float | None = None,
    stands_h: float = 0.0,
    sown_after_h: float | None = None,
    in_sun: bool = False,
    seed_has_fungicide: bool = False,
) -> MixPlan:
    """Plan the dressing of a lot of seed.

    All mixes are alike, as few as the mixer allows: whoever mixes measures the same amounts each
    time, and no last, smaller mix with another recipe waits at the end of a long day. Water makes
    up what the products lack to the rate. A powder takes no room in the mix unless its density is
    given, so the water is a little too much then; the mix is filled to its mark last.

    Parameters
    ----------
    seed_t
        Seed to dress, t.
    products
        The recipe, without water; each product once.
    rate_l_t
        Mix on a tonne of seed, litres, water included.
    mixer_l
        What the mixer holds, litres, as far as it is filled.
    tank_l
        What the tank at the auger holds, litres; None to pump from the mixer.
    auger_t_h
        Seed through the auger, t/h, as from `auger_catches`.
    seed_kg_ha
        Seed rate, kg/ha: for rates and costs a hectare.
    seed_weight_g_1000
        Weight of a thousand seeds, g: for living organisms a seed.
    crop
        Name of the crop: for published minimums and storage limits.
    seed_moisture_pct
        Moisture of the bare seed, % of its wet mass.
    storage_limit_pct
        Wettest that the seed may be stored, %; None for that of the crop, where one is known.
    order
        Names of the products in the order the labels ask for; None for common practice: thin
        liquids, then powders stirred in, thick liquids last.
    jug_l
        What the jug holds, litres, to count in whole jugs.
    stands_h
        Hours the mix stands before it goes on the first seed.
    sown_after_h
        Hours from dressing until the last seed is in the ground.
    in_sun
        Whether mix or dressed seed stands in the sun.
    seed_has_fungicide
        Whether the seed carries a fungicide already.

    Returns
    -------
    MixPlan
        Mixes, flows, times, moisture, living organisms, packs, costs, warnings and notes.

    Raises
    ------
    SowingError
        If a number makes no sense, a product stands twice, the products alone are more than
        the rate, or the tank cannot take one mix.

    Notes
    -----
    The moisture is a mass balance: seed of mass M at moisture m that takes up water W is at
    (M m + W) / (M + W). Labels, safety data sheets and local rules come before this plan.

    Examples
    --------
    An invented recipe:

    >>> from trialkit.sowing import Product, mix_plan
    >>> recipe = [
    ...     Product("humic liquid", "syrupy", 1.5, "l"),
    ...     Product("root microbe", "watery", 2, "l"),
    ...     Product("mineral powder", "powder", 500, "g"),
    ... ]
    >>> plan = mix_plan(16, recipe, rate_l_t=10, mixer_l=20, tank_l=80, auger_t_h=40)
    >>> plan.total_l, plan.mixes, plan.tank_fills, round(plan.pump_l_min, 2), plan.minutes
    (160.0, 8, 2, 6.67, 24.0)
    >>> plan.per_mix[["step", "product", "measure"]]
       step         product measure
    0     1           water    13 l
    1     2    root microbe     4 l
    2     3  mineral powder    1 kg
    3     4    humic liquid     3 l
    """
    job = MixJob(
        seed_t=seed_t,
        products=checked_products(products),
        rate_l_t=rate_l_t,
        mixer_l=mixer_l,
        tank_l=tank_l,
        auger_t_h=auger_t_h,
        seed_kg_ha=seed_kg_ha,
        seed_weight_g_1000=seed_weight_g_1000,
        crop=crop,
        seed_moisture_pct=seed_moisture_pct,
        storage_limit_pct=storage_limit_pct,
        order=order,
        jug_l=jug_l,
        stands_h=stands_h,
        sown_after_h=sown_after_h,
        in_sun=in_sun,
        seed_has_fungicide=seed_has_fungicide,
    )
    return _plan(job)


def seed_moisture_after(seed_moisture_pct: float, water_kg_t: float) -> float:
    """Return the moisture of seed that takes up water.

    Parameters
    ----------
    seed_moisture_pct
        Moisture before, % of the wet mass.
    water_kg_t
        Water taken up, kg a tonne of seed.

    Returns
    -------
    float
        Moisture after, % of the wet mass.

    Examples
    --------
    >>> round(seed_moisture_after(12, 10), 3)
    12.871
    """
    return 100 * (10 * seed_moisture_pct + water_kg_t) / (1000 + water_kg_t)


def _plan(job: MixJob) -> MixPlan:
    total_l = job.total_l
    mixes = max(math.ceil(total_l / job.mixer_l - 1e-9), 1)
    mix_l = total_l / mixes
    mixes_per_fill, tank_fills = _fills(job, mixes, mix_l)
    pump_l_min = None if job.auger_t_h is None else job.rate_l_t * job.auger_t_h / 60
    per_mix = one_mix(job, job.seed_t / mixes)
    living, purchase = living_table(job), purchase_table(job)
    after = job.seed_moisture_pct
    after = None if after is None else seed_moisture_after(after, job.wetting_kg_t)
    fill_h = 0.0
    if pump_l_min is not None:
        fill_h = mix_l * (mixes_per_fill or 1) / pump_l_min / 60
    return MixPlan(
        total_l=total_l,
        mixes=mixes,
        mix_l=mix_l,
        seed_per_mix_t=job.seed_t / mixes,
        per_mix=per_mix,
        totals=all_mixes(per_mix, mixes, job.seed_t),
        tank_fills=tank_fills,
        mixes_per_fill=mixes_per_fill,
        pump_l_min=pump_l_min,
        minutes=None if job.auger_t_h is None else 60 * job.seed_t / job.auger_t_h,
        moisture_rise_pct=job.wetting_kg_t / 10,
        moisture_after_pct=after,
        weight_gain_pct=job.weight_kg_t / 10,
        use_within_h=_least([product.keeps_mixed_h for product in job.products]),
        sow_within_h=_least([product.keeps_on_seed_h for product in job.products]),
        living=living,
        purchase=purchase,
        cost_per_t=_sum(purchase["cost_per_t"]),
        cost_per_ha=_sum(purchase["cost_per_ha"]),
        warnings=tuple(mix_warnings(job, mixes, per_mix, living, after, fill_h)),
        notes=tuple(mix_notes(job, mixes, purchase, fill_h)),
        job=job,
    )


def _fills(job: MixJob, mixes: int, mix_l: float) -> tuple[int | None, int | None]:
    """Return the mixes in a full tank, and its fillings."""
    if job.tank_l is None:
        return None, None
    whole = min(math.floor(job.tank_l / mix_l + 1e-9), mixes)
    if whole < 1:
        raise SowingError(
            f"The tank holds {shown(job.tank_l)} l, and one mix is {shown(mix_l)} l "
            f"({counted(mixes, 'mix', 'mixes')} of {shown(job.total_l)} l in all). Mix no more "
            f"than the tank holds, mixer_l={job.tank_l:g}, or use a larger tank."
        )
    return whole, math.ceil(mixes / whole)


def _least(hours: list[float | None]) -> float | None:
    known = [value for value in hours if value is not None]
    return min(known) if known else None


def _sum(column: pd.Series) -> float | None:
    return None if column.isna().any() else float(column.sum())
