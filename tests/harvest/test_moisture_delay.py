"""The delay of the moisture sensor: found where the field has wet ground, else the grain's."""

from __future__ import annotations

import numpy as np
import pytest

from trialkit import simulate
from trialkit.harvest import find_moisture_delay, shift_flow, split_passes

#: What the task asks of a delay, s; twelve seasons with a wet hollow were off by 0.4 s at most.
WITHIN_S = 1.0
#: Sensors differ by noise of 0.1 points; a hundredth of a yield is a point of moisture.
NOISE = 1e-9

GRAIN_S = 11.0


def season(moisture_delay_s: float, wetter_pct: float, seed: int = 1) -> simulate.SimulatedHarvest:
    layout = simulate.lay_strips(["untreated", "dressed"], blocks=8, seed=seed, length_m=400)
    hollow = simulate.Hollow(60, 30, 40, 60, moisture_pct=wetter_pct)
    monitor = simulate.Monitor(delay_s=GRAIN_S, moisture_delay_s=moisture_delay_s)
    return simulate.harvest_trial(
        layout,
        simulate.Field(hollow=hollow),
        seed=seed + 50,
        monitor=monitor,
        mishaps=simulate.Mishaps(),
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("moisture_delay_s", [8.0, 14.0, 20.0])
def test_a_field_with_wet_ground_tells(moisture_delay_s, seed):
    found = find_moisture_delay(split_passes(season(moisture_delay_s, 2.0, seed).log), GRAIN_S)
    assert found.source == "estimated"
    assert found.delay_s == pytest.approx(moisture_delay_s, abs=WITHIN_S)
    assert found.sharp
    assert found.std_error_s is not None
    assert found.curve["disagreement"].min() < 0.2


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_an_even_field_does_not_tell_and_gets_the_delay_of_the_grain(seed):
    found = find_moisture_delay(split_passes(season(14.0, 0.0, seed).log), GRAIN_S)
    assert (found.delay_s, found.source, found.sharp) == (GRAIN_S, "grain flow", False)
    assert len(found.curve)


def test_a_delay_that_is_known_is_used(drive):
    found = find_moisture_delay(drive(), GRAIN_S, 17.0)
    assert (found.delay_s, found.source, found.sharp) == (17.0, "given", True)


@pytest.mark.parametrize("without", [["moisture_pct"], ["time"]])
def test_a_log_that_cannot_tell(drive, without):
    found = find_moisture_delay(drive().drop(columns=without), GRAIN_S)
    assert (found.delay_s, found.source) == (GRAIN_S, "grain flow")


def test_one_way_only_tells_nothing(drive):
    log = drive()
    found = find_moisture_delay(log[log["true_pass"] % 2 == 0], GRAIN_S)
    assert found.source == "grain flow"


def test_moisture_is_put_back_by_its_own_delay_and_the_grain_with_it(drive):
    log = drive(passes=2, delay_s=6.0)
    wet = 12.5 + 2 * np.sin(np.arange(len(log)) / 15)
    late = np.concatenate([np.full(9, 12.5), wet[:-9]])  # the moisture sensor lags by 9 s
    flow = log["flow_kg_s"].to_numpy()
    shown = log.assign(moisture_pct=late, grain_kg=flow * (100 - late) / 87.5)
    moved = shift_flow(shown, 6.0, moisture_delay_s=9.0)
    inner = slice(20, 120)
    assert moved["moisture_pct"].to_numpy()[inner] == pytest.approx(wet[inner], rel=NOISE)
    dry = np.roll(flow, -6) * (100 - wet) / 87.5
    assert moved["grain_kg"].to_numpy()[inner] == pytest.approx(dry[inner], rel=NOISE)
    ground = 2.0 * 10.0
    yields = moved["yield_t_ha"].to_numpy()[inner]
    assert yields == pytest.approx(10 * dry[inner] / ground, rel=NOISE)


def test_moisture_alone_may_be_late(drive):
    log = drive(passes=2)
    log["moisture_pct"] = np.arange(len(log), dtype=float)
    moved = shift_flow(log, 0.0, moisture_delay_s=4.0)
    assert moved["moisture_pct"].iloc[10] == 14.0
    assert moved["flow_kg_s"].iloc[10] == pytest.approx(log["flow_kg_s"].iloc[10])
