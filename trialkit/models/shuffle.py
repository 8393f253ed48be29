"""The randomisation test of the design as drawn.

Had the treatment done nothing, each strip would have yielded the same whichever treatment
the draw had put on it. So the labels are drawn again, inside blocks or from the list of
layouts the design could draw, and the difference found is held against the differences those
draws give. No normal distribution and no variance is assumed (Fisher 1935, The Design of
Experiments, ch. 3).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb, prod, sqrt

import numpy as np
import pandas as pd

from trialkit.errors import ModelError
from trialkit.language import say
from trialkit.models.allocations import Allocations, read_allocations, sample_note
from trialkit.models.estimates import check_confidence
from trialkit.models.records import (
    Codes,
    Floats,
    check_table,
    label_codes,
    level_values,
    rows_used,
    tidy,
)
from trialkit.models.shuffle_interval import Drawn, not_rejected

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
    low, high
        Interval of the difference, in the unit of the response: the differences that the test
        does not reject, were each strip to gain the same. Infinite where the design is too
        small to have such an interval. Where `exact` is false its ends are sampled too.
    confidence
        Level of that interval.
    notes
        Sentences on records left out, and on an interval without ends.
    """

    difference: float
    p: float
    exact: bool
    draws: int
    smallest_p: float
    monte_carlo_error: float
    treatments: tuple[object, object]
    low: float
    high: float
    confidence: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Block:
    """One block: yields, and marks of who got the first treatment, less their means.

    Of shape (strips, 2); those drawn for the first treatment come first.
    """

    deviations: Floats
    first: int

    @property
    def size(self) -> int:
        """Number of strips."""
        return int(self.deviations.shape[0])

    @property
    def weight(self) -> float:
        """What the block adds to the least-squares weight of the difference."""
        return self.first * (self.size - self.first) / self.size


def shuffle_test(
    data: pd.DataFrame,
    response: str,
    treatment: str,
    block: str,
    *,
    draws: int = 9999,
    seed: int | None = None,
    against: object | None = None,
    allocations: Iterable[object] | None = None,
    confidence: float = 0.95,
    sown: str | None = None,
) -> ShuffleTest:
    """Test a difference between two treatments by drawing their labels again.

    The difference is that of least squares with blocks: the block differences weighted by
    n1 n2 / (n1 + n2). With one strip of each treatment a block this is the mean difference
    of the pairs, and the test flips signs. Strips without a yield are left out, and the labels
    of those left are drawn again; this asks that they were not lost because of the treatment.

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
    allocations
        The layouts that the design could draw, where that is less than all inside blocks:
        one label for each row of the data, in their order. With the layout sown among them
        they count as all there are; without it, as a sample.
    confidence
        Level of the interval, between 0 and 1.
    sown
        Column of what each unit really got, where that is not always what was drawn for it.
        The draw in `treatment` alone is what is drawn again, so p stays exact; difference and
        interval are those of what was sown.

    Returns
    -------
    ShuffleTest

    Raises
    ------
    ModelError
        If the columns cannot be used, the data hold other than two treatments, no block
        holds both, or the design could draw only one layout; or if what was sown has nothing
        to do with the draw.

    Notes
    -----
    Interval: the gains d for which yields less d on the treated strips give p above
    1 - confidence (Hodges and Lehmann 1963, Annals of Mathematical Statistics 34:598-611). An
    allocation with difference T of the yields and C of the marks is as extreme as the layout
    sown for d between (D - T) / (1 - C) and (D + T) / (1 + C), D the difference found, so the
    ends are order statistics of these and nothing is searched.

    Where units did not get what was drawn, yields less d on those that did get the treatment
    are what the draw is tested on, so C is the difference of the marks of what was sown; and the
    difference is D over the C of the draw that was made, as an instrument is used (Imbens and
    Rosenbaum 2005, J. R. Statist. Soc. A 168:109-126; from memory).

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
    >>> round(found.low, 3), round(found.high, 3)
    (0.1, 0.4)
    """
    if draws < 1:
        raise ModelError(f"draws={draws} is no number of draws. Give 1 or more, such as 9999.")
    check_confidence(confidence)
    check_table(data)
    columns = list(dict.fromkeys([response, treatment, block, sown or treatment]))
    rows, notes = rows_used(data, columns)
    table = tidy(rows, [response], [])
    pair = _pair(table[treatment], against)
    if np.ptp(table[response].to_numpy(dtype=float)) == 0:
        raise ModelError(
            say(
                "Every record has the same '{column}'; there is nothing to compare.",
                column=response,
            )
        )
    received = np.asarray(table[sown or treatment] == pair[0], dtype=np.float64)
    blocks, further = _blocks(table, response, treatment, block, pair, received)
    notes += further
    if allocations is None:
        found, drawn = _inside_blocks(blocks, draws, seed)
    else:
        used = data[columns].notna().all(axis=1).to_numpy()
        marks = (table[treatment] == pair[0]).to_numpy().astype(np.intp)
        listed = read_allocations(allocations, (pair[1], pair[0]), marks, used, treatment)
        yields, codes = table[response].to_numpy(dtype=float), label_codes(table[block])[0]
        found, drawn = _from_list(listed, yields, received, codes, marks)
        notes += () if drawn.exact else (sample_note(len(listed.codes)),)
    return _judge(*_as_sown(found, drawn), pair, confidence, notes)


