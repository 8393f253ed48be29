"""Which strip gets what: drawn inside blocks from a recorded seed, or systematic and labelled so.

A draw is kept with everything that limited it, so that the randomisation test can later draw
again the way the design drew.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from math import comb, factorial
from typing import Any, Literal, get_args

import numpy as np
import pandas as pd

from trialkit.design.draws import ENUMERATE_UP_TO, Rules, all_orders, draw_orders, systematic
from trialkit.errors import LayoutError
from trialkit.language import figures, marked, say
from trialkit.shown import as_line, as_table

Draw = Literal["random", "even sides", "same order", "turn about"]

#: The ways of drawing in words.
DRAWS: dict[Draw, str] = {
    "random": marked("random"),
    "even sides": marked("even sides"),
    "same order": marked("same order"),
    "turn about": marked("turn about"),
}

_SYSTEMATIC: tuple[Draw, ...] = ("same order", "turn about")

#: What limited the draw: places in the block, tramlines; without and with numbers of layouts.
_LIMITED = {
    (True, False): (
        marked(
            "The draw evened out the places in the block, so fewer layouts were possible. The "
            "randomisation test must draw from those only."
        ),
        marked(
            "The draw evened out the places in the block, so fewer layouts were possible: "
            "{possible} of {free}. The randomisation test must draw from those only."
        ),
    ),
    (False, True): (
        marked(
            "The draw shared out the tramlines, so fewer layouts were possible. The randomisation "
            "test must draw from those only."
        ),
        marked(
            "The draw shared out the tramlines, so fewer layouts were possible: {possible} of "
            "{free}. The randomisation test must draw from those only."
        ),
    ),
    (True, True): (
        marked(
            "The draw evened out the places in the block and shared out the tramlines, so fewer "
            "layouts were possible. The randomisation test must draw from those only."
        ),
        marked(
            "The draw evened out the places in the block and shared out the tramlines, so fewer "
            "layouts were possible: {possible} of {free}. The randomisation test must draw from "
            "those only."
        ),
    ),
}
_COSTS: dict[Draw, str] = {
    "same order": marked(
        "The order is the same in every block and was not drawn. Where the ground changes steadily "
        "across the field, the change goes into the gain; the error is a guess; and no "
        "randomisation test can be made."
    ),
    "turn about": marked(
        "Every other block runs the other way round; nothing was drawn. A steady change across the "
        "field cancels out over an even number of blocks, other patterns do not; the error is a "
        "guess; and no randomisation test can be made."
    ),
}
#: All that `Allocation.cost` can say.
COSTS = (*_COSTS.values(), *(words for both in _LIMITED.values() for words in both))


@dataclass(frozen=True, slots=True)
class Allocation:
    """Which treatment stands where in each block, and how that came about.

    Parameters
    ----------
    treatments
        Names of the treatments.
    orders
        One entry a block: the treatments of its strips, from left to right.
    seed
        Seed of the draw; with the same software it gives the same orders again.
    draw
        `"random"`, `"even sides"`, `"same order"` or `"turn about"`.
    tramline
        One entry a block: whether each place has a sprayer tramline; empty where the tramlines
        did not limit the draw.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    treatments: tuple[str, ...]
    orders: tuple[tuple[str, ...], ...]
    seed: int
    draw: Draw = "random"
    tramline: tuple[tuple[bool, ...], ...] = ()

    @property
    def restricted(self) -> bool:
        """Whether fewer layouts could be drawn than all inside blocks."""
        return self.draw != "random" or bool(self.tramline)

    @property
    def systematic(self) -> bool:
        """Whether nothing was drawn, so that no randomisation test can be made."""
        return self.draw in _SYSTEMATIC

    @property
    def possible(self) -> int | None:
        """Number of layouts that could be drawn; None where they are too many to count."""
        return _possible(self._rules())

    @property
    def smallest_p(self) -> float | None:
        """The smallest p a randomisation test of this design can give.

        Swapping the names of all treatments splits the strips alike, so it is t! over the number
        of layouts possible; 1 for a systematic layout. None where they are too many to count.
        """
        possible = self.possible
        if self.systematic:
            return 1.0
        return None if possible is None else factorial(len(self.treatments)) / possible

    @property
    def cost(self) -> str:
        """What the way of drawing costs, in words; empty for a free draw inside blocks."""
        return _cost(self)

    def record(self) -> dict[str, Any]:
        """Return the allocation as plain values, to be kept beside the strips."""
        record: dict[str, Any] = json.loads(json.dumps(asdict(self)))
        return record

    def _rules(self) -> Rules:
        return Rules(len(self.treatments), len(self.orders), self.draw, self.tramline)


