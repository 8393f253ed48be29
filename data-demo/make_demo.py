"""Make the demo trials: three invented harvests and a plan on an invented farm, from fixed seeds.

Run from the top of the sources: `python data-demo/make_demo.py`. A test runs it into a temporary
folder and compares every file byte for byte with what lies here.
"""

from __future__ import annotations

import dataclasses
import json
import sys
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely.geometry import Polygon

from trialkit import simulate
from trialkit.simulate.paddock import Ground, draw_ground

HERE = Path(__file__).resolve().parent
TREATMENTS = ("untreated", "dressed")

#: Length of the eight blocks, m. The paddocks have a bend in one end.
FROST_LENGTHS_M = (880, 880, 880, 880, 860, 840, 820, 800)
NO_FROST_LENGTHS_M = (790, 810, 830, 850, 850, 850, 850, 850)

#: The truth of the frost season. Frost takes about 0.15 of the crop, and the dressing prevents 0.45
#: of that: 0.15 × 0.45 × 3.3 t/ha and 0.03 t/ha everywhere make about 0.25 t/ha, five times what
#: it costs.
FROST_FIELD = simulate.Field(
    mean_t_ha=3.3,
    rise_across_t_ha=0.35,
    wave_across_t_ha=0.1,
    patch_sd_t_ha=0.15,
    patch_radius_m=50.0,
    pass_sd_t_ha=0.2,
    pass_range_m=25.0,
    strip_sd_t_ha=0.10,
    hollow=simulate.Hollow(
        along_m=-230.0,
        across_m=-40.0,
        radius_along_m=170.0,
        radius_across_m=300.0,
        depth_m=7.0,
        moisture_pct=0.6,
    ),
    frost_loss=0.55,
    elevation_m=212.0,
    slope_along=0.006,
    moisture_pct=12.1,
    drying_pct_h=0.3,
)
FROST_EFFECT = simulate.Effect(gain_t_ha=0.03, frost_protection=0.45)

#: Where three loggers hung at the height of the ears, m along and across from the trial's middle:
#: in the deepest place of the hollow, on its slope, and on the rise.
LOGGERS_M = {"low-end": (-230.0, -36.0), "slope": (-60.0, -36.0), "rise": (150.0, -36.0)}
LOGGED_FROM, LOGGED_DAYS, LOGGED_EVERY_MIN = "2023-09-25 12:00", 28, 15
#: Nights, by the day of October they end on, that were clear: how cold the rise got, °C, and how
#: much colder the deepest place was. All others were cloudy or windy and the same everywhere.
CLEAR_NIGHTS = {2: (0.4, 4.4), 3: (-0.3, 5.0), 6: (2.8, 3.6), 9: (0.1, 4.8), 14: (3.1, 3.9)}
#: Hours that the logger on the slope missed, from a time on.
LOGGER_GAP = ("2023-10-16 22:00", 5.5)

#: Zadoks codes by day, as written down in the field.
STAGES = [("2023-08-22", 33), ("2023-09-12", 43), ("2023-09-26", 57), ("2023-10-03", 63),
          ("2023-10-10", 67), ("2023-10-24", 75)]  # fmt: skip
#: Florets that stay empty without frost.
EMPTY_ANYWAY = 0.06

#: The truth of the season without frost: the dressing gains 0.04 t/ha, about what it costs.
NO_FROST_FIELD = simulate.Field(
    mean_t_ha=3.1,
    rise_across_t_ha=-0.25,
    wave_across_t_ha=0.15,
    patch_sd_t_ha=0.15,
    patch_radius_m=60.0,
    pass_sd_t_ha=0.2,
    pass_range_m=30.0,
    strip_sd_t_ha=0.10,
    hollow=simulate.Hollow(
        along_m=150.0,
        across_m=90.0,
        radius_along_m=140.0,
        radius_across_m=110.0,
        depth_m=3.0,
        moisture_pct=0.4,
    ),
    frost_loss=0.0,
    elevation_m=247.0,
    slope_along=-0.004,
    slope_across=0.006,
    moisture_pct=11.8,
    drying_pct_h=0.25,
)
NO_FROST_EFFECT = simulate.Effect(gain_t_ha=0.04)

