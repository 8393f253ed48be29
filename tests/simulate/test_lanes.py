import numpy as np
import pytest

from trialkit import simulate
from trialkit.simulate.lanes import grow, lay_lanes, strip_at
from trialkit.simulate.paddock import draw_ground

#: Coordinates are rounded to 1e-7 degrees, so an edge can be off by a centimetre.
ROUNDING_M = 0.02


@pytest.fixture(scope="module")
def plan(layout):
    return simulate.measure(layout)


def test_two_cuts_fit_a_strip_of_two_cuts(plan):
    lanes = lay_lanes(plan, 12.0)
    assert len(lanes) == 24
    assert np.diff(lanes["across_m"]) == pytest.approx(np.full(23, 12.0), abs=2 * ROUNDING_M)


def test_a_cut_that_does_not_divide_the_strip_is_centred_in_it(plan):
    lanes = lay_lanes(plan, 9.0)
    middle = (plan.strips["across_from_m"] + plan.strips["across_to_m"]) / 2
    by_strip = lanes["across_m"].to_numpy().reshape(-1, 2)
    assert by_strip.mean(axis=1) == pytest.approx(middle.to_numpy(), abs=ROUNDING_M)
    assert np.diff(by_strip, axis=1) == pytest.approx(9.0, abs=ROUNDING_M)


def test_a_cut_wider_than_the_strip_still_gets_a_lane(plan):
    assert len(lay_lanes(plan, 30.0)) == len(plan.strips)


def test_side_by_side_lanes_cover_the_width_and_the_last_is_narrow(plan):
    lanes = lay_lanes(plan, 9.1, follow_strips=False)
    assert lanes["cut_m"].sum() == pytest.approx(plan.width_m)
    assert lanes["cut_m"].iloc[-1] < 9.1
    assert lanes["cut_m"].iloc[:-1].to_numpy() == pytest.approx(np.full(31, 9.1))


def test_lanes_reach_the_bent_end_of_the_field():
    layout = simulate.lay_strips(["u", "d"], 2, seed=1, length_m=[300, 200])
    plan = simulate.measure(layout)
    lanes = lay_lanes(plan, 12.0)
    length = (lanes["along_to_m"] - lanes["along_from_m"]).to_numpy()
    # The outline runs from the corner of block 1 (300 m) to the outer corner of block 2 (200 m),
    # 48 m across: the lanes of block 2 have their middles 6, 18, 30, 42 m along that.
    assert length[:4] == pytest.approx(np.full(4, 300.0), abs=2 * ROUNDING_M)
    assert length[4:] == pytest.approx(300 - 100 * np.array([6, 18, 30, 42]) / 48, abs=0.1)


def test_strip_at_finds_the_strip_under_a_place(plan):
    middle = plan.strips[["across_from_m", "across_to_m"]].mean(axis=1).to_numpy()
    assert list(strip_at(plan, np.zeros(12), middle)) == list(range(12))
    assert (strip_at(plan, np.array([150.0]), middle) == -1).all()


def test_truth_is_the_mean_of_what_stands_in_the_strip(plan):
    ground = draw_ground(plan, simulate.Field(), {"a": simulate.Effect(0.3)}, seed=5)
    lanes = lay_lanes(plan, 12.0)
    stand = grow(ground, lanes, seed=6)
    row = 4
    strip = plan.strips.iloc[row]
    inside = lanes["across_m"].between(strip["across_from_m"], strip["across_to_m"]).to_numpy()
    along = (stand.along_m >= strip["along_from_m"]) & (stand.along_m < strip["along_to_m"])
    by_hand = stand.yield_t_ha[np.ix_(inside, along)].mean()
    assert stand.strips["yield_t_ha"].iloc[row] == pytest.approx(by_hand, rel=1e-9)
    assert stand.strips["area_ha"].to_numpy() == pytest.approx(np.full(12, 0.48), rel=0.01)


def test_a_lane_over_two_strips_yields_their_mean_by_width():
    """12 m strips, a 12 m cut that starts 3 m into the first: 9 m of it, 3 m of the next."""
    layout = simulate.lay_strips(["u", "d"], 1, seed=1, width_m=12)
    plan = simulate.measure(layout)
    flat = simulate.Field(
        rise_across_t_ha=0, wave_across_t_ha=0, patch_sd_t_ha=0, pass_sd_t_ha=0, strip_sd_t_ha=0
    )
    ground = draw_ground(plan, flat, {"d": simulate.Effect(1.0)}, seed=1)
    lanes = lay_lanes(plan, 12.0).iloc[:1]
    stand = grow(ground, lanes.assign(across_m=lanes["across_m"] + 3.0), seed=1)
    first_dressed = plan.strips["treatment"].iloc[0] == "d"
    expected = 3.0 + (0.75 if first_dressed else 0.25)
    assert stand.yield_t_ha.mean() == pytest.approx(expected, abs=1e-9)


def test_ground_past_the_end_of_a_strip_is_undressed():
    layout = simulate.lay_strips(["d"], 2, seed=1, length_m=[300, 200])
    plan = simulate.measure(layout)
    flat = simulate.Field(
        rise_across_t_ha=0, wave_across_t_ha=0, patch_sd_t_ha=0, pass_sd_t_ha=0, strip_sd_t_ha=0
    )
    ground = draw_ground(plan, flat, {"d": simulate.Effect(1.0)}, seed=1)
    stand = grow(ground, lay_lanes(plan, 24.0), seed=1)
    end = plan.strips["along_to_m"].iloc[1]
    past = stand.along_m > end
    assert past.sum() == pytest.approx(100, abs=1)
    assert stand.yield_t_ha[0] == pytest.approx(np.full(len(past), 4.0))
    assert stand.yield_t_ha[1] == pytest.approx(np.where(past, 3.0, 4.0))


def test_gain_counts_all_ground_and_difference_only_what_was_sown(season):
    truth = season.truth
    assert truth.gain_t_ha("a", "untreated") == pytest.approx(0.3)
    assert truth.gain_t_ha("b", "untreated") == pytest.approx(-0.1)
    assert truth.gain_t_ha("a", "b") == pytest.approx(0.4)
    means = truth.strips.groupby("treatment")["yield_t_ha"].mean()
    difference = truth.difference_t_ha("a", "untreated")
    assert difference == pytest.approx(means["a"] - means["untreated"])
    assert difference != pytest.approx(0.3, abs=1e-6)


def test_with_frost_the_gain_is_larger_in_the_hollow():
    layout = simulate.lay_strips(["u", "d"], 6, seed=4, length_m=200)
    hollow = simulate.Hollow(along_m=0, across_m=-140, radius_along_m=200, radius_across_m=60)
    field = simulate.Field(hollow=hollow, frost_loss=0.6)
    effects = {"d": simulate.Effect(frost_protection=0.5)}
    truth = simulate.harvest_trial(layout, field, effects, seed=1).truth
    dressed = truth.strips[truth.strips["treatment"] == "d"]
    gained = (dressed["yield_t_ha"] - dressed["undressed_t_ha"]).to_numpy()
    assert gained[0] > 0.4 > 0.01 > gained[-1] > 0
    untreated = truth.strips[truth.strips["treatment"] == "u"]
    assert (untreated["yield_t_ha"] == untreated["undressed_t_ha"]).all()
