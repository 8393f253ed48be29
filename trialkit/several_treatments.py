"""Several treatments in one trial: which is best, by the errors and the prices of all of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from trialkit.money import Ranking, covariance_of_gains, rank_treatments
from trialkit.result import BestOf, Comparison, Ranked

if TYPE_CHECKING:
    from trialkit.models import MixedFit
    from trialkit.selling import Selling
    from trialkit.trial.config import TrialConfig


def ranked(
    fit: MixedFit, comparisons: Sequence[Comparison], config: TrialConfig, selling: Selling
) -> Ranking | None:
    """Rank the treatments by net money, with the chance of each to be the best.

    Parameters
    ----------
    fit
        The main model: its differences say how the gains hang together.
    comparisons
        Each treatment against the control.
    config
        What `trial.toml` says.
    selling
        What the grain is sold for.

    Returns
    -------
    Ranking, or None
        None where there is only one treatment besides the control.
    """
    if len(comparisons) < 2:
        return None
    errors: dict[Any, float] = fit.differences("treatment")["std_error"].to_dict()
    between = {(str(pair[0]), str(pair[1])): float(error) for pair, error in errors.items()}
    costs = {}
    for one in comparisons:
        cost_per_ha, saved_per_ha = config.extra_cost(one.treatment)
        costs[one.treatment] = cost_per_ha - saved_per_ha
    return rank_treatments(
        {one.treatment: one.gain_t_ha for one in comparisons},
        covariance_of_gains({one.treatment: one.std_error_t_ha for one in comparisons}, between),
        min(one.df for one in comparisons),
        price_per_t=selling.price_per_t,
        price_range=selling.price_range,
        costs_per_ha=costs,
        price_gains=selling.price_gains,
        control=config.control,
    )


def best_of(ranking: Ranking | None) -> BestOf | None:
    """Return a ranking as `results/result.json` holds it.

    Parameters
    ----------
    ranking
        What `ranked` returned.
    """
    if ranking is None:
        return None
    rows = tuple(
        Ranked(
            treatment=str(row["treatment"]),
            gain_t_ha=float(row["gain_t_ha"]),
            net_per_ha=float(row["net_per_ha"]),
            chance_paid=_told(row["chance_paid"]),
            chance_best=float(row["chance_best"]),
            expected_loss_per_ha=_told(row["expected_loss_per_ha"]),
        )
        for row in ranking.table.to_dict("records")
    )
    return BestOf(ranking.best, ranking.chance_best, _told(ranking.value_of_knowing_per_ha), rows)


def _told(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
