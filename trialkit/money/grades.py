"""Price by grade: protein, screenings and test weight against a table of limits.

The table is the user's own: what a buyer pays for what differs by country, season and crop.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.money.money_checks import check_number
from trialkit.money.payoff import PriceGain

#: Limits by the column of `quality.csv` they hold for: the least and the greatest value.
_LIMITS = {
    "protein_pct": ("least_protein_pct", "most_protein_pct"),
    "screenings_pct": (None, "most_screenings_pct"),
    "test_weight_kg_hl": ("least_test_weight_kg_hl", None),
}
#: An error smaller than this, in the measure's own unit, is none.
_KNOWN = 1e-9
_HIGHEST = {"protein_pct": 40.0, "screenings_pct": 100.0, "test_weight_kg_hl": 100.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """A grade: what the grain must be, and what it then fetches.

    Parameters
    ----------
    name
        Name of the grade.
    price_per_t
        Money per tonne.
    least_protein_pct, most_protein_pct
        Protein from and up to, %; None for no limit.
    most_screenings_pct
        Screenings up to, %.
    least_test_weight_kg_hl
        Test weight from, kg/hl.

    Raises
    ------
    MoneyError
        If a price or a limit makes no sense.
    """

    name: str
    price_per_t: float
    least_protein_pct: float | None = None
    most_protein_pct: float | None = None
    most_screenings_pct: float | None = None
    least_test_weight_kg_hl: float | None = None

    def __post_init__(self) -> None:
        check_number(self.price_per_t, f"The price of grade '{self.name}'", above=True)
        for measure in _LIMITS:
            low, high = self.limits(measure)
            for limit in (low, high):
                if math.isnan(limit) or (math.isfinite(limit) and limit < 0):
                    raise MoneyError(
                        f"A limit of {measure} in grade '{self.name}' is {limit}. Give zero or "
                        "more, or leave it out."
                    )
            if low > high:
                raise MoneyError(
                    f"Grade '{self.name}' asks for {measure} from {low:g} up to {high:g}. "
                    "Swap them."
                )

    def limits(self, measure: str) -> tuple[float, float]:
        """Return the least and the greatest value of a measure, infinite for no limit."""
        low, high = _LIMITS[measure]
        least = getattr(self, low) if low else None
        most = getattr(self, high) if high else None
        return (-math.inf if least is None else least, math.inf if most is None else most)

    def takes(self, measured: Mapping[str, float]) -> bool:
        """Say whether grain of these measures makes the grade; limits belong to it."""
        return all(
            low <= measured[measure] <= high
            for measure in measured
            for low, high in [self.limits(measure)]
        )


def price_by_grade(quality: pd.DataFrame, grades: Sequence[Grade]) -> pd.DataFrame:
    """Give each row of grain the best-paid grade it makes, and its price.

    Parameters
    ----------
    quality
        One row a strip or a load, with those of `protein_pct`, `screenings_pct` and
        `test_weight_kg_hl` that the grades have limits on.
    grades
        The grades, in any order. One of them should have no limits, so that all grain has a
        price.

    Returns
    -------
    DataFrame
        The rows given with two columns more: `grade` and `price_per_t`.

    Raises
    ------
    MoneyError
        If a column or a value is missing, or grain makes no grade.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.money import Grade, price_by_grade
    >>> grades = [
    ...     Grade(name="milling", price_per_t=310, least_protein_pct=11, most_screenings_pct=5),
    ...     Grade(name="feed", price_per_t=260)]
    >>> quality = pd.DataFrame({"strip": ["S1", "S2"], "protein_pct": [11.4, 10.8],
    ...                         "screenings_pct": [3.0, 3.0]})
    >>> price_by_grade(quality, grades)["grade"].tolist()
    ['milling', 'feed']
    """
    measures = limited_measures(grades)
    _check_columns(quality, measures)
    best_first = _best_first(grades)
    found: list[Grade] = []
    for place in range(len(quality)):
        row = quality.iloc[place]
        name = row["strip"] if "strip" in quality.columns else f"row {place + 1}"
        measured = {measure: _measured(row[measure], measure, str(name)) for measure in measures}
        found.append(_graded(measured, best_first, str(name)))
    return quality.assign(
        grade=[grade.name for grade in found],
        price_per_t=[float(grade.price_per_t) for grade in found],
    )


def grade_chances(
    means: Mapping[str, tuple[float, float]], grades: Sequence[Grade], df: float = math.inf
) -> pd.DataFrame:
    """Return the chance of each grade, for grain whose quality is known with an error.

    A load is graded by its mean, so a treatment close to a limit may or may not make the grade.
    The measures are taken as t-distributed about their means and independent of each other.
    Between the limits on every measure lie boxes; each has one best-paid grade and a chance that
    is a product.

    Parameters
    ----------
    means
        Mean and standard error of each measure that the grades have limits on:
        `{"protein_pct": (11.2, 0.3)}`.
    grades
        The grades; one of them should have no limits.
    df
        Degrees of freedom of the standard errors.

    Returns
    -------
    DataFrame
        One row a grade, the best paid first: `grade price_per_t chance`; the chances sum to one.

    Raises
    ------
    MoneyError
        If a measure is missing, a number makes no sense, or some grain makes no grade.

    Examples
    --------
    >>> from trialkit.money import Grade, grade_chances
    >>> grades = [Grade(name="milling", price_per_t=310, least_protein_pct=11),
    ...           Grade(name="feed", price_per_t=260)]
    >>> grade_chances({"protein_pct": (11.0, 0.3)}, grades)["chance"].tolist()
    [0.5, 0.5]
    """
    if math.isnan(df) or df <= 0:
        raise MoneyError(f"The degrees of freedom are {df}. They must be above zero.")
    measures = limited_measures(grades)
    missing = [measure for measure in measures if measure not in means]
    if missing:
        raise MoneyError(f"The grades have limits on {missing[0]}. Give its mean and error.")
    best_first = _best_first(grades)
    cuts = [_boxes(measure, means[measure], grades, df) for measure in measures]
    chances = dict.fromkeys((grade.name for grade in best_first), 0.0)
    for box in itertools.product(*cuts):
        chance = math.prod(part for _, part in box)
        if chance > 0:
            inside = dict(zip(measures, (middle for middle, _ in box), strict=True))
            chances[_graded(inside, best_first, "some grain").name] += chance
    rows = [(grade.name, float(grade.price_per_t), chances[grade.name]) for grade in best_first]
    return pd.DataFrame(rows, columns=["grade", "price_per_t", "chance"])


def expected_price(chances: pd.DataFrame) -> tuple[float, float]:
    """Return the mean price over the grades that grain may make, and its standard deviation.

    Parameters
    ----------
    chances
        From `grade_chances`.

    Returns
    -------
    mean, standard_deviation : float
        Money per tonne.

    Examples
    --------
    >>> import pandas as pd
    >>> from trialkit.money import expected_price
    >>> expected_price(pd.DataFrame({"price_per_t": [310.0, 260.0], "chance": [0.5, 0.5]}))
    (285.0, 25.0)
    """
    prices = chances["price_per_t"].to_numpy(dtype=float)
    weights = chances["chance"].to_numpy(dtype=float)
    mean = float(weights @ prices)
    return mean, math.sqrt(max(float(weights @ (prices - mean) ** 2), 0.0))


def price_gain_between(
    treated: pd.DataFrame, control: pd.DataFrame, control_yield_t_ha: float
) -> PriceGain:
    """Return what the treated grain is expected to fetch more, as `payoff` takes it.

    Which grade the grain makes is a matter of steps: each grade that it may make is held with its
    price and its chance. `price_per_t` of `payoff` is then the price that the control's grain is
    expected to fetch.

    Parameters
    ----------
    treated, control
        From `grade_chances`, for the grain of each.
    control_yield_t_ha
        Yield of the control, t/ha.

    Returns
    -------
    PriceGain

    Raises
    ------
    MoneyError
        If the yield is not above zero.

    Examples
    --------
    >>> from trialkit.money import Grade, grade_chances, price_gain_between
    >>> grades = [Grade(name="milling", price_per_t=310, least_protein_pct=11),
    ...           Grade(name="feed", price_per_t=260)]
    >>> sure = grade_chances({"protein_pct": (12.0, 0.01)}, grades)
    >>> even = grade_chances({"protein_pct": (11.0, 0.3)}, grades)
    >>> gain = price_gain_between(sure, even, 2.8)
    >>> gain.per_t, gain.std_error
    (25.0, 25.0)
    """
    return PriceGain.by_steps(_prices(treated), _prices(control), control_yield_t_ha)


def check_grades(grades: Sequence[Grade]) -> None:
    """Check that each grade stands once and that no grain is left without one.

    Parameters
    ----------
    grades
        The grades.

    Raises
    ------
    MoneyError
        If there is none, one stands twice, or some grain makes no grade.

    Examples
    --------
    >>> from trialkit.money import Grade, check_grades
    >>> check_grades([Grade(name="milling", price_per_t=310, least_protein_pct=11),
    ...               Grade(name="feed", price_per_t=260)])
    """
    measures, best_first = limited_measures(grades), _best_first(grades)
    for box in itertools.product(*(_places(measure, grades) for measure in measures)):
        _graded(dict(zip(measures, box, strict=True)), best_first, "some grain")


def limited_measures(grades: Iterable[Grade]) -> list[str]:
    """Return the measures that some grade has a limit on, by their columns.

    Parameters
    ----------
    grades
        The grades.

    Raises
    ------
    MoneyError
        If there is none, or one stands twice.
    """
    held = list(grades)
    if not held:
        raise MoneyError("There are no grades. Give at least one, with its price.")
    names = [grade.name for grade in held]
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise MoneyError(f"The grade '{twice}' stands twice. Give each grade once.")
    return [
        measure
        for measure in _LIMITS
        if any(grade.limits(measure) != (-math.inf, math.inf) for grade in held)
    ]


def _prices(chances: pd.DataFrame) -> tuple[tuple[float, float], ...]:
    prices, shares = (chances[name].astype(float) for name in ("price_per_t", "chance"))
    return tuple((price, share) for price, share in zip(prices, shares, strict=True) if share > 0)


def _places(measure: str, grades: Sequence[Grade]) -> list[float]:
    """Return values of a measure on every limit and between each two."""
    limits = {limit for grade in grades for limit in grade.limits(measure)}
    ends = np.array(sorted({0.0, _HIGHEST[measure], *(x for x in limits if math.isfinite(x))}))
    return sorted({*ends.tolist(), *((ends[:-1] + ends[1:]) / 2).tolist()})


def _best_first(grades: Sequence[Grade]) -> list[Grade]:
    return sorted(grades, key=lambda grade: -grade.price_per_t)


def _check_columns(quality: pd.DataFrame, measures: Sequence[str]) -> None:
    missing = [measure for measure in measures if measure not in quality.columns]
    if missing:
        raise MoneyError(
            f"The grades have limits on {missing[0]}, and the quality table has no such column. "
            "Add it, or leave the limit out."
        )


def _measured(value: object, measure: str, name: str) -> float:
    try:
        number = float(str(value))
    except ValueError:
        number = math.nan
    if not 0 <= number <= _HIGHEST[measure]:
        raise MoneyError(
            f"The {measure} of {name} is '{value}'. Grades need a number from 0 to "
            f"{_HIGHEST[measure]:g} there; leave the row out if it was not measured."
        )
    return number


def _graded(measured: Mapping[str, float], best_first: Sequence[Grade], name: str) -> Grade:
    for grade in best_first:
        if grade.takes(measured):
            return grade
    told = ", ".join(f"{measure} {value:.4g}" for measure, value in measured.items())
    raise MoneyError(
        f"No grade takes {name} ({told}). Add a grade without limits: what the buyer pays for the "
        "rest."
    )


def _boxes(
    measure: str, mean: tuple[float, float], grades: Sequence[Grade], df: float
) -> list[tuple[float, float]]:
    """Cut a measure at the limits of all grades: a value inside each piece, and its chance."""
    centre = check_number(mean[0], f"The mean of {measure}")
    error = check_number(mean[1], f"The standard error of {measure}")
    if error < _KNOWN:
        return [(centre, 1.0)]
    limits = {limit for grade in grades for limit in grade.limits(measure)}
    edges = np.array(sorted({*limits, -math.inf, math.inf}))
    shares = np.diff(stats.t.cdf((edges - centre) / error, df))
    inner = np.clip(edges, 0.0, _HIGHEST[measure])  # no measure lies outside
    middles = (inner[:-1] + inner[1:]) / 2
    return list(zip(middles.tolist(), shares.tolist(), strict=True))
