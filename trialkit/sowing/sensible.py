"""Numbers from the shed, checked one by one: a slip by a thousand is named, not worked with."""

from __future__ import annotations

import math
from collections.abc import Mapping
from numbers import Real

from trialkit.errors import SowingError
from trialkit.language import figures


def shown(value: float) -> str:
    """Return a number as a person writes it: `10,000`, `0.5`, `6.67`."""
    if value != 0 and not 1e-4 <= abs(value) < 1e7:
        text = f"{value:.3g}"
    elif abs(value) >= 1000:
        text = f"{value:,.1f}".removesuffix(".0")
    else:
        text = f"{value:.4g}"
    return figures(text)


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """Return a count with its noun: `1 mix`, `8 mixes`."""
    return f"{number:,} {noun if number == 1 else plural or noun + 's'}"


def number(value: object, words: str, unit: str, low: float, high: float) -> float:
    """Return a value as a float if it makes sense.

    Parameters
    ----------
    value
        What was given.
    words
        What it is, to follow "The".
    unit
        Its unit, for the message.
    low, high
        Least and greatest value that make sense, in that unit.

    Returns
    -------
    float
        The value.

    Raises
    ------
    SowingError
        If it is not a number, not finite or outside the limits; a slip by a factor of 1,000 is
        named.
    """
    limits = f"{shown(low)} to {_with(high, unit)}" if math.isfinite(low) else f"in {unit}"
    if isinstance(value, bool) or not isinstance(value, Real):
        raise SowingError(f"The {words} is {value!r}. Give it as a number, {limits}.")
    try:
        found = float(value)
    except OverflowError:
        found = math.inf
    if not math.isfinite(found):
        raise SowingError(f"The {words} is {found}. Give a number, {limits}.")
    if low <= found <= high:
        return found
    meant = found / 1000 if found > high else found * 1000
    if low <= meant <= high and found > 0 and unit != "%":
        raise SowingError(
            f"The {words}: that is {_with(found, unit)}; did you mean {shown(meant)}? "
            f"Give {limits}."
        )
    raise SowingError(f"The {words} is {_with(found, unit)}. It must be {limits}.")


def _with(value: float, unit: str) -> str:
    """Return a number with its unit; no blank before %."""
    return f"{shown(value)}{unit if unit == '%' else ' ' + unit}".rstrip()


def optional(value: object, words: str, unit: str, low: float, high: float) -> float | None:
    """Return a value as a float if it makes sense, or None if it was not given.

    Parameters
    ----------
    value
        What was given, or None.
    words
        What it is, to follow "The".
    unit
        Its unit, for the message.
    low, high
        Least and greatest value that make sense, in that unit.

    Raises
    ------
    SowingError
        As for `number`.
    """
    return None if value is None else number(value, words, unit, low, high)


def percent(value: object, words: str) -> float:
    """Return a share in %, above 0 and at most 100; a fraction below 1 is taken for a slip.

    Parameters
    ----------
    value
        What was given.
    words
        What it is, to follow "The".

    Raises
    ------
    SowingError
        If it is not a number from 1 to 100.
    """
    share = number(value, words, "%", -math.inf, math.inf)
    if 0 < share < 1:
        raise SowingError(
            f"The {words} is {share:g}%; did you mean {share * 100:g}%? Give it in %, 1 to 100."
        )
    if share > 100:
        raise SowingError(
            f"The {words} is {share:g}%. No more than 100 of 100 can: give 1 to 100%."
        )
    return number(value, words, "%", 1, 100)


def listed(values: object) -> list[object] | None:
    """Return the values of a list, tuple, array or column as a list; None for anything else.

    Parameters
    ----------
    values
        What was given.
    """
    if hasattr(values, "tolist"):
        values = values.tolist()
    return list(values) if isinstance(values, (list, tuple)) else None


def by_name(given: object) -> dict[object, object] | None:
    """Return a mapping or a column with names as a dictionary; None for anything else.

    Parameters
    ----------
    given
        What was given.
    """
    if hasattr(given, "to_dict") and hasattr(given, "index"):
        given = given.to_dict()
    return dict(given) if isinstance(given, Mapping) else None


def named(value: object, words: str) -> str:
    """Return a name without blanks around it.

    Parameters
    ----------
    value
        What was given.
    words
        What it names, to follow "The name of the".

    Raises
    ------
    SowingError
        If it is not text, or blank.
    """
    if not isinstance(value, str) or not value.strip():
        raise SowingError(f"The name of the {words} is {value!r}. Give it a name.")
    return value.strip()
