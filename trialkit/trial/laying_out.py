"""Lay the strips of a trial folder out, where it has none yet."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trialkit.checks import Check, faults
from trialkit.design import (
    Allocation,
    Tramlines,
    TrialPlan,
    Wishes,
    allocation_from_record,
    foresee,
    plan_trial,
)
from trialkit.errors import LayoutError, TrialFolderError
from trialkit.trial.config import FILE, Design, TrialConfig, read_config
from trialkit.trial.drawings import (
    BOUNDARY_FILE,
    LARGEST_DRAWING_BYTES,
    LAYOUT_FILE,
    read_boundary,
)
from trialkit.trial.folder import check_inside
from trialkit.trial.writing import write_whole

#: Ground inside the field to stay off: dams, trees, rocks; points and lines too.
EXCLUSIONS_FILE = "exclusions.geojson"

#: Member of `layout.geojson` that says how the strips came about.
_DESIGN_MEMBER = "design"

CAUTION = (
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
        For each treatment, whether the trial could tell if it pays; empty where yield and
        variation are not given.
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
        passes = "pass" if plan.passes_per_strip == 1 else "passes"
        drawn = plan.allocation
        return [
            f"{len(plan.strips)} strips in {len(drawn.orders)} blocks, each {wide:g} m wide "
            f"({plan.passes_per_strip} seeder {passes}) and {length.min():.0f} to "
            f"{length.max():.0f} m long, heading {plan.heading_deg % 180:.1f}°.",
            _how_drawn(drawn),
            *plan.notes,
            *self.foresight,
            CAUTION,
        ]


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
    folder = Path(path)
    names = (FILE, BOUNDARY_FILE, LAYOUT_FILE, EXCLUSIONS_FILE)
    outside = check_inside(folder, [folder / name for name in names if (folder / name).exists()])
    if outside:
        raise TrialFolderError("\n".join(check.sentence() for check in outside))
    config, checks = read_config(folder / FILE)
    boundary, found = read_boundary(folder)
    checks += found + _layout_there(folder)
    if boundary is None and not found:
        wanted = "Draw the outline of the field as a polygon, longitude and latitude (WGS 84)."
        checks.append(Check(BOUNDARY_FILE, "", "The file is missing.", wanted))
    if config is None or boundary is None or faults(checks):
        lines = "\n".join(f"- {check.sentence()}" for check in faults(checks))
        raise TrialFolderError(f"{folder.name or folder}: cannot be laid out.\n{lines}")
    design = config.design
    plan = plan_trial(
        boundary,
        [treatment.name for treatment in config.treatments],
        design.blocks,
        _wishes(config),
        seed=design.seed,
        exclusions=_read_drawing(folder / EXCLUSIONS_FILE),
        draw=design.draw,
        control=config.control,
    )
    written = write_whole(folder / LAYOUT_FILE, layout_text(plan))
    return LaidOut(plan, tuple(_foresight(config, design)), written)


def layout_text(plan: TrialPlan) -> str:
    """Return a layout as GeoJSON, with how it came about in the member `design`.

    Parameters
    ----------
    plan
        The layout.
    """
    content: dict[str, Any] = json.loads(plan.layout.to_json(drop_id=True))
    features = content.pop("features")
    content.pop("crs", None)  # GeoJSON is WGS 84 (RFC 7946, section 4)
    return json.dumps(
        content | {_DESIGN_MEMBER: plan.record(), "features": features}, ensure_ascii=False
    )


def read_allocation(path: str | Path) -> Allocation | None:
    """Return how the treatments of a trial folder's layout were drawn.

    Parameters
    ----------
    path
        The folder.

    Returns
    -------
    Allocation or None
        None where the layout does not say, as one drawn by hand.

    Raises
    ------
    LayoutError
        If what it says is damaged.
    """
    content = _read_drawing(Path(path) / LAYOUT_FILE)
    design = None if content is None else content.get(_DESIGN_MEMBER)
    if not isinstance(design, Mapping) or not isinstance(design.get("allocation"), Mapping):
        return None
    return allocation_from_record(design["allocation"])


def _how_drawn(allocation: Allocation) -> str:
    if allocation.possible == 1:
        return f"The treatments were not drawn: {allocation.draw}."
    return (
        f"The treatments were drawn inside each block ({allocation.draw}), seed {allocation.seed}."
    )


def _layout_there(folder: Path) -> list[Check]:
    """Return a fault where the folder has strips already; a new folder's file has none."""
    path = folder / LAYOUT_FILE
    if not path.exists():
        return []
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError):
        content = None
    if isinstance(content, dict) and content.get("features") == []:
        return []
    wanted = "It is never changed. Move it away to lay the strips out anew."
    return [Check(LAYOUT_FILE, "", "There is a layout already.", wanted)]


def _wishes(config: TrialConfig) -> Wishes:
    design = config.design
    tramlines = None
    if design.sprayer_m is not None:
        tramlines = Tramlines(design.sprayer_m, design.first_tramline_m, design.tramline_width_m)
    return Wishes(
        seeder_m=config.machines.seeder_m,
        harvester_m=config.machines.harvester_m,
        heading_deg=design.heading_deg,
        headland_m=design.headland_m,
        clear_m=design.clear_m,
        passes_per_strip=design.passes_per_strip,
        edge_m=design.edge_m,
        traffic_m=design.traffic_m,
        tramlines=tramlines,
        least_length_m=design.least_length_m,
        anchor=design.anchor,
        gradient_deg=design.gradient_deg,
    )


def _read_drawing(path: Path) -> dict[str, Any] | None:
    """Return a GeoJSON file, or None where there is none."""
    if not path.exists():
        return None
    if path.stat().st_size > LARGEST_DRAWING_BYTES:
        raise LayoutError(f"{path.name}: it is too large for a drawing of one field. Thin it out.")
    try:
        content = json.loads(path.read_text(encoding="utf-8-sig"))
    except (UnicodeDecodeError, json.JSONDecodeError, RecursionError) as error:
        raise LayoutError(f"{path.name}: this is not GeoJSON ({error}). Export it again.") from None
    if not isinstance(content, dict):
        raise LayoutError(f"{path.name}: this is not GeoJSON. Export it again.")
    return content


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
