"""What is dressed, loaded and sown, in what order, by what `trial.toml` and the layout say."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd

from trialkit.checks import Check, faults
from trialkit.design import TrialPlan
from trialkit.design.pegs import peg_out
from trialkit.errors import SowingError, TrialFolderError
from trialkit.sowing import MixPlan, SeedNeed, SowingOrder, mix_plan, seed_needed, sowing_order
from trialkit.sowing.mix_job import MixJob
from trialkit.sowing.seeding import plants_sown
from trialkit.trial.config import FILE, Treatment, TrialConfig, read_config
from trialkit.trial.drawings import (
    BOUNDARY_FILE,
    LAYOUT_FILE,
    check_ground,
    read_boundary,
    read_layout,
)
from trialkit.trial.folder import check_inside, check_there
from trialkit.trial.kept_layout import read_plan
from trialkit.trial.laying_out import layout_is_there
from trialkit.trial.sowing_remarks import missing_keys, need_of, sowing_remarks
from trialkit.trial.tables import FORMS, read_table

#: Seed is set aside in whole steps of this, t: a shed's scale shows ten kilograms.
_STEP_T = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Dressed:
    """The seed of one treatment, and how to dress it.

    Parameters
    ----------
    treatment
        Its name.
    seed_t
        Seed to dress, t.
    whole
        Whether that is all the seed of the treatment; where nobody knows how much there is, the
        mix is for what one full mixer dresses.
    mix
        The mixes.
    """

    treatment: str
    seed_t: float
    whole: bool
    mix: MixPlan


@dataclass(frozen=True, slots=True, eq=False)
class SowingPlan:
    """Everything that shed and cab are told.

    Parameters
    ----------
    config
        What `trial.toml` says.
    seed_kg_ha
        Bare seed to sow, kg/ha; None where it is not said.
    weight_gain_pct
        What the seed of each dressed treatment gains in weight, %.
    dressed
        Treatments with a recipe and a mixer.
    strips
        One row a strip as they lie, as `PeggedOut.strips` has them; None without a layout.
    order
        The strips as sown; None without a layout.
    need
        The seed of each treatment; None without a layout or a seed rate.
    written
        Rows of `dressing.csv`; None where there are none yet.
    missing
        What run sheets cannot do without, each with its remedy.
    notes
        Sentences on what could be said if more were known, and what does not agree.
    """

    config: TrialConfig
    seed_kg_ha: float | None
    weight_gain_pct: dict[str, float]
    dressed: tuple[Dressed, ...]
    strips: pd.DataFrame | None
    order: SowingOrder | None
    need: SeedNeed | None
    written: pd.DataFrame | None
    missing: tuple[Check, ...]
    notes: tuple[str, ...]

    @property
    def seeds_m2(self) -> float | None:
        """Seeds sown on a square metre; None where the weight of a thousand is not said."""
        sowing = self.config.sowing
        if sowing is None or self.seed_kg_ha is None or sowing.seed_weight_g_1000 is None:
            return None
        return plants_sown(self.seed_kg_ha, sowing.seed_weight_g_1000, 100)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What may go wrong with mixes and order, each once."""
        said = [note for one in self.dressed for note in one.mix.warnings]
        said += [] if self.order is None else self.order.warnings
        return tuple(dict.fromkeys(said))


def open_sowing(path: str | Path) -> SowingPlan:
    """Open a trial folder to dress and sow it, before or after its strips are laid out.

    Parameters
    ----------
    path
        The folder, with `trial.toml`; `layout.geojson`, `boundary.geojson` and `dressing.csv` are
        heeded where they are there.

    Returns
    -------
    SowingPlan
        As far as the folder says enough; see `missing`.

    Raises
    ------
    TrialFolderError
        If the folder is faulty; all faults at once.
    SowingError
        If the mix cannot be made so.

    Examples
    --------
    >>> from trialkit.shipped import shipped
    >>> from trialkit.trial.sowing_plan import open_sowing
    >>> sowing = open_sowing(next(shipped("data-demo").glob("*to-plan")))
    >>> [one.treatment for one in sowing.dressed], sowing.order is None
    (['dressed'], True)
    """
    folder = Path(path)
    check_there(folder)
    form = FORMS["dressing"]
    names = (FILE, BOUNDARY_FILE, LAYOUT_FILE, form.file)
    outside = check_inside(folder, [folder / name for name in names if (folder / name).exists()])
    if outside:
        raise TrialFolderError("\n".join(check.sentence() for check in outside))
    config, checks = read_config(folder / FILE)
    boundary, found = read_boundary(folder)
    layout, found_in_layout = read_layout(folder) if layout_is_there(folder) else (None, [])
    written, found_in_table = read_table(folder, form, ())
    checks += [*found, *found_in_layout, *found_in_table]
    if config is not None and layout is not None:
        checks += check_ground(config, boundary, layout)
    if config is None or faults(checks):
        lines = "\n".join(f"- {check.sentence()}" for check in faults(checks))
        raise TrialFolderError(f"{folder.name or folder}: nothing can be said on sowing.\n{lines}")
    drawn = None if layout is None else read_plan(folder, layout, boundary)
    return plan_sowing(config, layout if drawn is None else drawn, written=written)


