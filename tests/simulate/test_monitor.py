import numpy as np
import pytest
from scipy import stats

from trialkit import simulate
from trialkit.simulate.monitor import arrive, read_moisture, show_yield, transit


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 5.0])
def test_transit_has_the_delay_and_smear_asked_for(interval_s):
    shares = transit(12.0, 2.5, interval_s)
    seconds = np.arange(len(shares)) * interval_s
    assert shares.sum() == pytest.approx(1)
    mean = (shares * seconds).sum()
    assert mean == pytest.approx(12.0, abs=0.02 * interval_s)
    # Rounding to whole records adds the variance of a uniform error (Sheppard's correction).
    spread = np.sqrt((shares * (seconds - mean) ** 2).sum() - interval_s**2 / 12)
    assert spread == pytest.approx(2.5, rel=0.02)


def test_transit_is_a_gamma_distribution():
    """Against scipy.stats.gamma: shape (mean / sd)², scale sd² / mean."""
    shares = transit(10.0, 2.0, 1.0)
    gamma = stats.gamma(a=25, scale=0.4)
    for record in (7, 10, 13):
        expected = gamma.cdf(record + 0.5) - gamma.cdf(record - 0.5)
        assert shares[record] == pytest.approx(expected, rel=1e-6)


def test_without_smear_the_flow_is_shifted_only():
    pulse = np.zeros(30)
    pulse[5] = 1.0
    assert arrive(pulse, transit(8.0, 0.0, 1.0))[13] == pytest.approx(1)
    half = arrive(pulse, transit(8.5, 0.0, 1.0))
    assert half[13:15] == pytest.approx([0.5, 0.5])
    assert arrive(pulse, transit(0.0, 0.0, 1.0)) == pytest.approx(pulse)


def test_no_grain_is_lost_on_the_way(season):
    """All that was cut passes the sensor, a calibration error too much, spikes apart."""
    log, records = season.log, season.records
    spikes = records["mishap"] == "flow spike"
    seen = log["flow_kg_s"].where(~spikes, records["intake_kg_s"] * 1.05).sum()
    assert seen / records["intake_kg_s"].sum() == pytest.approx(1.05, abs=0.003)


def test_flow_lags_the_cut_by_the_delay(layout):
    for delay in (6.0, 14.0):
        monitor = simulate.Monitor(delay_s=delay, smear_s=1.5)
        season = simulate.harvest_trial(layout, seed=3, monitor=monitor)
        cut, flow = season.records["intake_kg_s"].to_numpy(), season.log["flow_kg_s"].to_numpy()
        lags = np.arange(25)
        alike = [np.corrcoef(cut[: len(cut) - lag], flow[lag:])[0, 1] for lag in lags]
        assert lags[np.argmax(alike)] == pytest.approx(delay, abs=1.0)


def test_moisture_keeps_its_last_reading_without_grain():
    draw = np.random.default_rng(1)
    moisture = np.full(200, 12.0)
    intake = np.where(np.arange(200) < 100, 6.0, 0.0)
    still = simulate.Monitor(moisture_noise_pct=0.0, moisture_drift_pct_h=0.0)
    shown = read_moisture(moisture, intake, np.zeros(200), still, draw)
    assert shown == pytest.approx(np.full(200, 12.0))


def test_moisture_drifts_over_the_day():
    draw = np.random.default_rng(1)
    hours = np.linspace(0, 6, 5000)
    monitor = simulate.Monitor(moisture_noise_pct=0.0, moisture_drift_pct_h=0.2)
    shown = read_moisture(np.full(5000, 12.0), np.full(5000, 6.0), hours, monitor, draw)
    assert shown[-1] - 12.0 == pytest.approx(1.2)


def test_yield_shown_is_at_standard_moisture():
    """6 kg/s over 2 m/s × 12 m is 2.5 t/ha.

    Moisture: 1,000 lb of maize, 17.9 wet bushels at 25.5%, are 15.8 bushels at 15.5%, a factor of
    0.8817 (worked example of an agronomy note).
    """
    shown = show_yield(
        np.array([6.0, 6.0, 6.0]),
        np.array([2.0, 2.0, 0.1]),
        np.array([12.0, 12.0, 12.0]),
        np.array([15.5, 25.5, 15.5]),
        15.5,
    )
    assert shown == pytest.approx([2.5, 2.5 * 0.8817, 0.0], abs=2e-4)
