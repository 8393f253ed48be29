"""Ground whose records were left out takes the yield of what stands beside it on its pass."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.harvest import assign_strips, screen, strip_table
from trialkit.harvest.settings import Screening

#: Sums of the same doubles in another order.
EXACT = 1e-12
#: Distances from positions written as degrees, m in some hundreds.
POSITIONS = 1e-4

STEP_M, WIDTH_M = 2.0, 10.0


def one_pass(yields, *, left_out=(), pass_id=1, strip="S1", reason="frozen value"):
    """Records 2 m apart along one pass in one strip."""
    number = len(yields)
    kept = ~np.isin(np.arange(number), left_out)
    return pd.DataFrame(
        {
            "strip": strip,
            "block": "B1",
            "treatment": "t",
            "pass_id": pass_id,
            "distance_m": STEP_M * np.arange(number),
            "travel_m": STEP_M,
            "swath_m": WIDTH_M,
            "yield_t_ha": np.asarray(yields, dtype=float),
            "kept": kept,
            "reason": np.where(kept, "", reason),
        }
    )


def yield_of(log, strip="S1"):
    return strip_table(log).set_index("strip").loc[strip, "yield_t_ha"]


def test_with_nothing_left_out_it_is_grain_over_ground():
    yields = np.random.default_rng(1).uniform(2, 4, 200)
    assert yield_of(one_pass(yields)) == pytest.approx(yields.mean(), rel=EXACT)


def test_a_poor_stretch_left_out_does_not_flatter_its_strip():
    """A strip of 400 m, 3 t/ha, whose last quarter yields 1 t/ha; half of that is left out."""
    yields = np.where(np.arange(200) < 150, 3.0, 1.0)
    lost = np.arange(165, 180)
    # 15 records whose neighbours within 30 m are all of 1 t/ha: the strip as if nothing were lost.
    log = one_pass(yields, left_out=lost)
    assert yield_of(log) == pytest.approx(2.5, rel=EXACT)
    assert log.loc[log["kept"], "yield_t_ha"].mean() == pytest.approx((450 + 35) / 185)


def test_ground_far_from_all_that_counts_takes_the_mean_of_the_strip():
    """Of 100 records 80 lost, all but the first ten and the last ten; 30 m are fifteen records."""
    yields = np.repeat([2.0, 4.0], 50)
    log = one_pass(yields, left_out=np.arange(10, 90))
    near = 10 + 15
    assert yield_of(log) == pytest.approx((near * 2.0 + near * 4.0) / (2 * near), rel=EXACT)
    lopsided = one_pass(yields, left_out=np.arange(10, 99))
    assert yield_of(lopsided) == pytest.approx((25 * 2.0 + 16 * 4.0) / 41, rel=EXACT)


def test_area_number_and_moisture_are_of_the_records_that_count():
    log = one_pass(np.full(100, 3.0), left_out=np.arange(40, 50)).assign(moisture_pct=12.0)
    log.loc[40:49, "moisture_pct"] = 60.0
    row = strip_table(log).iloc[0]
    assert row["n"] == 90
    assert row["area_ha"] == pytest.approx(90 * STEP_M * WIDTH_M / 1e4, rel=EXACT)
    assert row["moisture_pct"] == pytest.approx(12.0, rel=EXACT)


def test_an_absurd_speed_that_was_left_out_weighs_no_more_than_its_way():
    yields = np.where(np.arange(200) < 100, 3.0, 1.0)
    log = one_pass(yields, left_out=[150])
    log.loc[150, "travel_m"] = 600.0
    assert yield_of(log) == pytest.approx(2.0, rel=EXACT)


def test_ground_outside_the_field_is_not_the_strips():
    yields = np.where(np.arange(100) < 50, 3.0, 1.0)
    log = one_pass(yields, left_out=np.arange(90, 100), reason="outside the field")
    assert yield_of(log) == pytest.approx((50 * 3.0 + 40 * 1.0) / 90, rel=EXACT)


def test_a_log_without_passes_or_reasons_is_grain_over_ground_of_what_counts():
    log = one_pass(np.repeat([3.0, 1.0], 50), left_out=np.arange(60, 80))
    for missing in ("pass_id", "distance_m", "reason"):
        without = log.drop(columns=missing)
        assert yield_of(without) == pytest.approx((150 + 30) / 80, rel=EXACT)


def test_a_strip_without_a_width_is_weighted_by_the_way():
    log = one_pass(np.repeat([3.0, 1.0], 50), left_out=np.arange(70, 90)).drop(columns="swath_m")
    assert yield_of(log) == pytest.approx(2.0, rel=EXACT)


@settings(deadline=None)
@given(
    left_out=st.sets(st.integers(0, 119), max_size=119),
    seed=st.integers(0, 10_000),
    others=st.floats(0.1, 20),
)
def test_no_strip_or_pass_lends_to_another(left_out, seed, others):
    """A gain cannot leak: what other strips and passes yield changes nothing here."""
    draw = np.random.default_rng(seed)
    own = one_pass(draw.uniform(1, 5, 120), left_out=sorted(left_out))
    beside = one_pass(np.full(120, others), left_out=range(30, 50), pass_id=2, strip="S2")
    ahead = one_pass(np.full(120, others), pass_id=1, strip="S3")
    ahead = ahead.assign(distance_m=ahead["distance_m"] + 240.0)
    alone = yield_of(own)
    together = yield_of(pd.concat([own, ahead, beside], ignore_index=True))
    assert together == pytest.approx(alone, rel=1e-9)
    kept = own.loc[own["kept"], "yield_t_ha"]
    assert kept.min() - 1e-9 <= alone <= kept.max() + 1e-9


def test_a_pass_of_which_nothing_counts_lends_and_takes_nothing():
    whole = one_pass(np.full(100, 3.0))
    lost = one_pass(np.full(100, 9.0), left_out=range(100), pass_id=2)
    assert yield_of(pd.concat([whole, lost], ignore_index=True)) == pytest.approx(3.0, rel=EXACT)


def test_from_a_log_as_driven(drive, strips_beside):
    """Half of each strip at 2 t/ha, half at 4; of one pass a sixth is lost, in the poor half."""
    log = drive(yield_t_ha=lambda _x, y: np.where(y < 150, 2.0, 4.0))
    kept_all = Screening(pass_start_s=0, pass_end_s=0, beside_stop_s=0, least_pass_m=0)
    log = assign_strips(screen(log, kept_all), strips_beside())
    whole = strip_table(log)["yield_t_ha"]
    lost = (log["true_pass"] == 0) & log["true_y_m"].between(56, 104)
    log.loc[lost, ["kept", "reason"]] = [False, "frozen value"]
    again = strip_table(log)["yield_t_ha"]
    assert lost.sum() == 25
    assert again.to_numpy() == pytest.approx(whole.to_numpy(), rel=POSITIONS)
