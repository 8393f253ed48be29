"""Numbers and names as a person reads them."""

from __future__ import annotations

import math
from collections.abc import Sequence

MINUS = "\u2212"


def number(value: float, decimals: int) -> str:
    """Return a number with a true minus, a comma each thousand, and no minus before zero."""
    text = f"{value:,.{decimals}f}"
    if not text.strip("-0.,"):
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def plain_t_ha(value: float) -> str:
    """Return t/ha to two decimals, without its unit."""
    if 0 < abs(value) < 0.005:
        return "less than 0.01"
    return number(value, 2)


def signed_t_ha(value: float) -> str:
    """Return t/ha to two decimals with its sign, without its unit."""
    text = number(value, 2)
    return f"+{text}" if value > 0 and text != "0.00" else text


def signed_range(low: float, high: float) -> str:
    """Return a range in t/ha with its signs, without its unit."""
    return f"{signed_t_ha(low)} to {signed_t_ha(high)}"


def amount(value: float) -> str:
    """Return money without its currency: whole from ten up, else to the cent."""
    return number(value, 0 if abs(value) >= 9.995 else 2)


def amount_range(low: float, high: float) -> str:
    """Return two amounts to the same precision, low to high."""
    decimals = 0 if max(abs(low), abs(high)) >= 9.995 else 2
    return f"{number(low, decimals)} to {number(high, decimals)}"


def percent(share: float) -> str:
    """Return a share as a percentage, to one decimal below ten."""
    return f"{number(100 * share, 1 if abs(share) < 0.0995 else 0)}%"


def in_hundred(chance: float) -> str:
    """Return a chance as so many in a hundred, rounded down, never certain or impossible."""
    # A tenth of a millionth covers binary rounding of chances such as 0.29.
    count = math.floor(chance * 100 + 1e-7)
    if count < 1:
        return "less than 1 in 100"
    if chance > 0.99:
        return "more than 99 in 100"
    return f"{count} in 100"


def level(confidence: float) -> str:
    """Return a confidence level as a percentage."""
    return f"{confidence * 100:g}%"


def shortened(name: str, longest: int = 26) -> str:
    """Return a name cut to fit a picture."""
    name = " ".join(name.split())
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def listed(names: Sequence[str]) -> str:
    """Return names as a phrase: `a`, `a and b`, `a, b and c`."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def letters(names: Sequence[str]) -> dict[str, str]:
    """Return one letter a treatment: its first letter where that tells them apart, else A, B, C."""
    first = [name.strip()[:1].upper() for name in names]
    if len(set(first)) == len(first) and all(letter.isalnum() for letter in first):
        return dict(zip(names, first, strict=True))
    return {name: chr(ord("A") + place % 26) for place, name in enumerate(names)}
