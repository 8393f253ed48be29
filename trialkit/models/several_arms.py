"""The randomisation test of several treatments: all of them together, and each difference.

The same draws as in `shuffle`, with a statistic for several treatments: the F of the analysis
of variance with blocks (Fisher 1935, The Design of Experiments, ch. 3; Pitman 1938, Biometrika
29:322-335), and the largest t of the differences asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations, permutations
from math import factorial, prod, sqrt

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.models import shuffle
from trialkit.models.allocations import read_allocations, sample_note
from trialkit.models.records import (
    Codes,
    Floats,
    check_table,
    label_codes,
    level_values,
    rows_used,
    tidy,
)

#: Statistics closer than this share of the one found are ties, split only by rounding.
_TIE = 1e-9
#: Share of the scatter left beside the treatments below which an allocation explains all.
_LEAST_LEFT = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class SeveralShuffle:
    """What the reshuffled labels of several treatments say.

    Parameters
    ----------
    statistic
        F of treatments beside blocks, as the analysis of variance gives it.
    p
        Share of allocations with an F at least as large: the chance, had no treatment done
        anything.
    exact
        Whether all allocations were counted; otherwise they were sampled.
    draws
        Allocations counted or sampled.
    smallest_p
        The smallest `p` this design can give, whatever the yields.
    monte_carlo_error
        Standard error of `p` from sampling; zero where exact.
    differences
        One row a difference, columns `estimate p p_together`, estimates in the unit of the
        response: `p` for this difference alone, `p_together` held against the largest of all
        the differences (max t; Westfall and Young 1993, Resampling-Based Multiple Testing).
        Index: the treatment compared, or for all pairs the two treatments.
    notes
        Sentences on records left out.
    """

    statistic: float
    p: float
    exact: bool
    draws: int
    smallest_p: float
    monte_carlo_error: float
    differences: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Trial:
    """Yields less their block's mean, blocks and treatments as numbers."""

    deviations: Floats
    blocks: Codes
    arms: Codes
    levels: tuple[object, ...]

    @property
    def counts(self) -> Codes:
        """Strips of each treatment in each block, shape (blocks, treatments)."""
        arms = len(self.levels)
        joint = np.bincount(
            self.blocks * arms + self.arms, minlength=(int(self.blocks.max()) + 1) * arms
        )
        return np.asarray(joint.reshape(-1, arms), dtype=np.intp)


@dataclass(frozen=True, slots=True)
class _Statistics:
    """F and the estimates and t of the differences, for each allocation."""

    overall: Floats
    estimates: Floats
    ratios: Floats


