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


def shift_flow(log: pd.DataFrame, delay_s: float) -> pd.DataFrame:
    """Take the grain-flow delay out: put grain and moisture back where they were cut.

    Parameters
    ----------
    log
        From `read_log`.
    delay_s
        Seconds from the cut to the sensor.

    Returns
    -------
    DataFrame
        The log with `flow_kg_s`, `mass_kg`, `moisture_pct` and `grain_kg` moved back in time,
        and `yield_t_ha` spread anew over the ground of each record. Grain cut after the log's
        end, or before a pause of the monitor, is not known: NaN.

    Raises
    ------
    LogError
        If there is a delay to take out and the log has no clock.
    """
    if delay_s == 0:
        return log.copy()
    clock = seconds(log)
    if clock is None:
        raise LogError(
            f"A grain-flow delay of {delay_s:g} s cannot be taken out: the log has no times. Name "
            "a column for time or interval_s under [harvest.columns], or set delay_s = 0."
        )
    interval = interval_s(log)
    travel, width = travel_m(log), swath_m(log)
    moved = {}
    for name in ("flow_kg_s", "moisture_pct"):
        values = column(log, name)
        if values is not None:
            moved[name] = later(values, clock, delay_s)
    for name in ("mass_kg", "grain_kg"):
        values = column(log, name)
        if values is not None and interval is not None:
            moved[name] = _moved_amount(values, interval, clock, delay_s)
    recorded = log["yield_t_ha"].to_numpy(dtype=np.float64)
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
