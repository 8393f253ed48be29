"""Take the grain-flow delay out: grain back to where it was cut."""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit.errors import LogError
from trialkit.harvest.ground import (
    Floats,
    a_second,
    column,
    interval_s,
    seconds,
    swath_m,
    travel_m,
    usual_interval,
)
from trialkit.harvest.log import spread

#: Square metres a kilogram is spread over at 1 t/ha: 1 t/ha is a tenth of a kilogram on 1 m².
_KG_M2_OF_T_HA = 10.0


def later(values: Floats, clock: Floats, delay_s: float) -> Floats:
    """Return for each record what was written some seconds later.

    Parameters
    ----------
    values
        One a record.
    clock
        Seconds since the first record, never falling.
    delay_s
        Seconds, negative for earlier. The nearest record is taken, not a mean of two: a mean
        would smear a spike over its neighbours, where no limit finds it.

    Returns
    -------
    ndarray
        NaN where the log had ended, paused or not begun.
    """
    if delay_s == 0 or len(values) < 2:
        return values
    wanted = clock + delay_s
    after = np.clip(np.searchsorted(clock, wanted), 1, len(clock) - 1)
    nearest = np.where(wanted - clock[after - 1] < clock[after] - wanted, after - 1, after)
    # Half a record off by rounding is usual; farther off, nothing was written at that time.
    near = np.abs(clock[nearest] - wanted) <= 0.75 * usual_interval(clock)
    return np.where(near, values[nearest], np.nan)


def shift_flow(
    log: pd.DataFrame, delay_s: float, *, moisture_delay_s: float | None = None
) -> pd.DataFrame:
    """Take the grain-flow delay out: put grain and moisture back where they were cut.

    Parameters
    ----------
    log
        From `read_log`.
    delay_s
        Seconds from the cut to the grain sensor.
    moisture_delay_s
        Seconds from the cut to the moisture sensor; the same by default.

    Returns
    -------
    DataFrame
        The log with `flow_kg_s`, `mass_kg`, `moisture_pct`, `grain_kg` and what the machine says
        of its yield (`yield_held`) moved back in time, and `yield_t_ha` spread anew over the
        ground of each record. Where the yield was computed from flow and moisture, each grain
        gets the moisture that was its own. Grain cut after the log's end, or before a pause of
        the monitor, is not known: NaN. Where the log holds neither flow nor grain,
        `recorded_t_ha` is the yield as it was written, moved likewise: a sensor that hangs shows
        in it, and no more in a yield spread over other ground. The seconds for which a machine
        holds yields for false after its header went into work (`lead_ignore_s`) count from then
        on its clock, so the delay is taken off them.

    Raises
    ------
    LogError
        If there is a delay to take out and the log has no clock.
    """
    wet_s = delay_s if moisture_delay_s is None else moisture_delay_s
    if delay_s == 0 and (wet_s == 0 or "moisture_pct" not in log):
        return log.copy()
    clock = seconds(log)
    if clock is None:
        raise LogError(
            f"A delay of {delay_s or wet_s:g} s cannot be taken out: the log has no times. Name a "
            "column for time or interval_s under [harvest.columns], or set delay_s = 0."
        )
    interval = interval_s(log)
    travel, width = travel_m(log), swath_m(log)
    moved = {}
    for name, late_s in (("flow_kg_s", delay_s), ("yield_held", delay_s), ("moisture_pct", wet_s)):
        values = column(log, name)
        if values is not None:
            moved[name] = later(values, clock, late_s)
    ignored = column(log, "lead_ignore_s")
    if ignored is not None:
        moved["lead_ignore_s"] = np.maximum(ignored - max(delay_s, 0.0), 0.0)
    for name in ("mass_kg", "grain_kg"):
        values = column(log, name)
        if values is not None and interval is not None:
            moved[name] = _moved_amount(values, interval, clock, delay_s)
    moisture = column(log, "moisture_pct")
    if "grain_kg" in moved and moisture is not None and wet_s != delay_s:
        # The grain was brought to the standard moisture by what the sensor read as it passed.
        dry_read = 100 - later(moisture, clock, delay_s)
        sane = dry_read > 0
        own = (100 - moved["moisture_pct"]) / np.where(sane, dry_read, 1.0)
        moved["grain_kg"] = moved["grain_kg"] * np.where(sane, own, 1.0)
    recorded = log["yield_t_ha"].to_numpy(dtype=np.float64)
    if "flow_kg_s" not in log and "mass_kg" not in log:
        moved["recorded_t_ha"] = later(recorded, clock, delay_s)
    if "grain_kg" in moved and width is not None:
        moved["yield_t_ha"] = spread(moved["grain_kg"], travel, width)
    elif width is not None and interval is not None:
        grain = _standing(recorded, travel * width) * (travel * width / _KG_M2_OF_T_HA)
        amount = _moved_amount(grain, interval, clock, delay_s)
        moved["yield_t_ha"] = spread(amount, travel, width)
    else:
        moved["yield_t_ha"] = later(recorded, clock, delay_s)
    return log.assign(**moved)


def _standing(recorded: Floats, ground_m2: Floats) -> Floats:
    """Return yields with 0 where the machine stood: no ground, no grain of its own."""
    return np.where(np.isnan(recorded) & ~(ground_m2 > 0), 0.0, recorded)


def _moved_amount(amount: Floats, interval: Floats, clock: Floats, delay_s: float) -> Floats:
    """Move an amount a record in time, by way of its rate."""
    return later(a_second(amount, interval), clock, delay_s) * interval
