"""Sentences for the adviser: whether methods agree, and whether one strip decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from trialkit.language import figures, marked, say, say_counted
from trialkit.report.numbers import in_hundred, listed, signed_range, signed_t_ha
from trialkit.report.table_captions import term
from trialkit.report.wording import VERDICTS

if TYPE_CHECKING:
    from pandas import DataFrame, Series

    from trialkit.result import Comparison, CrossCheck

NO_SCREENING = marked(
    "The strip yields come from scale weights, so no records were screened for them."
)
TOO_FEW_TO_LOOK = marked(
    "Too few strips are left over from treatments and blocks to judge one of them by the others."
)

#: The levels of screening by themselves.
_LEVELS = {"light": marked("light"), "default": marked("default"), "hard": marked("hard")}


def agreement(comparison: Comparison, checks: Sequence[CrossCheck], *, confidence: float) -> str:
    """Say whether other methods agree with the main analysis on one treatment.

    They agree where each estimate lies inside the main interval, and where all answer alike
    whether there is a difference at all.

    Parameters
    ----------
    comparison
        The main analysis of the treatment.
    checks
        Other methods, of this treatment or of others.
    confidence
        Confidence level of the main interval.
    """
    about = [check for check in checks if check.treatment == comparison.treatment]
    if not about:
        return say("{treatment}: no other method could be tried.", treatment=comparison.treatment)
    doubts = [_apart(comparison, check, 1 - confidence) for check in about]
    if not any(doubts):
        return say(
            "{treatment}: the methods agree. Every other estimate lies inside the main interval, "
            "and all answer alike whether there is a difference at all.",
            treatment=comparison.treatment,
        )
    return say(
        "{treatment}: the methods do not fully agree. {doubts} The main analysis is the same for "
        "every trial and stands; find out why they differ before you act on it.",
        treatment=comparison.treatment,
        doubts=" ".join(doubt for doubt in doubts if doubt),
    )


def _apart(comparison: Comparison, check: CrossCheck, alpha: float) -> str:
    low, high = comparison.low_t_ha, comparison.high_t_ha
    if not low <= check.gain_t_ha <= high:
        return say(
            "The {method} put the gain at {gain} t/ha, outside the main interval of {span}.",
            method=say(check.method),
            gain=signed_t_ha(check.gain_t_ha),
            span=signed_range(low, high),
        )
    if check.p_value is None or (comparison.p_value < alpha) == (check.p_value < alpha):
        return ""
    if check.p_value < alpha:
        template = marked(
            "The {method} found a difference beyond what chance gives ({p}; main analysis {main})."
        )
    else:
        template = marked(
            "The {method} did not find a difference beyond what chance gives ({p}; main analysis "
            "{main})."
        )
    found = say(
        template,
        method=say(check.method),
        p=p_value(check.p_value),
        main=p_value(comparison.p_value),
    )
    return f"{found} {check.note}".strip()


def one_strip(comparison: Comparison, without_one: DataFrame) -> str:
    """Say whether the verdict on one treatment hangs on a single strip.

    Parameters
    ----------
    comparison
        The main analysis of the treatment.
    without_one
        The answer without each strip in turn: `treatment left_out gain_t_ha chance_paid
        verdict`.
    """
    rows = without_one[without_one["treatment"] == comparison.treatment]
    if rows.empty:
        return say(
            "{treatment}: without any one of its strips nothing is left to judge by.",
            treatment=comparison.treatment,
        )
    gains, chances = rows["gain_t_ha"], rows["chance_paid"]
    least, most = in_hundred(chances.min()), in_hundred(chances.max())
    turned = rows[rows["verdict"] != comparison.verdict]
    said = say(
        _ONE_STRIP[least == most, turned.empty],
        treatment=comparison.treatment,
        span=signed_range(gains.min(), gains.max()),
        least=least,
        most=most,
    )
    if turned.empty:
        return said
    instead = [
        say(
            "without {strips} it would be '{verdict}'",
            strips=_either(part["left_out"].astype(str).tolist()),
            verdict=say(VERDICTS[str(verdict)]),
        )
        for verdict, part in turned.groupby("verdict", sort=False)
    ]
    hangs = say("The verdict hangs on single strips: {instead}.", instead="; ".join(instead))
    return f"{said} {hangs}"


#: By whether the chance stays the same, and the verdict.
_ONE_STRIP = {
    (True, True): marked(
        "{treatment}: leaving out one strip at a time, the gain lies within {span} t/ha and the "
        "chance it paid is {least}; the verdict stays the same."
    ),
    (True, False): marked(
        "{treatment}: leaving out one strip at a time, the gain lies within {span} t/ha and the "
        "chance it paid is {least}."
    ),
    (False, True): marked(
        "{treatment}: leaving out one strip at a time, the gain lies within {span} t/ha and the "
        "chance it paid goes from {least} to {most}; the verdict stays the same."
    ),
    (False, False): marked(
        "{treatment}: leaving out one strip at a time, the gain lies within {span} t/ha and the "
        "chance it paid goes from {least} to {most}."
    ),
}


def under_screenings(comparison: Comparison, table: DataFrame) -> str:
    """Say whether the answer on one treatment holds whichever records are left out.

    Parameters
    ----------
    comparison
        The main analysis of the treatment.
    table
        One row a level and treatment: `level treatment gain_t_ha verdict`, as
        `trialkit.sensitivity.by_screening` has it.
    """
    rows = table[(table["treatment"] == comparison.treatment) & (table["level"] != "none")]
    gains = rows["gain_t_ha"].dropna()
    about = {
        "treatment": comparison.treatment,
        "span": signed_range(gains.min(), gains.max()),
    }
    if set(rows["verdict"]) == {comparison.verdict}:
        return say(
            "{treatment}: from light to hard screening the gain lies within {span} t/ha and the "
            "verdict stays the same: it does not hang on the records left out.",
            **about,
        )
    each = [
        _under(say(_LEVELS[level]), verdict)
        for level, verdict in zip(rows["level"], rows["verdict"], strict=True)
    ]
    return say(
        "{treatment}: from light to hard screening the gain lies within {span} t/ha. The verdict "
        "hangs on which records are left out: {answers}.",
        **about,
        answers="; ".join(each),
    )


def _under(level: str, verdict: str) -> str:
    if not verdict:
        return say("{level}: no answer", level=level)
    return say("{level}: '{verdict}'", level=level, verdict=say(VERDICTS[verdict]))


def _either(names: Sequence[str]) -> str:
    """Return names as a choice: `a`, `a or b`, `a, b or c`."""
    if len(names) == 1:
        return names[0]
    return say("{names} or {last}", names=", ".join(names[:-1]), last=names[-1])


def all_at_once(alone: DataFrame, together: DataFrame, *, control: str, confidence: float) -> str:
    """Say what it means that several treatments are held against the control at once.

    Parameters
    ----------
    alone, together
        Differences from the control, index the treatment, `low high` of each by itself and of all
        at once.
    control
        The treatment they are held against.
    confidence
        Confidence level of the intervals.
    """
    first = say(
        "With {count} treatments against {control}, one may look different by luck more easily "
        "than with one. The intervals together allow for that: of many trials like this one, about "
        "{chance} have all {count} right.",
        count=len(alone),
        control=control,
        chance=in_hundred(confidence),
    )
    lost = [
        str(name)
        for name in alone.index
        if _apart_from_zero(alone.loc[name]) and not _apart_from_zero(together.loc[name])
    ]
    if not lost:
        alike = say("Here they change no answer.")
        return f"{first} {alike}"
    unsure = say_counted(
        "By itself {treatments} differs from {control} beyond chance; with all taken together that "
        "is not so sure.",
        "By itself {treatments} differ from {control} beyond chance; with all taken together that "
        "is not so sure.",
        len(lost),
        treatments=listed(lost),
        control=control,
    )
    return f"{first} {unsure}"


def _apart_from_zero(row: Series[float]) -> bool:
    return bool(row["low"] > 0 or row["high"] < 0)


def p_value(value: float) -> str:
    """Return a p-value as words: `p = 0.03`, or `p < 0.001`.

    Parameters
    ----------
    value
        The p-value.
    """
    if value < 0.001:
        return figures("p < 0.001")
    return figures(f"p = {value:.3f}" if value < 0.1 else f"p = {value:.2f}")


def zero_variances(names: Sequence[str]) -> str:
    """Say what variances estimated at zero mean; empty where there are none.

    Parameters
    ----------
    names
        Random terms whose variance is zero.
    """
    if not names:
        return ""
    return say(
        "The variance of {terms} came out as zero. That is an answer, not a fault: strips show no "
        "difference of that kind beyond what the rest explains.",
        terms=listed([term(name) for name in names]),
    )


def replication(by_treatment: Mapping[str, int]) -> str:
    """Say how many strips each treatment had.

    Parameters
    ----------
    by_treatment
        Strips with a yield, by treatment.
    """
    each = [
        say("{count} of {treatment}", count=count, treatment=name)
        for name, count in by_treatment.items()
    ]
    return say("Strips with a yield: {counts}.", counts=listed(each))
