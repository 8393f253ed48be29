from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.harvest import PassEnds
from trialkit.language import speaking
from trialkit.report.captions import moisture_delay_used
from trialkit.report.curves import flow_curve


@pytest.fixture
def ends():
    seconds = np.arange(45.0)
    curve = pd.concat(
        pd.DataFrame({"end": end, "seconds": seconds, "share": np.minimum(1, 0.1 + seconds / top)})
        for end, top in (("start", 9), ("end", 6))
    )
    return PassEnds(9.0, 10.0, True, False, curve, 24)


def test_the_flow_curve_shows_both_ends_and_the_limits(ends):
    picture = flow_curve(ends)
    assert set(picture.plot.data["side"]) == {
        "Seconds since grain came",
        "Seconds until grain ends",
    }
    assert "24 passes" in picture.alt
    assert "9 s at the start" in picture.alt
    assert "10 s at the end (the usual; the log does not show it)" in picture.alt
    assert picture.drawn("svg").startswith(b"<?xml")


def test_limits_that_were_given_are_drawn(ends):
    picture = flow_curve(ends, (15.0, 4.0))
    assert "15 s at the start" in picture.alt
    assert picture.drawn("svg") != flow_curve(ends).drawn("svg")


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("given", "put back by 14.0 s: as trial.toml says."),
        ("estimated", "found by passes side by side"),
        ("grain flow", "the same as the grain's, since the moisture itself does not tell"),
    ],
)
def test_where_the_delay_of_the_moisture_comes_from(source, words):
    assert words in moisture_delay_used(14.0, source)


def test_the_flow_curve_in_another_language(ends, german, words_in):
    language = german(
        {
            "Seconds since grain came": "Sekunden, seit Korn kommt",
            "Share of the usual yield": "Anteil am Ertrag",
            "The moisture was put back by {delay:.1f} s: as trial.toml says.": "{delay:.1f} s",
        }
    )
    with speaking(language):
        picture = flow_curve(ends)
        drawn = words_in(picture)
        assert moisture_delay_used(9.5, "given") == "9,5 s"
    assert {"Sekunden, seit Korn kommt", "Anteil am Ertrag", "0,50"} <= drawn
    assert "Seconds until grain ends" in drawn  # what a language lacks is said in English
    assert set(picture.plot.data["side"]) == {
        "Seconds since grain came",
        "Seconds until grain ends",
    }
