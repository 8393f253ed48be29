"""The glossary of columns as code: name, unit, kind and meaning, said once.

Readers, checks, axis labels and table headings take name and unit from here.
Foreign column names stop at the reader.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.language import marked, say

Kind = Literal["number", "text", "time", "flag"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    name
        Canonical name, with the unit in it where there is one.
    unit
        Unit inside trialkit as text for pint, or empty for no unit.
    kind
        What the cells hold.
    label
        English words for an axis or a table heading, unit included; `label` says them.
    meaning
        One sentence for the glossary.
    """

    name: str
    unit: str
    kind: Kind
    label: str
    meaning: str


_ALL = (
    Column("time", "", "time", marked("Time"), "When the record was written."),
    Column("longitude", "degree", "number", marked("Longitude, °"), "East of Greenwich, WGS 84."),
    Column("latitude", "degree", "number", marked("Latitude, °"), "North of the equator, WGS 84."),
    Column(
        "elevation_m", "m", "number", marked("Elevation, m"), "Height of the ground or the antenna."
    ),
    Column("speed_m_s", "m/s", "number", marked("Speed, m/s"), "Ground speed."),
    Column(
        "swath_m", "m", "number", marked("Cut width, m"), "Width the machine took itself to cut."
    ),
    Column(
        "flow_kg_s",
        "kg/s",
        "number",
        marked("Grain flow, kg/s"),
        "Grain passing the sensor a second.",
    ),
    Column(
        "moisture_pct", "percent", "number", marked("Moisture, %"), "Water in the grain, wet basis."
    ),
    Column(
        "yield_t_ha",
        "t/ha",
        "number",
        marked("Yield, t/ha"),
        "Grain a hectare at the crop's standard moisture.",
    ),
    Column(
        "recorded_t_ha",
        "t/ha",
        "number",
        marked("Yield as written, t/ha"),
        "Yield as the monitor wrote it, moved in time with its grain and not spread anew.",
    ),
    Column("interval_s", "s", "number", marked("Interval, s"), "Seconds a record stands for."),
    Column(
        "latency_s",
        "s",
        "number",
        marked("Declared delay, s"),
        "Seconds from the cut to the grain sensor, as the machine declares it.",
    ),
    Column(
        "lead_ignore_s",
        "s",
        "number",
        marked("Ignored at the start, s"),
        "Seconds after the header goes into work whose yields the machine holds for false.",
    ),
    Column(
        "lag_ignore_s",
        "s",
        "number",
        marked("Ignored at the end, s"),
        "Seconds after the header goes out of work whose yields the machine holds for false.",
    ),
    Column(
        "yield_held",
        "",
        "number",
        marked("Yield held"),
        "1 where the machine says it holds its yield and measures none, else 0.",
    ),
    Column(
        "header_ahead_m",
        "m",
        "number",
        marked("Header ahead, m"),
        "How far the cut is ahead of the antenna.",
    ),
    Column(
        "header_right_m",
        "m",
        "number",
        marked("Header to the right, m"),
        "How far the middle of the cut is to the right of the antenna, below zero to the left.",
    ),
    Column("travel_m", "m", "number", marked("Travel, m"), "Metres driven in a record."),
    Column("mass_kg", "kg", "number", marked("Grain, kg"), "Grain in a record or on the scales."),
    Column(
        "grain_kg",
        "kg",
        "number",
        marked("Grain at standard moisture, kg"),
        "Grain in a record, brought to the crop's standard moisture.",
    ),
    Column(
        "machine",
        "",
        "number",
        marked("Machine"),
        "Number of the harvester, where there are several.",
    ),
    Column("grain_t", "t", "number", marked("Grain, t"), "Grain the records stand for."),
    Column("file", "", "text", marked("File"), "File the record was read from."),
    Column("records", "", "number", marked("Records"), "Number of records of a harvest log."),
    Column("share_pct", "percent", "number", marked("Share, %"), "Share of all records."),
    Column(
        "row", "", "number", marked("Row"), "Row of the file, counted from 1, heading included."
    ),
    Column("x_m", "m", "number", marked("East, m"), "Metres east of the field's middle."),
    Column("y_m", "m", "number", marked("North, m"), "Metres north of the field's middle."),
    Column("pass_id", "", "number", marked("Pass"), "Number of the pass, in the order driven."),
    Column(
        "distance_m",
        "m",
        "number",
        marked("Along the pass, m"),
        "Metres from the start of the pass.",
    ),
    Column(
        "heading_deg",
        "degree",
        "number",
        marked("Heading, °"),
        "Travel, clockwise from north.",
    ),
    Column(
        "slope_pct",
        "percent",
        "number",
        marked("Slope, %"),
        "Rise over run of the smoothed ground.",
    ),
    Column(
        "relative_height_m",
        "m",
        "number",
        marked("Height above surroundings, m"),
        "Height above the mean of the ground around; below zero in a hollow.",
    ),
    Column("strip", "", "text", marked("Strip"), "Name of the strip."),
    Column("block", "", "text", marked("Block"), "Name of the block of neighbouring strips."),
    Column("treatment", "", "text", marked("Treatment"), "What was on the seed."),
    Column(
        "role",
        "",
        "text",
        marked("Role"),
        "What the piece of ground is for: `strip` or `headland`.",
    ),
    Column("planned", "", "text", marked("Planned"), "Treatment of the strip by the plan."),
    Column("sown", "", "text", marked("Sown"), "Treatment the strip got."),
    Column(
        "lost", "", "text", marked("Lost"), "`yes` where the strip, or the part given, was lost."
    ),
    Column("from_m", "m", "number", marked("From, m"), "Where a part of a strip begins."),
    Column(
        "to_m",
        "m",
        "number",
        marked("To, m"),
        "Where a part of a strip ends; blank for its far end.",
    ),
    Column("from_end", "", "text", marked("From which end"), "End measured from, such as `north`."),
    Column(
        "moved_m", "m", "number", marked("Moved, m"), "How far from the plan the strip was sown."
    ),
    Column("toward", "", "text", marked("Toward"), "To which side it was moved, such as `east`."),
    Column("lost_m2", "m**2", "number", marked("Left out, m²"), "Ground of the strip left out."),
    Column("lost_pct", "percent", "number", marked("Left out, %"), "Share of the strip left out."),
    Column("kept", "", "flag", marked("Kept"), "Whether the record counts towards the yield."),
    Column(
        "reason", "", "text", marked("Reason"), "Why the record was left out; empty where kept."
    ),
    Column("area_ha", "ha", "number", marked("Area cut, ha"), "Ground harvested."),
    Column("n", "", "number", marked("Records"), "Number of records kept."),
    Column("load", "", "text", marked("Load"), "Name of the load weighed."),
    Column("start", "", "time", marked("Start"), "Time the load, or stirring the mix, began."),
    Column("end", "", "time", marked("End"), "Time the load was full, or the mix all on the seed."),
    Column(
        "last_sown", "", "time", marked("Last seed sown"), "When the last of this seed was sown."
    ),
    Column("date", "", "time", marked("Date"), "Day of the work."),
    Column("count", "", "number", marked("Plants counted"), "Plants counted at one place."),
    Column("row_length_m", "m", "number", marked("Row length, m"), "Length of row counted."),
    Column("row_spacing_m", "m", "number", marked("Row spacing, m"), "Distance between rows."),
    Column("area_m2", "m**2", "number", marked("Area counted, m²"), "Ground counted in a frame."),
    Column("score", "", "text", marked("Score"), "What was scored."),
    Column("value", "", "number", marked("Value"), "The score given."),
    Column(
        "place", "", "number", marked("Place"), "Number of the place in the strip, from its start."
    ),
    Column(
        "along_m",
        "m",
        "number",
        marked("Along the strip, m"),
        "Metres from the start of the strip.",
    ),
    Column(
        "across_m",
        "m",
        "number",
        marked("From the left edge, m"),
        "Metres from the strip's left edge, walking from its start.",
    ),
    Column("drill_row", "", "number", marked("Drill row"), "Row of plants, from the left edge."),
    Column("plants_m2", "1/m**2", "number", marked("Plants/m²"), "Plants on a square metre."),
    Column(
        "establishment_pct",
        "percent",
        "number",
        marked("Establishment, %"),
        "Plants of seeds sown.",
    ),
    Column("logger", "", "text", marked("Logger"), "Name of the temperature logger."),
    Column(
        "temperature_c", "degC", "number", marked("Temperature, °C"), "As the logger recorded it."
    ),
    Column(
        "minimum_c", "degC", "number", marked("Coldest, °C"), "Lowest temperature of the night."
    ),
    Column("threshold_c", "degC", "number", marked("Threshold, °C"), "Temperature looked below."),
    Column("hours", "h", "number", marked("Hours below"), "Hours of a night below a threshold."),
    Column(
        "degree_hours",
        "delta_degC*h",
        "number",
        marked("Degree-hours below, °C h"),
        "Degrees below a threshold times the hours they lasted.",
    ),
    Column(
        "cold_degree_hours",
        "delta_degC*h",
        "number",
        marked("Frost, °C h below the threshold"),
        "Degree-hours of frost that a strip had, by its height.",
    ),
    Column("stage", "", "number", marked("Growth stage"), "Decimal code of Zadoks, 0 to 99."),
    Column(
        "zadoks", "", "number", marked("Growth stage"), "The same as written down in the field."
    ),
    Column(
        "sterile", "", "number", marked("Sterile florets"), "Florets of a head without a grain."
    ),
    Column("florets", "", "number", marked("Florets"), "Florets of a head that were looked at."),
    Column("sterile_pct", "percent", "number", marked("Sterile, %"), "Florets without a grain."),
    Column("product", "", "text", marked("Product"), "Product put on the seed."),
    Column("amount", "", "number", marked("Amount"), "How much of it."),
    Column("unit", "", "text", marked("Unit"), "Unit of the amount."),
    Column("seed_t", "t", "number", marked("Seed, t"), "Seed dressed."),
    Column("litres", "l", "number", marked("Mix, l"), "Mix that went on the seed, water included."),
    Column("off_pct", "percent", "number", marked("Off, %"), "Real rate against the planned one."),
    Column("step", "", "number", marked("Step"), "Place in the order the products go into a mix."),
    Column("measure", "", "text", marked("Measure"), "Amount as a jug or a scale measures it."),
    Column("how", "", "text", marked("How"), "How it goes into the mix."),
    Column(
        "cells_per_seed", "", "number", marked("Living on a seed"), "Living organisms on one seed."
    ),
    Column(
        "minimum_per_seed",
        "",
        "number",
        marked("Wanted on a seed"),
        "Least living organisms on one seed.",
    ),
    Column("packs", "", "number", marked("Packs"), "Packs to buy."),
    Column("left_over", "", "number", marked("Left over"), "What is left of whole packs."),
    Column("order", "", "number", marked("No."), "Place in the order the strips are sown."),
    Column("tank", "", "number", marked("Tank"), "Seed tank of the seeder."),
    Column(
        "start_end", "", "text", marked("Start at"), "End of the field the first pass starts from."
    ),
    Column("seed_kg", "kg", "number", marked("Seed, kg"), "Bare seed that a strip takes."),
    Column("seed_kg_ha", "kg/ha", "number", marked("Seed, kg/ha"), "Bare seed a hectare."),
    Column("load_t", "t", "number", marked("To load, t"), "Seed to load, dressing included."),
    Column(
        "drill_kg_ha",
        "kg/ha",
        "number",
        marked("Drill at, kg/ha"),
        "Seed a hectare, dressing included.",
    ),
    Column("cart_fills", "", "number", marked("Cart fills"), "How often the cart is filled."),
    Column("ha_per_fill", "ha", "number", marked("Hectares a fill"), "What a full cart sows."),
    Column("protein_pct", "percent", "number", marked("Protein, %"), "Protein in the grain."),
    Column("screenings_pct", "percent", "number", marked("Screenings, %"), "Small grain, by mass."),
    Column(
        "test_weight_kg_hl", "kg/hl", "number", marked("Test weight, kg/hl"), "Grain by volume."
    ),
    Column("note", "", "text", marked("Note"), "Anything worth saying."),
)

COLUMNS: dict[str, Column] = {column.name: column for column in _ALL}

#: Columns a harvest log may carry when it leaves the reader, in their order.
LOG_COLUMNS: tuple[str, ...] = (
    "time",
    "longitude",
    "latitude",
    "elevation_m",
    "speed_m_s",
    "swath_m",
    "flow_kg_s",
    "moisture_pct",
    "yield_t_ha",
    "interval_s",
    "travel_m",
    "mass_kg",
)

#: Columns of a log that say how the machine works, where it says so, in their order.
MACHINE_COLUMNS: tuple[str, ...] = (
    "latency_s",
    "lead_ignore_s",
    "lag_ignore_s",
    "yield_held",
    "header_ahead_m",
    "header_right_m",
)


def label(name: str) -> str:
    """Return the words for an axis or a heading, in the language spoken.

    Parameters
    ----------
    name
        Name of the column; one that is unknown stands as it is.
    """
    return say(COLUMNS[name].label) if name in COLUMNS else name
