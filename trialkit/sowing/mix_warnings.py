"""What may go wrong with a mix, and what its plan took for granted, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.sensible import counted, shown

#: More mixes than this, and somebody loses count. Common practice, no source.
_MANY_MIXES = 10

#: Rounding that moves a rate by more than this is worth a word. Regulators let a seed treatment
#: be off by 10% upwards; half of that is left to pump and auger. Common practice, no source.
_ROUNDING_PCT = 5.0

#: A slurry adds half to 1% of the weight of the seed (teaching page, agriinfo.in).
_USUAL_WETTING_PCT = 1.0

#: Moisture at which grain is received, %, by crop: wheat and malting barley, Western Australia;
#: oats and canola from memory. Dressed seed that is kept should not be wetter.
STORAGE_LIMIT_PCT: dict[str, float] = {
    "wheat": 12.5,
    "barley": 12.5,
    "oats": 12.5,
    "oat": 12.5,
    "canola": 8.0,
}

#: Sow within this time of putting nodule bacteria on the seed (GRDC Back Pocket Guide 2013).
_NODULE_BACTERIA_H = 24

#: Powder a litre of mix above which its room matters, kg. Common practice, no source.
_MUCH_POWDER_KG_L = 0.1


def mix_warnings(
    job: MixJob,
    mixes: int,
    per_mix: pd.DataFrame,
    living: pd.DataFrame,
    moisture_after_pct: float | None,
    fill_h: float,
) -> Iterator[str]:
    """Yield sentences on what may go wrong.

    Parameters
    ----------
    job
        What the mix must do.
    mixes
        Number of mixes.
    per_mix
        One mix, as from `one_mix`.
    living
        Living organisms, as from `living_table`.
    moisture_after_pct
        Moisture of the dressed seed, %; None if not known.
    fill_h
        Hours that one filling lasts at the pump.
    """
    yield from _on_the_mixer(job, mixes)
    yield from _on_the_order(job)
    yield from _on_measuring(per_mix)
    yield from _on_age(job, fill_h)
    yield from _on_moisture(job, moisture_after_pct)
    yield from _on_life(job, living)


def mix_notes(job: MixJob, mixes: int, purchase: pd.DataFrame, fill_h: float) -> Iterator[str]:
    """Yield sentences on what the plan took for granted.

    Parameters
    ----------
    job
        What the mix must do.
    mixes
        Number of mixes.
    purchase
        What to buy, as from `purchase_table`.
    fill_h
        Hours that one filling lasts at the pump.
    """
    if job.order is None:
        yield (
            "The order, thin liquids, powders, thick liquids, is common practice without a source. "
            "Where a label gives another, follow the label."
        )
    for product in job.products:
        if product.form == "powder" and product.density_kg_l is None:
            room = product.kg_per_t(job.seed_kg_ha) * job.seed_t / mixes
            yield (
                f"'{product.name}' is taken to take no room in the mix; undissolved it takes up to "
                f"{shown(room)} l of one. Keep that much water back and fill to the mark at the "
                "end."
            )
    if any(p.form != "powder" and p.water_pct is None for p in job.products):
        yield "Each litre of a liquid product is taken for a litre of water: the most it can wet."
    if job.tank_l is None and mixes > 1:
        yield "Without a tank the auger stands still while a mix is made."
    if fill_h > 0:
        yield f"One filling lasts {shown(60 * fill_h)} minutes at the pump."
    if job.seed_moisture_pct is None:
        yield (
            "The moisture of the bare seed was not given, so that of the dressed seed is not known."
        )
    elif _storage_limit(job) is None:
        yield "No storage limit is known for this crop: give storage_limit_pct."
    elif job.storage_limit_pct is None:
        yield (
            f"The storage limit of {shown(_storage_limit(job) or 0)}% is one at which grain is "
            "received; your store may ask for less."
        )
    if any(product.living for product in job.products):
        yield "Living organisms are counted at mixing: many die before the seed is in the ground."
        if job.seed_weight_g_1000 is None:
            yield "Without the weight of a thousand seeds nobody can say what lives on one."
    unpriced = list(purchase.loc[purchase["cost"].isna(), "product"])
    if unpriced and len(unpriced) < len(purchase):
        yield f"No price is known for {_list(unpriced)}, so no cost of the whole is given."
    yield from _full_mixes(job, mixes)


def _full_mixes(job: MixJob, mixes: int) -> Iterator[str]:
    full_t = mixes * job.mixer_l / job.rate_l_t
    if mixes > 1 and full_t > job.seed_t * (1 + 1e-6):
        yield (
            f"{counted(mixes, 'full mix', 'full mixes')} of {shown(job.mixer_l)} l would do for "
            f"{shown(full_t)} t of seed."
        )


def _on_the_mixer(job: MixJob, mixes: int) -> Iterator[str]:
    if mixes > _MANY_MIXES:
        yield (
            f"The mixer is too small for this lot: {counted(mixes, 'mix', 'mixes')} of "
            f"{shown(job.total_l / mixes)} l, and each is a chance to slip. One of "
            f"{shown(job.total_l / 8)} l would do it in 8."
        )


def _on_the_order(job: MixJob) -> Iterator[str]:
    ordered = job.in_order
    powders = [at for at, product in enumerate(ordered) if product.form == "powder"]
    thick = [at for at, product in enumerate(ordered) if product.form == "syrupy"]
    late = [ordered[at].name for at in powders if thick and at > min(thick)]
    if late:
        yield (
            f"{_list(late)} would go in after a thick liquid, and powder added last lumps (common "
            "practice, no source). Unless the label asks for it, stir powders into the thin "
            "liquids first."
        )
    thin = job.water_l_t > 0 or any(product.form == "watery" for product in ordered)
    if powders and not thin:
        names = [ordered[at].name for at in powders]
        yield (
            f"There is no water or other thin liquid to stir {_list(names)} into. Raise rate_l_t "
            "to make room for water."
        )
    kg_l = sum(ordered[at].kg_per_t(job.seed_kg_ha) for at in powders) / job.rate_l_t
    if any(ordered[at].density_kg_l is None for at in powders) and kg_l > _MUCH_POWDER_KG_L:
        yield (
            f"The mix holds {shown(1000 * kg_l)} g of powder a litre: it thickens, settles and can "
            "block strainer and nozzle. Keep it stirred, and mix a jugful for a trial first."
        )


def _on_measuring(per_mix: pd.DataFrame) -> Iterator[str]:
    products = per_mix[per_mix["product"] != "water"]
    for row in products[products["rounding_pct"].abs() > _ROUNDING_PCT].to_dict("records"):
        yield (
            f"One mix takes {shown(row['amount'])} {row['unit']} of '{row['product']}', and a jug "
            f"or scale can measure {row['measure']}: {row['rounding_pct']:+.0f}%. Make larger "
            "mixes, or thin it down in measured water first."
        )


def _on_age(job: MixJob, fill_h: float) -> Iterator[str]:
    used_after_h = job.stands_h + fill_h
    for product in job.products:
        mixed, on_seed = product.keeps_mixed_h, product.keeps_on_seed_h
        if mixed is not None and used_after_h > mixed:
            yield (
                f"The last of a filling goes on the seed {shown(used_after_h)} h after mixing, and "
                f"'{product.name}' keeps {shown(mixed)} h once mixed. Mix later, or less at a time."
            )
        if on_seed is not None and job.sown_after_h is not None and job.sown_after_h > on_seed:
            yield (
                f"The last seed is sown {shown(job.sown_after_h)} h after dressing, and "
                f"'{product.name}' keeps {shown(on_seed)} h on the seed. Dress later, or in parts."
            )
    asked = job.sown_after_h is not None
    silent = [
        product.name
        for product in job.products
        if (product.living or asked) and product.keeps_on_seed_h is None
    ]
    if silent:
        yield (
            f"How long {_list(silent)} {'keeps' if len(silent) == 1 else 'keep'} on the seed was "
            f"not given, so {'its' if len(silent) == 1 else 'their'} age at sowing is not checked. "
            "Look on the label; nodule bacteria, for one, are sown within "
            f"{_NODULE_BACTERIA_H} h (GRDC Back Pocket Guide 2013)."
        )
    unmixed = [p.name for p in job.products if p.living and p.keeps_mixed_h is None]
    if unmixed:
        yield (
            f"How long {_list(unmixed)} {'keeps' if len(unmixed) == 1 else 'keep'} once mixed was "
            "not given. Look on the label, and mix no more than is used at once."
        )


def _on_moisture(job: MixJob, after_pct: float | None) -> Iterator[str]:
    limit = _storage_limit(job)
    if after_pct is not None and limit is not None and after_pct > limit:
        yield (
            f"The dressed seed is at {after_pct:.1f}% moisture, above the {shown(limit)}% to store "
            "it at. Sow it at once, or dry it before it is stored."
        )
    wetting_pct = job.wetting_kg_t / 10
    if wetting_pct > _USUAL_WETTING_PCT * (1 + 1e-9):
        yield (
            f"The mix puts {shown(wetting_pct)}% of the seed's weight on it as water; half to 1% "
            "is usual (agriinfo.in). Damp seed bridges and meters unevenly: let it dry, and "
            "calibrate the metering with the dressed seed."
        )


def _on_life(job: MixJob, living: pd.DataFrame) -> Iterator[str]:
    alive = [product.name for product in job.products if product.living]
    if not alive:
        return
    killers = [product.name for product in job.products if product.fungicide]
    if killers:
        yield (
            f"{_list(alive)} is alive, and {_list(killers)} in the same mix may kill it. Use them "
            "together only if both labels say so."
        )
    if job.seed_has_fungicide:
        yield (
            f"{_list(alive)} is alive, and the seed carries a fungicide. Ask both labels; let the "
            "dressing dry first, put the living product on last and sow at once."
        )
    if job.in_sun:
        yield (
            f"{_list(alive)} is alive: sun and heat kill it. Keep packs, mix and dressed seed in "
            "the shade and below 30 °C, and do not let them freeze (GRDC Back Pocket Guide 2013)."
        )
    for row in living[living["enough"].map(lambda enough: enough is False)].itertuples():
        yield (
            f"'{row.product}' puts {row.cells_per_seed:,.0f} living organisms on a seed; at least "
            f"{row.minimum_per_seed:,.0f} are wanted ({row.source})."
        )


def _storage_limit(job: MixJob) -> float | None:
    if job.storage_limit_pct is not None:
        return job.storage_limit_pct
    return STORAGE_LIMIT_PCT.get((job.crop or "").strip().casefold())


def _list(names: list[str]) -> str:
    quoted = [f"'{name}'" for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} and {quoted[-1]}"
