"""How honest is the error? False positives, coverage and power on grounds with known truth.

    python tests/calibration/run.py

prints the README's table, then the details. Each scenario of `fields.py` is drawn anew
thousands of times, with new ground and newly drawn treatments. On ground without any effect a
method should call 5 in 100 trials; where the dressing adds 6% of what the ground gives (or
prevents half the frost), 95 in 100 intervals should hold the true gain, the mean over all strips.
Same seed, same numbers.
"""

from __future__ import annotations

import argparse
import sys
import time
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import stdtr, stdtrit

from trialkit.cross_checks import FEWEST_BLOCKS
from trialkit.errors import ModelError, ModelWarning
from trialkit.models import AlongPass, Surface, fit_mixed
from trialkit.models.batched import fit_batch

sys.path.insert(0, str(Path(__file__).parent))
from fields import SCENARIOS, Draws, Ground, Scenario

SEED = 20260801
DRAWS, POINT_DRAWS, SURFACE_DRAWS = 10_000, 1_500, 1_000

#: False positives at 5%, in %, that the strips and the points model have to keep to.
STRIPS_TARGET, POINTS_TARGET = (4.0, 6.0), (3.5, 6.5)
#: The gain at which power is compared, in standard deviations of the strips' estimate.
POWER_AT = 3.0

STRIPS_WAYS = ("fixed", "random", "unbounded")


@dataclass(frozen=True, slots=True)
class PointsModel:
    """How a points model is fitted: formula, random terms, correlation and field trend."""

    formula: str = "y ~ treatment"
    random: tuple[str, ...] = ("block", "block:strip")
    along: AlongPass | None = None
    surface: Surface | None = None
    unbounded: tuple[str, ...] = ()


