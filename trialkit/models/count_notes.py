"""What a fit of counts should say of itself: what it leaves out, and where it is too sure."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from trialkit.models.crossproducts import FixedPart
from trialkit.models.group_factor import sum_by_group
from trialkit.models.laplace import CountProblem
from trialkit.models.laplace_search import LaplaceFit
from trialkit.models.model_frame import ModelFrame
from trialkit.models.records import Floats

#: Counts scatter more than Poisson's where Pearson's chi-square has a smaller p than this.
_MORE_THAN_POISSON = 0.01
#: Groups beyond the coefficients, below which the normal distribution is named as too sure.
_FEW_GROUPS = 40
#: The average over groups is named where it is this share above a typical group's.
_APART = 0.02
#: A column varies inside groups when more than this share of its squared length does.
_ROUNDING = 1e-10


def count_notes(
    frame: ModelFrame,
    part: FixedPart,
    problem: CountProblem,
    fit: LaplaceFit,
    variances: pd.Series,
) -> tuple[str, ...]:
    """Return the sentences on a fit, that on the search last.

    Parameters
    ----------
    frame, part
        What was read, and which columns were kept.
    problem, fit
        The counts and the top of their likelihood.
    variances
        Variance of each random term.

    Returns
    -------
    tuple of str
    """
    notes = list(frame.notes)
    if part.dropped:
        names = ", ".join(f"'{frame.design.columns[column]}'" for column in part.dropped)
        notes.append(
            f"Left out of the formula, since earlier columns already say the same: {names}."
        )
    zero = ", ".join(f"'{name}'" for name in variances.index[variances == 0])
    if zero:
        notes.append(f"Variance estimated at zero: {zero}. The data show no such differences.")
    notes += _scatter_notes(problem, fit)
    notes += _group_notes(frame, part, variances)
    if not fit.converged:
        notes.append(
            "The search for the estimates did not converge: do not use these figures. Check the "
            "data for wild counts, or drop a random term."
        )
    return tuple(notes)


def _scatter_notes(problem: CountProblem, fit: LaplaceFit) -> list[str]:
    """Compare the counts' scatter with Poisson's."""
    singles = [g.name for g in problem.groupings if g.levels == problem.counts.size]
    if problem.dispersed and singles:
        return [
            f"theta and '{singles[0]}' both take up the scatter between single counts, and the "
            "data can hardly tell them apart. Leave one out."
        ]
    if problem.dispersed and fit.state.point[-1] == 0:
        return ["Counts scatter no more than Poisson's: theta is infinite."]
    if problem.dispersed:
        return []
    means = np.exp(fit.state.eta)
    left = problem.counts.size - problem.columns.shape[1] - fit.state.used
    chi_square = float(((problem.counts - means) ** 2 / means).sum())
    if left < 1 or chdtrc(left, chi_square) >= _MORE_THAN_POISSON:
        return []
    return [
        f"Counts scatter {chi_square / left:.1f} times as much as Poisson's, so the intervals are "
        "too narrow. Use family='negative-binomial', or a random term with one group a count."
    ]


def _group_notes(frame: ModelFrame, part: FixedPart, variances: pd.Series) -> list[str]:
    """Say where groups are few, and how far a typical group is from the average."""
    notes = []
    name, units = _carriers(frame, frame.fixed[:, list(part.kept)])
    if units - len(part.kept) < _FEW_GROUPS:
        what = f"{units} groups of '{name}'" if name else f"{units} counts"
        notes.append(
            f"Only {what} carry what is compared. The intervals take the scatter between them "
            "as known, so they are too narrow: expect 95% intervals to cover some 85% of the time "
            "with 8 such groups, 90% with 24. Hold the result against shuffle_test, or fit_mixed "
            "on the logarithm of each strip's rate."
        )
    rise = float(np.expm1(variances.sum() / 2))
    if rise > _APART:
        notes.append(
            f"Means are those of a typical group; the average over groups is {100 * rise:.0f}% "
            "higher. Ratios are the same."
        )
    return notes


def _carriers(frame: ModelFrame, columns: Floats) -> tuple[str, int]:
    """Return the coarsest term inside whose groups some column never varies, and its groups."""
    found = ("", len(columns))
    for column in (column for column in columns.T if np.ptp(column) > 0):
        for grouping in frame.groupings:
            sizes = np.bincount(grouping.codes, minlength=grouping.levels)
            between = (sum_by_group(grouping, column) ** 2 / sizes).sum()
            within = 1.0 - between / (column @ column)
            if within <= _ROUNDING and grouping.levels < found[1]:
                found = (grouping.name, grouping.levels)
    return found
