"""A new trial folder: commented, with blanks to fill in."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.errors import TrialFolderError
from trialkit.trial.config import FILE
from trialkit.trial.drawings import BOUNDARY_FILE, LAYOUT_FILE
from trialkit.trial.folder import HARVEST_FOLDER
from trialkit.trial.planning import EXCLUSIONS_FILE
from trialkit.trial.sowing_notes import SOWN_FORM
from trialkit.trial.tables import FORMS
from trialkit.trial.writing import write_whole

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from trialkit.design import FieldDrawing

#: Every blank is `""` with an example behind it; a test fills in the examples.
_TRIAL_TOML = """\
# A strip trial of seed dressing. Fill in each blank (""); numbers go without quotes.
# Then run `trialkit check FOLDER`: it says what is still missing.

[trial]
name = ""                # for example "Dressing trial, Long paddock"
season = ""              # year of harvest, for example 2026
crop = ""                # for example "oats"
paddock = ""
question = ""            # what you want to know, in your own words
# frost = true           # did frost hurt the crop? Seasons with and without it are set apart

# One [[treatments]] for each thing on the seed. Exactly one is the untreated control.
[[treatments]]
name = "untreated"
control = true
cost_per_ha = 0

[[treatments]]
name = ""                # for example "dressed"
description = ""         # what is in it
cost_per_ha = ""         # products and work, in your currency, for example 14.50
# cost_per_t_seed = 180  # or the cost for each tonne of seed; then fill in [sowing]
# Or products alone above, and the rest item by item; the rates stand under [money].
# freight_per_t_seed = 12     # bringing the products to the farm, money a tonne of seed
# labour_h_per_t_seed = 0.5   # hours to dress a tonne of seed
# labour_h_per_ha = 0.02      # and in the paddock
# machine_h_per_t_seed = 0.25 # mixer, auger, tractor
# machine_h_per_ha = 0.01
# water_l_per_t_seed = 10
# extra_passes = 1            # over the paddock, beyond the control's
# extra_seed_kg_ha = 4        # seed beyond the control's
# saved_per_ha = 6.50         # what it saves of other inputs
# seed_t = 1.2           # tonnes to dress; else what the strips take
# mixing_order = ["root microbe"]  # each product once, as the labels ask; else the usual order

# What is on its seed, as the labels say, for `trialkit runsheet FOLDER`. Where each product has a
# price you may leave the cost above out: it follows from them. More products: the same again.
# [[treatments.products]]
# name = "root microbe"
# form = "watery"        # a thin liquid; or "powder", or "syrupy" (a thick liquid)
# per_t = 2              # a tonne of seed; or per_ha
# unit = "l"             # or "ml", "kg", "g"; powders are weighed
# density_kg_l = 1.0     # weight of a litre
# water_pct = 90         # water in it
# pack = 10              # what a pack holds, in unit
# cost_per_pack = 150    # or cost_per_l, or cost_per_kg
# living_per_ml = 1e9    # living organisms in a millilitre, or living_per_g
# minimum_per_seed = 1e4  # that a seed must carry
# keeps_mixed_h = 4      # hours once mixed
# keeps_on_seed_h = 24   # hours once on the seed
# fungicide = false      # whether it kills fungi or bacteria

# [sowing]
# seed_kg_ha = 80        # bare seed, the same for all; or the next four, from which it follows
# target_plants_m2 = 200
# seed_weight_g_1000 = 36  # a thousand seeds of this lot
# germination_pct = 95
# establishment_pct = 90
# seed_moisture_pct = 11
# row_spacing_m = 0.25
# cart_kg = 4000         # what the seeder's cart or tank holds
# tanks = 1              # seed tanks that can be switched apart
# reserve_pct = 5
# purge_kg = 40          # run through and thrown away whenever a treatment is begun
# seed_cost_per_t = 380

# [dressing]
# rate_l_t = 10          # litres of mix on a tonne of seed, water included
# mixer_l = 20           # what the mixer holds, as far as it is filled
# tank_l = 80            # what the tank at the auger holds
# auger_t_h = 40         # seed through the auger, as timed
# jug_l = 5              # to count in whole jugs
# bucket_l = 10          # for the catch test
# stands_h = 0           # hours a mix stands before it goes on
# sown_after_h = 12      # hours until the last seed is in the ground
# in_sun = false         # whether mix or dressed seed stands in the sun
# seed_has_fungicide = false
# storage_limit_pct = 12.5
# work_per_t_seed = 40   # mixing and machines, money a tonne; for a cost that follows from products

# How to read the seeder's own record, where you copy one into the folder as-sown/: lines, areas
# or points. The headings and names are those of the file.
# [as_sown]
# width_m = 12           # of a pass; else seeder_m
# least_share_pct = 90   # a strip with less than this of one treatment is mixed and left out
# [as_sown.columns]
# treatment = "Product"
# [as_sown.names]
# "Bin 1" = "untreated"
# "Bulk wheat" = ""      # not on trial

