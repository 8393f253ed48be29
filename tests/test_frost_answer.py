"""The gain along the cold: found where it was put, not found where it was not."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from trialkit import frost_answer
from trialkit.errors import LogError
from trialkit.frost_answer import (
    NOT_FOR_THIS,
    cold_line,
    gain_along_cold,
    logger_heights,
    place_words,
)
from trialkit.report import numbers
from trialkit.scouting import ColdByHeight
from trialkit.trial import Scouted, open_trial

#: The ground has a slope of 0.01 over 300 m, so surroundings of 1,000 m make height a straight line
#: but for the smoothing of its ends.
WIDE_M = 1000.0


@pytest.fixture
def config(trial_folder):
    return open_trial(trial_folder).config


def ground(config, gain, noise=0.0, seed=1, pairs=6, flat=()):
    """Strips 24 m wide and 300 m long that fall to the south by 3 m; `gain` of metres above it."""
    draw = np.random.default_rng(seed)
    north = np.arange(2.5, 300, 5.0)
    rows = []
    for strip in range(2 * pairs):
        block, arm = strip // 2, ("untreated", "dressed")[(strip + strip // 2) % 2]
        height = np.full(north.size, 1.5) if strip in flat else 0.01 * north
        own = 3 + 0.1 * draw.standard_normal() + 0.2 * height
        added = gain(height) if arm == "dressed" else 0.0
        rows += [
            pd.DataFrame(
                {
                    "strip": f"S{strip + 1}",
                    "block": f"B{block + 1}",
                    "treatment": arm,
                    "x_m": 24.0 * strip + lane,
                    "y_m": north,
                    "elevation_m": 100 + height,
                    "yield_t_ha": own + added + noise * draw.standard_normal(north.size),
                    "kept": True,
                }
            )
            for lane in (6, 18)
        ]
    return pd.concat(rows, ignore_index=True)


def test_a_gain_that_grows_downhill_is_found_as_it_is(config):
    log = ground(config, lambda height: 0.5 - 0.1 * height, noise=0.002)
    found = gain_along_cold(log, config, around_m=WIDE_M)
    assert found.measure == "below_surroundings_m"
    span = found.gains["at"].iloc[-1] - found.gains["at"].iloc[0]
    change = found.change.loc["dressed"]
    # A tenth of a tonne for each metre, but for the smoothing of heights along the edge.
    assert change["estimate"] == pytest.approx(0.1 * span, rel=0.05)
    assert change["df"] == pytest.approx(5)
    assert "The gain grows with the cold" in found.sentences[0]
    assert NOT_FOR_THIS in found.notes


def test_the_gain_in_the_middle_is_that_of_the_strips(config):
    log = ground(config, lambda height: 0.5 - 0.1 * height, noise=0.1)
    found = gain_along_cold(log, config, around_m=WIDE_M)
    means = log.groupby(["block", "treatment"])["yield_t_ha"].mean().unstack()  # noqa: PD010
    middle = found.gains["estimate"].iloc[len(found.gains) // 2]
    difference = means["dressed"] - means["untreated"]
    assert middle == pytest.approx(difference.mean(), abs=0.02)  # the grid's middle is not the mean
    error = found.gains["std_error"].iloc[len(found.gains) // 2]
    assert error == pytest.approx(difference.std(ddof=1) / math.sqrt(6), rel=0.1)


def test_the_slopes_are_compared_as_a_paired_t_test(config):
    """Against slopes fitted by NumPy, strip by strip, and SciPy's paired t test."""
    from scipy.stats import ttest_1samp

    log = ground(config, lambda height: 0.3 - 0.05 * height, noise=0.3)
    found = gain_along_cold(log, config, around_m=WIDE_M)
    wide = found.strips.pivot_table(index="block", columns="treatment", values="slope_t_ha")
    expected = ttest_1samp(wide["dressed"] - wide["untreated"], 0.0)
    assert found.change.loc["dressed", "p"] == pytest.approx(expected.pvalue, rel=1e-6)
    from trialkit.harvest import add_relief

    relief = add_relief(log, around_m=WIDE_M)
    own = relief[relief["strip"] == "S3"]
    slope = np.polyfit(-own["relative_height_m"], own["yield_t_ha"], 1)[0]
    fitted = found.strips.set_index("strip").loc["S3", "slope_t_ha"]
    assert fitted == pytest.approx(slope, rel=1e-6)


def test_the_same_gain_everywhere_is_seldom_called(config):
    called = 0
    for seed in range(20):
        log = ground(config, lambda height: np.full(height.size, 0.2), noise=0.3, seed=seed)
        called += gain_along_cold(log, config, around_m=WIDE_M).change["p"].iloc[0] < 0.05
    # Of 20 at 5%, more than 4 come up once in 400 times.
    assert called <= 4


