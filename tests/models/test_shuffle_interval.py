"""Intervals by turning the randomisation test round, and what to know when planning."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError
from trialkit.models import fewest_blocks, shuffle_test, smallest_p

COLUMNS = ("yield_t_ha", "treatment", "block")
#: A step this side of an end, well above rounding and below the gaps between ends.
STEP = 1e-9


def trial(sizes, seed=0):
    """Strips of an invented trial: `sizes` gives the labels of each block."""
    rng = np.random.default_rng(seed)
    rows = [(f"B{place}", arm) for place, arms in enumerate(sizes) for arm in arms]
    data = pd.DataFrame(rows, columns=["block", "treatment"])
    return data.assign(yield_t_ha=rng.normal(3, 0.3, len(data)) + 0.2 * (data["treatment"] == "d"))


def p_if_each_gained(data, gain, **options):
    """Return p of the yields less a gain on the dressed strips."""
    moved = data["yield_t_ha"] - gain * (data["treatment"] == "d")
    return shuffle_test(data.assign(yield_t_ha=moved), *COLUMNS, against="u", **options).p


# The interval is by its definition the gains that the test does not reject.
@pytest.mark.parametrize(
    "sizes", [["du"] * 7, ["ddu"] * 4, ["dduu"] * 3, ["du", "dduu", "duu", "dddu"], ["ddddduuu"]]
)
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_ends_are_where_the_test_begins_to_reject(sizes, confidence):
    data = trial(sizes, seed=len(sizes))
    found = shuffle_test(data, *COLUMNS, against="u", confidence=confidence)
    assert found.low < found.difference < found.high
    level = 1 - confidence
    for end, outward in ((found.low, -STEP), (found.high, STEP)):
        assert p_if_each_gained(data, end - outward) > level
        assert p_if_each_gained(data, end + outward) <= level + 1e-12


def test_pairs_that_cannot_reject_have_no_ends():
    for pairs in (4, 5):
        found = shuffle_test(trial(["du"] * pairs), *COLUMNS, against="u")
        assert (found.low, found.high) == (-np.inf, np.inf)
        assert "Too few allocations for an interval at 95%" in found.notes[0]
    found = shuffle_test(trial(["du"] * 6), *COLUMNS, against="u")
    assert np.isfinite([found.low, found.high]).all()
    assert found.notes == ()


def test_six_pairs_give_the_range_of_their_differences():
    # 2 of 64 allocations are the layout sown and its mirror image; the next flip one pair.
    data = trial(["du"] * 6, seed=5)
    gaps = data["yield_t_ha"].to_numpy()[::2] - data["yield_t_ha"].to_numpy()[1::2]
    found = shuffle_test(data, *COLUMNS, against="u")
    assert (found.low, found.high) == pytest.approx((gaps.min(), gaps.max()))


def test_sampled_ends_are_near_the_counted(monkeypatch):
    data = trial(["du"] * 12, seed=3)
    counted = shuffle_test(data, *COLUMNS, against="u")
    monkeypatch.setattr("trialkit.models.shuffle.EXACT_UP_TO", 0)
    sampled = shuffle_test(data, *COLUMNS, against="u", draws=20_000, seed=1)
    width = counted.high - counted.low
    assert abs(sampled.low - counted.low) < 0.03 * width
    assert abs(sampled.high - counted.high) < 0.03 * width


def test_the_interval_covers_as_often_as_it_says():
    rng = np.random.default_rng(8)
    covered = 0
    for _ in range(400):
        found = shuffle_test(
            trial(["du"] * 8, seed=rng.integers(2**31)), *COLUMNS, against="u", confidence=0.9
        )
        covered += found.low <= 0.2 <= found.high
    # 8 pairs: p is a multiple of 1/128, so coverage is 116/128 = 0.906; four standard errors.
    assert abs(covered / 400 - 116 / 128) < 4 * np.sqrt(0.906 * 0.094 / 400)


def test_the_unit_and_the_side_do_not_matter():
    data = trial(["du"] * 8, seed=2)
    one = shuffle_test(data, *COLUMNS, against="u")
    two = shuffle_test(data.assign(yield_t_ha=data["yield_t_ha"] * 1e6), *COLUMNS, against="d")
    assert two.p == one.p
    assert (-two.high / 1e6, -two.low / 1e6) == pytest.approx((one.low, one.high))


# With k pairs no two-sided p is under 2 / 2^k (Fisher 1935, The Design of Experiments, ch. 3).
@pytest.mark.parametrize(
    ("pairs", "p"), [(3, 0.25), (4, 0.125), (5, 0.0625), (6, 0.03125), (8, 0.0078125)]
)
def test_the_smallest_p_when_planning(pairs, p):
    assert smallest_p(pairs) == p
    assert shuffle_test(trial(["du"] * pairs), *COLUMNS).smallest_p == p


def test_six_pairs_for_five_percent():
    assert fewest_blocks() == 6
    assert fewest_blocks(0.01) == 8
    assert fewest_blocks(0.05, strips=2) == 3
    assert smallest_p(3, strips=2) == 2 / 6**3
    assert fewest_blocks(0.05, treatments=3) == 3
    assert smallest_p(3, treatments=3) == 1 / 36


def test_bad_plans():
    with pytest.raises(ModelError, match=r"at least one block, two treatments and one strip"):
        smallest_p(0)
    with pytest.raises(ModelError, match=r"level=5 is no level"):
        fewest_blocks(5)
    with pytest.raises(ModelError, match=r"confidence=95 is no level"):
        shuffle_test(trial(["du"] * 6), *COLUMNS, confidence=95)