def _as_sown(found: Floats, drawn: Drawn) -> tuple[float, Drawn]:
    """Bring differences by the draw to those of what was sown: one in the marks for one in it."""
    difference, reached = float(found[0]), float(found[1])
    if abs(reached - 1) < _TIE:
        return difference, drawn
    if abs(reached) < _TIE:
        raise ModelError(
            say(
                "What was sown has nothing to do with what was drawn: as many units of one draw "
                "got the treatment as of the other. No randomisation test can be made."
            )
        )
    scaled = replace(drawn, of_yields=drawn.of_yields / reached, of_marks=drawn.of_marks / reached)
    return difference / reached, scaled


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
        "Pass only the records of the two to compare, or use shuffle_several."
        if len(levels) > 2
        else "Add records of another to compare it with."
    )
    raise ModelError(f"Column '{column.name}' holds {len(levels)} values: {known}. {remedy}")


def _blocks(
    table: pd.DataFrame,
    response: str,
    treatment: str,
    block: str,
    pair: tuple[object, object],
    received: Floats,
) -> tuple[list[_Block], tuple[str, ...]]:
    """Split into blocks, values less the block mean; leave out blocks with one treatment."""
    marks = (table[treatment] == pair[0]).to_numpy(dtype=float)
    values = np.column_stack([table[response].to_numpy(dtype=float), received, marks])
    codes, count = label_codes(table[block])
    blocks, alone = [], 0
    for place in range(count):
        inside = values[codes == place]
        first = int(inside[:, 2].sum())
        if 0 < first < len(inside):
            # First treatment first: the layout sown is then the first `first` rows.
            inside = inside[np.argsort(-inside[:, 2], kind="stable"), :2]
            blocks.append(_Block(inside - inside.mean(axis=0), first))
        else:
            alone += int(len(inside) > 0)
    if not blocks:
        raise ModelError(
            say(
                "No '{block}' holds both '{first}' and '{second}', so their labels cannot be drawn "
                "again inside it. Check the blocks, or compare other treatments.",
                block=block, first=str(pair[0]), second=str(pair[1]),
            )
        )  # fmt: skip
    note = say(
        "{alone} of {blocks} blocks hold only one of the two: left out.",
        alone=alone, blocks=alone + len(blocks),
    )  # fmt: skip
    return blocks, (note,) if alone else ()


