"""Words on money: what next, the risk, and which treatment.

Amounts for a whole farm are rounded to two digits: more would claim a sureness that is not there.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trialkit.language import marked, say, say_counted
from trialkit.report.numbers import amount, amounts, in_hundred, level, listed, number, price

if TYPE_CHECKING:
    from collections.abc import Sequence

    from trialkit.money import NextStep, Ranking, Risk

CAUTION = marked(
    "This is arithmetic on what the strips showed and on the prices and costs given. It is no "
    "financial advice: what the farm can risk, and what the season ahead holds, you know better."
)
NO_PRIOR = marked(
    "Before this trial any gain was held for as likely as any other. So a large gain from few "
    "strips counts in full here; it deserves some doubt."
)
FROM_EARLIER = marked(
    "What earlier seasons showed was weighed with this trial, each by how sure it is."
)
SEASONS_NOT_KNOWN = marked(
    "One trial does not show how the gain differs between seasons. It was taken as the same in "
    "all; if it is not, the ranges are too narrow and one more season settles less than this says."
)
SEASONS_KNOWN = marked("How the gain differs between seasons was taken into account.")

#: The keys that it takes to say what next, in words.
KEY_WORDS = {
    "area_ha": marked("where the dressing would be used, ha"),
    "seasons": marked("for how many seasons"),
    "labour_per_h": marked("what an hour of trialling is worth"),
}


def about(value: float, digits: int = 2) -> str:
    """Return an amount rounded to a few digits, with commas and a true minus."""
    if not value:
        return "0"
    value = float(f"{value:.{digits - 1}e}")
    return number(value, max(digits - 1 - math.floor(math.log10(abs(value))), 0))


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
        return say_counted(
            "Test {treatment} again: {count} pair of strips next season.",
            "Test {treatment} again: {count} pairs of strips next season.",
            step.pairs,
            treatment=treatment,
        )
    # One season cannot say that the next is like it, and a sure answer rests on that.
    sure = step.seasons_known
    if step.answer == "use it" and sure:
        words = marked("Use {treatment}: another trial is not worth its cost.")
    elif step.answer == "use it":
        words = marked(
            "Use {treatment}: another trial is not worth its cost, as long as other seasons are "
            "like this one."
        )
    elif sure:
        words = marked("Stop: leave {treatment} out. Another trial is not worth its cost.")
    else:
        words = marked(
            "Stop: leave {treatment} out. Another trial is not worth its cost, as long as other "
            "seasons are like this one."
        )
    return say(words, treatment=treatment)


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
    return (*next_step_reasons(step, treatment, currency), *next_step_provisos(step))


def next_step_reasons(step: NextStep, treatment: str, currency: str) -> tuple[str, ...]:
    """Say what to do next and the sum behind it.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    treatment
        Name of the dressing.
    currency
        Code of the money, such as `AUD`.
    """
    sentences = (
        next_step_headline(step, treatment),
        _trial_sum(step, currency),
        _meanwhile(step),
        _farm(step, currency),
    )
    return tuple(sentence for sentence in sentences if sentence)


def next_step_provisos(step: NextStep) -> tuple[str, ...]:
    """Say what the sum rests on, and the caution: the same for every treatment.

    Parameters
    ----------
    step
        From `trialkit.money.next_step`.
    """
    prior = FROM_EARLIER if step.prior == "earlier seasons" else NO_PRIOR
    seasons = SEASONS_KNOWN if step.seasons_known else SEASONS_NOT_KNOWN
    return say(prior), say(seasons), say(CAUTION)


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
    money = {
        "cost": about(step.trial_cost),
        "benefit": about(step.trial_benefit),
        "currency": currency,
        "area": price(step.area_ha),
    }
    if step.answer == "test again":
        told = say(
            "It costs about {cost} {currency} and can be expected to bring about {benefit} "
            "{currency} on {area} ha.",
            **money,
        )
    else:
        told = say_counted(
            "A trial of {count} pair costs about {cost} {currency} and can be expected to bring "
            "about {benefit} {currency} on {area} ha.",
            "A trial of {count} pairs costs about {cost} {currency} and can be expected to bring "
            "about {benefit} {currency} on {area} ha.",
            step.pairs,
            **money,
        )
    return f"{headline} {told}"


def next_steps_in_short(told: Sequence[tuple[str, NextStep]]) -> list[str]:
    """Return the answers for several treatments, those alike in one sentence, for the first page.

    Parameters
    ----------
    told
        Name of each dressing, and its step from `trialkit.money.next_step`.
    """
    sure = all(step.seasons_known for _, step in told)

    def names(answer: str) -> str:
        return listed([name for name, step in told if step.answer == answer])

    use, stop = names("use it"), names("stop")
    again = [
        say_counted("{name} ({count} pair)", "{name} ({count} pairs)", step.pairs, name=name)
        for name, step in told
        if step.answer == "test again"
    ]
    if sure:
        using, stopping = marked("Use {names}."), marked("Stop, leave out: {names}.")
    else:
        using = marked("Use {names}, as long as other seasons are like this one.")
        stopping = marked("Stop, leave out: {names}, as long as other seasons are like this one.")
    sentences = (
        say(using, names=use) if use else "",
        say("Test again next season: {names}.", names=listed(again)) if again else "",
        say(stopping, names=stop) if stop else "",
    )
    return [sentence for sentence in sentences if sentence]


def keys_wanted(missing: Sequence[str]) -> str:
    """Say what it takes to tell what next.

    Parameters
    ----------
    missing
        Keys of `[money]` in `trial.toml` that are not given.
    """
    named = [f"{key} ({say(KEY_WORDS[key])})" for key in missing]
    return say(
        "Whether to use it, stop or test again depends on the farm, too. To have that worked out, "
        "give {keys} under [money] in trial.toml.",
        keys=listed(named),
    )


def _trial_sum(step: NextStep, currency: str) -> str:
    if not step.pairs:
        return say(
            "On {area} ha there is no room for a trial that could tell.", area=price(step.area_ha)
        )
    later = step.seasons - 1
    if not later:
        return say("With one season to go, a trial would teach too late to be of use.")
    given = {
        "cost": about(step.trial_cost),
        "benefit": about(step.trial_benefit),
        "currency": currency,
        "area": price(step.area_ha),
        "chance": in_hundred(step.chance_of_turning),
    }
    if step.answer == "test again":
        told = say_counted(
            "That costs about {cost} {currency} in time and in strips sown the worse way, and can "
            "be expected to bring about {benefit} {currency} over the season after it on {area} "
            "ha: the chance that it turns your choice round is {chance}.",
            "That costs about {cost} {currency} in time and in strips sown the worse way, and can "
            "be expected to bring about {benefit} {currency} over the {count} seasons after it on "
            "{area} ha: the chance that it turns your choice round is {chance}.",
            later,
            **given,
        )
    else:
        told = say_counted(
            "A trial of {pairs} pairs costs about {cost} {currency} in time and in strips sown the "
            "worse way, and can be expected to bring about {benefit} {currency} over the season "
            "after it on {area} ha: the chance that it turns your choice round is {chance}.",
            "A trial of {pairs} pairs costs about {cost} {currency} in time and in strips sown the "
            "worse way, and can be expected to bring about {benefit} {currency} over the {count} "
            "seasons after it on {area} ha: the chance that it turns your choice round is "
            "{chance}.",
            later,
            pairs=step.pairs,
            **given,
        )
    certain = say(
        "To know the gain for certain would be worth about {worth} {currency}.",
        worth=about(step.value_of_knowing),
        currency=currency,
    )
    return f"{told} {certain}"


def _meanwhile(step: NextStep) -> str:
    if step.answer != "test again":
        return ""
    if step.use_meanwhile:
        return say("Until then use it on the rest of the ground: it is expected to pay.")
    return say("Until then leave it off the rest of the ground: it is not expected to pay.")


def _farm(step: NextStep, currency: str) -> str:
    return say(
        "Used on {area} ha it is expected to bring about {net} {currency} a season, plausibly "
        "{low} to {high} ({level} interval); the chance that it pays is {chance}.",
        area=price(step.area_ha),
        net=about(step.farm_net),
        currency=currency,
        low=about(step.farm_low),
        high=about(step.farm_high),
        level=level(step.confidence),
        chance=in_hundred(step.chance_paid),
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
    mean = {
        "chance": in_hundred(risk.chance_of_loss),
        "loss": amount(risk.lose_more_than),
        "currency": currency,
    }
    if risk.worst_season is None or risk.season_chance_of_loss is None:
        words = (
            marked(
                "The chance that it loses more than {loss} {currency}/ha on average is {chance}."
            )
            if risk.lose_more_than
            else marked("The chance that it loses money on average is {chance}.")
        )
        return say(words, **mean), say(
            "What the worst of {seasons} seasons would bring is not known from one trial: "
            "it takes trials in several seasons to see how they differ.",
            seasons=risk.seasons,
        )
    words = (
        marked(
            "The chance that it loses more than {loss} {currency}/ha on average is {chance}; that "
            "it does in a coming season, {in_a_season}."
        )
        if risk.lose_more_than
        else marked(
            "The chance that it loses money on average is {chance}; that it does in a coming "
            "season, {in_a_season}."
        )
    )
    worst, low = amounts(risk.worst_season, risk.worst_season_low or 0.0)
    return say(words, **mean, in_a_season=in_hundred(risk.season_chance_of_loss)), say(
        "In the worst of {seasons} seasons it brings {worst} {currency}/ha, as likely less "
        "as more, and less than {low} {currency}/ha in one such run in ten.",
        seasons=risk.seasons,
        worst=worst,
        low=low,
        currency=currency,
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
    chance = in_hundred(ranking.chance_best)
    if ranking.best == control:
        return say(
            "None is expected to pay: {control} looks best, and the chance that it truly is the "
            "best is {chance}.",
            control=control,
            chance=chance,
        )
    best = rows[rows["treatment"] == ranking.best].iloc[0]
    others = rows[rows["treatment"] != ranking.best].sort_values("chance_best", kind="stable")
    second = others.iloc[-1]
    return say(
        "{best} looks best, with {net} {currency}/ha over {control}; the chance that it truly is "
        "the best is {chance}, for {second} it is {second_chance}.",
        best=ranking.best,
        net=amount(float(best["net_per_ha"])),
        currency=currency,
        control=control,
        chance=chance,
        second=str(second["treatment"]),
        second_chance=in_hundred(float(second["chance_best"])),
    )
