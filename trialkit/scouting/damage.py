"""Which frost nights could have hurt, by published thresholds for the growth stage.

Thresholds say at what temperature, held for two hours, harm has been seen; they are no law. A
crop that could have been hurt has to be looked at.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.days import whole_date
from trialkit.errors import ScoutingError
from trialkit.language import figures, marked, say
from trialkit.scouting.frost import frost_nights
from trialkit.scouting.growth import growth_stages, stage_name
from trialkit.scouting.night_curves import below, night_curves, one_clock
from trialkit.scouting.strip_labels import Floats

Sensor = Literal["canopy", "screen"]
Verdict = Literal[
    "could have hurt", "may have hurt", "not cold enough", "not known", "no threshold"
]

#: How much warmer a screen at 1.2 to 1.5 m is than the crop's surface on a frost night, °C: 1.5
#: (CIMMYT Wheat Doctor: 1.5 °C at 1.5 m goes with 0 °C at the surface) to 2 (GRDC Back Pocket
#: Guide 2011: inspect below 2 °C in the screen).
SCREEN_DIFFERENCE_C: tuple[float, float] = (1.5, 2.0)
#: Hours that a threshold holds for, as published.
_HARM_HOURS = 2.0
#: When frost harm shows: 5 to 10 days later (DPIRD W. Australia, GRDC).
_LOOK = marked(
    "Look at the crop 5 to 10 days after a night that could have hurt; harm shows by then."
)
#: Crops in the order that frost harms them most, wheat being the second (DPIRD W. Australia).
_TENDER_FIRST = ("triticale", "wheat", "barley", "rye", "oats")
#: What is said of other crops than wheat, by whether they stand less frost.
_SAID_OF_CROPS = {
    True: marked(
        "{crop} is said to stand less frost than wheat (DPIRD W. Australia), without a number; "
        "these are wheat's thresholds."
    ),
    False: marked(
        "{crop} is said to stand more frost than wheat (DPIRD W. Australia), without a number; "
        "these are wheat's thresholds."
    ),
}
_UNKNOWN_NIGHT = marked(
    "Night to {day}, logger {logger}: {hours:.1f} hours are missing, so nobody knows whether it "
    "was cold enough to hurt {stage}."
)
#: What is said of a night and which of its hours, by its verdict and whether hours are missing.
_SAID_OF_NIGHTS = {
    ("not known", True): (_UNKNOWN_NIGHT, "hours_missing"),
    ("not known", False): (_UNKNOWN_NIGHT, "hours_missing"),
    ("could have hurt", True): (
        marked(
            "Night to {day}, logger {logger}: down to at least {cold} °C, and at least {hours:.1f} "
            "hours colder than wheat has been harmed at {stage}. It could have hurt."
        ),
        "hours_sure",
    ),
    ("could have hurt", False): (
        marked(
            "Night to {day}, logger {logger}: down to {cold} °C, and {hours:.1f} hours colder than "
            "wheat has been harmed at {stage}. It could have hurt."
        ),
        "hours_sure",
    ),
    ("may have hurt", True): (
        marked(
            "Night to {day}, logger {logger}: down to at least {cold} °C, and at least {hours:.1f} "
            "hours below {limit} °C, which harms wheat at the most tender stage possible then, "
            "{stage}. It may have hurt."
        ),
        "hours_possible",
    ),
    ("may have hurt", False): (
        marked(
            "Night to {day}, logger {logger}: down to {cold} °C, and {hours:.1f} hours below "
            "{limit} °C, which harms wheat at the most tender stage possible then, {stage}. It may "
            "have hurt."
        ),
        "hours_possible",
    ),
}


@dataclass(frozen=True, slots=True)
class DamageThreshold:
    """At what temperature, held for two hours, wheat has been harmed.

    Parameters
    ----------
    name
        Of the stage, as published.
    stage_low, stage_high
        Decimal codes taken for it, both included.
    injurious_f
        Temperature, °F, as published.
    effect
        On yield, as published.
    """

    name: str
    stage_low: float
    stage_high: float
    injurious_f: float
    effect: str

    @property
    def injurious_c(self) -> float:
        """The same, °C."""
        return (self.injurious_f - 32) / 1.8


#: Kansas State Univ. C-646, freeze injury of wheat (after Pauli): temperatures injurious if held
#: for two hours. Taken as those of the plant; decimal codes are ours.
DAMAGE_THRESHOLDS: tuple[DamageThreshold, ...] = (
    DamageThreshold("tillering", 20, 29, 12, "slight to moderate"),
    DamageThreshold("jointing", 30, 39, 24, "moderate to severe"),
    DamageThreshold("boot", 40, 49, 28, "moderate to severe"),
    DamageThreshold("heading", 50, 59, 30, "severe"),
    DamageThreshold("flowering", 60, 69, 30, "severe"),
    DamageThreshold("milk", 70, 79, 28, "moderate to severe"),
    DamageThreshold("dough", 80, 89, 28, "slight to moderate"),
)


@dataclass(frozen=True, slots=True, eq=False)
class FrostRisk:
    """Nights held against the thresholds of their growth stage.

    Parameters
    ----------
    nights
        One row a logger and night: `logger date minimum_c at_least stage stage_low stage_high
        stage_name threshold_c sure_below_c possible_below_c hours_sure hours_possible verdict`.
        `threshold_c` is the published one for the stage, for the plant. `sure_below_c` is what
        the logger shows where the least tender stage in question is harmed, with the smallest
        difference between sensor and crop (minus infinity where one of the stages has no
        threshold); `possible_below_c` the same for the most tender stage and the largest
        difference. `hours_sure` and `hours_possible` are below these.
    sentences
        One for each night that could or may have hurt, or of which nothing is known.
    notes
        Where sensor and thresholds come from, and what they leave open.
    """

    nights: pd.DataFrame
    sentences: tuple[str, ...]
    notes: tuple[str, ...]


def frost_risk(
    temperatures: pd.DataFrame,
    stages: pd.DataFrame,
    *,
    sensor: Sensor,
    crop: str = "wheat",
    difference_c: tuple[float, float] = SCREEN_DIFFERENCE_C,
    sown: date | None = None,
) -> FrostRisk:
    """Tell which nights could have hurt the crop.

    Parameters
    ----------
    temperatures
        From `read_temperatures`.
    stages
        `date` and `stage` (decimal code), the days somebody looked; see `growth_stages`.
    sensor
        `"canopy"` where the loggers hang unshielded at the height of the ears, `"screen"` where
        they hang in a screen at 1.2 to 1.5 m.
    crop
        The thresholds are of wheat; for others a note says which way they lie.
    difference_c
        How much warmer the screen is than the crop on a frost night, lowest and highest, °C.
    sown
        Day of sowing, to find stages dated before it.

    Returns
    -------
    FrostRisk

    Raises
    ------
    ScoutingError
        If the sensor's height is not said, or stages or temperatures cannot be right.

    Notes
    -----
    `could have hurt`: two hours or more below the threshold, whichever stage of those possible it
    was and however little the screen was off. `may have hurt`: so if it was the most tender of
    them, or the screen was off the most. `not known`: neither, but two hours of the night are
    missing. Thresholds: `DAMAGE_THRESHOLDS`.

    Examples
    --------
    >>> import pandas as pd
    >>> times = pd.date_range("2024-09-13 12:00", "2024-09-14 12:00", freq="30min")
    >>> record = pd.DataFrame({"logger": "hollow", "time": times, "temperature_c": 6.0})
    >>> record.loc[28:36, "temperature_c"] = -3.0
    >>> seen = pd.DataFrame({
    ...     "date": pd.to_datetime(["2024-09-04", "2024-09-24"]), "stage": [55, 69]})
    >>> found = frost_risk(record, seen, sensor="canopy")
    >>> found.nights[["stage", "verdict"]].to_dict("list")
    {'stage': [62.0], 'verdict': ['could have hurt']}
    """
    if sensor not in ("canopy", "screen"):
        raise ScoutingError(
            say(
                "sensor={sensor}: say where the loggers hang, 'canopy' (unshielded at the height "
                "of the ears) or 'screen' (shielded at 1.2 to 1.5 m). A screen is 1.5 to 2 °C "
                "warmer than the crop on a frost night.",
                sensor=repr(sensor),
            )
        )
    least, most = difference_c if sensor == "screen" else (0.0, 0.0)
    if not 0 <= least <= most <= 10:
        raise ScoutingError(
            f"difference_c={difference_c} must be a lowest and a highest difference, 0 or more."
        )
    nights = frost_nights(temperatures, thresholds_c=[0.0]).nights.drop(columns="minimum_time")
    at = growth_stages(stages, nights["date"], sown=sown).reset_index(drop=True)
    nights = nights.assign(
        stage=at["stage"],
        stage_low=at["low"],
        stage_high=at["high"],
        stage_name=[stage_name(stage) for stage in at["stage"]],
        threshold_c=[threshold_at(stage) for stage in at["stage"]],
    )
    tender, hardy = _threshold_range(at["low"].to_numpy(), at["high"].to_numpy())
    nights["sure_below_c"], nights["possible_below_c"] = hardy + least, tender + most
    nights["hours_sure"] = _hours_below(temperatures, nights, hardy + least)
    nights["hours_possible"] = _hours_below(temperatures, nights, tender + most)
    nights["verdict"] = _verdicts(nights, tender)
    words = tuple(
        _sentence(night, shift)
        for night, shift in zip(nights.to_dict("records"), tender + most, strict=True)
        if night["verdict"] not in ("not cold enough", "no threshold")
    )
    return FrostRisk(nights.drop(columns="hours_missing"), words, _notes(sensor, crop, least, most))


def threshold_at(stage: float) -> float:
    """Return the published threshold for a decimal code, °C; NaN where there is none.

    Parameters
    ----------
    stage
        Code, 0 to 99.

    Examples
    --------
    >>> round(threshold_at(65), 1)
    -1.1
    """
    for threshold in DAMAGE_THRESHOLDS:
        if threshold.stage_low <= stage < threshold.stage_high + 1:
            return threshold.injurious_c
    return float("nan")


def _threshold_range(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return the highest and lowest threshold of all stages possible; -inf where one has none."""
    tender, hardy = np.full(low.size, -np.inf), np.full(low.size, np.inf)
    for threshold in DAMAGE_THRESHOLDS:
        met = (low < threshold.stage_high + 1) & (high >= threshold.stage_low)
        tender = np.where(met, np.maximum(tender, threshold.injurious_c), tender)
        hardy = np.where(met, np.minimum(hardy, threshold.injurious_c), hardy)
    first, last = DAMAGE_THRESHOLDS[0].stage_low, DAMAGE_THRESHOLDS[-1].stage_high + 1
    beyond = (low < first) | (high >= last)
    return tender, np.where(beyond, -np.inf, hardy)