def plan_sowing(
    config: TrialConfig,
    layout: TrialPlan | gpd.GeoDataFrame | None = None,
    *,
    written: pd.DataFrame | None = None,
) -> SowingPlan:
    """Plan dressing and sowing by what `trial.toml` says, as far as it says enough.

    Parameters
    ----------
    config
        What it says.
    layout
        The strips, as laid out or drawn by hand; None where there are none yet.
    written
        Rows of `dressing.csv`.

    Returns
    -------
    SowingPlan

    Raises
    ------
    SowingError
        If the mix cannot be made so.
    """
    strips = None if layout is None else _strips(layout)
    rate = None if config.sowing is None else config.sowing.rate_kg_ha
    gains = _gains(config, rate)
    order = None if strips is None else _order(config, strips, layout, rate)
    need = None if strips is None else _need(config, strips, order, gains)
    dressed = tuple(_dressed(config, treatment, rate, need) for treatment in _recipes(config))
    return SowingPlan(
        config=config,
        seed_kg_ha=rate,
        weight_gain_pct=gains,
        dressed=dressed,
        strips=strips,
        order=order,
        need=need,
        written=written,
        missing=tuple(missing_keys(config)),
        notes=tuple(sowing_remarks(config, need, dressed, laid_out=strips is not None)),
    )


def _strips(layout: TrialPlan | gpd.GeoDataFrame) -> pd.DataFrame:
    if isinstance(layout, TrialPlan):
        return peg_out(layout.layout, layout.heading_deg).strips
    return peg_out(layout).strips


def _recipes(config: TrialConfig) -> list[Treatment]:
    """Return the treatments of which it is said what is mixed, and in what."""
    dressing = config.dressing
    if dressing.rate_l_t is None or dressing.mixer_l is None:
        return []
    return [treatment for treatment in config.treatments if treatment.products]


def _gains(config: TrialConfig, rate: float | None) -> dict[str, float]:
    """Return what dressing adds to the weight of the seed, %, by treatment."""
    found = {}
    for treatment in _recipes(config):
        wanted, mixer = config.dressing.rate_l_t, config.dressing.mixer_l
        if wanted is not None and mixer is not None:
            job = MixJob(1.0, tuple(treatment.recipe), wanted, mixer, seed_kg_ha=rate)
            found[treatment.name] = job.weight_kg_t / 10
    return found


def _order(
    config: TrialConfig,
    strips: pd.DataFrame,
    layout: TrialPlan | gpd.GeoDataFrame | None,
    rate: float | None,
) -> SowingOrder:
    seeder_m = config.machines.seeder_m
    width = (strips["to_m"] - strips["from_m"]).median()
    passes = max(1, round(float(width) / seeder_m))
    if isinstance(layout, TrialPlan):
        passes = layout.passes_per_strip
    sown = set(strips["treatment"])
    return sowing_order(
        strips.rename(columns={"from_m": "across_from_m"}),
        config.control,
        tanks=1 if config.sowing is None else config.sowing.tanks,
        treatment_order=[
            t.name for t in config.treatments if t.name in sown and t.name != config.control
        ],
        passes_per_strip=passes,
        seed_kg_ha=rate,
    )


def _need(
    config: TrialConfig, strips: pd.DataFrame, order: SowingOrder | None, gains: dict[str, float]
) -> SeedNeed | None:
    sowing = config.sowing
    if sowing is None or order is None:
        return None
    areas = strips.groupby("treatment", sort=False)["area_ha"].sum()
    return seed_needed(
        {name: float(areas[name]) for name in order.starts},
        sowing.rate_kg_ha,
        reserve_pct=sowing.reserve_pct,
        purge_kg=sowing.purge_kg,
        fills=order.starts,
        weight_gain_pct={name: gain for name, gain in gains.items() if name in order.starts},
        cart_kg=sowing.cart_kg,
        cost_per_t=sowing.seed_cost_per_t,
    )


def _dressed(
    config: TrialConfig, treatment: Treatment, rate: float | None, need: SeedNeed | None
) -> Dressed:
    dressing, sowing = config.dressing, config.sowing
    rate_l_t, mixer_l = dressing.rate_l_t or 0.0, dressing.mixer_l or 0.0
    wanted = None if need is None else need_of(need, treatment.name)
    seed_t = treatment.seed_t or (None if wanted is None else _rounded_up(wanted))
    try:
        mix = mix_plan(
            mixer_l / rate_l_t if seed_t is None else seed_t,
            treatment.recipe,
            rate_l_t=rate_l_t,
            mixer_l=mixer_l,
            tank_l=dressing.tank_l,
            auger_t_h=dressing.auger_t_h,
            seed_kg_ha=rate,
            seed_weight_g_1000=None if sowing is None else sowing.seed_weight_g_1000,
            crop=config.trial.crop,
            seed_moisture_pct=None if sowing is None else sowing.seed_moisture_pct,
            storage_limit_pct=dressing.storage_limit_pct,
            order=treatment.mixing_order,
            jug_l=dressing.jug_l,
            stands_h=dressing.stands_h,
            sown_after_h=dressing.sown_after_h,
            in_sun=dressing.in_sun,
            seed_has_fungicide=dressing.seed_has_fungicide,
        )
    except SowingError as error:
        raise SowingError(f"{FILE}, dressing of '{treatment.name}': {error}") from None
    return Dressed(treatment.name, mix.job.seed_t, seed_t is not None, mix)


def _rounded_up(tonnes: float) -> float:
    return round(math.ceil(tonnes / _STEP_T - 1e-9) * _STEP_T, 6)
