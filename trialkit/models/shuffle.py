"""The randomisation test of the design as drawn.

Had the treatment done nothing, each strip would have yielded the same whichever treatment
the draw had put on it. So the labels are drawn again, inside blocks, as the design drew
them, and the difference found is held against the differences those draws give. No normal
distribution and no variance is assumed (Fisher 1935, The Design of Experiments, ch. 3).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import comb, prod, sqrt

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.models.records import Floats, check_table, label_codes, level_values, rows_used, tidy

#: Up to this many allocations, all are counted instead of a sample.
EXACT_UP_TO = 100_000
#: Draws held in memory at once.
_CHUNK = 4096
#: Differences closer than this share of the largest one are ties, split only by rounding.
_TIE = 1e-10


@dataclass(frozen=True, slots=True)
class ShuffleTest:
    """What the reshuffled labels say.

    Parameters
    ----------
    difference
        First treatment less second, adjusted for blocks, in the unit of the response.
    p
        Two-sided: share of allocations with a difference at least as large in size.
    exact
        Whether all allocations were counted; otherwise they were sampled.
    draws
        Allocations counted or sampled.
    smallest_p
        The smallest p this design can give, whatever the yields; 2 / 2^k for k pairs.
    monte_carlo_error
        Standard error of p from sampling; zero where exact.
    treatments
        The two treatments compared: the first less the second.
    notes
        Sentences on records left out.
    """

    difference: float
    p: float
    exact: bool
    draws: int
    smallest_p: float
    monte_carlo_error: float
    treatments: tuple[object, object]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Block:
    """Yields of one block less their mean, and how many carry the first treatment."""

    deviations: Floats
    first: int
    observed: float

    @property
    def weight(self) -> float:
        """What the block adds to the least-squares weight of the difference."""
        return self.first * (self.deviations.size - self.first) / self.deviations.size


def shuffle_test(
    data: pd.DataFrame,
    response: str,
    treatment: str,
    block: str,
    *,
    draws: int = 9999,
    seed: int | None = None,
    against: object | None = None,
) -> ShuffleTest:
    """Test a difference between two treatments by reshuffling labels inside blocks.

    The difference is that of least squares with blocks: the block differences weighted by
    n1 n2 / (n1 + n2). With one strip of each treatment a block this is the mean difference
    of the pairs, and the test flips signs.

    Parameters
    ----------
    data
        One row for each unit the design drew a treatment for: a strip, not a point.
    response, treatment, block
        Columns of yield, of treatment and of the block inside which labels were drawn.
    draws
        Allocations to sample where there are more than 100,000 to count.
    seed
        Seed of the sample. The same seed gives the same p.
    against
        Treatment to subtract, such as `"untreated"`; None for the first in sorted order.

    Returns
    -------
    ShuffleTest

    Raises
    ------
    ModelError
        If the columns cannot be used, the data hold other than two treatments, or no block
        holds both.

    Examples
    --------
    Six pairs are the fewest that can reach 5%:

    >>> import pandas as pd
    >>> strips = pd.DataFrame({
    ...     "block": list("112233445566"),
    ...     "treatment": ["dressed", "untreated"] * 6,
    ...     "yield_t_ha": [3.2, 3.0, 2.7, 2.6, 3.5, 3.1, 2.9, 2.8, 3.3, 3.0, 2.8, 2.5],
    ... })
    >>> found = shuffle_test(strips, "yield_t_ha", "treatment", "block", against="untreated")
    >>> round(found.difference, 3), found.p, found.exact, found.smallest_p
    (0.233, 0.03125, True, 0.03125)
    """
    if draws < 1:
        raise ModelError(f"draws={draws} is no number of draws. Give 1 or more, such as 9999.")
    check_table(data)
    rows, notes = rows_used(data, list(dict.fromkeys([response, treatment, block])))
    table = tidy(rows, [response], [])
    pair = _pair(table[treatment], against)
    blocks, further = _blocks(table, response, treatment, block, pair)
    return _shuffle(blocks, pair, draws, seed, (*notes, *further))


def _pair(column: pd.Series, against: object | None) -> tuple[object, object]:
    """Return the treatment compared and the one it is compared with."""
    levels = level_values(column)
    known = ", ".join(f"'{level}'" for level in levels)
    if against is not None and against not in levels:
        raise ModelError(f"Column '{column.name}' has no value '{against}'. It has: {known}.")
    if len(levels) == 2:
        second = levels[0] if against is None else against
        return levels[1] if second == levels[0] else levels[0], second
    remedy = (
        "Pass only the records of the two to compare."
        if len(levels) > 2
        else "Add records of another to compare it with."
    )
    raise ModelError(f"Column '{column.name}' holds {len(levels)} values: {known}. {remedy}")


def _blocks(
    table: pd.DataFrame, response: str, treatment: str, block: str, pair: tuple[object, object]
) -> tuple[list[_Block], tuple[str, ...]]:
    """Split into blocks, values less the block mean; leave out blocks with one treatment."""
    yields = table[response].to_numpy(dtype=float)
    if np.ptp(yields) == 0:
        raise ModelError(f"Every record has the same '{response}'; there is nothing to compare.")
    carries = (table[treatment] == pair[0]).to_numpy()
    codes, count = label_codes(table[block])
    blocks, alone = [], 0
    for place in range(count):
        inside = codes == place
        values, first = yields[inside], carries[inside]
        if 0 < first.sum() < first.size:
            values = values - values.mean()
            blocks.append(_Block(values, int(first.sum()), float(values[first].sum())))
        else:
            alone += int(first.size > 0)
    if not blocks:
        raise ModelError(
            f"No '{block}' holds both '{pair[0]}' and '{pair[1]}', so their labels cannot be "
            "drawn again inside it. Check the blocks, or compare other treatments."
        )
    note = f"{alone} of {alone + len(blocks)} blocks hold only one of the two: left out."
    return blocks, (note,) if alone else ()


def _shuffle(
    blocks: list[_Block],
    pair: tuple[object, object],
    draws: int,
    seed: int | None,
    notes: tuple[str, ...],
) -> ShuffleTest:
    observed = sum(block.observed for block in blocks)
    difference = observed / sum(block.weight for block in blocks)
    allocations = prod(comb(block.deviations.size, block.first) for block in blocks)
    exact = allocations <= EXACT_UP_TO
    sums = _all_sums(blocks) if exact else _drawn_sums(blocks, draws, seed)
    tie = _TIE * float(np.abs(sums).max())
    as_large = int((np.abs(sums) >= abs(observed) - tie).sum())
    # Swapping all labels turns every difference round where each block is half and half.
    mirrored = all(2 * block.first == block.deviations.size for block in blocks)
    smallest = (2 if mirrored else 1) / allocations
    if exact:
        p, error = as_large / allocations, 0.0
    else:  # the allocation drawn in the field counts as one more
        p = (as_large + 1) / (draws + 1)
        error = sqrt(p * (1 - p) / draws)
        smallest = max(smallest, 1 / (draws + 1))
    counted = allocations if exact else draws
    return ShuffleTest(difference, p, exact, counted, smallest, error, pair, notes)


def _all_sums(blocks: list[_Block]) -> Floats:
    """Sum of the first treatment's values, for every allocation."""
    sums = np.zeros(1)
    for block in blocks:
        chosen = np.array(list(combinations(range(block.deviations.size), block.first)))
        sums = (sums[:, None] + block.deviations[chosen].sum(axis=1)).ravel()
    return sums


def _drawn_sums(blocks: list[_Block], draws: int, seed: int | None) -> Floats:
    """Sum of the first treatment's values, for allocations drawn at random."""
    generator = np.random.default_rng(seed)
    sums = np.zeros(draws)
    for block in blocks:
        for start in range(0, draws, _CHUNK):
            part = sums[start : start + _CHUNK]
            order = generator.random((part.size, block.deviations.size))
            chosen = np.argpartition(order, block.first - 1, axis=1)[:, : block.first]
            part += block.deviations[chosen].sum(axis=1)
    return sums