#: The trial of two dressings. One mostly gains yield, the other mostly makes the grain heavier.
TWO_DRESSINGS_FIELD = simulate.Field(
    mean_t_ha=3.2,
    rise_across_t_ha=0.2,
    wave_across_t_ha=0.1,
    patch_sd_t_ha=0.15,
    patch_radius_m=50.0,
    pass_sd_t_ha=0.2,
    pass_range_m=25.0,
    strip_sd_t_ha=0.09,
    hollow=None,
    frost_loss=0.0,
    elevation_m=231.0,
    slope_along=0.003,
    slope_across=-0.002,
    moisture_pct=11.6,
    drying_pct_h=0.3,
)
TWO_DRESSINGS_EFFECTS = {
    "broth": simulate.Effect(gain_t_ha=0.15),
    "powder": simulate.Effect(gain_t_ha=0.05),
}
#: True quality of the grain: mean of the untreated; what either dressing adds; how much strips
#: differ beside that; and decimals of the laboratory.
QUALITY = {
    "protein_pct": (11.4, {"broth": 0.1, "powder": 0.2}, 0.25, 1),
    "screenings_pct": (8.2, {"broth": -0.3, "powder": -1.6}, 0.9, 1),
    "test_weight_kg_hl": (50.6, {"broth": 0.2, "powder": 1.1}, 0.5, 1),
}

MISHAPS = simulate.Mishaps(stops=3, crawls=4, part_swaths=8, spikes=10, jumps=8)

FROST_EXPORT = simulate.Export(
    columns={
        "record": "Record",
        "time": "Time",
        "latitude": "Latitude",
        "longitude": "Longitude",
        "elevation_m": "Height (m)",
        "speed_m_s": "Ground speed (km/h)",
        "swath_m": "Cut width (m)",
        "header": "Header",
        "flow_kg_s": "Grain flow (kg/s)",
        "moisture_pct": "Grain moisture (%)",
    },
    units={"speed_m_s": "km/h", "moisture_pct": "%"},
    decimals={"elevation_m": 1, "speed_m_s": 2, "swath_m": 1, "flow_kg_s": 2, "moisture_pct": 1},
    delimiter=";",
)

NO_FROST_EXPORT = simulate.Export(
    columns={
        "time": "Date and time",
        "longitude": "Lon",
        "latitude": "Lat",
        "elevation_m": "Elevation (m)",
        "speed_m_s": "Speed (m/s)",
        "swath_m": "Working width (cm)",
        "header": "Header position",
        "yield_t_ha": "Yield at 12.5% (kg/ha)",
        "moisture_pct": "Moisture as harvested (%)",
    },
    units={"swath_m": "cm", "yield_t_ha": "kg/ha", "moisture_pct": "%"},
    decimals={"elevation_m": 1, "speed_m_s": 2, "swath_m": 0, "yield_t_ha": 0, "moisture_pct": 1},
)

