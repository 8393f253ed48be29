"""How counts scatter, inside strips and between them.

Plants in a place scatter at least as Poisson's law has it, with a variance equal to the mean m;
where they stand in clumps and gaps it is m + m^2/theta (negative binomial).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import ScoutingError
from trialkit.scouting.strip_labels import COUNTS, require_columns

#: From so many times the scatter of chance, it is worth a word.
_CLUMPED = 1.2


@dataclass(frozen=True, slots=True)
class CountSpread:
    """How counts scatter, inside strips and between them.

    Parameters
    ----------
    mean_count
        Mean plants a place.
    dispersion
        Variance inside strips over the mean: 1 for Poisson's scatter, above where plants stand
        in clumps and gaps.
    theta
        Of the negative binomial, variance m + m^2 / theta; infinite at Poisson's scatter.
    p_poisson
        Chance of so much scatter inside strips, were it Poisson's (index of dispersion,
        chi-square). NaN where no strip has two counts.
    count_cv_pct
        Standard deviation of one count around its strip's mean, % of the mean.
    strip_cv_pct
        Standard deviation between strips of one treatment in one block, beyond what the counts'
        own scatter explains, % of the mean. NaN where strips are too few to tell.
    strips, counts
        How many of each went in.
    """

    mean_count: float
    dispersion: float
    theta: float
    p_poisson: float
    count_cv_pct: float
    strip_cv_pct: float
    strips: int
    counts: int


def count_spread(table: pd.DataFrame) -> CountSpread:
    """Estimate how counts scatter inside strips and between them.

    Parameters
    ----------
    table
        From `plant_table`, of one round of counting. Blank counts are passed over.

    Returns
    -------
    CountSpread

    Raises
    ------
    ScoutingError
        If there are no counts, or no plants in any.

    Notes
    -----
    By moments. Inside strips: Pearson's chi-square about each strip's mean over its degrees of
    freedom (Fisher's index of dispersion). Between strips: what an additive model of block and
    treatment leaves of the strips' densities, less the part that counting makes. Where no strip
    has two counts, the scatter inside strips is taken to be Poisson's.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({
    ...     "strip": ["S1"] * 3 + ["S2"] * 3, "block": "B1", "area_m2": 0.25,
    ...     "treatment": ["untreated"] * 3 + ["dressed"] * 3, "count": [20, 26, 32, 25, 31, 40]})
    >>> spread = count_spread(table)
    >>> round(spread.mean_count, 1), round(spread.dispersion, 2)
    (29.0, 1.58)
    """
    require_columns(table, ["strip", "block", "treatment", "count", "area_m2"], COUNTS)
    known = table[table["count"].notna()]
    if not len(known) or known["count"].sum() == 0:
        raise ScoutingError("There are no plants in these counts, so nothing to judge by.")
    strips = known.groupby("strip", sort=False).agg(
        plants=("count", "sum"), area=("area_m2", "sum"), n=("count", "size"),
        block=("block", "first"), treatment=("treatment", "first"),
    )  # fmt: skip
    rate = (strips["plants"] / strips["area"]).reindex(known["strip"]).to_numpy()
    expected = rate * known["area_m2"].to_numpy()
    counted = known["count"].to_numpy(dtype=np.float64)
    there = expected > 0
    square = float((((counted - expected)[there]) ** 2 / expected[there]).sum())
    degrees = int((strips.loc[strips["plants"] > 0, "n"] - 1).sum())
    mean = float(counted.mean())
    dispersion = max(1.0, square / degrees) if degrees else 1.0
    theta = mean / (dispersion - 1) if dispersion > 1 else math.inf
    return CountSpread(
        mean_count=mean,
        dispersion=square / degrees if degrees else math.nan,
        theta=theta,
        p_poisson=_chance_above(square, degrees),
        count_cv_pct=100 * math.sqrt(dispersion / mean),
        strip_cv_pct=_between_strips_pct(strips, dispersion),
        strips=len(strips),
        counts=len(known),
    )


def _chance_above(square: float, degrees: int) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(square, degrees)) if degrees else math.nan


def _between_strips_pct(strips: pd.DataFrame, dispersion: float) -> float:
    density = (strips["plants"] / strips["area"]).to_numpy(dtype=np.float64)
    labels = strips[["block", "treatment"]].astype(str)
    marks = pd.get_dummies(labels, drop_first=True, dtype=float).to_numpy(dtype=np.float64)
    columns = np.column_stack([np.ones(len(strips)), marks])
    fitted, _, rank, _ = np.linalg.lstsq(columns, density, rcond=None)
    degrees = len(strips) - int(rank)
    if degrees < 1:
        return math.nan
    left = float(((density - columns @ fitted) ** 2).sum()) / degrees
    by_counting = float((dispersion * density / strips["area"].to_numpy(dtype=np.float64)).mean())
    return 100 * math.sqrt(max(0.0, left - by_counting)) / float(density.mean())


def describe_spread(spread: CountSpread) -> str:
    """Return a spread in words.

    Parameters
    ----------
    spread
        From `count_spread`.
    """
    where = f"{spread.counts} counts in {spread.strips} strips, {spread.mean_count:.0f} plants each"
    if math.isnan(spread.dispersion):
        inside = "with one count a strip, nothing can be said of the scatter inside strips"
    elif spread.p_poisson < 0.05 and spread.dispersion >= _CLUMPED:
        inside = (
            f"inside strips they scatter {spread.dispersion:.1f} times as much as chance alone "
            "would make them: plants stand in clumps and gaps"
        )
    else:
        inside = "inside strips they scatter hardly more than chance makes them"
    if math.isnan(spread.strip_cv_pct):
        between = "strips are too few to say how they differ"
    elif spread.strip_cv_pct < 0.5:
        between = "strips of one treatment differ no more than that explains"
    else:
        between = f"strips of one treatment differ by {spread.strip_cv_pct:.0f}% beyond that"
    return f"{where}; {inside}; {between}."
