from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mizani.breaks import breaks_extended
from mizani.labels import label_number

from trialkit.language import speaking
from trialkit.report.pictures import tick_marks


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4))
def test_marks_are_those_that_the_drawing_library_gives_by_itself(low, span):
    breaks = breaks_extended(5)((low, low + span))
    assert tick_marks(breaks) == label_number()(breaks)


@pytest.mark.parametrize(
    ("breaks", "marks"),
    [([0, 0.25, 0.5], ["0.00", "0.25", "0.50"]), ([1000, 2000], ["1000", "2000"]), ([], [])],
)
def test_marks_have_the_decimals_that_they_need(breaks, marks):
    assert tick_marks(breaks) == marks


@pytest.mark.parametrize(("at", "mark"), [(0.5, "0.5"), (0.1 + 0.2, "0.3"), (1e6, "1000000")])
def test_a_mark_that_stands_alone_is_not_rounded_away(at, mark):
    assert tick_marks(np.array([at])) == [mark]


def test_marks_are_written_as_the_language_does(german):
    with speaking(german()):
        assert tick_marks([-0.5, 0, 0.5]) == ["-0,5", "0,0", "0,5"]
        assert tick_marks([2.5]) == ["2,5"]