def allocate(
    treatments: Sequence[str],
    blocks: int,
    *,
    seed: int,
    draw: Draw = "random",
    tramline: Sequence[Sequence[bool]] = (),
) -> Allocation:
    """Draw which strip of each block gets which treatment.

    Parameters
    ----------
    treatments
        Names of the treatments, each once in every block.
    blocks
        Number of blocks.
    seed
        Seed of the draw, a whole number from 0.
    draw
        `"random"`: freely inside each block. `"even sides"`: each treatment in each place of the
        block (left and right in a pair) equally often, but for one block. Systematic, not
        drawn: `"same order"` in every block, or `"turn about"`, every other block the other way
        round.
    tramline
        One entry a block: whether each of its places has a sprayer tramline. The strips with one
        then fall to the treatments equally often, but for one strip.

    Returns
    -------
    Allocation

    Raises
    ------
    LayoutError
        If the treatments, blocks, seed or tramlines make no sense, or no draw meets the wishes.

    Examples
    --------
    >>> from trialkit.design import allocate
    >>> pairs = allocate(["untreated", "dressed"], 6, seed=4, draw="even sides")
    >>> sum(order[0] == "dressed" for order in pairs.orders), pairs.possible, pairs.smallest_p
    (3, 20, 0.1)
    """
    names = check_treatments(treatments)
    check_blocks(blocks)
    check_seed(seed)
    if draw not in get_args(Draw):
        raise LayoutError(f"There is no draw '{draw}'. Known: {', '.join(get_args(Draw))}.")
    sprayed = tuple(tuple(bool(place) for place in block) for block in tramline)
    if sprayed and (len(sprayed) != blocks or {len(block) for block in sprayed} != {len(names)}):
        raise LayoutError(
            f"The tramlines are not given for {blocks} blocks of {len(names)} strips. Give one "
            "row a block, with one entry for each strip."
        )
    rules = Rules(len(names), int(blocks), draw, sprayed if draw not in _SYSTEMATIC else ())
    if draw in _SYSTEMATIC:
        codes = systematic(rules)
    else:
        codes = draw_orders(rules, np.random.default_rng(int(seed)), 1)[0]
    orders = tuple(tuple(names[code] for code in block) for block in codes)
    return Allocation(names, orders, int(seed), draw, rules.tramline)


def possible_layouts(
    allocation: Allocation,
    strips: Sequence[str] | None = None,
    *,
    draws: int = 9999,
    seed: int | None = None,
) -> pd.DataFrame:
    """Return the layouts that the design could have drawn, for the randomisation test.

    Parameters
    ----------
    allocation
        The draw.
    strips
        Names of the strips, in order across the field; by default S1, S2 and so on. To test a
        table of strips, take the columns in the order of its rows: `layouts[table["strip"]]`.
    draws
        Number of layouts drawn where there are too many to list.
    seed
        Seed of that drawing; by default the one after the allocation's own.

    Returns
    -------
    DataFrame
        One row a layout, one column a strip, cells the names of the treatments. Up to 100,000
        layouts are all listed, the one sown among them. Else it is a sample, drawn as the
        design drew and without the one sown, which the test counts as one more.

    Raises
    ------
    LayoutError
        If the number of strips does not match.

    Examples
    --------
    >>> pairs = allocate(["untreated", "dressed"], 4, seed=4, draw="even sides")
    >>> possible_layouts(pairs).shape
    (6, 8)
    """
    sown = [name for order in allocation.orders for name in order]
    names = list(strips) if strips is not None else [f"S{n + 1}" for n in range(len(sown))]
    if len(names) != len(sown):
        raise LayoutError(f"The allocation has {len(sown)} strips, not {len(names)}.")
    position = {name: code for code, name in enumerate(allocation.treatments)}
    own = np.array([position[name] for name in sown])
    rules = allocation._rules()
    if allocation.draw in _SYSTEMATIC:
        listed = own[None]
    elif rules.free_count <= ENUMERATE_UP_TO:
        listed = all_orders(rules).reshape(-1, len(sown))
    else:
        generator = np.random.default_rng(allocation.seed + 1 if seed is None else seed)
        listed = draw_orders(rules, generator, draws).reshape(-1, len(sown))
        listed = listed[(listed != own).any(axis=1)]
    labels = np.array(allocation.treatments, dtype=object)
    return pd.DataFrame(labels[listed], columns=names)


