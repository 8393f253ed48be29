"""The pump's line against statsmodels' least squares."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm

from trialkit.errors import SowingError
from trialkit.sowing import fit_pump_line

# Two libraries' least squares on a handful of numbers.
LEAST_SQUARES = 1e-9

DIAL = [2, 3, 4, 5, 6, 6]
FLOW = [3.1, 4.4, 6.0, 7.6, 9.1, 9.0]


def test_line_and_interval_are_those_of_statsmodels():
    line = fit_pump_line(DIAL, FLOW)
    fit = sm.OLS(FLOW, sm.add_constant(np.array(DIAL, float))).fit()
    assert (line.intercept, line.slope) == pytest.approx(tuple(fit.params), rel=LEAST_SQUARES)
    assert line.residual_l_min == pytest.approx(math.sqrt(fit.mse_resid), rel=LEAST_SQUARES)
    setting = line.dial_for(6.67)
    assert line.flow_at(setting.dial) == pytest.approx(6.67, rel=LEAST_SQUARES)
    low, high = fit.get_prediction([[1, setting.dial]]).conf_int()[0]
    assert (setting.low_l_min, setting.high_l_min) == pytest.approx((low, high), rel=1e-7)
    assert setting.tolerance_pct == pytest.approx(50 * (high - low) / 6.67, rel=1e-7)
    assert setting.warnings == ()


def test_two_marks_make_a_line_of_unknown_error():
    setting = fit_pump_line([2, 6], [3.0, 9.0]).dial_for(6.0)
    assert setting.dial == pytest.approx(4)
    assert (setting.low_l_min, setting.tolerance_pct) == (None, None)
    assert "its error is not known" in setting.warnings[0]


def test_a_dial_that_turns_the_other_way():
    assert fit_pump_line([10, 20, 30], [9, 6, 3]).dial_for(7.5).dial == pytest.approx(15)


def test_a_little_beyond_the_catches_is_said_and_far_is_refused():
    line = fit_pump_line([2, 4, 6], [3, 6, 9])
    near = line.dial_for(9.5)
    assert "lies beyond the catches (2 to 6)" in near.warnings[0]
    with pytest.raises(SowingError, match=r"the catches span 3 to 9 l/min.*near 12 l/min too"):
        line.dial_for(12)
    with pytest.raises(SowingError, match="A line is not to be drawn that far"):
        line.dial_for(0.5)


def test_a_bent_pump_is_seen():
    setting = fit_pump_line([2, 4, 6, 8], [1, 5, 8, 9]).dial_for(6)
    assert "no straight line of its dial" in setting.warnings[0]


@pytest.mark.parametrize(
    ("dial", "flow", "says"),
    [
        ([4], [6], "two different marks"),
        ([4, 4], [6, 6.1], "two different marks"),
        ([2, 4], [6, 6], "flow does not change with the dial"),
        ([2, 4], [0, 0], "flow does not change with the dial"),
        ([2, 4], [6], "There are 2 marks and 1 flows"),
        ([], [], "There is no dial mark"),
        ([2, "4"], [3, 6], "dial mark is '4'"),
        ([2, math.nan], [3, 6], "dial mark is nan"),
        ([2, 4], [3, -6], "flow is -6 l/min"),
        ([2, 4], [3, True], "flow is True"),
    ],
)
def test_a_line_that_makes_no_sense(dial, flow, says):
    with pytest.raises(SowingError, match=says):
        fit_pump_line(dial, flow)
