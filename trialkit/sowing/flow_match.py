"""Whether pump and auger together put on the seed what was wanted."""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from trialkit.errors import SowingError
from trialkit.language import marked, say
from trialkit.sowing.catches import Catches
from trialkit.sowing.sensible import number, shown

#: A treatment rate may be exceeded by 10% at most; seed that flows uncalibrated can be off by 20%
#: (both as cited on the accuracy of seed treating).
RATE_TOLERANCE_PCT = 10.0


_MATCHES = {
    "right": marked("That is within ±{within}%."),
    "wrong": marked("That is not within ±{within}%: set the pump to {setting} l/min."),
    "not sure": marked("Whether that is within ±{within}% is not sure: take more catches."),
}


@dataclass(frozen=True, slots=True)
class FlowMatch:
    """What pump and auger together put on the seed, against what was wanted.

    Parameters
    ----------
    rate_l_t
        Mix that comes on a tonne of seed, l/t.
    wanted_l_t
        Mix wanted, l/t.
    pump_wanted_l_min
        Pump flow that would match, l/min.
    off_pct
        How far the rate is off, %.
    low_pct, high_pct
        Confidence interval of that; None where auger or pump had one catch.
    tolerance_pct
        How far it may be off.
    verdict
        `"right"`, `"wrong"` or `"not sure"`.
    sentence
        The same for a person.
    """

    rate_l_t: float
    wanted_l_t: float
    pump_wanted_l_min: float
    off_pct: float
    low_pct: float | None
    high_pct: float | None
    tolerance_pct: float
    verdict: str
    sentence: str


def match_flows(
    auger: Catches,
    pump: Catches,
    rate_l_t: float,
    *,
    tolerance_pct: float = RATE_TOLERANCE_PCT,
) -> FlowMatch:
    """Return whether the pump, as caught, matches the auger, as caught.

    Parameters
    ----------
    auger
        As from `auger_catches`.
    pump
        As from `pump_catches`, at the setting to be used.
    rate_l_t
        Mix wanted on a tonne of seed, l/t.
    tolerance_pct
        How far the rate may be off, ± %.

    Returns
    -------
    FlowMatch
        Rate on the seed, how far it is off, and whether that is within the tolerance: `"right"`
        if its whole confidence interval is, `"wrong"` if none of it is.

    Raises
    ------
    SowingError
        If the catches are of the wrong machine, or a number makes no sense.

    Notes
    -----
    The interval is that of a ratio of means on the log scale; relative variances add, and the
    degrees of freedom are Welch's (Welch 1947, Biometrika 34:28-35).

    Examples
    --------
    >>> from trialkit.sowing import auger_catches, pump_catches
    >>> auger = auger_catches([332, 334, 334], 30)
    >>> pump = pump_catches([3.3, 3.35, 3.36, 3.34], 30)
    >>> match_flows(auger, pump, 10).verdict
    'right'
    """
    machines = [getattr(catches, "unit", None) for catches in (auger, pump)]
    if machines != ["t/h", "l/min"]:
        raise SowingError("Give the auger's catches first, then the pump's.")
    wanted = number(rate_l_t, "rate of the mix", "l/t", 0.1, 100)
    allowed = number(tolerance_pct, "tolerance", "%", 0.1, 50)
    found = pump.rate * 60 / auger.rate
    low, high = _ratio_interval(auger, pump)
    ends = None if low is None or high is None else (
        100 * (found * low / wanted - 1),
        100 * (found * high / wanted - 1),
    )  # fmt: skip
    off = 100 * (found / wanted - 1)
    verdict = _verdict(off, ends, allowed)
    setting = wanted * auger.rate / 60
    return FlowMatch(
        rate_l_t=found,
        wanted_l_t=wanted,
        pump_wanted_l_min=setting,
        off_pct=off,
        low_pct=ends and ends[0],
        high_pct=ends and ends[1],
        tolerance_pct=allowed,
        verdict=verdict,
        sentence=_match_sentence(found, off, ends, allowed, verdict, setting),
    )


def _ratio_interval(auger: Catches, pump: Catches) -> tuple[float | None, float | None]:
    """Return the factors by which the ratio of the two means may be off."""
    if auger.cv_pct is None or pump.cv_pct is None:
        return None, None
    parts = [((catches.cv_pct or 0.0) / 100) ** 2 / len(catches.rates) for catches in (auger, pump)]
    total = sum(parts)
    if total == 0:
        return 1.0, 1.0
    df = total**2 / sum(
        part**2 / (len(catches.rates) - 1)
        for part, catches in zip(parts, (auger, pump), strict=True)
    )
    reach = float(stats.t.isf((1 - auger.confidence) / 2, df)) * math.sqrt(total)
    return math.exp(-reach), math.exp(min(reach, 50.0))


def _verdict(off: float, ends: tuple[float, float] | None, allowed: float) -> str:
    if ends is None:
        return "wrong" if abs(off) > allowed else "not sure"
    if -allowed <= ends[0] and ends[1] <= allowed:
        return "right"
    return "wrong" if ends[0] > allowed or ends[1] < -allowed else "not sure"


def _match_sentence(
    rate: float,
    off: float,
    ends: tuple[float, float] | None,
    allowed: float,
    verdict: str,
    setting: float,
) -> str:
    if ends is None:
        start = say(
            "Pump and auger put {rate} l/t on the seed, {off:+.1f}% (with no spread known).",
            rate=shown(rate),
            off=off,
        )
    else:
        start = say(
            "Pump and auger put {rate} l/t on the seed, {off:+.1f}% ({low:+.0f} to {high:+.0f}%).",
            rate=shown(rate),
            off=off,
            low=ends[0],
            high=ends[1],
        )
    return f"{start} {say(_MATCHES[verdict], within=shown(allowed), setting=shown(setting))}"
