"""Harvest a simulated trial: the log a machine would write, and the truth beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from shapely.geometry import Polygon

from trialkit.errors import LayoutError
from trialkit.simulate.drive import Machine, drive_field
from trialkit.simulate.lanes import Stand, grow, lay_lanes, strip_at
from trialkit.simulate.mishaps import (
    NO_MISHAPS,
    REPEAT,
    Mishaps,
    Slips,
    plan_events,
    plan_slips,
)
from trialkit.simulate.monitor import (
    Monitor,
    read_flow,
    read_moisture,
    read_position,
    show_yield,
)
from trialkit.simulate.paddock import Effect, Field, Ground, draw_ground
from trialkit.simulate.plan import Plan, measure

#: Decimals that log and truth are rounded to, so that they do not hang on a processor's last bits.
_DECIMALS = 9


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """What was true, whatever the monitor made of it.

    Parameters
    ----------
    gains
        Index treatment: `gain_t_ha`, what it adds to the ground of the trial, the mean over all
        strips whatever they were sown with; `mean_t_ha`, the mean true yield of its own strips.
    strips
        One row a strip: `strip block treatment area_ha yield_t_ha undressed_t_ha moisture_pct`,
        the last being what its grain held when it was cut, NaN where it was not.
    mishaps
        One row a planted fault and record: `record` (row of the log, from 0) and `kind`.
    """

    gains: pd.DataFrame
    strips: pd.DataFrame
    mishaps: pd.DataFrame

    def gain_t_ha(self, treatment: str, control: str) -> float:
        """Return what a treatment truly adds over a control, t/ha: what an interval should hold."""
        gains = self.gains["gain_t_ha"]
        return float(gains[treatment] - gains[control])

    def difference_t_ha(self, treatment: str, control: str) -> float:
        """Return the difference of the mean true strip yields, t/ha: chance is part of it."""
        means = self.gains["mean_t_ha"]
        return float(means[treatment] - means[control])


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedHarvest:
    """A harvest as the monitor logged it, and as it was.

    Parameters
    ----------
    log
        Canonical columns `time longitude latitude elevation_m speed_m_s swath_m flow_kg_s
        moisture_pct yield_t_ha`. Flow, moisture and yield are late, as they come from the sensors.
    records
        The truth, row by row of the log: `pass_id` and `strip block treatment` (-1 and empty where
        there is none), `along_m across_m distance_m heading_deg header_down cut_m`, `yield_t_ha` at
        the place, `intake_kg_s` and `moisture_pct` of the grain as cut there, `from_start_s` and
        `to_end_s` within the pass, and `mishap`, empty where nothing was planted.
    truth
        Gains, strip yields and planted faults.
    machine, monitor
        What it was harvested with.
    standard_moisture_pct
        Moisture that yields are stated at, %.
    """

    log: pd.DataFrame
    records: pd.DataFrame
    truth: Truth
    machine: Machine
    monitor: Monitor
    standard_moisture_pct: float


def harvest_trial(
    layout: gpd.GeoDataFrame | Plan,
    field: Field | None = None,
    effects: Mapping[str, Effect] | None = None,
    *,
    seed: int | np.random.Generator,
    machine: Machine | None = None,
    monitor: Monitor | None = None,
    mishaps: Mishaps = NO_MISHAPS,
    boundary: gpd.GeoDataFrame | None = None,
    start: str = "2024-12-05T10:00:00",
) -> SimulatedHarvest:
    """Grow a trial on a field and harvest it, second by second.

    Field, drive, sensors and mishaps draw from generators of their own, so that with one seed and
    one cut width the same crop stands on the field, whatever goes wrong at harvest.

    Parameters
    ----------
    layout
        The strips, from `lay_strips`, from a trial folder, or measured already.
    field
        How the field varies; the usual one if not given.
    effects
        What each treatment does; a treatment that is not named does nothing.
    seed
        Seed, or a generator.
    machine, monitor
        How it is cut and measured; the usual ones if not given.
    mishaps
        Faults to plant; none if not given.
    boundary
        Outline of the field; given, its headland is cut first.
    start
        Local time of the first record, ISO 8601.

    Returns
    -------
    SimulatedHarvest
        The log, and the truth.

    Raises
    ------
    LayoutError
        If strips are no rectangles, an effect names no treatment, or mishaps do not fit.

    Examples
    --------
    >>> from trialkit import simulate
    >>> layout = simulate.lay_strips(["untreated", "dressed"], blocks=4, seed=1)
    >>> season = simulate.harvest_trial(layout, effects={"dressed": simulate.Effect(0.2)}, seed=2)
    >>> round(season.truth.gain_t_ha("dressed", "untreated"), 3)
    0.2
    """
    plan = layout if isinstance(layout, Plan) else measure(layout)
    settings, machine, monitor = field or Field(), machine or Machine(), monitor or Monitor()
    draws = np.random.default_rng(seed).spawn(5)
    field_draw, stand_draw, drive_draw, sensor_draw, fault_draw = draws
    ground = draw_ground(plan, settings, effects, seed=field_draw)
    lanes = lay_lanes(plan, machine.swath_m, follow_strips=machine.follow_strips)
    stand = grow(ground, lanes, seed=stand_draw)
    path = drive_field(
        plan,
        lanes,
        machine,
        draw=drive_draw,
        interval_s=monitor.interval_s,
        events=plan_events(mishaps, len(lanes), fault_draw),
        field=None if boundary is None else _outline(plan, boundary),
        empties_s=monitor.delay_s + 5 * monitor.smear_s,
    )
    records = _reap(path, ground, lanes, stand, monitor.interval_s, stand_draw)
    sound = ((records["mishap"] == "") & (records["lane"] >= 0)).to_numpy()
    late = monitor.delay_s + monitor.moisture_delay_s + 5 * monitor.smear_s
    slips = plan_slips(
        sound,
        mishaps,
        fault_draw,
        interval_s=monitor.interval_s,
        inner=(records["from_start_s"] > late).to_numpy(),
    )
    for kind, rows in slips.of_kinds().items():
        records.loc[rows, "mishap"] = kind
    log = _write_down(records, ground, monitor, slips, sensor_draw, start)
    strips = _with_moisture(stand.strips, records)
    if len(slips.repeats):
        log, records = _with_repeats(log, records, slips.repeats)
    truth = Truth(stand.gains, strips, _planted(records))
    told = records.drop(columns=["lane", "speed_m_s", "swath_m"]).round(_DECIMALS)
    return SimulatedHarvest(log, told, truth, machine, monitor, settings.standard_moisture_pct)


def _outline(plan: Plan, boundary: gpd.GeoDataFrame) -> Polygon:
    outline = plan.from_grid(gpd.GeoSeries([boundary.to_crs(plan.crs).union_all()])).iloc[0]
    if not isinstance(outline, Polygon):
        raise LayoutError("The boundary is not one polygon. The simulation harvests one field.")
    return outline


def _reap(
    path: pd.DataFrame,
    ground: Ground,
    lanes: pd.DataFrame,
    stand: Stand,
    interval_s: float,
    draw: np.random.Generator,
) -> pd.DataFrame:
    """Add what is cut in each record: strip, true yield, grain and its moisture."""
    along, across = path["along_m"].to_numpy(), path["across_m"].to_numpy()
    hours = np.arange(len(path)) * interval_s / 3600
    # Off the lanes grows undressed crop, with noise of its own.
    bare = ground.potential_t_ha(along, across)
    bare += ground.pass_noise_t_ha(len(path), 2.0, draw)
    yields = ground.dressed(bare, ground.frost_loss(along, across), "")
    lane = path["lane"].to_numpy()
    ground_cut = across.copy()  # a machine that drifts off its lane still cuts what is left of it
    for row, middle in enumerate(lanes["across_m"]):
        here = lane == row
        ground_cut[here] = middle
        yields[here] = np.interp(along[here], stand.along_m, stand.yield_t_ha[row])
    moisture = ground.moisture_pct(along, across, hours)
    standard = ground.settings.standard_moisture_pct
    dry_kg_s = yields / 10 * path["cut_m"].to_numpy() * path["speed_m_s"].to_numpy()
    at = np.where(path["header_down"], strip_at(ground.plan, along, ground_cut), -1)
    named = ground.plan.strips[["strip", "block", "treatment"]].to_numpy(dtype=object)
    names = np.where(at[:, None] >= 0, named[at], "")
    order = path.groupby("pass_id").cumcount()
    size = path.groupby("pass_id")["pass_id"].transform("size")
    on_pass = path["pass_id"] >= 0
    return path.assign(
        strip=names[:, 0],
        block=names[:, 1],
        treatment=names[:, 2],
        yield_t_ha=np.where(path["header_down"], yields, 0.0),
        intake_kg_s=dry_kg_s * (100 - standard) / (100 - moisture),
        moisture_pct=moisture,
        from_start_s=(order * interval_s).where(on_pass),
        to_end_s=((size - 1 - order) * interval_s).where(on_pass),
    )


def _write_down(
    records: pd.DataFrame,
    ground: Ground,
    monitor: Monitor,
    slips: Slips,
    draw: np.random.Generator,
    start: str,
) -> pd.DataFrame:
    """Write the log as the monitor would, spikes and jumps included."""
    number = len(records)
    seconds = np.arange(number) * monitor.interval_s
    intake = records["intake_kg_s"].to_numpy()
    flow = read_flow(intake, monitor, draw)
    flow[slips.spikes] = slips.spike_kg_s
    for first, after in slips.freezes:
        flow[first:after] = flow[first]
    for (first, after), factor in zip(slips.surges, slips.surge_factor, strict=True):
        flow[first:after] *= factor
    moisture = read_moisture(
        records["moisture_pct"].to_numpy(), intake, seconds / 3600, monitor, draw
    )
    moisture[slips.wet] = slips.wet_pct
    true_along, true_across = records["along_m"].to_numpy(), records["across_m"].to_numpy()
    along, across = read_position(true_along, true_across, monitor, draw)
    along[slips.jumps] += slips.jump_along_m
    across[slips.jumps] += slips.jump_across_m
    longitude, latitude = ground.plan.to_lonlat(np.round(along, 4), np.round(across, 4))
    height = ground.elevation_m(true_along, true_across)
    speed = np.abs(records["speed_m_s"].to_numpy() + 0.02 * draw.standard_normal(number))
    swath = records["swath_m"].to_numpy(dtype=float)
    standard = ground.settings.standard_moisture_pct
    columns = {
        "longitude": longitude,
        "latitude": latitude,
        "elevation_m": height + read_position(np.zeros(number), np.zeros(number), monitor, draw)[0],
        "speed_m_s": speed,
        "swath_m": swath,
        "flow_kg_s": flow,
        "moisture_pct": moisture,
        "yield_t_ha": show_yield(flow, speed, swath, moisture, standard),
    }
    milliseconds = pd.to_timedelta(np.round(1000 * seconds).astype("int64"), unit="ms")
    log = pd.DataFrame(columns).round(_DECIMALS)
    log.insert(0, "time", pd.Timestamp(start) + milliseconds)
    return log


def _with_repeats(
    log: pd.DataFrame, records: pd.DataFrame, repeats: NDArray[np.int64]
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Write some records twice; the truth calls the second one the fault."""
    twice = np.sort(np.concatenate([np.arange(len(log)), repeats]))
    again = np.diff(twice, prepend=-1) == 0
    log, records = log.iloc[twice], records.iloc[twice].reset_index(drop=True)
    records.loc[again, "mishap"] = REPEAT
    return log.reset_index(drop=True), records


def _with_moisture(strips: pd.DataFrame, records: pd.DataFrame) -> pd.DataFrame:
    """Add the moisture of the grain cut in each strip, weighted by grain."""
    cut = records[records["strip"] != ""]
    grain = cut.groupby("strip")["intake_kg_s"].sum()
    water = (cut["intake_kg_s"] * cut["moisture_pct"]).groupby(cut["strip"]).sum()
    return strips.assign(moisture_pct=strips["strip"].map(water / grain))


def _planted(records: pd.DataFrame) -> pd.DataFrame:
    rows = np.flatnonzero(records["mishap"] != "")
    return pd.DataFrame({"record": rows, "kind": records["mishap"].to_numpy()[rows]})
