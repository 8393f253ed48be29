"""What shed and cab are told follows from `trial.toml` and the layout."""

from __future__ import annotations

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trialkit.errors import SowingError, TrialFolderError
from trialkit.sowing import seeding_rate
from trialkit.trial.sowing_plan import open_sowing

TABLES = """
[sowing]
seed_kg_ha = 80
cart_kg = 200
purge_kg = 10

[dressing]
rate_l_t = 10
mixer_l = 0.5
tank_l = 1
auger_t_h = 6
"""
PRODUCTS = """
[[treatments.products]]
name = "broth"
form = "watery"
per_t = 4
keeps_mixed_h = 4

[[treatments.products]]
name = "syrup"
form = "syrupy"
per_t = 2
density_kg_l = 1.2

[[treatments.products]]
name = "powder"
form = "powder"
per_t = 500
unit = "g"
"""
#: A strip is 24 m by 300 m as drawn in degrees, 0.72 ha to half a percent.
STRIP_HA, DRAWN = 0.72, 0.005


@pytest.fixture
def folder(trial_folder):
    """A folder of eight strips with a recipe."""
    path = trial_folder / "trial.toml"
    text = path.read_text()
    path.write_text(
        text.replace("cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\n{PRODUCTS}") + TABLES
    )
    return trial_folder


def change(folder, old, new):
    path = folder / "trial.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def test_the_seed_is_what_the_strips_take_with_reserve_and_purge(folder):
    sowing = open_sowing(folder)
    need = sowing.need.table.set_index("treatment")
    wanted = 4 * STRIP_HA * 80 / 1000 * 1.05 + 0.01
    assert need["seed_t"].tolist() == pytest.approx([wanted, wanted], rel=DRAWN)
    (one,) = sowing.dressed
    assert one.whole
    # Rounded up to ten kilograms: 0.2519 t.
    assert one.seed_t == pytest.approx(0.26)
    assert one.mix.mixes == 6
    assert one.mix.pump_l_min == pytest.approx(10 * 6 / 60)
    assert need.loc["dressed", "cart_fills"] == 2


def test_the_drill_puts_out_more_of_the_heavier_seed(folder):
    sowing = open_sowing(folder)
    gain = sowing.weight_gain_pct["dressed"]
    # 4 l of water a tonne, 4 kg of broth, 2 l of syrup at 1.2, 500 g of powder.
    assert gain == pytest.approx((4 + 4 + 2.4 + 0.5) / 10)
    assert gain == pytest.approx(sowing.dressed[0].mix.weight_gain_pct)
    drill = sowing.need.table.set_index("treatment")["drill_kg_ha"]
    assert drill["dressed"] == pytest.approx(80 * (1 + gain / 100))
    assert drill["untreated"] == 80


def test_every_strip_is_sown_once_the_untreated_first(folder):
    steps = open_sowing(folder).order.steps
    assert sorted(steps["strip"]) == [f"S{n}" for n in range(8)]
    assert steps["treatment"].tolist() == ["untreated"] * 4 + ["dressed"] * 4
    # Two passes a strip, of 12 m: every strip is left at the end it was begun from.
    assert set(steps["start_end"]) == {"near"}


def test_two_tanks_sow_side_by_side(folder):
    change(folder, "cart_kg", "tanks = 2\ncart_kg")
    steps = open_sowing(folder).order.steps
    assert steps["strip"].tolist() == [f"S{n}" for n in range(8)]
    assert set(zip(steps["treatment"], steps["tank"], strict=True)) == {
        ("untreated", 1), ("dressed", 2),
    }  # fmt: skip


def test_tonnes_given_are_dressed_and_too_few_are_noted(folder):
    change(folder, "cost_per_ha = 14.5\n", "cost_per_ha = 14.5\nseed_t = 0.2\n")
    sowing = open_sowing(folder)
    assert sowing.dressed[0].seed_t == 0.2
    assert any("0.2 t are to be dressed, and its strips take 0.25" in n for n in sowing.notes)


@pytest.mark.parametrize("empty", [True, False])
def test_before_the_layout_amounts_are_for_a_full_mix(folder, empty):
    path = folder / "layout.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}') if empty else path.unlink()
    sowing = open_sowing(folder)
    assert sowing.order is None
    assert sowing.need is None
    (one,) = sowing.dressed
    assert not one.whole
    assert (one.mix.mixes, one.mix.mix_l, one.seed_t) == (1, 0.5, 0.05)
    assert "Run `trialkit layout FOLDER` first" in sowing.notes[0]
    assert "amounts are for one full mix" in sowing.notes[1]


