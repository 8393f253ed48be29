"""Words for several seasons taken together: sentences, captions, headings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.language import marked, say, say_counted
from trialkit.report.numbers import level, signed_t_ha

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.models import Pooled
    from trialkit.money import Payoff

ALONE = marked(
    "This report is of one season. To have earlier ones taken together with it, name their "
    "folders: trialkit report FOLDER --earlier OTHER."
)
TITLE = marked("Across seasons")
ALL, NEXT = marked("All seasons"), marked("One more season")
GAIN_AXIS = marked("Gain over {control}, t/ha")
NET_AXIS = marked("Net gain, {currency} a hectare")
PAYS = marked("pays")

SEASONS_TITLE = marked("Season by season")
SO_FAR_TITLE = marked("The answer as the seasons came in")
WITHOUT_TITLE = marked("All seasons but one: does the answer hang on it?")
FROST_TITLE = marked("Seasons with frost and without")
FROST_NOTE = marked(
    "Seasons differ in more than frost. That the dressing did more where it froze is a hint; "
    "strips on low and high ground in one season are the better test."
)
NEXT_TITLE = marked("What next")
NOTES_TITLE = marked("To keep in mind")
#: Whether frost hurt the crop of a season.
FROST_WORDS = {True: marked("yes"), False: marked("no"), None: ""}

HEADINGS = {
    "label": marked("Season"),
    "left_out": marked("Left out"),
    "frost": marked("Frost"),
    "what": marked("Seasons"),
    "seasons": marked("Seasons so far"),
    "number": marked("Number"),
    "gain_t_ha": marked("Gain, t/ha"),
    "estimate": marked("Gain, t/ha"),
    "low": marked("Low"),
    "high": marked("High"),
    "low_t_ha": marked("Low"),
    "high_t_ha": marked("High"),
    "std_error_t_ha": marked("Standard error, t/ha"),
    "std_error": marked("Standard error, t/ha"),
    "weight_pct": marked("Weight, %"),
    "net_per_ha": marked("Net, {currency}/ha"),
    "chance_paid": marked("Chance it pays"),
    "verdict": marked("Verdict"),
    "p": marked("p"),
}

CAUTION = marked(
    "Statistics and budgets are no financial advice. Prices and costs are those of the last "
    "season; another price changes what pays."
)


def headline(treatment: str, mean_pays: Payoff, seasons: int) -> str:
    """Say in a few words what the seasons together say."""
    if mean_pays.verdict == "paid":
        return say_counted(
            "{count} season: {treatment} pays on average.",
            "{count} seasons: {treatment} pays on average.",
            seasons,
            treatment=treatment,
        )
    if mean_pays.verdict == "did not pay":
        return say_counted(
            "{count} season: {treatment} does not pay on average.",
            "{count} seasons: {treatment} does not pay on average.",
            seasons,
            treatment=treatment,
        )
    return say_counted(
        "{count} season: whether {treatment} pays is not settled.",
        "{count} seasons: whether {treatment} pays is not settled.",
        seasons,
        treatment=treatment,
    )


def mean_sentence(gain: Pooled, mean_pays: Payoff, control: str) -> str:
    """Say what the mean gain is, and whether it pays."""
    return say(
        "The mean gain over {control} is {gain} t/ha ({level} interval {low} to {high}). The "
        "dressing pays from {break_even:.3f} t/ha; the chance that the mean gain is larger is "
        "{chance:.0%}.",
        control=control,
        gain=signed_t_ha(gain.estimate, 2),
        level=level(gain.confidence),
        low=signed_t_ha(gain.low, 2),
        high=signed_t_ha(gain.high, 2),
        break_even=mean_pays.break_even_t_ha,
        chance=mean_pays.chance_paid,
    )


def next_sentence(gain: Pooled, next_season: Payoff) -> str:
    """Say what one more season may bring."""
    return say(
        "One more such season may bring a gain between {low} and {high} t/ha; the chance that it "
        "pays is {chance:.0%}.",
        low=signed_t_ha(gain.next_low, 2),
        high=signed_t_ha(gain.next_high, 2),
        chance=next_season.chance_paid,
    )


def few_sentence(seasons: int) -> str:
    """Say why few seasons tell so little; empty where there are enough."""
    if seasons > 4:
        return ""
    return say_counted(
        "{count} season hardly tells how much seasons differ, so the interval is wide. That is "
        "no fault of the trials: it takes about five seasons to know.",
        "{count} seasons hardly tell how much seasons differ, so the interval is wide. That is "
        "no fault of the trials: it takes about five seasons to know.",
        seasons,
    )


def forest_words(table: DataFrame, gain: Pooled, unit: str, center: str) -> str:
    """Describe the picture of seasons: each with its interval, then all together."""
    low, high = {"gain_t_ha": ("low_t_ha", "high_t_ha"), "net_per_ha": ("net_low", "net_high")}[
        center
    ]
    each = "; ".join(
        say(
            "{season}: {middle:.2f} ({low:.2f} to {high:.2f})",
            season=label,
            middle=middle,
            low=left,
            high=right,
        )
        for label, middle, left, right in table[["label", center, low, high]].itertuples(
            index=False
        )
    )
    return say(
        "{each}. All seasons: {middle:.2f} ({low:.2f} to {high:.2f}). One more season: "
        "{next_low:.2f} to {next_high:.2f}. In {unit}.",
        each=each,
        middle=gain.estimate,
        low=gain.low,
        high=gain.high,
        next_low=gain.next_low,
        next_high=gain.next_high,
        unit=unit,
    )


def forest_caption(cut: bool) -> str:
    """Say how to read the picture of seasons."""
    words = say(
        "Lines are intervals; larger points weigh more. The last line is where the true value of "
        "one more such season may lie."
    )
    arrow = say("An arrow goes on beyond the picture.")
    return f"{words} {arrow}" if cut else words