FROST_TOML = """\
# An invented trial: farm, products, prices and yields are made up. The coordinates lie at sea.

[trial]
name = "Biological seed dressing on oats, Low End paddock"
season = 2023
crop = "oats"
paddock = "Low End"
question = "Does the dressing pay, and does it help where frost sits?"
frost = true             # a hard one, while the oats flowered
invented = true

# Exactly one treatment is the untreated control. Costs are in the currency below.
[[treatments]]
name = "untreated"
control = true
description = "Bare seed from the same lot"
cost_per_ha = 0

[[treatments]]
name = "dressed"
description = "Microbe broth, mineral powder and kelp syrup in water, 12 L a tonne"
cost_per_ha = 14.20      # products, mixing and the auger's extra time

[machines]
seeder_m = 12            # a strip is two passes of the seeder
harvester_m = 12         # and two full cuts of the harvester

[sowing]
seed_kg_ha = 75
seed_weight_g_1000 = 36
row_spacing_m = 0.25

[scouting]
sown = 2023-05-12
sterile_without_frost_pct = {empty_pct}  # florets that stay empty in any year

[scouting.scores.vigour]
low = 1
high = 9
better = "high"

[scouting.scores.frost_damage_pct]  # by eye, over the whole strip
better = "low"

# Three loggers among the ears, unshielded. Their clocks are never moved.
[scouting.temperatures]
sensor = "canopy"
zone = "+06:00"

[scouting.temperatures.columns]
time = "Logged at"
temperature_c = "Temperature (°C)"

{logger_places}
[harvest]
standard_moisture_pct = 12.5
crs = "EPSG:4326"        # longitude and latitude, WGS 84
delay_s = "estimate"     # seconds from the cut to the grain sensor: let the data say
edge_m = 3               # metres left out along the edges of each strip

# The yield monitor's headings, by what they mean.
{column_map}
[harvest.screening]
yield_high_t_ha = 9      # no oats here ever yielded more
speed_low_m_s = 0.6

# Declared before harvest.
[analysis]
confidence = 0.95
seed = 2023              # of the random draws
paid_at = 0.9            # "paid" from this chance
did_not_pay_at = 0.1     # "did not pay" up to this chance

[money]
currency = "AUD"
price_per_t = 300        # feed oats at the farm gate
price_range = [255, 340]
# What next depends on the farm, too.
area_ha = 400            # where the dressing would be used
seasons = 5              # for so long
labour_per_h = 45        # what an hour of trialling is worth
lose_more_than = 10      # a hectare: more would hurt
"""

NO_FROST_TOML = """\
# An invented trial: farm, products, prices and yields are made up. The coordinates lie at sea.

[trial]
name = "Biological seed dressing on oats, Long Rise paddock"
season = 2024
crop = "oats"
paddock = "Long Rise"
question = "Does the dressing pay in a year without frost?"
frost = false
invented = true

# Exactly one treatment is the untreated control. Costs are in the currency below.
[[treatments]]
name = "untreated"
control = true
description = "Bare seed from the same lot"
cost_per_t_seed = 0

[[treatments]]
name = "dressed"
description = "Microbe broth, mineral powder and kelp syrup in water, 12 L a tonne"
cost_per_t_seed = 185    # for each tonne of seed; with the rate under [sowing], 13.88 a hectare

[machines]
seeder_m = 12            # a strip is two passes of the seeder
harvester_m = 12         # and two full cuts of the harvester

[sowing]
seed_kg_ha = 75

# This monitor wrote the yield itself, at standard moisture, and the moisture as harvested.
[harvest]
standard_moisture_pct = 12.5
crs = "EPSG:4326"        # longitude and latitude, WGS 84
delay_s = "estimate"     # seconds from the cut to the grain sensor: let the data say
edge_m = 3               # metres left out along the edges of each strip

# The yield monitor's headings, by what they mean.
{column_map}
[harvest.screening]
yield_high_t_ha = 9      # no oats here ever yielded more
speed_low_m_s = 0.6

# Declared before harvest.
[analysis]
yield_from = "monitor"   # each strip was weighed too, in weights.csv: a check on the monitor
confidence = 0.95
seed = 2024              # of the random draws
paid_at = 0.9            # "paid" from this chance
did_not_pay_at = 0.1     # "did not pay" up to this chance

[money]
currency = "AUD"
price_per_t = 310        # feed oats at the farm gate
price_range = [260, 350]
# What next depends on the farm, too.
area_ha = 400            # where the dressing would be used
seasons = 5              # for so long
labour_per_h = 45        # what an hour of trialling is worth
lose_more_than = 10      # a hectare: more would hurt
"""