def allocation_from_record(record: Mapping[str, Any]) -> Allocation:
    """Return the allocation that was kept as plain values.

    Parameters
    ----------
    record
        What `Allocation.record` gave.

    Returns
    -------
    Allocation

    Raises
    ------
    LayoutError
        If it is damaged, or says what its own rules could not have drawn.
    """
    try:
        names = check_treatments(record["treatments"])
        orders = tuple(tuple(str(name) for name in order) for order in record["orders"])
        sprayed = tuple(tuple(bool(place) for place in row) for row in record["tramline"])
        seed, draw = record["seed"], record["draw"]
    except (KeyError, TypeError) as error:
        raise LayoutError(
            f"The record of the draw is damaged ({error}). Lay the strips out again, or test the "
            "strips as if drawn freely and say so."
        ) from None
    check_seed(seed)
    if draw not in get_args(Draw) or any(sorted(order) != sorted(names) for order in orders):
        raise LayoutError(
            "The record of the draw is damaged: a block in it does not hold each treatment once, "
            f"or its way of drawing, '{draw}', is not known."
        )
    return Allocation(names, orders, int(seed), draw, sprayed)


def check_treatments(treatments: Sequence[str]) -> tuple[str, ...]:
    """Return the treatments as clean names.

    Parameters
    ----------
    treatments
        Names as given.

    Raises
    ------
    LayoutError
        If there are fewer than two, or one is blank or stands twice.
    """
    if isinstance(treatments, str):
        treatments = [treatments]
    names = tuple("" if name is None else str(name).strip() for name in treatments)
    if len(names) < 2:
        only = f"There is only '{names[0]}'" if names else "There is no treatment"
        raise LayoutError(
            f"{only}: nothing to compare it with. Add strips of an untreated control."
        )
    if "" in names:
        raise LayoutError(f"Treatment {names.index('') + 1} has no name. Give each a name.")
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise LayoutError(
            f"The treatment '{twice[0]}' stands twice. Each stands once in a block; for more "
            "strips of it, lay out more blocks."
        )
    return names


def check_blocks(blocks: object) -> None:
    """Raise a LayoutError if the number of blocks is no number of blocks.

    Parameters
    ----------
    blocks
        Number as given.
    """
    whole = isinstance(blocks, int | np.integer) and not isinstance(blocks, bool)
    if not whole or not 1 <= int(blocks) <= 1000:  # type: ignore[call-overload]
        raise LayoutError(f"{blocks!r} is no number of blocks. Give a whole number, such as 6.")


def check_seed(seed: object) -> None:
    """Raise a LayoutError if the seed is not a whole number from 0.

    Parameters
    ----------
    seed
        Seed as given.
    """
    whole = isinstance(seed, int | np.integer) and not isinstance(seed, bool)
    if not whole or int(seed) < 0:  # type: ignore[call-overload]
        raise LayoutError(
            f"The seed is {seed!r}. Give a whole number from 0, such as the date: 20260412."
        )


def _possible(rules: Rules) -> int | None:
    if rules.draw in _SYSTEMATIC:
        return 1
    if not rules.limited:
        return rules.free_count
    if rules.treatments == 2 and not rules.tramline:
        return comb(rules.blocks, rules.blocks // 2) * (1 + rules.blocks % 2)
    return len(all_orders(rules)) if rules.free_count <= ENUMERATE_UP_TO else None


def _cost(allocation: Allocation) -> str:
    if allocation.draw in _COSTS:
        return say(_COSTS[allocation.draw])
    if not allocation.restricted:
        return ""
    limits = (allocation.draw == "even sides", bool(allocation.tramline))
    uncounted, counted = _LIMITED[limits]
    free, possible = allocation._rules().free_count, allocation.possible
    if possible is None or free > 10**6:
        return say(uncounted)
    return say(counted, possible=figures(f"{possible:,}"), free=figures(f"{free:,}"))
