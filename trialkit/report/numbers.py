"""Numbers and names as a person reads them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from trialkit.language import figures, language, say

if TYPE_CHECKING:
    from trialkit.result import Comparison

MINUS = "\u2212"


def number(value: float, decimals: int) -> str:
    """Return a number with a true minus, a comma each thousand, and no minus before zero.

    In another language with its marks, as everything here.
    """
    text = f"{value:,.{decimals}f}"
    if not text.strip("-0.,"):
        text = text.lstrip("-")
    return figures(text).replace("-", MINUS)


def nothing(text: str) -> bool:
    """Say whether a number reads as zero."""
    spoken = language()
    return not text.strip(f"0{spoken.decimal}{spoken.thousands}")


def yield_decimals(comparisons: Sequence[Comparison]) -> int:
    """Return how many decimals keep every gain and the gain it takes to pay apart, t/ha."""

    def too_close(gain: float, needed: float) -> bool:
        return max(abs(gain), abs(needed)) < 0.0995 or number(gain, 2) == number(needed, 2)

    return 3 if any(too_close(c.gain_t_ha, c.break_even_t_ha) for c in comparisons) else 2


def plain_t_ha(value: float, decimals: int = 2) -> str:
    """Return t/ha without its unit; never zero for something."""
    text = number(value, decimals)
    if value and nothing(text):
        return say("less than {number}", number=number(10**-decimals, decimals))
    return text


def signed_t_ha(value: float, decimals: int = 2) -> str:
    """Return t/ha with its sign, without its unit."""
    text = number(value, decimals)
    return f"+{text}" if value > 0 and not nothing(text) else text


def signed_range(low: float, high: float, decimals: int = 2) -> str:
    """Return a range in t/ha with its signs, without its unit."""
    return between(signed_t_ha(low, decimals), signed_t_ha(high, decimals))


def between(low: str, high: str) -> str:
    """Return a range."""
    return say("{low} to {high}", low=low, high=high)


def amounts(*values: float) -> list[str]:
    """Return amounts of money to one precision: whole from ten up, else to the cent."""
    decimals = 0 if max(abs(value) for value in values) >= 9.995 else 2
    return [number(value, decimals) for value in values]


def amount(value: float) -> str:
    """Return one amount of money: whole from ten up, else to the cent."""
    return amounts(value)[0]


def price(value: float) -> str:
    """Return a price or a cost as it was given: whole, or to the cent."""
    return number(value, 0 if value == round(value) else 2)


def percent(share: float) -> str:
    """Return a share as a percentage, to one decimal below ten; never zero for something."""
    if 0 < share < 0.0005:
        return figures("< 0.1%")
    return number(100 * share, 1 if abs(share) < 0.0995 else 0) + figures("%")


def in_hundred(chance: float) -> str:
    """Return a chance as so many in a hundred, rounded down, never certain or impossible."""
    # A tenth of a millionth covers binary rounding of chances such as 0.29.
    count = math.floor(chance * 100 + 1e-7)
    if count < 1:
        return say("less than 1 in 100")
    if chance > 0.99:
        return say("more than 99 in 100")
    return say("{count} in 100", count=count)


def level(confidence: float) -> str:
    """Return a confidence level as a percentage."""
    return figures(f"{confidence * 100:g}%")


def shortened(name: str, longest: int = 26) -> str:
    """Return a name cut to fit a picture."""
    name = " ".join(name.split())
    return name if len(name) <= longest else name[: longest - 1].rstrip() + "…"


def opened(sentence: str) -> str:
    """Return a sentence with a capital first letter, whatever name it begins with."""
    return sentence[:1].upper() + sentence[1:]


def listed(names: Sequence[str]) -> str:
    """Return names as a phrase: `a`, `a and b`, `a, b and c`."""
    if len(names) < 2:
        return "".join(names)
    return say("{names} and {last}", names=", ".join(names[:-1]), last=names[-1])


def letters(names: Sequence[str]) -> dict[str, str]:
    """Return one letter a treatment: its first letter where that tells them apart, else A, B, C."""
    first = [name.strip()[:1].upper() for name in names]
    if len(set(first)) == len(first) and all(letter.isalnum() for letter in first):
        return dict(zip(names, first, strict=True))
    return {name: chr(ord("A") + place % 26) for place, name in enumerate(names)}


def counting_order(names: Iterable[object]) -> list[int]:
    """Return the places of names in counting order: S2 before S10."""
    keys = [re.sub(r"\d+", lambda digits: digits[0].zfill(12), str(name)) for name in names]
    return sorted(range(len(keys)), key=keys.__getitem__)


def p_text(value: float | None) -> str:
    """Return a p-value for a table: to three decimals, never zero; a dash where there is none."""
    if value is None or math.isnan(value):
        return "–"
    return figures("< 0.001" if value < 0.001 else f"{value:.3f}")
