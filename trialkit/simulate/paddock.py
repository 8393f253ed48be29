"""A field with known truth: what would grow where, with and without a dressing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.signal import lfilter

from trialkit.errors import LayoutError
from trialkit.simulate.plan import Plan

Floats = NDArray[np.float64]

#: Patches in the area that one patch covers: enough of them that their sum looks irregular.
_PATCHES_DEEP = 3

#: Radii around the strips in which patches are scattered too, so that the edge is like the middle.
_PATCH_REACH = 3

#: No ground yields less than this, t/ha: a stand this thin still has some grain.
LEAST_YIELD_T_HA = 0.05


@dataclass(frozen=True, slots=True)
class Hollow:
    """Low ground, round or oval, where cold air gathers.

    Parameters
    ----------
    along_m, across_m
        Its deepest place, m from the trial's middle, along and across the strips.
    radius_along_m, radius_across_m
        Distance, m, at which its depth has fallen to 61% (one standard deviation of a bell).
    depth_m
        Depth, m.
    moisture_pct
        How much moister the grain is at its deepest place, points.
    """

    along_m: float
    across_m: float
    radius_along_m: float
    radius_across_m: float
    depth_m: float = 5.0
    moisture_pct: float = 0.0


@dataclass(frozen=True, slots=True)
class Field:
    """How yield and ground vary over a field. Yields are at standard moisture.

    Parameters
    ----------
    mean_t_ha
        Yield without dressing and without frost, t/ha.
    rise_across_t_ha, rise_along_t_ha
        Even rise from one side to the other and from the near end to the far end, t/ha.
    wave_across_t_ha
        Height of one smooth wave across the strips, t/ha.
    patch_sd_t_ha, patch_radius_m
        Standard deviation of irregular patches, t/ha, and the radius of one, m.
    pass_sd_t_ha, pass_range_m
        Standard deviation of noise that is correlated along each pass, t/ha, and the distance,
        m, at which its correlation is exp(-1).
    block_sd_t_ha
        Standard deviation between blocks, t/ha.
    strip_sd_t_ha
        Standard deviation between strips, t/ha: one for all, or one for each treatment.
    hollow
        Low ground, if any.
    frost_loss
        Share of the yield that frost takes at the deepest place of the hollow, 0 to 1. Elsewhere
        it falls with the square of the hollow's depth.
    elevation_m, slope_along, slope_across
        Height of the trial's middle, m, and rise in m for each m along and across.
    moisture_pct, drying_pct_h
        Water in the grain when harvest starts, %, and its fall through the day, points an hour.
    standard_moisture_pct
        Moisture that yields are stated at, %.
    """

    mean_t_ha: float = 3.0
    rise_across_t_ha: float = 0.3
    rise_along_t_ha: float = 0.0
    wave_across_t_ha: float = 0.1
    patch_sd_t_ha: float = 0.15
    patch_radius_m: float = 50.0
    pass_sd_t_ha: float = 0.15
    pass_range_m: float = 25.0
    block_sd_t_ha: float = 0.0
    strip_sd_t_ha: float | Mapping[str, float] = 0.1
    hollow: Hollow | None = None
    frost_loss: float = 0.0
    elevation_m: float = 200.0
    slope_along: float = 0.005
    slope_across: float = 0.0
    moisture_pct: float = 12.0
    drying_pct_h: float = 0.3
    standard_moisture_pct: float = 12.5


@dataclass(frozen=True, slots=True)
class Effect:
    """What a dressing truly does.

    Parameters
    ----------
    gain_t_ha
        Gain everywhere, t/ha.
    frost_protection
        Share of the frost loss that it prevents, 0 to 1.
    """

    gain_t_ha: float = 0.0
    frost_protection: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """One draw of a field under a plan: everything random about it is settled.

    Parameters
    ----------
    settings
        The field it was drawn from.
    plan
        The strips on it.
    effects
        What each treatment does; a treatment that is not named does nothing.
    patches
        One row a patch: `along_m across_m height_t_ha`.
    strip_t_ha
        What each strip has above or below the rest, block included, t/ha, in the plan's order.
    """

    settings: Field
    plan: Plan
    effects: Mapping[str, Effect]
    patches: pd.DataFrame
    strip_t_ha: Floats

    def potential_t_ha(self, along_m: Floats, across_m: Floats) -> Floats:
        """Return yield without dressing, frost, strip differences and noise along the pass, t/ha.

        Arrays along and across are broadcast against each other.
        """
        this = self.settings
        share_across = across_m / self.plan.width_m
        yields = (
            this.mean_t_ha
            + this.rise_along_t_ha * along_m / self.plan.length_m
            + this.rise_across_t_ha * share_across
            + this.wave_across_t_ha * np.sin(2 * np.pi * share_across)
        )
        if not len(self.patches):
            return yields
        yields = yields + np.zeros(np.broadcast_shapes(along_m.shape, across_m.shape))
        # One patch at a time: along and across stay apart, so a grid costs little more than a line.
        for along, across, height in self.patches.to_numpy():
            yields += height * (
                _bell(along_m - along, this.patch_radius_m)
                * _bell(across_m - across, this.patch_radius_m)
            )
        return yields

    def depth(self, along_m: Floats, across_m: Floats) -> Floats:
        """Return the depth of the hollow as a share of its deepest place, 0 to 1."""
        hollow = self.settings.hollow
        if hollow is None:
            return np.zeros(np.broadcast_shapes(along_m.shape, across_m.shape))
        return _bell(along_m - hollow.along_m, hollow.radius_along_m) * _bell(
            across_m - hollow.across_m, hollow.radius_across_m
        )

    def frost_loss(self, along_m: Floats, across_m: Floats) -> Floats:
        """Return the share of the yield that frost takes where nothing protects it, 0 to 1."""
        return self.settings.frost_loss * self.depth(along_m, across_m) ** 2

    def elevation_m(self, along_m: Floats, across_m: Floats) -> Floats:
        """Return the height of the ground, m."""
        this = self.settings
        slope = this.slope_along * along_m + this.slope_across * across_m
        deep = 0.0 if this.hollow is None else this.hollow.depth_m
        return this.elevation_m + slope - deep * self.depth(along_m, across_m)

    def moisture_pct(self, along_m: Floats, across_m: Floats, hours: Floats) -> Floats:
        """Return the water in the grain, %, some hours after harvest started."""
        this = self.settings
        wetter = 0.0 if this.hollow is None else this.hollow.moisture_pct
        drier = this.drying_pct_h * hours
        return this.moisture_pct + wetter * self.depth(along_m, across_m) - drier

    def pass_noise_t_ha(
        self, shape: int | tuple[int, ...], step_m: float, draw: np.random.Generator
    ) -> Floats:
        """Draw noise correlated along passes, t/ha, steps along the last axis."""
        this = self.settings
        keeps = float(np.exp(-step_m / this.pass_range_m))
        return this.pass_sd_t_ha * wander(draw, shape, keeps)

    def dressed(self, bare_t_ha: Floats, frost_loss: Floats, treatment: str) -> Floats:
        """Return the yield of a treatment, t/ha, on ground with a potential and a frost loss."""
        effect = self.effects.get(treatment, Effect())
        lost = frost_loss * (1 - effect.frost_protection)
        return np.maximum(bare_t_ha, LEAST_YIELD_T_HA) * (1 - lost) + effect.gain_t_ha


def draw_ground(
    plan: Plan,
    settings: Field,
    effects: Mapping[str, Effect] | None = None,
    *,
    seed: int | np.random.Generator,
) -> Ground:
    """Draw the random part of a field: its patches, blocks and strips.

    Parameters
    ----------
    plan
        The strips.
    settings
        How the field varies.
    effects
        What each treatment does; a treatment that is not named does nothing.
    seed
        Seed of the draw, or a generator.

    Returns
    -------
    Ground
        The field, ready to be asked what grows where.

    Raises
    ------
    LayoutError
        If an effect or a standard deviation names a treatment that no strip has.
    """
    effects = dict(effects or {})
    treatments = plan.strips["treatment"]
    strip_sd = settings.strip_sd_t_ha
    named = set(effects) | (set(strip_sd) if isinstance(strip_sd, Mapping) else set())
    unknown = sorted(named - set(treatments))
    if unknown:
        raise LayoutError(
            f"No strip has the treatment '{unknown[0]}'. The layout has: "
            f"{', '.join(sorted(treatments.unique()))}."
        )
    patch_draw, block_draw, strip_draw = np.random.default_rng(seed).spawn(3)
    blocks = pd.factorize(plan.strips["block"])[0]
    block_t_ha = settings.block_sd_t_ha * block_draw.standard_normal(blocks.max() + 1)
    if isinstance(strip_sd, Mapping):
        spread = treatments.map(lambda name: strip_sd.get(name, 0.0)).to_numpy(dtype=float)
    else:
        spread = np.full(len(treatments), strip_sd)
    strip_t_ha = block_t_ha[blocks] + spread * strip_draw.standard_normal(len(treatments))
    return Ground(settings, plan, effects, _patches(plan, settings, patch_draw), strip_t_ha)


def wander(draw: np.random.Generator, shape: int | tuple[int, ...], keeps: float) -> Floats:
    """Draw steady noise of variance 1 that keeps a share of itself from step to step.

    Parameters
    ----------
    draw
        The generator.
    shape
        Shape of the result; steps run along the last axis.
    keeps
        Correlation of neighbouring steps, 0 to 1.

    Returns
    -------
    ndarray
        First-order autoregressive noise, already steady at its first step.
    """
    shocks = draw.standard_normal(shape)
    shocks[..., 1:] *= np.sqrt(1 - keeps**2)
    steady: Floats = lfilter([1.0], [1.0, -keeps], shocks, axis=-1)
    return steady


def _bell(distance_m: Floats, radius_m: float) -> Floats:
    return np.exp(-0.5 * (distance_m / radius_m) ** 2)


def _patches(plan: Plan, settings: Field, draw: np.random.Generator) -> pd.DataFrame:
    """Scatter bells so that their sum has the standard deviation asked for.

    A bell of height h and radius r, thrown at random on an area A, adds h² π r² / A to the
    variance at a place (the integral of its square over the plane).
    """
    if settings.patch_sd_t_ha <= 0:
        return pd.DataFrame(columns=["along_m", "across_m", "height_t_ha"], dtype=float)
    reach = 2 * _PATCH_REACH * settings.patch_radius_m
    length, width = plan.length_m + reach, plan.width_m + reach
    covered = np.pi * settings.patch_radius_m**2 / (length * width)
    number = int(np.ceil(_PATCHES_DEEP / covered))
    spread = settings.patch_sd_t_ha / np.sqrt(number * covered)
    return pd.DataFrame(
        {
            "along_m": draw.uniform(-length / 2, length / 2, number),
            "across_m": draw.uniform(-width / 2, width / 2, number),
            "height_t_ha": spread * draw.standard_normal(number),
        }
    )
