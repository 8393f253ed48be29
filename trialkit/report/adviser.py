"""Sentences for the adviser: whether methods agree, and whether one strip decides."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from trialkit.report.numbers import in_hundred, listed, signed_range, signed_t_ha

if TYPE_CHECKING:
    from pandas import DataFrame, Series

    from trialkit.result import Comparison, CrossCheck

NO_SCREENING = "The strip yields come from scale weights, so no records were screened for them."
TOO_FEW_TO_LOOK = (
    "Too few strips are left over from treatments and blocks to judge one of them by the others."
)


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
        return f"{comparison.treatment}: no other method could be tried."
    doubts = [_apart(comparison, check, 1 - confidence) for check in about]
    if not any(doubts):
        return (
            f"{comparison.treatment}: the methods agree. Every other estimate lies inside the main "
            "interval, and all answer alike whether there is a difference at all."
        )
    return (
        f"{comparison.treatment}: the methods do not fully agree. "
        f"{' '.join(doubt for doubt in doubts if doubt)} The main analysis is the same for "
        "every trial and stands; find out why they differ before you act on it."
    )


def _apart(comparison: Comparison, check: CrossCheck, alpha: float) -> str:
    low, high = comparison.low_t_ha, comparison.high_t_ha
    if not low <= check.gain_t_ha <= high:
        return (
            f"The {check.method} put the gain at {signed_t_ha(check.gain_t_ha)} t/ha, outside the "
            f"main interval of {signed_range(low, high)}."
        )
    if check.p_value is None or (comparison.p_value < alpha) == (check.p_value < alpha):
        return ""
    found = "found" if check.p_value < alpha else "did not find"
    return (
        f"The {check.method} {found} a difference beyond what chance gives "
        f"({p_value(check.p_value)}; main analysis {p_value(comparison.p_value)}). {check.note}"
    ).strip()


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
        return f"{comparison.treatment}: without any one of its strips nothing is left to judge by."
    gains, chances = rows["gain_t_ha"], rows["chance_paid"]
    least, most = in_hundred(chances.min()), in_hundred(chances.max())
    start = (
        f"{comparison.treatment}: leaving out one strip at a time, the gain lies within "
        f"{signed_range(gains.min(), gains.max())} t/ha and the chance it paid "
        f"{f'is {least}' if least == most else f'goes from {least} to {most}'}"
    )
    turned = rows[rows["verdict"] != comparison.verdict]
    if turned.empty:
        return f"{start}; the verdict stays the same."
    instead = [
        f"without {_either(part['left_out'].astype(str).tolist())} it would be '{verdict}'"
        for verdict, part in turned.groupby("verdict", sort=False)
    ]
    return f"{start}. The verdict hangs on single strips: {'; '.join(instead)}."


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
    start = (
        f"{comparison.treatment}: from light to hard screening the gain lies within "
        f"{signed_range(gains.min(), gains.max())} t/ha"
    )
    if set(rows["verdict"]) == {comparison.verdict}:
        return f"{start} and the verdict stays the same: it does not hang on the records left out."
    each = [
        f"{level}: {f'{verdict!r}' if verdict else 'no answer'}"
        for level, verdict in zip(rows["level"], rows["verdict"], strict=True)
    ]
    return f"{start}. The verdict hangs on which records are left out: {'; '.join(each)}."


def _either(names: Sequence[str]) -> str:
    """Return names as a choice: `a`, `a or b`, `a, b or c`."""
    return f"{', '.join(names[:-1])} or {names[-1]}" if len(names) > 1 else names[0]


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
    first = (
        f"With {len(alone)} treatments against {control}, one may look different by luck more "
        f"easily than with one. The intervals together allow for that: of many trials like this "
        f"one, about {in_hundred(confidence)} have all {len(alone)} right."
    )
    lost = [
        str(name)
        for name in alone.index
        if _apart_from_zero(alone.loc[name]) and not _apart_from_zero(together.loc[name])
    ]
    if not lost:
        return f"{first} Here they change no answer."
    verb = "differs" if len(lost) == 1 else "differ"
    return (
        f"{first} By itself {listed(lost)} {verb} from {control} beyond chance; with all taken "
        "together that is not so sure."
    )


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
        return "p < 0.001"
    return f"p = {value:.3f}" if value < 0.1 else f"p = {value:.2f}"


def zero_variances(names: Sequence[str]) -> str:
    """Say what variances estimated at zero mean; empty where there are none.

    Parameters
    ----------
    names
        Random terms whose variance is zero.
    """
    if not names:
        return ""
    return (
        f"The variance of {listed(names)} came out as zero. That is an answer, not a fault: strips "
        "show no difference of that kind beyond what the rest explains."
    )


def replication(by_treatment: Mapping[str, int]) -> str:
    """Say how many strips each treatment had.

    Parameters
    ----------
    by_treatment
        Strips with a yield, by treatment.
    """
    each = [f"{count} of {name}" for name, count in by_treatment.items()]
    return f"Strips with a yield: {listed(each)}."