def _inside_blocks(blocks: list[_Block], draws: int, seed: int | None) -> tuple[Floats, Drawn]:
    """Return the differences found, of yields and marks, and those of other draws inside blocks."""
    weight = sum(block.weight for block in blocks)
    own = [[float(part.sum()) for part in block.deviations[: block.first].T] for block in blocks]
    found = np.array([sum(parts) for parts in zip(*own, strict=True)]) / weight
    count = prod(comb(block.size, block.first) for block in blocks)
    exact = count <= EXACT_UP_TO
    sums = (_all_sums(blocks) if exact else _drawn_sums(blocks, draws, seed)) / weight
    # Swapping all labels turns every difference round where each block is half and half.
    mirrored = all(2 * block.first == block.size for block in blocks)
    smallest = (2 if mirrored else 1) / count
    if not exact:
        smallest = max(smallest, 1 / (draws + 1))
    return found, Drawn(sums[:, 0], sums[:, 1], exact, smallest)


def _all_sums(blocks: list[_Block]) -> Floats:
    """Return sums of the first treatment's values and marks, for every allocation."""
    sums = np.zeros((1, 2))
    for block in blocks:
        chosen = np.array(list(combinations(range(block.size), block.first)))
        own = block.deviations[chosen].sum(axis=1)
        sums = (sums[:, None] + own[None]).reshape(-1, 2)
    return sums


def _drawn_sums(blocks: list[_Block], draws: int, seed: int | None) -> Floats:
    """Return sums of the first treatment's values and marks, for allocations drawn at random."""
    generator = np.random.default_rng(seed)
    sums = np.zeros((draws, 2))
    for block in blocks:
        for start in range(0, draws, _CHUNK):
            part = sums[start : start + _CHUNK]
            order = generator.random((len(part), block.size))
            chosen = np.argpartition(order, block.first - 1, axis=1)[:, : block.first]
            part += block.deviations[chosen].sum(axis=1)
    return sums


def _from_list(
    listed: Allocations, yields: Floats, received: Floats, blocks: Codes, marks: Codes
) -> tuple[Floats, Drawn]:
    """Return the differences found, and those of listed allocations, adjusted for blocks."""
    inside = np.equal.outer(blocks, np.unique(blocks)).astype(float)
    size = inside.sum(axis=0)
    values = np.column_stack([yields - yields.mean(), received])
    values = values - inside @ (inside.T @ values / size[:, None])
    every = np.vstack([marks, listed.codes]).astype(float)
    weight = every.sum(axis=1) - ((every @ inside) ** 2 / size).sum(axis=1)
    bare = weight <= _TIE * yields.size
    if bare.any():
        raise ModelError(
            f"Allocation {int(bare.argmax())} puts both treatments together in no block, so it "
            "gives no difference. Leave it out, or check the blocks."
        )
    sums = every @ values / weight[:, None]
    return sums[0], Drawn(sums[1:, 0], sums[1:, 1], listed.complete, listed.smallest_p)


def _judge(
    found: float,
    drawn: Drawn,
    pair: tuple[object, object],
    confidence: float,
    notes: tuple[str, ...],
) -> ShuffleTest:
    draws = drawn.of_yields.size
    tie = _TIE * float(np.abs(drawn.of_yields).max())
    as_large = int((np.abs(drawn.of_yields) >= abs(found) - tie).sum())
    if drawn.exact:
        p, error = as_large / draws, 0.0
    else:  # the allocation drawn in the field counts as one more
        p = (as_large + 1) / (draws + 1)
        error = sqrt(p * (1 - p) / draws)
    low, high = not_rejected(found, drawn, 1 - confidence)
    if np.isinf(low) or np.isinf(high):
        notes += (
            say(
                "Too few allocations for an interval at {confidence:.0%}: no p falls below "
                "{smallest:.2g}.",
                confidence=confidence, smallest=drawn.smallest_p,
            ),
        )  # fmt: skip
    return ShuffleTest(
        difference=found,
        p=p,
        exact=drawn.exact,
        draws=draws,
        smallest_p=drawn.smallest_p,
        monte_carlo_error=error,
        treatments=pair,
        low=low,
        high=high,
        confidence=confidence,
        notes=notes,
    )
