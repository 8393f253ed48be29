"""How much strips differ from one to the next: from a past yield map, or as published."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import pandas as pd
from scipy import stats

from trialkit.design.strip_yields import proposed_strips, strip_yields
from trialkit.errors import DesignError
from trialkit.language import marked
from trialkit.shown import as_line, as_table

#: What was compared, its strip-to-strip variation in %, and where that was read.
_PUBLISHED = (
    (
        marked("strips of an on-farm trial, combine widths, good ground"),
        3.0,
        marked("from memory; low end of what strip trials give"),
    ),
    (
        marked("strips of an on-farm trial, combine widths, uneven ground"),
        6.0,
        marked("from memory; high end of what strip trials give"),
    ),
    (
        marked("rows of 20 plots, uniformity trial of wheat, 1910"),
        6.7,
        marked("Mercer and Hall 1911, J. Agric. Sci. 4:107-132, plots combined 20 by 1"),
    ),
    (
        marked("small plots, rice, six seed rates in blocks"),
        6.7,
        marked("Gomez and Gomez 1984, Statistical Procedures for Agricultural Research, p. 26"),
    ),
    (
        marked("single plots, field crops; probable error 5%"),
        7.4,
        marked("Wood and Stratton 1910, J. Agric. Sci. 3, abstract; 5% / 0.6745"),
    ),
    (
        marked("pairs of 2-acre plots, one pair a farm, barley, 1901 to 1906"),
        9.7,
        marked(
            "Student 1923, 51 farms and years; from the differences, farms' own response included"
        ),
    ),
    (
        marked("on-farm trial, four treatments in two blocks"),
        10.7,
        marked("Hildebrand and Poey 1985, On-Farm Agronomic Trials, table III-7"),
    ),
)


@dataclass(frozen=True, slots=True)
class StripVariation:
    """How much strips of a layout differed in a season without treatments.

    Parameters
    ----------
    cv_pct
        Standard deviation of strip yields inside blocks, % of the mean.
    low_pct, high_pct
        95% interval of it, from the chi-square distribution of the variance.
    df
        Degrees of freedom: strips less blocks.
    mean_t_ha
        Mean yield of the strips, t/ha.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    cv_pct: float
    low_pct: float
    high_pct: float
    df: int
    mean_t_ha: float


def strip_variation(past_yield: pd.DataFrame, layout: gpd.GeoDataFrame) -> StripVariation:
    """Lay the strips over a past yield map and return how much they differ inside blocks.

    Parameters
    ----------
    past_yield
        Yields of a season in which the field was treated alike: `longitude latitude yield_t_ha`,
        and `kept` where it was screened.
    layout
        The strips proposed: `strip block geometry`, and `role` where there is other ground too.

    Returns
    -------
    StripVariation

    Raises
    ------
    DesignError
        If the map does not cover the strips, or no block holds two.

    Notes
    -----
    One season is one draw of the weather; another may vary more. Take the higher of two where
    you have them.
    """
    strips = proposed_strips(layout)
    yields = strip_yields(past_yield, strips)
    mean = float(yields.mean())
    apart = yields - yields.groupby(strips["block"]).transform("mean")
    df = len(strips) - strips["block"].nunique()
    if df < 1:
        raise DesignError("No block holds two strips, so they cannot be compared inside one.")
    squares = float((apart**2).sum())
    variances = [squares / df, *(squares / stats.chi2.isf(tail, df) for tail in (0.025, 0.975))]
    cv, low, high = (100 * math.sqrt(variance) / mean for variance in variances)
    return StripVariation(cv, low, high, df, mean)


def beyond_the_map(cv_pct: float, variations: Sequence[StripVariation]) -> float:
    """Return what strips are to differ by beyond what past maps hold, for `rehearse`.

    A map of a past season holds the ground, not what sets strips apart in the year of the trial:
    seeding depth, a blocked row, a spray pass.

    Parameters
    ----------
    cv_pct
        How much strips are expected to differ inside a block, % of the mean yield.
    variations
        From `strip_variation`, one a map.

    Returns
    -------
    float
        Standard deviation, t/ha; zero where the maps alone vary as much.

    Raises
    ------
    DesignError
        If there is no map, or the variation is below zero.
    """
    if not variations:
        raise DesignError("There is no past season. Give the variation of at least one.")
    if not (math.isfinite(cv_pct) and cv_pct >= 0):
        raise DesignError(f"Strips differ by {cv_pct}%. Give zero or more.")
    mean_t_ha = sum(each.mean_t_ha for each in variations) / len(variations)
    held = sum((each.cv_pct * each.mean_t_ha / 100) ** 2 for each in variations) / len(variations)
    return math.sqrt(max((cv_pct * mean_t_ha / 100) ** 2 - held, 0.0))


def typical_cvs() -> pd.DataFrame:
    """Return published strip-to-strip and plot-to-plot variations, where there is no map.

    Returns
    -------
    DataFrame
        Columns `what cv_pct source`, by rising variation. What is marked `from memory` was not
        seen in a source.

    Examples
    --------
    >>> float(typical_cvs()["cv_pct"].min())
    3.0
    """
    return pd.DataFrame(_PUBLISHED, columns=["what", "cv_pct", "source"])
