"""The rules of screening, one function each, with the published practice it follows.

In the order of Simbahan, Dobermann and Ping (2004, Agronomy Journal 96:1091-1102): no harvest,
starts and ends of passes, then impossible values, then outliers; Vega et al. (2019, Precision
Agriculture 20:1030-1044) for missing and edge values, global and local outliers; the families of
error by Lyle, Bryan and Ostendorf (2014, Precision Agriculture 15:377-402); neighbourhoods along
and across the pass after Leroux et al. (2018, Precision Agriculture, 10.1007/s11119-017-9555-0).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from trialkit.errors import LogWarning
from trialkit.harvest.frozen import frozen, repeated
from trialkit.harvest.ground import Floats, column, usual_interval
from trialkit.harvest.neighbours import Deviations, deviations
from trialkit.harvest.overlap import fresh_share
from trialkit.harvest.passes import NO_PASS, Flags, jumped
from trialkit.harvest.settings import RULE_NAMES, Screening
from trialkit.harvest.transients import grain_span
from trialkit.language import say

#: Least share of the width usually cut fresh, below which yields are low throughout.
_USUAL_FRESH = 0.9

#: Share of its deviation that its neighbours along the pass may have for a record to be alone.
_ALONE_SHARE = 0.5

#: No record is an outlier for being off by less than this share of the yield of its pass: sensors
#: are no better (common practice, no source).
_LEAST_OFF = 0.1

#: Intervals within which the next record surely lies.
_NEXT = 1.05

#: From median absolute deviation to standard deviation, for normal values.
_SD_OF_MEDIAN = 1.4826


@dataclass(frozen=True, slots=True)
class Records:
    """What the rules look at: one entry a record.

    Parameters
    ----------
    log
        The log with its passes.
    known
        Whether there is a position.
    clock
        Seconds since the first record; None without a clock.
    speed
        Ground speed, m/s; None without a clock.
    cutting
        Whether grain came from the ground of the record.
    full_m
        Full cutting width, m; None where nobody knows it.
    outside
        Whether the position lies outside the field.
    start_s, end_s
        Seconds to leave out at the start and at the end of passes.
    left
        Whether the record still counts after the rules before: changed as rules are applied.
    known_deviations
        What `deviations` found, once it was asked.
    """

    log: pd.DataFrame
    known: Flags
    clock: Floats | None
    speed: Floats | None
    cutting: Flags
    full_m: float | None
    outside: Flags
    start_s: float
    end_s: float
    left: Flags
    known_deviations: list[Deviations] = field(default_factory=list)

    @property
    def none(self) -> Flags:
        """No record: what a rule returns that has nothing to look at."""
        return np.zeros(len(self.log), dtype=bool)

    def deviations(self) -> Deviations:
        """Return how far the records left stand from their pass and neighbours; asked once."""
        if not self.known_deviations:
            self.known_deviations.append(deviations(self.log, self.left, self.full_m))
        return self.known_deviations[0]


Rule = Callable[[Records, Screening], Flags]


def _duplicate(records: Records, _: Screening) -> Flags:
    """Co-located points: Simbahan et al. 2004, step 6. The same time and place written twice."""
    return repeated(records.log)


def _no_position(records: Records, _: Screening) -> Flags:
    """Null values: Vega et al. 2019. A receiver without a fix writes nothing or zero."""
    return ~records.known


def _position_jump(records: Records, limits: Screening) -> Flags:
    """Position errors: Lyle et al. 2014; the speed between two fixes tells."""
    x, y = (records.log[name].to_numpy(dtype=np.float64) for name in ("x_m", "y_m"))
    return jumped(x, y, records.clock, limits.jump_m_s)


def _outside_field(records: Records, _: Screening) -> Flags:
    """Edge of the field (common practice, no source): what was cut outside is not this field's."""
    return records.outside


def _header_up(records: Records, _: Screening) -> Flags:
    """Header up: Simbahan et al. 2004, step 1. A recorded width of zero."""
    width = column(records.log, "swath_m")
    return records.none if width is None else np.asarray(width <= 0, dtype=bool)


def _turning(records: Records, _: Screening) -> Flags:
    """Between passes: Simbahan et al. 2004, step 1; from positions where no switch was logged."""
    return np.asarray(records.log["pass_id"] == NO_PASS, dtype=bool)


def _too_slow(records: Records, limits: Screening) -> Flags:
    """Harvest dynamics: Lyle et al. 2014. Standing or creeping, flow and ground do not match."""
    return records.none if records.speed is None else records.speed < limits.speed_low_m_s


def _too_fast(records: Records, limits: Screening) -> Flags:
    """Harvest dynamics: Lyle et al. 2014. Faster than grain can be threshed."""
    return records.none if records.speed is None else records.speed > limits.speed_high_m_s


def _beside_stop(records: Records, limits: Screening) -> Flags:
    """Speed changes: Lyle et al. 2014, harvest dynamics. What a stop smears over its neighbours."""
    if records.clock is None or limits.beside_stop_s == 0:
        return records.none
    return _beside(records.clock, _too_slow(records, limits), limits.beside_stop_s)


