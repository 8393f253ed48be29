"""Outliers: found among neighbours both ways, and never at the cost of a treatment's difference."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit.harvest import Screening, screen, split_passes
from trialkit.harvest.neighbours import deviations

OUTLIERS = Screening(rules=("global outlier", "local outlier"))

#: Quartiles of 200 values lie between two of them; which, is a matter of definition.
QUARTILES = 0.04


@pytest.fixture
def field(drive):
    """Make twelve passes of noisy yields, two a strip, every other strip 30% better."""

    def make(gain=1.3, hollow=None, seed=3):
        log = drive(passes=12, length_m=400)
        draw = np.random.default_rng(seed)
        value = 4 + 0.5 * np.sin(log["true_y_m"] / 40 + log["true_x_m"] / 60)
        value *= 1 + 0.08 * draw.standard_normal(len(log))
        if hollow is not None:
            value *= np.where(log["true_y_m"].between(*hollow), 0.2, 1.0)
        dressed = log["true_pass"] // 2 % 2 == 1
        log["yield_t_ha"] = np.where(log["true_pass"] >= 0, value * np.where(dressed, gain, 1), 0)
        return split_passes(log[log["true_pass"] >= 0].reset_index(drop=True))

    return make


def left_out(log, settings=OUTLIERS):
    return ~screen(log, settings)["kept"].to_numpy()


@pytest.mark.parametrize("gain", [1.1, 1.5, 3.0])
def test_a_treatment_makes_no_difference_to_what_is_left_out(field, gain):
    # The same records whatever the treatment does: so the ratio of the means is kept exactly.
    plain, better = field(gain=1.0), field(gain=gain)
    for log in (plain, better):
        log.loc[500:502, "yield_t_ha"] *= 1.6
        log.loc[900, "yield_t_ha"] *= 0.3
    out = left_out(better)
    assert (out == left_out(plain)).all()
    assert out.sum() >= 4
    dressed = (better["true_pass"] // 2 % 2 == 1).to_numpy()
    ratio = (
        better.loc[dressed & ~out, "yield_t_ha"].mean()
        / plain.loc[dressed & ~out, "yield_t_ha"].mean()
    )
    assert ratio == pytest.approx(gain, rel=1e-12)


def test_a_gain_of_t_ha_makes_no_difference_either(field):
    # Local deviations do not change at all; only the least 10% off is a share of the yield.
    plain = field(gain=1.0)
    dressed = plain["true_pass"] // 2 % 2 == 1
    more = plain.assign(yield_t_ha=plain["yield_t_ha"] + np.where(dressed, 0.4, 0.0))
    every = np.ones(len(plain), dtype=bool)
    one, two = deviations(plain, every, 10.0), deviations(more, every, 10.0)
    for name in ("own", "along", "across_low", "across_high"):
        assert getattr(two, name) == pytest.approx(getattr(one, name), rel=1e-9, nan_ok=True)


def test_lone_records_are_found(field):
    log = field()
    odd = [150, 151, 700, 1500]
    log.loc[odd, "yield_t_ha"] *= [1.8, 1.8, 0.3, 2.0]
    out = left_out(log)
    assert out[odd].all()
    assert np.delete(out, odd).mean() < 0.01


def test_a_hollow_that_one_treatment_alone_suffers_is_ground(field):
    # 60 m at a fifth of the yield in the untreated strips only: that is what the trial is about.
    log, sound = field(hollow=(150, 210)), field()
    dressed = log["true_pass"] // 2 % 2 == 1
    log["yield_t_ha"] = np.where(dressed, sound["yield_t_ha"], log["yield_t_ha"])
    inside = ~dressed & log["true_y_m"].between(155, 205)
    assert inside.sum() > 100
    assert left_out(log)[inside].mean() < 0.02


def test_a_narrow_band_across_all_passes_is_ground(field):
    # A track of 12 m across the field: alone along each pass, but not across them.
    log = field(hollow=(150, 162))
    local = left_out(log, Screening(rules=("local outlier",)))
    assert local[log["true_y_m"].between(151, 161)].mean() < 0.2
    one = field()
    one.loc[one["true_y_m"].between(150, 162) & (one["true_pass"] == 5), "yield_t_ha"] *= 0.2
    assert left_out(one)[one["true_y_m"].between(151, 161) & (one["true_pass"] == 5)].all()


def test_deviations_are_on_the_scale_of_the_pass(field):
    log = field()
    off = deviations(log, np.ones(len(log), dtype=bool), 10.0)
    by_pass = pd.Series(off.own).groupby(log["pass_id"])
    between = (by_pass.quantile(0.75) - by_pass.quantile(0.25)).to_numpy()
    assert between == pytest.approx(1.349, abs=QUARTILES)
    assert np.nanmedian(off.share) == pytest.approx(0, abs=0.01)
    assert np.isfinite(off.across_low).mean() > 0.95


def test_records_left_out_before_are_no_neighbours(field):
    log = field()
    log.loc[300:319, "yield_t_ha"] = 12.0
    kept = np.ones(len(log), dtype=bool)
    kept[300:320] = False
    off = deviations(log, kept, 10.0)
    assert np.isnan(off.own[300:320]).all()
    assert np.abs(off.along[[295, 325]]).max() < 3


def test_a_pass_of_a_few_records_is_not_judged(drive):
    log = split_passes(drive(passes=1, length_m=30))
    off = deviations(log, np.ones(len(log), dtype=bool), 10.0)
    assert np.isnan(off.own).all()


def test_one_pass_alone_is_judged_along_itself(field):
    log = field()
    log = log[log["true_pass"] == 0].reset_index(drop=True)
    log.loc[100, "yield_t_ha"] *= 2
    off = deviations(log, np.ones(len(log), dtype=bool), 10.0)
    assert np.isnan(off.across_low).all()
    assert left_out(log)[100]
    assert left_out(log).sum() < 4
