"""What `trial.toml` may say, checked whole: every fault at once, each with its remedy."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import (
    BeforeValidator,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from trialkit.checks import Check
from trialkit.columns import LOG_COLUMNS
from trialkit.design.wishes import EDGE_M, LEAST_LENGTH_M
from trialkit.harvest.settings import Screening
from trialkit.money import CostSheet, extra_cost
from trialkit.sowing.mix_job import MixJob
from trialkit.trial.config_costs import cost_faults, products_per_t_seed, sheet_of
from trialkit.trial.config_faults import (
    FILE,
    Fault,
    FaultsError,
    Table,
    faults_of,
    suggestion,
    toml_hint,
)
from trialkit.trial.config_money import Money
from trialkit.trial.config_scouting import Scouting
from trialkit.trial.config_sowing import Dressing, Sowing, Treatment, told

__all__ = [
    "FILE",
    "Dressing",
    "Money",
    "Sowing",
    "Treatment",
    "TrialConfig",
    "read_config",
    "suggestion",
]


class About(Table):
    """`[trial]`: what the trial is."""

    name: str = Field(min_length=1)
    season: int = Field(ge=1900, le=2200)
    crop: str = Field(min_length=1)
    paddock: str = ""
    question: str = ""
    frost: bool | None = None
    invented: bool = False


class Machines(Table):
    """`[machines]`: working widths, m."""

    seeder_m: float = Field(gt=0, le=100)
    harvester_m: float = Field(gt=0, le=60)


class Design(Table):
    """`[design]`: how the strips are to be laid out."""

    blocks: int = Field(6, ge=1, le=1000)
    draw: Literal["random", "even sides", "same order", "turn about"] = "random"
    seed: int | None = Field(None, ge=0)
    heading_deg: float | None = Field(None, ge=-180, le=360)
    gradient_deg: float | None = Field(None, ge=-180, le=360)
    headland_m: float | None = Field(None, ge=0, le=500)
    clear_m: float | None = Field(None, ge=0, le=500)
    edge_m: float = Field(EDGE_M, ge=0, le=50)
    passes_per_strip: int | None = Field(None, ge=1, le=24)
    least_length_m: float = Field(LEAST_LENGTH_M, gt=0)
    traffic_m: float | None = Field(None, gt=0, le=100)
    sprayer_m: float | None = Field(None, gt=0, le=100)
    first_tramline_m: float | None = None
    tramline_width_m: float = Field(3.0, gt=0, le=50)
    anchor: tuple[float, float] | None = None
    guidance_point: tuple[float, float] | None = None
    yield_t_ha: float | None = Field(None, gt=0, le=100)
    cv_pct: float | None = Field(None, gt=0, le=100)
    hoped_gain_t_ha: float | None = Field(None, ge=0, le=100)

    @model_validator(mode="after")
    def _one_place(self) -> Design:
        if self.guidance_point is None:
            return self
        if self.anchor is not None:
            raise ValueError(
                "anchor and guidance_point both say where passes lie. Give one of them"
            )
        if self.heading_deg is None:
            raise ValueError(
                "guidance_point needs the direction of its line. Give heading_deg beside it"
            )
        return self


#: What the seeder's own record may say of each record or pass.
RECORD_COLUMNS = ("treatment", "pass_id", "time", "longitude", "latitude")


class AsSown(Table):
    """`[as_sown]`: how to read the seeder's own record in the folder `as-sown/`."""

    columns: dict[str, str] = Field(default_factory=dict)
    names: dict[str, str] = Field(default_factory=dict)
    crs: str = "EPSG:4326"
    width_m: float | None = Field(None, gt=0, le=100)
    least_share_pct: float = Field(90, gt=50, le=100)

    @field_validator("columns")
    @classmethod
    def _known_columns(cls, named: dict[str, str]) -> dict[str, str]:
        for name in named:
            if name not in RECORD_COLUMNS:
                raise ValueError(
                    f"'{name}' is not a column of a seeder's record."
                    f"{suggestion(name, RECORD_COLUMNS)} Known: {', '.join(RECORD_COLUMNS)}"
                )
        return named


def _seconds_or_estimate(value: object) -> object:
    if value == "estimate" or (isinstance(value, int | float) and 0 <= value <= 60):
        return value
    raise ValueError(f"it must be 'estimate' or seconds from 0 to 60, not {value!r}")


class Harvest(Table):
    """`[harvest]`: how to read the yield monitor's export."""

    standard_moisture_pct: float | None = Field(None, ge=0, le=40)
    crs: str = "EPSG:4326"
    delay_s: Annotated[float | Literal["estimate"], BeforeValidator(_seconds_or_estimate)] = (
        "estimate"
    )
    moisture_delay_s: Annotated[
        float | Literal["estimate"], BeforeValidator(_seconds_or_estimate)
    ] = "estimate"
    edge_m: float | None = Field(None, ge=0)
    header_ahead_m: float | None = Field(None, ge=-20, le=20)
    header_right_m: float | None = Field(None, ge=-20, le=20)
    only: dict[str, str] = Field(default_factory=dict)
    columns: dict[str, str] = Field(default_factory=dict)
    units: dict[str, str] = Field(default_factory=dict)
    screening: Screening = Screening()

    @field_validator("columns", "units")
    @classmethod
    def _known_columns(cls, named: dict[str, str]) -> dict[str, str]:
        unknown = [name for name in named if name not in LOG_COLUMNS]
        if unknown:
            name = unknown[0]
            raise ValueError(
                f"'{name}' is not a column of a harvest log."
                f"{suggestion(name, LOG_COLUMNS)} Known: {', '.join(LOG_COLUMNS)}"
            )
        return named


