"""Screen a log: every record that cannot be believed is left out, and it is said why.

Nothing is deleted. The rules follow published practice; each names its source. In the order of
Simbahan, Dobermann and Ping (2004, Agronomy Journal 96:1091-1102): no harvest, starts and ends of
passes, then impossible values; Vega et al. (2019, Precision Agriculture 20:1030-1044) for missing
and edge values; the families of error by Lyle, Bryan and Ostendorf (2014, Precision Agriculture
15:377-402).
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.errors import LogWarning
from trialkit.harvest.ground import (
    Floats,
    area_ha,
    column,
    full_width_m,
    seconds,
    speed_m_s,
    swath_m,
)
from trialkit.harvest.overlap import fresh_share
from trialkit.harvest.passes import NO_PASS, Flags, has_position, jumped, split_passes
from trialkit.harvest.settings import Screening

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Below this share of the usual yield of its pass a record is not cutting crop.
_CUTTING_SHARE = 0.05

#: A rule that takes more of the records in passes than this is more likely a wrong limit.
_SUSPICIOUS_SHARE = 0.3

#: Recorded and stated width may differ by this share before it is worth a warning.
_WIDTH_SHARE = 0.1

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
            stacklevel=4,
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


#: The rules in their order: the first that applies gives the reason.
RULES: dict[str, Rule] = {
    "no position": _no_position,
    "position jump": _position_jump,
    "outside the field": _outside_field,
    "header up": _header_up,
    "turning": _turning,
    "stopped or too slow": _too_slow,
    "too fast": _too_fast,
    "start of pass": _start_of_pass,
    "end of pass": _end_of_pass,
    "short pass": _short_pass,
    "missing value": _missing_value,
    "part swath": _part_swath,
    "overlap": _overlap,
    "moisture out of range": _moisture_out_of_range,
    "absurd yield": _absurd_yield,
}

#: Rules that hang on a limit in `[harvest.screening]`, and the limit.
_LIMIT_OF = {
    "position jump": "jump_m_s",
    "stopped or too slow": "speed_low_m_s",
    "too fast": "speed_high_m_s",
    "short pass": "least_pass_m",
    "part swath": "swath_least_share",
    "overlap": "swath_least_share",
    "moisture out of range": "moisture_low_pct and moisture_high_pct",
    "absurd yield": "yield_low_t_ha and yield_high_t_ha",
}


def screen(
    log: pd.DataFrame,
    settings: Screening | None = None,
    *,
    boundary: GeoDataFrame | None = None,
    harvester_m: float | None = None,
) -> pd.DataFrame:
    """Mark the records that cannot be believed, with the reason; delete none.

    Parameters
    ----------
    log
        From `read_log`, the grain-flow delay taken out. Passes are split where still to do.
    settings
        Limits; the usual ones by default.
    boundary
        The field; records outside are left out.
    harvester_m
        Full cutting width, m; by default the widest width often recorded.

    Returns
    -------
    DataFrame
        The log with `pass_id`, `distance_m`, `kept` and `reason` (empty where kept); and
        `swath_m` as the full width where the log has none.

    Warns
    -----
    LogWarning
        If a rule takes a suspicious share of the records, recorded and stated width differ, or
        passes overlap throughout.

    Examples
    --------
    >>> import pandas as pd
    >>> log = pd.DataFrame(
    ...     {"longitude": 0.0, "latitude": [1 + i * 2e-5 for i in range(50)], "yield_t_ha": 3.0}
    ... )
    >>> log.loc[20, "yield_t_ha"] = 90.0
    >>> screened = screen(log)
    >>> screened.loc[~screened["kept"], "reason"].tolist()
    ['absurd yield']
    """
    limits = settings or Screening()
    if "pass_id" not in log:
        log = split_passes(log, jump_m_s=limits.jump_m_s)
    records = _records(log, boundary, harvester_m)
    reason = np.full(len(log), "", dtype=object)
    for name, rule in RULES.items():
        reason[(reason == "") & rule(records, limits)] = name
    _warn_of_suspicious(reason, log["pass_id"].to_numpy() != NO_PASS)
    added = {"kept": reason == "", "reason": reason}
    if "swath_m" not in log and harvester_m is not None:
        added = {"swath_m": np.full(len(log), float(harvester_m)), **added}
    return log.assign(**added)


def _records(
    log: pd.DataFrame, boundary: GeoDataFrame | None, harvester_m: float | None
) -> Records:
    recorded = full_width_m(log)
    if recorded and harvester_m and abs(recorded / harvester_m - 1) > _WIDTH_SHARE:
        warnings.warn(
            f"The log's full cut width is {recorded:.2f} m, but harvester_m is {harvester_m:g} m. "
            "One of them is wrong, and with it every yield or the part swaths. Check the unit of "
            "swath_m and harvester_m in trial.toml.",
            LogWarning,
            stacklevel=3,
        )
    known = has_position(log)
    return Records(
        log=log,
        known=known,
        clock=seconds(log),
        speed=speed_m_s(log),
        cutting=_cutting(log),
        full_m=harvester_m or recorded,
        outside=known & ~_inside(log, boundary),
    )


def _cutting(log: pd.DataFrame) -> Flags:
    """Tell which records cut crop: in a pass, header down, and grain came from their ground."""
    value = log["yield_t_ha"].where(log["yield_t_ha"] > 0)
    usual = value.groupby(log["pass_id"]).transform("median")
    cutting = (value > _CUTTING_SHARE * usual) & (log["pass_id"] != NO_PASS)
    width = swath_m(log)
    return np.asarray(cutting if width is None else cutting & (width > 0), dtype=bool)


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


def _inside(log: pd.DataFrame, boundary: GeoDataFrame | None) -> Flags:
    if boundary is None:
        return np.ones(len(log), dtype=bool)
    import shapely

    field = boundary.to_crs("EPSG:4326").geometry.union_all()
    shapely.prepare(field)
    inside = shapely.contains_xy(field, log["longitude"].to_numpy(), log["latitude"].to_numpy())
    return np.asarray(inside, dtype=bool)


def _warn_of_suspicious(reason: np.ndarray, in_pass: Flags) -> None:
    for name, limit in _LIMIT_OF.items():
        share = float((reason[in_pass] == name).mean()) if in_pass.any() else 0.0
        if share > _SUSPICIOUS_SHARE:
            warnings.warn(
                f"{100 * share:.0f}% of the records in passes are left out as '{name}'. That many "
                f"point to a wrong unit or limit. Check [harvest.units], and {limit} under "
                "[harvest.screening] in trial.toml.",
                LogWarning,
                stacklevel=3,
            )


def screening_account(log: pd.DataFrame) -> pd.DataFrame:
    """Count the records left out, by reason.

    Parameters
    ----------
    log
        From `screen` or `assign_strips`.

    Returns
    -------
    DataFrame
        One row a reason, in the order of the rules: `reason`, `records`, `share_pct` (of all
        records), `area_ha` (ground they stand for; NaN where no width is known).
    """
    left_out = log.loc[~log["kept"], "reason"]
    names = dict.fromkeys([*RULES, *left_out])
    area = area_ha(log)
    ground = pd.Series(np.nan if area is None else area, index=log.index)
    rows = []
    for name in names:
        here = left_out.index[left_out == name]
        if len(here):
            share = 100.0 * len(here) / len(log)
            rows.append((name, len(here), share, ground.loc[here].sum(min_count=1)))
    return pd.DataFrame(rows, columns=["reason", "records", "share_pct", "area_ha"])
