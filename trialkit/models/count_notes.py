"""What a fit of counts should say of itself: what it leaves out, and where it is too sure."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import chdtrc

from trialkit.language import say
from trialkit.models.count_degrees import NORMAL
from trialkit.models.count_fit import LogLinear
from trialkit.models.group_factor import sum_by_group
from trialkit.models.laplace import CountProblem
from trialkit.models.laplace_search import LaplaceFit
from trialkit.models.model_frame import ModelFrame
from trialkit.models.records import Floats

#: Counts scatter more than Poisson's where Pearson's chi-square has a smaller p than this.
_MORE_THAN_POISSON = 0.01
#: Groups beyond the coefficients, below which the normal distribution is named as too sure.
_FEW_GROUPS = 40
#: Degrees of freedom below which groups are named as few.
_FEW_DEGREES = 12
#: The average over groups is named where it is this share above a typical group's.
_APART = 0.02
#: A column varies inside groups when more than this share of its squared length does.
_ROUNDING = 1e-10


def count_notes(
    frame: ModelFrame,
    problem: CountProblem,
    fit: LaplaceFit,
    fixed: LogLinear,
    variances: pd.Series,
    converged: bool,
) -> tuple[str, ...]:
    """Return the sentences on a fit, that on the search last.

    Parameters
    ----------
    frame
        What was read.
    problem, fit
        The counts and the top of their likelihood.
    fixed
        The coefficients, and how they are judged.
    variances
        Variance of each random term.
    converged
        Whether all searches ended at a top.

    Returns
    -------
    tuple of str
    """
    notes, part = list(frame.notes), fixed.part
    if part.dropped:
        names = ", ".join(f"'{frame.design.columns[column]}'" for column in part.dropped)
        notes.append(
            say(
                "Left out of the formula, since earlier columns already say the same: {columns}.",
                columns=names,
            )
        )
    zero = ", ".join(f"'{name}'" for name in variances.index[variances == 0])
    if zero:
        notes.append(
            say(
                "Variance estimated at zero: {terms}. The data show no such differences.",
                terms=zero,
            )
        )
    notes += _scatter_notes(problem, fit)
    notes += _group_notes(frame, fixed, problem)
    notes += _average_notes(variances)
    if not converged:
        notes.append(
            say(
                "The search for the estimates did not converge: do not use these figures. Check "
                "the data for wild counts, or drop a random term."
            )
        )
    return tuple(notes)


def _scatter_notes(problem: CountProblem, fit: LaplaceFit) -> list[str]:
    """Compare the counts' scatter with Poisson's."""
    singles = [g.name for g in problem.groupings if g.levels == problem.counts.size]
    if problem.dispersed and singles:
        return [
            say(
                "theta and '{term}' both take up the scatter between single counts, and the data "
                "can hardly tell them apart. Leave one out.",
                term=singles[0],
            )
        ]
    if problem.dispersed and fit.state.point[-1] == 0:
        return [say("Counts scatter no more than Poisson's: theta is infinite.")]
    if problem.dispersed:
        return []
    means = np.exp(fit.state.eta)
    left = problem.counts.size - problem.columns.shape[1] - fit.state.used
    chi_square = float(((problem.counts - means) ** 2 / means).sum())
    if left < 1 or chdtrc(left, chi_square) >= _MORE_THAN_POISSON:
        return []
    return [
        say(
            "Counts scatter {times:.1f} times as much as Poisson's, so the intervals are too "
            "narrow. Use family='negative-binomial', or a random term with one group a count.",
            times=chi_square / left,
        )
    ]


def _group_notes(frame: ModelFrame, fixed: LogLinear, problem: CountProblem) -> list[str]:
    """Say where groups are few, and where scatter between strips is not asked for."""
    columns = frame.fixed[:, list(fixed.part.kept)]
    name, units = _carriers(frame, columns)
    if not (name or problem.dispersed):
        return [
            say(
                "No random term holds what is compared, so every count is taken as a draw of its "
                "own that scatters as Poisson's. If the treatment was put on whole strips, add the "
                "strip to random, even with one count a strip: intervals are too narrow without "
                "it."
            )
        ]
    what = (
        say("{units} groups of '{term}'", units=units, term=name)
        if name
        else say("{units} counts", units=units)
    )
    if fixed.degrees is NORMAL and units - columns.shape[1] < _FEW_GROUPS:
        return [
            say(
                "Only {units} carry what is compared. With df='normal' the intervals take the "
                "scatter between them as known, so they are too narrow: expect 95% intervals to "
                "cover some 80% of the time with 6 such groups, 90% with 24. Use df='containment'.",
                units=what,
            )
        ]
    compared = np.eye(columns.shape[1])[np.ptp(columns, axis=0) > 0]
    fewest = fixed.degrees.of(fixed.part.rotate(compared)).min(initial=np.inf)
    if fewest >= _FEW_DEGREES:
        return []
    return [
        say(
            "Only {units} carry what is compared, which leaves {fewest:.0f} degrees of freedom. "
            "The intervals allow for it. Where strips differ little beyond what counts scatter by "
            "chance, they are wider than need be: with 3 pairs of strips 95% intervals then hold "
            "the truth nearly always, and a real difference is easily missed.",
            units=what, fewest=fewest,
        )
    ]  # fmt: skip


def _average_notes(variances: pd.Series) -> list[str]:
    """Say how far a typical group is from the average."""
    rise = float(np.expm1(variances.sum() / 2))
    if rise <= _APART:
        return []
    return [
        say(
            "Means are those of a typical group; the average over groups is {rise_pct:.0f}% "
            "higher. Ratios are the same.",
            rise_pct=100 * rise,
        )
    ]


def _carriers(frame: ModelFrame, columns: Floats) -> tuple[str, int]:
    """Return the coarsest term inside whose groups some column never varies, and its groups."""
    found = ("", len(columns) + 1)  # a term with one group a count carries it too
    for column in (column for column in columns.T if np.ptp(column) > 0):
        for grouping in frame.groupings:
            sizes = np.bincount(grouping.codes, minlength=grouping.levels)
            between = (sum_by_group(grouping, column) ** 2 / sizes).sum()
            within = 1.0 - between / (column @ column)
            if within <= _ROUNDING and grouping.levels < found[1]:
                found = (grouping.name, grouping.levels)
    return found if found[0] else ("", len(columns))
