"""The partial budget: which treatments are worth a second look, and what a step up returns."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.errors import MoneyError
from trialkit.money.money_checks import check_number

_NUMBERS = ("yield_t_ha", "price_per_t", "costs_per_ha")


def partial_budget(
    treatments: pd.DataFrame,
    *,
    yield_down_pct: float = 0.0,
    acceptable_return_pct: float | None = None,
) -> pd.DataFrame:
    """Work out gross, net, dominance and marginal rate of return of each treatment.

    A treatment is dominated when another costs no more and nets at least as much; of two that
    cost and net the same, the one listed first stays. The marginal rate of return is the extra
    net for the extra cost of going from one undominated treatment to the next dearer one. It
    compares point estimates: whether a difference is real is for the mixed model to say.

    With an acceptable rate of return, the residual is what a treatment nets after its costs have
    earned that rate, and the one with the highest residual is chosen. That is the dearest step
    that still returns the rate, steps that do not being passed over and compared again from the
    last that did.

    Parameters
    ----------
    treatments
        One row a treatment, the control among them, with columns `treatment`, `yield_t_ha`
        (t/ha), `price_per_t` (money per tonne, net of what grows with yield) and `costs_per_ha`
        (costs that vary between treatments, money per hectare).
    yield_down_pct
        How much lower yields are over whole paddocks than in the trial, %. The manual uses 5 to
        30 for small plots; strips sown and harvested with the farm's machines need none.
    acceptable_return_pct
        Least return on money laid out for a season, %; None to choose none. The manual holds 50
        to 100 for usual: 100 where the practice is new to the farm.

    Returns
    -------
    DataFrame
        The rows given, in their order, with four columns more: `gross` and `net` (money per
        hectare), `dominated` (true or false) and `marginal_return_pct` (%; empty for dominated
        treatments and for the cheapest). With an acceptable return two more: `residual` (money
        per hectare) and `chosen` (true for one).

    Raises
    ------
    MoneyError
        If a column is missing, a treatment is repeated, or a number is missing, not finite or
        out of bounds.

    References
    ----------
    CIMMYT (1988). From Agronomic Data to Farmer Recommendations: An Economics Training Manual,
    revised edition. Mexico, D.F. (method; the percentages from memory)

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.money import partial_budget
    >>> table = pd.DataFrame({
    ...     "treatment": ["none", "half", "full"], "yield_t_ha": [3.0, 3.2, 3.3],
    ...     "price_per_t": 250.0, "costs_per_ha": [0.0, 20.0, 40.0]})
    >>> partial_budget(table)[["net", "marginal_return_pct"]].round(1).values.tolist()
    [[750.0, nan], [780.0, 150.0], [785.0, 25.0]]
    >>> budget = partial_budget(table, acceptable_return_pct=50)
    >>> budget.loc[budget["chosen"], "treatment"].item()
    'half'
    """
    _check(treatments)
    down = check_number(yield_down_pct, "The adjustment of yields", unit="%")
    if down >= 100:
        raise MoneyError(f"Yields adjusted down by {down:g}% leave nothing. Give 0 to 30 or so.")
    budget = treatments.copy()
    yields = budget["yield_t_ha"].astype(float) * (1 - down / 100)
    budget["gross"] = yields * budget["price_per_t"].astype(float)
    budget["net"] = budget["gross"] - budget["costs_per_ha"].astype(float)
    costs = budget["costs_per_ha"].to_numpy(dtype=float)
    net = budget["net"].to_numpy(dtype=float)
    path = _undominated(costs, net)
    budget["dominated"] = ~np.isin(np.arange(len(budget)), path)
    returns = np.full(len(budget), np.nan)
    with np.errstate(over="ignore"):  # a step that costs next to nothing
        returns[path[1:]] = 100 * np.diff(net[path]) / np.diff(costs[path])
    budget["marginal_return_pct"] = returns
    if acceptable_return_pct is not None:
        wanted = check_number(acceptable_return_pct, "The acceptable return", unit="%")
        residual = net - wanted / 100 * costs
        budget["residual"] = residual
        # By rising cost, so that of two equals the cheaper is chosen.
        best = path[int(np.argmax(residual[path]))]
        budget["chosen"] = np.arange(len(budget)) == best
    return budget


def budget_sensitivity(
    treatments: pd.DataFrame,
    *,
    price_change_pct: Sequence[float] = (-20, 0, 20),
    cost_change_pct: Sequence[float] = (-20, 0, 20),
    acceptable_return_pct: float = 100.0,
) -> pd.DataFrame:
    """Say which treatment a partial budget chooses if prices or costs turn out otherwise.

    Parameters
    ----------
    treatments
        As for `partial_budget`.
    price_change_pct
        Changes of the price of grain to try, %.
    cost_change_pct
        Changes of the costs that vary to try, %.
    acceptable_return_pct
        Least return on money laid out for a season, %.

    Returns
    -------
    DataFrame
        One row a combination: `price_change_pct cost_change_pct chosen net over_next`: the
        treatment chosen, its net money a hectare, and by how much its residual passes that of
        the next best (money per hectare; empty with one treatment).

    Raises
    ------
    MoneyError
        As `partial_budget`, or if a change leaves no price.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.money import budget_sensitivity
    >>> table = pd.DataFrame({
    ...     "treatment": ["none", "dressed"], "yield_t_ha": [3.0, 3.12],
    ...     "price_per_t": 250.0, "costs_per_ha": [0.0, 15.0]})
    >>> budget_sensitivity(table, cost_change_pct=(0,))["chosen"].tolist()
    ['none', 'none', 'dressed']
    """
    _check(treatments)
    rows = []
    for price in price_change_pct:
        check_number(price, "A change of the price", least=-100, above=True, unit="%")
        for cost in cost_change_pct:
            check_number(cost, "A change of the costs", least=-100, unit="%")
            changed = treatments.assign(
                price_per_t=treatments["price_per_t"].astype(float) * (1 + price / 100),
                costs_per_ha=treatments["costs_per_ha"].astype(float) * (1 + cost / 100),
            )
            budget = partial_budget(changed, acceptable_return_pct=acceptable_return_pct)
            best = budget[budget["chosen"]].iloc[0]
            rest = budget.loc[~budget["chosen"], "residual"]
            over = float(best["residual"] - rest.max()) if len(rest) else np.nan
            rows.append((price, cost, best["treatment"], float(best["net"]), over))
    names = ["price_change_pct", "cost_change_pct", "chosen", "net", "over_next"]
    return pd.DataFrame(rows, columns=names)


def _undominated(costs: np.ndarray, net: np.ndarray) -> list[int]:
    """Return the places of the undominated treatments, by rising cost.

    By rising cost, and by falling net where costs are equal, a treatment stays only if it nets
    more than every one before it. Costs along the path therefore rise strictly.
    """
    # Costs that differ by rounding only are equal: 180 x 80 / 1000 is not quite 14.4.
    costs = np.round(costs / costs.max(), 12) if costs.max() > 0 else costs
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
