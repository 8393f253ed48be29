"""What a look at a fit found: a figure, its limit, and a sentence."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at, and what it says.

    Parameters
    ----------
    name
        What was looked at, such as `"odd strip"`.
    value, limit
        The figure found, and the one it is held against.
    ok
        Whether nothing needs to be done about it.
    sentence
        What it says, for a grower or an adviser.
    """

    name: str
    value: float
    limit: float
    ok: bool
    sentence: str
