"""The run sheets: one for the shed, one for the cab, to print, tick and fill in."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import Any

import pandas as pd

from trialkit.days import short_day
from trialkit.language import figures, say
from trialkit.report import numbers, sheet_headings
from trialkit.report import sowing_words as words
from trialkit.report.card_words import about, foot
from trialkit.report.paper import paper_page
from trialkit.report.pieces import Piece, fill, page_file
from trialkit.report.wording import INVENTED
from trialkit.sowing import (
    Caution,
    SowingOrder,
    auger_target,
    cautions_for,
    pump_by_auger,
    pump_target,
)
from trialkit.sowing.order import ENDS
from trialkit.sowing.recipe import WATER
from trialkit.sowing.sensible import shown
from trialkit.trial.dressing_record import DressingRecord
from trialkit.trial.sowing_plan import Dressed, SowingPlan

#: More mixes than this are ticked row by row, and not beside each product as well.
_TICKS_BESIDE = 8

#: Rows for mixes where their number is not known, the most rows for them, blanks for catches.
_BLANK_MIXES, _MOST_ROWS, _CATCHES = 6, 60, 3

#: Longest name of a treatment where its letter stands beside it.
_LONGEST_NAME = 34


def shed_sheet(sowing: SowingPlan, record: DressingRecord | None = None) -> str:
    """Return the run sheet of the shed as an HTML page that needs no other file.

    Parameters
    ----------
    sowing
        The plan, with at least one dressed treatment.
    record
        What was written down so far in `dressing.csv`; None for nothing.

    Returns
    -------
    str
        The page, A4.
    """
    powders = any(p.form == "powder" for one in sowing.dressed for p in one.mix.job.products)
    treatments = [_treatment(sowing, one) for one in sowing.dressed]
    first, *cautions = map(_said, cautions_for("shed", powders=powders))
    body = fill(
        "shed-sheet.html",
        **_head(sowing, words.SHED),
        treatments=treatments,
        headings=sheet_headings.said(sheet_headings.BOTH, sheet_headings.SHED),
        catches=range(1, _CATCHES + 1),
        catch=say(words.CATCH),
        catch_goes=say(words.CATCH_GOES),
        goes=say(words.IN_DRESSING),
        no_stop=say(words.NO_STOP),
        rounding=say(words.ROUNDING),
        written=_written(record),
        unknown=sowing.notes,
        notes=dict.fromkeys(note for one in sowing.dressed for note in one.mix.notes),
        first=first,
        more=say(words.MORE),
        cautions=cautions,
    )
    return _page(sowing, words.SHED, body)


def cab_sheet(sowing: SowingPlan) -> str:
    """Return the run sheet of the cab as an HTML page that needs no other file.

    Parameters
    ----------
    sowing
        The plan.

    Returns
    -------
    str
        The page, A4.
    """
    arms = _arms(sowing)
    first, *cautions = map(_said, cautions_for("cab"))
    body = fill(
        "cab-sheet.html",
        **_head(sowing, words.CAB),
        headings=sheet_headings.said(sheet_headings.BOTH, sheet_headings.CAB),
        rates=list(words.rate_words(sowing)),
        arms=arms,
        known=sowing.need is not None,
        cart=sowing.need is not None and bool(sowing.need.table["cart_fills"].notna().any()),
        tanks=1 if sowing.order is None else sowing.order.tanks,
        meters=_meters(sowing),
        meter=say(words.METER),
        meter_goes=say(words.METER_GOES),
        catches=range(1, _CATCHES + 1),
        catch_headings=[say("Catch {number}, kg", number=n) for n in range(1, _CATCHES + 1)],
        parts=[] if sowing.order is None else _parts(sowing.order, arms),
        order=say(words.ORDER),
        otherwise=say(words.OTHERWISE),
        write_down=[say(line) for line in words.WRITE_DOWN],
        fair=() if sowing.order is None else sowing.order.notes,
        warnings=() if sowing.order is None else sowing.order.warnings,
        unknown=sowing.notes,
        notes=() if sowing.need is None else sowing.need.notes,
        first=first,
        more=say(words.MORE),
        cautions=cautions,
    )
    return _page(sowing, words.CAB, body)


def _page(sowing: SowingPlan, title: str, body: str) -> str:
    name = sowing.config.trial.name
    return paper_page(f"{say(title)}. {name}", Piece(body), style=page_file("run-sheets.css"))


def _said(caution: Caution) -> dict[str, str]:
    return {"topic": say(caution.topic), "text": say(caution.text)}


def _head(sowing: SowingPlan, title: str) -> dict[str, object]:
    trial = sowing.config.trial
    return {
        "title": say(title),
        "trial": trial.name,
        "about": about(trial.paddock, trial.crop, trial.season),
        "invented": say(INVENTED) if trial.invented else "",
        "foot": foot(say(words.FEET[title], trial=trial.name), trial.season, ""),
    }


def _treatment(sowing: SowingPlan, one: Dressed) -> dict[str, Any]:
    """Return what the shed's sheet says of one treatment."""
    mix, bucket = one.mix, sowing.config.dressing.bucket_l
    beside = one.whole and mix.mixes <= _TICKS_BESIDE
    pump = None if mix.pump_l_min is None else pump_target(mix.pump_l_min, bucket_l=bucket)
    auger = None if mix.job.auger_t_h is None else auger_target(mix.job.auger_t_h)
    lots = min(mix.mixes, _MOST_ROWS) if one.whole else _BLANK_MIXES
    return {
        "name": one.treatment,
        "whole": one.whole,
        "facts": list(words.facts(one)),
        "mixes": words.mixes_words(one),
        "catches": say("Bucket and watch: {treatment}", treatment=one.treatment),
        "steps": _steps(one),
        "beside": range(1, mix.mixes + 1) if beside else (),
        "mark": f"{shown(mix.mix_l)} l",
        "fills": _fills(one, lots),
        "further": words.further_mixes(mix.mixes, lots) if one.whole else "",
        "seed_kg": f"{numbers.number(1000 * mix.seed_per_mix_t, 0)} kg",
        "use_by": words.use_by_words(mix),
        "weight": words.weight_words(mix),
        "living": words.living_words(mix),
        "pump": "" if pump is None else words.pump_words(pump),
        "turn": "" if pump is None else words.too_slow_words(pump),
        "auger": "" if auger is None else words.auger_words(auger),
        "by_auger": _by_auger(sowing, one),
        "warnings": mix.warnings,
        "packs": _packs(one) if one.whole else [],
    }


