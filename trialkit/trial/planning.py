"""A trial folder that is still to be laid out: what is wished for, and where."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import Geod

from trialkit.checks import Check, faults
from trialkit.design import Tramlines, Wishes
from trialkit.errors import LayoutError, TrialFolderError
from trialkit.language import say
from trialkit.trial.config import FILE, TrialConfig, read_config
from trialkit.trial.drawings import (
    BOUNDARY_FILE,
    LARGEST_DRAWING_BYTES,
    LAYOUT_FILE,
    read_boundary,
)
from trialkit.trial.folder import check_inside
from trialkit.trial.past_yields import read_past_yields

#: Ground inside the field to stay off: dams, trees, rocks; points and lines too.
EXCLUSIONS_FILE = "exclusions.geojson"


@dataclass(frozen=True, slots=True, eq=False)
class Planning:
    """What a layout is made from.

    Parameters
    ----------
    path
        The folder.
    config
        What `trial.toml` says.
    boundary
        The field, WGS 84.
    exclusions
        Further ground to stay off, as GeoJSON; None if there is none.
    """

    path: Path
    config: TrialConfig
    boundary: gpd.GeoDataFrame
    exclusions: dict[str, Any] | None

    @property
    def treatments(self) -> list[str]:
        """Names of the treatments."""
        return [treatment.name for treatment in self.config.treatments]

    @property
    def wishes(self) -> Wishes:
        """What the strips must fit."""
        return wishes_of(self.config)

    def costs_per_ha(self) -> dict[str, float]:
        """Return what each treatment costs beyond the control, money a hectare; never below zero.

        One that saves more than it costs pays from any gain: then the gain hoped for is the
        question, not the one that covers a cost.
        """
        base = self.config.cost_per_ha(self.config.control)
        return {
            treatment.name: max(self.config.cost_per_ha(treatment.name) - base, 0.0)
            for treatment in self.config.treatments
            if not treatment.control
        }

    def past_yields(self) -> dict[str, pd.DataFrame]:
        """Return the yield maps of earlier seasons, as `read_past_yields` has them."""
        return read_past_yields(self.path, self.config)


def open_planning(path: str | Path) -> Planning:
    """Open a trial folder to lay it out; it need not hold anything of the season yet.

    Parameters
    ----------
    path
        The folder, with `trial.toml` and `boundary.geojson`; `exclusions.geojson` is heeded.

    Returns
    -------
    Planning

    Raises
    ------
    TrialFolderError
        If the folder is faulty; all faults at once.
    LayoutError
        If the exclusions are no GeoJSON.

    Examples
    --------
    >>> from trialkit.shipped import shipped
    >>> from trialkit.trial.planning import open_planning
    >>> planning = open_planning(next(shipped("data-demo").glob("*to-plan")))
    >>> planning.treatments, planning.costs_per_ha()
    (['untreated', 'dressed'], {'dressed': 14.2})
    """
    folder = Path(path)
    names = (FILE, BOUNDARY_FILE, LAYOUT_FILE, EXCLUSIONS_FILE)
    outside = check_inside(folder, [folder / name for name in names if (folder / name).exists()])
    if outside:
        raise TrialFolderError("\n".join(check.sentence() for check in outside))
    config, checks = read_config(folder / FILE)
    boundary, found = read_boundary(folder)
    checks += found
    if boundary is None and not found:
        wanted = say("Draw the outline of the field as a polygon, longitude and latitude (WGS 84).")
        checks.append(Check(BOUNDARY_FILE, "", say("The file is missing."), wanted))
    if config is None or boundary is None or faults(checks):
        lines = "\n".join(f"- {check.sentence()}" for check in faults(checks))
        raise TrialFolderError(f"{folder.name or folder}: cannot be laid out.\n{lines}")
    return Planning(folder, config, boundary, read_drawing(folder / EXCLUSIONS_FILE))


def wishes_of(config: TrialConfig) -> Wishes:
    """Return what `trial.toml` wishes of the strips.

    Parameters
    ----------
    config
        What it says.
    """
    design, seeder_m = config.design, config.machines.seeder_m
    anchor = design.anchor
    if design.guidance_point is not None and design.heading_deg is not None:
        # A guidance line is the middle of a pass.
        anchor = _to_the_right(design.guidance_point, design.heading_deg, seeder_m / 2)
    tramlines = None
    if design.sprayer_m is not None:
        tramlines = Tramlines(design.sprayer_m, design.first_tramline_m, design.tramline_width_m)
    return Wishes(
        seeder_m=seeder_m,
        harvester_m=config.machines.harvester_m,
        heading_deg=design.heading_deg,
        headland_m=design.headland_m,
        clear_m=design.clear_m,
        passes_per_strip=design.passes_per_strip,
        edge_m=design.edge_m,
        traffic_m=design.traffic_m,
        tramlines=tramlines,
        least_length_m=design.least_length_m,
        anchor=anchor,
        gradient_deg=design.gradient_deg,
    )


def _to_the_right(
    point: tuple[float, float], heading_deg: float, distance_m: float
) -> tuple[float, float]:
    longitude, latitude, _ = Geod(ellps="WGS84").fwd(*point, heading_deg + 90, distance_m)
    return float(longitude), float(latitude)


def read_drawing(path: Path) -> dict[str, Any] | None:
    """Return a GeoJSON file, or None where there is none.

    Parameters
    ----------
    path
        The file.

    Raises
    ------
    LayoutError
        If it is no GeoJSON, or too large.
    """
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
