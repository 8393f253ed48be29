"""What to keep in mind of several seasons taken together."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from trialkit.language import say, say_counted
from trialkit.report.numbers import listed
from trialkit.season_answers import SeasonAnswer


def season_notes(answers: Sequence[SeasonAnswer], pooled: Collection[tuple[str, str]]) -> list[str]:
    """Say what to keep in mind of several seasons.

    Parameters
    ----------
    answers
        The folders' answers.
    pooled
        Treatments and their controls that are in two of them or more.
    """
    notes = [
        say("{season}: {note}", season=answer.label, note=note)
        for answer in answers
        for note in answer.notes
    ]
    if len({answer.summary.currency for answer in answers}) > 1:
        notes.append(
            say(
                "The seasons were counted in several currencies, so only gains are pooled, not "
                "money."
            )
        )
    counted = [answer for answer in answers if _in_any(answer, pooled)]
    if graded := [answer.label for answer in counted if answer.by_grade]:
        notes.append(
            say(
                "The grain was sold by grade in {seasons}. Net money of a season counts it; "
                "whether the mean gain pays is judged by the yield alone.",
                seasons=listed(graded),
            )
        )
    if alone := [answer.label for answer in answers if answer not in counted]:
        notes.append(
            say(
                "Not pooled, since no other folder has its treatments against the same control: "
                "{seasons}.",
                seasons=listed(alone),
            )
        )
    described: dict[str, set[str]] = {}
    for answer in answers:
        for treatment in answer.config.treatments:
            described.setdefault(treatment.name, set()).add(treatment.description)
    notes += [
        say_counted(
            "'{name}' is described in {count} way. Pool the seasons only if it was the same "
            "product at the same rate.",
            "'{name}' is described in {count} ways. Pool the seasons only if it was the same "
            "product at the same rate.",
            len(words),
            name=name,
        )
        for name, words in described.items()
        if len(words) > 1
    ]
    if any(answer.config.trial.frost is None for answer in answers):
        notes.append(
            say(
                "Not every folder says whether frost hurt the crop, so seasons with and without "
                "frost are not set apart. Say so under [trial]: frost = true or false."
            )
        )
    if any(answer.config.trial.invented for answer in answers):
        notes.append(say("At least one of these trials is invented."))
    return notes


def _in_any(answer: SeasonAnswer, pooled: Collection[tuple[str, str]]) -> bool:
    return any((one.treatment, one.control) in pooled for one in answer.summary.comparisons)