PLAN_TOML = """\
# An invented trial, not yet sown: farm, products and prices are made up. It lies at sea.

[trial]
name = "Biological seed dressing on oats, Dam Hill paddock"
season = 2025
crop = "oats"
paddock = "Dam Hill"
question = "Two seasons disagree: does the dressing pay on better ground?"
invented = true

# Exactly one treatment is the untreated control. Costs are in the currency below.
[[treatments]]
name = "untreated"
control = true
description = "Bare seed from the same lot"
cost_per_ha = 0

# Its cost follows from the products, the work under [dressing] and the seed rate: 14.20 a hectare.
[[treatments]]
name = "dressed"
description = "Microbe broth, mineral powder and kelp syrup in water, 12 L a tonne"

# Invented products: names, rates, prices and all that a label would say are made up.
[[treatments.products]]
name = "root microbe broth"
form = "watery"
per_t = 4
unit = "l"
pack = 10
cost_per_pack = 185
living_per_ml = 5e8
minimum_per_seed = 1e4   # as its maker would ask
keeps_mixed_h = 4
keeps_on_seed_h = 24

[[treatments.products]]
name = "mineral powder"
form = "powder"
per_t = 2
unit = "kg"
density_kg_l = 2.5       # of the mineral, not of the heap
pack = 10
cost_per_pack = 87.50
keeps_on_seed_h = 2000

[[treatments.products]]
name = "kelp syrup"
form = "syrupy"
per_t = 3
unit = "l"
density_kg_l = 1.2
water_pct = 60
pack = 20
cost_per_pack = 240
keeps_on_seed_h = 500

[machines]
seeder_m = 12
harvester_m = 9

# How the strips are to be laid out. The boundary has a dam in it; past-yields/ holds two seasons.
[design]
blocks = 8
heading_deg = 64         # of the guidance lines
seed = 2025              # of the draw
yield_t_ha = 3.2
cv_pct = 4               # strips side by side differ by so much, % of the yield
hoped_gain_t_ha = 0.2

[sowing]
seed_kg_ha = 80
target_plants_m2 = 190
seed_weight_g_1000 = 37
germination_pct = 96
establishment_pct = 92
seed_moisture_pct = 11.0
row_spacing_m = 0.25
seed_cost_per_t = 380
cart_kg = 600            # what the seeder's tank holds
purge_kg = 40            # run through and thrown away whenever a treatment is begun

# How the seed is dressed: a stirred pail, a small tank at the auger, a pump with a dial.
[dressing]
rate_l_t = 12            # litres of mix on a tonne of seed, water included
mixer_l = 3              # what the pail holds, as far as it is filled
tank_l = 5
auger_t_h = 6
jug_l = 1
sown_after_h = 6         # from dressing until the last seed is in the ground
work_per_t_seed = 50     # mixing, and the auger's extra time

[harvest]
standard_moisture_pct = 12.5

# Declared before harvest.
[analysis]
confidence = 0.95
seed = 2025              # of the random draws
paid_at = 0.9            # "paid" from this chance
did_not_pay_at = 0.1     # "did not pay" up to this chance

[money]
currency = "AUD"
price_per_t = 300        # feed oats at the farm gate
price_range = [255, 340]
"""

TWO_DRESSINGS_TOML = """\
# An invented trial: farm, products, prices, grades and yields are made up. It lies at sea.

[trial]
name = "Two seed dressings on oats, Quarry Bank paddock"
season = 2024
crop = "oats"
paddock = "Quarry Bank"
question = "Which of the two pays better, counting what the buyer pays by grade?"
frost = false
invented = true

# Exactly one treatment is the untreated control. Costs are in the currency below, item by item;
# hours, machines, water and passes are priced under [money].
[[treatments]]
name = "untreated"
control = true
description = "Bare seed from the same lot"
cost_per_ha = 0

[[treatments]]
name = "broth"
description = "Microbe broth on the seed, and once more over the leaves"
cost_per_t_seed = 92
freight_per_t_seed = 5
labour_h_per_t_seed = 0.3
machine_h_per_t_seed = 0.2
water_l_per_t_seed = 8
extra_passes = 1         # over the leaves, at tillering

[[treatments]]
name = "powder"
description = "Mineral powder as a slurry on the seed"
cost_per_t_seed = 210
freight_per_t_seed = 9
labour_h_per_t_seed = 0.6
machine_h_per_t_seed = 0.2
water_l_per_t_seed = 15
saved_per_ha = 6.50      # the trace elements that the other strips got over the leaves

[machines]
seeder_m = 12            # a strip is two passes of the seeder
harvester_m = 12         # and two full cuts of the harvester

[sowing]
seed_kg_ha = 75

[harvest]
standard_moisture_pct = 12.5
crs = "EPSG:4326"        # longitude and latitude, WGS 84
delay_s = "estimate"     # seconds from the cut to the grain sensor: let the data say
edge_m = 3               # metres left out along the edges of each strip

# The yield monitor's headings, by what they mean.
{column_map}
[harvest.screening]
yield_high_t_ha = 9      # no oats here ever yielded more
speed_low_m_s = 0.6

# Declared before harvest.
[analysis]
confidence = 0.95
seed = 2024              # of the random draws
paid_at = 0.9            # "paid" from this chance
did_not_pay_at = 0.1     # "did not pay" up to this chance

[money]
currency = "AUD"
price_per_t = 300        # feed oats, paid at the silo
price_range = [255, 340]
freight_per_t = 22       # what comes off it before it is money in the hand
levy_pct = 1.0
harvest_per_t = 6
labour_per_h = 45        # work, and what an hour of trialling is worth
machine_per_h = 60
water_per_kl = 2.50
pass_per_ha = 11
# What next depends on the farm, too.
area_ha = 350            # where a dressing would be used
seasons = 4              # for so long
lose_more_than = 10      # a hectare: more would hurt

# What the buyer pays by grade, at the silo: an invented table.
[[money.grades]]
name = "milling"
price_per_t = 322
least_test_weight_kg_hl = 51
most_screenings_pct = 10

[[money.grades]]
name = "feed"
price_per_t = 300
"""

