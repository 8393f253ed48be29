"""What the grain is sold for: the price of the control's, and what each treatment's fetches more.

Without grades all grain fetches the price of `trial.toml`. With grades and measured quality the
control's grain fetches what its grades are expected to, and the range of prices goes along with it
in proportion.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.money import PriceGain, partial_budget

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.result import Comparison, GrainQuality
    from trialkit.trial.config import TrialConfig


@dataclass(frozen=True, slots=True)
class Selling:
    """Prices that every sum of money rests on.

    Parameters
    ----------
    price_per_t, price_range
        What a tonne of the control's grain leaves in the hand, and the lowest and the highest of
        it or None, money per tonne.
    price_gains
        What the grain of each treatment fetches more through its grade; empty without grades.
    """

    price_per_t: float
    price_range: tuple[float, float] | None
    price_gains: Mapping[str, PriceGain] = field(default_factory=dict)

    def price_of(self, treatment: str) -> float:
        """Return what a tonne of a treatment's grain is expected to leave, money per tonne."""
        gain = self.price_gains.get(treatment)
        return self.price_per_t + (0.0 if gain is None else gain.per_t)

    def net_error(self, comparison: Comparison) -> float:
        """Return the standard error of net money at the central price, money per hectare.

        Parameters
        ----------
        comparison
            A treatment against the control.
        """
        gain = self.price_gains.get(comparison.treatment)
        of_yield = comparison.std_error_t_ha * self.price_of(comparison.treatment)
        of_grade = 0.0 if gain is None else gain.std_error * gain.control_yield_t_ha
        return math.hypot(of_yield, of_grade)


def budget_of(means_t_ha: Mapping[str, float], config: TrialConfig, selling: Selling) -> DataFrame:
    """Return the partial budget of a trial, each yield at the price of its grade.

    Parameters
    ----------
    means_t_ha
        Yield of each treatment by the main model, the control among them, t/ha.
    config
        What `trial.toml` says.
    selling
        What the grain is sold for.

    Returns
    -------
    DataFrame
        As `trialkit.money.partial_budget` has it. What one treatment saves stands as a cost of
        those that do not save it, so that no cost is below zero.
    """
    costs = {name: config.cost_per_ha(name) for name in means_t_ha}
    least = min(0.0, *costs.values())
    table = pd.DataFrame(
        {
            "treatment": list(means_t_ha),
            "yield_t_ha": list(means_t_ha.values()),
            "price_per_t": [selling.price_of(name) for name in means_t_ha],
            "costs_per_ha": [cost - least for cost in costs.values()],
        }
    )
    return partial_budget(table)


def selling_of(quality: GrainQuality | None, config: TrialConfig) -> Selling:
    """Return the prices of a trial's grain.

    Parameters
    ----------
    quality
        What was measured, as `results/result.json` holds it; None where nothing was.
    config
        What `trial.toml` says.
    """
    money = config.money
    plain = Selling(money.price_per_t, money.price_range)
    if quality is None or quality.control_yield_t_ha is None or not quality.chances:
        return plain
    prices: dict[str, list[tuple[float, float]]] = {}
    for one in quality.chances:
        prices.setdefault(one.treatment, []).append((one.price_per_t, one.chance))
    control = prices.pop(config.control)
    expected = sum(price * chance for price, chance in control)
    share = expected / money.price_per_t
    span = money.price_range
    return Selling(
        expected,
        None if span is None else (span[0] * share, span[1] * share),
        {
            name: PriceGain.by_steps(own, control, quality.control_yield_t_ha)
            for name, own in prices.items()
        },
    )
