"""What goes out into the field: a folder's layout, its map, its card, files for the terminal."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
from shapely.errors import GEOSException
from shapely.geometry import shape

from trialkit.checks import Check, faults
from trialkit.design import TrialPlan, write_guidance
from trialkit.design.notes import said_again
from trialkit.design.pegs import peg_out
from trialkit.errors import LayoutError, TrialFolderError
from trialkit.language import marked, say
from trialkit.report.field_card import PACE_M, check_pace, field_card
from trialkit.report.layout_map import layout_map
from trialkit.report.paper import write_pdf
from trialkit.trial.config import FILE, TrialConfig, read_config
from trialkit.trial.drawings import (
    BOUNDARY_FILE,
    LAYOUT_FILE,
    check_ground,
    read_boundary,
    read_layout,
)
from trialkit.trial.folder import RESULTS_FOLDER, check_inside
from trialkit.trial.kept_layout import changes_since_draw, read_plan
from trialkit.trial.laying_out import CAUTION, how_drawn, lay_out_folder, layout_is_there
from trialkit.trial.planning import EXCLUSIONS_FILE, read_drawing
from trialkit.trial.writing import write_whole

MAP_FILE, CARD_FILE, CARD_PDF_FILE = "layout.png", "field-card.html", "field-card.pdf"

#: Folder below `results/` with the files for a terminal or a map program.
GUIDANCE_FOLDER = "guidance"

STEPS = (
    "Laying out the strips",
    "Drawing the map",
    "Writing the field card",
    "Writing files for the terminal",
    "Setting the PDF",
)

STAYS = marked(
    "There is a layout already; it stays as it is. To lay the strips out anew, move {file} away "
    "first. The map, the field card and the files for the terminal are written again."
)
BY_HAND = marked(
    "The layout does not say how it came about, as one drawn by hand: the map shows no cuts, "
    "the card cannot say how the treatments were allotted, and there are no files for the terminal."
)

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class FieldPapers:
    """The layout of a trial folder and what was written of it.

    Parameters
    ----------
    layout
        The plan; or the strips alone, where they were drawn by hand.
    new
        Whether the strips were laid out just now.
    says
        Sentences on what to know.
    written
        The files written.
    """

    layout: TrialPlan | gpd.GeoDataFrame
    new: bool
    says: tuple[str, ...]
    written: tuple[Path, ...]

    def record(self) -> dict[str, Any]:
        """Return everything as plain values."""
        if isinstance(self.layout, TrialPlan):
            record, strips = self.layout.record(), self.layout.strips
        else:
            record, strips = {}, peg_out(self.layout).strips
        return record | {
            "new": self.new,
            "says": list(self.says),
            "strips": json.loads(strips.to_json(orient="records")),
            "wrote": [str(path) for path in self.written],
        }


@dataclass(frozen=True, slots=True, eq=False)
class _Ground:
    """What the map and the card show."""

    config: TrialConfig
    layout: TrialPlan | gpd.GeoDataFrame
    boundary: gpd.GeoDataFrame | None
    zones: gpd.GeoDataFrame | None


def make_field_papers(
    path: str | Path,
    *,
    pdf: bool = False,
    pace_m: float = PACE_M,
    progress: Progress | None = None,
) -> FieldPapers:
    """Lay out the strips of a trial folder where it has none, and write what the field needs.

    That is the map, the field card and the files for a terminal. A layout that is there is never
    changed; the rest is made again.

    Parameters
    ----------
    path
        The trial folder.
    pdf
        Whether the card is also set as a PDF.
    pace_m
        Length of a pace, m.
    progress
        Called with the name of each step as it begins.

    Returns
    -------
    FieldPapers

    Raises
    ------
    TrialFolderError
        If the folder is faulty; all faults at once.
    LayoutError
        If the strips wished for do not fit, the record of a layout is damaged, or nobody takes
        such paces.
    """
    folder, tell = Path(path), progress or (lambda _: None)
    check_pace(pace_m)
    tell(STEPS[0])
    _check_results(folder)
    new = not layout_is_there(folder)
    laid_out = lay_out_folder(folder) if new else None
    # A new layout is read back too: what goes out is what the file says, now and again.
    ground, notes = _read_ground(folder)
    if laid_out is None:
        says = [
            say(STAYS, file=LAYOUT_FILE), *_about(ground.layout), *notes, say(CAUTION),
        ]  # fmt: skip
    else:
        says = laid_out.sentences()
    written = [] if laid_out is None else [laid_out.written]
    written += _write_papers(folder, ground, pdf, pace_m, tell)
    return FieldPapers(ground.layout, new, tuple(says), tuple(written))


def _write_papers(
    folder: Path, ground: _Ground, pdf: bool, pace_m: float, tell: Progress
) -> list[Path]:
    results, about = folder / RESULTS_FOLDER, ground.config.trial
    tell(STEPS[1])
    control = ground.config.control
    picture = layout_map(ground.layout, ground.boundary, control=control, zones=ground.zones)
    written = [write_whole(results / MAP_FILE, picture.drawn("png"))]
    tell(STEPS[2])
    card = field_card(
        ground.layout,
        trial=about.name,
        season=about.season,
        control=control,
        # What costs less a hectare has less on the seed: water alone before the product in it.
        order=sorted((arm.name for arm in ground.config.treatments), key=ground.config.cost_per_ha),
        paddock=about.paddock,
        crop=about.crop,
        boundary=ground.boundary,
        zones=ground.zones,
        seeder_m=ground.config.machines.seeder_m,
        tanks=1 if ground.config.sowing is None else ground.config.sowing.tanks,
        pace_m=pace_m,
        fingerprint=hashlib.sha256((folder / LAYOUT_FILE).read_bytes()).hexdigest(),
        invented=about.invented,
    )
    written.append(write_whole(results / CARD_FILE, card))
    if isinstance(ground.layout, TrialPlan) and ground.boundary is not None:
        tell(STEPS[3])
        written += write_guidance(
            ground.layout,
            ground.boundary,
            results / GUIDANCE_FOLDER,
            name=about.name,
            exclusions=ground.zones,
        )
    if pdf:
        tell(STEPS[4])
        written.append(write_pdf(card, results / CARD_PDF_FILE))
    return written


def _check_results(folder: Path) -> None:
    names = (FILE, BOUNDARY_FILE, LAYOUT_FILE, EXCLUSIONS_FILE, RESULTS_FOLDER)
    outside = check_inside(folder, [folder / name for name in names if (folder / name).exists()])
    if outside:
        raise TrialFolderError("\n".join(check.sentence() for check in outside))


def _read_ground(folder: Path) -> tuple[_Ground, list[str]]:
    """Return a folder's layout with the ground around it, and what was noticed."""
    config, checks = read_config(folder / FILE)
    boundary, found_in_boundary = read_boundary(folder)
    layout, found_in_layout = read_layout(folder)
    checks += found_in_boundary + found_in_layout
    if config is not None and layout is not None:
        checks += check_ground(config, boundary, layout)
    if config is None or layout is None or faults(checks):
        lines = "\n".join(f"- {check.sentence()}" for check in faults(checks))
        raise TrialFolderError(f"{folder.name or folder}: there is no field card of it.\n{lines}")
    notes = [check.sentence() for check in checks if check.outcome == "warning"]
    plan = read_plan(folder, layout, boundary)
    if plan is not None:
        plan = replace(plan, notes=(*plan.notes, *changes_since_draw(plan)))
    return _Ground(config, layout if plan is None else plan, boundary, _zones(folder)), notes


def _about(layout: TrialPlan | gpd.GeoDataFrame) -> list[str]:
    if not isinstance(layout, TrialPlan):
        return [say(BY_HAND)]
    return [how_drawn(layout.allocation), *map(said_again, layout.notes)]


def _zones(folder: Path) -> gpd.GeoDataFrame | None:
    """Return the exclusion zones of a folder, WGS 84; None where there are none."""
    drawing = read_drawing(folder / EXCLUSIONS_FILE)
    if drawing is None:
        return None
    features = drawing.get("features", [drawing])
    try:
        shapes = [shape(feature.get("geometry", feature)) for feature in features]
    except (TypeError, ValueError, AttributeError, LookupError, GEOSException):
        found = Check(EXCLUSIONS_FILE, "", "It has no readable shape.", "Export it as GeoJSON.")
        raise LayoutError(found.sentence()) from None
    shapes = [drawn for drawn in shapes if not drawn.is_empty]
    return gpd.GeoDataFrame(geometry=shapes, crs="EPSG:4326") if shapes else None
