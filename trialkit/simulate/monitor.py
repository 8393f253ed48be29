"""What the machine's sensors make of the harvest: late, smeared, drifting and noisy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import gammainc

from trialkit.simulate.paddock import wander
from trialkit.simulate.plan import Floats

#: Grain flow below which the moisture sensor has nothing new to measure, kg/s.
_LEAST_FLOW_KG_S = 0.3

#: Ground speed below which the monitor does not compute a yield, m/s.
_LEAST_SPEED_M_S = 0.2


@dataclass(frozen=True, slots=True)
class Monitor:
    """How the yield monitor measures.

    Parameters
    ----------
    interval_s
        Seconds between records.
    delay_s, smear_s
        Mean time, s, that grain takes from the cut to the flow sensor, and the standard
        deviation of that time: grain cut in one instant arrives spread out.
    moisture_delay_s
        Mean time, s, from the cut to the moisture sensor.
    calibration
        Flow shown for each kg/s of true flow.
    flow_noise
        Noise of the flow sensor as a share of the flow.
    moisture_drift_pct_h, moisture_noise_pct
        Error that the moisture sensor gathers in an hour, points, and its noise, points.
    position_noise_m
        Slowly wandering error of the position, m.
    """

    interval_s: float = 1.0
    delay_s: float = 11.0
    smear_s: float = 2.0
    moisture_delay_s: float = 14.0
    calibration: float = 1.05
    flow_noise: float = 0.03
    moisture_drift_pct_h: float = 0.15
    moisture_noise_pct: float = 0.1
    position_noise_m: float = 0.08


def transit(mean_s: float, spread_s: float, interval_s: float) -> Floats:
    """Return the share of grain that arrives after 0, 1, 2 ... records.

    Parameters
    ----------
    mean_s
        Mean time on the way, s.
    spread_s
        Standard deviation of that time, s; 0 for none.
    interval_s
        Seconds between records.

    Returns
    -------
    ndarray
        Shares that sum to 1. The time is gamma distributed, as in a row of equal mixing chambers
        (tanks in series), so its mean is `mean_s` and its tail is to the late side.
    """
    records = int(np.ceil((mean_s + 6 * spread_s) / interval_s)) + 2
    if mean_s <= 0:
        return np.array([1.0])
    if spread_s <= 0:
        whole, part = divmod(mean_s / interval_s, 1)
        shares = np.zeros(records)
        shares[int(whole)], shares[int(whole) + 1] = 1 - part, part
        return shares
    shape, scale = (mean_s / spread_s) ** 2, spread_s**2 / mean_s
    edges = np.maximum((np.arange(records + 1) - 0.5) * interval_s, 0.0)
    shares = np.diff(gammainc(shape, edges / scale))
    whole_share: Floats = shares / shares.sum()
    return whole_share


def arrive(values: Floats, shares: Floats) -> Floats:
    """Delay and smear a series.

    Parameters
    ----------
    values
        What leaves, one value a record.
    shares
        Shares that arrive after 0, 1, 2 ... records, from `transit`.

    Returns
    -------
    ndarray
        What arrives, one value a record; what is still on the way at the end is lost.
    """
    arrived = np.zeros(len(values))
    for late, share in enumerate(shares[: len(values)]):
        arrived[late:] += share * values[: len(values) - late]
    return arrived


def read_flow(intake_kg_s: Floats, monitor: Monitor, draw: np.random.Generator) -> Floats:
    """Return the flow that the sensor shows, kg/s.

    Parameters
    ----------
    intake_kg_s
        Grain cut, kg/s as harvested, one value a record.
    monitor
        How it measures.
    draw
        The generator.
    """
    shares = transit(monitor.delay_s, monitor.smear_s, monitor.interval_s)
    flow = arrive(intake_kg_s, shares) * monitor.calibration
    noisy = flow * (1 + monitor.flow_noise * draw.standard_normal(len(flow)))
    return np.maximum(noisy, 0.0)


def read_moisture(
    moisture_pct: Floats,
    intake_kg_s: Floats,
    hours: Floats,
    monitor: Monitor,
    draw: np.random.Generator,
) -> Floats:
    """Return the moisture that the sensor shows, %; without grain it keeps its last reading.

    Parameters
    ----------
    moisture_pct, intake_kg_s
        Water in the grain as it is cut, %, and how much is cut, kg/s, one value a record.
    hours
        Time since the start, h, over which the sensor has drifted.
    monitor
        How it measures.
    draw
        The generator.
    """
    shares = transit(monitor.moisture_delay_s, monitor.smear_s, monitor.interval_s)
    grain = arrive(intake_kg_s, shares)
    water = arrive(intake_kg_s * moisture_pct, shares)
    fed = grain > _LEAST_FLOW_KG_S
    true = np.divide(water, grain, out=np.full(len(grain), np.nan), where=fed)
    noise = monitor.moisture_noise_pct * draw.standard_normal(len(grain))
    shown = true + monitor.moisture_drift_pct_h * hours + noise
    kept: Floats = pd.Series(shown).ffill().bfill().to_numpy()
    return kept


def read_position(
    along_m: Floats, across_m: Floats, monitor: Monitor, draw: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return the position that the receiver shows, m along and across.

    Parameters
    ----------
    along_m, across_m
        True position, m, one value a record.
    monitor
        How it measures.
    draw
        The generator.
    """
    keeps = float(np.exp(-monitor.interval_s / 60.0))  # its error drifts over minutes
    slow = monitor.position_noise_m * wander(draw, (2, len(along_m)), keeps)
    quick = 0.2 * monitor.position_noise_m * draw.standard_normal((2, len(along_m)))
    return along_m + slow[0] + quick[0], across_m + slow[1] + quick[1]


def show_yield(
    flow_kg_s: Floats,
    speed_m_s: Floats,
    swath_m: Floats,
    moisture_pct: Floats,
    standard_moisture_pct: float,
) -> Floats:
    """Return the yield that the monitor shows, t/ha at standard moisture.

    It takes the flow of now for grain cut now, as monitors do unless told the delay, and shows 0
    where the machine hardly moves.

    Parameters
    ----------
    flow_kg_s, speed_m_s, swath_m, moisture_pct
        What the sensors show, one value a record.
    standard_moisture_pct
        Moisture that yields are stated at, %.
    """
    moves = speed_m_s > _LEAST_SPEED_M_S
    wet = np.divide(10 * flow_kg_s, speed_m_s * swath_m, out=np.zeros(len(flow_kg_s)), where=moves)
    return wet * (100 - moisture_pct) / (100 - standard_moisture_pct)
