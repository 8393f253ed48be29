"""Lay the strips of a trial folder out, where it has none yet."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from trialkit.checks import Check
from trialkit.design import (
    Allocation,
    TrialPlan,
    beyond_the_map,
    foresee,
    plan_trial,
    rehearse,
    strip_variation,
)
from trialkit.design.notes import said_again
from trialkit.errors import DesignError, TrialFolderError
from trialkit.language import marked, say, say_counted
from trialkit.trial.config import Design, TrialConfig
from trialkit.trial.drawings import LAYOUT_FILE
from trialkit.trial.kept_layout import layout_text
from trialkit.trial.planning import Planning, open_planning
from trialkit.trial.writing import write_whole

CAUTION = marked(
    "Walk the strips before you drive them: a drawing knows no power lines, wet holes or rocks. "
    "What the machines' makers and local rules say stands above it."
)


@dataclass(frozen=True, slots=True)
class LaidOut:
    """The layout of a trial folder, as written.

    Parameters
    ----------
    plan
        The layout with cut lines, tramlines and the draw.
    foresight
        For each treatment, whether the trial could tell if it pays, where yield and variation
        are given; and what the strips would have shown in past seasons, where there are maps.
    written
        The file written.
    """

    plan: TrialPlan
    foresight: tuple[str, ...]
    written: Path

    def sentences(self) -> list[str]:
        """Return what was laid out and what to know about it."""
        plan = self.plan
        length = plan.strips["along_to_m"] - plan.strips["along_from_m"]
        wide = plan.passes_per_strip * plan.wishes.seeder_m
        drawn = plan.allocation
        laid = say_counted(
            "{strips} strips in {blocks} blocks, each {width:g} m wide ({count} seeder pass) and "
            "{shortest:.0f} to {longest:.0f} m long, heading {heading:.1f}°.",
            "{strips} strips in {blocks} blocks, each {width:g} m wide ({count} seeder passes) and "
            "{shortest:.0f} to {longest:.0f} m long, heading {heading:.1f}°.",
            plan.passes_per_strip,
            strips=len(plan.strips),
            blocks=len(drawn.orders),
            width=wide,
            shortest=length.min(),
            longest=length.max(),
            heading=plan.heading_deg % 180,
        )
        notes = map(said_again, plan.notes)
        return [laid, how_drawn(drawn), *notes, *self.foresight, say(CAUTION)]


def lay_out_folder(path: str | Path) -> LaidOut:
    """Lay out the strips of a trial folder and write `layout.geojson`.

    Parameters
    ----------
    path
        The folder, with `trial.toml` and `boundary.geojson`; `exclusions.geojson` is heeded.

    Returns
    -------
    LaidOut

    Raises
    ------
    TrialFolderError
        If the folder is faulty, or there is a layout already: it is never changed.
    LayoutError
        If the strips wished for do not fit; the message says what would.
    """
    planning = open_planning(path)
    if layout_is_there(planning.path):
        wanted = say("It is never changed. Move it away to lay the strips out anew.")
        raise TrialFolderError(
            Check(LAYOUT_FILE, "", say("There is a layout already."), wanted).sentence()
        )
    config, design = planning.config, planning.config.design
    plan = plan_trial(
        planning.boundary,
        planning.treatments,
        design.blocks,
        planning.wishes,
        seed=design.seed,
        exclusions=planning.exclusions,
        draw=design.draw,
        control=config.control,
    )
    written = write_whole(planning.path / LAYOUT_FILE, layout_text(plan))
    ahead = [*_foresight(config, design), *_rehearsed(planning, plan)]
    return LaidOut(plan, tuple(ahead), written)


def layout_is_there(folder: Path) -> bool:
    """Return whether a folder has a layout; the file of a new folder has no strip in it.

    Parameters
    ----------
    folder
        The trial folder.
    """
    path = folder / LAYOUT_FILE
    if not path.exists():
        return False
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        return True
    return not (isinstance(content, dict) and content.get("features") == [])


def how_drawn(allocation: Allocation) -> str:
    """Say how the treatments were allotted.

    Parameters
    ----------
    allocation
        The draw.
    """
    if allocation.possible == 1:
        return say("The treatments were not drawn: {draw}.", draw=say(allocation.draw))
    return say(
        "The treatments were drawn inside each block ({draw}), seed {seed}.",
        draw=say(allocation.draw),
        seed=str(allocation.seed),
    )


def _foresight(config: TrialConfig, design: Design) -> list[str]:
    if design.yield_t_ha is None or design.cv_pct is None or design.blocks < 2:
        return []
    base = config.cost_per_ha(config.control)
    sentences = []
    for treatment in config.treatments:
        cost = config.cost_per_ha(treatment.name) - base
        if treatment.control or cost <= 0:
            continue
        found = foresee(
            design.blocks,
            design.cv_pct,
            mean_t_ha=design.yield_t_ha,
            break_even_t_ha=cost / config.money.price_per_t,
            expected_t_ha=design.hoped_gain_t_ha,
            layout="pairs" if len(config.treatments) == 2 else "blocks",
            treatments=len(config.treatments),
        )
        sentences.append(f"{treatment.name}: {found.sentence}")
    return sentences


def _rehearsed(planning: Planning, plan: TrialPlan) -> list[str]:
    """Say what the strips would have shown in the past seasons of the folder."""
    past = list(planning.past_yields().values())
    if not past:
        return []
    design, analysis = planning.config.design, planning.config.analysis
    break_even = max(planning.costs_per_ha().values()) / planning.config.money.price_per_t
    try:
        held = [strip_variation(season, plan.layout) for season in past]
        own = 0.0 if design.cv_pct is None else beyond_the_map(design.cv_pct, held)
        found = rehearse(plan, past, strip_sd_t_ha=own)
    except DesignError as error:
        return [say("Not rehearsed on the past yields: {why}", why=str(error))]
    said = [
        say_counted(
            "Rehearsed on the past season: {what}",
            "Rehearsed on {count} past seasons: {what}",
            len(past),
            what=found.sentence(max(break_even, 0.0)),
        )
    ]
    if design.hoped_gain_t_ha is not None and found.detectable_t_ha > 0:
        (row,) = found.verdicts(
            [design.hoped_gain_t_ha],
            break_even,
            paid_at=analysis.paid_at,
            did_not_pay_at=analysis.did_not_pay_at,
        ).itertuples()
        said.append(
            say(
                "The season report says 'paid' from a chance of {chance:.0%}, which asks less than "
                "significance. If the dressing truly gains {gain:.2f} t/ha, it would say 'paid' in "
                "{paid:.0f} of 100 draws, 'not settled' in {not_settled:.0f} and 'did not pay' in "
                "{did_not_pay:.0f}.",
                chance=analysis.paid_at,
                gain=row.gain_t_ha,
                paid=row.paid_pct,
                not_settled=row.not_settled_pct,
                did_not_pay=row.did_not_pay_pct,
            )
        )
    return [*said, *found.notes]
