"""Sentences from numbers, plain words first, for the page, the notebook and the command line.

Rules: a chance is rounded down and never reaches certainty; a loss that the interval still
holds is said; no word of praise or blame stands in for a number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from trialkit.report.numbers import (
    amount,
    amounts,
    in_hundred,
    level,
    listed,
    number,
    opened,
    percent,
    plain_t_ha,
    price,
    signed_range,
    signed_t_ha,
    yield_decimals,
)

if TYPE_CHECKING:
    from trialkit.result import Comparison, Verdict

INVENTED = "Invented example: the farm, its products, prices and yields are made up."

#: Headings of the first page.
FRONT = {
    "treatment": "Treatment",
    "gain": "Gain, t/ha",
    "net": "Net money, {currency}/ha",
    "chance": "Chance it paid",
    "where": "Strips and their yields",
    "next": "What next?",
    "left_out": "What was left out",
    "reading": "How to read this page",
    "reason": "Reason",
    "records": "Records",
}
OTHER_REASONS = "other reasons"

NOTHING_TO_WARN = "Nothing out of the ordinary was noticed in the files or the analysis."

#: What a trial cannot say, however well it was done.
LIMITS = (
    "One trial is one paddock in one season. By itself it says nothing about other soils, "
    "seasons, varieties, rates or products.",
    "A yield monitor senses flow, not the crop. Errors of delay, calibration and moisture are "
    "reduced here, not removed; a weighbridge or a weigh cart is the better judge.",
    "The interval and the chance count only the error between strips. They do not count a mix-up "
    "of seed, a wrong label on a strip, or spray and fertiliser that were not alike.",
    "Prices and costs are those of trial.toml. Statistics and budgets are no financial advice.",
)

#: What can hurt someone. All of it defers to the label, local rules and licensed practice.
CAUTIONS = (
    "Label and safety data sheet first. They, local rules and licensed practice stand above "
    "anything written here.",
    "Dressed seed is never food or feed. Keep it and its spillage from stock, birds and water, "
    "and clean bins and augers before they carry grain again.",
    "With powders wear a dust mask, gloves and eye protection.",
    "Keep guards on augers and power shafts; stop and lock out before clearing a blockage. Nobody "
    "goes into a bin or hopper of grain: damp dressed seed bridges and gives way.",
    "Store and dispose of left-over seed and products as the label says, and check that a "
    "product is registered where you farm.",
)


# The verdict --------------------------------------------------------------------------------


def headline(comparisons: Sequence[Comparison]) -> str:
    """Answer 'did it pay?' in one sentence, or in one a verdict where there are several.

    Parameters
    ----------
    comparisons
        Every treatment against the control.
    """
    if len(comparisons) == 1:
        name = comparisons[0].treatment
        return {
            "paid": f"Yes: {name} paid.",
            "did not pay": f"No: {name} did not pay.",
            "not settled": f"Not settled: this trial cannot tell whether {name} paid.",
        }[comparisons[0].verdict]

    def names(verdict: Verdict) -> str:
        return listed([c.treatment for c in comparisons if c.verdict == verdict])

    sentences = (
        f"{names('paid')} paid." if names("paid") else "",
        f"{names('did not pay')} did not pay." if names("did not pay") else "",
        f"Not settled: whether {names('not settled')} paid." if names("not settled") else "",
    )
    return " ".join(sentence for sentence in sentences if sentence)


def verdict_sentence(comparison: Comparison, currency: str) -> str:
    """Return the answer for one treatment with its numbers, as one line.

    Parameters
    ----------
    comparison
        The treatment against the control.
    currency
        Code of the currency, such as `AUD`.
    """
    net, low, high = amounts(comparison.net_per_ha, comparison.net_low, comparison.net_high)
    places = yield_decimals([comparison])
    return (
        f"{headline([comparison])} Gain {signed_t_ha(comparison.gain_t_ha, places)} t/ha "
        f"({signed_range(comparison.low_t_ha, comparison.high_t_ha, places)}), needed "
        f"{plain_t_ha(comparison.break_even_t_ha, places)}; net {net} "
        f"{currency}/ha ({low} to {high}); chance it paid "
        f"{in_hundred(comparison.chance_paid)}."
    )


def evidence(comparison: Comparison, *, currency: str, confidence: float) -> str:
    """Say what the strips showed, what it takes to pay, and what stays open.

    Parameters
    ----------
    comparison
        The treatment against the control.
    currency
        Code of the currency, such as `AUD`.
    confidence
        Confidence level of the intervals.
    """
    places = yield_decimals([comparison])
    span = signed_range(comparison.low_t_ha, comparison.high_t_ha, places)
    sentences = (
        f"{opened(comparison.treatment)} yielded {_more_or_less(comparison.gain_t_ha, places)} "
        f"than {comparison.control}; the true difference plausibly lies within {span} t/ha "
        f"({level(confidence)} interval).",
        _needed(comparison.break_even_t_ha, places),
        _doubt(comparison, currency),
    )
    return " ".join(sentence for sentence in sentences if sentence)


def _more_or_less(gain: float, decimals: int) -> str:
    text = number(abs(gain), decimals)
    if not text.strip("0."):
        return "no more"
    return f"{text} t/ha {'more' if gain > 0 else 'less'}"


def _needed(break_even_t_ha: float, decimals: int) -> str:
    if break_even_t_ha <= 0:
        return "It cost nothing extra, so any gain pays."
    return f"It had to gain {plain_t_ha(break_even_t_ha, decimals)} t/ha to cover its cost."


def _doubt(comparison: Comparison, currency: str) -> str:
    """Say what the verdict leaves open."""
    if comparison.verdict == "not settled":
        return "Strips differ too much by chance to say; more strips or another season would help."
    if comparison.verdict == "paid":
        low = comparison.net_low
        return f"A loss of up to {amount(-low)} {currency}/ha is not ruled out." if low < 0 else ""
    if comparison.low_t_ha > 0:
        return "It did yield more, but not by enough."
    if comparison.net_high > 0:
        high = amount(comparison.net_high)
        return f"A profit of up to {high} {currency}/ha is not ruled out, but it is unlikely."
    return ""


def notes_ahead(notes: Sequence[str], first: Sequence[str] = ()) -> str:
    """Return the note that the reader should see before relying on the answer.

    Parameters
    ----------
    notes
        What was noticed; several are only pointed to, since the page has room for one.
    first
        Those among them that stand here whatever else was noticed.
    """
    if first:
        rest = len(notes) - len(first)
        more = f" And read the {counted_notes(rest)} after this page." if rest > 0 else ""
        return f"Before you rely on this: {' '.join(first)}{more}"
    if not notes:
        return ""
    if len(notes) == 1:
        return f"Before you rely on this: {notes[0]}"
    return f"Before you rely on this, read the {len(notes)} notes after this page."


def counted_notes(number: int) -> str:
    """Return how many notes there are besides those told."""
    return "other note" if number == 1 else f"{number} other notes"


def rule(paid_at: float, did_not_pay_at: float) -> str:
    """Return the rule behind the verdict.

    Parameters
    ----------
    paid_at, did_not_pay_at
        Chances from which it is said to have paid, and up to which it is said not to.
    """
    return (
        f"It is said to have paid from a chance of {in_hundred(paid_at)}, and not to have paid up "
        f"to {in_hundred(did_not_pay_at)}; between them it is not settled."
    )


def meaning(*, confidence: float, uncertain_price: bool) -> str:
    """Say what an interval and a chance are, for who has not met them.

    Parameters
    ----------
    confidence
        Confidence level of the intervals.
    uncertain_price
        Whether the chance also counts a range of prices.
    """
    prices = " and the range of prices" if uncertain_price else ""
    return (
        "An interval shows how far differences between strips that are mere chance could have "
        f"moved the result: of many trials like this one, about {in_hundred(confidence)} give an "
        "interval that holds the true value. The chance is how likely it is, going by this trial "
        f"alone{prices}, that the extra grain was worth more than the treatment cost."
    )


def prices(
    *,
    currency: str,
    price_per_t: float,
    price_range: tuple[float, float] | None,
    costs_per_ha: Mapping[str, float],
) -> str:
    """Return the prices and costs that the money rests on.

    Parameters
    ----------
    currency
        Code of the currency, such as `AUD`.
    price_per_t
        Central price of the grain, money per tonne.
    price_range
        Lowest and highest price, money per tonne, or None.
    costs_per_ha
        Extra cost of each treatment over the control, money per hectare.
    """
    span = f" ({' to '.join(map(price, price_range))})" if price_range else ""
    each = [f"{name} {price(cost)} {currency}/ha" for name, cost in costs_per_ha.items()]
    return f"Grain at {price(price_per_t)} {currency}/t{span}. Extra cost: {listed(each)}."


# What was left out ----------------------------------------------------------------------------


def left_out(read: int, kept: int, *, weighed: bool = False) -> str:
    """Say how much of the harvest log counts.

    Parameters
    ----------
    read, kept
        Records read and kept; none were read where there is no log.
    weighed
        Whether the strip yields come from scales, and the log is only a cross-check.
    """
    scales = "The strip yields come from scale weights. "
    if read == 0:
        return f"{scales}No yield-monitor records were used."
    if weighed:
        return f"{scales}The harvest log is a cross-check only: {left_out(read, kept)}"
    if read == kept:
        return f"All {read:,} records of the harvest log count."
    return (
        f"Of {read:,} harvest records, {read - kept:,} ({percent((read - kept) / read)}) were left "
        "out. Nothing was deleted: each record is kept with its reason."
    )


def lost_strips(names: Sequence[str]) -> str:
    """Say which strips have no yield; empty where none is missing.

    Parameters
    ----------
    names
        Strips without a yield.
    """
    if not names:
        return ""
    one = len(names) == 1
    strips = f"Strip {names[0]} has" if one else f"Strips {listed(names)} have"
    return f"{strips} no usable yield and {'does' if one else 'do'} not count."
