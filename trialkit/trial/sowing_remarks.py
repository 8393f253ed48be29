"""What `trial.toml` leaves unsaid of dressing and sowing, and what does not agree in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from trialkit.checks import Check
from trialkit.language import say
from trialkit.sowing.seeding import plants_sown
from trialkit.sowing.sensible import shown
from trialkit.trial.config import FILE, TrialConfig

if TYPE_CHECKING:
    from trialkit.sowing import SeedNeed
    from trialkit.trial.sowing_plan import Dressed

#: Rates that differ by less are the same: a drill is not set finer, %. Common practice, no source.
_SAME_RATE_PCT = 3.0

#: The keys that a run sheet cannot do without, as they are written; a test reads them.
EXAMPLE = """\
[sowing]
seed_kg_ha = 80          # bare seed sown a hectare

[dressing]
rate_l_t = 10            # litres of mix on a tonne of seed, water included
mixer_l = 20             # what the mixer holds, as far as it is filled

[[treatments.products]]  # one for each product, below the [[treatments]] that gets it
name = "root microbe"
form = "watery"          # or "powder", or "syrupy"
per_t = 2                # a tonne of seed; or per_ha
unit = "l"               # or "ml", "kg", "g"
"""


def need_of(need: SeedNeed, treatment: str) -> float | None:
    """Return the seed that the strips of a treatment take, t; None if it has none.

    Parameters
    ----------
    need
        The seed of all treatments.
    treatment
        Its name.
    """
    rows = need.table.loc[need.table["treatment"] == treatment, "seed_t"]
    return float(rows.iloc[0]) if len(rows) else None


def missing_keys(config: TrialConfig) -> Iterator[Check]:
    """Yield what run sheets cannot do without and `trial.toml` does not say.

    Parameters
    ----------
    config
        What it says.
    """
    if config.sowing is None:
        wanted = say("Give seed_kg_ha, the bare seed sown a hectare.")
        yield Check(FILE, "[sowing]", say("The seed rate is missing."), wanted)
    if not any(treatment.products for treatment in config.treatments):
        names = ", ".join(f"'{t.name}'" for t in config.treatments if not t.control)
        found = say("Nothing says what goes on the seed of {treatments}.", treatments=names)
        wanted = say("Add its products below a treatment.")
        yield Check(FILE, "[[treatments.products]]", found, wanted)
    for key, found, wanted in (
        (
            "rate_l_t",
            say("The rate of the mix is missing."),
            say("Litres on a tonne of seed, with water."),
        ),
        (
            "mixer_l",
            say("The mixer is missing."),
            say("Litres it holds as far as it is filled."),
        ),
    ):
        if getattr(config.dressing, key) is None:
            yield Check(FILE, f"[dressing] {key}", found, wanted)


def sowing_remarks(
    config: TrialConfig, need: SeedNeed | None, dressed: Sequence[Dressed], *, laid_out: bool
) -> Iterator[str]:
    """Yield sentences on what could be said if more were known, and on what does not agree.

    Parameters
    ----------
    config
        What `trial.toml` says.
    need
        The seed of each treatment; None where it is not known.
    dressed
        The treatments that are mixed.
    laid_out
        Whether there are strips.
    """
    if not laid_out:
        yield say(
            "There is no layout yet, so hectares and order are not known. Run `trialkit layout "
            "FOLDER` first, then make the sheets again."
        )
    partly = [f"'{one.treatment}'" for one in dressed if not one.whole]
    if partly:
        yield say(
            "How much seed of {treatments} is dressed is not known, so amounts are for one full "
            "mix. Lay the strips out, or give seed_t (tonnes to dress) in its [[treatments]].",
            treatments=", ".join(partly),
        )
    bought = [t.name for t in config.treatments if not t.control and not t.products]
    if dressed and bought:
        yield say(
            "Nothing is mixed for {treatments}: it has no [[treatments.products]].",
            treatments=", ".join(bought),
        )
    for one in dressed:
        wanted = None if need is None else need_of(need, one.treatment)
        if wanted is not None and wanted > one.seed_t * (1 + 1e-9):
            yield say(
                "'{treatment}': {dressed} t are to be dressed, and its strips take {needed} t with "
                "reserve and purge. Raise seed_t in its [[treatments]].",
                treatment=one.treatment,
                dressed=shown(one.seed_t),
                needed=shown(wanted),
            )
    if dressed and config.dressing.auger_t_h is None:
        yield say(
            "The auger's flow is not given, so that of the pump is not known: time the auger, and "
            "put auger_t_h (t/h) under [dressing]. The shed's sheet has a table for it."
        )
    yield from (found for _, found in _at_odds(config))


def check_sowing(config: TrialConfig) -> list[Check]:
    """Return what `trial.toml` says of sowing that does not agree with itself.

    Parameters
    ----------
    config
        What it says.
    """
    return [Check(FILE, place, found, outcome="warning") for place, found in _at_odds(config)]


def _at_odds(config: TrialConfig) -> Iterator[tuple[str, str]]:
    yield from _two_rates(config)
    yield from _two_costs(config)
    yield from _more_seed(config)


def _two_rates(config: TrialConfig) -> Iterator[tuple[str, str]]:
    """Say where the seed rate given is not that of the plants wanted."""
    sowing = config.sowing
    if sowing is None or sowing.seed_kg_ha is None or sowing.rate_from_plants is None:
        return
    given, needed = sowing.seed_kg_ha, sowing.rate_from_plants
    if abs(given / needed - 1) * 100 <= _SAME_RATE_PCT:
        return
    plants = plants_sown(
        given,
        sowing.seed_weight_g_1000 or 0.0,
        sowing.germination_pct or 0.0,
        sowing.establishment_pct or 100.0,
    )
    yield (
        "[sowing]",
        say(
            "{given} kg/ha give about {plants:.0f} plants/m², and {needed:.0f} kg/ha would give "
            "the {wanted} wanted. Sown is seed_kg_ha.",
            given=shown(given),
            plants=plants,
            needed=needed,
            wanted=shown(sowing.target_plants_m2 or 0),
        ),
    )


def _two_costs(config: TrialConfig) -> Iterator[tuple[str, str]]:
    """Say where a cost is not what the products come to, or holds no work."""
    for at, treatment in enumerate(config.treatments, start=1):
        products = config.cost_from_products(treatment.name)
        if products is None:
            continue
        place = say("[[treatments]] number {number}", number=at)
        cost = config.products_per_ha(treatment.name)
        if products > cost * 1.01:
            yield (
                place,
                say(
                    "'{treatment}' is said to cost {cost:.2f} {currency}/ha, and its products come "
                    "to {products:.2f}. Correct one; or leave the cost out, and it follows from "
                    "them.",
                    treatment=treatment.name,
                    cost=cost,
                    currency=config.money.currency,
                    products=products,
                ),
            )
        elif (
            config.dressing.work_per_t_seed is None
            and cost == products
            and not treatment.hours_given
        ):
            yield (
                place,
                say(
                    "'{treatment}' costs {cost:.2f} {currency}/ha by its products, without work "
                    "and machines: give work_per_t_seed under [dressing], 0 if it costs nothing.",
                    treatment=treatment.name,
                    cost=cost,
                    currency=config.money.currency,
                ),
            )


def _more_seed(config: TrialConfig) -> Iterator[tuple[str, str]]:
    """Say where a treatment costs more seed: the sheets sow all alike, and so should the trial."""
    for at, treatment in enumerate(config.treatments, start=1):
        if treatment.extra_seed_kg_ha:
            yield (
                say("[[treatments]] number {number}", number=at),
                say(
                    "'{treatment}' counts {extra} kg/ha of seed beyond the control's. It is in the "
                    "cost alone: the run sheets sow all treatments alike. Where it really was sown "
                    "thicker, its gain is that of the dressing and of the seed together.",
                    treatment=treatment.name,
                    extra=shown(treatment.extra_seed_kg_ha),
                ),
            )
