"""The same answer from other records: the gain under no, light, declared and hard screening.

Screening is a choice. If the gain holds whichever records are left out, the choice does not matter;
if it does not, the grower has to know before anything else.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from trialkit.answer import compare, fit_strips
from trialkit.errors import ModelError, TrialkitWarning
from trialkit.harvest import (
    assign_strips,
    by_machine,
    screen,
    screening_levels,
    settled_ends,
    strip_table,
)
from trialkit.language import figures, say
from trialkit.report.numbers import MINUS
from trialkit.report.wording import VERDICTS

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

    from trialkit.harvest import Screening
    from trialkit.result import Comparison
    from trialkit.selling import Selling
    from trialkit.trial.config import TrialConfig

#: Levels that have to agree: without any screening nobody would believe an answer anyway.
_JUDGED = ("light", "default", "hard")


@dataclass(frozen=True, slots=True, eq=False)
class Sensitivity:
    """The gain under four screenings.

    Parameters
    ----------
    table
        One row a level and treatment, mildest level first: `level treatment share_pct` (records
        in the strips left out, %), `gain_t_ha low_t_ha high_t_ha chance_paid verdict`; NaN and an
        empty verdict where a level leaves too little to compare.
    hangs
        One sentence for each treatment whose verdict, or the sign of its gain, differs between
        light, declared and hard screening; empty where all agree.
    """

    table: DataFrame
    hangs: tuple[str, ...]


def by_screening(
    log: DataFrame,
    layout: GeoDataFrame,
    config: TrialConfig,
    *,
    boundary: GeoDataFrame | None = None,
    selling: Selling | None = None,
) -> Sensitivity:
    """Answer the trial's question under no, light, declared and hard screening.

    Parameters
    ----------
    log
        The screened log with its strips, the grain-flow delay taken out and the monitor
        calibrated.
    layout
        The strips.
    config
        What `trial.toml` says.
    boundary
        The field.
    selling
        What the grain is sold for; at the price of `trial.toml` if not given.
    """
    bare = log.drop(columns=["kept", "reason", "strip", "block", "treatment"], errors="ignore")
    rows: list[tuple[object, ...]] = []
    with warnings.catch_warnings():
        # Each was said when the declared screening was done.
        warnings.simplefilter("ignore", TrialkitWarning)
        placed = assign_strips(bare, layout, edge_m=config.harvest.edge_m)
        inside = placed["kept"].to_numpy()
        for level in screening_levels(config.harvest.screening, 0, 0):
            kept = inside & _kept(level, log, bare, config, boundary)
            left_out = 100.0 * (1.0 - kept.sum() / max(1, inside.sum()))
            rows += _rows(level, placed.assign(kept=kept), left_out, layout, config, selling)
    names = ["level", "treatment", "share_pct", "gain_t_ha", "low_t_ha", "high_t_ha"]
    table = pd.DataFrame(rows, columns=[*names, "chance_paid", "verdict"])
    return Sensitivity(table, tuple(_hanging(table)))


def _kept(
    level: str,
    log: DataFrame,
    bare: DataFrame,
    config: TrialConfig,
    boundary: GeoDataFrame | None,
) -> np.ndarray:
    """Tell which records a level keeps; the declared one is known already."""
    if level == "default":
        return log["kept"].to_numpy(dtype=bool)
    if level == "none":
        return np.ones(len(log), dtype=bool)

    def limits(part: DataFrame) -> Screening:
        declared = config.harvest.screening
        return screening_levels(declared, *settled_ends(part, declared))[level]

    return by_machine(
        bare,
        lambda part: screen(
            part, limits(part), boundary=boundary, harvester_m=config.machines.harvester_m
        ),
    )["kept"].to_numpy(dtype=bool)


def _rows(
    level: str,
    log: DataFrame,
    left_out: float,
    layout: GeoDataFrame,
    config: TrialConfig,
    selling: Selling | None,
) -> Iterator[tuple[object, ...]]:
    """Return one row a treatment: the main analysis on the strip means of the records kept."""
    found: tuple[Comparison, ...] = ()
    try:
        found = compare(fit_strips(strip_table(log, layout), config), config, selling)
    except ModelError:
        others = [treatment.name for treatment in config.treatments if not treatment.control]
        for name in others:
            yield (level, name, left_out, np.nan, np.nan, np.nan, np.nan, "")
    for c in found:
        numbers = (c.gain_t_ha, c.low_t_ha, c.high_t_ha, c.chance_paid)
        yield (level, c.treatment, left_out, *numbers, c.verdict)


def _hanging(table: DataFrame) -> Iterator[str]:
    """Say for which treatments the answer hangs on which records are left out."""
    judged = table[table["level"].isin(_JUDGED)]
    for treatment, rows in judged.groupby("treatment", sort=False):
        gains, verdicts = rows["gain_t_ha"].tolist(), rows["verdict"].tolist()
        signs = set(np.sign([gain for gain in gains if gain == gain]))
        if len(set(verdicts)) == 1 and len(signs) <= 1:
            continue
        places = 2 if min((abs(gain) for gain in gains if gain == gain), default=1) >= 0.1 else 3
        light, declared, hard = (
            _outcome(gain, verdict, places) for gain, verdict in zip(gains, verdicts, strict=True)
        )
        yield say(
            "The answer hangs on which records are left out: {treatment} shows {light} under light "
            "screening, {declared} under the screening declared and {hard} under hard screening. "
            "Look at what the screening takes, or weigh the strips, before you act on it.",
            treatment=treatment,
            light=light,
            declared=declared,
            hard=hard,
        )


def _outcome(gain: float, verdict: str, places: int) -> str:
    if not verdict:
        return say("no answer")
    shown = figures(f"{gain:+.{places}f}").replace("-", MINUS)
    return say("{gain} t/ha ('{verdict}')", gain=shown, verdict=say(VERDICTS[verdict]))
