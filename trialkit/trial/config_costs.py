"""What each treatment of `trial.toml` costs a hectare, in one place, and what it lacks for that."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from trialkit.money import Costs, CostSheet, cost_sheet
from trialkit.trial.config_faults import Fault

if TYPE_CHECKING:
    from trialkit.trial.config import TrialConfig
    from trialkit.trial.config_sowing import Treatment

#: Items by the hour, by the litre or by the pass: the rate they need, its place and its words.
_RATES = {
    "labour_h_per_t_seed": ("money", "labour_per_h", "an hour of work"),
    "labour_h_per_ha": ("money", "labour_per_h", "an hour of work"),
    "machine_h_per_t_seed": ("money", "machine_per_h", "an hour of the machines"),
    "machine_h_per_ha": ("money", "machine_per_h", "an hour of the machines"),
    "water_l_per_t_seed": ("money", "water_per_kl", "water"),
    "extra_passes": ("money", "pass_per_ha", "a pass"),
    "extra_seed_kg_ha": ("sowing", "seed_cost_per_t", "seed"),
}
#: Items that are counted beyond the control, so that the control has none.
_BEYOND = ("extra_passes", "extra_seed_kg_ha", "saved_per_ha")
#: Items given by the tonne of seed.
_BY_SEED = (
    "cost_per_t_seed", "freight_per_t_seed", "labour_h_per_t_seed", "machine_h_per_t_seed",
    "water_l_per_t_seed",
)  # fmt: skip
#: Everything but the products, by its key.
ITEMS = (
    "freight_per_t_seed", "labour_h_per_t_seed", "labour_h_per_ha", "machine_h_per_t_seed",
    "machine_h_per_ha", "water_l_per_t_seed", "extra_passes", "extra_seed_kg_ha", "saved_per_ha",
)  # fmt: skip


def sheet_of(config: TrialConfig, treatment: Treatment) -> CostSheet:
    """Return what a treatment costs a hectare, item by item.

    Parameters
    ----------
    config
        What `trial.toml` says.
    treatment
        One of its treatments.
    """
    sowing = config.sowing
    products: dict[str, float] = {}
    if treatment.cost_per_t_seed is not None:
        products = {"cost_per_t_seed": treatment.cost_per_t_seed}
    elif treatment.cost_per_ha is not None:
        products = {"cost_per_ha": treatment.cost_per_ha}
    elif (per_t := products_per_t_seed(config, treatment)) is not None:
        products = {"cost_per_t_seed": per_t}
    return cost_sheet(
        Costs(**products, **{item: getattr(treatment, item) for item in ITEMS}),
        config.money.rates(None if sowing is None else sowing.seed_cost_per_t),
        seed_kg_ha=None if sowing is None else sowing.rate_kg_ha,
    )


def products_per_t_seed(config: TrialConfig, treatment: Treatment) -> float | None:
    """Return what a treatment's products and the work cost a tonne of seed; None if not known.

    Parameters
    ----------
    config
        What `trial.toml` says.
    treatment
        One of its treatments.
    """
    if config.sowing is None or not treatment.products:
        return None
    rate = config.sowing.rate_kg_ha + treatment.extra_seed_kg_ha
    costs = [
        None if (price := product.cost_per_unit()) is None else price * product.per_tonne(rate)
        for product in treatment.recipe
    ]
    known = [cost for cost in costs if cost is not None]
    if len(known) < len(costs):
        return None
    return sum(known) + (config.dressing.work_per_t_seed or 0.0)


def cost_faults(config: TrialConfig) -> Iterator[Fault]:
    """Yield what is wrong with the costs, each fault with its key and the way out.

    Parameters
    ----------
    config
        What `trial.toml` says.
    """
    missing = [
        fault
        for at, treatment in enumerate(config.treatments)
        for fault in (
            *_without_seed_rate(config, at, treatment),
            *_without_rates(config, at, treatment),
            *_without_products(config, at, treatment),
            *_beyond_itself(at, treatment),
        )
    ]
    yield from missing
    if not missing:
        yield from _dearer_control(config)


def _without_seed_rate(config: TrialConfig, at: int, treatment: Treatment) -> Iterator[Fault]:
    for key in _BY_SEED:
        if config.sowing is None and getattr(treatment, key):
            instead = ", or give cost_per_ha instead" if key == "cost_per_t_seed" else ""
            yield (
                ("treatments", at, key),
                f"A {key} needs the seed rate.",
                f"Add [sowing] with seed_kg_ha{instead}.",
            )


def _without_rates(config: TrialConfig, at: int, treatment: Treatment) -> Iterator[Fault]:
    for key, (table, rate, words) in _RATES.items():
        held = getattr(config, table)
        if getattr(treatment, key) and (held is None or getattr(held, rate) is None):
            yield (
                ("treatments", at, key),
                f"What {words} costs is not given.",
                f"Give {rate} under [{table}]; 0 if it is not to count.",
            )


def _without_products(config: TrialConfig, at: int, treatment: Treatment) -> Iterator[Fault]:
    """Find products without a price, and work that is counted twice."""
    if not treatment.products:
        return
    if treatment.cost_per_t_seed is not None or treatment.cost_per_ha is not None:
        return
    if products_per_t_seed(config, treatment) is None:
        silent = [p.name for p in treatment.recipe if p.cost_per_unit() is None]
        lacking = f"no price of {', '.join(silent)}" if silent else "no seed rate"
        yield (
            (),
            f"'{treatment.name}' has no cost, and it does not follow from its products: there is "
            f"{lacking}.",
            ("Give each a price" if silent else "Add [sowing] with seed_kg_ha")
            + ", or give cost_per_ha.",
        )
    hours = [key for key in ("labour_h_per_t_seed", "machine_h_per_t_seed")
             if getattr(treatment, key)]  # fmt: skip
    if hours and config.dressing.work_per_t_seed:
        yield (
            ("treatments", at, hours[0]),
            "The work of dressing is given twice, here and as work_per_t_seed under [dressing].",
            "Give one of them, or it would be counted twice.",
        )


def _beyond_itself(at: int, treatment: Treatment) -> Iterator[Fault]:
    for key in _BEYOND:
        if treatment.control and getattr(treatment, key):
            yield (
                ("treatments", at, key),
                "It is counted beyond the control, and this is the control.",
                "Give it under the treatment that it belongs to, or leave it out.",
            )


def _dearer_control(config: TrialConfig) -> Iterator[Fault]:
    """Refuse a control that takes more than a treatment: what a treatment saves is said as such."""
    least = config.cost_sheet(config.control).spent_per_ha
    for treatment in config.treatments:
        spent = config.cost_sheet(treatment.name).spent_per_ha
        if spent < least:
            yield (
                (),
                f"'{treatment.name}' costs {spent:g} a hectare and the control "
                f"'{config.control}' {least:g}. A treatment is judged by what it costs on top of "
                "the control: give the control the lower cost.",
                f"If '{treatment.name}' truly takes the place of something that the control gets, "
                "leave that cost out of the control and give it as saved_per_ha under the "
                "treatment.",
            )
