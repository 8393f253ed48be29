"""What a number of money must be, and what to do where it is not."""

from __future__ import annotations

import math

from trialkit.errors import MoneyError

#: A dressing that must lift the yield by more than this share, and by more than so many t/ha, to
#: cover its cost: the cost is not one per hectare. Both, so that a failed crop blocks nobody.
_ABSURD_SHARE, _ABSURD_T_HA = 0.25, 0.25


def check_number(
    value: float,
    what: str,
    *,
    least: float = 0.0,
    above: bool = False,
    unit: str = "",
    remedy: str = "",
) -> float:
    """Return a number that is finite and not too small, or say what is wrong with it.

    Parameters
    ----------
    value
        The number.
    what
        What it is, as a sentence begins with it: `"The grain price"`.
    least
        Least value allowed; minus infinity for any.
    above
        Whether it must be above that.
    unit
        What the number is per, or of: `"per hectare"`.
    remedy
        Sentence with the way out; a usual one if empty.

    Returns
    -------
    float

    Raises
    ------
    MoneyError
        If it is not a number, not finite or too small.
    """
    try:
        number = math.nan if isinstance(value, bool | str) else float(value)
    except (TypeError, ValueError):
        number = math.nan
    if math.isfinite(number) and (number > least if above else number >= least):
        return number
    if not remedy:
        bound = "zero" if least == 0 else f"{least:g}"
        remedy = f"Give a number above {bound}." if above else f"Give {bound} or more."
        remedy = "Give a number." if math.isinf(least) else remedy
    raise MoneyError(f"{' '.join(f'{what} is {value} {unit}'.split())}. {remedy}")


def check_whole(value: float, what: str, *, least: int = 0) -> int:
    """Return a whole number that is not too small, or say what is wrong with it.

    Parameters
    ----------
    value
        The number.
    what
        What it is, as a sentence begins with it: `"The number of seasons"`.
    least
        Least value allowed.

    Returns
    -------
    int

    Raises
    ------
    MoneyError
        If it is not whole or too small.
    """
    number = check_number(value, what, least=least)
    if number != int(number):
        raise MoneyError(f"{what} is {value}. Give a whole number.")
    return int(number)


def check_price(
    price_per_t: float, price_range: tuple[float, float] | None
) -> tuple[float, float, float]:
    """Return the lowest, the central and the highest price, money per tonne.

    Parameters
    ----------
    price_per_t
        Central price.
    price_range
        Lowest and highest price thought possible; None for one sure price.

    Returns
    -------
    low, peak, high : float

    Raises
    ------
    MoneyError
        If a price is not above zero, or the range does not hold the central one.
    """
    if not _is_number(price_per_t) or price_per_t <= 0:
        raise MoneyError(f"The grain price is {price_per_t} per tonne. Give a price above zero.")
    peak = float(price_per_t)
    if price_range is None:
        return peak, peak, peak
    try:
        low, high = price_range
    except (TypeError, ValueError):
        raise MoneyError(
            f"The price range is {price_range}. Give two prices, the lowest and the highest."
        ) from None
    if not (_is_number(low) and _is_number(high) and 0 < low <= peak <= high):
        raise MoneyError(
            f"The price range {low} to {high} does not hold the price {price_per_t}. Give the "
            "lowest and the highest price, both above zero, with the price between them."
        )
    return float(low), peak, float(high)


def check_estimate(gain: float, std_error: float, df: float) -> None:
    """Check an estimated gain with its standard error and degrees of freedom.

    Parameters
    ----------
    gain
        Estimated gain, t/ha.
    std_error
        Its standard error, t/ha.
    df
        Degrees of freedom of the standard error; infinity for a known one.

    Raises
    ------
    MoneyError
        If they cannot be those of an estimate.
    """
    if not _is_number(gain):
        raise MoneyError(f"The gain is {gain}. It must be a number of tonnes a hectare.")
    if not _is_number(std_error) or std_error <= 0:
        raise MoneyError(
            f"The standard error of the gain is {std_error}. It must be above zero: a gain "
            "without an error cannot be given a chance."
        )
    if df != math.inf and (not _is_number(df) or df <= 0):
        raise MoneyError(
            f"The degrees of freedom are {df}. They must be above zero: with one strip a "
            "treatment there is no error to judge the gain by."
        )


def check_levels(confidence: float, paid_at: float, did_not_pay_at: float) -> None:
    """Check the confidence of an interval and the chances that a verdict takes.

    Parameters
    ----------
    confidence
        Level of the intervals, between 0 and 1.
    paid_at, did_not_pay_at
        Chance from which the verdict is `"paid"`, and up to which it is `"did not pay"`.

    Raises
    ------
    MoneyError
        If they make no sense.
    """
    if not 0 < confidence < 1:
        raise MoneyError(f"The confidence is {confidence}. Give a share such as 0.95.")
    if not 0 < did_not_pay_at < paid_at < 1:
        raise MoneyError(
            f"The verdict's levels are {did_not_pay_at} and {paid_at}. Give two chances between "
            "0 and 1, the one for 'did not pay' below the one for 'paid'."
        )


def check_cost(
    cost_per_ha: float,
    *,
    price_per_t: float,
    mean_yield_t_ha: float,
    seed_kg_ha: float | None = None,
) -> None:
    """Refuse a cost a hectare that must be one a tonne of seed, or a slip of the point.

    A dressing that has to lift the yield by more than a quarter, and by more than a quarter of a
    tonne, before it covers its own cost is not priced by the hectare (common practice, no
    source).

    Parameters
    ----------
    cost_per_ha
        What the treatment costs, money per hectare.
    price_per_t
        Price of the grain, money per tonne.
    mean_yield_t_ha
        Mean yield of the trial, t/ha.
    seed_kg_ha
        Seed sown, kg/ha; with it the message says what the cost would be were it per tonne.

    Raises
    ------
    MoneyError
        If it cannot be a cost a hectare.

    Examples
    --------
    >>> from trialkit.money import check_cost
    >>> check_cost(18, price_per_t=300, mean_yield_t_ha=2.8)
    """
    check_number(cost_per_ha, "The cost a hectare", least=-math.inf)
    check_price(price_per_t, None)
    check_number(mean_yield_t_ha, "The mean yield", above=True)
    needed = cost_per_ha / price_per_t
    if needed <= max(_ABSURD_T_HA, _ABSURD_SHARE * mean_yield_t_ha):
        return
    per_ha = "" if seed_kg_ha is None else f" ({cost_per_ha * seed_kg_ha / 1000:.2f} a hectare)"
    raise MoneyError(
        f"A cost of {cost_per_ha:g} a hectare at {price_per_t:g} a tonne of grain takes a gain of "
        f"{needed:.2f} t/ha on a yield of {mean_yield_t_ha:.2f} t/ha. No dressing does that. If it "
        f"is the cost of a tonne of seed{per_ha}, give it as cost_per_t_seed; else check the "
        "decimal point, and that cost and price are in one currency."
    )


def _is_number(value: object) -> bool:
    try:
        return not isinstance(value, bool) and math.isfinite(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return False
