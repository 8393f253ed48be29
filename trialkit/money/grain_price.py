"""The price of grain that is left after what grows with the yield: freight, levies, harvest."""

from __future__ import annotations

from dataclasses import dataclass, fields

from trialkit.errors import MoneyError
from trialkit.money.money_checks import check_number, check_price


@dataclass(frozen=True, slots=True, kw_only=True)
class Deductions:
    """What every further tonne costs before it is money: the field price is what is left.

    Parameters
    ----------
    freight_per_t
        Carting to where the price is paid, money per tonne.
    levy_per_t
        Levies by weight, money per tonne.
    levy_pct
        Levies by value, % of the price.
    harvest_per_t
        Harvest, handling and storage that grow with the yield, money per tonne.

    Raises
    ------
    MoneyError
        If a number is negative or not finite, or the levies take it all.
    """

    freight_per_t: float = 0.0
    levy_per_t: float = 0.0
    levy_pct: float = 0.0
    harvest_per_t: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            check_number(getattr(self, field.name), f"Of the deductions, {field.name}")
        if self.levy_pct >= 100:
            raise MoneyError(f"A levy of {self.levy_pct:g}% leaves nothing. Give it in percent.")


def net_price(price_per_t: float, deductions: Deductions) -> float:
    """Return what a further tonne of grain leaves in the hand.

    The manual calls it the field price: the value of one more unit of yield in the field, before
    harvest.

    Parameters
    ----------
    price_per_t
        Price where it is paid, money per tonne.
    deductions
        What is taken off it.

    Returns
    -------
    float
        Money per tonne.

    Raises
    ------
    MoneyError
        If the price is not above zero, or nothing is left of it.

    References
    ----------
    CIMMYT (1988). From Agronomic Data to Farmer Recommendations, chapter 3 (from memory).

    Examples
    --------
    >>> from trialkit.money import Deductions, net_price
    >>> round(net_price(310, Deductions(freight_per_t=25, levy_pct=1.02, harvest_per_t=8)), 2)
    273.84
    """
    check_price(price_per_t, None)
    taken = deductions.freight_per_t + deductions.levy_per_t + deductions.harvest_per_t
    left = price_per_t * (1 - deductions.levy_pct / 100) - taken
    if left <= 0:
        raise MoneyError(
            f"Of a price of {price_per_t:g} a tonne, freight, levies and harvest leave {left:g}. "
            "Check that they are per tonne, and all in one currency."
        )
    return float(left)
