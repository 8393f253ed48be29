"""Catches against SciPy's t interval and simulated buckets; flows against the shed's arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import SowingError
from trialkit.sowing import auger_catches, match_flows, pump_catches

EXACT = 1e-12


def test_the_rate_and_its_interval_are_those_of_the_t_test():
    litres = [3.30, 3.35, 3.42, 3.28, 3.37]
    found = pump_catches(litres, 30)
    rates = 2 * np.array(litres)
    low, high = stats.t.interval(0.95, 4, rates.mean(), stats.sem(rates))
    assert (found.rate, found.low, found.high) == pytest.approx((rates.mean(), low, high), rel=1e-9)
    assert found.cv_pct == pytest.approx(100 * rates.std(ddof=1) / rates.mean(), rel=EXACT)
    assert found.tolerance_pct == pytest.approx(100 * (high - low) / 2 / rates.mean(), rel=1e-9)
    assert found.trusted
    assert found.warnings == ()


def test_a_tonne_in_ninety_seconds():
    # Common practice, no source: a tonne every 90 s is 40 t/h, and takes 6.67 l/min at 10 l/t.
    auger = auger_catches([1000, 1000], 90)
    pump = pump_catches([10, 10], 90)
    assert auger.rate == pytest.approx(40, rel=EXACT)
    assert pump.rate == pytest.approx(6.67, abs=0.005)
    match = match_flows(auger, pump, 10)
    assert match.verdict == "right"
    assert match.rate_l_t == pytest.approx(10, rel=EXACT)
    assert match.off_pct == pytest.approx(0, abs=1e-9)


def test_units_do_not_change_the_rate():
    pounds = auger_catches([332 / 0.45359237, 334 / 0.45359237], 30, unit="lb")
    assert pounds.rate == pytest.approx(auger_catches([332, 334], 30).rate, rel=EXACT)
    assert pump_catches([3300, 3350], 30, unit="ml").rate == pytest.approx(6.65, rel=EXACT)


def test_times_may_differ():
    assert auger_catches([100, 200], [10, 20]).rates == pytest.approx((36, 36), rel=EXACT)


@pytest.mark.parametrize("cv", [1.0, 3.0, 8.0])
def test_the_catches_needed_are_just_enough(cv):
    # Two catches cv% apart in standard deviation.
    apart = cv / 100 / math.sqrt(2)
    found = pump_catches([3 * (1 - apart), 3 * (1 + apart)], 30)
    assert found.cv_pct == pytest.approx(cv, rel=1e-9)

    def half_width(n):
        return stats.t.ppf(0.975, n - 1) * cv / math.sqrt(n)

    n = found.catches_needed
    assert half_width(n) <= 5
    assert n == 2 or half_width(n - 1) > 5


def test_one_catch_is_not_trusted():
    found = pump_catches([3.3], 30)
    assert (found.trusted, found.cv_pct, found.low) == (False, None, None)
    assert "One catch shows no spread" in found.warnings[0]
    assert found.words() == "6.6 l/min from 1 catch; the spread is not known"


def test_catches_that_spread_too_far_say_so():
    found = pump_catches([3.0, 3.4, 3.8], 30)
    assert not found.trusted
    assert "spread too far to trust: 11.8% about the mean" in found.warnings[0]
    # SciPy: t at 0.975 with 23 df × 11.76 / √24 is 4.97, with 22 df over 23 it is 5.09.
    assert "about 24 catches" in found.warnings[0]
    hopeless = pump_catches([0.5, 9.5], 30)
    assert hopeless.catches_needed is None
    assert "More catches will not help" in hopeless.warnings[0]


def test_a_short_catch_says_what_the_watch_costs():
    found = pump_catches([0.55, 0.55, 0.56], 5)
    assert "half a second on the watch is 10% of it" in found.warnings[-1]
    assert pump_catches([1.5, 1.5, 1.51], 13).warnings == ()


def test_a_match_that_is_wrong_gives_the_setting():
    match = match_flows(auger_catches([332, 334, 334], 30), pump_catches([4.1, 4.1, 4.12], 30), 10)
    assert match.verdict == "wrong"
    assert "set the pump to 6.667 l/min" in match.sentence


def test_a_match_that_cannot_be_told():
    loose = pump_catches([3.1, 3.4, 3.5], 30)
    match = match_flows(auger_catches([332, 334, 334], 30), loose, 10)
    assert match.verdict == "not sure"
    assert match.low_pct < match.off_pct < match.high_pct
    single = match_flows(auger_catches([333.3], 30), pump_catches([3.33], 30), 10)
    assert (single.verdict, single.low_pct) == ("not sure", None)
    far = match_flows(auger_catches([333.3], 30), pump_catches([5.0], 30), 10)
    assert far.verdict == "wrong"


def test_the_interval_of_the_match_holds_the_truth_as_often_as_it_says():
    # Four catches of each, spread 3% and 6%: 2,000 rehearsals, four standard errors.
    generator = np.random.default_rng(20240514)
    draws, held = 2000, 0
    for _ in range(draws):
        auger = auger_catches(list(generator.normal(333.3, 10.0, 4)), 30)
        pump = pump_catches(list(generator.normal(3.333, 0.2, 4)), 30)
        match = match_flows(auger, pump, 10)
        held += match.low_pct <= 0 <= match.high_pct
    assert held / draws == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / draws))


@pytest.mark.parametrize(
    ("litres", "seconds", "change", "says"),
    [
        ([], 30, {}, "no catches of the pump"),
        (3.3, 30, {}, "no catches of the pump"),
        ([3.3, 3.4], [30], {}, "There are 2 catches and 1 time"),
        ([3.3, math.nan], 30, {}, "catch 2 of the pump is nan"),
        ([3.3, "3.4"], 30, {}, "catch 2 of the pump is '3.4'"),
        ([0, 3.3], 30, {}, "catch 1 of the pump is 0 l"),
        ([-3, 3.3], 30, {}, "catch 1 of the pump is -3 l"),
        ([3.3, 3.4], 0, {}, "time of catch 1 is 0 s"),
        ([3.3, 3.4], True, {}, "time of catch 1 is True"),
        ([33_000, 34_000], 30, {}, r"that is 68,000 l/min; did you mean 68\?"),
        ([3.3, 3.4], 30, {"unit": "kg"}, "unit of the catches is 'kg'. Give a volume"),
        ([3.3, 3.4], 30, {"confidence": 95}, "confidence is 95. It must be 0.5 to 0.999"),
        ([3.3, 3.4], 30, {"within_pct": 0}, "tolerance wanted is 0%"),
    ],
)
def test_catches_that_make_no_sense(litres, seconds, change, says):
    with pytest.raises(SowingError, match=says):
        pump_catches(litres, seconds, **change)


def test_auger_and_pump_the_wrong_way_round():
    auger, pump = auger_catches([332, 334], 30), pump_catches([3.3, 3.3], 30)
    with pytest.raises(SowingError, match="auger's catches first"):
        match_flows(pump, auger, 10)
    with pytest.raises(SowingError, match="did you mean 10"):
        match_flows(auger, pump, 10_000)