def _hours_below(temperatures: pd.DataFrame, nights: pd.DataFrame, limit: Floats) -> Floats:
    """Return hours of each night below its own limit."""
    hours = np.zeros(len(nights))
    loggers = nights["logger"].to_numpy()
    for logger, record in one_clock(temperatures).groupby("logger", sort=True):
        own = np.flatnonzero(loggers == str(logger))
        curves = night_curves(record)
        days = pd.DatetimeIndex(nights["date"].iloc[own])
        place = days.get_indexer(pd.DatetimeIndex(curves.morning).as_unit("s"))
        limits = np.where(np.isfinite(limit[own]), limit[own], -1e3)
        spent, _ = below(curves.begin_c, curves.end_c, curves.hours, limits[place])
        hours[own] = np.bincount(place, spent, len(own))
    return hours


def _verdicts(nights: pd.DataFrame, tender: Floats) -> list[Verdict]:
    found: list[Verdict] = []
    for night, published in zip(nights.to_dict("records"), np.isfinite(tender), strict=True):
        enough = _HARM_HOURS - 1e-9
        if not published:
            found.append(marked("no threshold"))
        elif night["hours_sure"] >= enough:
            found.append(marked("could have hurt"))
        elif night["hours_possible"] >= enough:
            found.append(marked("may have hurt"))
        elif night["hours_possible"] + night["hours_missing"] >= enough and night["at_least"]:
            found.append(marked("not known"))
        else:
            found.append(marked("not cold enough"))
    return found


