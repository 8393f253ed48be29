"""A product that goes on the seed, and what its rate comes to a tonne of seed."""

from __future__ import annotations

import contextlib
import math
from dataclasses import KW_ONLY, dataclass
from functools import cache
from typing import Literal, get_args

from trialkit.errors import SowingError, UnitError
from trialkit.sowing.sensible import named, number, optional
from trialkit.units import convert

Form = Literal["watery", "powder", "syrupy"]

#: Liquids lie between these, kg/l; so do the solids that powders are made of.
_LIQUID_KG_L = (0.6, 2.5)
_SOLID_KG_L = (0.2, 8.0)

_BASES: tuple[Literal["l", "kg"], ...] = ("l", "kg")

#: More of one product than this on a tonne of seed is a slip: a tenth of the seed.
_MOST_PER_T = 100.0
_LEAST_PER_T = 1e-5


@dataclass(frozen=True, slots=True)
class Product:
    """One product, as its label gives it.

    Parameters
    ----------
    name
        Its name.
    form
        `"watery"` (a thin liquid), `"powder"` or `"syrupy"` (a thick liquid).
    per_t
        Rate a tonne of seed, in `unit`; or give `per_ha`.
    unit
        `"l"`, `"ml"`, `"kg"`, `"g"`, or any other volume or mass such as `"floz"` or `"lb"`.
        Powders are weighed.
    per_ha
        Rate a hectare, in `unit`, in place of `per_t`.
    density_kg_l
        Weight of a litre, kg. Needed for a liquid with a rate by weight; a liquid without one is
        taken to weigh what water does. Of a powder: of the solid itself, not of the heap; without
        one the powder is taken to take no room in the mix.
    water_pct
        Water in the product, % by mass; None to take each litre of a liquid as a litre of water,
        which is the most it can wet the seed.
    pack
        What a pack holds, in `pack_unit`.
    pack_unit
        Unit of `pack`; None for `unit`.
    cost_per_pack, cost_per_l, cost_per_kg
        Price, in the trial's currency: one of the three.
    living_per_g, living_per_ml
        Living organisms in a gram or a millilitre: one of the two.
    minimum_per_seed
        Living organisms a seed must carry, by the label or the maker.
    keeps_mixed_h
        Hours it keeps once mixed.
    keeps_on_seed_h
        Hours it keeps once on the seed.
    fungicide
        Whether it kills fungi or bacteria.

    Raises
    ------
    SowingError
        If something makes no sense, is given twice or is missing.

    Examples
    --------
    >>> Product("humic liquid", "syrupy", 1500, "ml", density_kg_l=1.2).litres_per_t()
    1.5
    """

    name: str
    form: Form
    per_t: float | None = None
    unit: str = "l"
    _: KW_ONLY
    per_ha: float | None = None
    density_kg_l: float | None = None
    water_pct: float | None = None
    pack: float | None = None
    pack_unit: str | None = None
    cost_per_pack: float | None = None
    cost_per_l: float | None = None
    cost_per_kg: float | None = None
    living_per_g: float | None = None
    living_per_ml: float | None = None
    minimum_per_seed: float | None = None
    keeps_mixed_h: float | None = None
    keeps_on_seed_h: float | None = None
    fungicide: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "name", named(self.name, "product"))
        if not isinstance(self.form, str) or self.form not in get_args(Form):
            raise SowingError(
                f"The form of '{self.name}' is {self.form!r}. Say 'watery' (a thin liquid), "
                "'powder' or 'syrupy' (a thick liquid)."
            )
        if self.pack_unit is not None:
            _measures(self.pack_unit, self.name)
        self._check_numbers()
        self._check_unit()
        self._check_rate()
        self._check_pack_and_cost()
        self._check_living()

    @property
    def base(self) -> Literal["l", "kg"]:
        """Unit the rate comes down to: `"l"` where it is a volume, `"kg"` where it is a mass."""
        return _measures(self.unit, self.name)[0]

    @property
    def living(self) -> bool:
        """Whether the product is alive."""
        return bool(self.living_per_g or self.living_per_ml)

    def per_tonne(self, seed_kg_ha: float | None = None) -> float:
        """Return the rate a tonne of seed, in the product's own unit.

        Parameters
        ----------
        seed_kg_ha
            Seed rate, needed where the product's rate is a hectare's.

        Raises
        ------
        SowingError
            If the seed rate is needed and missing.
        """
        if self.per_t is not None:
            return self.per_t
        if seed_kg_ha is None or self.per_ha is None:
            raise SowingError(
                f"The rate of '{self.name}' is per hectare. Say seed_kg_ha, so that it is known "
                "how much seed a hectare takes."
            )
        return self.per_ha / seed_kg_ha * 1000

    def basic(self, amount: float) -> float:
        """Return an amount in the product's own unit in litres or kg, as `base` says.

        Parameters
        ----------
        amount
            In the product's own unit.
        """
        return amount * _measures(self.unit, self.name)[1]

    def litres_per_t(self, seed_kg_ha: float | None = None) -> float:
        """Return the room it takes in the mix, litres a tonne of seed.

        Parameters
        ----------
        seed_kg_ha
            Seed rate, needed where the product's rate is a hectare's.
        """
        amount = self.basic(self.per_tonne(seed_kg_ha))
        if self.base == "l":
            return amount
        return amount / self.density_kg_l if self.density_kg_l else 0.0

    def kg_per_t(self, seed_kg_ha: float | None = None) -> float:
        """Return its weight, kg a tonne of seed.

        Parameters
        ----------
        seed_kg_ha
            Seed rate, needed where the product's rate is a hectare's.
        """
        amount = self.basic(self.per_tonne(seed_kg_ha))
        return amount if self.base == "kg" else amount * (self.density_kg_l or 1.0)

    def water_kg_per_t(self, seed_kg_ha: float | None = None) -> float:
        """Return the water it brings, kg a tonne of seed, at most.

        Parameters
        ----------
        seed_kg_ha
            Seed rate, needed where the product's rate is a hectare's.
        """
        if self.water_pct is not None:
            return self.kg_per_t(seed_kg_ha) * self.water_pct / 100
        return 0.0 if self.form == "powder" else self.litres_per_t(seed_kg_ha)

    def living_per_t(self, seed_kg_ha: float | None = None) -> float:
        """Return the living organisms it puts on a tonne of seed; 0 for a product not alive.

        Parameters
        ----------
        seed_kg_ha
            Seed rate, needed where the product's rate is a hectare's.
        """
        if self.living_per_ml is not None:
            return self.living_per_ml * 1000 * self.litres_per_t(seed_kg_ha)
        return (self.living_per_g or 0.0) * 1000 * self.kg_per_t(seed_kg_ha)

    def pack_size(self) -> float | None:
        """Return what a pack holds, in the product's own unit; None if not said."""
        if self.pack is None:
            return None
        return self._in_unit(self.pack, self.pack_unit or self.unit)

    def cost_per_unit(self) -> float | None:
        """Return the price of one of the product's own unit; None if not said."""
        size = self.pack_size()
        if self.cost_per_pack is not None and size is not None:
            return self.cost_per_pack / size
        if self.cost_per_l is not None:
            return self.cost_per_l / self._in_unit(1.0, "l")
        if self.cost_per_kg is not None:
            return self.cost_per_kg / self._in_unit(1.0, "kg")
        return None

    def _in_unit(self, amount: float, unit: str) -> float:
        """Return an amount in some unit as one in the product's own, by density if need be."""
        base, factor = _measures(unit, self.name)
        basic, own = amount * factor, self.basic(1.0)
        if base == self.base:
            return basic / own
        if self.density_kg_l is None or self.form == "powder":
            raise SowingError(
                f"'{self.name}' is measured in {self.unit}, and {unit} is the other kind. Give "
                + (
                    "both by weight: kg or g."
                    if self.form == "powder"
                    else "density_kg_l, the weight of a litre, so that one can be had from the "
                    "other."
                )
            )
        other = basic / self.density_kg_l if base == "kg" else basic * self.density_kg_l
        return other / own

    def _check_numbers(self) -> None:
        name = f"of '{self.name}'"
        density = _SOLID_KG_L if self.form == "powder" else _LIQUID_KG_L
        for field, words, unit, low, high in (
            ("density_kg_l", "density", "kg/l", *density),
            ("water_pct", "water", "%", 0, 100),
            ("pack", "pack", str(self.pack_unit or self.unit), 1e-6, 1e6),
            ("cost_per_pack", "cost_per_pack", "", 0, 1e7),
            ("cost_per_l", "cost_per_l", "", 0, 1e7),
            ("cost_per_kg", "cost_per_kg", "", 0, 1e7),
            ("living_per_g", "living_per_g", "", 1, 1e14),
            ("living_per_ml", "living_per_ml", "", 1, 1e14),
            ("minimum_per_seed", "minimum_per_seed", "", 1, 1e12),
            ("keeps_mixed_h", "keeps_mixed_h", "h", 0, 50_000),
            ("keeps_on_seed_h", "keeps_on_seed_h", "h", 0, 50_000),
        ):
            found = optional(getattr(self, field), f"{words} {name}", unit, low, high)
            object.__setattr__(self, field, found)
        if not isinstance(self.fungicide, bool):
            raise SowingError(f"fungicide {name} is {self.fungicide!r}. Say True or False.")

    def _check_unit(self) -> None:
        if self.form == "powder" and self.base == "l":
            raise SowingError(
                f"'{self.name}' is a powder with a rate in {self.unit}. Powders are weighed: give "
                "unit='kg' or unit='g'."
            )
        if self.form != "powder" and self.base == "kg" and self.density_kg_l is None:
            raise SowingError(
                f"'{self.name}' is a liquid with a rate in {self.unit}. Give density_kg_l, the "
                "weight of a litre, so that it is known what room it takes."
            )

    def _check_rate(self) -> None:
        if (self.per_t is None) == (self.per_ha is None):
            raise SowingError(
                f"'{self.name}' needs one rate: per_t, a tonne of seed, or per_ha, a hectare."
            )
        field, per = ("per_t", "t") if self.per_ha is None else ("per_ha", "ha")
        rate = getattr(self, field)
        # Only the check for a slip is by the base unit; first it must be a number at all.
        amount = number(rate, f"rate of '{self.name}'", f"{self.unit}/{per}", 1e-9, 1e9)
        object.__setattr__(self, field, amount)
        number(
            self.basic(amount),
            f"rate of '{self.name}'",
            f"{self.base}/{per}",
            _LEAST_PER_T,
            _MOST_PER_T,
        )

    def _check_pack_and_cost(self) -> None:
        costs = (self.cost_per_pack, self.cost_per_l, self.cost_per_kg)
        if sum(cost is not None for cost in costs) > 1:
            raise SowingError(
                f"'{self.name}' has more than one price. Give one of cost_per_pack, cost_per_l "
                "and cost_per_kg, or it would be counted twice."
            )
        if self.cost_per_pack is not None and self.pack is None:
            raise SowingError(f"'{self.name}' has a cost_per_pack. Say what a pack holds too.")
        self.pack_size()
        self.cost_per_unit()

    def _check_living(self) -> None:
        if self.living_per_g is not None and self.living_per_ml is not None:
            raise SowingError(
                f"'{self.name}' has living organisms a gram and a millilitre. Give one of them."
            )
        if self.living_per_g is not None:
            self._in_unit(1.0, "g")
        if self.living_per_ml is not None:
            self._in_unit(1.0, "ml")


@cache
def _known(unit: str) -> tuple[Literal["l", "kg"], float] | None:
    """Return what a unit measures and what one of it is in that; None for no such unit."""
    for base in _BASES:
        with contextlib.suppress(UnitError):
            factor = convert(1.0, unit, base)
            return (base, factor) if math.isfinite(factor) and factor > 0 else None
    return None


def _measures(unit: object, name: str) -> tuple[Literal["l", "kg"], float]:
    """Return whether a unit is one of volume or of mass, and one of it in l or kg."""
    known = _known(unit) if isinstance(unit, str) else None
    if known is None:
        raise SowingError(
            f"The unit {unit!r} of '{name}' is neither a volume nor a weight. Give l, ml, kg or g."
        )
    return known
