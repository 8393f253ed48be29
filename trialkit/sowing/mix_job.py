"""What a mix must do, checked before anything is worked out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trialkit.errors import SowingError
from trialkit.sowing.product import Product
from trialkit.sowing.sensible import listed, named, number, optional, percent, shown

#: Litres of mix on a tonne of seed. Slurries of cereals and pulses: 5 to 10 (from memory).
_RATE_L_T = (0.1, 100.0)

#: Field, words, unit, least and most of the numbers a job needs, and of those it can do without.
_NEEDED = (
    ("seed_t", "seed to dress", "t", 0.0005, 5000),
    ("rate_l_t", "rate of the mix", "l/t", *_RATE_L_T),
    ("mixer_l", "mixer", "l", 0.1, 50_000),
    ("stands_h", "time the mix stands", "h", 0, 10_000),
)
_OPTIONAL = (
    ("tank_l", "tank", "l", 0.1, 50_000),
    ("auger_t_h", "auger's flow", "t/h", 0.05, 1000),
    ("seed_kg_ha", "seed rate", "kg/ha", 0.1, 999),
    ("jug_l", "jug", "l", 0.1, 200),
    ("sown_after_h", "time until the seed is sown", "h", 0, 50_000),
)
#: Words, unit, least and most of a number, by its field.
JOB_LIMITS: dict[str, tuple[str, str, float, float]] = {
    name: (words, unit, low, high) for name, words, unit, low, high in (*_NEEDED, *_OPTIONAL)
}

_MOISTURES = (
    ("seed_moisture_pct", "moisture of the seed"),
    ("storage_limit_pct", "moisture limit for storage"),
)


@dataclass(frozen=True, slots=True)
class MixJob:
    """Seed, recipe and machines of one dressing.

    Parameters
    ----------
    seed_t
        Seed to dress, t.
    products
        The recipe.
    rate_l_t
        Mix on a tonne of seed, litres.
    mixer_l, tank_l
        What the mixer and the tank hold, litres, as far as they are filled.
    auger_t_h
        Seed that runs through the auger, t/h.
    seed_kg_ha
        Seed rate, kg/ha.
    seed_weight_g_1000
        Weight of a thousand seeds, g.
    crop
        Name of the crop.
    seed_moisture_pct
        Water in the seed before dressing, % of its wet mass.
    storage_limit_pct
        Wettest that the seed may be stored, % of its wet mass.
    order
        Names of the products in the order of the label, if that differs from common practice.
    jug_l
        What the jug holds, litres.
    stands_h
        Hours the mix stands before it goes on the first seed.
    sown_after_h
        Hours from dressing until the last seed is in the ground.
    in_sun
        Whether mix or dressed seed stands in the sun.
    seed_has_fungicide
        Whether the seed carries a fungicide already.
    """

    seed_t: float
    products: tuple[Product, ...]
    rate_l_t: float
    mixer_l: float
    tank_l: float | None = None
    auger_t_h: float | None = None
    seed_kg_ha: float | None = None
    seed_weight_g_1000: float | None = None
    crop: str | None = None
    seed_moisture_pct: float | None = None
    storage_limit_pct: float | None = None
    order: Sequence[str] | None = None
    jug_l: float | None = None
    stands_h: float = 0.0
    sown_after_h: float | None = None
    in_sun: bool = False
    seed_has_fungicide: bool = False

    def __post_init__(self) -> None:
        for name, words, unit, low, high in _NEEDED:
            object.__setattr__(self, name, number(getattr(self, name), words, unit, low, high))
        for name, words, unit, low, high in _OPTIONAL:
            object.__setattr__(self, name, optional(getattr(self, name), words, unit, low, high))
        object.__setattr__(self, "seed_weight_g_1000", check_seed_weight(self.seed_weight_g_1000))
        for name, words in _MOISTURES:
            object.__setattr__(self, name, _moisture(getattr(self, name), words))
        for flag, words in (
            (self.in_sun, "in_sun"),
            (self.seed_has_fungicide, "seed_has_fungicide"),
        ):
            if not isinstance(flag, bool):
                raise SowingError(f"{words} is {flag!r}. Say True or False.")
        if self.crop is not None:
            named(self.crop, "crop")
        checked_products(self.products)
        self._check_order()
        room_left(self.products, self.rate_l_t, self.seed_kg_ha)

    def _check_order(self) -> None:
        if self.order is None:
            return
        names = [product.name for product in self.products]
        given = listed(self.order)
        if given is None or sorted(map(str, given)) != sorted(names):
            raise SowingError(
                f"The order is {self.order!r}. Name each product once, in the order it goes in, "
                f"without water: {', '.join(names)}."
            )

    @property
    def total_l(self) -> float:
        """Mix for the lot, litres."""
        return self.seed_t * self.rate_l_t

    @property
    def water_l_t(self) -> float:
        """Water that makes up the rate, litres a tonne of seed."""
        return room_left(self.products, self.rate_l_t, self.seed_kg_ha)

    @property
    def wetting_kg_t(self) -> float:
        """Water that comes on a tonne of seed, kg, that of the products included."""
        own = sum(product.water_kg_per_t(self.seed_kg_ha) for product in self.products)
        return self.water_l_t + own

    @property
    def weight_kg_t(self) -> float:
        """Weight of the mix on a tonne of seed, kg."""
        own = sum(product.kg_per_t(self.seed_kg_ha) for product in self.products)
        return self.water_l_t + own

    @property
    def in_order(self) -> tuple[Product, ...]:
        """The products as they go in: thin liquids, powders, thick liquids, or the label's order.

        Common practice, no source.
        """
        if self.order is not None:
            by_name = {product.name: product for product in self.products}
            return tuple(by_name[name] for name in self.order)
        rank = {"watery": 0, "powder": 1, "syrupy": 2}
        return tuple(sorted(self.products, key=lambda product: rank[product.form]))


def _moisture(value: object, words: str) -> float | None:
    if value is None:
        return None
    found = percent(value, words)
    if found > 40:
        raise SowingError(f"The {words} is {shown(found)}%. It must be 1 to 40%.")
    return found


def check_seed_weight(seed_weight_g_1000: object) -> float | None:
    """Return the weight of a thousand seeds if it makes sense; None if it was not given.

    Parameters
    ----------
    seed_weight_g_1000
        Grams; wheat has about 40, canola 4.

    Raises
    ------
    SowingError
        If it is no weight of a thousand seeds.
    """
    return optional(seed_weight_g_1000, "weight of a thousand seeds", "g", 0.1, 3000)


def checked_products(products: object) -> tuple[Product, ...]:
    """Return products as a tuple, if they are products and no two have one name.

    Parameters
    ----------
    products
        What was given.

    Raises
    ------
    SowingError
        If there is none, one is no `Product`, a name stands twice, or water is among them.
    """
    if not isinstance(products, (list, tuple)) or not products:
        raise SowingError(
            "There are no products. Give a list of them, such as "
            "[Product('root microbe', 'watery', 2, 'l')]."
        )
    seen: set[str] = set()
    for product in products:
        if not isinstance(product, Product):
            raise SowingError(
                f"{product!r} is not a product. Write it as Product(name, form, per_t, unit)."
            )
        name = product.name.casefold()
        if name in seen:
            raise SowingError(
                f"The product '{product.name}' stands twice. Give it once, with its whole rate."
            )
        if name == "water":
            raise SowingError(
                "Leave water out of the products: it makes up what they lack to rate_l_t."
            )
        seen.add(name)
    return tuple(products)


def room_left(products: tuple[Product, ...], rate_l_t: float, seed_kg_ha: float | None) -> float:
    """Return the water a tonne of seed takes to make up the rate, litres.

    Parameters
    ----------
    products
        The recipe.
    rate_l_t
        Mix on a tonne of seed, litres.
    seed_kg_ha
        Seed rate, needed where a product's rate is a hectare's.

    Raises
    ------
    SowingError
        If the products alone are more than the rate.
    """
    litres = {product.name: product.litres_per_t(seed_kg_ha) for product in products}
    over = math.fsum(litres.values()) - rate_l_t
    if over <= 1e-9 * rate_l_t:
        return -over if -over > 1e-9 * rate_l_t else 0.0
    largest = max(litres, key=lambda name: litres[name])
    slip = ""
    if litres[largest] > 10 * rate_l_t:
        slip = f" Is '{largest}' in the right unit? {shown(litres[largest])} l/t is most of it."
    raise SowingError(
        f"The products alone are {shown(rate_l_t + over)} l/t, {shown(over)} l/t more than the "
        f"{shown(rate_l_t)} l/t to go on the seed. Raise rate_l_t or lower a rate.{slip}"
    )
