"""Words for several seasons taken together: sentences, captions, headings."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.report.numbers import level, signed_t_ha

if TYPE_CHECKING:
    from pandas import DataFrame

    from trialkit.models import Pooled
    from trialkit.money import Payoff

TITLE = "Across seasons"
ALL, NEXT = "All seasons", "One more season"
GAIN_AXIS = "Gain over {control}, t/ha"
NET_AXIS = "Net gain, {currency} a hectare"

SEASONS_TITLE = "Season by season"
SO_FAR_TITLE = "The answer as the seasons came in"
WITHOUT_TITLE = "All seasons but one: does the answer hang on it?"
FROST_TITLE = "Seasons with frost and without"
FROST_NOTE = (
    "Seasons differ in more than frost. That the dressing did more where it froze is a hint; "
    "strips on low and high ground in one season are the better test."
)
NEXT_TITLE = "What next"
NOTES_TITLE = "To keep in mind"

HEADINGS = {
    "label": "Season",
    "left_out": "Left out",
    "frost": "Frost",
    "what": "Seasons",
    "seasons": "Seasons so far",
    "number": "Number",
    "gain_t_ha": "Gain, t/ha",
    "estimate": "Gain, t/ha",
    "low": "Low",
    "high": "High",
    "low_t_ha": "Low",
    "high_t_ha": "High",
    "std_error_t_ha": "Standard error, t/ha",
    "std_error": "Standard error, t/ha",
    "weight_pct": "Weight, %",
    "net_per_ha": "Net, {currency}/ha",
    "chance_paid": "Chance it pays",
    "verdict": "Verdict",
    "p": "p",
}

CAUTION = (
    "Statistics and budgets are no financial advice. Prices and costs are those of the last "
    "season; another price changes what pays."
)


def headline(treatment: str, mean_pays: Payoff, seasons: int) -> str:
    """Say in a few words what the seasons together say."""
    answer = {
        "paid": f"{treatment} pays on average",
        "did not pay": f"{treatment} does not pay on average",
        "not settled": f"whether {treatment} pays is not settled",
    }[mean_pays.verdict]
    return f"{seasons} seasons: {answer}."


def mean_sentence(gain: Pooled, mean_pays: Payoff, control: str) -> str:
    """Say what the mean gain is, and whether it pays."""
    return (
        f"The mean gain over {control} is {signed_t_ha(gain.estimate, 2)} t/ha "
        f"({level(gain.confidence)} interval {signed_t_ha(gain.low, 2)} to "
        f"{signed_t_ha(gain.high, 2)}). The dressing pays from "
        f"{mean_pays.break_even_t_ha:.3f} t/ha; the chance that the mean gain is larger is "
        f"{mean_pays.chance_paid:.0%}."
    )


def next_sentence(gain: Pooled, next_season: Payoff) -> str:
    """Say what one more season may bring."""
    return (
        f"One more such season may bring a gain between {signed_t_ha(gain.next_low, 2)} and "
        f"{signed_t_ha(gain.next_high, 2)} t/ha; the chance that it pays is "
        f"{next_season.chance_paid:.0%}."
    )


def few_sentence(seasons: int) -> str:
    """Say why few seasons tell so little; empty where there are enough."""
    if seasons > 4:
        return ""
    return (
        f"{seasons} seasons hardly tell how much seasons differ, so the interval is wide. That is "
        "no fault of the trials: it takes about five seasons to know."
    )


def forest_words(table: DataFrame, gain: Pooled, unit: str, center: str) -> str:
    """Describe the picture of seasons: each with its interval, then all together."""
    low, high = {"gain_t_ha": ("low_t_ha", "high_t_ha"), "net_per_ha": ("net_low", "net_high")}[
        center
    ]
    each = "; ".join(
        f"{label}: {middle:.2f} ({left:.2f} to {right:.2f})"
        for label, middle, left, right in table[["label", center, low, high]].itertuples(
            index=False
        )
    )
    return (
        f"{each}. {ALL}: {gain.estimate:.2f} ({gain.low:.2f} to {gain.high:.2f}). {NEXT}: "
        f"{gain.next_low:.2f} to {gain.next_high:.2f}. In {unit}."
    )


def forest_caption(cut: bool) -> str:
    """Say how to read the picture of seasons."""
    words = (
        "Lines are intervals; larger points weigh more. The last line is where the true value of "
        "one more such season may lie."
    )
    return f"{words} An arrow goes on beyond the picture." if cut else words
