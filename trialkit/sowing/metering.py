"""Setting the meter anew for damp dressed seed, so that both arms get the same seeds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trialkit.errors import SowingError
from trialkit.language import say
from trialkit.sowing.sensible import listed, number, shown

#: A difference in seeds below this is not worth turning the meter for, %. Common practice, no
#: source.
_WORTH_PCT = 2.0

#: Beyond this change a meter need not follow its scale in proportion, %. Common practice, no
#: source.
_FAR_PCT = 25.0


@dataclass(frozen=True, slots=True)
class Recalibration:
    """What dressing does to the meter, and where to set it.

    Parameters
    ----------
    seeds_change_pct
        Seeds that the meter gives of dressed seed at the old setting, against bare seed, %.
    low_pct, high_pct
        Confidence interval of that; None where either seed was caught once.
    setting
        The setting for bare seed.
    new_setting
        The setting for dressed seed, in proportion.
    catch_kg
        What a catch of dressed seed must weigh at the new setting to hold the seeds of the bare
        catch, kg.
    needed
        Whether the change is large enough to set the meter anew.
    warnings
        Sentences on what to look out for.
    """

    seeds_change_pct: float
    low_pct: float | None
    high_pct: float | None
    setting: float
    new_setting: float
    catch_kg: float
    needed: bool
    warnings: tuple[str, ...]


def recalibrate(
    setting: float,
    bare_kg: float | Sequence[float],
    dressed_kg: float | Sequence[float],
    *,
    weight_gain_pct: float,
    confidence: float = 0.95,
) -> Recalibration:
    """Return where to set the meter for dressed seed.

    Catch bare seed and dressed seed at the same setting over the same turns of the meter or the
    same metres. Dressing changes two things: each seed weighs more, and damp seed packs and flows
    otherwise, so that the meter's cells hold fewer or more of them. A scale alone cannot tell the
    two apart; the known gain in weight can.

    Parameters
    ----------
    setting
        The meter's setting at both catches.
    bare_kg
        Bare seed caught, kg; several catches if you can.
    dressed_kg
        Dressed seed caught, kg, over the same turns.
    weight_gain_pct
        What the seed gained in weight, %, as in `MixPlan.weight_gain_pct`.
    confidence
        Confidence level of the interval, as a share.

    Returns
    -------
    Recalibration
        Change in seeds, the new setting, and what its catch must weigh.

    Raises
    ------
    SowingError
        If a number makes no sense.

    Notes
    -----
    Seeds change by (dressed / (1 + gain)) / bare. The new setting takes the meter to give seed in
    proportion to its setting: catch once more there.

    Examples
    --------
    >>> new = recalibrate(40, [10.0, 10.1, 9.9], [9.7, 9.6, 9.8], weight_gain_pct=1.0)
    >>> round(new.seeds_change_pct, 2), round(new.new_setting, 2), round(new.catch_kg, 2)
    (-3.96, 41.65, 10.1)
    """
    start = number(setting, "setting of the meter", "", 1e-3, 1e5)
    gain = 1 + number(weight_gain_pct, "weight gain", "%", 0, 30) / 100
    level = number(confidence, "confidence", "", 0.5, 0.999)
    bare, dressed = _catches(bare_kg, "bare seed"), _catches(dressed_kg, "dressed seed")
    ratio = float(dressed.mean() / gain / bare.mean())
    reach = _reach(bare, dressed, level)
    change = 100 * (ratio - 1)
    return Recalibration(
        seeds_change_pct=change,
        low_pct=None if reach is None else 100 * (ratio * math.exp(-reach) - 1),
        high_pct=None if reach is None else 100 * (ratio * math.exp(reach) - 1),
        setting=start,
        new_setting=start / ratio,
        catch_kg=float(bare.mean()) * gain,
        needed=abs(change) >= _WORTH_PCT,
        warnings=tuple(_warnings(change, reach)),
    )


def _catches(kg: object, words: str) -> np.ndarray:
    given = listed(kg)
    if given is None:
        given = [kg]
    if not given:
        raise SowingError(f"There is no catch of {words}. Give its weight, kg.")
    return np.array([number(value, f"catch of {words}", "kg", 1e-4, 1e5) for value in given])


def _reach(bare: np.ndarray, dressed: np.ndarray, confidence: float) -> float | None:
    """Return half the interval of the log ratio of two means (Welch); None for single catches."""
    if len(bare) < 2 or len(dressed) < 2:
        return None
    parts = [float(c.var(ddof=1) / len(c) / c.mean() ** 2) for c in (bare, dressed)]
    total = sum(parts)
    if total == 0:
        return 0.0
    df = total**2 / sum(p**2 / (len(c) - 1) for p, c in zip(parts, (bare, dressed), strict=True))
    return min(float(stats.t.isf((1 - confidence) / 2, df)) * math.sqrt(total), 50.0)


def _warnings(change: float, reach: float | None) -> list[str]:
    said = []
    if reach is None:
        said.append(
            say(
                "With a single catch nobody knows whether the difference is more than the next "
                "catch would make. Catch both three times."
            )
        )
    elif 100 * reach > max(_WORTH_PCT, abs(change)):
        said.append(
            say(
                "The catches spread by ±{reach:.1%}, more than the difference of {change}%: the "
                "meter may not differ at all. Catch more.",
                reach=reach,
                change=shown(abs(change)),
            )
        )
    if abs(change) > _FAR_PCT:
        said.append(
            say(
                "The dressed seed runs {change:+.0f}%. That is more than damp seed does: look for "
                "bridging or a blocked meter, and let the seed dry. Lock out the drive before you "
                "reach in.",
                change=change,
            )
        )
    if abs(change) >= _WORTH_PCT:
        said.append(
            say(
                "The new setting takes the meter to be in proportion to its scale. Catch again "
                "there."
            )
        )
    return said
