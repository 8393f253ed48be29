"""What `trial.toml` may say of dressing and sowing: the seed, the mix, the products."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, ParamSpec, TypeVar

from pydantic import AfterValidator, BeforeValidator, Field, field_validator, model_validator

from trialkit.errors import SowingError
from trialkit.sowing.mix_job import JOB_LIMITS, check_seed_weight
from trialkit.sowing.product import Form, Product
from trialkit.sowing.seeding import seeding_rate
from trialkit.sowing.sensible import number, percent
from trialkit.trial.config_faults import Table

Value = TypeVar("Value")
Given = ParamSpec("Given")


def told(check: Callable[Given, Value], *given: Given.args, **named: Given.kwargs) -> Value:
    """Return what a check of the station returns, its error as one of a key.

    Parameters
    ----------
    check
        What is asked of the station.
    *given, **named
        What it is called with.

    Raises
    ------
    ValueError
        Where the check raises a SowingError: with its words.
    """
    try:
        return check(*given, **named)
    except SowingError as error:
        raise ValueError(str(error).removesuffix(".")) from None


def _sensible(words: str, unit: str, low: float, high: float) -> AfterValidator:
    """Return the check of a number, with the station's own words for a slip."""

    def check(value: float | None) -> float | None:
        return None if value is None else told(number, value, words, unit, low, high)

    return AfterValidator(check)


def _job(name: str) -> AfterValidator:
    return _sensible(*JOB_LIMITS[name])


def _share(words: str) -> AfterValidator:
    def check(value: float | None) -> float | None:
        return None if value is None else told(percent, value, words)

    return AfterValidator(check)


def _seed_weight(value: float | None) -> float | None:
    return told(check_seed_weight, value)


def _whole_tanks(value: object) -> object:
    if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 12:
        return value
    raise ValueError(f"tanks are counted: 1 to 12, not {value!r}")


class Sowing(Table):
    """`[sowing]`: the seed, the rate, the seeder's tanks."""

    seed_kg_ha: Annotated[float | None, _job("seed_kg_ha")] = None
    target_plants_m2: Annotated[
        float | None, _sensible("number of plants wanted", "plants/m²", 0.5, 5000)
    ] = None
    seed_weight_g_1000: Annotated[float | None, AfterValidator(_seed_weight)] = None
    germination_pct: Annotated[float | None, _share("germination")] = None
    establishment_pct: Annotated[float | None, _share("establishment")] = None
    seed_moisture_pct: Annotated[float | None, _share("moisture of the seed")] = None
    row_spacing_m: Annotated[float | None, _sensible("row spacing", "m", 0.05, 2)] = None
    seed_cost_per_t: Annotated[float | None, _sensible("cost of seed", "a tonne", 0, 1e6)] = None
    tanks: Annotated[int, BeforeValidator(_whole_tanks)] = 1
    cart_kg: Annotated[float | None, _sensible("cart", "kg", 1, 100_000)] = None
    reserve_pct: Annotated[float, _sensible("reserve", "%", 0, 100)] = 5.0
    purge_kg: Annotated[float, _sensible("seed to purge", "kg", 0, 10_000)] = 0.0

    @model_validator(mode="after")
    def _a_rate(self) -> Sowing:
        if self.seed_kg_ha is None and self.rate_from_plants is None:
            raise ValueError(
                "there is no seed rate. Give seed_kg_ha; or target_plants_m2, seed_weight_g_1000 "
                "and germination_pct (and establishment_pct), from which it follows"
            )
        return self

    @property
    def rate_from_plants(self) -> float | None:
        """Seed rate that gives the plants wanted, kg/ha; None where too little is said."""
        given = (self.target_plants_m2, self.seed_weight_g_1000, self.germination_pct)
        plants, weight, germination = given
        if plants is None or weight is None or germination is None:
            return None
        survive = 100.0 if self.establishment_pct is None else self.establishment_pct
        return told(seeding_rate, plants, weight, germination, survive)

    @property
    def rate_kg_ha(self) -> float:
        """Seed rate to sow, kg/ha: the one given, else that which gives the plants wanted."""
        return self.seed_kg_ha or self.rate_from_plants or 0.0