#: Those of the season's cross-checks: strips may differ less than their points by chance.
POINTS_WAYS = {
    "points": PointsModel("y ~ C(block) + treatment", ("strip",), unbounded=("strip",)),
}
SURFACE_WAY = {
    "points, field trend": PointsModel(
        random=("block", "strip"), surface=Surface(), unbounded=("strip",)
    )
}
#: Takes longest, so that it is measured only where asked for.
ALONG_WAY = {"points, along the pass": PointsModel(along=AlongPass())}
#: The same with a strips' variance that may be negative; see `by_weighted_strips`.
WEIGHTED_WAY = "strips weighted along the pass"


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Gains of dressed over untreated, one for each draw.

    Parameters
    ----------
    estimate, std_error, df
        Shape (draws,); the error in t/ha.
    """

    estimate: np.ndarray
    std_error: np.ndarray
    df: np.ndarray

    def finds(self, extra: float = 0.0) -> np.ndarray:
        """Say in which draws p is under 5%, were the gain larger by some t/ha throughout."""
        return 2 * stdtr(self.df, -np.abs(self.estimate + extra) / self.std_error) < 0.05

    def holds(self, truth: np.ndarray) -> np.ndarray:
        """Say in which draws the 95% interval holds the true gain."""
        return np.abs(self.estimate - truth) < stdtrit(self.df, 0.975) * self.std_error


def strip_means(draws: Draws, yields: np.ndarray) -> tuple[pd.DataFrame, np.ndarray]:
    """Return the strips, and their mean yields, shape (draws, strips)."""
    codes, _ = pd.factorize(draws.points["strip"])
    member = np.eye(codes.max() + 1)[codes]
    known = np.isfinite(yields)
    means = (np.where(known, yields, 0.0) @ member) / (known @ member)
    return draws.points.drop_duplicates("strip").reset_index(drop=True), means


def observed(draws: Draws) -> np.ndarray:
    """Return what the points yield with the dressing on the dressed strips."""
    return np.where(draws.points["treatment"] == "dressed", draws.dressed, draws.bare)


def true_gain(draws: Draws) -> np.ndarray:
    """Return the mean over all strips of what the dressing adds, shape (draws,)."""
    return strip_means(draws, draws.dressed - draws.bare)[1].mean(axis=1)


def by_strips(draws: Draws, yields: np.ndarray, blocks: str) -> Judged:
    """Judge each draw by its strip means."""
    strips, means = strip_means(draws, yields)
    found = fit_batch(
        means, strips["treatment"], strips["block"], against="untreated", blocks=blocks
    )
    place = found.treatments.index("dressed")
    return Judged(found.estimate[:, place], found.std_error[:, place], found.df[:, place])


def by_weighted_strips(draws: Draws, yields: np.ndarray) -> Judged:
    """Judge each draw by strip means weighted by the correlation along the pass.

    In balanced trials this comes close to the model with correlation along the pass, fixed blocks
    and a strips' variance that may be negative. Here the process is learnt inside
    strips alone, and the error of a difference from differences between strips alone.
    """
    strips, _ = strip_means(draws, yields)
    means = np.empty((len(yields), len(strips)))
    for row, values in enumerate(yields):
        data = draws.points.assign(y=values)[np.isfinite(values)]
        with warnings.catch_warnings():
            # A range at its limit still gives weights, and the error does not come from it.
            warnings.simplefilter("ignore", ModelWarning)
            fit = fit_mixed("y ~ 0 + C(strip)", data, along=AlongPass())
        means[row] = fit.coefficients["estimate"]
    found = fit_batch(
        means, strips["treatment"], strips["block"], against="untreated", blocks="fixed"
    )
    place = found.treatments.index("dressed")
    return Judged(found.estimate[:, place], found.std_error[:, place], found.df[:, place])


def by_points(draws: Draws, yields: np.ndarray, way: str) -> Judged:
    """Judge each draw by its points, with the strip as a random effect."""
    if way == WEIGHTED_WAY:
        return by_weighted_strips(draws, yields)
    model = (POINTS_WAYS | SURFACE_WAY | ALONG_WAY)[way]
    if model.surface is not None and draws.points["block"].nunique() < FEWEST_BLOCKS:
        (model,) = POINTS_WAYS.values()  # as the season does
    rows = np.empty((len(yields), 3))
    for row, values in enumerate(yields):
        data = draws.points.assign(y=values, x_m=draws.across[row])[np.isfinite(values)]
        gain = _gain(model, data)
        rows[row] = gain["estimate"], gain["std_error"], gain["df"]
    return Judged(*rows.T)


def _gain(model: PointsModel, data: pd.DataFrame) -> pd.Series:
    """Fit a points model; where it leaves nothing between strips, the careful one without a trend.

    As the season does; see `trialkit.cross_checks.by_records`.
    """
    try:
        fit = fit_mixed(
            model.formula,
            data,
            random=model.random,
            along=model.along,
            surface=model.surface,
            unbounded=model.unbounded,
        )
    except ModelError:
        if not model.unbounded:
            raise
        return _gain(replace(next(iter(POINTS_WAYS.values())), unbounded=()), data)
    return fit.differences("treatment", against="untreated").loc["dressed"]


def by_plain_t(draws: Draws, yields: np.ndarray) -> Judged:
    """Judge each draw by a t test that takes every point for a replicate."""
    sides = []
    for arm in ("dressed", "untreated"):
        part = yields[:, (draws.points["treatment"] == arm).to_numpy()]
        count, mean = np.isfinite(part).sum(axis=1), np.nanmean(part, axis=1)
        sides.append((count, mean, np.nansum((part - mean[:, None]) ** 2, axis=1)))
    (count, mean, squares), (others, other, rest) = sides
    df = (count + others - 2).astype(float)
    return Judged(mean - other, np.sqrt((squares + rest) / df * (1 / count + 1 / others)), df)


def percent(hits: np.ndarray) -> tuple[float, float]:
    """Return a share in % and its Monte-Carlo standard error."""
    share = float(hits.mean())
    return 100 * share, 100 * float(np.sqrt(share * (1 - share) / len(hits)))


def first(draws: Draws, number: int) -> Draws:
    """Return the first few of the draws."""
    return Draws(draws.points, draws.bare[:number], draws.dressed[:number], draws.across[:number])


@dataclass(frozen=True, slots=True)
class Numbers:
    """How many draws each kind of method is measured by; the slower, the fewer."""

    strips: int
    points: int
    surface: int
    along: int

    def of_points(self) -> dict[str, int]:
        """Return the draws of each points model."""
        return (
            dict.fromkeys(POINTS_WAYS, self.points)
            | dict.fromkeys(SURFACE_WAY, self.surface)
            | dict.fromkeys((*ALONG_WAY, WEIGHTED_WAY), self.along)
        )


def measure(scenario: Scenario | Ground, numbers: Numbers, seed: int) -> dict[str, object]:
    """Measure all methods on one scenario; see the module for what the figures are."""
    begin = time.perf_counter()
    trials = scenario.draw(numbers.strips, seed)
    yields, truth = observed(trials), true_gain(trials)
    row: dict[str, object] = {"field": scenario.name}

    def note(name: str, bare: Judged, dressed: Judged) -> None:
        row[f"{name} false"], row[f"{name} false mc"] = percent(bare.finds())
        held = dressed.holds(truth[: len(dressed.df)])
        row[f"{name} covers"], row[f"{name} covers mc"] = percent(held)

    strips = {}
    for way in STRIPS_WAYS:
        strips[way] = by_strips(trials, trials.bare, way)
        note(way, strips[way], by_strips(trials, yields, way))
    note("plain t", by_plain_t(trials, trials.bare), by_plain_t(trials, yields))
    extra = POWER_AT * float(strips["fixed"].estimate.std())
    row["gain"] = extra
    for way in STRIPS_WAYS:
        row[f"{way} power"], _ = percent(strips[way].finds(extra))
    for way, number in numbers.of_points().items():
        if not number:
            continue
        some, fewer = first(trials, number), first(trials, max(1, number // 3))
        bare = by_points(some, some.bare, way)
        note(way, bare, by_points(fewer, observed(fewer), way))
        row[f"{way} power"], _ = percent(bare.finds(extra))
        more = bare.finds(extra) - strips["fixed"].finds(extra)[:number].astype(float)
        row[f"{way} buy"] = 100 * float(more.mean())
        row[f"{way} buy mc"] = 100 * float(more.std() / np.sqrt(number))
    row["seconds"] = time.perf_counter() - begin
    return row


def measure_all(numbers: Numbers, seed: int, workers: int) -> Iterator[dict[str, object]]:
    """Measure every scenario; each has its own seed, so none hangs on the others."""
    with ProcessPoolExecutor(workers) as pool:
        jobs = [
            pool.submit(measure, scenario, numbers, seed + place)
            for place, scenario in enumerate(SCENARIOS)
        ]
        for job in jobs:
            row = job.result()
            print(f"{row['seconds']:6.0f} s  {row['field']}", file=sys.stderr, flush=True)
            yield row


def markdown(head: list[str], rows: list[list[str]]) -> str:
    """Lay out a table in markdown."""
    lines = [head, ["---"] + ["---:"] * (len(head) - 1), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def flagged(value: object, target: tuple[float, float]) -> str:
    """Write a percentage, in bold where it misses its target."""
    text = f"{value:.1f}"
    return text if target[0] <= float(text) <= target[1] else f"**{text}**"


def readme_table(rows: list[dict[str, object]]) -> str:
    """Lay out the false positives, with the main analysis's coverage."""
    head = [
        "Field", "strips", "held by 95%", "blocks random", "records", "records, field trend",
        "plain t on records",
    ]  # fmt: skip
    ways = (*POINTS_WAYS, *SURFACE_WAY)
    lines = [
        [
            str(row["field"]),
            flagged(row["fixed false"], STRIPS_TARGET),
            flagged(row["fixed covers"], (94.0, 96.0)),
            flagged(row["random false"], STRIPS_TARGET),
            *(flagged(row[f"{way} false"], POINTS_TARGET) for way in ways),
            f"{row['plain t false']:.0f}",
        ]
        for row in rows
    ]
    return markdown(head, lines)


