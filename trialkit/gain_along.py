"""The gain along something that changes along each strip, such as cold or height.

Each strip gets a line of its own, yield along it; the lines are then compared between treatments as
the strips' yields are in the main analysis. So the strip stays the unit: however records inside a
strip hang together, only strips count as replicates.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.answer import fit_strips
from trialkit.errors import LogError, noted
from trialkit.language import say
from trialkit.report.numbers import counting_order, signed_range, signed_t_ha

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping

    from trialkit.trial.config import TrialConfig

#: Radius of the surroundings that heights are compared with, m: wider than a hollow.
AROUND_M = 300.0
#: Points of the grid, and the share of a strip's ground beyond either end of it.
_POINTS = 9
BEYOND = 0.05
#: Records that a strip must have for a line of its own, and the share of the field's span that
#: they must reach over: a line through less is bent far beyond its ground.
_LEAST_RECORDS, _LEAST_REACH = 30, 0.5


@dataclass(frozen=True, slots=True, eq=False)
class GainAlong:
    """The gain along something.

    Parameters
    ----------
    strips
        One row a strip: `strip block treatment least most mean_t_ha slope_t_ha`: where its ground
        lies, its mean yield there, and how its yield changes with one unit.
    gains
        One row a treatment and place: `treatment at estimate std_error df low high`, the gain over
        the control, t/ha.
    change
        Index treatment: `estimate std_error df p low high`, how much more it gains at the upper end
        than at the lower, t/ha.
    left_out
        Strips that reach over too little of it.
    notes
        What was noticed.
    """

    strips: pd.DataFrame
    gains: pd.DataFrame
    change: pd.DataFrame
    left_out: tuple[str, ...]
    notes: tuple[str, ...]


def gain_along(
    records: pd.DataFrame, along: str, config: TrialConfig, *, nothing: str
) -> GainAlong:
    """Compare treatments along something, from line to line of the strips.

    Parameters
    ----------
    records
        Records that count: `strip block treatment yield_t_ha`, and what it goes along.
    along
        Its column.
    config
        What `trial.toml` says.
    nothing
        What to say where no strip reaches over enough of it.

    Returns
    -------
    GainAlong

    Raises
    ------
    LogError
        If no strip reaches over enough of it.
    ModelError
        If too few strips do.
    """
    least, most = (float(end) for end in records[along].quantile([BEYOND, 1 - BEYOND]))
    strips = _strip_lines(records, along, most - least)
    if strips.empty:
        raise LogError(nothing)
    with noted() as notes:
        gains = []
        for at in np.linspace(least, most, _POINTS):
            grows = strips["mean_t_ha"] + strips["slope_t_ha"] * (at - strips["middle"])
            gains.append(_gains(strips, grows, config).assign(at=at))
        change = _gains(strips, strips["slope_t_ha"] * (most - least), config)
    table = pd.concat(gains).rename_axis("treatment").reset_index()
    gone = list(set(records["strip"].astype(str)) - set(strips["strip"].astype(str)))
    return GainAlong(
        strips.drop(columns="middle"),
        table[["treatment", "at", "estimate", "std_error", "df", "low", "high"]],
        change[["estimate", "std_error", "df", "p", "low", "high"]],
        tuple(gone[place] for place in counting_order(gone)),
        tuple(dict.fromkeys(notes)),
    )


def gain_words(gain: Mapping[Hashable, float]) -> str:
    """Return a gain with its interval.

    Parameters
    ----------
    gain
        `estimate low high`, t/ha.
    """
    interval = signed_range(gain["low"], gain["high"])
    return say("{gain} t/ha ({interval})", gain=signed_t_ha(gain["estimate"]), interval=interval)


def _strip_lines(records: pd.DataFrame, along: str, span: float) -> pd.DataFrame:
    """Return a line of yield for each strip that reaches over enough."""
    rows = []
    by_strip = records.groupby(["strip", "block", "treatment"], sort=False, observed=True)
    for (strip, block, treatment), own in by_strip:
        at, grows = (own[name].to_numpy(dtype=np.float64) for name in (along, "yield_t_ha"))
        least, most = np.quantile(at, [BEYOND, 1 - BEYOND])
        if len(own) < _LEAST_RECORDS or not most - least > _LEAST_REACH * span:
            continue
        away = at - at.mean()
        slope = float((away * (grows - grows.mean())).sum() / (away**2).sum())
        rows.append((strip, block, treatment, least, most, at.mean(), grows.mean(), slope))
    names = ["strip", "block", "treatment", "least", "most", "middle", "mean_t_ha", "slope_t_ha"]
    return pd.DataFrame(rows, columns=names)


def _gains(strips: pd.DataFrame, values: pd.Series, config: TrialConfig) -> pd.DataFrame:
    """Compare treatments by a value of each strip, as the main analysis does yields."""
    return fit_strips(strips.assign(yield_t_ha=values), config).differences(
        "treatment", against=config.control
    )
