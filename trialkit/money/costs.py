"""What a treatment costs a hectare, item by item, from what it takes and what that costs."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

import pandas as pd

from trialkit.errors import MoneyError
from trialkit.money.money_checks import check_cost, check_number


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What one treatment takes; everything that is not said is nothing.

    Parameters
    ----------
    cost_per_ha
        Products, where they are known by the hectare, money per hectare.
    cost_per_t_seed
        Products, where they are known by the tonne of seed, money per tonne of seed. One of the
        two, or they would be counted twice.
    freight_per_t_seed
        Bringing the products to the farm, money per tonne of seed.
    labour_h_per_t_seed, labour_h_per_ha
        Hours of work to dress a tonne of seed, and in the paddock a hectare.
    machine_h_per_t_seed, machine_h_per_ha
        Hours of mixer, auger or tractor for a tonne of seed, and a hectare.
    water_l_per_t_seed
        Water, litres per tonne of seed.
    extra_passes
        Passes over the paddock beyond the control's.
    extra_seed_kg_ha
        Seed sown beyond the control's, kg/ha.
    saved_per_ha
        Other inputs it saves, money per hectare.

    Raises
    ------
    MoneyError
        If a number is negative or not finite, or products are given twice.
    """

    cost_per_ha: float = 0.0
    cost_per_t_seed: float = 0.0
    freight_per_t_seed: float = 0.0
    labour_h_per_t_seed: float = 0.0
    labour_h_per_ha: float = 0.0
    machine_h_per_t_seed: float = 0.0
    machine_h_per_ha: float = 0.0
    water_l_per_t_seed: float = 0.0
    extra_passes: float = 0.0
    extra_seed_kg_ha: float = 0.0
    saved_per_ha: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            check_number(getattr(self, field.name), f"In the costs, {field.name}")
        if self.cost_per_ha and self.cost_per_t_seed:
            raise MoneyError(
                f"The products cost {self.cost_per_ha:g} a hectare and {self.cost_per_t_seed:g} a "
                "tonne of seed. Give one of them, or they would be counted twice."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What the farm pays for what treatments take; None for what is not known.

    Parameters
    ----------
    labour_per_h, machine_per_h
        Money per hour; zero if your own time is not to count.
    water_per_kl
        Money per 1,000 litres.
    pass_per_ha
        One pass over the paddock, money per hectare.
    seed_per_t
        Seed, money per tonne.

    Raises
    ------
    MoneyError
        If a number is negative or not finite.
    """

    labour_per_h: float | None = None
    machine_per_h: float | None = None
    water_per_kl: float | None = None
    pass_per_ha: float | None = None
    seed_per_t: float | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            if getattr(self, field.name) is not None:
                check_number(getattr(self, field.name), f"In the rates, {field.name}")


@dataclass(frozen=True, slots=True, eq=False)
class CostSheet:
    """What a treatment costs a hectare, item by item.

    Parameters
    ----------
    lines
        One row an item: `item amount unit price per_ha`; the amount a hectare, the price of one
        unit, and money per hectare (negative for what is saved).
    spent_per_ha
        Everything it takes, money per hectare.
    saved_per_ha
        What it saves, money per hectare.
    """

    lines: pd.DataFrame
    spent_per_ha: float
    saved_per_ha: float

    @property
    def per_ha(self) -> float:
        """What it costs less what it saves, money per hectare."""
        return self.spent_per_ha - self.saved_per_ha


def cost_sheet(
    costs: Costs,
    rates: Rates | None = None,
    *,
    seed_kg_ha: float | None = None,
    price_per_t: float | None = None,
    mean_yield_t_ha: float | None = None,
) -> CostSheet:
    """Work out what a treatment costs a hectare.

    Parameters
    ----------
    costs
        What it takes.
    rates
        What the farm pays for work, machines, water, passes and seed.
    seed_kg_ha
        Seed sown, kg/ha; needed for whatever is given per tonne of seed.
    price_per_t, mean_yield_t_ha
        Price of the grain, money per tonne, and mean yield, t/ha. With both, a total that must
        be one a tonne of seed is refused.

    Returns
    -------
    CostSheet

    Raises
    ------
    MoneyError
        If a seed rate or a rate that is needed is missing, or the total makes no sense.

    Examples
    --------
    >>> from trialkit.money import Costs, Rates, cost_sheet
    >>> costs = Costs(cost_per_t_seed=180, labour_h_per_t_seed=0.25, water_l_per_t_seed=10)
    >>> sheet = cost_sheet(costs, Rates(labour_per_h=40, water_per_kl=3), seed_kg_ha=80)
    >>> sheet.lines[["item", "per_ha"]].round(2).values.tolist()
    [['products', 14.4], ['labour', 0.8], ['water', 0.0]]
    >>> round(sheet.per_ha, 2)
    15.2
    """
    rows = []
    for item in _items(costs, rates or Rates(), seed_kg_ha):
        if not item.amount:
            continue
        if item.price is None:
            raise MoneyError(
                f"The treatment takes {item.name}, and {item.rate} is not given. Give it; zero if "
                "it is not to count."
            )
        rows.append((item.name, item.amount / item.of, item.unit, item.price, item.per_ha))
    spent = sum(row[-1] for row in rows)
    if price_per_t is not None and mean_yield_t_ha is not None:
        check_cost(
            spent, price_per_t=price_per_t, mean_yield_t_ha=mean_yield_t_ha, seed_kg_ha=seed_kg_ha
        )
    if costs.saved_per_ha:
        rows.append(("saved inputs", -1.0, "ha", costs.saved_per_ha, -costs.saved_per_ha))
    lines = pd.DataFrame(rows, columns=["item", "amount", "unit", "price", "per_ha"])
    return CostSheet(lines, float(spent), costs.saved_per_ha)


def extra_cost(treated: CostSheet, control: CostSheet) -> tuple[float, float]:
    """Return what a treatment costs and saves on top of its control, as `payoff` takes them.

    Parameters
    ----------
    treated, control
        What each costs.

    Returns
    -------
    cost_per_ha, saved_per_ha : float
        Money per hectare. Where the treatment spends less than the control, that is a saving.

    Examples
    --------
    >>> from trialkit.money import Costs, cost_sheet, extra_cost
    >>> extra_cost(cost_sheet(Costs(cost_per_ha=12)), cost_sheet(Costs(cost_per_ha=20)))
    (0.0, 8.0)
    """
    spent = treated.spent_per_ha - control.spent_per_ha
    saved = treated.saved_per_ha - control.saved_per_ha
    return max(spent, 0.0) + max(-saved, 0.0), max(saved, 0.0) + max(-spent, 0.0)


class _Item(NamedTuple):
    """One item: its amount a hectare, what it is counted in, and the price of one such unit."""

    name: str
    amount: float
    of: float
    unit: str
    price: float | None
    rate: str

    @property
    def per_ha(self) -> float:
        """Money per hectare."""
        return float((self.price or 0.0) * self.amount / self.of)


def _items(costs: Costs, rates: Rates, seed_kg_ha: float | None) -> tuple[_Item, ...]:
    """Return every item, whether the treatment takes it or not."""
    seed_kg = _seed_kg_ha(costs, seed_kg_ha)
    by_seed = seed_kg if costs.cost_per_t_seed else 0.0
    freighted = seed_kg if costs.freight_per_t_seed else 0.0
    labour = costs.labour_h_per_ha + seed_kg * costs.labour_h_per_t_seed / 1000
    machines = costs.machine_h_per_ha + seed_kg * costs.machine_h_per_t_seed / 1000
    water_l = seed_kg * costs.water_l_per_t_seed / 1000
    once = float(bool(costs.cost_per_ha))
    return (
        _Item("products", once, 1, "ha", costs.cost_per_ha, "cost_per_ha"),
        _Item("products", by_seed, 1000, "t seed", costs.cost_per_t_seed, "cost_per_t_seed"),
        _Item("freight", freighted, 1000, "t seed", costs.freight_per_t_seed, "freight_per_t_seed"),
        _Item("labour", labour, 1, "h", rates.labour_per_h, "labour_per_h"),
        _Item("machines", machines, 1, "h", rates.machine_per_h, "machine_per_h"),
        _Item("water", water_l, 1000, "kl", rates.water_per_kl, "water_per_kl"),
        _Item("extra passes", costs.extra_passes, 1, "pass", rates.pass_per_ha, "pass_per_ha"),
        _Item("extra seed", costs.extra_seed_kg_ha, 1000, "t seed", rates.seed_per_t, "seed_per_t"),
    )


def _seed_kg_ha(costs: Costs, seed_kg_ha: float | None) -> float:
    """Return the seed that is dressed, kg/ha; the extra seed of the treatment is dressed too."""
    per_t_seed = [
        field.name
        for field in fields(costs)
        if field.name.endswith("_per_t_seed") and getattr(costs, field.name)
    ]
    if not per_t_seed:
        return 0.0
    if seed_kg_ha is None:
        raise MoneyError(
            f"{per_t_seed[0]} is given per tonne of seed, and the seed rate is not known. Give "
            "seed_kg_ha, the seed sown in kg/ha."
        )
    sown = check_number(seed_kg_ha, "The seed rate", above=True, unit="kg/ha")
    return sown + costs.extra_seed_kg_ha