#: Corners of the paddock to plan in, and of its dam, m east and north of a place at sea.
PADDOCK_M = [(0, 0), (610, 180), (820, 150), (980, 560), (700, 840), (210, 700), (-60, 330)]
DAM_M = [(560, 480), (600, 505), (645, 495), (650, 455), (610, 430), (570, 440)]
PADDOCK_AT = (85.062, -38.507)

#: How the two past seasons of that paddock varied.
PAST_FIELDS = {
    "2022": simulate.Field(
        mean_t_ha=3.4, rise_across_t_ha=0.5, patch_sd_t_ha=0.22, patch_radius_m=60, pass_sd_t_ha=0.2
    ),
    "2023": simulate.Field(
        mean_t_ha=2.6, rise_across_t_ha=0.2, patch_sd_t_ha=0.3, patch_radius_m=45, pass_sd_t_ha=0.25
    ),
}


def make_plan(folder: Path) -> None:
    """Make the trial that is still to be laid out, with yield maps of two seasons before it."""
    grid = CRS.from_proj4("+proj=tmerc +lat_0={1} +lon_0={0} +datum=WGS84".format(*PADDOCK_AT))
    field = gpd.GeoDataFrame(geometry=[Polygon(PADDOCK_M, [DAM_M])], crs=grid).to_crs("EPSG:4326")
    rounded = shapely.set_precision(field.geometry.to_numpy(), 1e-7)
    boundary = field.set_geometry(shapely.orient_polygons(rounded))
    outline = {
        "type": "FeatureCollection",
        "features": json.loads(boundary.to_json(drop_id=True))["features"],
    }
    past = folder / "past-yields"
    past.mkdir(parents=True)
    (folder / "trial.toml").write_text(PLAN_TOML, encoding="utf-8")
    (folder / "boundary.geojson").write_text(json.dumps(outline) + "\n", encoding="utf-8")
    for season, ground in PAST_FIELDS.items():
        yields = simulate.past_yield(
            boundary, ground, seed=int(season), heading_deg=64, swath_m=9, spacing_m=10
        )
        written = yields.round({"longitude": 6, "latitude": 6, "yield_t_ha": 2})
        written.to_csv(past / f"{season}.csv", index=False, lineterminator="\n")