def _steps(one: Dressed) -> list[dict[str, str]]:
    totals = one.mix.totals.set_index("product")["amount"]
    return [
        {
            "step": str(row["step"]),
            "product": say(WATER) if row["product"] == WATER else row["product"],
            "how": row["how"],
            "measure": row["measure"],
            "total": f"{shown(totals[row['product']])} {row['unit']}",
        }
        for row in one.mix.per_mix.to_dict("records")
    ]


def _fills(one: Dressed, lots: int) -> list[list[int]]:
    """Return the numbers of the mixes, by filling of the tank."""
    size = one.mix.mixes_per_fill if one.whole and one.mix.mixes_per_fill else lots
    return [list(range(at + 1, min(at + size, lots) + 1)) for at in range(0, lots, size)]


def _by_auger(sowing: SowingPlan, one: Dressed) -> list[dict[str, str]]:
    job = one.mix.job
    table = pump_by_auger(job.rate_l_t, job.auger_t_h, bucket_l=sowing.config.dressing.bucket_l)
    return [
        {
            "auger": shown(row["auger_t_h"]),
            "pump": shown(row["pump_l_min"]),
            "catch": say(
                "{bucket} l in {seconds:.0f} s",
                bucket=shown(row["bucket_l"]),
                seconds=row["seconds"],
            ),
        }
        for row in table.to_dict("records")
    ]


def _packs(one: Dressed) -> list[str]:
    said = []
    for row in one.mix.purchase.to_dict("records"):
        product, need, unit = row["product"], shown(row["need"]), row["unit"]
        if math.isnan(row["packs"]):
            said.append(say("{product}: {need} {unit}", product=product, need=need, unit=unit))
        else:
            bought = say(
                "{product}: {need} {unit} ({packs:.0f} × {pack} {unit}, {left} {unit} left over)",
                packs=row["packs"],
                pack=shown(row["pack"]),
                left=shown(row["left_over"]),
                product=product,
                need=need,
                unit=unit,
            )
            said.append(bought)
    return said


