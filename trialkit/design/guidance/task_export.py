"""A field as an ISO 11783-10 task-data set, version 3 or 4.

Attributes and their limits are those of the standard's public XML schemas, by way of the bindings
of the package `isoxml`.
"""

from __future__ import annotations

import importlib
import io
import math
import zipfile
from collections.abc import Iterator, Sequence
from decimal import Decimal
from importlib.metadata import version as package_version
from typing import Any, Literal

import geopandas as gpd
import shapely
from shapely.geometry import LineString, Polygon

from trialkit.design.guidance.field_drawing import (
    DECIMALS,
    REFERENCE,
    FieldDrawing,
    geodesic_area_m2,
)
from trialkit.design.guidance.short_names import DESIGNATOR, shortened

Version = Literal[3, 4]

#: Set point of mass per area in the data dictionary of ISO 11783-11: whole mg/m².
SEED_RATE_DDI = 6
MG_M2_A_KG_HA = 100

#: Zones of a task are numbered 0 to 254. Three stand for ground and moments without a strip.
_REST, _POSITION_LOST, _OUT_OF_FIELD = 0, 253, 254
MOST_STRIPS_A_TASK = 252

#: A zip's clock starts here; with it the same trial gives the same bytes.
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)


def task_data_xml(drawing: FieldDrawing, version: Version = 4) -> bytes:
    """Return the file `TASKDATA.XML` of a field.

    Parameters
    ----------
    drawing
        The field with its strips and guidance lines.
    version
        Version of ISO 11783-10: 4, or 3 for older terminals.

    Returns
    -------
    bytes
        Customer, farm, field with outline, obstacles and guidance lines, and a planned task with
        one treatment zone a strip, named by strip and treatment; several tasks where there are
        more than 252 strips. Zones hold rates where the strips do.
    """
    from isoxml.util.isoxml_io import isoxml_to_text

    iso: Any = importlib.import_module(f"isoxml.models.base.v{version}")
    rates = drawing.strips["seed_kg_ha"].notna().any()
    named = {"last_name" if version == 4 else "designator": "Farm"}
    content = iso.Iso11783TaskData(
        management_software_manufacturer="trialkit",
        management_software_version=package_version("trialkit")[:DESIGNATOR],
        data_transfer_origin=iso.Iso11783TaskDataDataTransferOrigin.FMIS,
        customers=[iso.Customer(id="CTR1", **named)],
        farms=[iso.Farm(id="FRM1", designator="Farm", customer_id_ref="CTR1")],
        partfields=[_field(iso, drawing, version)],
        products=[iso.Product(id="PDT1", designator="Seed")] if rates else [],
        value_presentations=[_kg_ha(iso)] if rates else [],
        tasks=list(_tasks(iso, drawing)),
    )
    return str(isoxml_to_text(content)).encode("utf-8")


def task_data_zip(drawing: FieldDrawing, version: Version = 4) -> bytes:
    """Return a task-data set as a zip that holds the folder `TASKDATA`.

    Parameters
    ----------
    drawing
        The field with its strips and guidance lines.
    version
        Version of ISO 11783-10: 4, or 3 for older terminals.
    """
    return packed({"TASKDATA/TASKDATA.XML": task_data_xml(drawing, version)})


