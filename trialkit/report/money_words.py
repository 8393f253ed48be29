"""Words on money: what next, the risk, which treatment, and what stands on the pictures of it.

Amounts for a whole farm are rounded to two digits: more would claim a sureness that is not there.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trialkit.report.numbers import amount, amounts, in_hundred, level, listed, number, price

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pandas import DataFrame

    from trialkit.money import NextStep, Ranking, Risk

CAUTION = (
    "This is arithmetic on what the strips showed and on the prices and costs given. It is no "
    "financial advice: what the farm can risk, and what the season ahead holds, you know better."
)
NO_PRIOR = (
    "Before this trial any gain was held for as likely as any other. So a large gain from few "
    "strips counts in full here; it deserves some doubt."
)
FROM_EARLIER = "What earlier seasons showed was weighed with this trial, each by how sure it is."
SEASONS_NOT_KNOWN = (
    "One trial does not show how the gain differs between seasons. It was taken as the same in "
    "all; if it is not, the ranges are too narrow and one more season settles less than this says."
)
SEASONS_ALIKE = ", as long as other seasons are like this one"
SEASONS_KNOWN = "How the gain differs between seasons was taken into account."
#: What holds for every treatment alike.
FOR_ALL = (FROM_EARLIER, NO_PRIOR, SEASONS_KNOWN, SEASONS_NOT_KNOWN, CAUTION)

PAID_ZONE, OPEN_ZONE, NOT_PAID_ZONE = "paid", "not settled", "did not pay"
BREAK_EVEN_CAPTION = (
    "Line: the cost that the gain just covers. Dot: your price and cost, with the range of prices "
    "where you gave one."
)
#: The keys that it takes to say what next, in words.
KEY_WORDS = {
    "area_ha": "where the dressing would be used, ha",
    "seasons": "for how many seasons",
    "labour_per_h": "what an hour of trialling is worth",
}
PAIRS_AXIS = "Pairs of strips next season"
BRINGS, COSTS = "expected to bring", "costs"


def about(value: float, digits: int = 2) -> str:
    """Return an amount rounded to a few digits, with commas and a true minus."""
    if not value:
        return "0"
    value = float(f"{value:.{digits - 1}e}")
    return number(value, max(digits - 1 - math.floor(math.log10(abs(value))), 0))


def cost_axis(currency: str) -> str:
    """Return the words for the axis of costs."""
    return f"Cost of the dressing, {currency} a hectare"


def money_axis(currency: str) -> str:
    """Return the words for the axis of money."""
    return f"{currency}, whole farm"


def next_step_headline(step: NextStep, treatment: str) -> str:
    """Answer 'what next?' in one sentence.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    treatment
        Name of the dressing.
    """
    if step.answer == "test again":
        return f"Test {treatment} again: {step.pairs} pairs of strips next season."
    # One season cannot say that the next is like it, and a sure answer rests on that.
    trust = "" if step.seasons_known else SEASONS_ALIKE
    if step.answer == "use it":
        return f"Use {treatment}: another trial is not worth its cost{trust}."
    return f"Stop: leave {treatment} out. Another trial is not worth its cost{trust}."


def next_step_sentences(step: NextStep, treatment: str, currency: str) -> tuple[str, ...]:
    """Say what to do next, the sum behind it, what it rests on, and the caution.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    treatment
        Name of the dressing.
    currency
        Code of the money, such as `AUD`.
    """
    return tuple(
        sentence
        for sentence in (
            next_step_headline(step, treatment),
            _trial_sum(step, currency),
            _meanwhile(step),
            _farm(step, currency),
            FROM_EARLIER if step.prior == "earlier seasons" else NO_PRIOR,
            SEASONS_KNOWN if step.seasons_known else SEASONS_NOT_KNOWN,
            CAUTION,
        )
        if sentence
    )


def next_step_in_short(step: NextStep, treatment: str, currency: str) -> str:
    """Return the answer and its sum as one line, for the first page.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    treatment
        Name of the dressing.
    currency
        Code of the money, such as `AUD`.
    """
    headline = next_step_headline(step, treatment)
    if not step.pairs or step.seasons < 2:
        return headline
    trial = "It" if step.answer == "test again" else f"A trial of {step.pairs} pairs"
    return (
        f"{headline} {trial} costs about {about(step.trial_cost)} {currency} and can be expected "
        f"to bring about {about(step.trial_benefit)} {currency} on {price(step.area_ha)} ha."
    )


def next_steps_in_short(told: Sequence[tuple[str, NextStep]]) -> list[str]:
    """Return the answers for several treatments, those alike in one sentence, for the first page.

    Parameters
    ----------
    told
        Name of each dressing, and its step from `trialkit.money.next_step`.
    """
    trust = "" if all(step.seasons_known for _, step in told) else SEASONS_ALIKE

    def names(answer: str) -> str:
        return listed([name for name, step in told if step.answer == answer])

    again = [f"{name} ({step.pairs} pairs)" for name, step in told if step.answer == "test again"]
    sentences = (
        f"Use {names('use it')}{trust}." if names("use it") else "",
        f"Test again next season: {listed(again)}." if again else "",
        f"Stop, leave out: {names('stop')}{trust}." if names("stop") else "",
    )
    return [sentence for sentence in sentences if sentence]


def keys_wanted(missing: Sequence[str]) -> str:
    """Say what it takes to tell what next.

    Parameters
    ----------
    missing
        Keys of `[money]` in `trial.toml` that are not given.
    """
    named = [f"{key} ({KEY_WORDS[key]})" for key in missing]
    return (
        "Whether to use it, stop or test again depends on the farm, too. To have that worked out, "
        f"give {listed(named)} under [money] in trial.toml."
    )


def _trial_sum(step: NextStep, currency: str) -> str:
    if not step.pairs:
        return f"On {price(step.area_ha)} ha there is no room for a trial that could tell."
    later = step.seasons - 1
    if not later:
        return "With one season to go, a trial would teach too late to be of use."
    seasons = "the season after it" if later == 1 else f"the {later} seasons after it"
    asked = "That" if step.answer == "test again" else f"A trial of {step.pairs} pairs"
    return (
        f"{asked} costs about {about(step.trial_cost)} {currency} in time and in strips sown the "
        f"worse way, and can be expected to bring about {about(step.trial_benefit)} {currency} "
        f"over {seasons} on {price(step.area_ha)} ha: the chance that it turns your choice round "
        f"is {in_hundred(step.chance_of_turning)}. To know the gain for certain would be worth "
        f"about {about(step.value_of_knowing)} {currency}."
    )


def _meanwhile(step: NextStep) -> str:
    if step.answer != "test again":
        return ""
    if step.use_meanwhile:
        return "Until then use it on the rest of the ground: it is expected to pay."
    return "Until then leave it off the rest of the ground: it is not expected to pay."


def _farm(step: NextStep, currency: str) -> str:
    return (
        f"Used on {price(step.area_ha)} ha it is expected to bring about {about(step.farm_net)} "
        f"{currency} a season, plausibly {about(step.farm_low)} to {about(step.farm_high)} "
        f"({level(step.confidence)} interval); the chance that it pays is "
        f"{in_hundred(step.chance_paid)}."
    )


def risk_sentences(risk: Risk, currency: str) -> tuple[str, ...]:
    """Say how likely a loss is, and what the worst of some seasons may bring.

    Parameters
    ----------
    risk
        From `trialkit.money.season_risk`.
    currency
        Code of the money.
    """
    loss = (
        f"loses more than {amount(risk.lose_more_than)} {currency}/ha"
        if risk.lose_more_than
        else "loses money"
    )
    chance = f"The chance that it {loss} on average is {in_hundred(risk.chance_of_loss)}"
    if risk.worst_season is None or risk.season_chance_of_loss is None:
        return (
            f"{chance}.",
            f"What the worst of {risk.seasons} seasons would bring is not known from one trial: "
            "it takes trials in several seasons to see how they differ.",
        )
    worst, low = amounts(risk.worst_season, risk.worst_season_low or 0.0)
    return (
        f"{chance}; that it does in a coming season, {in_hundred(risk.season_chance_of_loss)}.",
        f"In the worst of {risk.seasons} seasons it brings {worst} {currency}/ha, as likely less "
        f"as more, and less than {low} {currency}/ha in one such run in ten.",
    )


def ranking_sentence(ranking: Ranking, currency: str) -> str:
    """Say which treatment looks best, and how sure that is.

    Parameters
    ----------
    ranking
        From `trialkit.money.rank_treatments`.
    currency
        Code of the money.
    """
    rows = ranking.table
    control = str(rows["treatment"].iloc[0])
    best = rows[rows["treatment"] == ranking.best].iloc[0]
    sure = f"the chance that it truly is the best is {in_hundred(ranking.chance_best)}"
    if ranking.best == control:
        return f"None is expected to pay: {control} looks best, and {sure}."
    net = amount(float(best["net_per_ha"]))
    text = f"{ranking.best} looks best, with {net} {currency}/ha over {control}; {sure}"
    others = rows[rows["treatment"] != ranking.best].sort_values("chance_best", kind="stable")
    second = others.iloc[-1]
    return f"{text}, for {second['treatment']} it is {in_hundred(float(second['chance_best']))}."


def break_even_words(
    curve: DataFrame, price_per_t: float, cost_per_ha: float, currency: str
) -> str:
    """Describe the picture of prices and costs.

    Parameters
    ----------
    curve
        From `trialkit.money.break_even_curve`.
    price_per_t, cost_per_ha
        Price of grain and cost of the dressing, where the dot is.
    currency
        Code of the money.
    """
    columns = ["price_per_t", "paid_below", "even_at", "did_not_pay_above"]
    ends = curve.sort_values("price_per_t")[columns].to_numpy(dtype=float)[[0, -1]]
    each = [
        f"at {price(round(at))} {currency}/t {_zone_words(paid, even, not_paid)}"
        for at, paid, even, not_paid in ends.tolist()
    ]
    return (
        f"Where the dressing pays, by the price of grain and its cost in {currency}/ha: "
        f"{'; '.join(each)}. Your price is {price(price_per_t)}, your cost {price(cost_per_ha)}."
    )


def _zone_words(paid: float, even: float, not_paid: float) -> str:
    if not_paid <= 0:
        return "it did not pay at any cost"
    sure, level_at, open_to = amounts(max(paid, 0.0), max(even, 0.0), not_paid)
    parts = [f"paid up to {sure}"] if paid > 0 else []
    parts.append(f"not settled up to {open_to}" + (f", even at {level_at}" if even > 0 else ""))
    return ", ".join(parts)


def next_step_words(step: NextStep, currency: str) -> str:
    """Describe the picture of what a trial costs and brings.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    currency
        Code of the money.
    """
    columns = ["pairs", "cost", "benefit"]
    ends = step.table[columns].to_numpy(dtype=float)[[0, -1][: len(step.table)]]
    each = [
        f"{pairs:.0f} pairs cost {about(cost)} and bring {about(benefit)}"
        for pairs, cost, benefit in ends.tolist()
    ]
    worth = (
        f"Marked: {step.pairs} pairs."
        if step.answer == "test again"
        else "No trial brings what it costs."
    )
    return f"What one more trial costs and can be expected to bring, {currency}: " + (
        f"{'; '.join(each)}. {worth}"
    )


def next_step_caption(step: NextStep, currency: str) -> str:
    """Say how to read the picture of what a trial costs and brings.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    currency
        Code of the money.
    """
    worth = (
        f"To know for certain would be worth about {about(step.value_of_knowing)} {currency} over "
        f"{step.seasons} seasons."
    )
    marked = (
        "Marked: the fewest pairs that bring nine tenths of what the best number would. "
        if step.answer == "test again"
        else ""
    )
    return f"Brought by the seasons after it, on {price(step.area_ha)} ha. {marked}{worth}"


def marked_pairs(step: NextStep) -> str:
    """Return the words beside the trial that is marked."""
    return f"{step.pairs} pairs" if step.answer == "test again" else ""
