"""What `trial.toml` may say of money: prices, what comes off them, grades, rates, the farm."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import ParamSpec, TypeVar

from pydantic import Field, ValidationInfo, field_validator, model_validator

from trialkit.errors import MoneyError
from trialkit.money import Deductions, Grade, Rates, check_grades, net_price
from trialkit.trial.config_faults import Fault, FaultsError, Table

Value = TypeVar("Value")
Given = ParamSpec("Given")


class GradeTable(Table):
    """One `[[money.grades]]`: a grade, its price where it is paid, and its limits."""

    name: str = Field(min_length=1)
    price_per_t: float = Field(gt=0)
    least_protein_pct: float | None = Field(None, ge=0, le=40)
    most_protein_pct: float | None = Field(None, ge=0, le=40)
    most_screenings_pct: float | None = Field(None, ge=0, le=100)
    least_test_weight_kg_hl: float | None = Field(None, ge=0, le=100)

    @model_validator(mode="after")
    def _makes_sense(self) -> GradeTable:
        fault = _refused(Grade, **self.model_dump())
        if fault:
            raise ValueError(fault.removesuffix("."))
        return self


class Money(Table):
    """`[money]`: prices and what comes off them, the farm's rates, and what it would do.

    `price_per_t`, `price_range` and the prices of `graded` are what is left of a tonne in the hand:
    freight, levies and harvest are taken off here and nowhere else. `paid_per_t` and `paid_range`
    are the prices where they are paid, as the file gives them.
    """

    currency: str = Field(pattern=r"^[A-Z]{3}$")
    paid_per_t: float = Field(gt=0, alias="price_per_t")
    paid_range: tuple[float, float] | None = Field(None, alias="price_range")
    area_ha: float | None = Field(None, gt=0, le=1e6)
    seasons: int | None = Field(None, ge=1, le=50)
    labour_per_h: float | None = Field(None, ge=0, le=1e4)
    lose_more_than: float = Field(0.0, ge=0, le=1e6)
    machine_per_h: float | None = Field(None, ge=0, le=1e5)
    water_per_kl: float | None = Field(None, ge=0, le=1e5)
    pass_per_ha: float | None = Field(None, ge=0, le=1e4)
    freight_per_t: float = Field(0.0, ge=0)
    levy_per_t: float = Field(0.0, ge=0)
    levy_pct: float = Field(0.0, ge=0, lt=100)
    harvest_per_t: float = Field(0.0, ge=0)
    grades: tuple[GradeTable, ...] = ()

    @field_validator("paid_range")
    @classmethod
    def _range_holds_price(
        cls, price_range: tuple[float, float] | None, info: ValidationInfo
    ) -> tuple[float, float] | None:
        price = info.data.get("paid_per_t")
        if price_range is not None and price is not None:
            low, high = price_range
            if not 0 < low <= price <= high:
                raise ValueError(
                    f"[{low:g}, {high:g}] must be the low and the high price, both above zero, "
                    f"with price_per_t ({price:g}) between them"
                )
        return price_range

    @model_validator(mode="after")
    def _something_is_left(self) -> Money:
        found = list(self._faults())
        if found:
            raise FaultsError(found)
        return self

    def _faults(self) -> Iterator[Fault]:
        low = self.paid_per_t if self.paid_range is None else self.paid_range[0]
        key = "price_per_t" if self.paid_range is None else "price_range"
        if fault := _refused(net_price, low, self.deductions):
            yield ("money", key), fault, ""
        graded = [Grade(**grade.model_dump()) for grade in self.grades]
        for at, grade in enumerate(graded):
            if fault := _refused(net_price, grade.price_per_t, self.deductions):
                yield ("money", "grades", at, "price_per_t"), fault, ""
        if graded and (fault := _refused(check_grades, graded)):
            yield ("money", "grades"), fault, ""

    @property
    def deductions(self) -> Deductions:
        """What comes off a price before it is money in the hand."""
        return Deductions(
            freight_per_t=self.freight_per_t, levy_per_t=self.levy_per_t,
            levy_pct=self.levy_pct, harvest_per_t=self.harvest_per_t,
        )  # fmt: skip

    @property
    def price_per_t(self) -> float:
        """What a tonne leaves in the hand at the central price."""
        return self._left(self.paid_per_t)

    @property
    def price_range(self) -> tuple[float, float] | None:
        """The same at the lowest and the highest price; None for one sure price."""
        if self.paid_range is None:
            return None
        return self._left(self.paid_range[0]), self._left(self.paid_range[1])

    @property
    def graded(self) -> tuple[Grade, ...]:
        """The grades, each at what a tonne of it leaves in the hand."""
        return tuple(
            Grade(**grade.model_dump() | {"price_per_t": self._left(grade.price_per_t)})
            for grade in self.grades
        )

    def rates(self, seed_per_t: float | None) -> Rates:
        """Return what the farm pays for what treatments take.

        Parameters
        ----------
        seed_per_t
            Price of seed, money per tonne; None where it is not known.
        """
        return Rates(
            labour_per_h=self.labour_per_h, machine_per_h=self.machine_per_h,
            water_per_kl=self.water_per_kl, pass_per_ha=self.pass_per_ha, seed_per_t=seed_per_t,
        )  # fmt: skip

    def _left(self, price: float) -> float:
        return price if self.deductions == Deductions() else net_price(price, self.deductions)


def _refused(check: Callable[Given, Value], *given: Given.args, **named: Given.kwargs) -> str:
    """Return what the station has against it; nothing where it has not."""
    try:
        check(*given, **named)
    except MoneyError as error:
        return str(error)
    return ""
