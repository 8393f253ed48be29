"""The numbers a fit begins with: a surface's columns added, and the records weighted."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trialkit.errors import ModelError
from trialkit.models.model_frame import Design, ModelFrame
from trialkit.models.random_blocks import Grouping, RandomBlock
from trialkit.models.records import Floats
from trialkit.models.surface import Surface, build_surface


@dataclass(frozen=True, slots=True)
class Assembled:
    """A model's data, ready for the engine.

    Parameters
    ----------
    response, fixed
        Shapes (n,) and (n, p), each record's row times the root of its weight.
    groupings
        The random terms that are groups.
    blocks
        All random terms: the groups, and last a surface.
    constant
        What became of a column of ones, shape (n,).
    design
        How to write further rows of `fixed`.
    log_weights
        Sum of the logarithms of the weights.
    """

    response: Floats
    fixed: Floats
    groupings: tuple[Grouping, ...]
    blocks: tuple[RandomBlock, ...]
    constant: Floats
    design: Design
    log_weights: float = 0.0


def assemble(frame: ModelFrame, surface: Surface | None, weights: str | None) -> Assembled:
    """Add the surface and weigh the records.

    Parameters
    ----------
    frame
        The rows used.
    surface
        The surface asked for.
    weights
        Column of weights.

    Returns
    -------
    Assembled

    Raises
    ------
    ModelError
        If the response is constant, the records cannot show a surface, or a weight is not above
        zero.
    """
    if np.ptp(frame.response) == 0:
        raise ModelError(
            f"Every record has the same response, {frame.response[0]:g}. "
            "Check that the right column was read; there is nothing to analyse."
        )
    constant = np.ones(frame.response.size)
    fixed, design, blocks = frame.fixed, frame.design, list[RandomBlock](frame.groupings)
    if surface is not None:
        parts = build_surface(surface, frame.numbers[[surface.x, surface.y]])
        fixed = np.column_stack([fixed, parts.plane])
        design = replace(design, beside=parts.names)
        blocks.append(parts.block)
    whole = Assembled(frame.response, fixed, frame.groupings, tuple(blocks), constant, design)
    if weights is None:
        return whole
    given = frame.numbers[weights].to_numpy(dtype=float)
    if not (given > 0).all():
        row = frame.numbers.index[int((given <= 0).argmax())]
        raise ModelError(
            f"Column '{weights}' holds a weight of {given.min():g} (row {row}). Weights "
            "are above zero; leave out records that should not count."
        )
    return _weigh(whole, given)


def _weigh(model: Assembled, weights: Floats) -> Assembled:
    """Multiply each record's row by the root of its weight."""
    root = np.sqrt(weights)
    return replace(
        model,
        response=model.response * root,
        fixed=model.fixed * root[:, None],
        groupings=tuple(grouping.scaled(root) for grouping in model.groupings),
        blocks=tuple(block.scaled(root) for block in model.blocks),
        constant=root,
        log_weights=float(np.log(weights).sum()),
    )