def detail_tables(rows: list[dict[str, object]]) -> str:
    """Lay out coverage and power, with Monte-Carlo errors."""
    every = (*POINTS_WAYS, *SURFACE_WAY, *ALONG_WAY, WEIGHTED_WAY)
    points = [way for way in every if f"{way} false" in rows[0]]
    ways = [*STRIPS_WAYS, *points, "plain t"]
    errors = [
        [str(row["field"])]
        + [
            f"{row[f'{way} {what}']:.1f} ± {row[f'{way} {what} mc']:.1f}"
            for way in ways
            for what in ("false", "covers")
        ]
        for row in rows
    ]
    power = [
        [str(row["field"]), f"{row['gain']:.2f}"]
        + [f"{row[f'{way} power']:.0f}" for way in (*STRIPS_WAYS, *points)]
        + [f"{row[f'{way} buy']:+.1f} ± {row[f'{way} buy mc']:.1f}" for way in points]
        for row in rows
    ]
    return "\n\n".join(
        [
            "False positives and coverage, % ± Monte-Carlo standard error:",
            markdown(["Field", *(f"{w}: {x}" for w in ways for x in ("false", "covers"))], errors),
            "Power, %, at a gain of three standard deviations of the estimate (real ground: in "
            "its own unit), and what points add to strips with blocks fixed, in the same draws:",
            markdown(
                [
                    "Field",
                    "gain t/ha",
                    *STRIPS_WAYS,
                    *points,
                    *(f"{way} buy" for way in points),
                ],
                power,
            ),
        ]
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--draws", type=int, default=DRAWS)
    parser.add_argument("--point-draws", type=int, default=POINT_DRAWS)
    parser.add_argument("--surface-draws", type=int, default=SURFACE_DRAWS)
    parser.add_argument("--along-draws", type=int, default=0, help="some 0.2 s a draw and field")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    numbers = Numbers(
        options.draws, options.point_draws, options.surface_draws, options.along_draws
    )
    rows = list(measure_all(numbers, options.seed, options.workers))
    print(readme_table(rows))
    print()
    print(
        f"False positives at 5%, in %: {options.draws:,} draws a field for strips, "
        f"{options.point_draws:,} for points; seed {options.seed}. Bold: outside "
        f"{STRIPS_TARGET[0]:.0f} to {STRIPS_TARGET[1]:.0f} (points {POINTS_TARGET[0]} to "
        f"{POINTS_TARGET[1]})."
    )
    print()
    print(detail_tables(rows))


if __name__ == "__main__":
    main()