def shuffle_several(
    data: pd.DataFrame,
    response: str,
    treatment: str,
    block: str,
    *,
    against: object | None = None,
    draws: int = 9999,
    seed: int | None = None,
    allocations: Iterable[object] | None = None,
) -> SeveralShuffle:
    """Test several treatments together by drawing their labels again.

    Every p here is held against draws of all the labels: it is the chance were none of the
    treatments to do anything. To ask about two treatments whatever the others do, pass only
    their strips to `shuffle_test`.

    Parameters
    ----------
    data
        One row for each unit the design drew a treatment for: a strip, not a point.
    response, treatment, block
        Columns of yield, of treatment and of the block inside which labels were drawn.
    against
        Treatment to subtract, such as `"untreated"`; None for all pairs, the later one in
        sorted order subtracted from the earlier.
    draws
        Allocations to sample where there are more than 100,000 to count.
    seed
        Seed of the sample. The same seed gives the same p.
    allocations
        The layouts that the design could draw, as for `shuffle_test`.

    Returns
    -------
    SeveralShuffle

    Raises
    ------
    ModelError
        If the columns cannot be used, there are fewer than two treatments, they cannot be
        compared inside blocks, or the design could draw only one layout.

    Examples
    --------
    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "block": list("111222333444"),
    ...     "treatment": ["untreated", "low", "high"] * 4,
    ...     "yield_t_ha": [3.0, 3.2, 3.4, 2.6, 2.7, 3.1, 3.1, 3.1, 3.5, 2.8, 2.9, 3.0],
    ... })
    >>> found = shuffle_several(
    ...     strips, "yield_t_ha", "treatment", "block", against="untreated"
    ... )
    >>> round(found.statistic, 2), round(found.p, 4), found.draws
    (20.11, 0.0093, 1296)
    >>> found.differences.round(3).loc["high"].to_dict()
    {'estimate': 0.375, 'p': 0.003, 'p_together': 0.006}
    """
    if draws < 1:
        raise ModelError(f"draws={draws} is no number of draws. Give 1 or more, such as 9999.")
    check_table(data)
    columns = list(dict.fromkeys([response, treatment, block]))
    rows, notes = rows_used(data, columns)
    table = tidy(rows, [response], [])
    trial = _trial(table, response, treatment, block)
    pairs, steps, index = _asked(trial.levels, treatment, against)
    if allocations is None:
        codes, exact, smallest = _inside_blocks(trial, draws, seed)
    else:
        used = data[columns].notna().all(axis=1).to_numpy()
        listed = read_allocations(allocations, trial.levels, trial.arms, used, treatment)
        codes, exact, smallest = listed.codes, listed.complete, listed.smallest_p
        notes += () if exact else (sample_note(len(codes)),)
    found = _statistics(trial, trial.arms[None], steps, treatment)
    drawn = _statistics(trial, codes, steps, treatment)
    p = _share(drawn.overall, found.overall[0], exact)
    largest = np.abs(drawn.ratios).max(axis=1)
    own = np.abs(found.ratios[0])
    table = pd.DataFrame(
        {
            "estimate": found.estimates[0],
            "p": [_share(np.abs(drawn.ratios[:, k]), own[k], exact) for k in range(len(pairs))],
            "p_together": [_share(largest, own[k], exact) for k in range(len(pairs))],
        },
        index=index,
    )
    error = 0.0 if exact else sqrt(p * (1 - p) / len(codes))
    return SeveralShuffle(
        float(found.overall[0]), p, exact, len(codes), smallest, error, table, notes
    )


def _trial(table: pd.DataFrame, response: str, treatment: str, block: str) -> _Trial:
    yields = table[response].to_numpy(dtype=float)
    if np.ptp(yields) == 0:
        raise ModelError(f"Every record has the same '{response}'; there is nothing to compare.")
    levels = level_values(table[treatment])
    if len(levels) < 2:
        raise ModelError(
            f"Column '{treatment}' holds only '{levels[0]}'. Add records of another treatment."
        )
    blocks = label_codes(table[block])[0]
    sizes = np.bincount(blocks)
    deviations = yields - (np.bincount(blocks, weights=yields) / np.maximum(sizes, 1))[blocks]
    return _Trial(deviations, blocks, label_codes(table[treatment])[0], levels)


def _asked(
    levels: tuple[object, ...], treatment: str, against: object | None
) -> tuple[list[tuple[int, int]], Floats, pd.Index]:
    """Return the differences asked for: pairs, rows over the treatments, and their names."""
    if against is not None and against not in levels:
        known = ", ".join(f"'{level}'" for level in levels)
        raise ModelError(f"Column '{treatment}' has no value '{against}'. It has: {known}.")
    if against is None:
        pairs = list(combinations(range(len(levels)), 2))
    else:
        place = levels.index(against)
        pairs = [(level, place) for level in range(len(levels)) if level != place]
    unit = np.eye(len(levels))
    steps = np.array([unit[first] - unit[second] for first, second in pairs])
    if against is None:
        named = [(levels[a], levels[b]) for a, b in pairs]
        index: pd.Index = pd.MultiIndex.from_tuples(named, names=[treatment, "against"])
    else:
        index = pd.Index([levels[a] for a, _ in pairs], name=treatment)
    return pairs, steps, index