def packed(files: dict[str, bytes]) -> bytes:
    """Return files as a zip, the same files as the same bytes.

    Parameters
    ----------
    files
        Content by path in the zip.
    """
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for path, content in files.items():
            entry = zipfile.ZipInfo(path, date_time=_ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return target.getvalue()


def _field(iso: Any, drawing: FieldDrawing, version: Version) -> Any:
    parts = list(drawing.boundary.geometry)
    kind = iso.PolygonType.PartfieldBoundary
    outline = [_polygon(iso, kind, [part]) for part in parts]
    if version == 3:  # the custom there is one polygon with several outer rings
        outline = [_polygon(iso, kind, parts)]
    obstacles = [
        _polygon(iso, iso.PolygonType.Obstacle, [part], name[:DESIGNATOR] or None)
        for name, shape in zip(drawing.obstacles["name"], drawing.obstacles.geometry, strict=True)
        for part in shapely.get_parts(shape)
        if part.geom_type == "Polygon"
    ]
    guidance: dict[str, Any] = {"line_strings": list(_lines(iso, drawing))}
    if version == 4:
        guidance = {"guidance_groups": list(_groups(iso, drawing))}
    return iso.Partfield(
        id="PFD1",
        designator=shortened([drawing.name])[drawing.name],
        area=round(sum(geodesic_area_m2(part) for part in parts)),
        customer_id_ref="CTR1",
        farm_id_ref="FRM1",
        polygons=outline + obstacles,
        **guidance,
    )


def _polygon(iso: Any, kind: Any, parts: Sequence[Polygon], name: str | None = None) -> Any:
    rings = [(iso.LineStringType.PolygonExterior, part.exterior) for part in parts]
    rings += [
        (iso.LineStringType.PolygonInterior, hole) for part in parts for hole in part.interiors
    ]
    return iso.Polygon(
        type=kind,
        designator=name,
        area=round(sum(geodesic_area_m2(part) for part in parts)),
        line_strings=[
            iso.LineString(type=side, points=[_point(iso, corner) for corner in ring.coords])
            for side, ring in rings
        ],
    )


def _point(iso: Any, corner: Sequence[float], kind: Any = None) -> Any:
    east, north = (Decimal(f"{value:.{DECIMALS}f}") + 0 for value in corner[:2])
    return iso.Point(type=kind or iso.PointType.Other, north=north, east=east)


def _line(iso: Any, line: LineString, swath_m: float, ends: Sequence[Any], name: str | None) -> Any:
    corners = list(line.coords)
    kinds = [ends[0], *[iso.PointType.Other] * (len(corners) - 2), ends[1]]
    return iso.LineString(
        type=iso.LineStringType("5"),
        designator=name,
        width=None if math.isnan(swath_m) else round(1000 * swath_m),
        points=[_point(iso, corner, kind) for corner, kind in zip(corners, kinds, strict=True)],
    )


def _lines(iso: Any, drawing: FieldDrawing) -> Iterator[Any]:
    """Return the guidance lines as version 3 has them."""
    names = shortened(list(drawing.lines["name"]))
    ends = (iso.PointType.Other, iso.PointType.Other)
    for row in drawing.lines.to_dict("records"):
        yield _line(iso, row["geometry"], row["swath_m"], ends, names[row["name"]])


def _groups(iso: Any, drawing: FieldDrawing) -> Iterator[Any]:
    """Return the guidance lines as version 4 has them, the reference in a group of its own."""
    names = shortened(list(drawing.lines["name"]))
    ends = (iso.PointType.GuidanceReferenceA, iso.PointType.GuidanceReferenceB)
    patterns = [
        (
            row["kind"] == REFERENCE,
            iso.GuidancePattern(
                id=f"GPN{number}",
                designator=names[row["name"]],
                type=iso.GuidancePatternType.AB,
                propagation_direction=iso.GuidancePatternPropagationDirection.BothDirections,
                extension=iso.GuidancePatternExtension.FromBothFirstAndLastPoint,
                heading=Decimal(f"{row['heading_deg']:.6f}"),
                gnss_method=iso.GuidancePatternGNSSMethod.DesktopGeneratedData,
                line_strings=[_line(iso, row["geometry"], row["swath_m"], ends, None)],
            ),
        )
        for number, row in enumerate(drawing.lines.to_dict("records"), start=1)
    ]
    groups = [
        (name, [pattern for is_main, pattern in patterns if is_main == main])
        for name, main in (("Reference", True), ("Passes", False))
    ]
    for number, (name, members) in enumerate((group for group in groups if group[1]), start=1):
        yield iso.GuidanceGroup(id=f"GGP{number}", designator=name, guidance_patterns=members)


def _kg_ha(iso: Any) -> Any:
    return iso.ValuePresentation(
        id="VPN1", offset=0, scale=Decimal("0.01"), number_of_decimals=2, unit_designator="kg/ha"
    )


def _tasks(iso: Any, drawing: FieldDrawing) -> Iterator[Any]:
    rows = drawing.strips.to_dict("records")
    names = zone_names(drawing.strips)
    parts = [rows[at : at + MOST_STRIPS_A_TASK] for at in range(0, len(rows), MOST_STRIPS_A_TASK)]
    titles = [f"Sow {drawing.name}"]
    if len(parts) > 1:
        titles = [f"Sow {number} {drawing.name}" for number in range(1, len(parts) + 1)]
    titles = list(shortened(titles).values())
    for number, (title, part) in enumerate(zip(titles, parts, strict=False), start=1):
        zones = [_zone(iso, code, names[row["strip"]], row) for code, row in enumerate(part, 1)]
        special = _special_zones(iso, drawing)
        codes = [zone.code for zone in special] or [None, None, None]
        yield iso.Task(
            id=f"TSK{number}",
            designator=title,
            customer_id_ref="CTR1",
            farm_id_ref="FRM1",
            partfield_id_ref="PFD1",
            status=iso.TaskStatus("1"),
            default_treatment_zone_code=codes[0],
            position_lost_treatment_zone_code=codes[1],
            out_of_field_treatment_zone_code=codes[2],
            treatment_zones=zones + special,
        )


def zone_names(strips: gpd.GeoDataFrame) -> dict[str, str]:
    """Return the name each strip has on the terminal: strip, blank, treatment, cut where need be.

    Parameters
    ----------
    strips
        Columns `strip` and `treatment`.
    """
    longest = int(strips["strip"].str.len().max()) if len(strips) else 0
    room = max(DESIGNATOR - longest - 1, 8)
    treatments = shortened(list(dict.fromkeys(strips["treatment"])), room)
    return {
        strip: f"{strip} {treatments[treatment]}".strip()[:DESIGNATOR]
        for strip, treatment in zip(strips["strip"], strips["treatment"], strict=True)
    }


def _zone(iso: Any, code: int, name: str, row: dict[Any, Any]) -> Any:
    kind = iso.PolygonType.TreatmentZone
    parts = list(shapely.get_parts(row["geometry"]))
    return iso.TreatmentZone(
        code=code,
        designator=name,
        polygons=[_polygon(iso, kind, [part], row["block"] or None) for part in parts],
        process_data_variables=_rate(iso, row["seed_kg_ha"]),
    )


def _rate(iso: Any, kg_ha: float) -> list[Any]:
    """Return a seed rate as a set point; none where it is not known: 0 would stop the seeder."""
    if math.isnan(kg_ha):
        return []
    return [
        iso.ProcessDataVariable(
            process_data_ddi=SEED_RATE_DDI.to_bytes(2, "big"),
            process_data_value=round(kg_ha * MG_M2_A_KG_HA),
            product_id_ref="PDT1",
            value_presentation_id_ref="VPN1",
        )
    ]


def _special_zones(iso: Any, drawing: FieldDrawing) -> list[Any]:
    """Return the zones for what lies in no strip; none where the strips have no rates.

    With one rate for all, the rest of the field and moments without position keep it: a gap in a
    strip would spoil it. Where rates differ nobody knows which would be right: the seeder stops.
    Out of the field it stops always.
    """
    rates = drawing.strips["seed_kg_ha"]
    if not rates.notna().any():
        return []
    common = float(rates.iloc[0]) if rates.nunique(dropna=False) == 1 else 0.0
    special = [
        (_REST, "Rest of field", common),
        (_POSITION_LOST, "Position lost", common),
        (_OUT_OF_FIELD, "Out of field", 0.0),
    ]
    return [
        iso.TreatmentZone(code=code, designator=name, process_data_variables=_rate(iso, rate))
        for code, name, rate in special
    ]
