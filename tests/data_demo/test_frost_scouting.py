"""What was scouted in the frost season agrees with its truth."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.scouting import compare_scores, frost_nights, frost_risk
from trialkit.trial import check_scouting, open_trial, read_scouting

FOLDER = Path(__file__).resolve().parents[2] / "data-demo" / "oats-2023-hard-frost"

#: Largest size of all logger files, bytes.
LARGEST = 300_000


@pytest.fixture(scope="module")
def scouted():
    return read_scouting(open_trial(FOLDER))


def test_everything_is_there_and_nothing_is_odd(scouted):
    assert scouted.missing == ()
    assert scouted.notes == ()
    assert [check.outcome for check in check_scouting(open_trial(FOLDER))] == ["ok"]
    assert sum(file.stat().st_size for file in (FOLDER / "temperatures").iterdir()) < LARGEST


def test_it_froze_in_the_hollow_at_flowering(scouted):
    risk = frost_risk(scouted.temperatures, scouted.stages, sensor=scouted.sensor, crop="oats")
    harmful = risk.nights[risk.nights["verdict"] == "could have hurt"]
    assert harmful["logger"].value_counts().to_dict() == {"low-end": 3, "slope": 2}
    assert harmful["stage"].between(60, 69).all()
    coldest = frost_nights(scouted.temperatures).nights.groupby("logger")["minimum_c"].min()
    assert coldest["low-end"] < coldest["slope"] < coldest["rise"]


def test_the_missing_hours_are_found(scouted):
    nights = frost_nights(scouted.temperatures).nights
    (gap,) = nights[nights["at_least"]].to_dict("records")
    assert gap["logger"] == "slope"
    assert gap["hours_missing"] == pytest.approx(5.5, abs=0.3)  # a reading before and after it


def test_sterility_is_the_loss_that_is_true(scouted):
    """Heads against the yield that truly went to frost: 16 strips, each to some 5 points."""
    truth = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    strips = pd.DataFrame(truth["strips"])
    assert scouted.sterility["strip"].tolist() == strips["strip"].tolist()
    by_arm = scouted.sterility.groupby("treatment")["loss_pct"].mean()
    # 0.15 of the crop where nothing is done, 0.55 of that where dressed. 80 heads an arm: the
    # standard error is 2.
    assert by_arm["untreated"] == pytest.approx(16, abs=5)
    assert by_arm["dressed"] == pytest.approx(0.55 * 16, abs=4)


def test_the_dressing_shows_in_damage_and_not_in_vigour(scouted):
    damage = compare_scores(scouted.scores, "frost_damage_pct", against="untreated")
    (row,) = damage.rows.to_dict("records")
    assert row["high"] < 0
    vigour = compare_scores(scouted.scores, "vigour", against="untreated")
    assert len(vigour.rows) == 2
    assert (vigour.rows["p"] > 0.05).all()


def test_the_loggers_hang_where_the_strips_are(scouted):
    trial = open_trial(FOLDER)
    west, south, east, north = trial.boundary.total_bounds
    assert scouted.places["longitude"].between(west, east).all()
    assert scouted.places["latitude"].between(south, north).all()
    # At 85° E the sun is 5 h 40 min ahead of Greenwich, and the loggers keep 6 hours.
    clock = scouted.temperatures.groupby(scouted.temperatures["time"].dt.hour)["temperature_c"]
    assert clock.mean().idxmin() in (4, 5, 6)
    assert np.isin(clock.mean().idxmax(), (13, 14, 15, 16))