class Analysis(Table):
    """`[analysis]`: what was declared before harvest."""

    yield_from: Literal["monitor", "scales"] | None = None
    confidence: float = Field(0.95, ge=0.5, lt=1)
    seed: int = Field(1, ge=0)
    paid_at: float = Field(0.9, gt=0.5, lt=1)
    did_not_pay_at: float = Field(0.1, gt=0, lt=0.5)


class TrialConfig(Table):
    """Everything `trial.toml` says."""

    trial: About
    treatments: tuple[Treatment, ...]
    machines: Machines
    design: Design = Design()
    sowing: Sowing | None = None
    dressing: Dressing = Dressing()
    as_sown: AsSown = AsSown()
    scouting: Scouting = Scouting()
    harvest: Harvest = Harvest()
    analysis: Analysis = Analysis()
    money: Money

    @field_validator("treatments")
    @classmethod
    def _treatments_make_sense(cls, treatments: tuple[Treatment, ...]) -> tuple[Treatment, ...]:
        names = [treatment.name for treatment in treatments]
        repeated = sorted({name for name in names if names.count(name) > 1})
        if repeated:
            raise ValueError(f"the treatment {repeated[0]!r} stands twice")
        if len(names) < 2:
            raise ValueError("there must be at least two treatments: the untreated and one more")
        if sum(treatment.control for treatment in treatments) != 1:
            raise ValueError(
                "exactly one treatment must say control = true: the untreated one. "
                "Without untreated strips nobody can tell what the dressing did"
            )
        return treatments

    @model_validator(mode="after")
    def _holds_together(self) -> TrialConfig:
        found = [*self._recipe_faults(), *cost_faults(self), *self._name_faults()]
        if found:
            raise FaultsError(found)
        return self

    def _recipe_faults(self) -> Iterator[Fault]:
        rate_l_t = self.dressing.rate_l_t
        rate = None if self.sowing is None else self.sowing.rate_kg_ha
        for treatment in self.treatments:
            if treatment.products and rate_l_t is not None:
                try:
                    told(MixJob, 1, tuple(treatment.recipe), rate_l_t, 1, seed_kg_ha=rate)
                except ValueError as fault:
                    yield (), f"The mix of '{treatment.name}': {fault}.", ""

    def _name_faults(self) -> Iterator[Fault]:
        known = [treatment.name for treatment in self.treatments]
        for name, treatment in self.as_sown.names.items():
            if treatment not in (*known, ""):
                yield (
                    (),
                    f"[as_sown.names] gives '{name}' the treatment '{treatment}', and there is "
                    f"none of that name.{suggestion(treatment, known)}",
                    f'It has {", ".join(known)}; or give "" for what is no part of the trial.',
                )

    @property
    def control(self) -> str:
        """Name of the untreated control."""
        return next(treatment.name for treatment in self.treatments if treatment.control)

    def cost_sheet(self, treatment: str) -> CostSheet:
        """Return what a treatment costs a hectare, item by item."""
        return sheet_of(self, self.treatment(treatment))

    def cost_per_ha(self, treatment: str) -> float:
        """Return what a treatment costs a hectare less what it saves, in the trial's currency."""
        return self.cost_sheet(treatment).per_ha

    def extra_cost(self, treatment: str) -> tuple[float, float]:
        """Return what a treatment costs and what it saves on top of the control, a hectare."""
        return extra_cost(self.cost_sheet(treatment), self.cost_sheet(self.control))

    def products_per_ha(self, treatment: str) -> float:
        """Return what a treatment's products cost a hectare, as given or as they come to."""
        lines = self.cost_sheet(treatment).lines
        return float(lines.loc[lines["item"] == "products", "per_ha"].sum())

    def cost_from_products(self, treatment: str) -> float | None:
        """Return what a treatment's products and the work cost a hectare; None if not known."""
        entry = self.treatment(treatment)
        per_t = products_per_t_seed(self, entry)
        if per_t is None or self.sowing is None:
            return None
        return per_t * (self.sowing.rate_kg_ha + entry.extra_seed_kg_ha) / 1000

    def treatment(self, name: str) -> Treatment:
        """Return what is said of a treatment."""
        return next(entry for entry in self.treatments if entry.name == name)


def read_config(path: Path) -> tuple[TrialConfig | None, list[Check]]:
    """Read and check `trial.toml`.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    config, checks
        The configuration, or None where there are faults; and all faults at once.
    """
    try:
        raw = tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None, [
            Check(FILE, "", "The file is missing.", "Make a folder with `trialkit new FOLDER`.")
        ]
    except UnicodeDecodeError as error:
        return None, [
            Check(FILE, f"byte {error.start}", "The file is not UTF-8 text.", "Save it as UTF-8.")
        ]
    except tomllib.TOMLDecodeError as error:
        return None, [Check(FILE, "", f"This is not valid TOML: {error}.", toml_hint(str(error)))]
    try:
        return TrialConfig.model_validate(raw), []
    except ValidationError as error:
        return None, list(faults_of(error, TrialConfig))