def make_frost(folder: Path) -> None:
    """Make the season in which a hard frost sat in the low ground."""
    draws = np.random.default_rng(2023).spawn(6)
    layout = simulate.lay_strips(
        TREATMENTS,
        blocks=8,
        seed=draws[0],
        length_m=FROST_LENGTHS_M,
        headland_m=30.0,
        site=simulate.Site(longitude=85.0, latitude=-38.5, heading_deg=23.0),
    )
    boundary = simulate.field_boundary(layout)
    ground = draw_ground(simulate.measure(layout), FROST_FIELD, seed=0)
    season = simulate.harvest_trial(
        layout,
        FROST_FIELD,
        {"dressed": FROST_EFFECT},
        seed=draws[1],
        monitor=simulate.Monitor(
            delay_s=12.0, smear_s=2.2, moisture_delay_s=16.0, calibration=1.06
        ),
        mishaps=MISHAPS,
        boundary=boundary,
        start="2023-12-05T10:12:00",
    )
    simulate.write_trial(
        folder,
        layout,
        _with_header(season, "down", "up"),
        settings=FROST_TOML.format(
            column_map=simulate.column_map(FROST_EXPORT),
            empty_pct=round(100 * EMPTY_ANYWAY),
            logger_places=_logger_places(ground.plan),
        ),
        boundary=boundary,
        tables={
            "dressing": _dressing("2023-05-11", "2023-05-12"),
            "counts": _counts(season, "2023-06-06", draws[2]),
            "stages": pd.DataFrame(STAGES, columns=["date", "zadoks"]),
            "scores": _scores(ground, draws[3]),
            "heads": _heads(ground, "2023-10-28", draws[4]),
        },
        export=FROST_EXPORT,
        log_name="low-end-2023-12-05.csv",
    )
    _write_temperatures(folder / "temperatures", ground, draws[5])


def make_no_frost(folder: Path) -> None:
    """Make the season without frost, with every strip weighed as well."""
    draws = np.random.default_rng(2024).spawn(4)
    layout = simulate.lay_strips(
        TREATMENTS,
        blocks=8,
        seed=draws[0],
        length_m=NO_FROST_LENGTHS_M,
        headland_m=30.0,
        site=simulate.Site(longitude=85.031, latitude=-38.482, heading_deg=112.0),
    )
    boundary = simulate.field_boundary(layout)
    season = simulate.harvest_trial(
        layout,
        NO_FROST_FIELD,
        {"dressed": NO_FROST_EFFECT},
        seed=draws[1],
        monitor=simulate.Monitor(delay_s=9.0, smear_s=1.8, moisture_delay_s=12.0, calibration=0.96),
        mishaps=MISHAPS,
        boundary=boundary,
        start="2024-11-28T09:40:00",
    )
    weights = simulate.trailer_weights(season, seed=draws[3])
    simulate.write_trial(
        folder,
        layout,
        _with_header(season, "1", "0"),
        settings=NO_FROST_TOML.format(column_map=simulate.column_map(NO_FROST_EXPORT)),
        boundary=boundary,
        tables={
            "dressing": _dressing("2024-05-09", "2024-05-10"),
            "counts": _counts(season, "2024-06-04", draws[2]),
            # The scales show whole ten kilograms.
            "weights": weights.round({"mass_kg": -1, "moisture_pct": 1, "area_ha": 3}).astype(
                {"mass_kg": int}
            ),
        },
        export=NO_FROST_EXPORT,
        log_name="long-rise-2024-11-28.csv",
    )


def make_two_dressings(folder: Path) -> None:
    """Make the trial of two dressings beside the control, sold by grade."""
    draws = np.random.default_rng(20242).spawn(4)
    layout = simulate.lay_strips(
        ("untreated", "broth", "powder"),
        blocks=6,
        seed=draws[0],
        length_m=560,
        headland_m=30.0,
        site=simulate.Site(longitude=85.093, latitude=-38.471, heading_deg=8.0),
    )
    boundary = simulate.field_boundary(layout)
    season = simulate.harvest_trial(
        layout,
        TWO_DRESSINGS_FIELD,
        TWO_DRESSINGS_EFFECTS,
        seed=draws[1],
        monitor=simulate.Monitor(delay_s=11.0, smear_s=2.0, moisture_delay_s=15.0, calibration=1.0),
        mishaps=MISHAPS,
        boundary=boundary,
        start="2024-12-02T11:05:00",
    )
    simulate.write_trial(
        folder,
        layout,
        _with_header(season, "down", "up"),
        settings=TWO_DRESSINGS_TOML.format(column_map=simulate.column_map(FROST_EXPORT)),
        boundary=boundary,
        tables={
            "counts": _counts(season, "2024-06-11", draws[2]),
            "quality": _quality(season.truth.strips, draws[3]),
        },
        export=FROST_EXPORT,
        log_name="quarry-bank-2024-12-02.csv",
    )


