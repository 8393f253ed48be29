"""Fields, harvests and logs with known truth: for rehearsal, tests and demo data.

>>> from trialkit import simulate
>>> layout = simulate.lay_strips(["untreated", "dressed"], blocks=4, seed=1)
>>> season = simulate.harvest_trial(layout, seed=2)
>>> list(season.log.columns[:3])
['time', 'longitude', 'latitude']
"""

from trialkit.simulate.drive import Machine
from trialkit.simulate.export import (
    PLAIN_EXPORT,
    Export,
    column_map,
    short_settings,
    truth_as_json,
    write_log,
    write_trial,
)
from trialkit.simulate.mishaps import EVERY_MISHAP, NO_MISHAPS, Mishaps
from trialkit.simulate.monitor import Monitor
from trialkit.simulate.outcome import SimulatedHarvest, Truth, harvest_trial
from trialkit.simulate.paddock import Effect, Field, Hollow
from trialkit.simulate.plan import Plan, Site, field_boundary, lay_strips, measure
from trialkit.simulate.samples import past_yield, points, trailer_weights

__all__ = [
    "EVERY_MISHAP",
    "NO_MISHAPS",
    "PLAIN_EXPORT",
    "Effect",
    "Export",
    "Field",
    "Hollow",
    "Machine",
    "Mishaps",
    "Monitor",
    "Plan",
    "SimulatedHarvest",
    "Site",
    "Truth",
    "column_map",
    "field_boundary",
    "harvest_trial",
    "lay_strips",
    "measure",
    "past_yield",
    "points",
    "short_settings",
    "trailer_weights",
    "truth_as_json",
    "write_log",
    "write_trial",
]
