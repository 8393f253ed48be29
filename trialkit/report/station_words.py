"""Sentences on how the trial was laid out and what was mixed, for the season report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.language import marked, say, say_counted
from trialkit.report.numbers import listed, number, opened

if TYPE_CHECKING:
    from pandas import DataFrame

DRESSING, PLANTS = marked("Dressing"), marked("Plants")
SCORES, FROST = marked("Scores"), marked("Frost")
NOTHING = marked("The folder holds no record of dressing, plant counts, scores or frost.")
NO_HEIGHTS = marked(
    "The harvest log holds no heights, so the gain cannot be told for low ground and high. Block "
    "by block it stands under Strips."
)
BY_HAND = marked(
    "The layout does not say how the treatments were allotted. If they were not drawn at random, "
    "what differed along the field may stand in the gain."
)


def laid_out(counts: dict[str, int], blocks: int, *, seed_kg_ha: float | None) -> str:
    """Say how many strips there are, in how many blocks, and how they were sown.

    Parameters
    ----------
    counts
        Strips by treatment.
    blocks
        Blocks.
    seed_kg_ha
        Seed sown, kg/ha; None where it is not known.
    """
    strips = sum(counts.values())
    each = listed([say("{count} of {name}", count=n, name=name) for name, n in counts.items()])
    if blocks == 1:
        told = say_counted(
            "One strip in one block: {each}.",
            "{count} strips in one block: {each}.",
            strips,
            each=each,
        )
    else:
        told = say_counted(
            "One strip in {blocks} blocks: {each}.",
            "{count} strips in {blocks} blocks: {each}.",
            strips,
            blocks=blocks,
            each=each,
        )
    if seed_kg_ha is None:
        return told
    sown = say("Sown at {rate} kg/ha.", rate=number(seed_kg_ha, 0))
    return f"{told} {sown}"


def could_see(difference_t_ha: float) -> str:
    """Say what difference a trial like this one shows.

    Parameters
    ----------
    difference_t_ha
        Shown in four trials of five, t/ha.
    """
    return say(
        "Going by how much its strips differed, a trial like this one shows a true difference of "
        "{difference} t/ha in four seasons of five; a smaller one it often misses.",
        difference=number(difference_t_ha, 2),
    )


def mixed(batches: DataFrame) -> list[str]:
    """Say how much was mixed for each treatment, and on how much seed.

    Parameters
    ----------
    batches
        One row a mix: `treatment date seed_t litres litres_per_t`; blanks may be among them.
    """
    sentences = []
    for name, own in batches.groupby("treatment", sort=False):
        days = listed([str(day) for day in dict.fromkeys(own["date"].astype(str)) if day])
        seed, litres = own["seed_t"].sum(), own["litres"].sum()
        given = {"treatment": opened(str(name)), "days": days}
        if not seed > 0:
            told = say_counted(
                "{treatment}: one mix, {days}.",
                "{treatment}: {count} mixes, {days}.",
                len(own),
                **given,
            )
        elif not litres > 0:
            told = say_counted(
                "{treatment}: one mix, {days} on {seed} t of seed.",
                "{treatment}: {count} mixes, {days} on {seed} t of seed.",
                len(own),
                **given,
                seed=number(seed, 2),
            )
        else:
            told = say_counted(
                "{treatment}: one mix, {days} on {seed} t of seed, {rate} l a tonne.",
                "{treatment}: {count} mixes, {days} on {seed} t of seed, {rate} l a tonne.",
                len(own),
                **given,
                seed=number(seed, 2),
                rate=number(litres / seed, 1),
            )
        sentences.append(told)
    return sentences


def came_up(seeds_m2: float, shares: dict[str, float]) -> str:
    """Say what share of the seed came up.

    Parameters
    ----------
    seeds_m2
        Seeds sown on a square metre.
    shares
        Share that came up by treatment, %.
    """
    each = listed(
        [say("{share}% of {name}", share=number(n, 0), name=name) for name, n in shares.items()]
    )
    return say("Of {seeds} seeds/m² came up: {each}.", seeds=number(seeds_m2, 0), each=each)
