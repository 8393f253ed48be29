"""What a catch must come to, and the morning mix by mix."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.errors import SowingError
from trialkit.sowing import Product, auger_target, mix_times, pump_by_auger, pump_target


def test_the_pump_that_matches_an_auger_of_a_tonne_every_90_seconds():
    # Common practice, no source: 10 l/t at a tonne every 90 s, 40 t/h, needs 6.67 l/min.
    table = pump_by_auger(10, 40).set_index("auger_t_h")
    assert table.loc[40, "pump_l_min"] == pytest.approx(6.67, abs=0.005)
    assert table["bucket_l"].tolist() == [5.0] * 5
    assert table.loc[40, "seconds"] == pytest.approx(45)


@given(st.floats(0.01, 1500), st.floats(0.5, 20))
def test_time_and_flow_of_a_bucket_agree(flow, within):
    target = pump_target(flow, within_pct=within)
    assert target.amount / target.seconds * 60 == pytest.approx(flow)
    assert target.amount / target.seconds_low * 60 == pytest.approx(target.high)
    assert target.amount / target.seconds_high * 60 == pytest.approx(target.low)
    assert target.low < flow < target.high


@given(st.floats(0.1, 900))
def test_a_load_takes_half_a_minute_unless_none_is_so_large(flow):
    target = auger_target(flow)
    assert target.amount / 1000 / (target.seconds / 3600) == pytest.approx(flow)
    assert target.seconds >= 30 or target.amount == 5000


def test_a_bucket_that_is_there_is_used():
    assert pump_target(6.67, bucket_l=20).seconds == pytest.approx(180, abs=0.1)
    assert set(pump_by_auger(10, bucket_l=12)["bucket_l"]) == {12.0}


def test_without_the_augers_flow_usual_ones_are_shown():
    table = pump_by_auger(12)
    assert table["auger_t_h"].is_monotonic_increasing
    assert (table["pump_l_min"] / table["auger_t_h"]).tolist() == pytest.approx([0.2] * len(table))


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        (lambda: pump_target(0), "flow of the pump is 0"),
        (lambda: pump_target("fast"), "flow of the pump is 'fast'"),
        (lambda: pump_target(5, bucket_l=5000), "did you mean 5?"),
        (lambda: auger_target(40_000), "did you mean 40?"),
        (lambda: pump_by_auger(10_000, 40), "did you mean 10?"),
    ],
)
def test_numbers_that_make_no_sense(ask, says):
    with pytest.raises(SowingError, match=says):
        ask()


def test_the_morning_by_hand(plan):
    # 8 mixes, 4 a filling; 16 t at 40 t/h take 24 minutes, 3 for each mix.
    times = mix_times(plan(tank_l=80, auger_t_h=40), minutes_a_mix=5)
    assert times["fill"].tolist() == [1] * 4 + [2] * 4
    assert times["stir_from_min"].tolist() == [0, 5, 10, 15, 32, 37, 42, 47]
    assert times["seed_from_min"].tolist() == [20] * 4 + [52] * 4
    assert times["seed_to_min"].tolist() == [32] * 4 + [64] * 4
    assert times["use_by_min"].isna().all()


def test_without_a_tank_each_mix_goes_on_at_once(plan):
    times = mix_times(plan(auger_t_h=40), minutes_a_mix=5)
    assert times["seed_to_min"].diff().dropna().tolist() == pytest.approx([8] * 7)
    assert (times["seed_from_min"] == times["stir_to_min"]).all()


def test_a_mix_that_stands_first_ages(plan):
    alive = [Product("broth", "watery", 2, "l", keeps_mixed_h=1)]
    times = mix_times(plan(alive, auger_t_h=40, stands_h=1), minutes_a_mix=5)
    assert (times["seed_to_min"] > times["use_by_min"]).all()


def test_nobody_stirs_thousands_of_mixes(plan):
    with pytest.raises(SowingError, match=r"no morning's work\. Take a larger mixer"):
        mix_times(plan(mixer_l=0.1, auger_t_h=40))


def test_without_the_augers_flow_no_hours_are_known(plan):
    with pytest.raises(SowingError, match="give auger_t_h"):
        mix_times(plan())
