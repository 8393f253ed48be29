"""What a catch must come to: seconds a bucket for the pump, seconds a load for the auger."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from trialkit.sowing.sensible import number, optional

#: How far pump or auger may be off, ± %: half of the 10% that a rate may be, the rest is for
#: measuring and for the other machine. Common practice, no source.
WITHIN_PCT = 5.0

#: A catch takes this long at least, or the watch in the hand costs too much of it, s. Common
#: practice, no source.
_LEAST_S = 30.0

#: Buckets and loads that a farm has, l and kg.
_BUCKETS_L = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0)
_LOADS_KG = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0)

#: Flows of augers to show where the own is not known, t/h; and steps about it where it is.
_AUGERS_T_H = (2.0, 5.0, 10.0, 20.0, 30.0, 40.0, 60.0)
_ABOUT = (0.8, 0.9, 1.0, 1.1, 1.2)


@dataclass(frozen=True, slots=True)
class CatchTarget:
    """What a catch of a machine must come to.

    Parameters
    ----------
    rate
        Flow wanted, in `unit`.
    unit
        `"l/min"` for a pump, `"t/h"` for an auger.
    low, high
        Least and greatest flow that will do.
    amount
        What is caught each time, litres for a pump, kg for an auger.
    seconds
        Time that takes at the flow wanted, s.
    seconds_low, seconds_high
        Shortest and longest time that will do, s.
    within_pct
        The tolerance, ± %.
    """

    rate: float
    unit: str
    low: float
    high: float
    amount: float
    seconds: float
    seconds_low: float
    seconds_high: float
    within_pct: float


def pump_target(
    pump_l_min: float, *, bucket_l: float | None = None, within_pct: float = WITHIN_PCT
) -> CatchTarget:
    """Return what a bucket under the pump must come to.

    Parameters
    ----------
    pump_l_min
        Flow wanted, l/min, as in `MixPlan.pump_l_min`.
    bucket_l
        What the bucket holds, litres; None for the smallest usual one that takes half a minute.
    within_pct
        How far the flow may be off, ± %.

    Returns
    -------
    CatchTarget

    Raises
    ------
    SowingError
        If a number makes no sense.

    Examples
    --------
    >>> target = pump_target(6.67)
    >>> target.amount, round(target.seconds), round(target.low, 2), round(target.high, 2)
    (5.0, 45, 6.34, 7.0)
    """
    flow = number(pump_l_min, "flow of the pump", "l/min", 0.0005, 2000)
    bucket = optional(bucket_l, "bucket", "l", 0.1, 200)
    return _target(flow, "l/min", flow / 60, bucket, _BUCKETS_L, within_pct)


def auger_target(auger_t_h: float, *, within_pct: float = WITHIN_PCT) -> CatchTarget:
    """Return what a weighed load through the auger must come to.

    Parameters
    ----------
    auger_t_h
        Flow that the plan counts on, t/h.
    within_pct
        How far it may be off, ± %.

    Returns
    -------
    CatchTarget

    Raises
    ------
    SowingError
        If a number makes no sense.

    Examples
    --------
    >>> target = auger_target(40)
    >>> target.amount, target.seconds
    (500.0, 45.0)
    """
    flow = number(auger_t_h, "auger's flow", "t/h", 0.05, 1000)
    return _target(flow, "t/h", flow / 3.6, None, _LOADS_KG, within_pct)


def pump_by_auger(
    rate_l_t: float, auger_t_h: float | None = None, *, bucket_l: float | None = None
) -> pd.DataFrame:
    """Return the pump flow that matches an auger as it really runs.

    Parameters
    ----------
    rate_l_t
        Mix on a tonne of seed, litres.
    auger_t_h
        Flow that the plan counts on, t/h; None where it is not known.
    bucket_l
        What the bucket holds, litres; None for the usual one that takes half a minute at least.

    Returns
    -------
    DataFrame
        Columns `auger_t_h pump_l_min bucket_l seconds`, by rising flow; one bucket for all where
        the auger's flow is known.

    Raises
    ------
    SowingError
        If a number makes no sense.

    Examples
    --------
    >>> pump_by_auger(10, 40)["pump_l_min"].round(2).tolist()
    [5.33, 6.0, 6.67, 7.33, 8.0]
    """
    rate = number(rate_l_t, "rate of the mix", "l/t", 0.1, 100)
    flow = optional(auger_t_h, "auger's flow", "t/h", 0.05, 1000)
    augers = _AUGERS_T_H if flow is None else tuple(share * flow for share in _ABOUT)
    if flow is not None and bucket_l is None:
        bucket_l = pump_target(rate * flow / 60).amount
    targets = [pump_target(rate * auger / 60, bucket_l=bucket_l) for auger in augers]
    return pd.DataFrame(
        {
            "auger_t_h": augers,
            "pump_l_min": [target.rate for target in targets],
            "bucket_l": [target.amount for target in targets],
            "seconds": [target.seconds for target in targets],
        }
    )


def _target(
    rate: float,
    unit: str,
    per_s: float,
    amount: float | None,
    usual: tuple[float, ...],
    within_pct: float,
) -> CatchTarget:
    share = number(within_pct, "tolerance", "%", 0.1, 50) / 100
    if amount is None:
        amount = next((size for size in usual if size / per_s >= _LEAST_S), usual[-1])
    return CatchTarget(
        rate=rate,
        unit=unit,
        low=rate * (1 - share),
        high=rate * (1 + share),
        amount=amount,
        seconds=amount / per_s,
        seconds_low=amount / per_s / (1 + share),
        seconds_high=amount / per_s / (1 - share),
        within_pct=100 * share,
    )
