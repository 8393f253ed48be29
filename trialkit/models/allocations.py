"""What a design can draw: how small a p that allows, and layouts given as a list.

A design with restricted draws (no treatment twice on the same side, neighbours balanced, a
few layouts to choose from) cannot have its labels reshuffled freely inside blocks: only the
layouts it could have drawn count.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import factorial

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.errors import ModelError
from trialkit.language import say
from trialkit.models.records import Codes


@dataclass(frozen=True, slots=True)
class Allocations:
    """Layouts as numbers.

    Parameters
    ----------
    codes
        Position of each label among the treatments, shape (allocations, rows used).
    complete
        Whether the layout sown is among them, so that they are taken as all the design could
        draw; otherwise they are a sample of its draws.
    smallest_p
        The smallest p they can give: the share that splits the rows into the same groups as
        the layout sown, whatever the groups are called.
    """

    codes: Codes
    complete: bool
    smallest_p: float


def smallest_p(blocks: int, *, treatments: int = 2, strips: int = 1) -> float:
    """Return the smallest p that a randomisation test can give: for planning.

    With each treatment on `strips` strips of every block there are A = (t s)! / (s!)^t ways to
    draw a block, and swapping the names of the treatments changes nothing: t! / A^blocks. Of
    more than two treatments this is the test of all together.

    Parameters
    ----------
    blocks
        Number of blocks; with two treatments and one strip of each, of pairs.
    treatments
        Number of treatments t, the untreated included.
    strips
        Strips s of each treatment in each block.

    Returns
    -------
    float

    Raises
    ------
    ModelError
        If there are no blocks or strips, or fewer than two treatments.

    Examples
    --------
    Six pairs for 5%:

    >>> [smallest_p(pairs) for pairs in (3, 4, 5, 6)]
    [0.25, 0.125, 0.0625, 0.03125]
    """
    if blocks < 1 or treatments < 2 or strips < 1:
        raise ModelError("Give at least one block, two treatments and one strip of each.")
    ways = factorial(treatments * strips) // factorial(strips) ** treatments
    return float(factorial(treatments) / ways**blocks)


def fewest_blocks(level: float = 0.05, *, treatments: int = 2, strips: int = 1) -> int:
    """Return the fewest blocks with which a randomisation test can reach a level.

    Parameters
    ----------
    level
        The p to be reached, such as 0.05.
    treatments, strips
        As for `smallest_p`.

    Returns
    -------
    int

    Raises
    ------
    ModelError
        If the level lies outside 0 to 1.

    Examples
    --------
    >>> fewest_blocks(0.05)
    6
    """
    if not 0 < level < 1:
        raise ModelError(f"level={level} is no level. Give a share such as 0.05.")
    blocks = 1
    while smallest_p(blocks, treatments=treatments, strips=strips) > level:
        blocks += 1
    return blocks


def read_allocations(
    allocations: Iterable[object],
    levels: tuple[object, ...],
    sown: Codes,
    used: NDArray[np.bool_],
    treatment: str,
) -> Allocations:
    """Check a list of allocations against the layout sown.

    Parameters
    ----------
    allocations
        One entry an allocation, with a label for every row of the data, in their order: a
        two-dimensional array, a DataFrame, or any run of label vectors.
    levels
        The treatments.
    sown
        Position of each used row's treatment among the levels.
    used
        Which rows of the data are used, shape (rows,).
    treatment
        Name of the column of treatments, for messages.

    Returns
    -------
    Allocations

    Raises
    ------
    ModelError
        If an allocation has other labels or another length, or there is only one.
    """
    table = _as_table(allocations, used.size)
    codes = _as_codes(table, levels, treatment)[:, used]
    if len(np.unique(codes, axis=0)) < 2:
        raise ModelError(
            say(
                "The design could draw only one allocation: the layout is systematic. No p can be "
                "worked out by drawing again, since there is nothing else that could have been "
                "sown. Judge it by the strips model, and say that it was not randomised."
            )
        )
    complete = bool((codes == sown).all(axis=1).any())
    alike = (_partition(codes) == _partition(sown[None])).all(axis=1)
    smallest = alike.mean() if complete else (alike.sum() + 1) / (len(codes) + 1)
    return Allocations(codes, complete, float(smallest))


def sample_note(count: int) -> str:
    """Return the sentence that says a list is taken as a sample."""
    return say(
        "The layout sown is not among the {count} allocations given: they are taken as a sample "
        "of what the design could draw. If they should be all of them, check the order of rows.",
        count=count,
    )


def _as_table(allocations: Iterable[object], rows: int) -> NDArray[np.object_]:
    if isinstance(allocations, pd.DataFrame):
        vectors = list(allocations.to_numpy(dtype=object))
    else:
        vectors = [np.asarray(vector, dtype=object) for vector in allocations]
    if not vectors:
        raise ModelError(
            "The list of allocations is empty. Give the layouts the design could draw."
        )
    for place, vector in enumerate(vectors, start=1):
        if vector.shape != (rows,):
            raise ModelError(
                f"Allocation {place} has {vector.size} labels, but the data have {rows} rows. "
                "Give one label for each row, in their order, lost strips included."
            )
    return np.stack(vectors)


def _as_codes(table: NDArray[np.object_], levels: tuple[object, ...], treatment: str) -> Codes:
    places = {level: place for place, level in enumerate(levels)}
    unknown = [label for label in dict.fromkeys(table.ravel().tolist()) if label not in places]
    if unknown:
        known = ", ".join(f"'{level}'" for level in levels)
        raise ModelError(
            f"The allocations hold '{unknown[0]}', which column '{treatment}' does not. "
            f"It has: {known}."
        )
    flat = [places[label] for label in table.ravel().tolist()]
    return np.asarray(flat, dtype=np.intp).reshape(table.shape)


def _partition(codes: Codes) -> Codes:
    """Rename each group of a row by where it first stands, so that names do not matter."""
    first = np.empty_like(codes)
    for place in range(codes.shape[1]):
        first[:, place] = (codes[:, : place + 1] == codes[:, [place]]).argmax(axis=1)
    return first
