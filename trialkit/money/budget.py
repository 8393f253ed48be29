"""The partial budget: which treatments are worth a second look, and what a step up returns."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.errors import MoneyError

_NUMBERS = ("yield_t_ha", "price_per_t", "costs_per_ha")


def partial_budget(treatments: pd.DataFrame) -> pd.DataFrame:
    """Work out gross, net, dominance and marginal rate of return of each treatment.

    A treatment is dominated when another costs no more and nets at least as much; of two that
    cost and net the same, the one listed first stays. The marginal rate of return is the extra
    net for the extra cost of going from one undominated treatment to the next dearer one. It
    compares point estimates: whether a difference is real is for the mixed model to say.

    Parameters
    ----------
    treatments
        One row a treatment, the control among them, with columns `treatment`, `yield_t_ha`
        (t/ha), `price_per_t` (money per tonne, net of what grows with yield) and `costs_per_ha`
        (costs that vary between treatments, money per hectare).

    Returns
    -------
    DataFrame
        The rows given, in their order, with four columns more: `gross` and `net` (money per
        hectare), `dominated` (true or false) and `marginal_return_pct` (%; empty for dominated
        treatments and for the cheapest).

    Raises
    ------
    MoneyError
        If a column is missing, a treatment is repeated, or a number is missing, not finite or
        out of bounds.

    References
    ----------
    CIMMYT (1988). From Agronomic Data to Farmer Recommendations: An Economics Training Manual,
    revised edition. Mexico, D.F.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.money import partial_budget
    >>> table = pd.DataFrame({
    ...     "treatment": ["none", "half", "full"], "yield_t_ha": [3.0, 3.2, 3.3],
    ...     "price_per_t": 250.0, "costs_per_ha": [0.0, 20.0, 40.0]})
    >>> partial_budget(table)[["net", "marginal_return_pct"]].round(1).values.tolist()
    [[750.0, nan], [780.0, 150.0], [785.0, 25.0]]
    """
    _check(treatments)
    budget = treatments.copy()
    budget["gross"] = budget["yield_t_ha"].astype(float) * budget["price_per_t"].astype(float)
    budget["net"] = budget["gross"] - budget["costs_per_ha"].astype(float)
    costs = budget["costs_per_ha"].to_numpy(dtype=float)
    net = budget["net"].to_numpy(dtype=float)
    path = _undominated(costs, net)
    budget["dominated"] = ~np.isin(np.arange(len(budget)), path)
    returns = np.full(len(budget), np.nan)
    returns[path[1:]] = 100 * np.diff(net[path]) / np.diff(costs[path])
    budget["marginal_return_pct"] = returns
    return budget


def _undominated(costs: np.ndarray, net: np.ndarray) -> list[int]:
    """Return the places of the undominated treatments, by rising cost.

    By rising cost, and by falling net where costs are equal, a treatment stays only if it nets
    more than every one before it. Costs along the path therefore rise strictly.
    """
    path: list[int] = []
    for place in np.lexsort((-net, costs)):
        if not path or net[place] > net[path[-1]]:
            path.append(int(place))
    return path


def _check(treatments: pd.DataFrame) -> None:
    missing = [c for c in ("treatment", *_NUMBERS) if c not in treatments.columns]
    if missing:
        raise MoneyError(f"The budget lacks the column {', '.join(missing)}. Add it.")
    if treatments.empty:
        raise MoneyError("The budget has no treatments. Give one row a treatment.")
    names = treatments["treatment"]
    if names.duplicated().any():
        raise MoneyError(
            f"The treatment '{names[names.duplicated()].iloc[0]}' stands twice in the budget. "
            "Give one row a treatment."
        )
    for column in _NUMBERS:
        _check_numbers(names.astype(str).tolist(), treatments[column], above_zero=column[0] == "p")


def _check_numbers(names: Sequence[str], values: pd.Series[float], *, above_zero: bool) -> None:
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float)
    good = np.isfinite(numbers) & ((numbers > 0) if above_zero else (numbers >= 0))
    if not good.all():
        place = int(np.argmin(good))
        bound = "a number above zero" if above_zero else "zero or more"
        raise MoneyError(
            f"In the budget, {values.name} of '{names[place]}' is '{values.iloc[place]}'. "
            f"Give {bound}."
        )
