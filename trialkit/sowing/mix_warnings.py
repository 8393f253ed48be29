"""What may go wrong with a mix, and what its plan took for granted, in sentences."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from trialkit.language import say, say_counted
from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.recipe import WATER
from trialkit.sowing.sensible import shown

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
        yield say(
            "The order, thin liquids, powders, thick liquids, is common practice without a source. "
            "Where a label gives another, follow the label."
        )
    for product in job.products:
        if product.form == "powder" and product.density_kg_l is None:
            room = product.kg_per_t(job.seed_kg_ha) * job.seed_t / mixes
            yield say(
                "'{product}' is taken to take no room in the mix; undissolved it takes up to "
                "{litres} l of one. Keep that much water back and fill to the mark at the end.",
                product=product.name,
                litres=shown(room),
            )
    if any(p.form != "powder" and p.water_pct is None for p in job.products):
        yield say(
            "Each litre of a liquid product is taken for a litre of water: the most it can wet."
        )
    if job.tank_l is None and mixes > 1:
        yield say("Without a tank the auger stands still while a mix is made.")
    if fill_h > 0:
        yield say("One filling lasts {minutes} minutes at the pump.", minutes=shown(60 * fill_h))
    if job.seed_moisture_pct is None:
        yield say(
            "The moisture of the bare seed was not given, so that of the dressed seed is not known."
        )
    elif _storage_limit(job) is None:
        yield say("No storage limit is known for this crop: give storage_limit_pct.")
    elif job.storage_limit_pct is None:
        yield say(
            "The storage limit of {limit}% is one at which grain is received; your store may ask "
            "for less.",
            limit=shown(_storage_limit(job) or 0),
        )
    if any(product.living for product in job.products):
        yield say(
            "Living organisms are counted at mixing: many die before the seed is in the ground."
        )
        if job.seed_weight_g_1000 is None:
            yield say("Without the weight of a thousand seeds nobody can say what lives on one.")
    unpriced = list(purchase.loc[purchase["cost"].isna(), "product"])
    if unpriced and len(unpriced) < len(purchase):
        yield say(
            "No price is known for {products}, so no cost of the whole is given.",
            products=_list(unpriced),
        )
    yield from _full_mixes(job, mixes)


def _full_mixes(job: MixJob, mixes: int) -> Iterator[str]:
    full_t = mixes * job.mixer_l / job.rate_l_t
    if mixes > 1 and full_t > job.seed_t * (1 + 1e-6):
        yield say(
            "{mixes:,} full mixes of {litres} l would do for {tonnes} t of seed.",
            mixes=mixes,
            litres=shown(job.mixer_l),
            tonnes=shown(full_t),
        )


def _on_the_mixer(job: MixJob, mixes: int) -> Iterator[str]:
    if mixes > _MANY_MIXES:
        yield say(
            "The mixer is too small for this lot: {mixes:,} mixes of {litres} l, and each is a "
            "chance to slip. One of {larger} l would do it in 8.",
            mixes=mixes,
            litres=shown(job.total_l / mixes),
            larger=shown(job.total_l / 8),
        )


def _on_the_order(job: MixJob) -> Iterator[str]:
    ordered = job.in_order
    powders = [at for at, product in enumerate(ordered) if product.form == "powder"]
    thick = [at for at, product in enumerate(ordered) if product.form == "syrupy"]
    late = [ordered[at].name for at in powders if thick and at > min(thick)]
    if late:
        yield say(
            "{products} would go in after a thick liquid, and powder added last lumps (common "
            "practice, no source). Unless the label asks for it, stir powders into the thin "
            "liquids first.",
            products=_list(late),
        )
    thin = job.water_l_t > 0 or any(product.form == "watery" for product in ordered)
    if powders and not thin:
        yield say(
            "There is no water or other thin liquid to stir {products} into. Raise rate_l_t to "
            "make room for water.",
            products=_list([ordered[at].name for at in powders]),
        )
    kg_l = sum(ordered[at].kg_per_t(job.seed_kg_ha) for at in powders) / job.rate_l_t
    if any(ordered[at].density_kg_l is None for at in powders) and kg_l > _MUCH_POWDER_KG_L:
        yield say(
            "The mix holds {grams} g of powder a litre: it thickens, settles and can block "
            "strainer and nozzle. Keep it stirred, and mix a jugful for a trial first.",
            grams=shown(1000 * kg_l),
        )


def _on_measuring(per_mix: pd.DataFrame) -> Iterator[str]:
    products = per_mix[per_mix["product"] != WATER]
    for row in products[products["rounding_pct"].abs() > _ROUNDING_PCT].to_dict("records"):
        yield say(
            "One mix takes {amount} {unit} of '{product}', and a jug or scale can measure "
            "{measure}: {off:+.0f}%. Make larger mixes, or thin it down in measured water first.",
            amount=shown(row["amount"]),
            unit=row["unit"],
            product=row["product"],
            measure=row["measure"],
            off=row["rounding_pct"],
        )


def _on_age(job: MixJob, fill_h: float) -> Iterator[str]:
    used_after_h = job.stands_h + fill_h
    for product in job.products:
        mixed, on_seed = product.keeps_mixed_h, product.keeps_on_seed_h
        if mixed is not None and used_after_h > mixed:
            yield say(
                "The last of a filling goes on the seed {after} h after mixing, and '{product}' "
                "keeps {keeps} h once mixed. Mix later, or less at a time.",
                after=shown(used_after_h),
                product=product.name,
                keeps=shown(mixed),
            )
        if on_seed is not None and job.sown_after_h is not None and job.sown_after_h > on_seed:
            yield say(
                "The last seed is sown {after} h after dressing, and '{product}' keeps {keeps} h "
                "on the seed. Dress later, or in parts.",
                after=shown(job.sown_after_h),
                product=product.name,
                keeps=shown(on_seed),
            )
    asked = job.sown_after_h is not None
    silent = [
        product.name
        for product in job.products
        if (product.living or asked) and product.keeps_on_seed_h is None
    ]
    if silent:
        yield say_counted(
            "How long {products} keeps on the seed was not given, so its age at sowing is not "
            "checked. Look on the label; nodule bacteria, for one, are sown within {hours} h (GRDC "
            "Back Pocket Guide 2013).",
            "How long {products} keep on the seed was not given, so their age at sowing is not "
            "checked. Look on the label; nodule bacteria, for one, are sown within {hours} h (GRDC "
            "Back Pocket Guide 2013).",
            len(silent),
            products=_list(silent),
            hours=_NODULE_BACTERIA_H,
        )
    unmixed = [p.name for p in job.products if p.living and p.keeps_mixed_h is None]
    if unmixed:
        yield say_counted(
            "How long {products} keeps once mixed was not given. Look on the label, and mix no "
            "more than is used at once.",
            "How long {products} keep once mixed was not given. Look on the label, and mix no more "
            "than is used at once.",
            len(unmixed),
            products=_list(unmixed),
        )


def _on_moisture(job: MixJob, after_pct: float | None) -> Iterator[str]:
    limit = _storage_limit(job)
    if after_pct is not None and limit is not None and after_pct > limit:
        yield say(
            "The dressed seed is at {moisture:.1f}% moisture, above the {limit}% to store it at. "
            "Sow it at once, or dry it before it is stored.",
            moisture=after_pct,
            limit=shown(limit),
        )
    wetting_pct = job.wetting_kg_t / 10
    if wetting_pct > _USUAL_WETTING_PCT * (1 + 1e-9):
        yield say(
            "The mix puts {wetting}% of the seed's weight on it as water; half to 1% is usual "
            "(agriinfo.in). Damp seed bridges and meters unevenly: let it dry, and calibrate the "
            "metering with the dressed seed.",
            wetting=shown(wetting_pct),
        )


def _on_life(job: MixJob, living: pd.DataFrame) -> Iterator[str]:
    alive = [product.name for product in job.products if product.living]
    if not alive:
        return
    killers = [product.name for product in job.products if product.fungicide]
    if killers:
        yield say(
            "{living} is alive, and {killing} in the same mix may kill it. Use them together only "
            "if both labels say so.",
            living=_list(alive),
            killing=_list(killers),
        )
    if job.seed_has_fungicide:
        yield say(
            "{living} is alive, and the seed carries a fungicide. Ask both labels; let the "
            "dressing dry first, put the living product on last and sow at once.",
            living=_list(alive),
        )
    if job.in_sun:
        yield say(
            "{living} is alive: sun and heat kill it. Keep packs, mix and dressed seed in the "
            "shade and below 30 °C, and do not let them freeze (GRDC Back Pocket Guide 2013).",
            living=_list(alive),
        )
    for row in living[living["enough"].map(lambda enough: enough is False)].itertuples():
        source = str(row.source)
        yield say(
            "'{product}' puts {cells:,.0f} living organisms on a seed; at least {least:,.0f} are "
            "wanted ({source}).",
            product=row.product,
            cells=row.cells_per_seed,
            least=row.minimum_per_seed,
            source=say(source),
        )


def _storage_limit(job: MixJob) -> float | None:
    if job.storage_limit_pct is not None:
        return job.storage_limit_pct
    return STORAGE_LIMIT_PCT.get((job.crop or "").strip().casefold())


def _list(names: list[str]) -> str:
    quoted = [f"'{name}'" for name in names]
    if len(quoted) == 1:
        return quoted[0]
    return say("{names} and {last}", names=", ".join(quoted[:-1]), last=quoted[-1])