def _sentence(night: Mapping[Hashable, object], limit: float) -> str:
    def number(name: str) -> float:
        return float(night[name])  # type: ignore[arg-type]

    template, hours = _SAID_OF_NIGHTS[str(night["verdict"]), bool(night["at_least"])]
    return say(
        template,
        day=whole_date(night["date"]),  # type: ignore[arg-type]
        logger=str(night["logger"]),
        stage=_stage_words(number("stage"), number("stage_low"), number("stage_high")),
        cold=_degrees(number("minimum_c")),
        hours=number(hours),
        limit=_degrees(limit),
    )


def _degrees(celsius: float) -> str:
    return figures(f"{celsius:.1f}").replace("-", "−")


def _stage_words(stage: float, low: float, high: float) -> str:
    if np.isnan(stage):
        return say(
            "between stages {low:.0f} and {high:.0f} (nobody looked on both sides of that day)",
            low=low, high=high,
        )  # fmt: skip
    name = say(stage_name(stage))
    if low == high:
        return say("stage {stage:.0f} ({name})", stage=stage, name=name)
    return say(
        "about stage {stage:.0f} ({name}; {low:.0f} to {high:.0f} are possible)",
        stage=stage, name=name, low=low, high=high,
    )  # fmt: skip


def _notes(sensor: Sensor, crop: str, least: float, most: float) -> tuple[str, ...]:
    notes = [
        say(_LOOK),
        say(
            "Thresholds: temperatures harmful to wheat if held for two hours, Kansas State Univ. "
            "C-646. They tell which nights to follow up, not what was lost."
        ),
        say(
            "Published limits differ by some 2 °C: another guide inspects crops after awn "
            "emergence below −3.5 °C in the canopy (GRDC Update 2016)."
        ),
        say(
            "Stages between two observations are read off a straight line, though the decimal code "
            "is no measure of time."
        ),
    ]
    if sensor == "screen":
        notes.append(
            say(
                "The loggers hang in a screen: the crop is taken to be {least:g} to {most:g} °C "
                "colder (CIMMYT; GRDC).",
                least=least, most=most,
            )
        )  # fmt: skip
    name = crop.strip().lower()
    if name in _TENDER_FIRST and name != "wheat":
        notes.append(say(_SAID_OF_CROPS[_TENDER_FIRST.index(name) < 1], crop=name.capitalize()))
    elif name != "wheat":
        notes.append(say("There is no threshold of {crop} here; these are wheat's.", crop=crop))
    return tuple(notes)
