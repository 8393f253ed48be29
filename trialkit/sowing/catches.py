"""Bucket and watch: what the auger and the pump really deliver, and how sure that is."""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import stats

from trialkit.errors import SowingError, UnitError
from trialkit.language import say, say_counted
from trialkit.sowing.sensible import counted, listed, number, shown
from trialkit.units import convert

#: A watch in the hand is off by about this, s. Common practice, no source.
_WATCH_S = 0.5

#: The watch may cost this share of a catch, %, before a word is said. Common practice, no source.
_WATCH_PCT = 4.0

_MOST_CATCHES = 200


@dataclass(frozen=True, slots=True)
class Catches:
    """Timed catches of one machine at one setting.

    Parameters
    ----------
    rate
        Mean rate, in `unit`.
    unit
        `"t/h"` for an auger, `"l/min"` for a pump.
    rates
        Rate of each catch.
    cv_pct
        Spread: standard deviation of the catches, % of the mean; None for one catch.
    low, high
        Confidence interval of the mean rate; None for one catch.
    confidence
        Confidence level of that interval.
    tolerance_pct
        Half its width, % of the mean; None for one catch.
    within_pct
        Tolerance wanted.
    trusted
        Whether the mean is known within the tolerance wanted.
    catches_needed
        Catches that this spread takes to get there; None for one catch, or where 200 would not
        do.
    warnings
        Sentences on what is wrong with the catches.
    """

    rate: float
    unit: str
    rates: tuple[float, ...]
    cv_pct: float | None
    low: float | None
    high: float | None
    confidence: float
    tolerance_pct: float | None
    within_pct: float
    trusted: bool
    catches_needed: int | None
    warnings: tuple[str, ...]

    def words(self) -> str:
        """Return the rate with its tolerance as a person writes it."""
        n, rate, unit = len(self.rates), shown(self.rate), self.unit
        if self.tolerance_pct is None:
            return say_counted(
                "{rate} {unit} from {count:,} catch; the spread is not known",
                "{rate} {unit} from {count:,} catches; the spread is not known",
                n,
                rate=rate,
                unit=unit,
            )
        return say_counted(
            "{rate} {unit} ± {tolerance:.1f}% from {count:,} catch",
            "{rate} {unit} ± {tolerance:.1f}% from {count:,} catches",
            n,
            rate=rate,
            unit=unit,
            tolerance=self.tolerance_pct,
        )


def auger_catches(
    kg: Sequence[float],
    seconds: Sequence[float] | float,
    *,
    unit: str = "kg",
    within_pct: float = 5.0,
    confidence: float = 0.95,
) -> Catches:
    """Return what an auger delivers, from seed caught and weighed.

    Parameters
    ----------
    kg
        Seed in each catch, in `unit`.
    seconds
        Length of each catch, s; one number if all were alike.
    unit
        Unit of the catches, such as `"kg"` or `"lb"`.
    within_pct
        Tolerance wanted for the mean, ± %.
    confidence
        Confidence level of the tolerance, as a share.

    Returns
    -------
    Catches
        Rate in t/h, spread and tolerance.

    Raises
    ------
    SowingError
        If the catches make no sense.

    Examples
    --------
    Three catches of half a minute:

    >>> auger_catches([332, 334, 334], 30).words()
    '40 t/h ± 0.9% from 3 catches'
    """
    kilograms = _amounts(kg, "auger", unit, "kg")
    hours = [second / 3600 for second in _seconds(seconds, len(kilograms))]
    rates = [mass / 1000 / hour for mass, hour in zip(kilograms, hours, strict=True)]
    number(max(rates), "flow of the auger", "t/h", 0.01, 1000)
    return _summed_up(rates, hours, "t/h", within_pct, confidence)


def pump_catches(
    litres: Sequence[float],
    seconds: Sequence[float] | float,
    *,
    unit: str = "l",
    within_pct: float = 5.0,
    confidence: float = 0.95,
) -> Catches:
    """Return what a pump delivers, from liquid caught in a measuring jug.

    Parameters
    ----------
    litres
        Liquid in each catch, in `unit`.
    seconds
        Length of each catch, s; one number if all were alike.
    unit
        Unit of the catches, such as `"l"`, `"ml"` or `"floz"`.
    within_pct
        Tolerance wanted for the mean, ± %.
    confidence
        Confidence level of the tolerance, as a share.

    Returns
    -------
    Catches
        Rate in l/min, spread and tolerance.

    Raises
    ------
    SowingError
        If the catches make no sense.

    Examples
    --------
    >>> pump_catches([3.3, 3.35, 3.36, 3.34], 30).words()
    '6.675 l/min ± 1.3% from 4 catches'
    """
    caught = _amounts(litres, "pump", unit, "l")
    minutes = [second / 60 for second in _seconds(seconds, len(caught))]
    rates = [volume / minute for volume, minute in zip(caught, minutes, strict=True)]
    number(max(rates), "flow of the pump", "l/min", 0.0005, 2000)
    return _summed_up(rates, [m / 60 for m in minutes], "l/min", within_pct, confidence)


