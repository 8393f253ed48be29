"""From a trial as planned to what a terminal needs: strips, lines and outline."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from numbers import Real

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from trialkit.design.fitting import turned
from trialkit.design.guidance.field_drawing import (
    PASS,
    REFERENCE,
    WGS84,
    FieldDrawing,
    LineRow,
    StripRow,
    boundary_frame,
    line_frame,
    obstacle_frame,
    strip_frame,
)
from trialkit.design.layout import TrialPlan
from trialkit.design.outline import Drawing, Field, SplitFieldError, read_field
from trialkit.errors import LayoutError

#: Name of the one line the whole field can be steered by.
REFERENCE_NAME = "Reference"

#: Longest name that fits a shapefile's 254 bytes in any alphabet.
LONGEST_NAME = 60

#: Most seed that is sown, seed potatoes included, kg/ha. Common practice, no source.
_MOST_KG_HA = 5_000.0

#: What XML 1.0 cannot hold (section 2.2).
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def draw_guidance(
    plan: TrialPlan,
    boundary: Drawing,
    *,
    name: str,
    seed_rates_kg_ha: float | Mapping[str, float] | None = None,
    exclusions: Drawing | None = None,
) -> FieldDrawing:
    """Return a planned trial as a field with strips and guidance lines.

    Parameters
    ----------
    plan
        The strips as laid out.
    boundary
        The field, as it was given to `plan_trial`.
    name
        Name of the field or trial, as the terminal shall show it.
    seed_rates_kg_ha
        Seed rate of all strips, or of each treatment, kg/ha; None leaves it to the operator.
    exclusions
        Ground to stay off, as it was given to `plan_trial`: shown as obstacles. Points and lines
        have no ground and are left out.

    Returns
    -------
    FieldDrawing
        One line for each seeder pass in a strip, and before them the reference: the first pass of
        the longest strip. Every pass of the trial lies a whole number of seeder widths beside it.

    Raises
    ------
    LayoutError
        If a name or a rate makes no sense.
    """
    title = _checked_name(name, "field")
    treatments = _clean_treatments(plan)
    rates = _rates(seed_rates_kg_ha, list(treatments))
    shapes = plan.layout[plan.layout["role"] == "strip"]
    strips: list[StripRow] = [
        {
            "strip": str(row["strip"]),
            "block": str(row["block"]),
            "treatment": treatments[str(row["treatment"])],
            "seed_kg_ha": rates[str(row["treatment"])],
            "geometry": row["geometry"],
        }
        for row in shapes.to_dict("records")
    ]
    outline = _pieces(boundary)
    return FieldDrawing(
        title,
        boundary_frame(title, _on_earth([piece.ground for piece in outline], outline[0].crs)),
        strip_frame(strips),
        line_frame(_lines(plan)),
        obstacle_frame(_obstacles(boundary, exclusions, outline)),
    )


def clean_name(text: str) -> str:
    """Return a name on one line, without what XML cannot hold.

    Parameters
    ----------
    text
        Any text.
    """
    return " ".join(_NOT_XML.sub(" ", text).split())


def _checked_name(text: str, what: str) -> str:
    clean = clean_name(str(text))
    if not clean:
        raise LayoutError(f"The {what} has no name. Give the one your terminal shall show.")
    if len(clean) > LONGEST_NAME:
        raise LayoutError(
            f"The name of the {what} '{clean[:40]}...' has {len(clean)} characters. Terminals "
            f"show 32; give one of up to {LONGEST_NAME}."
        )
    return clean


def _clean_treatments(plan: TrialPlan) -> dict[str, str]:
    names = dict.fromkeys(str(name) for name in plan.strips["treatment"])
    clean = {name: _checked_name(name, "treatment") for name in names}
    if len(set(clean.values())) < len(clean):
        raise LayoutError(
            "Two treatments differ only in blanks or signs that no terminal shows: "
            f"{', '.join(clean.values())}. Name them apart."
        )
    return clean


def _rates(given: float | Mapping[str, float] | None, treatments: list[str]) -> dict[str, float]:
    if given is None:
        return dict.fromkeys(treatments, math.nan)
    rates = dict(given) if isinstance(given, Mapping) else dict.fromkeys(treatments, given)
    wrong = [name for name in rates if name not in treatments]
    missing = [name for name in treatments if name not in rates]
    if wrong or missing:
        found = f"no treatment is called '{wrong[0]}'" if wrong else f"'{missing[0]}' has none"
        raise LayoutError(
            f"Seed rates: {found}. Give one rate for all, or one for each of "
            f"{', '.join(treatments)}."
        )
    for name, rate in rates.items():
        if not _is_number(rate) or not 0 < rate <= _MOST_KG_HA:
            raise LayoutError(
                f"The seed rate of '{name}' is {rate!r}. Give kg/ha, above 0 and up to "
                f"{_MOST_KG_HA:g}."
            )
    # Task data hold whole mg/m², which is 0.01 kg/ha.
    return {name: float(round(float(rate), 2)) for name, rate in rates.items()}


def _is_number(value: object) -> bool:
    return isinstance(value, Real) and not isinstance(value, bool)


def _pieces(boundary: Drawing, exclusions: Drawing | None = None) -> list[Field]:
    """Return the field in metres, in one piece or several."""
    try:
        return [read_field(boundary, exclusions)]
    except SplitFieldError as split:
        return split.pieces


def _on_earth(shapes: Sequence[BaseGeometry], crs: CRS) -> list[Polygon]:
    return list(gpd.GeoSeries(list(shapes), crs=crs).to_crs(WGS84))


def _obstacles(
    boundary: Drawing, exclusions: Drawing | None, outline: Sequence[Field]
) -> list[tuple[str, BaseGeometry]]:
    """Return the exclusion zones inside the field; its holes are part of the outline."""
    if exclusions is None:
        return []
    ground = shapely.union_all([piece.ground for piece in outline])
    off_limits = [piece.obstacles for piece in _pieces(boundary, exclusions)]
    inside = shapely.get_parts(shapely.union_all(off_limits).intersection(ground))
    zones = [part for part in inside if part.geom_type == "Polygon" and part.area > 0]
    shapes = _on_earth(zones, outline[0].crs) if zones else []
    return [(f"Stay off {number}", shape) for number, shape in enumerate(shapes, start=1)]


def _lines(plan: TrialPlan) -> list[LineRow]:
    strips, seeder_m = plan.strips, plan.wishes.seeder_m
    names, owners, lines = [REFERENCE_NAME], [""], []
    for row in strips.to_dict("records"):
        for number in range(plan.passes_per_strip):
            middle = row["across_from_m"] + (number + 0.5) * seeder_m
            ends = [(row["along_from_m"], middle), (row["along_to_m"], middle)]
            lines.append(turned(LineString(ends), plan.heading_deg))
            names.append(f"{row['strip']} pass {number + 1}")
            owners.append(str(row["strip"]))
    longest = int(np.argmax((strips["along_to_m"] - strips["along_from_m"]).round(2)))
    lines.insert(0, lines[longest * plan.passes_per_strip])
    earth = gpd.GeoSeries(lines, crs=plan.crs).to_crs(WGS84)
    return [
        {
            "name": name,
            "kind": PASS if owner else REFERENCE,
            "strip": owner,
            "swath_m": float(seeder_m),
            "geometry": shapely.force_2d(line),
        }
        for name, owner, line in zip(names, owners, earth, strict=True)
    ]
