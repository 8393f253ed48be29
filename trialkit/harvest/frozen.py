"""Records that say nothing new: written twice, or of a sensor that hangs."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.harvest.ground import Floats, column
from trialkit.harvest.passes import Flags

#: Where more records than this share time and place with another, the logger is faster than its
#: clock or its receiver, and nobody can tell.
_USUAL_SHARE = 0.2

#: Fewest equal values that can be called frozen, and how many where there is no clock.
_LEAST_EQUAL = 5
_EQUAL_WITHOUT_CLOCK = 15

#: Values are equal within this, of their size: moving them in time costs the last digits.
_SAME = 1e-14


def repeated(log: pd.DataFrame) -> Flags:
    """Tell which records repeat an earlier one: the same time at the same place.

    Parameters
    ----------
    log
        From `read_log`, in the order of time.

    Returns
    -------
    ndarray of bool
        The later ones. A repeat from another file counts always (one export put in twice); within
        a file only where it is rare, since a logger may be faster than its clock.
    """
    flags = np.zeros(len(log), dtype=bool)
    if "time" not in log or len(log) < 2:
        return flags
    names = ["time", "longitude", "latitude"]
    stamp = log["time"].to_numpy()
    tied = np.zeros(len(log), dtype=bool)
    tied[1:] = (stamp[1:] == stamp[:-1]) & ~np.isnat(stamp[1:])
    tied[:-1] |= tied[1:]
    at = np.flatnonzero(tied)
    if len(at) == 0:
        return flags
    twins = log.iloc[at]
    again = twins.duplicated(names).to_numpy() & twins[names].notna().all(axis=1).to_numpy()
    if "file" in log and len(twins["file"].unique()) > 1:
        within = again & twins.duplicated([*names, "file"]).to_numpy()
    else:
        within = again
    if within.sum() > _USUAL_SHARE * len(log):
        again &= ~within
    flags[at] = again
    return flags


def frozen(log: pd.DataFrame, clock: Floats | None, moving: Flags, frozen_s: float) -> Flags:
    """Tell which records show one and the same flow over and over while the machine moves.

    Parameters
    ----------
    log
        From `split_passes`. Grain flow is looked at, grain a record where there is no flow, yield
        where there is neither: as the monitor wrote it, if `shift_flow` has spread it anew.
    clock
        Seconds since the first record; None without a clock.
    moving
        Where the machine moves.
    frozen_s
        Seconds of equal values that are too many; 15 records where there is no clock.

    Returns
    -------
    ndarray of bool
        Every record of such a run, the first included.
    """
    value = next(
        values
        for name in ("flow_kg_s", "mass_kg", "recorded_t_ha", "yield_t_ha")
        if (values := column(log, name)) is not None
    )
    run = _runs(value)
    counts = np.bincount(run)
    first = np.cumsum(counts) - counts
    last = first + counts - 1
    if clock is None:
        long = counts >= _EQUAL_WITHOUT_CLOCK
    else:
        long = (counts >= _LEAST_EQUAL) & (clock[last] - clock[first] >= frozen_s)
    moves = np.bincount(run, moving) > 0.5 * counts
    with np.errstate(invalid="ignore"):
        grain = value[first] > 0
    return np.asarray((long & moves & grain)[run], dtype=bool)


def _runs(value: Floats) -> NDArray[np.int64]:
    """Return numbers from 0 for the runs of equal values."""
    with np.errstate(invalid="ignore"):
        change = ~(np.abs(np.diff(value)) <= _SAME * np.abs(value[1:]))
    return np.concatenate(([0], np.cumsum(change))).astype(np.int64)[: len(value)]
