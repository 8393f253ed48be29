"""What to look at before the main analysis is believed: odd strips, and what hangs on one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from trialkit.answer import paid_by, strips_for_model
from trialkit.models import Finding, diagnose, leave_one_out, strip_residuals
from trialkit.selling import Selling, selling_of

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.models import MixedFit
    from trialkit.trial.config import TrialConfig

#: Degrees of freedom that it takes to judge one strip by the others.
_FEWEST_DF = 2


@dataclass(frozen=True, slots=True, eq=False)
class Scrutiny:
    """What to look at before the main analysis is believed.

    Parameters
    ----------
    findings
        What stands out among strips and along the passes, or that nothing does.
    residuals
        What is left of each strip beside its treatment and block, t/ha: see `strip_residuals`.
    without_one
        The answer without each strip in turn: `treatment left_out gain_t_ha chance_paid verdict`.
    """

    findings: tuple[Finding, ...]
    residuals: DataFrame
    without_one: DataFrame


def scrutinise(
    fit: MixedFit,
    strips: DataFrame,
    log: DataFrame | None,
    config: TrialConfig,
    selling: Selling | None = None,
) -> Scrutiny | None:
    """Look at what the main analysis leaves over, and at how far it hangs on single strips.

    Parameters
    ----------
    fit
        What `fit_strips` returned.
    strips
        The strip yields it was given.
    log
        Every record, with `kept`; None where only scales were used.
    config
        What `trial.toml` says.
    selling
        What the grain is sold for; at the price of `trial.toml` if not given.

    Returns
    -------
    Scrutiny, or None
        None where so few strips are left that none can be judged by the others.
    """
    data = strips_for_model(strips, config)
    if float(fit.differences("treatment", config.control)["df"].min()) < _FEWEST_DF:
        return None
    block = "block" if "block" in fit.formula else None
    records = None if log is None else log[log["kept"]]
    findings = diagnose(
        fit,
        data,
        "treatment",
        block,
        "strip",
        against=config.control,
        records=records,
        pass_id="pass_id",  # noqa: S106  a column, not a password
        distance="distance_m",
        unit="t/ha",
    )
    # How far the gain hangs on one strip is told with the verdict, in `without_one`.
    findings = tuple(finding for finding in findings if finding.name != "one strip decides")
    left = strip_residuals(data, "yield_t_ha", "treatment", block, "strip")
    sold = selling or selling_of(None, config)
    return Scrutiny(findings, left, _without_one(fit, data, config, sold))


def _without_one(
    fit: MixedFit, data: DataFrame, config: TrialConfig, selling: Selling
) -> DataFrame:
    """Return gain and verdict without each strip in turn; quality and prices stay as they are."""
    rows = []
    again = leave_one_out(fit, data, "treatment", "strip", against=config.control)
    for treatment, gain in again.iterrows():
        paid = paid_by(str(treatment), gain, config, selling)
        rows.append((treatment, gain["left_out"], gain["estimate"], paid.chance_paid, paid.verdict))
    names = ["treatment", "left_out", "gain_t_ha", "chance_paid", "verdict"]
    return pd.DataFrame(rows, columns=names)


def odd_strips(scrutiny: Scrutiny | None) -> Iterator[str]:
    """Name a strip that chance does not explain: its cause is in the field book, or nowhere.

    Parameters
    ----------
    scrutiny
        What `scrutinise` returned.
    """
    for finding in () if scrutiny is None else scrutiny.findings:
        if finding.name == "odd strip" and not finding.ok:
            yield finding.sentence
