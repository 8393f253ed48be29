"""Sentences from numbers, plain words first, for the page, the notebook and the command line.

Rules: a chance is rounded down and never reaches certainty; a loss that the interval still
holds is said; no word of praise or blame stands in for a number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from trialkit.language import marked, say, say_counted
from trialkit.report.numbers import (
    amount,
    amounts,
    between,
    in_hundred,
    level,
    listed,
    nothing,
    number,
    opened,
    percent,
    plain_t_ha,
    price,
    signed_range,
    signed_t_ha,
    yield_decimals,
)
from trialkit.report.price_words import covered_down_to

if TYPE_CHECKING:
    from trialkit.result import Comparison, Verdict

INVENTED = marked("Invented example: the farm, its products, prices and yields are made up.")

#: Headings of the first page.
FRONT = {
    "treatment": marked("Treatment"),
    "gain": marked("Gain, t/ha"),
    "net": marked("Net money, {currency}/ha"),
    "chance": marked("Chance it paid"),
    "where": marked("Strips and their yields"),
    "next": marked("What next?"),
    "left_out": marked("What was left out"),
    "reading": marked("How to read this page"),
    "reason": marked("Reason"),
    "records": marked("Records"),
}
OTHER_REASONS = marked("other reasons")

#: The verdicts as words by themselves; `say(VERDICTS[verdict])` shows one.
VERDICTS = {
    "paid": marked("paid"),
    "did not pay": marked("did not pay"),
    "not settled": marked("not settled"),
}

NOTHING_TO_WARN = marked("Nothing out of the ordinary was noticed in the files or the analysis.")

RANDOM_SEED = marked("random seed")

#: What the chance is, by whether prices are a range and whether grain is sold by grade.
CHANCES = {
    (False, False): marked(
        "The chance is how likely it is, going by this trial alone, that the extra grain was "
        "worth more than the treatment cost."
    ),
    (True, False): marked(
        "The chance is how likely it is, going by this trial alone and the range of prices, "
        "that the extra grain was worth more than the treatment cost."
    ),
    (False, True): marked(
        "The chance is how likely it is, going by this trial alone, that the extra grain and "
        "its grade were worth more than the treatment cost."
    ),
    (True, True): marked(
        "The chance is how likely it is, going by this trial alone and the range of prices, "
        "that the extra grain and its grade were worth more than the treatment cost."
    ),
}


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
            "paid": say("Yes: {treatment} paid.", treatment=name),
            "did not pay": say("No: {treatment} did not pay.", treatment=name),
            "not settled": say(
                "Not settled: this trial cannot tell whether {treatment} paid.", treatment=name
            ),
        }[comparisons[0].verdict]

    def names(verdict: Verdict) -> str:
        return listed([c.treatment for c in comparisons if c.verdict == verdict])

    paid, lost, unsettled = names("paid"), names("did not pay"), names("not settled")
    sentences = (
        say("{treatments} paid.", treatments=paid) if paid else "",
        say("{treatments} did not pay.", treatments=lost) if lost else "",
        say("Not settled: whether {treatments} paid.", treatments=unsettled) if unsettled else "",
    )
    return opened(" ".join(sentence for sentence in sentences if sentence))


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
    numbers = say(
        "Gain {gain} t/ha ({span}), needed {needed}; net {net} {currency}/ha ({net_span}); "
        "chance it paid {chance}.",
        gain=signed_t_ha(comparison.gain_t_ha, places),
        span=signed_range(comparison.low_t_ha, comparison.high_t_ha, places),
        needed=plain_t_ha(comparison.break_even_t_ha, places),
        net=net,
        currency=currency,
        net_span=between(low, high),
        chance=in_hundred(comparison.chance_paid),
    )
    return f"{headline([comparison])} {numbers}"


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
    sentences = (
        opened(_yielded(comparison, level(confidence), places)),
        _needed(comparison.break_even_t_ha, places),
        _doubt(comparison, currency),
    )
    return " ".join(sentence for sentence in sentences if sentence)


def _yielded(comparison: Comparison, confidence: str, decimals: int) -> str:
    """Say what the strips showed."""
    gain = number(abs(comparison.gain_t_ha), decimals)
    if nothing(gain):
        template = marked(
            "{treatment} yielded no more than {control}; the true difference plausibly lies within "
            "{span} t/ha ({level} interval)."
        )
    elif comparison.gain_t_ha > 0:
        template = marked(
            "{treatment} yielded {gain} t/ha more than {control}; the true difference plausibly "
            "lies within {span} t/ha ({level} interval)."
        )
    else:
        template = marked(
            "{treatment} yielded {gain} t/ha less than {control}; the true difference plausibly "
            "lies within {span} t/ha ({level} interval)."
        )
    return say(
        template,
        treatment=comparison.treatment,
        control=comparison.control,
        gain=gain,
        span=signed_range(comparison.low_t_ha, comparison.high_t_ha, decimals),
        level=confidence,
    )


def _needed(break_even_t_ha: float, decimals: int) -> str:
    if break_even_t_ha < 0:
        return covered_down_to(signed_t_ha(break_even_t_ha, decimals))
    if break_even_t_ha == 0:
        return say("It cost nothing extra, so any gain pays.")
    gain = plain_t_ha(break_even_t_ha, decimals)
    return say("It had to gain {gain} t/ha to cover its cost.", gain=gain)


def _doubt(comparison: Comparison, currency: str) -> str:
    """Say what the verdict leaves open."""
    if comparison.verdict == "not settled":
        return say(
            "Strips differ too much by chance to say; more strips or another season would help."
        )
    if comparison.verdict == "paid":
        if comparison.net_low >= 0:
            return ""
        return say(
            "A loss of up to {loss} {currency}/ha is not ruled out.",
            loss=amount(-comparison.net_low),
            currency=currency,
        )
    if comparison.low_t_ha > 0:
        return say("It did yield more, but not by enough.")
    if comparison.net_high > 0:
        return say(
            "A profit of up to {profit} {currency}/ha is not ruled out, but it is unlikely.",
            profit=amount(comparison.net_high),
            currency=currency,
        )
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
        said = say("Before you rely on this: {notes}", notes=" ".join(first))
        others = say_counted(
            "And read the other note after this page.",
            "And read the {count} other notes after this page.",
            rest,
        )
        return f"{said} {others}" if rest > 0 else said
    if not notes:
        return ""
    if len(notes) == 1:
        return say("Before you rely on this: {notes}", notes=notes[0])
    return say("Before you rely on this, read the {count} notes after this page.", count=len(notes))


def rule(paid_at: float, did_not_pay_at: float) -> str:
    """Return the rule behind the verdict.

    Parameters
    ----------
    paid_at, did_not_pay_at
        Chances from which it is said to have paid, and up to which it is said not to.
    """
    return say(
        "It is said to have paid from a chance of {paid}, and not to have paid up to "
        "{did_not_pay}; between them it is not settled.",
        paid=in_hundred(paid_at),
        did_not_pay=in_hundred(did_not_pay_at),
    )


def meaning(*, confidence: float, uncertain_price: bool, by_grade: bool = False) -> str:
    """Say what an interval and a chance are, for who has not met them.

    Parameters
    ----------
    confidence
        Confidence level of the intervals.
    uncertain_price
        Whether the chance also counts a range of prices.
    by_grade
        Whether it counts what the grain fetches by its grade.
    """
    interval = say(
        "An interval shows how far differences between strips that are mere chance could have "
        "moved the result: of many trials like this one, about {chance} give an interval that "
        "holds the true value.",
        chance=in_hundred(confidence),
    )
    return f"{interval} {say(CHANCES[uncertain_price, by_grade])}"


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
    each = [f"{name} {price(cost)} {currency}/ha" for name, cost in costs_per_ha.items()]
    central = price(price_per_t)
    if price_range is None:
        grain = say("Grain at {price} {currency}/t.", price=central, currency=currency)
    else:
        span = between(*map(price, price_range))
        grain = say(
            "Grain at {price} {currency}/t ({span}).", price=central, currency=currency, span=span
        )
    extra = say("Extra cost: {costs}.", costs=listed(each))
    return f"{grain} {extra}"


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
    scales = say("The strip yields come from scale weights.")
    if read == 0:
        none = say("No yield-monitor records were used.")
        return f"{scales} {none}"
    if weighed:
        log = say("The harvest log is a cross-check only: {log}", log=left_out(read, kept))
        return f"{scales} {log}"
    if read == kept:
        return say("All {read:,} records of the harvest log count.", read=read)
    return say(
        "Of {read:,} harvest records, {out:,} ({share}) were left out. Nothing was deleted: each "
        "record is kept with its reason.",
        read=read,
        out=read - kept,
        share=percent((read - kept) / read),
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
    return say_counted(
        "Strip {strips} has no usable yield and does not count.",
        "Strips {strips} have no usable yield and do not count.",
        len(names),
        strips=listed(names),
    )
