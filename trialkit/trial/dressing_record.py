"""What was really mixed, by `dressing.csv`, beside what `trial.toml` plans."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit.checks import Check
from trialkit.errors import UnitError
from trialkit.language import marked, say
from trialkit.sowing.flow_match import RATE_TOLERANCE_PCT
from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.product import Product
from trialkit.sowing.sensible import shown
from trialkit.trial.config import TrialConfig, suggestion
from trialkit.trial.tables import FORMS
from trialkit.trial.written_batches import batch_table, batches_of, hours_from, of_batch
from trialkit.units import convert

FILE = FORMS["dressing"].file
WATER = marked("water")

#: A rate within this of the plan is as planned.
_WITHIN_PCT = RATE_TOLERANCE_PCT

#: A rate off by about a thousand is a slip of the unit, not of the jug.
_SLIP = (500.0, 2000.0)


@dataclass(frozen=True, slots=True, eq=False)
class DressingRecord:
    """The dressing as it was written down, against the plan.

    Parameters
    ----------
    rates
        One row a treatment and ingredient, water among them: `treatment product planned_per_t
        real_per_t unit off_pct`, a tonne of seed, in the plan's unit; blank (NaN) where nothing,
        or no seed_t, was written.
    batches
        One row a mix: `treatment date start end last_sown seed_t litres litres_per_t in_mix_h
        on_seed_h`: hours from stirring until the mix was all on the seed, and from there until
        the last of the seed was sown; blank where the times are not written.
    notes
        Sentences on what was not as planned.
    """

    rates: pd.DataFrame
    batches: pd.DataFrame
    notes: tuple[str, ...]


def read_dressing_record(config: TrialConfig, written: pd.DataFrame) -> DressingRecord:
    """Compare what was written down in `dressing.csv` with what was planned.

    Rows that stand below each other with the same treatment, date and start are one mix, in the
    order the products went in; a product that comes again begins the next mix.

    Parameters
    ----------
    config
        What `trial.toml` says.
    written
        The table as read.

    Returns
    -------
    DressingRecord
        Rates a tonne, mixes and notes. Rates within 10% of the plan are as planned: a regulator's
        limit for seed treatment.
    """
    jobs = _jobs(config)
    rows, notes = _named(config, written, jobs)
    batches = batches_of(rows)
    rates = pd.DataFrame(
        [row for name, job in jobs.items() for row in _rates(name, job, rows, notes)],
        columns=["treatment", "product", "planned_per_t", "real_per_t", "unit", "off_pct"],
    )
    table = batch_table(batches)
    notes += _off(rates)
    for batch in batches:
        job = jobs.get(str(batch["treatment"].iloc[0]))
        if job is not None:
            notes += [*_uneven(batch, job, rates), *_too_wet(batch, job)]
            notes += [*_too_old(batch, job), *_wrong_order(batch, job)]
    return DressingRecord(rates, table, tuple(dict.fromkeys(notes)))


def check_dressing(config: TrialConfig, written: pd.DataFrame | None) -> list[Check]:
    """Return how the dressing was not as planned, as checks that do not stop the work.

    Parameters
    ----------
    config
        What `trial.toml` says.
    written
        Rows of `dressing.csv`; None where there are none.
    """
    if written is None:
        return []
    record = read_dressing_record(config, written)
    return [Check(FILE, "", note, outcome="warning") for note in record.notes]


def _jobs(config: TrialConfig) -> dict[str, MixJob]:
    """Return what was planned for a tonne of seed, by treatment."""
    rate_l_t = config.dressing.rate_l_t
    rate = None if config.sowing is None else config.sowing.rate_kg_ha
    if rate_l_t is None:
        return {}
    return {
        one.name: MixJob(
            1.0, tuple(one.recipe), rate_l_t, rate_l_t, seed_kg_ha=rate, order=one.mixing_order
        )
        for one in config.treatments
        if one.products
    }


def _named(
    config: TrialConfig, written: pd.DataFrame, jobs: dict[str, MixJob]
) -> tuple[pd.DataFrame, list[str]]:
    """Return the rows with every column, the treatment filled in where only one can be meant."""
    rows = written.reset_index(drop=True)
    for name in FORMS["dressing"].known:
        if name not in rows:
            rows[name] = "" if name in ("treatment", "note") else None
    for name in ("start", "end", "last_sown"):
        rows[name] = pd.to_datetime(rows[name])
    dressed = [treatment.name for treatment in config.treatments if not treatment.control]
    known = {treatment.name.casefold(): treatment.name for treatment in config.treatments}
    notes = []
    for label in dict.fromkeys(rows["treatment"]):
        if label and label.casefold() not in known:
            near = suggestion(label, list(known.values()))
            unknown = say("There is no treatment '{treatment}'.", treatment=label)
            way = say("Its rows are not compared.")
            notes.append(f"{unknown}{near} {way}")
        if not label and len(dressed) > 1 and jobs:
            notes.append(say("Rows without a treatment are not compared: there are several."))
    only = dressed[0] if len(dressed) == 1 else ""
    rows["treatment"] = [known.get(t.casefold(), t) or only for t in rows["treatment"]]
    return rows, notes


def _rates(
    treatment: str, job: MixJob, rows: pd.DataFrame, notes: list[str]
) -> Iterator[list[object]]:
    """Yield what was planned and what was put of each ingredient on a tonne of seed."""
    mine = rows[rows["treatment"] == treatment]
    if mine.empty:
        return
    planned = {product.name.casefold(): product for product in job.products}
    for name in dict.fromkeys(mine["product"]):
        if name.casefold() not in planned and name.casefold() != WATER:
            near = suggestion(name, [product.name for product in job.products])
            unplanned = say(
                "'{product}' is on the seed of '{treatment}', and not in the plan.",
                product=name, treatment=treatment,
            )  # fmt: skip
            notes.append(f"{unplanned}{near}")
    if job.water_l_t > 0:
        put = mine[mine["product"].str.casefold() == WATER]
        yield _rate(treatment, WATER, job.water_l_t, "l", put, notes)
    for key, product in planned.items():
        put = mine[mine["product"].str.casefold() == key]
        if put.empty:
            notes.append(
                say(
                    "Nothing is written of '{product}' on the seed of '{treatment}'.",
                    product=product.name, treatment=treatment,
                )
            )  # fmt: skip
        per_t = product.per_tonne(job.seed_kg_ha)
        yield _rate(treatment, product.name, per_t, product.unit, put, notes, product)


def _rate(
    treatment: str,
    name: str,
    planned: float,
    unit: str,
    put: pd.DataFrame,
    notes: list[str],
    product: Product | None = None,
) -> list[object]:
    amounts = [_in_unit(row, unit, product, notes) for row in put.to_dict("records")]
    seed = pd.to_numeric(put["seed_t"])
    if not amounts or seed.isna().any() or seed.sum() == 0 or any(a is None for a in amounts):
        if amounts and seed.isna().any():
            notes.append(
                say(
                    "Without seed_t in each row nobody can say the rate of '{product}'.",
                    product=name,
                )
            )
        return [treatment, name, planned, math.nan, unit, math.nan]
    real = math.fsum(a for a in amounts if a is not None) / float(seed.sum())
    return [treatment, name, planned, real, unit, 100 * (real / planned - 1)]


def _in_unit(
    row: dict[Hashable, Any], unit: str, product: Product | None, notes: list[str]
) -> float | None:
    """Return an amount in the unit of the plan, by density where one is a weight."""
    given, amount = row["unit"], float(row["amount"])
    try:
        return convert(amount, given, unit)
    except UnitError:
        density = None if product is None or product.form == "powder" else product.density_kg_l
        for base, other, factor in (("l", "kg", density), ("kg", "l", density and 1 / density)):
            if factor:
                try:
                    return convert(convert(amount, given, base) * factor, other, unit)
                except UnitError:
                    continue
    notes.append(
        say(
            "'{product}' is written in '{given}', and the plan has it in {unit}.",
            product=row["product"], given=given, unit=unit,
        )
    )  # fmt: skip
    return None


def _off(rates: pd.DataFrame) -> Iterator[str]:
    for row in rates.to_dict("records"):
        if math.isnan(row["off_pct"]) or abs(row["off_pct"]) <= _WITHIN_PCT:
            continue
        if row["product"] == WATER:
            continue  # the litres of the whole mix say more
        ratio = row["real_per_t"] / row["planned_per_t"]
        slip = ratio > 0 and any(_SLIP[0] < r < _SLIP[1] for r in (ratio, 1 / ratio))
        put = {
            "treatment": row["treatment"],
            "product": row["product"],
            "got": shown(row["real_per_t"]),
            "wanted": shown(row["planned_per_t"]),
            "unit": row["unit"],
        }
        if slip:
            yield say(
                "'{treatment}' got {got} {unit} of '{product}' on a tonne of seed, and {wanted} "
                "{unit} were planned. Is its unit right?",
                **put,
            )
        else:
            yield say(
                "'{treatment}' got {got} {unit} of '{product}' on a tonne of seed, and {wanted} "
                "{unit} were planned ({off:+.0f}%).",
                **put,
                off=row["off_pct"],
            )


def _uneven(batch: pd.DataFrame, job: MixJob, rates: pd.DataFrame) -> Iterator[str]:
    """Say what one mix has too much or too little of, though all of them together have not."""
    treatment, seed = str(batch["treatment"].iloc[0]), of_batch(batch["seed_t"])
    known = rates[(rates["treatment"] == treatment) & (rates["off_pct"].abs() <= _WITHIN_PCT)]
    planned = dict(zip(known["product"], known["planned_per_t"], strict=True))
    if not seed or math.isnan(seed):
        return
    for product in job.products:
        if product.name not in planned:
            continue
        put = batch[batch["product"].str.casefold() == product.name.casefold()]
        amounts = [_in_unit(row, product.unit, product, []) for row in put.to_dict("records")]
        real = math.fsum(amount or 0.0 for amount in amounts) / seed
        off = 100 * (real / planned[product.name] - 1)
        if put.empty:
            yield say(
                "The mix of {when} for '{treatment}' has no '{product}'.",
                **_which(batch), product=product.name,
            )  # fmt: skip
        elif abs(off) > _WITHIN_PCT:
            yield say(
                "The mix of {when} for '{treatment}' has {off:+.0f}% of '{product}' against the "
                "plan.",
                **_which(batch), off=off, product=product.name,
            )  # fmt: skip


def _which(batch: pd.DataFrame) -> dict[str, str]:
    """Return what tells one mix from the others, for sentences on it."""
    starts = batch["start"].dropna()
    day = pd.Timestamp(batch["date"].iloc[0])
    when = f"{starts.min():%Y-%m-%d %H:%M}" if len(starts) else f"{day:%Y-%m-%d}"
    return {"when": when, "treatment": str(batch["treatment"].iloc[0])}


def _too_wet(batch: pd.DataFrame, job: MixJob) -> Iterator[str]:
    seed, litres = of_batch(batch["seed_t"]), of_batch(batch["litres"])
    if not seed or math.isnan(seed) or math.isnan(litres):
        return
    off = 100 * (litres / seed / job.rate_l_t - 1)
    if abs(off) > _WITHIN_PCT:
        yield say(
            "The mix of {when} for '{treatment}' put {got} l on a tonne, and {wanted} l were "
            "planned ({off:+.0f}%).",
            **_which(batch), got=shown(litres / seed), wanted=shown(job.rate_l_t), off=off,
        )  # fmt: skip


def _too_old(batch: pd.DataFrame, job: MixJob) -> Iterator[str]:
    start, end, last = (batch[name].dropna() for name in ("start", "end", "last_sown"))
    mixed, on_seed = hours_from(start, end), hours_from(end, last)
    if mixed < 0:
        yield say(
            "The mix of {when} for '{treatment}' ends before it starts. Past midnight, write the "
            "time with its day.",
            **_which(batch),
        )
    if on_seed < 0:
        yield say(
            "The mix of {when} for '{treatment}' was sown before it ended. Past midnight, write "
            "the time with its day.",
            **_which(batch),
        )
    for product in job.products:
        if product.keeps_mixed_h is not None and mixed > product.keeps_mixed_h:
            yield say(
                "The mix of {when} for '{treatment}' was {age} h old when the last of it went on "
                "the seed, and '{product}' keeps {keeps} h once mixed.",
                **_which(batch),
                age=shown(round(mixed, 1)),
                product=product.name,
                keeps=shown(product.keeps_mixed_h),
            )
        if product.keeps_on_seed_h is not None and on_seed > product.keeps_on_seed_h:
            yield say(
                "The mix of {when} for '{treatment}': the last of its seed was sown {later} h "
                "later, and '{product}' keeps {keeps} h on the seed.",
                **_which(batch),
                later=shown(round(on_seed, 1)),
                product=product.name,
                keeps=shown(product.keeps_on_seed_h),
            )


def _wrong_order(batch: pd.DataFrame, job: MixJob) -> Iterator[str]:
    planned = [product.name.casefold() for product in job.in_order]
    mixed = [name for name in batch["product"].str.casefold() if name in planned]
    if mixed == [name for name in planned if name in mixed]:
        return
    names = {product.name.casefold(): product.name for product in job.products}
    yield say(
        "The mix of {when} for '{treatment}' is written in the order {written}; planned is "
        "{planned}. If they went in so, look for lumps; if not, put the rows in the order they "
        "went in.",
        **_which(batch),
        written=", ".join(names[name] for name in mixed),
        planned=", ".join(names[name] for name in planned),
    )
