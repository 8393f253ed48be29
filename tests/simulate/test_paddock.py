import numpy as np
import pytest
from statsmodels.tsa.stattools import acf

from trialkit import simulate
from trialkit.errors import LayoutError
from trialkit.simulate.paddock import draw_ground, wander

FLAT = simulate.Field(
    rise_across_t_ha=0, wave_across_t_ha=0, patch_sd_t_ha=0, pass_sd_t_ha=0, strip_sd_t_ha=0
)


@pytest.fixture(scope="module")
def plan(layout):
    return simulate.measure(layout)


def test_wander_has_the_correlation_asked_for():
    """Against statsmodels' autocorrelation; 200,000 steps, so it is off by 0.01 at most."""
    noise = wander(np.random.default_rng(1), 200_000, 0.8)
    assert acf(noise, nlags=4) == pytest.approx([1, 0.8, 0.64, 0.512, 0.4096], abs=0.02)
    assert noise.std() == pytest.approx(1, abs=0.02)


def test_wander_is_steady_from_its_first_step():
    noise = wander(np.random.default_rng(2), (20_000, 3), 0.9)
    assert noise.std(axis=0) == pytest.approx([1, 1, 1], abs=0.03)


def test_patches_have_the_standard_deviation_asked_for(plan):
    """Over many draws, at the middle and at a corner alike; 1,500 draws are within 6%."""
    settings = simulate.Field(rise_across_t_ha=0, wave_across_t_ha=0, patch_sd_t_ha=0.2)
    along, across = np.array([0.0, -100.0]), np.array([0.0, 144.0])
    drawn = np.array(
        [
            draw_ground(plan, settings, seed=seed).potential_t_ha(along, across)
            for seed in range(1500)
        ]
    )
    assert drawn.std(axis=0) == pytest.approx([0.2, 0.2], rel=0.12)
    assert drawn.mean(axis=0) == pytest.approx([3.0, 3.0], abs=0.03)


def test_rise_runs_from_edge_to_edge(plan):
    settings = simulate.Field(
        rise_across_t_ha=0.5, rise_along_t_ha=-0.2, wave_across_t_ha=0, patch_sd_t_ha=0
    )
    ground = draw_ground(plan, settings, seed=1)
    ends = np.array([-0.5, 0.5])
    across = ground.potential_t_ha(np.zeros(2), ends * plan.width_m)
    along = ground.potential_t_ha(ends * plan.length_m, np.zeros(2))
    assert np.diff(across) == pytest.approx(0.5)
    assert np.diff(along) == pytest.approx(-0.2)


def test_frost_takes_its_share_and_the_dressing_prevents_its_own(plan):
    hollow = simulate.Hollow(along_m=10, across_m=-20, radius_along_m=50, radius_across_m=80)
    settings = simulate.Field(mean_t_ha=4, hollow=hollow, frost_loss=0.6)
    effects = {"a": simulate.Effect(gain_t_ha=0.1, frost_protection=0.5)}
    ground = draw_ground(plan, settings, effects, seed=1)
    deepest = ground.frost_loss(np.array([10.0]), np.array([-20.0]))
    assert deepest == pytest.approx(0.6)
    assert ground.dressed(np.array([4.0]), deepest, "untreated") == pytest.approx(4 * 0.4)
    assert ground.dressed(np.array([4.0]), deepest, "a") == pytest.approx(4 * 0.7 + 0.1)
    one_radius_off = ground.frost_loss(np.array([60.0]), np.array([-20.0]))
    assert one_radius_off == pytest.approx(0.6 * np.exp(-1))


def test_low_ground_is_low(plan):
    hollow = simulate.Hollow(0, 0, 50, 50, depth_m=4, moisture_pct=1)
    settings = simulate.Field(hollow=hollow, slope_along=0.01, elevation_m=100)
    ground = draw_ground(plan, settings, seed=1)
    here = np.array([0.0, 1000.0]), np.zeros(2)
    assert ground.elevation_m(*here) == pytest.approx([96, 110])
    assert ground.moisture_pct(*here, np.array([0.0, 2.0])) == pytest.approx([13.0, 11.4])


def test_strips_and_blocks_vary_as_asked(plan):
    settings = simulate.Field(block_sd_t_ha=0.3, strip_sd_t_ha={"a": 0.2})
    drawn = np.array([draw_ground(plan, settings, seed=s).strip_t_ha for s in range(3000)])
    is_a = (plan.strips["treatment"] == "a").to_numpy()
    assert drawn[:, is_a].std() == pytest.approx(np.hypot(0.3, 0.2), rel=0.05)
    assert drawn[:, ~is_a].std() == pytest.approx(0.3, rel=0.05)
    same_block = np.corrcoef(drawn[:, ~is_a][:, :2].T)[0, 1]
    assert same_block == pytest.approx(1)


def test_a_flat_field_is_flat(plan):
    ground = draw_ground(plan, FLAT, seed=1)
    grown = ground.potential_t_ha(np.linspace(-100, 100, 5)[:, None], np.zeros((1, 3)))
    assert np.ptp(grown) == 0
    assert (ground.strip_t_ha == 0).all()


def test_an_effect_on_no_strip_is_refused(plan):
    with pytest.raises(LayoutError, match="No strip has the treatment 'dresed'"):
        draw_ground(plan, FLAT, {"dresed": simulate.Effect(0.1)}, seed=1)