def _beside(clock: Floats, events: Flags, near_s: float) -> Flags:
    """Tell which records lie within some seconds of an event; its next ones at least."""
    times = clock[events]
    near_s = max(near_s, _NEXT * usual_interval(clock)) if near_s > 0 else 0.0
    if len(times) == 0:
        return np.zeros(len(clock), dtype=bool)
    after = np.searchsorted(times, clock)
    gap = np.minimum(
        np.abs(clock - times[np.maximum(after - 1, 0)]),
        np.abs(times[np.minimum(after, len(times) - 1)] - clock),
    )
    return np.asarray(gap <= near_s, dtype=bool)


def _speed_jump(records: Records, limits: Screening) -> Flags:
    """Speed changes: Lyle et al. 2014, Leroux et al. 2018. Grain of one speed on ground of another.

    The change is taken over a second, or over a record where those are longer; of the running
    median over 3 s, for a speed read from positions flickers where the machine does not.
    """
    from scipy.ndimage import median_filter

    if records.speed is None or records.clock is None or len(records.clock) < 2:
        return records.none
    interval = max(usual_interval(records.clock), 1e-3)
    apart = max(1, round(1.0 / interval))
    steady = median_filter(np.nan_to_num(records.speed), 2 * round(1.5 / interval) + 1)
    now, before = steady[apart:], steady[:-apart]
    faster = np.maximum(now, before)
    with np.errstate(invalid="ignore"):
        sudden = np.abs(now - before) > limits.speed_jump_share * faster
    moving = faster > limits.speed_low_m_s
    here = records.log["pass_id"].to_numpy()
    same = (here[apart:] == here[:-apart]) & (here[apart:] != NO_PASS)
    jump = records.none
    jump[apart:] = sudden & moving & same
    near = _beside(records.clock, jump, limits.beside_jump_s)
    return np.asarray(near & (here != NO_PASS), dtype=bool)


def _start_of_pass(records: Records, _: Screening) -> Flags:
    """Start-pass delay: Simbahan et al. 2004, step 2. The flow rises as the machine fills."""
    if records.clock is None:
        return records.none
    first, _last = grain_span(records.log, records.clock, records.cutting)
    return records.clock < first + records.start_s


def _end_of_pass(records: Records, _: Screening) -> Flags:
    """End-pass delay: Simbahan et al. 2004, step 2. The flow falls as the machine empties."""
    if records.clock is None:
        return records.none
    _first, last = grain_span(records.log, records.clock, records.cutting)
    return records.clock > last - records.end_s


def _short_pass(records: Records, limits: Screening) -> Flags:
    """Short segments: Simbahan et al. 2004, step 6. Nothing settles on a few metres."""
    length = records.log.groupby("pass_id")["distance_m"].transform("max").to_numpy()
    return np.asarray(np.nan_to_num(length) < limits.least_pass_m, dtype=bool)


def _missing_value(records: Records, _: Screening) -> Flags:
    """Null values: Vega et al. 2019."""
    return np.asarray(records.log["yield_t_ha"].isna(), dtype=bool)


def _held_yield(records: Records, _: Screening) -> Flags:
    """Flow sensing: Lyle et al. 2014. The machine says itself that it holds its yield (DDI 239).

    What it writes meanwhile is an earlier yield, not what grew there.
    """
    held = column(records.log, "yield_held")
    return records.none if held is None else np.asarray(held == 1, dtype=bool)


def _frozen_value(records: Records, limits: Screening) -> Flags:
    """Flow sensing: Lyle et al. 2014. The same flow on and on; length: common practice, no source.

    Two readings of a sensor with noise are seldom equal, fifteen never.
    """
    speed = records.speed
    moving = ~records.none if speed is None else speed > limits.speed_low_m_s
    return frozen(records.log, records.clock, moving, limits.frozen_s)


def _part_swath(records: Records, limits: Screening) -> Flags:
    """Cut width: Lyle et al. 2014, operator errors. As the machine recorded it."""
    width = column(records.log, "swath_m")
    if width is None or records.full_m is None:
        return records.none
    part = records.left & (width < limits.swath_least_share * records.full_m)
    return _with_neighbours(records, part, limits.beside_part_s)


def _with_neighbours(records: Records, part: Flags, near_s: float) -> Flags:
    """Return what is part of the width with what it smears over beside it in the pass."""
    if records.clock is None or near_s == 0:
        return part
    number = records.log["pass_id"].to_numpy()
    near = _beside(records.clock, part, near_s) & (number != NO_PASS)
    return np.asarray(part | near, dtype=bool)


