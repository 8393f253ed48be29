"""The first page, for the grower: did it pay, how sure is that, where, and what was left out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trialkit.language import say
from trialkit.report import numbers, wording
from trialkit.report.pieces import Piece, Shown, fill

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.result import Comparison, Summary
    from trialkit.trial.config import TrialConfig

#: Reasons named on the page; the rest are one row.
_MOST_REASONS = 5


def front_page(
    summary: Summary,
    config: TrialConfig,
    strips: DataFrame,
    *,
    gains: Shown,
    strip_map: Shown,
    first: Sequence[str] = (),
    what_next: Sequence[str] = (),
    prices: str = "",
) -> Piece:
    """Lay out the first page.

    Parameters
    ----------
    summary
        The answer.
    config
        What `trial.toml` says: prices, thresholds, paddock.
    strips
        One row a strip: `strip yield_t_ha`.
    gains
        The picture of the gains against their break-even.
    strip_map
        The map of the strips.
    first
        Warnings that stand on the page itself, however many others there are.
    what_next
        What to do about each treatment; empty where that cannot be told.
    prices
        The prices that the money rests on; empty for those of `trial.toml`.
    """
    analysis, money = config.analysis, config.money
    lost = strips.loc[strips["yield_t_ha"].isna(), "strip"].astype(str).tolist()
    costs = {
        c.treatment: config.cost_per_ha(c.treatment) - config.cost_per_ha(c.control)
        for c in summary.comparisons
    }
    markup = fill(
        "front.html",
        about=_about(summary, config),
        invented=say(wording.INVENTED) if config.trial.invented else "",
        tone=_tone(summary.comparisons),
        headline=wording.headline(summary.comparisons),
        evidence=_evidence(summary, analysis.confidence),
        notes=wording.notes_ahead(summary.warnings, first),
        what_next=what_next,
        answers=[
            _answer(c, numbers.yield_decimals(summary.comparisons)) for c in summary.comparisons
        ],
        headings={key: say(text, currency=summary.currency) for key, text in wording.FRONT.items()},
        gains=gains,
        strip_map=strip_map,
        left_out=wording.left_out(
            summary.records["read"],
            summary.records["kept"],
            weighed=analysis.yield_from == "scales",
        ),
        reasons=_reasons(summary.records),
        lost=wording.lost_strips(lost),
        prices=prices
        or wording.prices(
            currency=summary.currency,
            price_per_t=money.price_per_t,
            price_range=money.price_range,
            costs_per_ha=costs,
        ),
        rule=wording.rule(analysis.paid_at, analysis.did_not_pay_at),
        meaning=wording.meaning(
            confidence=analysis.confidence,
            uncertain_price=money.price_range is not None,
            by_grade=summary.grain_quality is not None and bool(summary.grain_quality.chances),
        ),
    )
    return Piece(markup)


def _about(summary: Summary, config: TrialConfig) -> list[str]:
    parts = [summary.trial, config.trial.paddock, summary.crop, str(summary.season)]
    return [part for part in parts if part]


def _evidence(summary: Summary, confidence: float) -> str:
    """Return the one comparison in sentences; several are told by the table alone."""
    if len(summary.comparisons) > 1:
        return ""
    return wording.evidence(
        summary.comparisons[0], currency=summary.currency, confidence=confidence
    )


def _tone(comparisons: Sequence[Comparison]) -> str:
    """Return the one verdict that colours the page, or `several`."""
    verdicts = {c.verdict for c in comparisons}
    return verdicts.pop().replace(" ", "-") if len(verdicts) == 1 else "several"


def _answer(comparison: Comparison, places: int) -> dict[str, str]:
    net, low, high = numbers.amounts(comparison.net_per_ha, comparison.net_low, comparison.net_high)
    return {
        "treatment": comparison.treatment,
        "gain": numbers.signed_t_ha(comparison.gain_t_ha, places),
        "gain_range": numbers.signed_range(comparison.low_t_ha, comparison.high_t_ha, places),
        "net": net,
        "net_range": numbers.between(low, high),
        "chance": numbers.in_hundred(comparison.chance_paid),
        "chance_pct": f"{100 * comparison.chance_paid:.1f}",
    }


def _reasons(records: dict[str, object]) -> list[tuple[str, str]]:
    """Return the reasons and how many records each took, the most first."""
    reasons = records["reasons"]
    assert isinstance(reasons, dict)  # noqa: S101  the shape of result.json
    ranked = sorted(reasons.items(), key=lambda item: -item[1])
    rows = [(say(reason), numbers.number(count, 0)) for reason, count in ranked[:_MOST_REASONS]]
    rest = sum(count for _, count in ranked[_MOST_REASONS:])
    return [*rows, (say(wording.OTHER_REASONS), numbers.number(rest, 0))] if rest else rows
