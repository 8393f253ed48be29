"""Frost by height: the line of the loggers, put to the strips and into the mixed model."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from trialkit.errors import ScoutingError
from trialkit.models import fit_mixed, gains_along, interaction
from trialkit.scouting import cold_by_height, cold_by_strip, frost_nights

HEIGHTS = {"a": -2.0, "b": -0.5, "c": 0.5, "d": 2.0}


def temperatures(heights, lapse=1.0, nights=3, noise=0.3, gap=None):
    draw = np.random.default_rng(8)
    times = pd.date_range("2024-09-10 12:00", periods=48 * nights + 1, freq="30min")
    hour = (times.hour + times.minute / 60).to_numpy()
    cold = (hour > 1) & (hour < 7)
    parts = []
    for logger, height in heights.items():
        dip = np.where(cold, -4 + lapse * height + noise * draw.standard_normal(), 6.0)
        parts.append(pd.DataFrame({"logger": logger, "time": times, "temperature_c": dip}))
    table = pd.concat(parts)
    if gap:
        missing = (table["logger"] == gap) & table["time"].between("2024-09-11 02", "2024-09-11 05")
        table = table[~missing]
    return table


def places(heights):
    return pd.DataFrame({"logger": list(heights), "relative_height_m": list(heights.values())})


def test_the_line_is_that_of_least_squares():
    found = cold_by_height(frost_nights(temperatures(HEIGHTS)), places(HEIGHTS))
    own = found.loggers
    ols = sm.OLS(own["degree_hours"], sm.add_constant(own["relative_height_m"])).fit()
    assert found.per_m == pytest.approx(ols.params["relative_height_m"])
    assert found.std_error == pytest.approx(ols.bse["relative_height_m"])
    assert (found.low, found.high) == pytest.approx(tuple(ols.conf_int().loc["relative_height_m"]))
    strips = pd.DataFrame({"strip": ["S1", "S2"], "relative_height_m": [-1.0, 1.0]})
    at = cold_by_strip(found, strips)
    said = ols.get_prediction(sm.add_constant(strips["relative_height_m"])).summary_frame()
    assert at["cold_degree_hours"].tolist() == pytest.approx(said["mean"].tolist())
    assert at["std_error"].tolist() == pytest.approx(said["mean_se"].tolist())
    assert found.per_m < 0
    assert found.nights == 3
    assert "for each metre higher" in found.sentence


def test_a_night_with_a_gap_is_left_out_for_all():
    found = cold_by_height(frost_nights(temperatures(HEIGHTS, noise=0, gap="a")), places(HEIGHTS))
    assert found.nights == 2
    per_night = found.loggers["degree_hours"].to_numpy() / 2
    whole = cold_by_height(frost_nights(temperatures(HEIGHTS, noise=0)), places(HEIGHTS))
    assert per_night == pytest.approx(whole.loggers["degree_hours"].to_numpy() / 3)


def test_one_logger_cannot_tell():
    frost = frost_nights(temperatures({"a": 0.0}))
    with pytest.raises(ScoutingError, match=r"One logger with a known height.*relative_height_m"):
        cold_by_height(frost, places(HEIGHTS))
    with pytest.raises(ScoutingError, match="No logger with a known height"):
        cold_by_height(frost, places({"z": 1.0}))


def test_through_two_loggers_a_line_always_goes():
    two = {"a": -2.0, "d": 2.0}
    found = cold_by_height(frost_nights(temperatures(two)), places(two))
    assert np.isnan(found.std_error)
    assert (found.low, found.high) == (-np.inf, np.inf)
    assert "a third would tell" in found.sentence
    at = cold_by_strip(found, pd.DataFrame({"strip": ["S1"], "relative_height_m": [0.0]}))
    assert np.isnan(at["std_error"][0])


def test_loggers_that_disagree_settle_nothing():
    found = cold_by_height(
        frost_nights(temperatures(HEIGHTS, lapse=0.05, noise=2.0)), places(HEIGHTS)
    )
    assert found.low < 0 < found.high
    assert "do not settle that height matters" in found.sentence


def test_the_covariate_enters_the_model(layout):
    frost = frost_nights(temperatures({"a": -2.0, "b": 0.0, "c": 2.0}))
    line = cold_by_height(frost, places({"a": -2.0, "b": 0.0, "c": 2.0}))
    draw = np.random.default_rng(4)
    heights = np.repeat(np.linspace(-1.8, 1.8, 6), 2) + 0.1 * draw.standard_normal(12)
    records = pd.DataFrame(
        {"strip": layout["strip"].repeat(3), "relative_height_m": np.repeat(heights, 3)}
    )
    table = layout.merge(cold_by_strip(line, records), on="strip")
    gain = 0.1 + 0.02 * table["cold_degree_hours"] * (table["treatment"] == "dressed")
    table["yield_t_ha"] = 3 - 0.03 * table["cold_degree_hours"] + gain
    table["yield_t_ha"] += 0.05 * draw.standard_normal(12)
    fit = fit_mixed("yield_t_ha ~ treatment * cold_degree_hours", table, ["block"])
    along = gains_along(fit, "treatment", "cold_degree_hours", against="untreated")
    slope = np.polyfit(along["at"], along["estimate"], 1)[0]
    assert slope == pytest.approx(0.02, abs=0.01)
    # The same question asked by height: another unit, the same test.
    by_height = fit_mixed("yield_t_ha ~ treatment * relative_height_m", table, ["block"])
    first = interaction(fit, "treatment", "cold_degree_hours")
    second = interaction(by_height, "treatment", "relative_height_m")
    assert first.p == pytest.approx(second.p, rel=1e-4)


def test_strips_beyond_the_loggers_are_marked():
    line = cold_by_height(frost_nights(temperatures(HEIGHTS)), places(HEIGHTS))
    at = cold_by_strip(
        line, pd.DataFrame({"strip": ["S1", "S2"], "relative_height_m": [-1.0, 30.0]})
    )
    assert at["outside"].tolist() == [False, True]
    assert at["cold_degree_hours"].tolist()[1] == 0


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"places": places({"a": 0.0, "b": 0.1})}, "differ by 0.10 m only"),
        (
            {"places": pd.concat([places(HEIGHTS), places({"a": 1.0})])},
            "Logger a has two places",
        ),
        ({"threshold_c": -3.0}, r"Nobody looked below threshold_c=-3. There are: 0, -2, -4"),
        ({"confidence": 95}, "confidence=95 is out of range"),
        ({"places": pd.DataFrame({"logger": ["a"]})}, "no column 'relative_height_m'"),
    ],
)
def test_what_makes_no_line(change, message):
    given = {"places": places(HEIGHTS)} | change
    with pytest.raises(ScoutingError, match=message):
        cold_by_height(frost_nights(temperatures(HEIGHTS)), given.pop("places"), **given)


def test_no_night_in_common():
    table = temperatures({"a": -2.0, "d": 2.0}, nights=2)
    first = (table["logger"] == "a") == (table["time"] < "2024-09-11 12:00")
    with pytest.raises(ScoutingError, match="no night that all of a, d recorded whole"):
        cold_by_height(frost_nights(table[first]), places({"a": -2.0, "d": 2.0}))


def test_strips_without_height():
    line = cold_by_height(frost_nights(temperatures(HEIGHTS)), places(HEIGHTS))
    with pytest.raises(ScoutingError, match="No strip has a relative_height_m"):
        cold_by_strip(line, pd.DataFrame({"strip": ["S1"], "relative_height_m": [np.nan]}))