def _written(record: DressingRecord | None) -> dict[str, Any] | None:
    """Return what was written down so far, beside the plan."""
    if record is None:
        return None
    rates = [
        {
            "treatment": row["treatment"],
            "product": say(WATER) if row["product"] == WATER else row["product"],
            "planned": f"{shown(row['planned_per_t'])} {row['unit']}",
            "real": _or_dash(row["real_per_t"], f" {row['unit']}"),
            "off": "–" if math.isnan(row["off_pct"]) else _percent(row["off_pct"]),
        }
        for row in record.rates.to_dict("records")
    ]
    return {
        "rates": rates,
        "mixes": [_mix_written(row) for row in record.batches.to_dict("records")],
        "notes": record.notes,
    }


def _mix_written(row: Mapping[Hashable, Any]) -> dict[str, str]:
    times = {
        name: "–" if pd.isna(row[name]) else f"{short_day(row[name])} {row[name]:%H:%M}"
        for name in ("start", "end", "last_sown")
    }
    return times | {
        "treatment": row["treatment"],
        "date": f"{row['date']:%Y-%m-%d}",
        "seed": _or_dash(row["seed_t"], " t"),
        "litres": _or_dash(row["litres"], " l"),
        "per_t": _or_dash(row["litres_per_t"], " l/t"),
    }


def _or_dash(value: float, unit: str) -> str:
    return "–" if math.isnan(value) else f"{shown(value)}{unit}"


def _percent(value: float) -> str:
    sign = "+" if round(value) > 0 else ""
    return f"{sign}{numbers.number(value, 0)}{figures('%')}"


def _arms(sowing: SowingPlan) -> list[dict[str, str]]:
    """Return what the cab's sheet says of the seed of each treatment."""
    names = [treatment.name for treatment in sowing.config.treatments]
    if sowing.order is not None:
        names = [name for name in names if name in sowing.order.starts]
    names.sort(key=lambda name: name != sowing.config.control)
    letters = numbers.letters(names)
    needs = {}
    if sowing.need is not None:
        needs = {row["treatment"]: row for row in sowing.need.table.to_dict("records")}
    return [
        {
            "name": name,
            "short": numbers.shortened(name, _LONGEST_NAME),
            "letter": letters[name],
            "drill": _drill(sowing, name),
            **_need_words(needs.get(name), sowing),
        }
        for name in names
    ]


def _drill(sowing: SowingPlan, name: str) -> str:
    if sowing.seed_kg_ha is None:
        return "–"
    gain = 1 + sowing.weight_gain_pct.get(name, 0.0) / 100
    return numbers.number(sowing.seed_kg_ha * gain, 1)


def _need_words(row: Mapping[Hashable, Any] | None, sowing: SowingPlan) -> dict[str, str]:
    if row is None or sowing.order is None:
        return {}
    strips = int((sowing.order.steps["treatment"] == row["treatment"]).sum())
    return {
        "strips": str(strips),
        "area": numbers.number(row["area_ha"], 2),
        "load": numbers.number(1000 * row["load_t"], 0),
        "fills": "–" if math.isnan(row["cart_fills"]) else f"{row['cart_fills']:.0f}",
        "per_fill": "–"
        if math.isnan(row["ha_per_fill"])
        else numbers.number(row["ha_per_fill"], 1),
    }


def _meters(sowing: SowingPlan) -> list[dict[str, str]]:
    return [
        {
            "name": one.treatment,
            "sum": say(words.METER_SUM, gain=numbers.number(1 + one.mix.weight_gain_pct / 100, 4)),
        }
        for one in sowing.dressed
    ]


def _parts(order: SowingOrder, arms: Sequence[dict[str, str]]) -> list[dict[str, Any]]:
    """Return clean-outs and strips in the order of the day."""
    letters = {arm["name"]: arm for arm in arms}
    steps = order.steps.to_dict("records")
    stops = sorted({change.after for change in order.clean_outs} | {0, len(steps)})
    parts = []
    for at, start in enumerate(stops):
        changes = [c for c in order.clean_outs if c.after == start]
        until = stops[at + 1] if at + 1 < len(stops) else start
        parts.append(
            {
                "changes": [
                    {"head": words.change_words(c), "tasks": list(c.tasks)} for c in changes
                ],
                "strips": [
                    {
                        "order": row["order"],
                        "strip": row["strip"],
                        "letter": letters[str(row["treatment"])]["letter"],
                        "treatment": letters[str(row["treatment"])]["short"],
                        "tank": row["tank"],
                        "start": say(ENDS[row["start_end"]]),
                        "area": numbers.number(row["area_ha"], 2),
                        "seed": "–" if math.isnan(row["seed_kg"]) else f"{row['seed_kg']:.0f}",
                    }
                    for row in steps[start:until]
                ],
            }
        )
    return parts