#: The demo trials by folder, three harvested and one to plan. The first in the order of the
#: alphabet is the one shown first.
DEMOS: dict[str, Callable[[Path], None]] = {
    "oats-2023-hard-frost": make_frost,
    "oats-2024-no-frost": make_no_frost,
    "oats-2024-two-dressings": make_two_dressings,
    "oats-2025-to-plan": make_plan,
}


def make_all(folder: Path) -> None:
    """Make every demo trial in a folder."""
    for name, make in DEMOS.items():
        make(folder / name)


def _with_header(
    season: simulate.SimulatedHarvest, down: str, up: str
) -> simulate.SimulatedHarvest:
    """Add what else the monitor wrote: number of the record, and whether the header was down."""
    header = np.where(season.records["header_down"], down, up)
    log = season.log.assign(record=np.arange(1, len(season.log) + 1), header=header)
    return dataclasses.replace(season, log=log)


def _dressing(first_day: str, second_day: str) -> pd.DataFrame:
    """Return what went into the auger, in two loads of seed."""
    rows = [
        ("water", 5.0, "L", "clean tank water"),
        ("microbe broth", 4.0, "L", "watery; in first"),
        ("mineral powder", 2.0, "kg", "dust mask, gloves, eye protection"),
        ("kelp syrup", 3.0, "L", "thick; in last"),
    ]
    loads = [(first_day, 0.7), (second_day, 0.6)]
    return pd.DataFrame(
        [
            (day, product, round(amount * seed_t, 2), unit, seed_t, "dressed", note)
            for day, seed_t in loads
            for product, amount, unit, note in rows
        ],
        columns=["date", "product", "amount", "unit", "seed_t", "treatment", "note"],
    )


def _counts(season: simulate.SimulatedHarvest, day: str, draw: np.random.Generator) -> pd.DataFrame:
    """Count plants along a metre of row, at two places in each strip: some 190 plants a m²."""
    strips = season.truth.strips["strip"].repeat(2)
    return pd.DataFrame(
        {
            "strip": strips,
            "date": day,
            "count": draw.poisson(190 * 0.25, len(strips)),
            "row_length_m": 1.0,
            "row_spacing_m": 0.25,
        }
    )


def _quality(strips: pd.DataFrame, draw: np.random.Generator) -> pd.DataFrame:
    """Test one sample of each strip's grain."""
    table = pd.DataFrame({"strip": strips["strip"]})
    for measure, (untreated, added, strip_sd, decimals) in QUALITY.items():
        true = untreated + strips["treatment"].map(added).fillna(0.0).to_numpy(dtype=float)
        table[measure] = (true + strip_sd * draw.standard_normal(len(strips))).round(decimals)
    return table


def _loss(ground: Ground, strip: pd.Series, along_m: np.ndarray) -> np.ndarray:
    """Return the share of the yield that frost took along the middle of a strip."""
    middle = np.array((strip["across_from_m"] + strip["across_to_m"]) / 2)
    kept = FROST_EFFECT.frost_protection if strip["treatment"] == "dressed" else 0.0
    return ground.frost_loss(along_m, middle) * (1 - kept)


def _scores(ground: Ground, draw: np.random.Generator) -> pd.DataFrame:
    """Score vigour twice, which the dressing does nothing to, and frost damage once."""
    rows = []
    strips = [strip for _, strip in ground.plan.strips.iterrows()]
    for day in ("2023-07-12", "2023-08-22"):
        seen = np.clip(np.round(6.4 + 0.9 * draw.standard_normal(len(strips))), 1, 9)
        rows += [(s["strip"], day, "vigour", int(v)) for s, v in zip(strips, seen, strict=True)]
    for strip in strips:
        along = np.arange(strip["along_from_m"], strip["along_to_m"], 10.0)
        by_eye = 100 * _loss(ground, strip, along).mean() + 2.0 * draw.standard_normal()
        rows.append((strip["strip"], "2023-10-20", "frost_damage_pct", max(0, round(by_eye))))
    return pd.DataFrame(rows, columns=["strip", "date", "score", "value"])


