"""Limits for screening a harvest log: the defaults, and what `trial.toml` may change."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field, model_validator


class Screening(BaseModel):
    """Limits outside which a record of a harvest log is left out.

    Parameters
    ----------
    speed_low_m_s, speed_high_m_s
        Slowest and fastest ground speed, m/s, at which the machine harvests in earnest.
    beside_stop_s
        Seconds left out before and after a stop, where grain is smeared over ground barely covered.
    yield_low_t_ha, yield_high_t_ha
        Least and greatest yield, t/ha, that the crop can have.
    swath_least_share
        Least cut width as a share of the full width: as recorded, and as the earlier passes left
        it.
    pass_start_s, pass_end_s
        Seconds left out at the start and at the end of each pass, while the flow rises and falls;
        counted from where grain comes and to where it ends.
    jump_m_s
        Speed, m/s, between two positions above which the position has jumped.
    moisture_low_pct, moisture_high_pct
        Driest and wettest grain, %, that the sensor can be believed to read.
    least_pass_m
        Shortest pass, m, that is kept.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    speed_low_m_s: float = Field(0.5, ge=0)
    speed_high_m_s: float = Field(4.0, gt=0)
    beside_stop_s: float = Field(5.0, ge=0)
    yield_low_t_ha: float = Field(0.1, ge=0)
    yield_high_t_ha: float = Field(15.0, gt=0)
    swath_least_share: float = Field(0.9, ge=0, le=1)
    pass_start_s: float = Field(10.0, ge=0)
    pass_end_s: float = Field(10.0, ge=0)
    jump_m_s: float = Field(10.0, gt=0)
    moisture_low_pct: float = Field(5.0, ge=0, le=100)
    moisture_high_pct: float = Field(30.0, ge=0, le=100)
    least_pass_m: float = Field(30.0, ge=0)

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
