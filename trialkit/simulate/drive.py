"""The harvester's drive: laps of the headland, then lane after lane, second by second."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from shapely.geometry import LineString, Polygon

from trialkit.errors import LayoutError
from trialkit.simulate.lanes import strips_outline
from trialkit.simulate.mishaps import PART_SWATH, PART_SWATH_RECORDED, Event
from trialkit.simulate.paddock import wander
from trialkit.simulate.plan import Floats, Plan

#: Lane or pass number of a record that belongs to none.
NONE = -1

#: Seconds in which the machine comes up to speed, and the share of it that it starts with.
_START_S, _START_SHARE = 5.0, 0.4

#: How far the machine swings out in a turn, m.
_SWING_M = 24.0

#: Narrowest strip of ground that is worth a lap, m.
_LEAST_CUT_M = 0.5

#: Sideways for each metre forward when the machine drifts off its lane: 15°.
_DRIFT_SLOPE = 0.27

#: Share of the cut below which a record counts as one with part of the swath.
_PART_SHARE = 0.95

#: How far steering wanders off the line, m, and the seconds for which it holds its course.
_STEERING_M, _STEERING_S = 0.04, 20.0


@dataclass(frozen=True, slots=True)
class Machine:
    """How the harvester cuts and drives.

    Parameters
    ----------
    swath_m
        Full width of the cut, m.
    overlap_m, overlap_sd_m
        Mean overlap with ground that is cut already, m, never recorded, and its spread, m.
    follow_strips
        Whether lanes keep to strips; see `lay_lanes`.
    speed_m_s, speed_sd_m_s
        Usual ground speed, m/s, and its slow variation.
    turn_speed_m_s
        Speed in the turns, m/s.
    """

    swath_m: float = 12.0
    overlap_m: float = 0.1
    overlap_sd_m: float = 0.04
    follow_strips: bool = True
    speed_m_s: float = 1.9
    speed_sd_m_s: float = 0.12
    turn_speed_m_s: float = 1.6


def drive_field(
    plan: Plan,
    lanes: pd.DataFrame,
    machine: Machine,
    *,
    draw: np.random.Generator,
    interval_s: float = 1.0,
    events: Sequence[Event] = (),
    field: Polygon | None = None,
    empties_s: float = 30.0,
) -> pd.DataFrame:
    """Drive the harvester over a field.

    Parameters
    ----------
    plan
        The strips.
    lanes
        The lanes, driven in their order, up and down by turns.
    machine
        How it drives.
    draw
        The generator.
    interval_s
        Seconds between records.
    events
        What happens on the lanes.
    field
        Outline of the field, m along (x) and across (y); given, the ground between it and the
        strips is cut first, in laps from outside to inside, the last as narrow as what is left.
        The narrow lap is recorded as such over its second half only.
    empties_s
        Seconds that the machine stands and empties itself at the end.

    Returns
    -------
    DataFrame
        One row a record: `pass_id` and `lane` (-1 where there is none), `along_m across_m
        distance_m speed_m_s heading_deg header_down cut_m swath_m mishap`.
    """
    # Each lane draws from its own generator, so that what happens on one leaves the others alone.
    lane_draws = draw.spawn(len(lanes))
    first = lanes[["along_from_m", "across_m"]].to_numpy(dtype=float)[0]
    pieces = [] if field is None else list(_laps(plan, field, first, machine, interval_s, draw))
    pieces += [
        _lane(row, lanes.iloc[row], machine, interval_s, lane_draw, events)
        for row, lane_draw in enumerate(lane_draws)
    ]
    path = []
    for number, piece in enumerate(pieces):
        if number:
            path.append(_turn(pieces[number - 1], piece, machine, interval_s))
        path.append(piece.assign(pass_id=number))
    path.append(_standing(pieces[-1], empties_s, interval_s))
    whole = pd.concat(path, ignore_index=True)
    return whole.assign(heading_deg=_headings(whole, plan.heading_deg))


def _speeds(machine: Machine, records: int, interval_s: float, draw: np.random.Generator) -> Floats:
    """Return speed in each record of a pass, m/s, from standing start to steady."""
    steady = np.exp(-interval_s / 40.0)  # a driver holds a speed for less than a minute
    speed = machine.speed_m_s + machine.speed_sd_m_s * wander(draw, records, float(steady))
    seconds = np.arange(records) * interval_s
    ramp = np.minimum(1.0, _START_SHARE + (1 - _START_SHARE) * seconds / _START_S)
    held: Floats = np.maximum(speed, 0.4 * machine.speed_m_s) * ramp
    return held


def _lane(
    row: int,
    lane: pd.Series[float],
    machine: Machine,
    interval_s: float,
    draw: np.random.Generator,
    events: Sequence[Event],
) -> pd.DataFrame:
    length = lane["along_to_m"] - lane["along_from_m"]
    usual = length / (machine.speed_m_s * interval_s)
    speed = _speeds(machine, int(1.6 * usual) + 30, interval_s, draw)
    cut_share, mishap = np.ones(len(speed)), np.full(len(speed), "", dtype=object)
    base = np.cumsum(speed) * interval_s
    for event in reversed([event for event in events if event.lane == row]):
        at = int(np.searchsorted(base, event.at * length))
        records = max(1, round(event.seconds / interval_s))
        if event.kind in (PART_SWATH, PART_SWATH_RECORDED):
            records = min(records, int(0.1 * usual) + 1)
            cut_share[at : at + records] = _drift(records, event.share, machine, interval_s)
            off = cut_share[at : at + records] < _PART_SHARE
            mishap[at : at + records] = np.where(off, event.kind, "")
        else:
            speed = np.insert(speed, at, np.full(records, event.share * machine.speed_m_s))
            cut_share = np.insert(cut_share, at, np.ones(records))
            mishap = np.insert(mishap, at, np.full(records, event.kind, dtype=object))
    distance = np.cumsum(speed) * interval_s
    last = int(np.searchsorted(distance, length))
    if last >= len(distance):
        raise LayoutError("The simulated machine is too slow for its lane. Raise speed_m_s.")
    distance[last] = length
    speed, cut_share, mishap = speed[: last + 1], cut_share[: last + 1], mishap[: last + 1]
    distance = distance[: last + 1]
    up = row % 2 == 0
    start = lane["along_from_m"] if up else lane["along_to_m"]
    # Where the header is not full, its left is over the lane before, which is cut already.
    right = lane["across_m"] + lane["cut_m"] / 2 - lane["cut_m"] * (1 - cut_share)
    middle = right - machine.swath_m / 2
    wobble = _STEERING_M * wander(draw, last + 1, float(np.exp(-interval_s / _STEERING_S)))
    recorded = np.where(mishap == PART_SWATH_RECORDED, cut_share, 1.0)
    return pd.DataFrame(
        {
            "lane": row,
            "along_m": start + (distance if up else -distance),
            "across_m": middle + wobble,
            "distance_m": distance,
            "speed_m_s": speed,
            "header_down": True,
            "cut_m": lane["cut_m"] * cut_share - _overlap(machine, last + 1, draw),
            "swath_m": np.round(machine.swath_m * recorded, 1),
            "mishap": mishap,
        }
    )


def _drift(records: int, share: float, machine: Machine, interval_s: float) -> Floats:
    """Return the share of the cut while the machine drifts off its lane and back.

    It leaves and returns in a third of the time each, and at no steeper angle than a driver who
    does not notice.
    """
    away = np.minimum(np.arange(records) + 0.5, records - np.arange(records) - 0.5)
    sideways = _DRIFT_SLOPE * machine.speed_m_s * interval_s * records / 3
    lost = min(1 - share, sideways / machine.swath_m)
    kept: Floats = 1 - lost * np.minimum(1.0, away / (records / 3))
    return kept


def _overlap(machine: Machine, records: int, draw: np.random.Generator) -> Floats:
    spread = machine.overlap_sd_m * wander(draw, records, 0.95)
    return np.maximum(machine.overlap_m + spread, 0.0)


def _laps(
    plan: Plan,
    field: Polygon,
    first: Floats,
    machine: Machine,
    interval_s: float,
    draw: np.random.Generator,
) -> Iterator[pd.DataFrame]:
    """Drive around the strips, from the edge of the field inwards."""
    wide = field.exterior.distance(strips_outline(plan))
    inside = 0.0
    while wide - inside > _LEAST_CUT_M:
        cut = min(machine.swath_m, wide - inside)
        # A header wider than what is left reaches over the lap before.
        middle = inside + cut - machine.swath_m / 2
        line = _ring(field.buffer(-middle, join_style="mitre"), first)
        usual = line.length / (machine.speed_m_s * interval_s)
        speed = _speeds(machine, int(1.6 * usual) + 30, interval_s, draw)
        distance = np.cumsum(speed) * interval_s
        records = int(np.searchsorted(distance, line.length))
        place = shapely.get_coordinates(shapely.line_interpolate_point(line, distance[:records]))
        narrow = cut < machine.swath_m - _LEAST_CUT_M
        known = narrow & (np.arange(records) >= records / 2)
        yield pd.DataFrame(
            {
                "lane": NONE,
                "along_m": place[:, 0],
                "across_m": place[:, 1],
                "distance_m": distance[:records],
                "speed_m_s": speed[:records],
                "header_down": True,
                "cut_m": cut - _overlap(machine, records, draw),
                "swath_m": np.where(known, round(cut, 1), machine.swath_m),
                "mishap": np.where(known, PART_SWATH_RECORDED, PART_SWATH) if narrow else "",
            }
        )
        inside += cut


def _ring(ground: Polygon, first: Floats) -> LineString:
    """Return the outline of some ground, starting at the corner nearest to the first lane."""
    corners = shapely.get_coordinates(ground.exterior)[:-1]
    nearest = int(np.argmin(np.hypot(*(corners - first).T)))
    around = np.roll(corners, -nearest, axis=0)
    return LineString(np.vstack([around, around[:1]]))


def _turn(
    before: pd.DataFrame, after: pd.DataFrame, machine: Machine, interval_s: float
) -> pd.DataFrame:
    """Drive from the end of one pass to the start of the next, header up."""
    end, start = _places(before), _places(after)
    away, into = _unit(end[-1] - end[-2]), _unit(start[1] - start[0])
    bend = np.stack([end[-1], end[-1] + _SWING_M * away, start[0] - _SWING_M * into, start[0]])
    fine = _bezier(bend, np.linspace(0, 1, 101))
    far = np.append(0.0, np.cumsum(np.hypot(*np.diff(fine, axis=0).T)))
    records = max(1, int(far[-1] / (machine.turn_speed_m_s * interval_s)))
    driven = np.arange(1, records + 1) * far[-1] / (records + 1)
    return pd.DataFrame(
        {
            "lane": NONE,
            "pass_id": NONE,
            "along_m": np.interp(driven, far, fine[:, 0]),
            "across_m": np.interp(driven, far, fine[:, 1]),
            "distance_m": np.nan,
            "speed_m_s": far[-1] / (records + 1) / interval_s,
            "header_down": False,
            "cut_m": 0.0,
            "swath_m": machine.swath_m,
            "mishap": "",
        }
    )


def _standing(last: pd.DataFrame, seconds: float, interval_s: float) -> pd.DataFrame:
    """Let the machine stand where it ended, header up, until it has emptied itself."""
    still = last.iloc[np.full(max(1, round(seconds / interval_s)), -1)]
    return still.assign(
        lane=NONE,
        pass_id=NONE,
        distance_m=np.nan,
        speed_m_s=0.0,
        header_down=False,
        cut_m=0.0,
        mishap="",
    )


def _places(piece: pd.DataFrame) -> Floats:
    return piece[["along_m", "across_m"]].to_numpy(dtype=float)


def _unit(step: Floats) -> Floats:
    unit: Floats = step / np.hypot(*step)
    return unit


def _bezier(bend: Floats, share: Floats) -> Floats:
    """Return places on a cubic curve through the first and last of four points."""
    left = 1 - share
    weights = np.stack([left**3, 3 * left**2 * share, 3 * left * share**2, share**3])
    places: Floats = (weights[:, :, None] * bend[:, None, :]).sum(axis=0)
    return places


def _headings(path: pd.DataFrame, strips_deg: float) -> Floats:
    """Return the direction of travel, degrees clockwise from north; a stand keeps the last one."""
    step = np.diff(_places(path), axis=0, prepend=np.nan)
    heading = np.rad2deg(np.arctan2(step[:, 1], step[:, 0])) + strips_deg
    still = ~(np.hypot(step[:, 0], step[:, 1]) > 0.1)
    kept = pd.Series(np.where(still, np.nan, heading % 360)).ffill().bfill()
    return np.asarray(kept, dtype=np.float64)
