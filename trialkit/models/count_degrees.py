"""Degrees of freedom for counts: what the groups can give, and no more.

A difference that lies wholly between strips is judged by the scatter between strips, however
many counts were made in each: it gets the strips' degrees of freedom (containment; for k pairs
of strips with random blocks k - 1). So does a mean, by the term that gives fewest. A difference
inside all random groups is judged by the scatter between single counts: Poisson's is known, so
its degrees of freedom are infinite; the negative binomial's is estimated, and the counts left
beside coefficients and groups judge it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.models.containment import Containment, contain
from trialkit.models.crossproducts import FixedPart, Reduced
from trialkit.models.laplace import CountProblem
from trialkit.models.records import Floats

#: Groups beyond which a term is not worked out: its degrees of freedom count as infinite.
_MOST_GROUPS = 1000


@dataclass(frozen=True, slots=True)
class CountDegrees:
    """Degrees of freedom of contrasts.

    Parameters
    ----------
    containment
        What the groups of the random terms give; None without random terms.
    counts
        Degrees of freedom of contrasts inside all random groups; infinite for Poisson's.
    """

    containment: Containment | None
    counts: float

    def of(self, contrasts: Floats) -> Floats:
        """Return them for contrasts over the orthonormal columns, shape (contrasts,)."""
        if self.containment is None:
            return np.full(len(contrasts), self.counts)
        bounds = self.containment.bound(contrasts)
        return np.where(np.isfinite(bounds), bounds, self.counts)


#: As if all scatter were known.
NORMAL = CountDegrees(None, np.inf)


def count_degrees(problem: CountProblem, part: FixedPart) -> CountDegrees:
    """Work out the degrees of freedom.

    Parameters
    ----------
    problem
        The counts.
    part
        Their fixed part.

    Returns
    -------
    CountDegrees
    """
    spare = problem.counts.size - problem.columns.shape[1]
    groupings = [g for g in problem.groupings if g.levels <= _MOST_GROUPS]
    containment, groups = None, 0.0
    if groupings:
        basis = problem.columns / np.sqrt(problem.counts.size)
        columns = np.column_stack([basis, np.zeros(len(basis))])
        # With no column to tell a mean by, a mean too is held to the term that gives least.
        containment = contain(Reduced(part, columns), groupings, np.zeros(len(basis)), None)
        groups = containment.together
    counts = max(1.0, spare - groups) if problem.dispersed else np.inf
    return CountDegrees(containment, counts)
