"""Rules and limits for screening a harvest log: the defaults, and what `trial.toml` may change."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, field_validator, model_validator

from trialkit.language import marked

#: Rules that need no judgement: what they take cannot be a yield of this field.
IMPOSSIBLE = (
    "duplicate",
    "no position",
    "position jump",
    "outside the field",
    "header up",
    "turning",
    "missing value",
    "held yield",
    "absurd yield",
)

#: All rules in their usual order: the first that applies gives the reason.
RULE_NAMES = (
    marked("duplicate"),
    marked("no position"),
    marked("position jump"),
    marked("outside the field"),
    marked("header up"),
    marked("turning"),
    marked("stopped or too slow"),
    marked("too fast"),
    marked("beside a stop"),
    marked("speed jump"),
    marked("start of pass"),
    marked("end of pass"),
    marked("short pass"),
    marked("missing value"),
    marked("held yield"),
    marked("frozen value"),
    marked("part swath"),
    marked("overlap"),
    marked("moisture out of range"),
    marked("absurd yield"),
    marked("global outlier"),
    marked("local outlier"),
)


FOUND: Literal["found"] = "found"


def _seconds_or_found(value: object) -> object:
    if value == FOUND or (isinstance(value, int | float) and 0 <= value <= 120):
        return value
    raise ValueError(f"it must be 'found' or seconds from 0 to 120, not {value!r}")


#: Seconds, or "found": read from the flow curve of this log.
SecondsOrFound = Annotated[float | Literal["found"], BeforeValidator(_seconds_or_found)]


class Screening(BaseModel):
    """Rules and limits by which a record of a harvest log is left out.

    Parameters
    ----------
    rules
        The rules used, by the names in `RULE_NAMES`, in their order: the first that applies gives
        the reason, and outliers are looked for among what the rules before them leave.
    speed_low_m_s, speed_high_m_s
        Slowest and fastest ground speed, m/s, at which the machine harvests in earnest.
    beside_stop_s
        Seconds left out before and after a stop, where grain is smeared over ground barely covered.
    speed_jump_share
        Change of speed within a second, as a share of the higher speed, that is too sudden for
        the flow to follow.
    beside_jump_s
        Seconds left out before and after such a change.
    yield_low_t_ha, yield_high_t_ha
        Least and greatest yield, t/ha, that the crop can have.
    swath_least_share
        Least cut width as a share of the full width: as recorded, and as the earlier passes left
        it.
    beside_part_s
        Seconds left out before and after such a cut, where its grain is smeared over full ones.
    pass_start_s, pass_end_s
        Seconds left out at the start and at the end of each pass, while the flow rises and falls;
        counted from where grain comes and to where it ends. `"found"` takes them from the log's
        own flow curve, see `find_pass_ends`.
    jump_m_s
        Speed, m/s, between two positions above which the position has jumped.
    moisture_low_pct, moisture_high_pct
        Driest and wettest grain, %, that the sensor can be believed to read.
    least_pass_m
        Shortest pass, m, that is kept.
    frozen_s
        Seconds of one and the same flow, while the machine moves, after which the sensor hangs.
    outlier_sd
        Standard deviations from the mean of its pass beyond which a lone record is an outlier.
    local_outlier_sd
        The same against its neighbours, along the pass and in the passes beside it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    rules: tuple[str, ...] = RULE_NAMES
    speed_low_m_s: float = Field(0.5, ge=0)
    speed_high_m_s: float = Field(4.0, gt=0)
    beside_stop_s: float = Field(5.0, ge=0)
    speed_jump_share: float = Field(0.25, gt=0)
    beside_jump_s: float = Field(3.0, ge=0)
    yield_low_t_ha: float = Field(0.1, ge=0)
    yield_high_t_ha: float = Field(15.0, gt=0)
    swath_least_share: float = Field(0.9, ge=0, le=1)
    beside_part_s: float = Field(3.0, ge=0)
    pass_start_s: SecondsOrFound = FOUND
    pass_end_s: SecondsOrFound = FOUND
    jump_m_s: float = Field(10.0, gt=0)
    moisture_low_pct: float = Field(5.0, ge=0, le=100)
    moisture_high_pct: float = Field(30.0, ge=0, le=100)
    least_pass_m: float = Field(30.0, ge=0)
    frozen_s: float = Field(15.0, gt=0)
    outlier_sd: float = Field(3.0, gt=0)
    local_outlier_sd: float = Field(3.0, gt=0)

    @field_validator("rules")
    @classmethod
    def _known_rules(cls, rules: tuple[str, ...]) -> tuple[str, ...]:
        for name in rules:
            if name not in RULE_NAMES:
                near = get_close_matches(name, RULE_NAMES, n=1, cutoff=0.5)
                hint = f" Did you mean '{near[0]}'?" if near else ""
                raise ValueError(f"'{name}' is no rule.{hint} Known: {', '.join(RULE_NAMES)}")
            if rules.count(name) > 1:
                raise ValueError(f"the rule '{name}' stands twice")
        return rules

    @model_validator(mode="after")
    def _low_below_high(self) -> Screening:
        for what, unit in (("speed", "m_s"), ("yield", "t_ha"), ("moisture", "pct")):
            low = getattr(self, f"{what}_low_{unit}")
            high = getattr(self, f"{what}_high_{unit}")
            if not low < high:
                raise ValueError(
                    f"{what}_low_{unit} ({low:g}) must be below {what}_high_{unit} ({high:g})"
                )
        return self


def screening_levels(declared: Screening, start_s: float, end_s: float) -> dict[str, Screening]:
    """Return the four screenings that an answer should survive, mildest first.

    Parameters
    ----------
    declared
        What `trial.toml` says.
    start_s, end_s
        Seconds it leaves out at the start and end of passes, given or found.

    Returns
    -------
    dict
        `none`: every record counts. `light`: only what cannot be a yield of this field goes.
        `default`: as declared. `hard`: every rule, with limits so tight that sound records go too;
        how tight is common practice, no source.
    """
    found = {"pass_start_s": start_s, "pass_end_s": end_s}
    hard = {
        "rules": RULE_NAMES,
        "speed_low_m_s": 1.5 * declared.speed_low_m_s,
        "beside_stop_s": 2 * declared.beside_stop_s,
        "speed_jump_share": 0.6 * declared.speed_jump_share,
        "beside_jump_s": 2 * declared.beside_jump_s,
        "swath_least_share": max(declared.swath_least_share, 0.95),
        "pass_start_s": start_s + 10,
        "pass_end_s": end_s + 10,
        "least_pass_m": 2 * declared.least_pass_m,
        "frozen_s": 0.6 * declared.frozen_s,
        "outlier_sd": 0.8 * declared.outlier_sd,
        "local_outlier_sd": 0.7 * declared.local_outlier_sd,
    }
    return {
        "none": declared.model_copy(update=found | {"rules": ()}),
        "light": declared.model_copy(update=found | {"rules": IMPOSSIBLE}),
        "default": declared.model_copy(update=found),
        "hard": declared.model_copy(update=hard),
    }
