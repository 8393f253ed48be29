"""What `trial.toml` may say of scouting: where to count, how scores are read, the loggers."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from trialkit.errors import ScoutingError
from trialkit.scouting.clocks import time_zone
from trialkit.scouting.logger_files import OWN_NAMES
from trialkit.scouting.scores import Kind, Scale
from trialkit.trial.config_faults import Table, suggestion


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


class ScoreScale(Table):
    """One `[scouting.scores.NAME]`: how a score is read."""

    kind: Kind | None = None
    low: float | None = None
    high: float | None = None
    better: Literal["high", "low"] | None = None

    @model_validator(mode="after")
    def _low_below_high(self) -> ScoreScale:
        if self.low is not None and self.high is not None and not self.low < self.high:
            raise ValueError(f"low ({self.low:g}) must be below high ({self.high:g})")
        return self

    def scale(self, name: str) -> Scale:
        """Return the scale for the station.

        Parameters
        ----------
        name
            What is scored; a percentage where it ends in `_pct` and nothing else is said.
        """
        kind = self.kind or ("percent" if name.endswith("_pct") else "ordinal")
        low, high = (0.0, 100.0) if kind == "percent" else (-float("inf"), float("inf"))
        return Scale(
            kind,
            low if self.low is None else self.low,
            high if self.high is None else self.high,
        )


class LoggerPlace(Table):
    """One `[scouting.temperatures.places.NAME]`: where a logger hangs."""

    strip: str = ""
    longitude: float | None = Field(None, ge=-180, le=180)
    latitude: float | None = Field(None, ge=-90, le=90)
    relative_height_m: float | None = Field(None, ge=-500, le=500)

    @model_validator(mode="after")
    def _somewhere(self) -> LoggerPlace:
        if (self.longitude is None) != (self.latitude is None):
            raise ValueError("longitude and latitude belong together: give both, or neither")
        if not self.strip and self.longitude is None and self.relative_height_m is None:
            raise ValueError(
                "it does not say where the logger hangs. Give longitude and latitude, from which "
                "the harvest log tells its height; or relative_height_m; or its strip"
            )
        return self


class Temperatures(Table):
    """`[scouting.temperatures]`: how to read the logger files in the folder `temperatures/`."""

    sensor: Literal["canopy", "screen"]
    unit: Literal["C", "F"] | None = None
    zone: str | None = None
    day_first: bool | None = None
    missing: tuple[float, ...] = ()
    columns: dict[str, Annotated[tuple[str, ...], BeforeValidator(_as_list)]] = Field(
        default_factory=dict
    )
    places: dict[str, LoggerPlace] = Field(default_factory=dict)

    @field_validator("zone")
    @classmethod
    def _known_zone(cls, zone: str | None) -> str | None:
        try:
            time_zone(zone)
        except ScoutingError as error:
            raise ValueError(str(error).removesuffix(".")) from None
        return zone

    @field_validator("columns")
    @classmethod
    def _known_columns(cls, named: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
        for name in named:
            if name not in OWN_NAMES:
                raise ValueError(
                    f"'{name}' is not a column of a logger's file.{suggestion(name, OWN_NAMES)} "
                    f"Known: {', '.join(OWN_NAMES)}"
                )
        if named and not ("temperature_c" in named and ("time" in named or "date" in named)):
            raise ValueError(
                "it must name the heading of temperature_c and that of time (or those of date and "
                "clock)"
            )
        return named


class Scouting(Table):
    """`[scouting]`: when the crop was sown, where and what is counted, scored and logged."""

    sown: date | None = None
    places: int = Field(5, ge=1, le=50)
    row_length_m: float = Field(1.0, ge=0.05, le=100)
    seed: int | None = Field(None, ge=0)
    sterile_without_frost_pct: float = Field(0.0, ge=0, lt=100)
    scores: dict[str, ScoreScale] = Field(default_factory=dict)
    temperatures: Temperatures | None = None

    def scale_of(self, name: str) -> Scale:
        """Return how a score is read, described here or not.

        Parameters
        ----------
        name
            What is scored.
        """
        return self.scores.get(name, ScoreScale()).scale(name)