class Dressing(Table):
    """`[dressing]`: the mix, the machines in the shed, the time it takes."""

    rate_l_t: Annotated[float | None, _job("rate_l_t")] = None
    mixer_l: Annotated[float | None, _job("mixer_l")] = None
    tank_l: Annotated[float | None, _job("tank_l")] = None
    auger_t_h: Annotated[float | None, _job("auger_t_h")] = None
    jug_l: Annotated[float | None, _job("jug_l")] = None
    bucket_l: Annotated[float | None, _sensible("bucket", "l", 0.1, 200)] = None
    stands_h: Annotated[float, _job("stands_h")] = 0.0
    sown_after_h: Annotated[float | None, _job("sown_after_h")] = None
    in_sun: bool = False
    seed_has_fungicide: bool = False
    storage_limit_pct: Annotated[float | None, _share("moisture limit for storage")] = None
    work_per_t_seed: Annotated[float | None, _sensible("cost of the work", "a tonne", 0, 1e5)] = (
        None
    )


class ProductTable(Table):
    """One `[[treatments.products]]`: a product as its label gives it."""

    name: str = Field(min_length=1)
    form: Form
    per_t: float | None = None
    per_ha: float | None = None
    unit: str = "l"
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

    @model_validator(mode="after")
    def _makes_sense(self) -> ProductTable:
        told(self.product)
        return self

    def product(self) -> Product:
        """Return the product for the station."""
        fields: dict[str, Any] = self.model_dump()
        return Product(**fields)


class Treatment(Table):
    """One `[[treatments]]`: what is on the seed, and what it costs."""

    name: str = Field(min_length=1)
    control: bool = False
    description: str = ""
    cost_per_ha: float | None = Field(None, ge=0)
    cost_per_t_seed: float | None = Field(None, ge=0)
    freight_per_t_seed: float = Field(0.0, ge=0, le=1e5)
    labour_h_per_t_seed: float = Field(0.0, ge=0, le=100)
    labour_h_per_ha: float = Field(0.0, ge=0, le=100)
    machine_h_per_t_seed: float = Field(0.0, ge=0, le=100)
    machine_h_per_ha: float = Field(0.0, ge=0, le=100)
    water_l_per_t_seed: float = Field(0.0, ge=0, le=1e4)
    extra_passes: float = Field(0.0, ge=0, le=20)
    extra_seed_kg_ha: float = Field(0.0, ge=0, le=1000)
    saved_per_ha: float = Field(0.0, ge=0, le=1e5)
    seed_t: Annotated[float | None, _job("seed_t")] = None
    mixing_order: tuple[str, ...] | None = None
    products: tuple[ProductTable, ...] = ()

    @field_validator("products")
    @classmethod
    def _each_once(cls, products: tuple[ProductTable, ...]) -> tuple[ProductTable, ...]:
        names = [product.name.casefold() for product in products]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"the product '{twice[0]}' stands twice. Give it once, its whole rate")
        if "water" in names:
            raise ValueError("leave water out: it makes up what the products lack to rate_l_t")
        return products

    @model_validator(mode="after")
    def _one_cost(self) -> Treatment:
        if self.cost_per_ha is not None and self.cost_per_t_seed is not None:
            raise ValueError(
                f"'{self.name}' has a cost per hectare and a cost per tonne of seed. "
                "Give one of them, or they would be counted twice"
            )
        return self

    @model_validator(mode="after")
    def _control_is_bare(self) -> Treatment:
        if self.control and self.products:
            raise ValueError(
                f"'{self.name}' is the control and has products. What is on all seed alike belongs "
                "to no treatment: leave it out, or say seed_has_fungicide under [dressing]"
            )
        return self

    @model_validator(mode="after")
    def _order_names_products(self) -> Treatment:
        names = [product.name for product in self.products]
        if self.mixing_order is not None and sorted(self.mixing_order) != sorted(names):
            raise ValueError(
                f"the mixing_order of '{self.name}' must name each of its products once, without "
                f"water: {', '.join(names) or 'it has none'}"
            )
        return self

    @property
    def hours_given(self) -> bool:
        """Whether the hours that dressing the seed takes are given."""
        return bool(self.labour_h_per_t_seed or self.machine_h_per_t_seed)

    @property
    def recipe(self) -> list[Product]:
        """The products, for the station."""
        return [product.product() for product in self.products]
