"""From a trial folder to the run sheets of the shed and the cab."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trialkit.errors import TrialFolderError
from trialkit.language import marked, say, say_counted
from trialkit.report.paper import write_pdf
from trialkit.report.run_sheets import cab_sheet, shed_sheet
from trialkit.sowing.sensible import shown
from trialkit.trial.dressing_record import DressingRecord, read_dressing_record
from trialkit.trial.folder import RESULTS_FOLDER, check_inside
from trialkit.trial.sowing_plan import Dressed, SowingPlan, open_sowing
from trialkit.trial.sowing_remarks import EXAMPLE
from trialkit.trial.writing import write_whole

SHED_FILE, CAB_FILE = "run-sheet-shed.html", "run-sheet-cab.html"

STEPS = ("Working out mixes and seed", "Writing the sheets", "Setting the PDFs")

CAUTION = marked(
    "Labels, safety data sheets, local rules and licensed practice come before these sheets. "
    "Dressed seed is never food or feed."
)

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class RunSheets:
    """The run sheets of a trial folder as written.

    Parameters
    ----------
    sowing
        What they say.
    record
        What was really mixed, by `dressing.csv`; None where nothing is written yet.
    written
        The files written.
    """

    sowing: SowingPlan
    record: DressingRecord | None
    written: tuple[Path, ...]

    def sentences(self) -> list[str]:
        """Return what is on the sheets, in short, and what to know about it."""
        notes = () if self.record is None else self.record.notes
        return [
            *(_in_short(one) for one in self.sowing.dressed),
            *_order_in_short(self.sowing),
            *(say("Look out: {line}", line=line) for line in self.sowing.warnings),
            *(say("Note: {line}", line=line) for line in (*self.sowing.notes, *notes)),
            say(CAUTION),
        ]

    def as_plain(self) -> dict[str, Any]:
        """Return everything as plain values."""
        sowing = self.sowing
        order, need = sowing.order, sowing.need
        return {
            "trial": sowing.config.trial.name,
            "seed_kg_ha": sowing.seed_kg_ha,
            "dressed": [_mixes(one) for one in sowing.dressed],
            "seed": [] if need is None else _rows(need.table),
            "order": [] if order is None else _rows(order.steps),
            "clean_outs": []
            if order is None
            else [
                {"after": c.after, "tank": c.tank, "leaves": c.leaves, "comes": c.comes}
                | {"tasks": list(c.tasks)}
                for c in order.clean_outs
            ],
            "written_down": None
            if self.record is None
            else {"rates": _rows(self.record.rates), "mixes": _rows(self.record.batches)},
            "says": self.sentences(),
            "wrote": [str(path) for path in self.written],
        }


def make_run_sheets(
    path: str | Path, *, pdf: bool = False, progress: Progress | None = None
) -> RunSheets:
    """Write the run sheets of a trial folder: one for the shed, one for the cab.

    Parameters
    ----------
    path
        The trial folder, before or after its strips are laid out.
    pdf
        Whether they are also set as PDFs.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    RunSheets

    Raises
    ------
    TrialFolderError
        If the folder is faulty, or says too little: the message has what is missing.
    SowingError
        If the mix cannot be made so.
    """
    folder, tell = Path(path), progress or (lambda _: None)
    tell(STEPS[0])
    results = folder / RESULTS_FOLDER
    outside = check_inside(folder, [results]) if results.exists() else []
    if outside:
        raise TrialFolderError("\n".join(check.sentence() for check in outside))
    sowing = open_sowing(folder)
    if sowing.missing:
        lines = "\n".join(f"- {check.sentence()}" for check in sowing.missing)
        raise TrialFolderError(
            f"{folder.name or folder}: trial.toml says too little for run sheets.\n{lines}\n"
            f"What they look like:\n\n{EXAMPLE}"
        )
    record = None
    if sowing.written is not None:
        record = read_dressing_record(sowing.config, sowing.written)
    tell(STEPS[1])
    pages = {SHED_FILE: shed_sheet(sowing, record), CAB_FILE: cab_sheet(sowing)}
    written = [write_whole(results / name, page) for name, page in pages.items()]
    if pdf:
        tell(STEPS[2])
        for name, page in pages.items():
            written.append(write_pdf(page, (results / name).with_suffix(".pdf")))
    return RunSheets(sowing, record, tuple(written))


def _in_short(one: Dressed) -> str:
    mix = one.mix
    if one.whole:
        said = say_counted(
            "'{treatment}': {seed:,.0f} kg of seed, {total} l of mix in {count:,} mix of {each} l.",
            "'{treatment}': {seed:,.0f} kg of seed, {total} l of mix in {count:,} mixes of {each} "
            "l.",
            mix.mixes,
            treatment=one.treatment,
            seed=1000 * one.seed_t,
            total=shown(mix.total_l),
            each=shown(mix.mix_l),
        )
    else:
        said = say(
            "'{treatment}': one full mix of {each} l dresses {seed:,.0f} kg of seed.",
            treatment=one.treatment,
            each=shown(mix.mix_l),
            seed=1000 * mix.seed_per_mix_t,
        )
    if mix.pump_l_min is None:
        return said
    pump = say("Pump {flow} l/min.", flow=shown(mix.pump_l_min))
    return f"{said} {pump}"


def _order_in_short(sowing: SowingPlan) -> Iterator[str]:
    if sowing.order is None:
        return
    steps = sowing.order.steps
    for treatment in sowing.order.starts:
        strips = steps.loc[steps["treatment"] == treatment, "strip"]
        yield say(
            "'{treatment}' is sown on {strips}.", treatment=treatment, strips=", ".join(strips)
        )


def _mixes(one: Dressed) -> dict[str, Any]:
    mix = one.mix
    return {
        "treatment": one.treatment,
        "seed_t": one.seed_t,
        "all_of_it": one.whole,
        "total_l": mix.total_l,
        "mixes": mix.mixes,
        "mix_l": mix.mix_l,
        "seed_per_mix_t": mix.seed_per_mix_t,
        "tank_fills": mix.tank_fills,
        "pump_l_min": mix.pump_l_min,
        "minutes": mix.minutes,
        "moisture_rise_pct": mix.moisture_rise_pct,
        "moisture_after_pct": mix.moisture_after_pct,
        "weight_gain_pct": mix.weight_gain_pct,
        "use_within_h": mix.use_within_h,
        "sow_within_h": mix.sow_within_h,
        "cost_per_t": mix.cost_per_t,
        "cost_per_ha": mix.cost_per_ha,
        "per_mix": _rows(mix.per_mix),
        "totals": _rows(mix.totals),
        "living": _rows(mix.living),
        "purchase": _rows(mix.purchase),
        "warnings": list(mix.warnings),
        "notes": list(mix.notes),
    }


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(table.to_json(orient="records", date_format="iso"))
    return rows
