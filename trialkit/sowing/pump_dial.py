"""Which mark on the pump's dial gives the flow wanted, from catches at two marks or more."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trialkit.errors import SowingError
from trialkit.language import say
from trialkit.sowing.sensible import listed, number, shown

#: How far beyond the catches a line may be drawn, as a share of their span. Common practice, no
#: source.
_BEYOND = 0.1

#: A catch this far off the line, % of the flow there, shows that the line is bent.
_BENT_PCT = 5.0


@dataclass(frozen=True, slots=True)
class DialSetting:
    """A mark on the dial, and the flow to expect there.

    Parameters
    ----------
    dial
        Where to set the dial.
    flow_l_min
        Flow wanted, l/min.
    low_l_min, high_l_min
        Confidence interval of the line's flow at that mark, l/min; None where two catches or
        no scatter leave none to be told.
    tolerance_pct
        Half its width, % of the flow.
    warnings
        Sentences on what to look out for.
    """

    dial: float
    flow_l_min: float
    low_l_min: float | None
    high_l_min: float | None
    tolerance_pct: float | None
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PumpLine:
    """A straight line of flow on dial.

    Parameters
    ----------
    slope, intercept
        Flow = intercept + slope × dial, l/min.
    dial_low, dial_high
        Least and greatest mark caught at.
    dial_mean, dial_spread
        Mean of the marks, and their sum of squares about it.
    points
        Number of catches.
    residual_l_min
        Scatter about the line, standard deviation, l/min; None for two catches.
    bent_pct
        The farthest catch off the line, % of the flow there (of a fifth of the largest at least).
    """

    slope: float
    intercept: float
    dial_low: float
    dial_high: float
    dial_mean: float
    dial_spread: float
    points: int
    residual_l_min: float | None
    bent_pct: float

    def flow_at(self, dial: float) -> float:
        """Return the line's flow at a mark, l/min.

        Parameters
        ----------
        dial
            The mark.
        """
        return self.intercept + self.slope * dial

    def dial_for(self, flow_l_min: float, *, confidence: float = 0.95) -> DialSetting:
        """Return the mark that gives a flow.

        Parameters
        ----------
        flow_l_min
            Flow wanted, l/min.
        confidence
            Confidence level of the tolerance, as a share.

        Raises
        ------
        SowingError
            If the flow lies more than a tenth of the span beyond the catches.
        """
        wanted = number(flow_l_min, "flow wanted", "l/min", 0.0005, 2000)
        level = number(confidence, "confidence", "", 0.5, 0.999)
        dial = (wanted - self.intercept) / self.slope
        reach = _BEYOND * (self.dial_high - self.dial_low)
        if not self.dial_low - reach <= dial <= self.dial_high + reach:
            flows = sorted((self.flow_at(self.dial_low), self.flow_at(self.dial_high)))
            raise SowingError(
                f"The flow wanted is {shown(wanted)} l/min, and the catches span {shown(flows[0])} "
                f"to {shown(flows[1])} l/min. A line is not to be drawn that far: catch at a mark "
                f"near {shown(wanted)} l/min too."
            )
        half = self._half_width(dial, level)
        return DialSetting(
            dial=dial,
            flow_l_min=wanted,
            low_l_min=None if half is None else max(wanted - half, 0.0),
            high_l_min=None if half is None else wanted + half,
            tolerance_pct=None if half is None else 100 * half / wanted,
            warnings=self._warnings(dial),
        )

    def _half_width(self, dial: float, confidence: float) -> float | None:
        if self.residual_l_min is None:
            return None
        t = float(stats.t.isf((1 - confidence) / 2, self.points - 2))
        share = 1 / self.points + (dial - self.dial_mean) ** 2 / self.dial_spread
        return t * self.residual_l_min * math.sqrt(share)

    def _warnings(self, dial: float) -> tuple[str, ...]:
        said = []
        if self.residual_l_min is None:
            said.append(
                say(
                    "Two catches always lie on a line, so its error is not known. Set the dial, "
                    "catch once more and compare."
                )
            )
        if self.bent_pct > _BENT_PCT:
            said.append(
                say(
                    "A catch lies {off:.0f}% off the line: this pump's flow is no straight line of "
                    "its dial, or a catch is wrong. Catch at marks near the flow wanted.",
                    off=self.bent_pct,
                )
            )
        if not self.dial_low <= dial <= self.dial_high:
            said.append(
                say(
                    "The mark {dial} lies beyond the catches ({low} to {high}). Catch there before "
                    "you use it.",
                    dial=shown(dial),
                    low=shown(self.dial_low),
                    high=shown(self.dial_high),
                )
            )
        return tuple(said)


def fit_pump_line(dial: Sequence[float], flow_l_min: Sequence[float]) -> PumpLine:
    """Fit flow as a straight line of the dial, by least squares.

    Parameters
    ----------
    dial
        Mark of each catch.
    flow_l_min
        Flow caught there, l/min, as from `pump_catches`.

    Returns
    -------
    PumpLine
        The line; `dial_for` gives the mark for a flow.

    Raises
    ------
    SowingError
        If there are not two different marks, or the flow does not rise or fall with them.

    Examples
    --------
    >>> line = fit_pump_line([2, 4, 6], [3.1, 6.0, 9.1])
    >>> setting = line.dial_for(6.67)
    >>> round(setting.dial, 2)
    4.4
    """
    marks = _numbers(dial, "dial mark", "", -1e6, 1e6)
    flows = _numbers(flow_l_min, "flow", "l/min", 0.0, 2000)
    if len(marks) != len(flows):
        raise SowingError(f"There are {len(marks)} marks and {len(flows)} flows. Give a flow each.")
    if len(set(marks.tolist())) < 2:
        raise SowingError(
            "A line takes catches at two different marks of the dial, three or more to know its "
            "error."
        )
    mean = float(marks.mean())
    spread = float(((marks - mean) ** 2).sum())
    slope = float(((marks - mean) * flows).sum() / spread)
    fitted = flows.mean() + slope * (marks - mean)
    if abs(slope) * (marks.max() - marks.min()) <= 1e-6 * flows.max():
        raise SowingError(
            "The flow does not change with the dial. Check that the dial works, and that the marks "
            "belong to the flows."
        )
    off = flows - fitted
    more = len(marks) > 2
    return PumpLine(
        slope=slope,
        intercept=float(flows.mean() - slope * mean),
        dial_low=float(marks.min()),
        dial_high=float(marks.max()),
        dial_mean=mean,
        dial_spread=spread,
        points=len(marks),
        residual_l_min=math.sqrt(float((off**2).sum()) / (len(marks) - 2)) if more else None,
        bent_pct=float(np.max(100 * np.abs(off) / np.maximum(np.abs(fitted), 0.2 * flows.max()))),
    )


def _numbers(values: object, words: str, unit: str, low: float, high: float) -> np.ndarray:
    given = listed(values)
    if not given:
        raise SowingError(f"There is no {words}. Give one a catch, such as [2, 4, 6].")
    return np.array([number(value, words, unit, low, high) for value in given])