# What is counted, scored and logged while the crop grows.
# [scouting]
# sown = 2026-05-12      # nothing is seen before it
# places = 5             # to count plants at, in each strip; see `trialkit countsheet FOLDER`
# row_length_m = 1       # of row at each place
# seed = 7               # of the draw of the places; else that of the analysis
# sterile_without_frost_pct = 5  # florets that stay empty in any year
# [scouting.scores.vigour]  # one for each thing scored in scores.csv
# low = 1
# high = 9
# better = "high"
# [scouting.temperatures]  # how to read the loggers' files in the folder temperatures/
# sensor = "canopy"      # unshielded among the ears; or "screen", shielded at 1.2 to 1.5 m
# unit = "C"             # where the heading does not say it
# zone = "+09:30"        # a clock that is never moved; or a place, such as "Australia/Adelaide"
# day_first = true       # where 03/04 is the third of April
# missing = [-999]       # numbers that mean no reading
# [scouting.temperatures.columns]
# time = "Date Time"     # or date and clock
# temperature_c = "Temp (°C)"
# [scouting.temperatures.places.hollow]  # where the logger of the file hollow.csv hangs
# longitude = 85.0123    # or relative_height_m, or strip
# latitude = -38.5012

[machines]
seeder_m = ""            # working width, for example 12
harvester_m = ""         # width of the front, for example 12

# How `trialkit layout FOLDER` lays the strips out in boundary.geojson. The rest has usual values.
[design]
blocks = 6               # fewer than 6 pairs cannot reach 5% in a randomisation test
# heading_deg = 12       # of your guidance lines; else that of the longest side
# headland_m = 24
# passes_per_strip = 2   # seeder passes; else the fewest that hold a full cut
# sprayer_m = 36         # keeps the tramlines out of the cut, or the same in every strip
# traffic_m = 12         # controlled traffic: strips are multiples of this
# anchor = [85.0123, -38.5012]  # longitude and latitude of a point on the edge of a pass
# guidance_point = [85.0123, -38.5012]  # or of a point on your guidance line, mid-pass
# draw = "even sides"    # each treatment as often left as right
# seed = 20260412        # of the draw; else a new one, which layout.geojson keeps
# yield_t_ha = 3         # with cv_pct it says what the trial could see
# hoped_gain_t_ha = 0.2  # what you hope for; the trial must tell it from the gain that pays
# cv_pct = 5             # how much strips differ side by side, % of the yield

[harvest]
standard_moisture_pct = ""  # moisture your yields are sold at, for example 12.5
delay_s = "estimate"     # seconds from the cut to the grain sensor; or a number you know
# moisture_delay_s = 14  # the same to the moisture sensor, where you know it
# edge_m = 3             # metres left out along the edges of each strip
# header_ahead_m = 2.8   # how far the cut is ahead of the antenna, where the log does not say it
# header_right_m = 0     # and to the right of it; below zero to the left
# only = {"Crop" = "oats"}  # which records of a log with several crops, varieties or fields

# The yield monitor's headings, and the units it writes. To see a proposal, copy the export into
# the folder harvest/ and run `trialkit harvest FOLDER`. Check it, then put it here.
# [harvest.columns]
# flow_kg_s = "Grain flow"
# [harvest.units]
# flow_kg_s = "kg/s"

# Limits for leaving out records. These are the usual ones; the report lists them all.
# [harvest.screening]
# speed_low_m_s = 0.5
# yield_high_t_ha = 15
# pass_start_s = "found"   # from the log's own flow curve; or a number of seconds
# pass_end_s = "found"
# rules = ["turning", "absurd yield"]  # only these rules, in this order; all of them if not given

# Say before harvest how the trial will be judged, and do not change it afterwards.
[analysis]
# yield_from = "scales"  # "monitor" or "scales", where you have both
confidence = 0.95        # of the intervals in the report
seed = 1                 # of the random draws, so that the same data give the same answer
paid_at = 0.9            # "paid" from this chance
did_not_pay_at = 0.1     # "did not pay" up to this chance

[money]
currency = ""            # three letters, for example "AUD"
price_per_t = ""         # grain price, for example 300; at the farm gate, or less the next four
# price_range = [250, 340]  # lowest and highest price you think likely
# freight_per_t = 22       # to where the price is paid
# levy_per_t = 1.50        # levies by weight
# levy_pct = 1.02          # levies by value, % of the price
# harvest_per_t = 6        # harvest, handling, storage: what grows with the yield
# What the work and the machines of a treatment cost, where you give its hours, water or passes.
# machine_per_h = 60       # labour_per_h stands below
# water_per_kl = 2.50      # 1,000 l
# pass_per_ha = 11
# With these three the report says what next: use it, stop, or test again, and how.
# area_ha = 400            # where you would use the dressing, hectares a season
# seasons = 5              # for how many seasons
# labour_per_h = 40        # what an hour of work, and of trialling, is worth to you
# lose_more_than = 10      # a loss per hectare that would hurt: the report gives its chance

