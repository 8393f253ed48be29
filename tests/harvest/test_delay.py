"""The grain-flow delay: found, taken out, and said when it cannot be known."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import LogError, LogWarning
from trialkit.harvest import estimate_delay, given_delay, shift_flow
from trialkit.harvest.delay import later

#: What the task asks of the estimate, s.
WITHIN_S = 1.0


@pytest.mark.parametrize("delay_s", [0.0, 6.0, 12.0, 20.0])
def test_the_delay_is_recovered(drive, rough_field, delay_s):
    delay = estimate_delay(drive(delay_s=delay_s, noise_m=0.1, yield_t_ha=rough_field))
    assert delay.delay_s == pytest.approx(delay_s, abs=WITHIN_S)
    assert delay.sharp
    assert delay.source == "estimated"
    assert delay.std_error_s < WITHIN_S
    assert delay.curve["delay_s"].iloc[delay.curve["disagreement"].argmin()] == delay_s


@pytest.mark.parametrize("interval_s", [0.2, 2.0])
def test_the_delay_is_recovered_at_other_rates(drive, rough_field, interval_s):
    log = drive(delay_s=8.0, interval_s=interval_s, noise_m=0.1, yield_t_ha=rough_field)
    assert estimate_delay(log).delay_s == pytest.approx(8.0, abs=WITHIN_S)


def test_a_recorded_yield_will_do(drive, rough_field):
    log = drive(delay_s=9.0, yield_t_ha=rough_field).drop(columns=["flow_kg_s", "grain_kg"])
    assert estimate_delay(log).delay_s == pytest.approx(9.0, abs=WITHIN_S)


def test_passes_all_one_way_cannot_tell(drive, rough_field):
    log = drive(delay_s=9.0, yield_t_ha=rough_field)
    with pytest.warns(LogWarning, match=r"cannot be estimated: no neighbouring .*give delay_s"):
        delay = estimate_delay(log[log["true_pass"].isin([0, 2, 4])].reset_index(drop=True))
    assert (delay.delay_s, delay.source, delay.sharp) == (0.0, "none", False)


def test_a_log_without_times_cannot_tell(drive):
    with pytest.warns(LogWarning, match="cannot be estimated: the log has no times"):
        assert estimate_delay(drive().drop(columns="time")).delay_s == 0


def test_noise_without_a_pattern_is_not_called_sharp(drive):
    log = drive(passes=6, length_m=400)
    draw = np.random.default_rng(8)
    log["flow_kg_s"] = 8.0 + draw.standard_normal(len(log))
    with pytest.warns(LogWarning, match="is not sharp|cannot be estimated"):
        assert not estimate_delay(log).sharp


def test_a_given_delay():
    delay = given_delay(11)
    assert (delay.delay_s, delay.source, delay.sharp) == (11.0, "given", True)
    assert delay.curve.empty


@pytest.mark.parametrize("interval_s", [0.5, 1.0])
def test_shifting_puts_grain_back_where_it_was_cut(drive, rough_field, interval_s):
    log = drive(delay_s=12.0, interval_s=interval_s, yield_t_ha=rough_field)
    shifted = shift_flow(log, 12.0)
    crop = (log["true_pass"] >= 0) & shifted["yield_t_ha"].notna()
    assert crop.sum() > 0.97 * (log["true_pass"] >= 0).sum()
    # sums of products of the same doubles, in another order
    np.testing.assert_allclose(shifted["yield_t_ha"][crop], log["true_t_ha"][crop], rtol=1e-9)


def test_all_that_rides_with_the_grain_is_shifted_and_nothing_else(drive):
    log = drive(passes=1)
    log["moisture_pct"] = np.arange(len(log), dtype=float)
    log["mass_kg"] = np.arange(len(log), dtype=float)
    shifted = shift_flow(log, 5.0)
    for name in ("moisture_pct", "mass_kg"):
        assert shifted[name].iloc[:3].tolist() == [5, 6, 7]
    assert shifted["moisture_pct"].iloc[-5:].isna().all()
    pd.testing.assert_frame_equal(
        shifted[["time", "longitude", "latitude", "speed_m_s"]],
        log[["time", "longitude", "latitude", "speed_m_s"]],
    )
    assert log["moisture_pct"].iloc[0] == 0


def test_a_recorded_yield_is_shifted_as_grain_over_ground(drive):
    log = drive(passes=1).drop(columns=["flow_kg_s", "grain_kg"])
    # The machine slows down: the same grain on half the ground a record later.
    log["yield_t_ha"] = 0.0
    log.loc[50, "yield_t_ha"] = 4.0
    log.loc[45, "speed_m_s"] = 1.0
    shifted = shift_flow(log, 5.0)
    assert shifted["yield_t_ha"].iloc[45] == pytest.approx(8.0, rel=1e-12)


def test_no_delay_changes_nothing(drive):
    log = drive(passes=1)
    pd.testing.assert_frame_equal(shift_flow(log, 0.0), log)


def test_a_delay_needs_a_clock(drive):
    log = drive(passes=1).drop(columns="time")
    with pytest.raises(LogError, match=r"delay of 9 s cannot be taken out: the log has no times"):
        shift_flow(log, 9.0)


def test_nothing_is_carried_over_a_pause():
    clock = np.array([0.0, 1.0, 2.0, 60.0, 61.0])
    values = np.array([10.0, 11.0, 12.0, 13.0, 14.0])
    np.testing.assert_array_equal(later(values, clock, 1.0), [11, 12, np.nan, 14, np.nan])
    np.testing.assert_array_equal(later(values, clock, -1.0), [np.nan, 10, 11, np.nan, 13])


def test_a_spike_stays_one_record():
    clock = np.arange(10.0)
    values = np.where(clock == 6, 99.0, 1.0)
    assert (later(values, clock, 2.4) == 99).sum() == 1
