"""What a trial of some size could tell about whether the dressing pays, before it is sown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit.design.replicates import (
    Layout,
    TooManyError,
    detectable_difference,
    power_to_see,
    strips_needed,
)
from trialkit.errors import DesignError
from trialkit.language import marked, say
from trialkit.shown import as_line, as_table

_SEES = {
    "pairs": marked(
        "With {replicates} pairs you can see a difference of {difference:.2f} t/ha (with "
        "{power:.0%} chance)."
    ),
    "blocks": marked(
        "With {replicates} blocks you can see a difference of {difference:.2f} t/ha (with "
        "{power:.0%} chance)."
    ),
}
_NOT_IN_TIME = {
    "pairs": marked(
        "This trial cannot tell: {needed} pairs could; {seasons} seasons of {replicates} pairs "
        "could not."
    ),
    "blocks": marked(
        "This trial cannot tell: {needed} blocks could; {seasons} seasons of {replicates} blocks "
        "could not."
    ),
}
_COULD = {
    "pairs": marked(
        "This trial cannot tell: {needed} pairs could, or {seasons} seasons of {replicates} pairs, "
        "if the gain is the same in each."
    ),
    "blocks": marked(
        "This trial cannot tell: {needed} blocks could, or {seasons} seasons of {replicates} "
        "blocks, if the gain is the same in each."
    ),
}

#: Seasons beyond this nobody waits for.
MOST_SEASONS = 20


@dataclass(frozen=True, slots=True)
class Foresight:
    """What a trial could see, and what it would have to.

    Parameters
    ----------
    replicates
        Pairs or blocks.
    std_error_t_ha
        Standard error the difference will have, t/ha.
    detectable_t_ha
        Smallest true difference that the trial shows with the power wanted, t/ha.
    to_see_t_ha
        Difference that must be seen to know whether the dressing pays, t/ha.
    chance_to_see
        Chance that a true difference of that size comes out significant, 0 to 1.
    can_tell
        Whether that chance is as high as wanted.
    replicates_needed
        Pairs or blocks that could tell; None if not even 10,000 could.
    seasons_needed
        Seasons of the same trial that could tell, the gain being the same in all; None if not
        even 20 could.
    smallest_p
        The smallest p that a randomisation test of it can give, with a free draw inside blocks.
    sentence
        The answer in words.
    """

    __repr__ = as_line
    _repr_html_ = as_table

    replicates: int
    std_error_t_ha: float
    detectable_t_ha: float
    to_see_t_ha: float
    chance_to_see: float
    can_tell: bool
    replicates_needed: int | None
    seasons_needed: int | None
    smallest_p: float
    sentence: str


def foresee(
    replicates: int,
    cv_pct: float,
    *,
    mean_t_ha: float,
    break_even_t_ha: float,
    expected_t_ha: float | None = None,
    power: float = 0.8,
    alpha: float = 0.05,
    layout: Layout = "pairs",
    treatments: int = 2,
) -> Foresight:
    """Say what a trial could see, whether that is enough, and what would be.

    Parameters
    ----------
    replicates
        Pairs or blocks that there is room and time for.
    cv_pct
        Standard deviation of strips inside a block, % of the mean yield.
    mean_t_ha
        Mean yield expected, t/ha.
    break_even_t_ha
        Gain that just covers the cost, t/ha: cost a hectare over the price a tonne, as
        `payoff` has it in `break_even_t_ha`.
    expected_t_ha
        Gain hoped for, t/ha. What must be seen is then how far it lies from the break-even
        gain. Without it, a gain as large as the break-even one must be told from none at all.
    power
        Chance wanted that the difference comes out significant.
    alpha
        Two-sided level of the test.
    layout
        `"pairs"` of two strips, or `"blocks"` that hold each treatment once.
    treatments
        Number of treatments, the untreated included.

    Returns
    -------
    Foresight

    Raises
    ------
    DesignError
        If a number makes no sense, or there is nothing to be seen.

    Examples
    --------
    >>> from trialkit.design import foresee
    >>> print(foresee(4, 4, mean_t_ha=3, break_even_t_ha=0.1).sentence)
    With 4 pairs you can see a difference of 0.36 t/ha (with 80% chance). The dressing pays from
    0.10 t/ha. This trial cannot tell: 25 pairs could, or 7 seasons of 4 pairs, if the gain is
    the same in each.
    """
    to_see = _to_see(break_even_t_ha, expected_t_ha)

    def chance(seasons: int) -> float:
        return power_to_see(
            to_see, cv_pct, replicates, alpha=alpha, mean=mean_t_ha,
            layout=layout, treatments=treatments, seasons=seasons,
        )  # fmt: skip

    detectable = detectable_difference(
        replicates, cv_pct, power=power, alpha=alpha, mean=mean_t_ha,
        layout=layout, treatments=treatments,
    )  # fmt: skip
    try:
        needed: int | None = strips_needed(
            to_see, cv_pct, power=power, alpha=alpha, mean=mean_t_ha,
            layout=layout, treatments=treatments,
        )  # fmt: skip
    except TooManyError:
        needed = None
    seasons = next((n for n in range(1, MOST_SEASONS + 1) if chance(n) >= power), None)
    can_tell = seasons == 1
    words = [
        say(_SEES[layout], replicates=replicates, difference=detectable, power=power),
        _wanted(break_even_t_ha, expected_t_ha, to_see),
        say("This trial can tell.") if can_tell else _cannot(replicates, layout, needed, seasons),
    ]
    return Foresight(
        replicates=replicates,
        std_error_t_ha=cv_pct / 100 * mean_t_ha * math.sqrt(2 / replicates),
        detectable_t_ha=detectable,
        to_see_t_ha=to_see,
        chance_to_see=chance(1),
        can_tell=can_tell,
        replicates_needed=needed,
        seasons_needed=seasons,
        smallest_p=float(math.factorial(treatments) ** (1 - replicates)),
        sentence=" ".join(words),
    )


def replicates_table(
    prices_per_t: Sequence[float],
    cvs_pct: Sequence[float],
    *,
    cost_per_ha: float,
    mean_t_ha: float,
    expected_t_ha: float | None = None,
    power: float = 0.8,
    alpha: float = 0.05,
    layout: Layout = "pairs",
    treatments: int = 2,
) -> pd.DataFrame:
    """Say how the number of pairs or blocks hangs on the price and on how much strips differ.

    Parameters
    ----------
    prices_per_t
        Prices of grain, money a tonne, each above zero.
    cvs_pct
        Standard deviations of strips inside a block, % of the mean yield.
    cost_per_ha
        What the dressing costs, money a hectare.
    mean_t_ha, expected_t_ha, power, alpha, layout, treatments
        As for `foresee`.

    Returns
    -------
    DataFrame
        One row a price and CV: `price_per_t cv_pct break_even_t_ha to_see_t_ha replicates`, the
        last missing where the gain expected just breaks even or not even 10,000 would do.

    Raises
    ------
    DesignError
        If a number makes no sense.

    Examples
    --------
    >>> from trialkit.design import replicates_table
    >>> table = replicates_table([250, 350], [4], cost_per_ha=20, mean_t_ha=3, expected_t_ha=0.25)
    >>> table["replicates"].tolist()
    [10, 9]
    """
    if not (math.isfinite(cost_per_ha) and cost_per_ha >= 0):
        raise DesignError(f"The cost is {cost_per_ha} a hectare. Give zero or more.")
    rows = []
    for price in prices_per_t:
        if not (math.isfinite(price) and price > 0):
            raise DesignError(f"The price is {price} a tonne. Give more than zero.")
        break_even = cost_per_ha / price
        even = expected_t_ha is not None and math.isclose(expected_t_ha, break_even)
        to_see = 0.0 if even else _to_see(break_even, expected_t_ha)
        for cv in cvs_pct:
            needed: int | None = None
            if to_see > 0:
                try:
                    needed = strips_needed(
                        to_see, cv, power=power, alpha=alpha, mean=mean_t_ha,
                        layout=layout, treatments=treatments,
                    )  # fmt: skip
                except TooManyError:
                    needed = None
            rows.append((float(price), float(cv), break_even, to_see, needed))
    columns = ["price_per_t", "cv_pct", "break_even_t_ha", "to_see_t_ha", "replicates"]
    return pd.DataFrame(rows, columns=columns).astype({"replicates": "Int64"})


def _to_see(break_even: float, expected: float | None) -> float:
    if not (math.isfinite(break_even) and break_even >= 0):
        raise DesignError(
            f"The break-even gain is {break_even} t/ha. Give zero or more: cost over price."
        )
    if expected is None:
        if break_even == 0:
            raise DesignError(
                "A dressing that costs nothing pays from the first kilogram, and no trial can "
                "see that. Say what gain you expect."
            )
        return break_even
    if not math.isfinite(expected):
        raise DesignError(f"The gain expected is {expected} t/ha. Give a number.")
    if math.isclose(expected, break_even, rel_tol=1e-9):
        raise DesignError(
            f"The gain expected, {expected:g} t/ha, just breaks even: whether such a dressing pays "
            "is the toss of a coin, and no trial can tell."
        )
    return abs(expected - break_even)


def _wanted(break_even: float, expected: float | None, to_see: float) -> str:
    if expected is None:
        return say("The dressing pays from {break_even:.2f} t/ha.", break_even=break_even)
    if expected < break_even:
        return say(
            "The dressing pays from {break_even:.2f} t/ha, and you expect {expected:.2f}: it would "
            "not pay even so. To show that, {to_see:.2f} t/ha must be seen.",
            break_even=break_even,
            expected=expected,
            to_see=to_see,
        )
    return say(
        "The dressing pays from {break_even:.2f} t/ha and you expect {expected:.2f}, so "
        "{to_see:.2f} t/ha must be seen.",
        break_even=break_even,
        expected=expected,
        to_see=to_see,
    )


def _cannot(replicates: int, layout: str, needed: int | None, seasons: int | None) -> str:
    if needed is None:
        return say("This trial cannot tell, and no number of strips could.")
    if seasons is None:
        words = _NOT_IN_TIME[layout]
        return say(words, needed=needed, seasons=MOST_SEASONS, replicates=replicates)
    return say(_COULD[layout], needed=needed, seasons=seasons, replicates=replicates)