# Where the buyer pays by grade: each grade with its price and limits; leave out limits that it has
# not. One takes whatever the others do not. What the grain of each strip was goes into quality.csv.
# [[money.grades]]
# name = "milling"
# price_per_t = 330        # where price_per_t is paid
# least_protein_pct = 10
# most_protein_pct = 13
# most_screenings_pct = 10
# least_test_weight_kg_hl = 51
# [[money.grades]]
# name = "feed"
# price_per_t = 300
"""

_README = """\
# What goes into this folder

- `trial.toml`: what is tested, with which machines, at what prices. Fill in the blanks.
- `boundary.geojson`: the outline of the field as one polygon (WGS 84); its holes are dams, trees,
  rocks. Needed by `trialkit layout`.
- `exclusions.geojson`: ground inside the field to stay off (dams, trees, rocks). Not needed.
- `layout.geojson`: written by `trialkit layout`, or drawn: one polygon for each strip, with the
  properties `strip`, `block` and `treatment`. A block is a group of neighbouring strips with each
  treatment in it.
- `dressing.csv`: what was mixed.
- `counts.csv`: plants counted, a row a place; `trialkit countsheet` writes a sheet for it. A blank
  count is a place where nobody looked; 0 is one where nothing grew.
- `stages.csv`: growth stages, `date` and `zadoks`.
- `scores.csv`: what was scored by strip and day; a name that ends in `_pct` is a percentage.
- `heads.csv`: heads after frost, a row a head: `sterile` of its `florets`.
- `temperatures/`: temperature loggers' files, untouched.
- `as-sown.csv`: only what was sown otherwise than planned, one row a strip: `treatment` it really
  got, or `lost` = yes; for a part of it `from_m`, `to_m` and the end measured from (`from_end`,
  such as north); if it lies elsewhere, `moved_m` and `toward` (strip `all` for the whole lot).
- `as-sown.geojson`: strips drawn anew under their names, and lost ground with `role` = "lost".
- `as-sown/`: the seeder's own record, if there is one. `layout.geojson` stays the plan; what is
  analysed is what was sown.
- `weights.csv`: scale weights. Give `strip` and `mass_kg`, or for loads `load`, `start`, `end` and
  `mass_kg`.
- `quality.csv`: protein, screenings and test weight by strip; with grades in `trial.toml` they
  count in the money.
- `harvest/`: the yield monitor's exports, untouched.
- `results/`: what trialkit writes. It can be deleted and remade.

Delete the tables you do not need. Your own files are never changed.

Dressed seed must not become food or feed. Read the label and the safety data sheet first.
"""


def new_folder(path: Path, field: FieldDrawing | None = None) -> list[Path]:
    """Write a new trial folder.

    Parameters
    ----------
    path
        The folder to make; it must not exist yet, or be empty.
    field
        The field as a terminal or a map program knows it: its outline, ground to stay off and
        guidance line go into the folder.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    TrialFolderError
        If there is something in the way.
    """
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise TrialFolderError(
            f"{path}: there is something here already. Give a name that is not taken yet."
        )
    drawing = json.dumps({"type": "FeatureCollection", "features": []}, indent=1) + "\n"
    contents = {FILE: _TRIAL_TOML, "README.md": _README, LAYOUT_FILE: drawing}
    for form in (*FORMS.values(), SOWN_FORM):
        first_way = form.ways[0] if form.ways else ()
        contents[form.file] = ",".join([*first_way, *form.needed, *form.optional]) + "\n"
    if field is not None:
        contents |= {
            FILE: _with_guidance(_TRIAL_TOML, field),
            BOUNDARY_FILE: _drawn(field.boundary),
        }
        if len(field.obstacles):
            contents[EXCLUSIONS_FILE] = _drawn(field.obstacles)
    written = [write_whole(path / name, text) for name, text in contents.items()]
    (path / HARVEST_FOLDER).mkdir()
    return written


def _drawn(shapes: GeoDataFrame) -> str:
    content = json.loads(shapes[["geometry"]].to_json(drop_id=True))
    content.pop("crs", None)  # GeoJSON is WGS 84 (RFC 7946, section 4)
    return json.dumps(content) + "\n"


def _with_guidance(text: str, field: FieldDrawing) -> str:
    """Return `trial.toml` with paddock, heading and guidance line of a field filled in."""
    name = "".join(letter for letter in field.name if letter.isprintable())
    quoted = json.dumps(name, ensure_ascii=False)
    text = text.replace('paddock = ""', f"paddock = {quoted}", 1)
    heading, point = field.heading_deg, field.line_point
    if heading is None or point is None:
        return text
    lines = [
        f"heading_deg = {round(heading, 4):g}       # of your guidance line",
        f"guidance_point = [{point[0]:.8f}, {point[1]:.8f}]  # on it, mid-pass",
    ]
    return "\n".join(
        lines.pop(0) if line.startswith(("# heading_deg", "# guidance_point")) else line
        for line in text.split("\n")
    )