def _amounts(caught: object, machine: str, unit: object, base: str) -> list[float]:
    """Return what was caught, in the base unit."""
    factor = _factor(unit, base)
    amounts = listed(caught)
    if not amounts:
        raise SowingError(
            f"There are no catches of the {machine}. Give what each caught: [3.3, 3.4, 3.3]."
        )
    return [
        number(amount, f"catch {at} of the {machine}", str(unit), 1e-6, 1e6) * factor
        for at, amount in enumerate(amounts, start=1)
    ]


def _factor(unit: object, base: str) -> float:
    if isinstance(unit, str):
        with contextlib.suppress(UnitError):
            return convert(1.0, unit, base)
    kind = "weight, such as kg or lb" if base == "kg" else "volume, such as l, ml or floz"
    raise SowingError(f"The unit of the catches is {unit!r}. Give a {kind}.")


def _seconds(seconds: object, catches: int) -> list[float]:
    times = listed(seconds)
    if times is None:
        times = [seconds] * catches
    if len(times) != catches:
        raise SowingError(
            f"There are {counted(catches, 'catch', 'catches')} and "
            f"{counted(len(times), 'time')}. Give one time a catch, or one for all."
        )
    return [
        number(second, f"time of catch {at}", "s", 1, 86_400)
        for at, second in enumerate(times, start=1)
    ]


def _summed_up(
    rates: list[float], hours: list[float], unit: str, within_pct: float, confidence: float
) -> Catches:
    within = number(within_pct, "tolerance wanted", "%", 0.1, 50)
    level = number(confidence, "confidence", "", 0.5, 0.999)
    mean = float(np.mean(rates))
    n = len(rates)
    cv = low = high = tolerance = needed = None
    if n > 1:
        error = float(np.std(rates, ddof=1))
        cv = 100 * error / mean
        reach = float(stats.t.isf((1 - level) / 2, n - 1)) * error / math.sqrt(n)
        low, high, tolerance = max(mean - reach, 0.0), mean + reach, 100 * reach / mean
        needed = _catches_needed(cv, within, level)
    trusted = tolerance is not None and tolerance <= within
    return Catches(
        rate=mean,
        unit=unit,
        rates=tuple(rates),
        cv_pct=cv,
        low=low,
        high=high,
        confidence=level,
        tolerance_pct=tolerance,
        within_pct=within,
        trusted=trusted,
        catches_needed=needed,
        warnings=tuple(_catch_warnings(n, cv, tolerance, within, needed, min(hours) * 3600)),
    )


def _catches_needed(cv_pct: float, within_pct: float, confidence: float) -> int | None:
    enough = np.flatnonzero(_reaches(confidence) * cv_pct <= within_pct)
    return int(enough[0]) + 2 if enough.size else None


@cache
def _reaches(confidence: float) -> np.ndarray:
    """Return half the interval of a mean of 2, 3 ... catches, in standard deviations of one."""
    n = np.arange(2, _MOST_CATCHES + 1)
    reaches: np.ndarray = stats.t.isf((1 - confidence) / 2, n - 1) / np.sqrt(n)
    return reaches


def _catch_warnings(
    n: int,
    cv: float | None,
    tolerance: float | None,
    within: float,
    needed: int | None,
    shortest_s: float,
) -> list[str]:
    said = []
    if cv is None or tolerance is None:
        said.append(
            say("One catch shows no spread, so nobody knows how far it is off. Take three.")
        )
    elif tolerance > within:
        spread = say(
            "The {catches:,} catches spread too far to trust: {cv:.1f}% about the mean, so the "
            "mean is known to ±{tolerance:.1f}%, and ±{within}% is wanted.",
            catches=n,
            cv=cv,
            tolerance=tolerance,
            within=shown(within),
        )
        said.append(f"{spread} {_more_catches(needed)}")
    if 100 * _WATCH_S / shortest_s > _WATCH_PCT:
        said.append(
            say(
                "A catch of {seconds} s is short: half a second on the watch is {share:.0%} of it. "
                "Catch for half a minute.",
                seconds=shown(shortest_s),
                share=_WATCH_S / shortest_s,
            )
        )
    return said


def _more_catches(needed: int | None) -> str:
    if not needed:
        return say(
            "More catches will not help at this spread; first look for what makes it uneven: air, "
            "a strainer, an auger not full."
        )
    return say_counted(
        "It takes about {count:,} catch at this spread; first look for what makes it uneven: air, "
        "a strainer, an auger not full.",
        "It takes about {count:,} catches at this spread; first look for what makes it uneven: "
        "air, a strainer, an auger not full.",
        needed,
    )
