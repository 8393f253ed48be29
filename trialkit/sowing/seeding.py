"""How much seed: a rate that gives the plants wanted, and the heaps that takes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import SowingError
from trialkit.language import say
from trialkit.shown import as_line, as_table
from trialkit.sowing.mix_job import check_seed_weight
from trialkit.sowing.sensible import by_name, named, number, optional, percent, shown


def seeding_rate(
    target_plants_m2: float,
    seed_weight_g_1000: float,
    germination_pct: float,
    establishment_pct: float = 100,
) -> float:
    """Return the seed that gives the plants wanted.

    Parameters
    ----------
    target_plants_m2
        Plants wanted on a square metre.
    seed_weight_g_1000
        Weight of a thousand seeds, g, of this lot: varieties and years differ.
    germination_pct
        Seeds that germinate in the laboratory's test, %.
    establishment_pct
        Of those, plants that come up and stay in the field, %.

    Returns
    -------
    float
        Bare seed, kg/ha.

    Raises
    ------
    SowingError
        If a number makes no sense.

    Notes
    -----
    kg/ha = plants/m² × thousand-seed weight / (germination × establishment) / 100, with the two
    shares between 0 and 1 (Alberta Agriculture, Agri-Facts 100/22-1).

    Examples
    --------
    >>> round(seeding_rate(200, 45, 95, 90), 1)
    105.3
    """
    plants = number(target_plants_m2, "plants wanted", "plants/m²", 0.5, 5000)
    grams, living = _seed(seed_weight_g_1000, germination_pct, establishment_pct)
    return plants * grams / living / 100


def plants_sown(
    seed_kg_ha: float,
    seed_weight_g_1000: float,
    germination_pct: float,
    establishment_pct: float = 100,
) -> float:
    """Return the plants to expect from a seed rate.

    Parameters
    ----------
    seed_kg_ha
        Seed sown, kg/ha, counted as bare seed.
    seed_weight_g_1000
        Weight of a thousand bare seeds, g.
    germination_pct
        Seeds that germinate in the laboratory's test, %.
    establishment_pct
        Of those, plants that come up and stay in the field, %.

    Returns
    -------
    float
        Plants/m².

    Raises
    ------
    SowingError
        If a number makes no sense.

    Examples
    --------
    >>> round(plants_sown(105.26, 45, 95, 90))
    200
    """
    seed = number(seed_kg_ha, "seed rate", "kg/ha", 0.1, 999)
    grams, living = _seed(seed_weight_g_1000, germination_pct, establishment_pct)
    return seed * 100 * living / grams


def _seed(grams: object, germination_pct: object, establishment_pct: object) -> tuple[float, float]:
    """Return the weight of a thousand seeds, and the share that become plants."""
    weight = check_seed_weight(grams)
    if weight is None:
        raise SowingError("Say what a thousand seeds weigh, in grams.")
    germination = percent(germination_pct, "germination")
    establishment = percent(establishment_pct, "establishment")
    return weight, germination * establishment / 1e4


@dataclass(frozen=True, slots=True, eq=False)
class SeedNeed:
    """The seed that each treatment takes.

    Parameters
    ----------
    table
        One row a treatment, columns `treatment area_ha seed_kg_ha sown_t reserve_t purge_t seed_t
        load_t drill_kg_ha cart_fills ha_per_fill cost cost_per_ha`. `seed_t` is the bare seed to
        set aside: sown, reserve and purge together. `load_t` is what that weighs once dressed, and
        `drill_kg_ha` what the drill must put out of it. `ha_per_fill` is what a full cart sows.
        Blank (NaN) where cart or price were not given.
    seed_t
        Bare seed in all, t.
    dressed_t
        Of it, bare seed that is to be dressed, t: what `mix_plan` is asked for.
    notes
        Sentences on what was taken for granted.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    table: pd.DataFrame
    seed_t: float
    dressed_t: float
    notes: tuple[str, ...]


