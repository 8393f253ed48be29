"""From strip yields to the answer: gains with honest error, money, and the same by other methods.

The strip is the unit: treatment is allotted to strips, so records never count as replicates.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import fields
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.errors import ModelError, MoneyError, TrialkitWarning
from trialkit.harvest.strips import listed_strips
from trialkit.language import marked, say
from trialkit.models import MixedFit, fit_mixed
from trialkit.money import Farm, Outlook, Payoff, check_cost, look_ahead, payoff
from trialkit.result import Comparison, WhatNext
from trialkit.selling import Selling, selling_of

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.trial.config import TrialConfig

MAIN_METHOD = marked("strip means, blocks as fixed effects, least squares")
WITHOUT_BLOCKS = marked("strip means, no blocks, least squares")

#: Keys of `[money]` in `trial.toml` that it takes to say what next.
FARM_KEYS = ("area_ha", "seasons", "labour_per_h")
#: Below this yield a crop has failed, and says nothing about a cost: common practice, no source.
_FAILED_T_HA = 1.0
#: Size of a strip where it is not known, ha: common practice, no source.
_STRIP_HA = 1.0


def strips_for_model(strips: DataFrame, config: TrialConfig) -> DataFrame:
    """Return the strips with a yield, in the order and words that the models take.

    Parameters
    ----------
    strips
        One row a strip: `strip block treatment yield_t_ha`.
    config
        What `trial.toml` says.

    Returns
    -------
    DataFrame
        The strips, the control first among the treatments.

    Raises
    ------
    ModelError
        If a treatment has fewer than two strips with a yield.

    Warns
    -----
    TrialkitWarning
        If strips have no yield.
    """
    lost = strips[strips["yield_t_ha"].isna()]
    if len(lost):
        warnings.warn(
            say(
                "No yield from {strips}. The analysis goes on without them.",
                strips=listed_strips(lost["strip"]),
            ),
            TrialkitWarning,
            stacklevel=2,
        )
    data = strips.dropna(subset="yield_t_ha")
    counts = data["treatment"].value_counts()
    for treatment in config.treatments:
        number = int(counts.get(treatment.name, 0))
        if number < 2:
            raise ModelError(
                f"Only {number} strip of '{treatment.name}' has a yield. It takes two or more to "
                "see how much strips differ by chance, so this trial cannot tell. "
                "Check results/ for why strips were left out, or give weights.csv."
            )
    others = [treatment.name for treatment in config.treatments if not treatment.control]
    order = [config.control, *others]
    # Blocks in words, for they may have numbers for names.
    return data.assign(
        treatment=pd.Categorical(data["treatment"], categories=order),
        block="block " + data["block"].astype(str),
    )


def has_blocks(strips: DataFrame) -> bool:
    """Say whether blocks group the strips; if not, warn of what that means.

    Parameters
    ----------
    strips
        One row a strip, with `block`.

    Warns
    -----
    TrialkitWarning
        If they do not.
    """
    blocks = strips["block"].nunique()
    if 1 < blocks < len(strips):
        return True
    warnings.warn(
        say(
            "The layout has no blocks of neighbouring strips, so differences across the field "
            "count as error. Give neighbouring strips the same block in layout.geojson."
        ),
        TrialkitWarning,
        stacklevel=2,
    )
    return False


def _check_blocks(strips: DataFrame, config: TrialConfig) -> None:
    """Check that every treatment meets the control inside blocks, with strips to spare."""
    arms = {str(block): set(part["treatment"]) for block, part in strips.groupby("block")}
    met = {config.control}
    for _ in arms:  # treatments meet through others, too: one more block may carry them further
        met = met.union(*(held for held in arms.values() if held & met))
    for treatment in config.treatments:
        if treatment.name not in met:
            raise ModelError(
                f"No block has strips with a yield of both '{treatment.name}' and "
                f"'{config.control}', so blocks and treatments cannot be told apart: this trial "
                "cannot tell. Check the blocks in layout.geojson; a block is a group of "
                "neighbouring strips with each treatment in it."
            )
    if len(strips) < len(arms) + len(met):
        raise ModelError(
            f"{len(strips)} strips with a yield in {len(arms)} blocks are too few: nothing is left "
            "to see how much strips differ by chance, so this trial cannot tell. "
            "Check results/ for why strips were left out, or give weights.csv."
        )
    alone = [block for block, held in arms.items() if len(held) == 1]
    if alone:
        warnings.warn(
            say(
                "Only one treatment has a yield in {blocks}. A block like that says nothing on "
                "the gain.",
                blocks=", ".join(alone),
            ),
            TrialkitWarning,
            stacklevel=3,
        )


def fit_strips(strips: DataFrame, config: TrialConfig) -> MixedFit:
    """Fit the main model: `yield_t_ha ~ block + treatment`, by least squares.

    Blocks are fixed effects, so that treatments are compared inside blocks only; in pairs this is
    the paired t test. Random blocks were the other choice. `tests/calibration/run.py` holds them
    against each other (table in the README):

    - Random blocks with a variance bounded at zero, as `fit_mixed` has them, borrow precision
      from the differences between blocks wherever the variance comes out as zero. That is right
      only if blocks truly do not differ. Where neighbours compete, so that strips of a block are
      less alike than strips far apart, it claims too much: 12 trials in 100 instead of 5
      in the extreme case of the table, 6 where the competition is slight.
    - A block variance that may be negative (Stroup and Littell 2002) is the same as fixed blocks
      where every block is complete, and keeps its error elsewhere, but with lost strips the
      estimate can end at the edge of what is possible, where no standard error is to be had.
    - Fixed blocks keep 5% whatever blocks do, exactly so for normal yields of equal spread. The
      price in power is up to three trials in a hundred on most fields, six where blocks do not
      differ at all; and a block that has lost all but one treatment says nothing.

    With three treatments or more the error is pooled over all of them, which is wrong where the
    strips of one treatment vary far more than those of another.

    Parameters
    ----------
    strips
        One row a strip: `strip block treatment yield_t_ha`.
    config
        What `trial.toml` says; the control is the reference level.

    Raises
    ------
    ModelError
        If a treatment has fewer than two strips with a yield, or blocks leave nothing to
        compare.
    """
    data = strips_for_model(strips, config)
    confidence = config.analysis.confidence
    if not has_blocks(data):
        return fit_mixed("yield_t_ha ~ treatment", data, confidence=confidence)
    _check_blocks(data, config)
    return fit_mixed("yield_t_ha ~ block + treatment", data, confidence=confidence)


def check_costs(fit: MixedFit, config: TrialConfig) -> None:
    """Refuse a cost a hectare that must be one a tonne of seed, or a slip of the point.

    Parameters
    ----------
    fit
        The main model.
    config
        What `trial.toml` says.

    Raises
    ------
    MoneyError
        If no gain could cover a cost.
    """
    mean_t_ha = float(fit.means("treatment")["estimate"][config.control])
    if mean_t_ha < _FAILED_T_HA:
        return
    for treatment in config.treatments:
        try:
            check_cost(
                config.cost_sheet(treatment.name).spent_per_ha,
                price_per_t=config.money.price_per_t,
                mean_yield_t_ha=mean_t_ha,
                seed_kg_ha=None if config.sowing is None else config.sowing.rate_kg_ha,
            )
        except MoneyError as error:
            raise MoneyError(f"trial.toml, the treatment '{treatment.name}': {error}") from None


def compare(
    fit: MixedFit, config: TrialConfig, selling: Selling | None = None
) -> tuple[Comparison, ...]:
    """Return each treatment's gain over the control, and what it is worth.

    Parameters
    ----------
    fit
        What `fit_strips` returned.
    config
        What `trial.toml` says.
    selling
        What the grain is sold for; at the price of `trial.toml` if not given.
    """
    sold = selling or selling_of(None, config)
    gains = fit.differences("treatment", against=config.control)
    others = [treatment.name for treatment in config.treatments if not treatment.control]
    method = MAIN_METHOD if "block" in fit.formula else WITHOUT_BLOCKS
    return tuple(
        _comparison(treatment, gain, config, method, sold)
        for treatment, (_, gain) in zip(others, gains.iterrows(), strict=True)
    )


def _comparison(
    treatment: str, gain: pd.Series[float], config: TrialConfig, method: str, selling: Selling
) -> Comparison:
    paid = paid_by(treatment, gain, config, selling)
    return Comparison(
        treatment=treatment,
        control=config.control,
        gain_t_ha=float(gain["estimate"]),
        low_t_ha=float(gain["low"]),
        high_t_ha=float(gain["high"]),
        std_error_t_ha=float(gain["std_error"]),
        df=float(gain["df"]),
        p_value=float(gain["p"]),
        method=method,
        break_even_t_ha=paid.break_even_t_ha,
        net_per_ha=paid.net_per_ha,
        net_low=paid.net_low,
        net_high=paid.net_high,
        chance_paid=paid.chance_paid,
        verdict=paid.verdict,
    )


def paid_by(
    treatment: str, gain: pd.Series[float], config: TrialConfig, selling: Selling
) -> Payoff:
    """Return what a gain is worth.

    Parameters
    ----------
    treatment
        Its name.
    gain
        `estimate std_error df` of its gain over the control, t/ha.
    config
        What `trial.toml` says.
    selling
        What the grain is sold for.
    """
    analysis = config.analysis
    cost_per_ha, saved_per_ha = config.extra_cost(treatment)
    return payoff(
        gain["estimate"],
        gain["std_error"],
        gain["df"],
        price_per_t=selling.price_per_t,
        cost_per_ha=cost_per_ha,
        price_range=selling.price_range,
        saved_per_ha=saved_per_ha,
        price_gain=selling.price_gains.get(treatment),
        confidence=analysis.confidence,
        paid_at=analysis.paid_at,
        did_not_pay_at=analysis.did_not_pay_at,
    )


def outlooks(
    comparisons: Sequence[Comparison],
    strips: DataFrame,
    config: TrialConfig,
    selling: Selling | None = None,
) -> tuple[Outlook, ...]:
    """Look ahead from each gain: what next, the risk, at which prices and costs it pays.

    Parameters
    ----------
    comparisons
        What `compare` returned.
    strips
        The strip yields it rests on.
    config
        What `trial.toml` says; without area, seasons and cost of labour there is no next step.
    selling
        What the grain is sold for; at the price of `trial.toml` if not given.
    """
    money, analysis = config.money, config.analysis
    sold = selling or selling_of(None, config)
    costs = {c.treatment: config.extra_cost(c.treatment) for c in comparisons}
    used = strips.dropna(subset="yield_t_ha")
    size = used["area_ha"].mean() if "area_ha" in used else math.nan
    return tuple(
        look_ahead(
            c.treatment, c.gain_t_ha, c.std_error_t_ha, c.df,
            price_per_t=sold.price_per_t, price_range=sold.price_range,
            cost_per_ha=costs[c.treatment][0], saved_per_ha=costs[c.treatment][1],
            price_gain=sold.price_gains.get(c.treatment),
            pairs=_pairs(used, c.treatment, c.control, blocks=c.method == MAIN_METHOD),
            strip_ha=size if size > 0 else _STRIP_HA,
            farm=farm_of(config),
            lose_more_than=money.lose_more_than,
            paid_at=analysis.paid_at, did_not_pay_at=analysis.did_not_pay_at,
            confidence=analysis.confidence,
        )
        for c in comparisons
    )  # fmt: skip


def what_next(ahead: Sequence[Outlook]) -> tuple[WhatNext, ...]:
    """Return the next steps that could be told, as `results/result.json` holds them."""
    told = [(one.treatment, one.step) for one in ahead if one.step is not None]
    names = [field.name for field in fields(WhatNext)][1:]
    return tuple(WhatNext(name, *(getattr(step, key) for key in names)) for name, step in told)


def farm_of(config: TrialConfig) -> Farm | None:
    """Return what the farm would do with the answer; None where `trial.toml` does not say.

    Parameters
    ----------
    config
        What it says.
    """
    area_ha, seasons, labour = (getattr(config.money, key) for key in FARM_KEYS)
    if area_ha is None or seasons is None or labour is None:
        return None
    return Farm(area_ha, seasons, labour)


def _pairs(strips: DataFrame, treatment: str, control: str, *, blocks: bool) -> int:
    """Return how many pairs tell as much as the strips do: a lone strip in a block tells none."""
    parts = [part for _, part in strips.groupby("block")] if blocks else [strips]
    told = 0.0
    for part in parts:
        treated, plain = ((part["treatment"] == name).sum() for name in (treatment, control))
        told += 2 * treated * plain / max(treated + plain, 1)
    return max(round(told), 2)
