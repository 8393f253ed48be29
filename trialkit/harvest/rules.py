"""The rules of screening, one function each, with the published practice it follows.

In the order of Simbahan, Dobermann and Ping (2004, Agronomy Journal 96:1091-1102): no harvest,
starts and ends of passes, then impossible values; Vega et al. (2019, Precision Agriculture
20:1030-1044) for missing and edge values; the families of error by Lyle, Bryan and Ostendorf
(2014, Precision Agriculture 15:377-402).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import LogWarning
from trialkit.harvest.ground import Floats, column
from trialkit.harvest.overlap import fresh_share
from trialkit.harvest.passes import NO_PASS, Flags, jumped
from trialkit.harvest.settings import Screening

#: Least share of the width usually cut fresh, below which yields are low throughout.
_USUAL_FRESH = 0.9


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
    """

    log: pd.DataFrame
    known: Flags
    clock: Floats | None
    speed: Floats | None
    cutting: Flags
    full_m: float | None
    outside: Flags

    @property
    def none(self) -> Flags:
        """No record: what a rule returns that has nothing to look at."""
        return np.zeros(len(self.log), dtype=bool)


Rule = Callable[[Records, Screening], Flags]


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
    stops = records.clock[_too_slow(records, limits)]
    if len(stops) == 0:
        return records.none
    after = np.searchsorted(stops, records.clock)
    gap = np.minimum(
        np.abs(records.clock - stops[np.maximum(after - 1, 0)]),
        np.abs(stops[np.minimum(after, len(stops) - 1)] - records.clock),
    )
    return np.asarray(gap <= limits.beside_stop_s, dtype=bool)


def _start_of_pass(records: Records, limits: Screening) -> Flags:
    """Start-pass delay: Simbahan et al. 2004, step 2. The flow rises as the machine fills."""
    first, _ = _grain_span(records)
    if records.clock is None:
        return records.none
    return records.clock < first + limits.pass_start_s


def _end_of_pass(records: Records, limits: Screening) -> Flags:
    """End-pass delay: Simbahan et al. 2004, step 2. The flow falls as the machine empties."""
    _, last = _grain_span(records)
    if records.clock is None:
        return records.none
    return records.clock > last - limits.pass_end_s


def _short_pass(records: Records, limits: Screening) -> Flags:
    """Short segments: Simbahan et al. 2004, step 6. Nothing settles on a few metres."""
    length = records.log.groupby("pass_id")["distance_m"].transform("max").to_numpy()
    return np.asarray(np.nan_to_num(length) < limits.least_pass_m, dtype=bool)


def _missing_value(records: Records, _: Screening) -> Flags:
    """Null values: Vega et al. 2019."""
    return np.asarray(records.log["yield_t_ha"].isna(), dtype=bool)


def _part_swath(records: Records, limits: Screening) -> Flags:
    """Cut width: Lyle et al. 2014, operator errors. As the machine recorded it."""
    width = column(records.log, "swath_m")
    if width is None or records.full_m is None:
        return records.none
    return width < limits.swath_least_share * records.full_m


def _overlap(records: Records, limits: Screening) -> Flags:
    """Co-located points: Simbahan et al. 2004, step 6; here by the area really cut.

    The share is taken against what passes of this field usually cut fresh, so that a driver who
    always overlaps a little loses nothing.
    """
    if records.full_m is None:
        return records.none
    share = fresh_share(records.log, records.full_m, records.cutting)
    working = records.cutting & np.isfinite(share)
    usual = float(np.median(share[working])) if working.any() else 1.0
    if usual < _USUAL_FRESH:
        warnings.warn(
            f"Passes usually overlap earlier ones: {100 * (1 - usual):.0f}% of the width "
            f"({records.full_m:g} m) was cut already. Yields are low by about as much, alike in "
            "all strips. Check harvester_m and the width the monitor records.",
            LogWarning,
            stacklevel=3,
        )
    with np.errstate(invalid="ignore"):
        return share < limits.swath_least_share * usual


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


def _grain_span(records: Records) -> tuple[Floats, Floats]:
    """Return when grain first and last came in each record's pass, s.

    A pass without grain starts and ends beyond all time: other rules take it.
    """
    clock = records.none.astype(float) if records.clock is None else records.clock
    times = pd.Series(np.where(records.cutting, clock, np.nan))
    by_pass = times.groupby(records.log["pass_id"].to_numpy())
    first = by_pass.transform("min").fillna(-np.inf).to_numpy()
    last = by_pass.transform("max").fillna(np.inf).to_numpy()
    return first, last


#: The rules in their order: the first that applies gives the reason.
RULES: dict[str, Rule] = {
    "no position": _no_position,
    "position jump": _position_jump,
    "outside the field": _outside_field,
    "header up": _header_up,
    "turning": _turning,
    "stopped or too slow": _too_slow,
    "too fast": _too_fast,
    "beside a stop": _beside_stop,
    "start of pass": _start_of_pass,
    "end of pass": _end_of_pass,
    "short pass": _short_pass,
    "missing value": _missing_value,
    "part swath": _part_swath,
    "overlap": _overlap,
    "moisture out of range": _moisture_out_of_range,
    "absurd yield": _absurd_yield,
}
