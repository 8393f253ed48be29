"""The layout of a trial folder as a plan again: what was written beside the strips, read back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS
from shapely.geometry import LineString, Point

from trialkit.design import Allocation, Tramlines, TrialPlan, Wishes, allocation_from_record
from trialkit.design.assembly import cut_lines, on_earth
from trialkit.design.fitting import turned
from trialkit.errors import LayoutError
from trialkit.language import say
from trialkit.position import local_grid
from trialkit.trial.drawings import LAYOUT_FILE
from trialkit.trial.planning import read_drawing

#: Member of `layout.geojson` that says how the strips came about.
_DESIGN_MEMBER = "design"

_WGS84 = "EPSG:4326"

#: Decimals of a metre that the file's coordinates bear.
_MILLIMETRE = 3

#: More cuts than this no strip holds.
_MOST_CUTS = 100

#: What reading a damaged record ends in.
_DAMAGE = (
    ArithmeticError, AttributeError, LookupError, TypeError, ValueError, shapely.GEOSException,
)  # fmt: skip


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
    record = plan.record() | {"grid_middle": _middle(plan.crs), "machines": _machines(plan)}
    return json.dumps(content | {_DESIGN_MEMBER: record, "features": features}, ensure_ascii=False)


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
    design = _design(Path(path))
    return None if design is None else allocation_from_record(design["allocation"])


def read_plan(
    path: str | Path, layout: gpd.GeoDataFrame, boundary: gpd.GeoDataFrame | None
) -> TrialPlan | None:
    """Return the layout of a trial folder as the plan it was written from.

    Parameters
    ----------
    path
        The folder.
    layout
        Its strips and headlands, WGS 84.
    boundary
        Its field; None if that is not known.

    Returns
    -------
    TrialPlan or None
        The strips are those of the file, though somebody may have changed it since. None where
        it does not say how they came about, as one drawn by hand.

    Raises
    ------
    LayoutError
        If what it says is damaged.
    """
    design = _design(Path(path))
    if design is None:
        return None
    allocation = allocation_from_record(design["allocation"])
    try:
        crs = _grid(design, layout if boundary is None else boundary)
        return _plan(design, allocation, layout, crs)
    except _DAMAGE as error:
        raise LayoutError(
            f"{LAYOUT_FILE}: the member '{_DESIGN_MEMBER}' is damaged "
            f"({type(error).__name__}: {error}). Take the file from your copy; or take that member "
            "out, and the strips count as drawn by hand."
        ) from None


def changes_since_draw(plan: TrialPlan) -> list[str]:
    """Say where strips no longer have the treatment that was drawn for them.

    Parameters
    ----------
    plan
        A layout read back by `read_plan`.
    """
    drawn = [name for order in plan.allocation.orders for name in order]
    sown = plan.strips["treatment"].tolist()
    if len(drawn) != len(sown):
        return [
            say(
                "{file} was changed by hand: {drawn} strips were drawn, and {there} are in it.",
                file=LAYOUT_FILE, drawn=len(drawn), there=len(sown),
            )
        ]  # fmt: skip
    other = [
        strip
        for strip, was, now in zip(plan.strips["strip"], drawn, sown, strict=True)
        if was != now
    ]
    if not other:
        return []
    return [
        say(
            "{file} was changed by hand: not what was drawn stands for {strips}.",
            file=LAYOUT_FILE, strips=", ".join(other),
        )
    ]  # fmt: skip


def _design(folder: Path) -> Mapping[str, Any] | None:
    content = read_drawing(folder / LAYOUT_FILE)
    design = None if content is None else content.get(_DESIGN_MEMBER)
    if not isinstance(design, Mapping) or not isinstance(design.get("allocation"), Mapping):
        return None
    return design


def _middle(crs: CRS) -> list[float]:
    """Return longitude and latitude of the middle of a metre grid."""
    operation = crs.coordinate_operation
    if operation is None:  # every plan has a grid of metres
        raise AssertionError("the plan is not on a metre grid")
    named = {parameter.name: float(parameter.value) for parameter in operation.params}
    return [named["Longitude of natural origin"], named["Latitude of natural origin"]]


def _grid(design: Mapping[str, Any], ground: gpd.GeoDataFrame) -> CRS:
    """Return the metre grid of the plan: on another, its heading would not be the same."""
    if "grid_middle" not in design:
        return local_grid(ground)
    longitude, latitude = (float(degrees) for degrees in design["grid_middle"])
    if not (-180 <= longitude <= 180 and -90 <= latitude <= 90):
        raise ValueError("the middle of the grid is not on the earth")
    return local_grid(gpd.GeoDataFrame(geometry=[Point(longitude, latitude)], crs=_WGS84))


def _machines(plan: TrialPlan) -> dict[str, Any]:
    """Return where the machines run in the strips, as plain values."""
    tramlines = plan.wishes.tramlines
    cuts = zip(plan.strips["strip"], plan.strips["cut_from_m"], plan.strips["cuts"], strict=True)
    lines = [shapely.get_coordinates(line).tolist() for line in plan.tramlines.geometry]
    return {
        "cuts": {
            strip: {"from_m": round(float(start), 4), "number": int(n)} for strip, start, n in cuts
        },
        "sprayer": None
        if tramlines is None
        else {
            "sprayer_m": tramlines.sprayer_m,
            "first_m": tramlines.first_m,
            "width_m": tramlines.width_m,
            "tramlines": lines,
        },
    }


def _plan(
    design: Mapping[str, Any], allocation: Allocation, layout: gpd.GeoDataFrame, crs: CRS
) -> TrialPlan:
    machines = design.get("machines", {})
    sprayer = machines.get("sprayer")
    heading, passes = float(design["heading_deg"]), int(design["passes_per_strip"])
    wishes = Wishes(
        seeder_m=design["seeder_m"],
        harvester_m=design["harvester_m"],
        heading_deg=heading,
        headland_m=design["headland_m"],
        passes_per_strip=passes,
        edge_m=design["edge_m"],
        tramlines=None
        if sprayer is None
        else Tramlines(sprayer["sprayer_m"], sprayer["first_m"], sprayer["width_m"]),
    )
    strips = _strip_table(layout, machines.get("cuts", {}), heading, crs)
    lines = [] if sprayer is None else [LineString(line) for line in sprayer["tramlines"]]
    return TrialPlan(
        layout=layout,
        strips=strips,
        cuts=on_earth(cut_lines(strips, wishes, heading), crs),
        tramlines=gpd.GeoDataFrame(geometry=lines, crs=_WGS84),
        allocation=allocation,
        heading_deg=heading,
        passes_per_strip=passes,
        crs=crs,
        wishes=wishes,
        notes=tuple(str(note) for note in design["notes"]),
    )


def _strip_table(
    layout: gpd.GeoDataFrame, cuts: Mapping[str, Any], heading_deg: float, crs: CRS
) -> pd.DataFrame:
    """Return one row a strip, as `TrialPlan` has them; no cut where none is written down."""
    strips = layout[layout["role"] == "strip"].reset_index(drop=True)
    lying = gpd.GeoSeries([turned(shape, heading_deg) for shape in strips.to_crs(crs).geometry])
    near, left, far, right = lying.bounds.round(_MILLIMETRE).to_numpy().T
    none = {"from_m": 0.0, "number": 0}
    own = [cuts.get(strip, none) for strip in strips["strip"]]
    if any(not 0 <= cut["number"] <= _MOST_CUTS for cut in own):
        raise ValueError(f"a strip holds 0 to {_MOST_CUTS} cuts")
    table: pd.DataFrame = strips[["strip", "block", "treatment"]]
    return table.assign(
        along_from_m=near,
        along_to_m=far,
        across_from_m=left,
        across_to_m=right,
        cut_from_m=[float(cut["from_m"]) for cut in own],
        cuts=[int(cut["number"]) for cut in own],
    )
