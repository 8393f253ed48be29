"""Which nights could have hurt: the published chart, and what is not known said so."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ScoutingError
from trialkit.scouting import DAMAGE_THRESHOLDS, SCREEN_DIFFERENCE_C, frost_risk
from trialkit.scouting.damage import threshold_at


def seen(*pairs):
    days, stages = zip(*pairs, strict=True)
    return pd.DataFrame({"date": pd.to_datetime(list(days)), "stage": stages})


FLOWERING = seen(("2024-09-14", 65))


def night(coldest, hours=3.0, usual=6.0):
    """The night to 14 September: `hours` at `coldest`, else `usual`, °C."""
    times = pd.date_range("2024-09-13 12:00", "2024-09-14 12:00", freq="5min")
    away = np.asarray((times - pd.Timestamp("2024-09-14 03:00")) / pd.Timedelta(hours=1))
    values = np.where((away >= 0) & (away <= hours), coldest, usual)
    return pd.DataFrame({"logger": "hollow", "time": times, "temperature_c": values})


# Kansas State Univ. C-646, temperatures injurious to wheat if held two hours, °F; the handbook's
# °C beside them. One mirror of the chart prints 32 °F for flowering; the original has 30.
@pytest.mark.parametrize(
    ("stage", "fahrenheit", "celsius"),
    [
        (21, 12, -11.1),
        (31, 24, -4.4),
        (45, 28, -2.2),
        (55, 30, -1.1),
        (65, 30, -1.1),
        (75, 28, -2.2),
        (85, 28, -2.2),
    ],
)
def test_the_published_chart(stage, fahrenheit, celsius):
    own = next(t for t in DAMAGE_THRESHOLDS if t.stage_low <= stage <= t.stage_high)
    assert own.injurious_f == fahrenheit
    assert round(threshold_at(stage), 1) == celsius


def test_no_threshold_for_seedlings_and_ripe_grain():
    assert np.isnan(threshold_at(12))
    assert np.isnan(threshold_at(92))
    found = frost_risk(night(-8), seen(("2024-09-14", 12)), sensor="canopy")
    assert found.nights["verdict"].tolist() == ["no threshold"]
    assert found.sentences == ()


# CIMMYT Wheat Doctor: 1.5 °C in a screen at 1.5 m goes with 0 °C at the surface. GRDC Back Pocket
# Guide 2011: inspect the crop below 2 °C in the screen.
def test_the_screen_is_warmer_by_the_published_difference():
    assert SCREEN_DIFFERENCE_C == (1.5, 2.0)


@pytest.mark.parametrize(
    ("sensor", "coldest", "hours", "verdict"),
    [
        ("canopy", -1.2, 3.0, "could have hurt"),
        ("canopy", -1.0, 3.0, "not cold enough"),
        ("canopy", -1.2, 1.5, "not cold enough"),
        ("screen", 0.3, 3.0, "could have hurt"),  # 1.2 or more below at the crop
        ("screen", 0.6, 3.0, "may have hurt"),  # between 1.1 warmer and colder than the threshold
        ("screen", 1.0, 3.0, "not cold enough"),
    ],
)
def test_two_hours_below_the_threshold(sensor, coldest, hours, verdict):
    found = frost_risk(night(coldest, hours), FLOWERING, sensor=sensor)
    assert found.nights["verdict"].tolist() == [verdict]
    assert len(found.sentences) == (verdict != "not cold enough")


def test_a_stage_between_two_looks_leaves_it_open():
    stages = seen(("2024-09-04", 45), ("2024-09-24", 59))  # 52 by the line, 47 to 57 possible
    found = frost_risk(night(-1.5), stages, sensor="canopy")
    row = found.nights.iloc[0]
    assert (row["stage"], row["stage_low"], row["stage_high"]) == (52, 47, 57)
    assert row["verdict"] == "may have hurt"  # enough for an ear that is out, not for the boot
    assert "47 to 57 are possible" in found.sentences[0]
    assert frost_risk(night(-2.5), stages, sensor="canopy").nights["verdict"][0] == (
        "could have hurt"
    )


def test_beyond_the_looks_the_stage_is_open():
    found = frost_risk(night(-1.5), seen(("2024-09-01", 39)), sensor="canopy")
    assert np.isnan(found.nights["stage"][0])
    assert found.nights["verdict"][0] == "may have hurt"
    assert "nobody looked on both sides" in found.sentences[0]


def test_a_gap_leaves_a_mild_night_unknown():
    table = night(3.0)
    gap = table[~table["time"].between("2024-09-14 01:00", "2024-09-14 06:00")]
    found = frost_risk(gap, FLOWERING, sensor="canopy")
    assert found.nights["verdict"].tolist() == ["not known"]
    assert "hours are missing, so nobody knows" in found.sentences[0]
    cold = night(-3.0, 6.0)
    gap = cold[~cold["time"].between("2024-09-14 06:00", "2024-09-14 07:30")]
    found = frost_risk(gap, FLOWERING, sensor="canopy")
    assert found.nights["verdict"].tolist() == ["could have hurt"]
    assert "down to at least −3.0 °C" in found.sentences[0]


def test_the_words():
    found = frost_risk(night(-3.0), FLOWERING, sensor="canopy", crop="oats")
    assert found.sentences[0] == (
        "Night to 14 September 2024, logger hollow: down to −3.0 °C, and 3.0 hours colder than "
        "wheat has been harmed at stage 65 (flowering). It could have hurt."
    )
    assert any("below −3.5 °C in the canopy" in note for note in found.notes)
    assert any("5 to 10 days after" in note for note in found.notes)
    assert any("Oats is said to stand more frost than wheat" in note for note in found.notes)
    notes = frost_risk(night(-3.0), FLOWERING, sensor="screen", crop="Triticale").notes
    assert any("less frost than wheat" in note for note in notes)
    assert any("1.5 to 2 °C colder" in note for note in notes)
    notes = frost_risk(night(-3.0), FLOWERING, sensor="canopy", crop="lentil").notes
    assert any("no threshold of lentil" in note for note in notes)


def test_where_the_sensor_hangs_must_be_said():
    with pytest.raises(ScoutingError, match=r"say where the loggers hang.*1.5 to 2 °C warmer"):
        frost_risk(night(-3.0), FLOWERING, sensor="air")
    with pytest.raises(ScoutingError, match="a lowest and a highest difference"):
        frost_risk(night(-3.0), FLOWERING, sensor="screen", difference_c=(2.0, 1.0))
