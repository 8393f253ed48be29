"""Words on grain quality: what was measured, which grade it makes, and what that is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.language import marked, say
from trialkit.report.money_words import about
from trialkit.report.numbers import amount, number

if TYPE_CHECKING:
    from trialkit.money import NextStep, PriceGain

TITLE = marked("Quality of the grain")
SAME_MODEL = marked(
    "Measured by strip, and compared as the yields are: the strip is the unit, treatments are held "
    "against each other inside blocks."
)
NO_GRADES = marked(
    "Quality counts for no money here: trial.toml gives no grades. Where the buyer pays by grade, "
    "give each under [[money.grades]] with its price and limits."
)
HOW_GRADED = marked(
    "The chance of a grade is that the grain of the whole paddock, had all of it been treated so, "
    "makes it on average. The measures are taken as independent of each other. Loads that are "
    "graded one by one can come out otherwise."
)
QUALITY_CAPTION = marked("Quality of each treatment's grain by the main model")
CHANCES_CAPTION = marked("Chance of each grade, and what a tonne of it leaves")
WORTH_CAPTION = marked("What the grade is expected to be worth")
HEADINGS = {
    "measure": marked("Measure"),
    "treatment": marked("Treatment"),
    "strips": marked("Strips"),
    "mean": marked("Mean"),
    "std_error": marked("Std. error"),
    "difference": marked("Over the control"),
    "low": marked("Low"),
    "high": marked("High"),
    "p": marked("p"),
    "grade": marked("Grade"),
    "price_per_t": marked("Leaves, {currency}/t"),
    "chance": marked("Chance"),
    "expected_per_t": marked("Expected, {currency}/t"),
    "gain_per_t": marked("Over the control, {currency}/t"),
    "spread_per_t": marked("Give or take, {currency}/t"),
    "gain_per_ha": marked("On the control's yield, {currency}/ha"),
}


def grade_to_learn(step: NextStep, currency: str) -> str:
    """Say what tests of the grain could teach beside the gain; empty where nothing is to learn.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    currency
        Code of the money.
    """
    worth = about(step.value_of_grade)
    if step.value_of_grade < 0.5:
        return ""
    said = say(
        "That weighs one more trial for what it teaches of the yield alone. Tests of the grain "
        "would teach of the grade, too: to know that for certain as well would be worth up to "
        "about {worth} {currency} more.",
        worth=worth,
        currency=currency,
    )
    later = step.value_of_grade * (step.seasons - 1) / step.seasons
    if step.answer == "test again" or later <= step.trial_cost:
        return said
    hangs = say(
        "So the answer hangs on the grade more than on the yield: test the grain of more loads, "
        "with the dressing and without, before you rely on it."
    )
    return f"{said} {hangs}"


def through_grade(treatment: str, control: str, gain: PriceGain, currency: str) -> str:
    """Say what a treatment's grade is expected to be worth.

    Parameters
    ----------
    treatment, control
        Names.
    gain
        Price difference through grade.
    currency
        Code of the money.
    """
    given = {
        "treatment": treatment,
        "control": control,
        "per_t": number(abs(gain.per_t), 2),
        "currency": currency,
        "yield_t_ha": number(gain.control_yield_t_ha, 2),
        "per_ha": amount(abs(gain.through_grade_per_ha)),
    }
    if abs(gain.per_t) < 0.005:
        return say(
            "The grain of {treatment} is expected to fetch as much a tonne as that of {control}.",
            **given,
        )
    if gain.per_t > 0:
        return say(
            "By its grade the grain of {treatment} is expected to fetch {per_t} {currency}/t more "
            "than that of {control}: on {yield_t_ha} t/ha that is {per_ha} {currency}/ha, whatever "
            "the gain.",
            **given,
        )
    return say(
        "By its grade the grain of {treatment} is expected to fetch {per_t} {currency}/t less than "
        "that of {control}: on {yield_t_ha} t/ha that costs {per_ha} {currency}/ha, whatever the "
        "gain.",
        **given,
    )
