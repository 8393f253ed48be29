"""Sentences on how the trial was laid out and what was mixed, for the season report."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trialkit.report.numbers import listed, number, opened

if TYPE_CHECKING:
    from pandas import DataFrame

DRESSING, PLANTS, SCORES, FROST = "Dressing", "Plants", "Scores", "Frost"
NOTHING = "The folder holds no record of dressing, plant counts, scores or frost."
BY_HAND = (
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
    each = listed([f"{count} of {name}" for name, count in counts.items()])
    strips = f"{sum(counts.values())} strips" if sum(counts.values()) != 1 else "One strip"
    groups = f"{blocks} blocks" if blocks != 1 else "one block"
    rate = "" if seed_kg_ha is None else f" Sown at {number(seed_kg_ha, 0)} kg/ha."
    return f"{strips} in {groups}: {each}.{rate}"


def could_see(difference_t_ha: float) -> str:
    """Say what difference a trial like this one shows.

    Parameters
    ----------
    difference_t_ha
        Shown in four trials of five, t/ha.
    """
    return (
        "Going by how much its strips differed, a trial like this one shows a true difference of "
        f"{number(difference_t_ha, 2)} t/ha in four seasons of five; a smaller one it often misses."
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
        mixes = "one mix" if len(own) == 1 else f"{len(own)} mixes"
        days = listed([str(day) for day in dict.fromkeys(own["date"].astype(str)) if day])
        seed, litres = own["seed_t"].sum(), own["litres"].sum()
        on_seed = f" on {number(seed, 2)} t of seed" if seed > 0 else ""
        wet = f", {number(litres / seed, 1)} l a tonne" if seed > 0 and litres > 0 else ""
        sentences.append(f"{opened(str(name))}: {mixes}, {days}{on_seed}{wet}.")
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
    each = listed([f"{number(share, 0)}% of {name}" for name, share in shares.items()])
    return f"Of {number(seeds_m2, 0)} seeds/m² came up: {each}."