def _overlap(records: Records, limits: Screening) -> Flags:
    """Co-located points: Simbahan et al. 2004, step 6; here by the area really cut.

    The share is taken against what passes of this field usually cut fresh, so that a driver who
    always overlaps a little loses nothing.
    """
    if records.full_m is None:
        return records.none
    cutting = _cutting_throughout(records)
    share = fresh_share(records.log, records.full_m, cutting)
    working = cutting & np.isfinite(share)
    usual = float(np.median(share[working])) if working.any() else 1.0
    if usual < _USUAL_FRESH:
        warnings.warn(
            say(
                "Passes usually overlap earlier ones: {cut_pct:.0f}% of the width ({full:g} m) was "
                "cut already. Yields are low by about as much, alike in all strips. Check "
                "harvester_m and the width the monitor records.",
                cut_pct=100 * (1 - usual),
                full=records.full_m,
            ),
            LogWarning,
            stacklevel=3,
        )
    with np.errstate(invalid="ignore"):
        part = records.left & (share < limits.swath_least_share * usual)
    return _with_neighbours(records, part, limits.beside_part_s)


def _cutting_throughout(records: Records) -> Flags:
    """Tell which records cut crop, those included whose grain a sensor that failed did not see."""
    if records.clock is None:
        return records.cutting
    first, last = grain_span(records.log, records.clock, records.cutting)
    within = np.isfinite(first) & (records.clock >= first) & (records.clock <= last)
    width = column(records.log, "swath_m")
    return np.asarray(within if width is None else within & (width > 0), dtype=bool)


def _moisture_out_of_range(records: Records, limits: Screening) -> Flags:
    """Moisture outliers: Simbahan et al. 2004, step 3."""
    moisture = column(records.log, "moisture_pct")
    if moisture is None:
        return records.none
    return (moisture < limits.moisture_low_pct) | (moisture > limits.moisture_high_pct)


def _absurd_yield(records: Records, limits: Screening) -> Flags:
    """Least and greatest biological yield: Simbahan et al. 2004, step 4."""
    value = records.log["yield_t_ha"].to_numpy(dtype=np.float64)
    return (value < limits.yield_low_t_ha) | (value > limits.yield_high_t_ha)


def _global_outlier(records: Records, limits: Screening) -> Flags:
    """Global outliers: Vega et al. 2019, mean ± 3 standard deviations; here of each pass.

    The pass is the reference, not the field, so that strips of two treatments each keep their own
    level and spread. The deviation is not made robust: a frosted hollow is a tenth of a pass at a
    fifth of its yield, and a robust scale would call it an error, most of all in the strips that
    were not protected. What is impossible has gone before and cannot hide others; and a record
    whose neighbours along the pass are off too is ground, not an error.
    """
    off = records.deviations()
    number = records.log["pass_id"].to_numpy()
    seen = np.isfinite(off.own)
    own, of = off.own[seen], number[seen]
    many = np.maximum(np.bincount(of), 1)
    mean = np.bincount(of, own) / many
    spread = np.sqrt(np.maximum(np.bincount(of, own**2) / many - mean**2, 0.0))
    far = np.abs(own - mean[of]) > limits.outlier_sd * spread[of]
    alone = off.along[seen] * np.sign(own) < _ALONE_SHARE * np.abs(own)
    flags = records.none
    flags[seen] = far & alone & (np.abs(off.share[seen]) > _LEAST_OFF)
    return flags


def _local_outlier(records: Records, limits: Screening) -> Flags:
    """Local outliers: Simbahan et al. 2004, step 5, and Vega et al. 2019; two ways as in Leroux.

    A record is one if it stands apart from its neighbours along the pass and from every pass
    beside it, each measured from its own middle on its own scale. Local Moran's I asks the same of
    the mean of all neighbours at once; apart from each, no track across the field is taken for an
    error, and the medians along do not let one bad record hide another.
    """
    off = records.deviations()
    along = np.abs(off.own - off.along)
    # Beyond the passes beside by as much as records usually differ from the middle of them.
    across = np.abs(off.own - (off.across_low + off.across_high) / 2)
    limit = limits.local_outlier_sd * _usual_size(across)
    with np.errstate(invalid="ignore"):
        beside = (off.own < off.across_low - limit) | (off.own > off.across_high + limit)
        apart = along > limits.local_outlier_sd * _usual_size(along)
        apart &= beside | np.isnan(off.across_low)
        return np.asarray(apart & (np.abs(off.share) > _LEAST_OFF), dtype=bool)


def _usual_size(off: Floats) -> float:
    """Return the robust standard deviation of differences about zero; 0 where there are none."""
    known = off[np.isfinite(off)]
    return _SD_OF_MEDIAN * float(np.median(known)) if len(known) else 0.0


_FUNCTIONS: tuple[Rule, ...] = (
    _duplicate,
    _no_position,
    _position_jump,
    _outside_field,
    _header_up,
    _turning,
    _too_slow,
    _too_fast,
    _beside_stop,
    _speed_jump,
    _start_of_pass,
    _end_of_pass,
    _short_pass,
    _missing_value,
    _held_yield,
    _frozen_value,
    _part_swath,
    _overlap,
    _moisture_out_of_range,
    _absurd_yield,
    _global_outlier,
    _local_outlier,
)

#: The rules by their names, in their usual order.
RULES: dict[str, Rule] = dict(zip(RULE_NAMES, _FUNCTIONS, strict=True))
