"""The sentences of the run sheets."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from trialkit.language import figures, marked, say, say_counted
from trialkit.report.numbers import number
from trialkit.report.sowing_captions import mixes_words as so_many_mixes
from trialkit.sowing.sensible import shown

if TYPE_CHECKING:
    from trialkit.sowing import CatchTarget, CleanOut, MixPlan
    from trialkit.trial.sowing_plan import Dressed, SowingPlan

#: Title of a sheet; its first word stands at the foot of each page.
SHED, CAB = marked("Shed: dress the seed"), marked("Cab: sow the strips")
FEET = {SHED: marked("Shed: {trial}"), CAB: marked("Cab: {trial}")}

IN_DRESSING = marked(
    "Goes into dressing.csv: a row for each product of each mix, in the order they went in (date, "
    "treatment, product, amount, unit, seed_t, litres, start, end), last_sown when the seed is in "
    "the ground. Then make this sheet again: it shows what was planned and what was done."
)
NO_STOP = marked(
    "Something went wrong? Stop, write it down, and ask before you mend the recipe. A mix with the "
    "wrong amount is better thrown away, as the label says, than put on a strip."
)
CATCH = marked(
    "Pump and auger drift with temperature, seed and strainer. Catch three times before the first "
    "mix goes on. Catch water, or mix that goes back into the tank. Drive locked out when you "
    "reach in."
)
CATCH_GOES = marked("Write the flows that you set into the note of the first mix in dressing.csv.")
METER = marked(
    "Damp dressed seed weighs more and flows otherwise. Catch bare and dressed seed at the same "
    "setting over the same turns, three times each."
)
METER_SUM = marked(
    "New setting = setting × bare × {gain} ÷ dressed (the means). Within 2% leave it (common "
    "practice, no source). Then catch again: at the new setting dressed seed must weigh bare × "
    "{gain}."
)
METER_GOES = marked("Settings and catches go into the note of strip 'all' in as-sown.csv.")
ORDER = marked(
    "Strips across the field in this order. 'Near' is the end with the pegs (the field card and "
    "the map show it): the first pass of a strip starts there."
)
OTHERWISE = marked(
    "What went otherwise goes into as-sown.csv, a row a strip: the treatment it got; lost = yes; "
    "for a part from_m, to_m and from_end; moved_m and toward."
)
WRITE_DOWN = (
    marked("Who drove, who looked; rain, dust, wet holes; blockages, misses and overlaps."),
    marked(
        "Seed loaded and left over of each treatment: the difference over the hectares is the rate "
        "that was sown."
    ),
    marked("When the last dressed seed was in the ground: last_sown in dressing.csv."),
)
MORE = marked("More to heed is on these pages.")
ROUNDING = marked(
    "Measured as a jug or a scale can; the water takes up the rounding of the other liquids."
)


def mixes_words(dressed: Dressed) -> str:
    """Say how many mixes there are, and of how much.

    Parameters
    ----------
    dressed
        Seed and mixes of a treatment.
    """
    mix = dressed.mix
    litres, seed = shown(mix.mix_l), number(1000 * mix.seed_per_mix_t, 0)
    if not dressed.whole:
        return say("full mixes of {litres} l for {seed} kg of seed", litres=litres, seed=seed)
    return say_counted(
        "{count} mix of {litres} l for {seed} kg of seed",
        "{count} mixes, all alike, each {litres} l for {seed} kg of seed",
        mix.mixes,
        litres=litres,
        seed=seed,
    )


def further_mixes(mixes: int, rows: int) -> str:
    """Say that there are more mixes than rows; empty where there are not.

    Parameters
    ----------
    mixes, rows
        Numbers.
    """
    if mixes <= rows:
        return ""
    return say(
        "{mixes:,} mixes, and rows for {rows}: print this page again for the rest.",
        mixes=mixes,
        rows=rows,
    )


def facts(dressed: Dressed) -> Iterator[tuple[str, str]]:
    """Yield what is asked first in the shed, with its words.

    Parameters
    ----------
    dressed
        Seed and mixes of a treatment.
    """
    mix = dressed.mix
    if dressed.whole:
        yield f"{number(1000 * dressed.seed_t, 0)} kg", say("seed to dress")
    yield f"{shown(mix.job.rate_l_t)} l/t", say("mix on the seed")
    if dressed.whole:
        yield f"{shown(mix.total_l)} l", say("mix in all")
        yield so_many_mixes(mix.mixes), say("of {litres} l", litres=shown(mix.mix_l))
    if dressed.whole and mix.tank_fills is not None and mix.mixes_per_fill is not None:
        fills = say_counted("{count:,} tank fill", "{count:,} tank fills", mix.tank_fills)
        each = say_counted(
            "{count:,} mix in a full tank", "{count:,} mixes in a full tank", mix.mixes_per_fill
        )
        yield fills, each
    if mix.pump_l_min is not None:
        auger = say("pump, at {auger} t/h", auger=shown(mix.job.auger_t_h or 0))
        yield f"{shown(mix.pump_l_min)} l/min", auger
    if mix.use_within_h is not None:
        yield f"{shown(mix.use_within_h)} h", say("use the mix within")
    if mix.sow_within_h is not None:
        yield f"{shown(mix.sow_within_h)} h", say("sow the seed within")


def weight_words(mix: MixPlan) -> str:
    """Say what the mix does to the moisture and the weight of the seed.

    Parameters
    ----------
    mix
        The mixes.
    """
    gain = shown(mix.weight_gain_pct)
    if mix.moisture_after_pct is None or mix.job.seed_moisture_pct is None:
        return say(
            "The seed gains {gain}% in weight, {water}% of it water at most.",
            gain=gain,
            water=shown(mix.moisture_rise_pct),
        )
    return say(
        "The seed gains {gain}% in weight, and its moisture goes from {before:.1f}% to "
        "{after:.1f}% at most.",
        gain=gain,
        before=mix.job.seed_moisture_pct,
        after=mix.moisture_after_pct,
    )


def living_words(mix: MixPlan) -> str:
    """Say what lives on a seed at mixing, against the least wanted; empty if nothing is known.

    Parameters
    ----------
    mix
        The mixes.
    """
    said = []
    for row in mix.living.to_dict("records"):
        if math.isnan(row["cells_per_seed"]):
            continue
        wanted, count = row["minimum_per_seed"], number(row["cells_per_seed"], 0)
        if math.isnan(wanted):
            words = say(
                "'{product}' {count} (no least is known)", product=row["product"], count=count
            )
        else:
            words = say(
                "'{product}' {count} (at least {least} wanted)",
                product=row["product"],
                count=count,
                least=number(wanted, 0),
            )
        said.append(words)
    return say("Living on a seed at mixing: {each}.", each="; ".join(said)) if said else ""


def pump_words(target: CatchTarget) -> str:
    """Say what a catch of the pump must come to.

    Parameters
    ----------
    target
        Of the pump.
    """
    shortest, longest = seconds_band(target)
    return say(
        "Pump {rate} l/min: {amount} l in {seconds:.0f} s. Right: {shortest} to {longest} s, {low} "
        "to {high} l/min.",
        rate=shown(target.rate),
        amount=shown(target.amount),
        seconds=target.seconds,
        shortest=shortest,
        longest=longest,
        low=shown(target.low),
        high=shown(target.high),
    )


def auger_words(target: CatchTarget) -> str:
    """Say what a load through the auger must come to.

    Parameters
    ----------
    target
        Of the auger.
    """
    shortest, longest = seconds_band(target)
    return say(
        "Auger {rate} t/h: {amount} kg in {seconds:.0f} s. Right: {shortest} to {longest} s, {low} "
        "to {high} t/h.",
        rate=shown(target.rate),
        amount=shown(target.amount),
        seconds=target.seconds,
        shortest=shortest,
        longest=longest,
        low=shown(target.low),
        high=shown(target.high),
    )


def seconds_band(target: CatchTarget) -> tuple[str, str]:
    """Return the shortest and the longest time that will do, in whole seconds that do.

    Parameters
    ----------
    target
        Of pump or auger.
    """
    low = -(-target.seconds_low // 1)
    high = target.seconds_high // 1
    if low > high:  # too short a catch for whole seconds
        return figures(f"{target.seconds_low:.1f}"), figures(f"{target.seconds_high:.1f}")
    return f"{low:.0f}", f"{high:.0f}"


def too_slow_words(target: CatchTarget) -> str:
    """Say which way to turn the pump.

    Parameters
    ----------
    target
        Of the pump.
    """
    low, high = seconds_band(target)
    return say(
        "Longer than {longest} s: too slow, open it. Shorter than {shortest} s: too fast, close "
        "it.",
        longest=high,
        shortest=low,
    )


def change_words(change: CleanOut) -> str:
    """Say which seed leaves a tank and which comes.

    Parameters
    ----------
    change
        The change.
    """
    if not change.leaves:
        return say(
            "Tank {tank}, before the first strip: clean, then '{comes}'",
            tank=change.tank,
            comes=change.comes,
        )
    if not change.comes:
        return say(
            "Tank {tank}, after the last strip: '{leaves}' out, clean",
            tank=change.tank,
            leaves=change.leaves,
        )
    return say(
        "Tank {tank}: '{leaves}' out, clean, then '{comes}'",
        tank=change.tank,
        leaves=change.leaves,
        comes=change.comes,
    )


def rate_words(sowing: SowingPlan) -> Iterator[tuple[str, str]]:
    """Yield what is sown a hectare, with its words.

    Parameters
    ----------
    sowing
        The plan.
    """
    said, rate = sowing.config.sowing, sowing.seed_kg_ha
    if said is None or rate is None:
        return
    yield f"{shown(rate)} kg/ha", say("bare seed, the same for all")
    if said.target_plants_m2 is not None:
        plants = say("{plants} plants/m²", plants=shown(said.target_plants_m2))
        yield plants, say("wanted")
    seeds = sowing.seeds_m2
    if seeds is not None:
        yield say("{seeds} seeds/m²", seeds=number(seeds, 0)), say("sown")
        if said.row_spacing_m is not None:
            yield (
                say("{seeds} seeds", seeds=number(seeds * said.row_spacing_m, 0)),
                say("a metre of row, rows {spacing} m apart", spacing=shown(said.row_spacing_m)),
            )
    if said.tanks > 1:
        yield say_counted("{count:,} tank", "{count:,} tanks", said.tanks), say("for seed")


def use_by_words(mix: MixPlan) -> str:
    """Return the heading of the blanks for the time a mix keeps until.

    Parameters
    ----------
    mix
        The mixes.
    """
    if mix.use_within_h is None:
        return say("Use by (label)")
    return say("Use by (+ {hours} h)", hours=shown(mix.use_within_h))
