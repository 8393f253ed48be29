"""The morning in the shed, mix by mix: when each is stirred, on the seed, and too old."""

from __future__ import annotations

import math

import pandas as pd

from trialkit.errors import SowingError
from trialkit.sowing.dressing import MixPlan
from trialkit.sowing.sensible import number

#: Measuring and stirring one mix, minutes. Common practice, no source.
MINUTES_A_MIX = 10.0

#: More mixes than this nobody stirs one by one.
_MOST_MIXES = 500


def mix_times(plan: MixPlan, *, minutes_a_mix: float = MINUTES_A_MIX) -> pd.DataFrame:
    """Return when each mix is stirred, when it is on the seed, and until when it keeps.

    One person, one thing at a time: the mixes of a filling are stirred one after the other, then
    the auger runs until they are on the seed, then the next filling. Without a tank each mix is a
    filling of its own.

    Parameters
    ----------
    plan
        The mixes, with the auger's flow.
    minutes_a_mix
        Measuring and stirring one mix, minutes.

    Returns
    -------
    DataFrame
        One row a mix: `mix fill stir_from_min stir_to_min seed_from_min seed_to_min use_by_min`,
        minutes from the first. `use_by_min` counts from the start of stirring; blank (NaN) where
        no product says how long it keeps.

    Raises
    ------
    SowingError
        If the auger's flow is not known, the minutes make no sense, or there are too many mixes.

    Examples
    --------
    >>> from trialkit.sowing import Product, mix_plan
    >>> broth = Product("root microbe", "watery", 2, "l", keeps_mixed_h=1)
    >>> plan = mix_plan(16, [broth], rate_l_t=10, mixer_l=20, tank_l=80, auger_t_h=40)
    >>> mix_times(plan).tail(1)[["fill", "stir_from_min", "seed_to_min", "use_by_min"]]
       fill  stir_from_min  seed_to_min  use_by_min
    7     2           82.0        104.0       142.0
    """
    if plan.minutes is None:
        raise SowingError("The auger's flow is not known, so the hours are not: give auger_t_h.")
    if plan.mixes > _MOST_MIXES:
        raise SowingError(
            f"{plan.mixes:,} mixes are no morning's work. Take a larger mixer: mixer_l."
        )
    stir = number(minutes_a_mix, "time to stir a mix", "min", 0.1, 600)
    on_seed = plan.minutes / plan.mixes
    keeps = math.nan if plan.use_within_h is None else 60 * plan.use_within_h
    a_fill = plan.mixes_per_fill or 1
    rows, clock = [], 0.0
    for first in range(0, plan.mixes, a_fill):
        number_of_mixes = min(a_fill, plan.mixes - first)
        starts = [clock + at * stir for at in range(number_of_mixes)]
        full = starts[-1] + stir + 60 * plan.job.stands_h
        clock = full + number_of_mixes * on_seed
        for at, start in enumerate(starts):
            rows.append(
                {
                    "mix": first + at + 1,
                    "fill": first // a_fill + 1,
                    "stir_from_min": start,
                    "stir_to_min": start + stir,
                    "seed_from_min": full,
                    "seed_to_min": clock,
                    "use_by_min": start + keeps,
                }
            )
    return pd.DataFrame(rows)