def test_a_loss_where_it_is_cold_is_no_protection(config):
    log = ground(config, lambda height: 0.1 * height, noise=0.02)
    found = gain_along_cold(log, config, around_m=WIDE_M)
    assert found.change["estimate"].iloc[0] < 0
    assert "no protection from frost" in found.sentences[0]


def test_cold_comes_from_the_loggers_where_there_are_any(config):
    loggers = pd.DataFrame(
        {
            "logger": ["low", "mid", "top"],
            "relative_height_m": [-1.5, 0.0, 1.5],
            "degree_hours": [30.0, 15, 0],
        }
    )
    line = ColdByHeight(-10.0, 0.1, -11, -9, 15.0, 0.0, 0.1, loggers, 0.0, 4, 0.95, "Said.")
    log = ground(config, lambda height: 0.5 - 0.1 * height, noise=0.05)
    with_line = gain_along_cold(log, config, line=line, around_m=WIDE_M)
    without = gain_along_cold(log, config, around_m=WIDE_M)
    assert with_line.measure == "cold_degree_hours"
    assert "Said." in with_line.notes
    # Ten degree-hours a metre: a straight line changes the scale and no test.
    assert with_line.gains["at"].tolist() == pytest.approx(
        (15 + 10 * without.gains["at"]).tolist(), abs=0.05
    )
    assert with_line.change["p"].iloc[0] == pytest.approx(without.change["p"].iloc[0], rel=0.2)
    assert "°C h of frost" in with_line.sentences[0]


def test_strips_without_low_and_high_ground_are_left_out_by_name(config):
    log = ground(config, lambda height: 0.5 - 0.1 * height, noise=0.05, flat=(2, 3))
    # Every strip keeps its own heights: the smoothing reaches over a strip's edge by a few metres.
    found = gain_along_cold(log, config, around_m=WIDE_M)
    assert set(found.strips["strip"]) == {f"S{n}" for n in range(1, 13) if n not in (3, 4)}
    assert any("S3 and S4" in note for note in found.notes)


def test_ground_without_any_slope_has_no_answer(config):
    log = ground(config, lambda height: 0 * height, flat=range(12))
    with pytest.raises(LogError, match="No strip has ground both colder and milder"):
        gain_along_cold(log, config)


def test_the_height_of_a_logger_is_given_or_found():
    relief = pd.DataFrame(
        {
            "longitude": [85.0, 85.0001, 85.01],
            "latitude": [-38.5, -38.5, -38.5],
            "relative_height_m": [-1.0, -2.0, 5.0],
            "strip": ["S1", "S1", "S2"],
        }
    )
    nan = float("nan")
    places = pd.DataFrame(
        [
            ["given", "S2", 85.0, -38.5, 0.7],
            ["near", "", 85.00005, -38.5, nan],
            ["far", "", 85.5, -38.5, nan],
            ["strip", "S2", nan, nan, nan],
        ],
        columns=["logger", "strip", "longitude", "latitude", "relative_height_m"],
    )
    found = logger_heights(places, relief)["relative_height_m"].tolist()
    assert found[:2] == [0.7, -1.5]
    assert math.isnan(found[2])
    assert found[3] == 5.0


def test_without_loggers_there_is_a_reason_and_no_line():
    nothing = Scouted(None, None, None, None, None, None, "", (), ())
    line, why = cold_line(nothing, pd.DataFrame())
    assert line is None
    assert "[scouting.temperatures.places]" in why


def test_places_in_words():
    assert place_words(12.34, "cold_degree_hours") == "12 °C h of frost"
    assert place_words(0.74, "below_surroundings_m") == "0.7 m below its surroundings"
    assert place_words(-0.74, "below_surroundings_m") == "0.7 m above its surroundings"


@pytest.mark.parametrize("per_m", [-0.1, 0.0, 0.1])
@pytest.mark.parametrize("logged", [True, False])
def test_every_answer_is_said_whole(config, said_whole, per_m, logged):
    loggers = pd.DataFrame(
        {"logger": ["low", "top"], "relative_height_m": [-0.5, 0.5], "degree_hours": [20.0, 10]}
    )
    line = ColdByHeight(-10.0, 0.1, -11, -9, 15.0, 0.0, 0.1, loggers, 0.0, 4, 0.95, "")
    log = ground(config, lambda height: 0.5 + per_m * height, noise=0.05, flat=(2, 3))

    def told():
        found = gain_along_cold(log, config, line=line if logged else None, around_m=WIDE_M)
        assert found.measure == ("cold_degree_hours" if logged else "below_surroundings_m")
        return [*found.sentences, *found.notes]

    said = said_whole(told, frost_answer, numbers)
    assert "dressed" in said[0]
    assert "," in said[0]


def test_the_reason_for_no_line_is_said_whole(said_whole):
    nothing = Scouted(None, None, None, None, None, None, "", (), ())
    said_whole(lambda: [cold_line(nothing, pd.DataFrame())[1]], frost_answer)