def _heads(ground: Ground, day: str, draw: np.random.Generator) -> pd.DataFrame:
    """Pick ten heads anywhere in each strip, and count florets and those without a grain."""
    rows = []
    for _, strip in ground.plan.strips.iterrows():
        along = draw.uniform(strip["along_from_m"] + 20, strip["along_to_m"] - 20, 10)
        florets = np.clip(np.round(34 + 6 * draw.standard_normal(10)), 14, 60).astype(int)
        share = EMPTY_ANYWAY + (1 - EMPTY_ANYWAY) * _loss(ground, strip, along)
        sterile = draw.binomial(florets, share)
        rows += [(strip["strip"], day, *each) for each in zip(sterile, florets, strict=True)]
    return pd.DataFrame(rows, columns=["strip", "date", "sterile", "florets"])


def _logger_places(plan: simulate.Plan) -> str:
    """Return where the loggers hung, as `trial.toml` has it."""
    text = ""
    for name, (along, across) in LOGGERS_M.items():
        longitude, latitude = plan.to_lonlat(along, across)
        text += (
            f"[scouting.temperatures.places.{name}]\n"
            f"longitude = {longitude:.5f}\nlatitude = {latitude:.5f}\n\n"
        )
    return text


def _write_temperatures(folder: Path, ground: Ground, draw: np.random.Generator) -> None:
    """Write what the loggers recorded: on clear nights the cold runs into the hollow."""
    folder.mkdir(exist_ok=True)
    steps = LOGGED_DAYS * 24 * 60 // LOGGED_EVERY_MIN + 1
    times = pd.date_range(LOGGED_FROM, periods=steps, freq=f"{LOGGED_EVERY_MIN}min")
    on_the_rise, drop = _air(times, draw)
    gap_from = pd.Timestamp(LOGGER_GAP[0])
    for name, (along, across) in LOGGERS_M.items():
        deep = float(ground.depth(np.array(along), np.array(across))) ** 2
        shown = on_the_rise - deep * drop + 0.1 * draw.standard_normal(steps)
        missed = (times >= gap_from) & (times < gap_from + pd.Timedelta(hours=LOGGER_GAP[1]))
        kept = ~missed if name == "slope" else np.ones(steps, dtype=bool)
        lines = [f"Logger;{name}", "Logged at;Temperature (°C)"]
        lines += [
            f"{time:%Y-%m-%d %H:%M};{value:.1f}"
            for time, value in zip(times[kept], shown[kept], strict=True)
        ]
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _air(times: pd.DatetimeIndex, draw: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Return the temperature on the rise, °C, and how much colder the deepest place was."""
    hour = np.asarray(times.hour + times.minute / 60)
    # Days are counted from three in the afternoon, the warmest hour; the coldest is six.
    first = times[0].normalize()
    day = np.asarray((times - first + pd.Timedelta(hours=9)).days)
    highs = 15 + 2.5 * draw.standard_normal(LOGGED_DAYS + 2)
    lows = 7 + 1.5 * draw.standard_normal(LOGGED_DAYS + 1)
    drops = np.zeros(LOGGED_DAYS + 1)
    for october, (coldest, drop) in CLEAR_NIGHTS.items():
        night = (pd.Timestamp(2023, 10, october) - first).days
        lows[night], drops[night] = coldest, drop
    since = (hour - 15) % 24
    falling = (1 + np.cos(np.pi * np.minimum(since, 15) / 15)) / 2
    rising = (1 - np.cos(np.pi * np.maximum(since - 15, 0) / 9)) / 2
    night = lows[day]
    warm = np.where(since <= 15, highs[day], highs[day + 1])
    share = np.where(since <= 15, falling, rising)
    air = night + (warm - night) * share
    wander = np.convolve(draw.standard_normal(len(times) + 7), np.full(8, 0.1), mode="valid")
    return air + wander, drops[day] * (1 - share) ** 0.6


if __name__ == "__main__":
    make_all(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
