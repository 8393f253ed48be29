"""The draws behind an allocation: orders of treatments in blocks, as numbers.

Where all free layouts can be listed, those that meet the rules are, and one is taken with equal
chance. Where they are too many, Latin squares even out the places and draws that fail the
tramlines are thrown away. Either way the randomisation test draws again by the same procedure,
which is all that makes it exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations
from math import factorial

import numpy as np
from numpy.typing import NDArray

from trialkit.errors import LayoutError

Orders = NDArray[np.intp]

#: Up to this many free layouts, all are listed.
ENUMERATE_UP_TO = 100_000
#: Layouts drawn at once.
_BATCH = 1024
#: Batches without a single layout that meets the rules, after which there is taken to be none.
_GIVE_UP = 200


@dataclass(frozen=True, slots=True)
class Rules:
    """What limits a draw.

    Parameters
    ----------
    treatments
        Number of treatments, each once in a block.
    blocks
        Number of blocks.
    draw
        Way of drawing, as `allocate` has it.
    tramline
        One entry a block: whether each place has a tramline; empty for no such rule.
    """

    treatments: int
    blocks: int
    draw: str
    tramline: tuple[tuple[bool, ...], ...] = ()

    @property
    def free_count(self) -> int:
        """Number of layouts without the rules, t! to the power of the blocks."""
        return int(factorial(self.treatments) ** self.blocks)

    @property
    def limited(self) -> bool:
        """Whether the rules leave fewer than all layouts."""
        return self.draw != "random" or bool(self.tramline)


def systematic(rules: Rules) -> Orders:
    """Return the orders of a layout that is not drawn, shape (blocks, treatments).

    Parameters
    ----------
    rules
        `"same order"` or `"turn about"`.
    """
    orders = np.tile(np.arange(rules.treatments), (rules.blocks, 1))
    if rules.draw == "turn about":
        orders[1::2] = orders[1::2, ::-1]
    return orders


def all_orders(rules: Rules) -> Orders:
    """Return every layout that meets the rules, shape (layouts, blocks, treatments).

    Parameters
    ----------
    rules
        With no more than `ENUMERATE_UP_TO` free layouts.

    Raises
    ------
    LayoutError
        If no layout meets the rules.
    """
    ways = np.array(list(permutations(range(rules.treatments))), dtype=np.intp)
    picks = np.indices((len(ways),) * rules.blocks, dtype=np.intp).reshape(rules.blocks, -1).T
    orders = ways[picks]
    if rules.draw == "even sides":
        orders = orders[_spread(_place_counts(orders)) <= 1]
    orders = _sharing_tramlines(orders, rules)
    if not len(orders):
        raise _no_layout()
    return orders


def draw_orders(rules: Rules, generator: np.random.Generator, number: int) -> Orders:
    """Return layouts drawn by the rules, shape (number, blocks, treatments).

    Parameters
    ----------
    rules
        Of a draw, not of a systematic layout.
    generator
        Where the randomness comes from.
    number
        How many.

    Raises
    ------
    LayoutError
        If no layout is found that meets the rules.
    """
    if rules.limited and rules.free_count <= ENUMERATE_UP_TO:
        listed = all_orders(rules)
        return listed[generator.integers(len(listed), size=number)]
    found: list[Orders] = []
    wanted, failed = number, 0
    while wanted > 0:
        size = _BATCH if rules.tramline else min(wanted, _BATCH)
        drawn = _proposals(rules, generator, size)
        drawn = _sharing_tramlines(drawn, rules)[:wanted]
        failed = 0 if len(drawn) else failed + 1
        if failed == _GIVE_UP:
            raise _no_layout()
        found.append(drawn)
        wanted -= len(drawn)
    return np.concatenate(found)


def _proposals(rules: Rules, generator: np.random.Generator, size: int) -> Orders:
    if rules.draw == "even sides":
        return np.stack([_from_squares(rules, generator) for _ in range(size)])
    every = np.tile(np.arange(rules.treatments), (size, rules.blocks, 1))
    return generator.permuted(every, axis=2)


def _from_squares(rules: Rules, generator: np.random.Generator) -> Orders:
    """Return the rows of random Latin squares, mixed over the blocks.

    For two treatments these are all layouts with even sides, each with equal chance.
    """
    size = rules.treatments
    cyclic = np.add.outer(np.arange(size), np.arange(size)) % size
    squares = []
    for _ in range(-(-rules.blocks // size)):
        rows, columns, names = (generator.permutation(size) for _ in range(3))
        squares.append(names[cyclic[rows][:, columns]])
    rows_used = np.concatenate(squares)[: rules.blocks]
    return rows_used[generator.permutation(rules.blocks)]


def _place_counts(orders: Orders) -> Orders:
    """Return how often each treatment stands in each place, shape (layouts, places, treatments)."""
    every = np.arange(orders.shape[2])
    return np.asarray((orders[..., None] == every).sum(axis=1), dtype=np.intp)


def _sharing_tramlines(orders: Orders, rules: Rules) -> Orders:
    """Keep the layouts where strips with a tramline fall to the treatments alike, but for one."""
    if not rules.tramline or not len(orders):
        return orders
    sprayed = np.array(rules.tramline)
    own = orders[:, sprayed]
    counts = (own[..., None] == np.arange(rules.treatments)).sum(axis=1)
    shared: Orders = orders[counts.max(axis=1) - counts.min(axis=1) <= 1]
    return shared


def _spread(counts: Orders) -> Orders:
    return np.asarray((counts.max(axis=2) - counts.min(axis=2)).max(axis=1), dtype=np.intp)


def _no_layout() -> LayoutError:
    return LayoutError(
        "No layout was found that evens out the places in the blocks and the tramlines both. Ask "
        "for one of them, use other blocks, or keep the tramlines out of all strips."
    )
