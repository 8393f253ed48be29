"""The sentences of the run sheets."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from trialkit.report.numbers import number
from trialkit.sowing.sensible import counted, shown

if TYPE_CHECKING:
    from trialkit.sowing import CatchTarget, CleanOut, MixPlan
    from trialkit.trial.sowing_plan import Dressed, SowingPlan

SHED, CAB = "Shed: dress the seed", "Cab: sow the strips"

IN_DRESSING = (
    "Goes into dressing.csv: a row for each product of each mix, in the order they went in (date, "
    "treatment, product, amount, unit, seed_t, litres, start, end), last_sown when the seed is in "
    "the ground. Then make this sheet again: it shows what was planned and what was done."
)
NO_STOP = (
    "Something went wrong? Stop, write it down, and ask before you mend the recipe. A mix with the "
    "wrong amount is better thrown away, as the label says, than put on a strip."
)
CATCH = (
    "Pump and auger drift with temperature, seed and strainer. Catch three times before the first "
    "mix goes on. Catch water, or mix that goes back into the tank. Drive locked out when you "
    "reach in."
)
CATCH_GOES = "Write the flows that you set into the note of the first mix in dressing.csv."
METER = (
    "Damp dressed seed weighs more and flows otherwise. Catch bare and dressed seed at the same "
    "setting over the same turns, three times each."
)
METER_SUM = (
    "New setting = setting × bare × {gain} ÷ dressed (the means). Within 2% leave it (common "
    "practice, no source). Then catch again: at the new setting dressed seed must weigh bare × "
    "{gain}."
)
METER_GOES = "Settings and catches go into the note of strip 'all' in as-sown.csv."
ORDER = (
    "Strips across the field in this order. 'Near' is the end with the pegs (the field card and "
    "the map show it): the first pass of a strip starts there."
)
OTHERWISE = (
    "What went otherwise goes into as-sown.csv, a row a strip: the treatment it got; lost = yes; "
    "for a part from_m, to_m and from_end; moved_m and toward."
)
WRITE_DOWN = (
    "Who drove, who looked; rain, dust, wet holes; blockages, misses and overlaps.",
    "Seed loaded and left over of each treatment: the difference over the hectares is the rate "
    "that was sown.",
    "When the last dressed seed was in the ground: last_sown in dressing.csv.",
)
MORE = "More to heed is on these pages."
ROUNDING = "Measured as a jug or a scale can; the water takes up the rounding of the other liquids."


def mixes_words(dressed: Dressed) -> str:
    """Say how many mixes there are, and of how much.

    Parameters
    ----------
    dressed
        Seed and mixes of a treatment.
    """
    mix = dressed.mix
    each = f"{shown(mix.mix_l)} l for {number(1000 * mix.seed_per_mix_t, 0)} kg of seed"
    if not dressed.whole:
        return f"full mixes of {each}"
    if mix.mixes == 1:
        return f"1 mix of {each}"
    return f"{mix.mixes} mixes, all alike, each {each}"


def further_mixes(mixes: int, rows: int) -> str:
    """Say that there are more mixes than rows; empty where there are not.

    Parameters
    ----------
    mixes, rows
        Numbers.
    """
    if mixes <= rows:
        return ""
    return f"{mixes:,} mixes, and rows for {rows}: print this page again for the rest."


def facts(dressed: Dressed) -> Iterator[tuple[str, str]]:
    """Yield what is asked first in the shed, with its words.

    Parameters
    ----------
    dressed
        Seed and mixes of a treatment.
    """
    mix = dressed.mix
    if dressed.whole:
        yield f"{number(1000 * dressed.seed_t, 0)} kg", "seed to dress"
    yield f"{shown(mix.job.rate_l_t)} l/t", "mix on the seed"
    if dressed.whole:
        yield f"{shown(mix.total_l)} l", "mix in all"
        yield counted(mix.mixes, "mix", "mixes"), f"of {shown(mix.mix_l)} l"
    if dressed.whole and mix.tank_fills is not None and mix.mixes_per_fill is not None:
        each = counted(mix.mixes_per_fill, "mix", "mixes")
        yield counted(mix.tank_fills, "tank fill"), f"{each} in a full tank"
    if mix.pump_l_min is not None:
        yield f"{shown(mix.pump_l_min)} l/min", f"pump, at {shown(mix.job.auger_t_h or 0)} t/h"
    if mix.use_within_h is not None:
        yield f"{shown(mix.use_within_h)} h", "use the mix within"
    if mix.sow_within_h is not None:
        yield f"{shown(mix.sow_within_h)} h", "sow the seed within"


def weight_words(mix: MixPlan) -> str:
    """Say what the mix does to the moisture and the weight of the seed.

    Parameters
    ----------
    mix
        The mixes.
    """
    words = f"The seed gains {shown(mix.weight_gain_pct)}% in weight"
    if mix.moisture_after_pct is None or mix.job.seed_moisture_pct is None:
        return f"{words}, {shown(mix.moisture_rise_pct)}% of it water at most."
    return (
        f"{words}, and its moisture goes from {mix.job.seed_moisture_pct:.1f}% to "
        f"{mix.moisture_after_pct:.1f}% at most."
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
        wanted = row["minimum_per_seed"]
        least = (
            "no least is known" if math.isnan(wanted) else f"at least {number(wanted, 0)} wanted"
        )
        said.append(f"'{row['product']}' {number(row['cells_per_seed'], 0)} ({least})")
    return f"Living on a seed at mixing: {'; '.join(said)}." if said else ""


def pump_words(target: CatchTarget) -> str:
    """Say what a catch of the pump must come to.

    Parameters
    ----------
    target
        Of the pump.
    """
    low, high = seconds_band(target)
    return (
        f"Pump {shown(target.rate)} l/min: {shown(target.amount)} l in {target.seconds:.0f} s. "
        f"Right: {low} to {high} s, {shown(target.low)} to {shown(target.high)} l/min."
    )


def auger_words(target: CatchTarget) -> str:
    """Say what a load through the auger must come to.

    Parameters
    ----------
    target
        Of the auger.
    """
    low, high = seconds_band(target)
    return (
        f"Auger {shown(target.rate)} t/h: {shown(target.amount)} kg in {target.seconds:.0f} s. "
        f"Right: {low} to {high} s, {shown(target.low)} to {shown(target.high)} t/h."
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
        return f"{target.seconds_low:.1f}", f"{target.seconds_high:.1f}"
    return f"{low:.0f}", f"{high:.0f}"


def too_slow_words(target: CatchTarget) -> str:
    """Say which way to turn the pump.

    Parameters
    ----------
    target
        Of the pump.
    """
    low, high = seconds_band(target)
    return f"Longer than {high} s: too slow, open it. Shorter than {low} s: too fast, close it."


def change_words(change: CleanOut) -> str:
    """Say which seed leaves a tank and which comes.

    Parameters
    ----------
    change
        The change.
    """
    tank = f"Tank {change.tank}"
    if not change.leaves:
        return f"{tank}, before the first strip: clean, then '{change.comes}'"
    if not change.comes:
        return f"{tank}, after the last strip: '{change.leaves}' out, clean"
    return f"{tank}: '{change.leaves}' out, clean, then '{change.comes}'"


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
    yield f"{shown(rate)} kg/ha", "bare seed, the same for all"
    if said.target_plants_m2 is not None:
        yield f"{shown(said.target_plants_m2)} plants/m²", "wanted"
    seeds = sowing.seeds_m2
    if seeds is not None:
        yield f"{number(seeds, 0)} seeds/m²", "sown"
        if said.row_spacing_m is not None:
            yield (
                f"{number(seeds * said.row_spacing_m, 0)} seeds",
                f"a metre of row, rows {shown(said.row_spacing_m)} m apart",
            )
    if said.tanks > 1:
        yield counted(said.tanks, "tank"), "for seed"


def use_by_words(mix: MixPlan) -> str:
    """Return the heading of the blanks for the time a mix keeps until.

    Parameters
    ----------
    mix
        The mixes.
    """
    if mix.use_within_h is None:
        return "Use by (label)"
    return f"Use by (+ {shown(mix.use_within_h)} h)"