def _inside_blocks(trial: _Trial, draws: int, seed: int | None) -> tuple[Codes, bool, float]:
    """Return the allocations inside blocks, whether they are all, and the smallest p."""
    counts = trial.counts
    ways = prod(factorial(sum(row)) // prod(map(factorial, row)) for row in counts.tolist())
    renamings = sum(
        (counts[:, list(order)] == counts).all() for order in permutations(range(counts.shape[1]))
    )
    smallest = float(renamings / ways)
    if ways <= shuffle.EXACT_UP_TO:
        return _every(trial), True, smallest
    generator = np.random.default_rng(seed)
    codes = np.tile(trial.arms, (draws, 1))
    for place in range(len(counts)):
        inside = np.flatnonzero(trial.blocks == place)
        codes[:, inside] = generator.permuted(codes[:, inside], axis=1)
    return codes, False, max(smallest, 1 / (draws + 1))


def _every(trial: _Trial) -> Codes:
    """Return every allocation, shape (allocations, strips)."""
    codes = np.zeros((1, trial.arms.size), dtype=np.intp)
    for place, counts in enumerate(trial.counts.tolist()):
        inside = np.flatnonzero(trial.blocks == place)
        ways = np.array(list(_arrangements(counts)), dtype=np.intp)
        repeated = np.repeat(codes, len(ways), axis=0)
        repeated[:, inside] = np.tile(ways, (len(codes), 1))
        codes = repeated
    return codes


def _arrangements(counts: list[int]) -> Iterator[list[int]]:
    """Yield every order of labels of which each stands `counts` times."""
    arm = next((place for place, count in enumerate(counts) if count), None)
    if arm is None:
        yield []
        return
    rest = [0 if place == arm else count for place, count in enumerate(counts)]
    size = sum(counts)
    for chosen in combinations(range(size), counts[arm]):
        for others in _arrangements(rest):
            remaining = iter(others)
            yield [arm if place in chosen else next(remaining) for place in range(size)]


def _statistics(trial: _Trial, codes: Codes, steps: Floats, treatment: str) -> _Statistics:
    """Work out F and the differences by least squares with blocks, for each allocation."""
    marks = np.stack([codes == arm for arm in range(len(trial.levels))], axis=1).astype(float)
    inside = np.equal.outer(trial.blocks, np.unique(trial.blocks)).astype(float)
    held = marks @ inside  # strips of each treatment in each block
    shares = held / inside.sum(axis=0)
    normal = -shares @ held.transpose(0, 2, 1)
    diagonal = np.arange(len(trial.levels))
    normal[:, diagonal, diagonal] += held.sum(axis=2)
    inverse = np.linalg.pinv(normal, rcond=1e-10, hermitian=True)
    connected = np.linalg.matrix_rank(normal, tol=1e-9, hermitian=True) == len(trial.levels) - 1
    if not connected.all():
        raise ModelError(
            f"Not all treatments of '{treatment}' can be compared inside the blocks: some never "
            "stand beside the others. Compare those that do."
        )
    spare = trial.arms.size - inside.shape[1] - len(trial.levels) + 1
    if spare < 1:
        raise ModelError(
            "The blocks hold too few strips: nothing is left to judge the treatments by. "
            "Compare two treatments at a time, or add blocks."
        )
    sums = marks @ trial.deviations
    effects = np.einsum("nab,nb->na", inverse, sums)
    whole = float(trial.deviations @ trial.deviations)
    explained = (effects * sums).sum(axis=1)
    error = np.maximum(whole - explained, _LEAST_LEFT * whole) / spare
    estimates = effects @ steps.T
    spread = np.einsum("ca,nab,cb->nc", steps, inverse, steps)
    return _Statistics(
        overall=explained / (len(trial.levels) - 1) / error,
        estimates=estimates,
        ratios=estimates / np.sqrt(spread * error[:, None]),
    )


def _share(drawn: Floats, found: float, exact: bool) -> float:
    """Return the share of draws at least as large as the one found, which counts itself."""
    as_large = int((drawn >= found * (1 - _TIE)).sum())
    return as_large / drawn.size if exact else (as_large + 1) / (drawn.size + 1)