def seed_needed(
    areas_ha: Mapping[str, float],
    seed_kg_ha: float,
    *,
    reserve_pct: float = 5.0,
    purge_kg: float = 0.0,
    fills: Mapping[str, int] | None = None,
    weight_gain_pct: Mapping[str, float] | None = None,
    cart_kg: float | None = None,
    cost_per_t: float | Mapping[str, float] | None = None,
) -> SeedNeed:
    """Return the seed that each treatment takes, and how often the cart is filled.

    Parameters
    ----------
    areas_ha
        Hectares to sow by treatment.
    seed_kg_ha
        Bare seed a hectare, kg, the same for all: as from `seeding_rate`.
    reserve_pct
        Kept in hand, % of what is sown: overlaps, headlands, a meter that runs a little fast.
    purge_kg
        Seed run through cart, meters and hoses and thrown away whenever a treatment is begun, kg.
    fills
        How often each treatment is begun; None for once. As in `SowingOrder.starts`.
    weight_gain_pct
        What the seed of a treatment gains in weight, %, as in `MixPlan.weight_gain_pct`; a
        treatment not named gains nothing.
    cart_kg
        What the cart holds of one treatment, kg.
    cost_per_t
        Price of the bare seed, or of the dressed seed by treatment, in the trial's currency a
        tonne of bare seed.

    Returns
    -------
    SeedNeed
        Table, totals and notes.

    Raises
    ------
    SowingError
        If a number makes no sense, or a treatment is named that is not sown.

    Examples
    --------
    >>> need = seed_needed({"untreated": 10, "dressed": 10}, 75, weight_gain_pct={"dressed": 1.0})
    >>> need.table[["treatment", "seed_t", "drill_kg_ha"]]
       treatment  seed_t  drill_kg_ha
    0  untreated  0.7875        75.00
    1    dressed  0.7875        75.75
    """
    areas = _areas(areas_ha)
    rate = number(seed_kg_ha, "seed rate", "kg/ha", 0.1, 999)
    reserve = number(reserve_pct, "reserve", "%", 0, 100)
    purge = number(purge_kg, "seed to purge", "kg", 0, 10_000)
    begun = _by_treatment(fills, areas, "fills", 1.0, 0, 1000)
    gains = _by_treatment(weight_gain_pct, areas, "weight gain", 0.0, 0, 30, "%")
    cart = optional(cart_kg, "cart", "kg", 1, 100_000)
    price = (
        _by_treatment(cost_per_t, areas, "cost of seed", math.nan, 0, 1e6)
        if cost_per_t is None or by_name(cost_per_t) is not None
        else dict.fromkeys(areas, number(cost_per_t, "cost of seed", "a tonne", 0, 1e6))
    )
    table = pd.DataFrame({"treatment": list(areas), "area_ha": list(areas.values())})
    gain = 1 + table["treatment"].map(gains) / 100
    table["seed_kg_ha"] = rate
    table["sown_t"] = table["area_ha"] * rate / 1000
    table["reserve_t"] = table["sown_t"] * reserve / 100
    table["purge_t"] = table["treatment"].map(begun) * purge / 1000
    table["seed_t"] = table["sown_t"] + table["reserve_t"] + table["purge_t"]
    table["load_t"] = table["seed_t"] * gain
    table["drill_kg_ha"] = rate * gain
    table["cart_fills"] = math.nan if cart is None else _fills(table["load_t"] * 1000 / cart)
    table["ha_per_fill"] = math.nan if cart is None else cart / table["drill_kg_ha"]
    table["cost"] = table["seed_t"] * table["treatment"].map(price)
    table["cost_per_ha"] = table["cost"] / table["area_ha"]
    return SeedNeed(
        table=table,
        seed_t=float(table["seed_t"].sum()),
        dressed_t=float(table.loc[gain > 1, "seed_t"].sum()),
        notes=tuple(_need_notes(reserve, purge, table, cart)),
    )


def _fills(loads: pd.Series) -> pd.Series:
    return loads.map(lambda load: float(max(math.ceil(load - 1e-9), 1)))


def _areas(areas_ha: object) -> dict[str, float]:
    given = by_name(areas_ha)
    if not given:
        raise SowingError(
            "Give the hectares by treatment, such as {'untreated': 4.2, 'dressed': 4.2}."
        )
    return {
        named(name, "treatment"): number(area, f"area of '{name}'", "ha", 1e-4, 100_000)
        for name, area in given.items()
    }


def _by_treatment(
    given: object,
    areas: dict[str, float],
    words: str,
    default: float,
    low: float,
    high: float,
    unit: str = "",
) -> dict[str, float]:
    """Return a number for each treatment: what was given, or the default."""
    if given is None:
        return dict.fromkeys(areas, default)
    numbers = by_name(given)
    if numbers is None:
        raise SowingError(f"The {words} is {given!r}. Give it by treatment, as {{name: number}}.")
    for name in numbers:
        if name not in areas:
            raise SowingError(
                f"The {words} names a treatment '{name}' that is not sown. Sown are: "
                f"{', '.join(areas)}."
            )
    found = {
        name: number(v, f"{words} of '{name}'", unit, low, high) for name, v in numbers.items()
    }
    return {name: found.get(name, default) for name in areas}


def _need_notes(reserve: float, purge: float, table: pd.DataFrame, cart: float | None) -> list[str]:
    said = [
        say("A reserve of {reserve}% is in the seed of each treatment.", reserve=shown(reserve))
    ]
    if purge == 0:
        said.append(say("No seed is counted for purging cart, meters and hoses: give purge_kg."))
    else:
        said.append(
            say(
                "{purge} kg are run through and thrown away each time a treatment is begun; "
                "dressed seed among it is no food and no feed.",
                purge=shown(purge),
            )
        )
    if cart is None:
        said.append(say("The cart's load was not given, so its fillings are not counted."))
    if table["area_ha"].max() > 1.1 * table["area_ha"].min():
        said.append(say("The treatments are not sown on the same area; check the strips."))
    return said
