"""Amounts as a jug or a scale in a shed can measure them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trialkit.language import say_counted
from trialkit.sowing.sensible import shown

#: Up to this much, l or kg, it can be measured to the step beside it, l or kg: a measuring
#: cylinder, a small jug, a large jug, a marked bucket; a kitchen scale, then a hanging one.
#: Common practice, no source.
_STEPS: dict[str, tuple[tuple[float, float], ...]] = {
    "l": ((0.1, 0.001), (1.0, 0.01), (10.0, 0.05), (math.inf, 0.1)),
    "kg": ((0.1, 0.001), (1.0, 0.005), (10.0, 0.01), (math.inf, 0.1)),
}

#: A thousandth of a step: what arithmetic may lose, not what a jug can.
_SLACK = 1e-3


@dataclass(frozen=True, slots=True)
class Measured:
    """An amount as it is measured.

    Parameters
    ----------
    amount
        Amount as measured, in `unit`.
    unit
        `"l"`, `"ml"`, `"kg"` or `"g"`.
    basic
        The same in l or kg.
    """

    amount: float
    unit: str
    basic: float

    def words(self, jug_l: float | None = None) -> str:
        """Return the amount as a person writes it, in whole jugs and a rest if a jug is given.

        Parameters
        ----------
        jug_l
            What the jug holds, litres; None to leave jugs out.

        Examples
        --------
        >>> measure(11.2, "l").words(5)
        '2 jugs of 5 l + 1.2 l'
        """
        if jug_l is None or self.unit not in ("l", "ml") or self.basic < jug_l:
            return f"{shown(self.amount)} {self.unit}"
        jugs = math.floor(self.basic / jug_l + _SLACK * 1e-3)
        rest = self.basic - jugs * jug_l
        text = say_counted(
            "{count} jug of {jug} l", "{count} jugs of {jug} l", jugs, jug=shown(jug_l)
        )
        if rest < _STEPS["l"][0][1] / 2:
            return text
        return f"{text} + {_spelled(rest, 'l').words()}"


def measure(basic: float, base: Literal["l", "kg"], *, down: bool = False) -> Measured:
    """Round an amount to what can be measured.

    Parameters
    ----------
    basic
        Exact amount, l or kg.
    base
        `"l"` or `"kg"`.
    down
        Whether to round down, so that a mixer does not run over.

    Returns
    -------
    Measured
        Never nothing, unless the amount is: the least is one step.

    Examples
    --------
    >>> measure(0.0834, "l").words(), measure(1.2345, "kg").words()
    ('83 ml', '1.23 kg')
    """
    step = next(step for most, step in _STEPS[base] if basic <= most * (1 + 1e-12))
    steps = math.floor(basic / step + _SLACK) if down else math.floor(basic / step + 0.5 + 1e-9)
    if basic > 0 and not down:
        steps = max(steps, 1)
    # A step is 1/n of a litre or kilogram, so dividing leaves no tail of digits.
    return _spelled(steps / round(1 / step), base)


def _spelled(basic: float, base: Literal["l", "kg"]) -> Measured:
    """Return an amount in the smaller unit where it is below one of the larger."""
    if basic < 1:
        return Measured(round(basic * 1000, 6), "ml" if base == "l" else "g", basic)
    return Measured(round(basic, 6), base, basic)