def test_before_the_layout_with_tonnes_all_mixes_are_known(folder):
    (folder / "layout.geojson").unlink()
    change(folder, "cost_per_ha = 14.5\n", "cost_per_ha = 14.5\nseed_t = 1\n")
    (one,) = open_sowing(folder).dressed
    assert one.whole
    assert one.mix.mixes == 20


def test_what_is_missing_is_said_and_the_rest_still_works(trial_folder):
    sowing = open_sowing(trial_folder)
    said = [check.sentence() for check in sowing.missing]
    for place in ("[sowing]", "[[treatments.products]]", "[dressing] rate_l_t", "mixer_l"):
        assert any(place in sentence for sentence in said), place
    assert sowing.dressed == ()
    assert sowing.need is None
    assert len(sowing.order.steps) == 8


def test_without_the_augers_flow_a_note_says_how_to_get_it(folder):
    change(folder, "auger_t_h = 6\n", "")
    sowing = open_sowing(folder)
    assert sowing.dressed[0].mix.pump_l_min is None
    assert any("put auger_t_h (t/h) under [dressing]" in note for note in sowing.notes)


def test_the_labels_order_is_kept(folder):
    order = 'mixing_order = ["syrup", "powder", "broth"]\n'
    change(folder, "cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\n{order}")
    sowing = open_sowing(folder)
    mixed = sowing.dressed[0].mix.per_mix["product"].tolist()
    assert mixed == ["water", "syrup", "powder", "broth"]
    assert any("powder added last lumps" in line for line in sowing.warnings)


def test_seeds_on_a_square_metre(folder):
    assert open_sowing(folder).seeds_m2 is None
    change(folder, "cart_kg", "seed_weight_g_1000 = 40\ncart_kg")
    seeds = open_sowing(folder).seeds_m2
    assert seeding_rate(seeds, 40, 100) == pytest.approx(80)


def test_a_tank_below_one_mix_names_the_treatment(folder):
    change(folder, "tank_l = 1", "tank_l = 0.3")
    with pytest.raises(SowingError, match=r"trial\.toml, dressing of 'dressed': The tank holds"):
        open_sowing(folder)


def test_all_faults_of_all_files_at_once(folder):
    (folder / "dressing.csv").write_text("date,product,amount\n2025-05-12,broth,much\n")
    change(folder, "seeder_m = 12", "seeder_m = 0")
    with pytest.raises(TrialFolderError) as refused:
        open_sowing(folder)
    assert re.search(r"\[machines\] seeder_m", str(refused.value))
    assert re.search(r"dressing\.csv, row 1: The column 'unit' is missing", str(refused.value))


def test_a_link_out_of_the_folder_is_refused(folder, tmp_path):
    (tmp_path / "elsewhere.csv").write_text("date,product,amount,unit\n")
    (folder / "dressing.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(TrialFolderError, match=r"dressing\.csv: It points outside"):
        open_sowing(folder)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    seed_t=st.floats(0.05, 60),
    rate_l_t=st.floats(7, 20),
    mixer_l=st.floats(2, 100),
)
def test_the_mixes_add_up_to_what_the_seed_takes(folder, seed_t, rate_l_t, mixer_l):
    path = folder / "trial.toml"
    plain = path.read_text()
    try:
        change(folder, "cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\nseed_t = {seed_t!r}\n")
        change(folder, "rate_l_t = 10", f"rate_l_t = {rate_l_t!r}")
        change(folder, "mixer_l = 0.5\ntank_l = 1\n", f"mixer_l = {mixer_l!r}\n")
        (one,) = open_sowing(folder).dressed
    finally:
        path.write_text(plain)
    mixes = one.mix.per_mix.set_index("product")["amount"] * one.mix.mixes
    assert mixes["broth"] == pytest.approx(4 * seed_t)
    assert mixes["powder"] == pytest.approx(500 * seed_t)
    assert mixes["syrup"] + mixes["broth"] + mixes["water"] == pytest.approx(rate_l_t * seed_t)
    assert one.mix.mix_l <= mixer_l * (1 + 1e-9)
