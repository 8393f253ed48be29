"""Starts and ends of passes: how long the flow rises as the machine fills, and falls as it empties.

Simbahan, Dobermann and Ping (2004) leave out a fixed number of seconds. How many it takes depends
on the machine and the crop, and the log shows it: the usual yield at each second since grain came
climbs until it meets the level of the pass.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.harvest.ground import Floats, column, seconds, swath_m, usual_interval
from trialkit.harvest.passes import NO_PASS, Flags

#: Seconds left out where the log cannot tell (common practice, no source).
USUAL_S = 10.0

#: Seconds of the curve, those of them in which a pass has reached its level, and how long the
#: curve has to stay there.
_CURVE_S = 45.0
_LEVEL_S = (30.0, 45.0)
_STAYS_S = 5.0

#: The curve has stopped climbing where it is as near as this to the mean of what follows, or as its
#: own error allows. What follows is the level, not the middle of the pass: a field may be better
#: at its ends.
_FOLLOWS_S = 10.0
_NEAR_SHARE = 0.04
_NEAR_ERRORS = 2.0

#: Greatest error of the curve at which it still tells.
_BLURRED_SHARE = 0.04

#: Fewest passes long enough to have a start, a level and an end.
_LEAST_PASSES = 6

#: Below this share of the usual yield of its pass a record is not cutting crop.
_CUTTING_SHARE = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class PassEnds:
    """How long starts and ends of passes tell nothing about the crop.

    Parameters
    ----------
    start_s, end_s
        Seconds to leave out at the start and at the end of each pass.
    start_found, end_found
        Whether the log shows them; if not, they are the usual ones.
    curve
        `end` (`start` or `end`), `seconds` (since grain came, or until it ends), `share` (usual
        yield there as a share of the level of the passes). Empty where nothing is to be seen.
    passes
        Number of passes the curve was made from.
    """

    start_s: float
    end_s: float
    start_found: bool
    end_found: bool
    curve: pd.DataFrame
    passes: int


def cutting_crop(log: pd.DataFrame) -> Flags:
    """Tell which records cut crop: in a pass, header down, and grain came from their ground."""
    value = log["yield_t_ha"].where(log["yield_t_ha"] > 0)
    usual = value.groupby(log["pass_id"]).transform("median")
    cutting = (value > _CUTTING_SHARE * usual) & (log["pass_id"] != NO_PASS)
    width = swath_m(log)
    return np.asarray(cutting if width is None else cutting & (width > 0), dtype=bool)


def grain_span(log: pd.DataFrame, clock: Floats, cutting: Flags) -> tuple[Floats, Floats]:
    """Return when grain first and last came in each record's pass, s.

    A pass without grain starts and ends beyond all time: other rules take it.

    Parameters
    ----------
    log
        From `split_passes`.
    clock
        Seconds since the first record.
    cutting
        From `cutting_crop`.
    """
    number = log["pass_id"].to_numpy()
    first = np.full(int(number.max(initial=0)) + 1, np.inf)
    last = np.full(len(first), -np.inf)
    # The clock never falls: written backwards, the first record of a pass stays.
    at = np.flatnonzero(cutting)
    first[number[at[::-1]]] = clock[at[::-1]]
    last[number[at]] = clock[at]
    none = np.isinf(first)
    return np.where(none, -np.inf, first)[number], np.where(none, np.inf, last)[number]


def find_pass_ends(log: pd.DataFrame) -> PassEnds:
    """Find how long the flow rises at the start of passes and falls at their end.

    Parameters
    ----------
    log
        From `split_passes`, the grain-flow delay taken out.

    Returns
    -------
    PassEnds
        Where the usual yield, second by second since grain came, first comes within 4% of what
        follows and stays there; likewise back from the end. 10 s where fewer than six
        passes are long enough, the log has no clock, or the curve is too rough or never gets
        there. What the machine itself declares (`lead_ignore_s lag_ignore_s`) is the least; at
        the end that is careful, for grain of a pass is read for a delay longer than it is cut.
    """
    clock = seconds(log)
    least = [_declared(log, name) for name in ("lead_ignore_s", "lag_ignore_s")]
    usual = max(USUAL_S, least[0]), max(USUAL_S, least[1])
    empty = pd.DataFrame({"end": [], "seconds": [], "share": []})
    if clock is None:
        return PassEnds(*usual, False, False, empty, 0)
    first, last = grain_span(log, clock, cutting_crop(log))
    value = log["yield_t_ha"].to_numpy(dtype=np.float64)
    usable = np.isfinite(value) & (last - first > 2 * _CURVE_S) & np.isfinite(first)
    number = log["pass_id"].to_numpy()
    passes = len(np.unique(number[usable]))
    if passes < _LEAST_PASSES:
        return PassEnds(*usual, False, False, empty, passes)
    step = max(1.0, usual_interval(clock))
    found, curves = [], []
    for name, since in (("start", clock - first), ("end", last - clock)):
        here = usable & (since >= 0) & (since < _CURVE_S)
        curve, error = _curve(number[here], np.floor(since[here] / step), value[here], step)
        found.append(_reached(curve, error, step))
        curves.append(
            pd.DataFrame({"end": name, "seconds": curve.index, "share": curve.to_numpy()})
        )
    start, end = found
    return PassEnds(
        start_s=usual[0] if start is None else max(start, least[0]),
        end_s=usual[1] if end is None else max(end, least[1]),
        start_found=start is not None,
        end_found=end is not None,
        curve=pd.concat(curves, ignore_index=True),
        passes=passes,
    )


def _declared(log: pd.DataFrame, name: str) -> float:
    told = column(log, name)
    known = np.empty(0) if told is None else told[np.isfinite(told)]
    return float(np.median(known)) if known.size else 0.0


def _curve(
    number: np.ndarray, bin_: Floats, value: Floats, step: float
) -> tuple[pd.Series[float], float]:
    """Return the median over passes of their yield in each bin, over its level; and its error."""
    table = pd.DataFrame({"at": bin_ * step, "pass": number, "value": value}).pivot_table(
        index="at", columns="pass", values="value"
    )
    level = table[(table.index >= _LEVEL_S[0]) & (table.index < _LEVEL_S[1])].median()
    shares = table.loc[:, level > 0] / level[level > 0]
    middle = shares.median(axis=1)
    spread = (shares.sub(middle, axis=0)).abs().median(axis=1)
    # 1.4826 makes a deviation of the median one of the mean; a median errs by 1.2533 of a mean.
    error = 1.4826 * 1.2533 * spread / np.sqrt(shares.notna().sum(axis=1))
    settled = middle.index >= _LEVEL_S[0]
    return middle / float(middle[settled].mean()), float(error[settled].median())


def _reached(curve: pd.Series[float], error: float, step: float) -> float | None:
    """Return after how many seconds the curve is at its level and stays there; None if never."""
    if not error <= _BLURRED_SHARE:
        return None
    follows, stays = (max(1, int(np.ceil(s / step))) for s in (_FOLLOWS_S, _STAYS_S))
    ahead = curve.rolling(follows).mean().shift(-follows)
    near = ((curve / ahead - 1).abs() <= max(_NEAR_SHARE, _NEAR_ERRORS * error)).to_numpy()
    after = curve.index.to_numpy(dtype=np.float64)
    for start in np.flatnonzero(near & (after < _LEVEL_S[0])).tolist():
        if near[start : start + stays].all():
            return float(after[start])
    return None
