"""A season in which strips were not sown as drawn: the truth is known, the plan misleads."""

from __future__ import annotations

import json

import pytest

from trialkit import analyse, open_trial, simulate, write_results
from trialkit.errors import TrialFolderError
from trialkit.simulate import Effect, Field

GAIN = 0.4
SWAPPED = ("S3", "S4", "S9", "S10")
#: Ground even enough that what mistakes do to the gain stands out from chance.
EVEN = Field(
    rise_across_t_ha=0.05,
    wave_across_t_ha=0.0,
    patch_sd_t_ha=0.02,
    pass_sd_t_ha=0.02,
    strip_sd_t_ha=0.02,
)
OTHER = {"untreated": "dressed", "dressed": "untreated"}


@pytest.fixture(scope="module")
def sown():
    """Eight pairs, as they were sown."""
    return simulate.lay_strips(["untreated", "dressed"], blocks=8, seed=5, length_m=240)


@pytest.fixture(scope="module")
def season(sown):
    return simulate.harvest_trial(sown, effects={"dressed": Effect(GAIN)}, field=EVEN, seed=7)


def plan_of(sown):
    """The plan: two pairs the other way round."""
    swapped = sown["strip"].isin(SWAPPED)
    plan = sown.copy()
    plan.loc[swapped, "treatment"] = plan.loc[swapped, "treatment"].map(OTHER)
    return plan


@pytest.fixture(scope="module")
def folder(sown, season, tmp_path_factory):
    return simulate.write_trial(tmp_path_factory.mktemp("sown") / "trial", plan_of(sown), season)


@pytest.fixture(scope="module")
def by_plan(folder):
    (folder / "as-sown.csv").unlink(missing_ok=True)
    return analyse(open_trial(folder))


@pytest.fixture(scope="module")
def trial(sown, folder, by_plan):
    rows = sown[sown["strip"].isin(SWAPPED)][["strip", "treatment"]]
    rows.to_csv(folder / "as-sown.csv", index=False)
    return open_trial(folder)


@pytest.fixture(scope="module")
def by_sown(trial):
    return analyse(trial)


def test_by_plan_the_gain_is_halved_and_by_what_was_sown_it_is_found(by_plan, by_sown, season):
    true = season.truth.gain_t_ha("dressed", "untreated")
    (planned,), (real,) = by_plan.summary.comparisons, by_sown.summary.comparisons
    assert real.low_t_ha < true < real.high_t_ha
    assert real.gain_t_ha == pytest.approx(true, abs=0.05)
    # Two of eight pairs pull the other way: a quarter of the gain is lost twice.
    assert planned.gain_t_ha == pytest.approx(true * (1 - 2 * 2 / 8), abs=0.08)
    assert planned.high_t_ha - planned.low_t_ha > 2 * (real.high_t_ha - real.low_t_ha)


def test_the_randomisation_test_goes_by_the_plan(by_plan, by_sown):
    by_draw, brought = (result.summary.cross_checks[0] for result in (by_plan, by_sown))
    assert brought.p_value == by_draw.p_value
    assert brought.gain_t_ha == pytest.approx(by_draw.gain_t_ha / (1 - 2 * 2 / 8))
    assert "4 of 16 strips were not sown as drawn" in brought.note
    # Brought to what was sown, its estimate has twice the error, and no bounds.
    assert brought.gain_t_ha == pytest.approx(GAIN, abs=0.06)
    assert (brought.low_t_ha, brought.high_t_ha) == (None, None)
    assert not [note for note in by_sown.summary.warnings if "methods disagree" in note]


def test_the_change_is_named_in_words_and_in_the_files(trial, by_sown):
    notes = by_sown.summary.warnings
    assert notes[0].startswith("4 of 16 strips were not sown or kept as planned")
    for strip in SWAPPED:
        assert any(note.startswith(f"{strip} got ") for note in notes)
    assert any("was not drawn for them" in note for note in notes)
    files = {entry.file for entry in by_sown.summary.inputs}
    assert {"layout.geojson", "as-sown.csv"} <= files
    written = {path.name: path for path in write_results(trial, by_sown)}
    result = json.loads(written["result.json"].read_text())
    assert [row["strip"] for row in result["strips"]["not_as_planned"]] == list(SWAPPED)
    assert len(written["as-sown.csv"].read_text().splitlines()) == 1 + len(SWAPPED)
    layout = json.loads(written["layout-as-sown.geojson"].read_text())
    treatments = {
        f["properties"]["strip"]: f["properties"]["treatment"] for f in layout["features"]
    }
    assert treatments == dict(zip(trial.layout["strip"], trial.layout["treatment"], strict=True))


def test_the_plan_stays_as_it_was_drawn(trial, sown):
    planned = dict(zip(plan_of(sown)["strip"], plan_of(sown)["treatment"], strict=True))
    assert trial.planned_treatments == {k: v for k, v in planned.items() if k.startswith("S")}


def test_lost_ground_is_out_of_area_and_records(sown, season, tmp_path):
    folder = simulate.write_trial(tmp_path / "trial", sown, season)
    whole = analyse(open_trial(folder))
    (folder / "as-sown.csv").write_text(
        "strip,lost,from_m,to_m,from_end,note\nS1,yes,0,120,north,drowned\nS12,yes,,,,bog\n"
    )
    trial = open_trial(folder)
    part = analyse(trial)
    before, after = (r.harvested.strips.set_index("strip") for r in (whole, part))
    assert after.loc["S1", "area_ha"] == pytest.approx(before.loc["S1", "area_ha"] / 2, rel=0.08)
    assert after.loc["S1", "n"] == pytest.approx(before.loc["S1", "n"] / 2, rel=0.12)
    assert "S12" not in after.index
    others = [name for name in after.index if name != "S1"]
    # The metre grid lies about the strips, and so a hair elsewhere.
    assert after.loc[others, "yield_t_ha"].to_numpy() == pytest.approx(
        before.loc[others, "yield_t_ha"].to_numpy(), rel=1e-5
    )
    assert part.summary.strips["n"] == 15
    said = " ".join(part.summary.warnings)
    assert "S12 is left out (bog)." in said
    assert "S1 counts without 50% of its ground (2,880 m²) (drowned)." in said
    assert "Only one treatment has a yield in block B6" in said
    assert "would have been lost with any treatment" in said
    # A lost strip is no strip sown otherwise: the draws of those left are what is drawn again.
    check = part.summary.cross_checks[0]
    assert "sown as drawn" not in check.note
    assert "no p below 0.016" in check.note  # seven pairs


def test_without_a_word_on_the_sowing_the_bytes_are_the_same(sown, season, tmp_path):
    folder = simulate.write_trial(tmp_path / "trial", sown, season)
    before = analyse(open_trial(folder)).to_json()
    for strip in SWAPPED:
        assert f'"{strip}"' not in before
    (folder / "as-sown").mkdir()
    assert analyse(open_trial(folder)).to_json() == before


def test_a_trial_that_lost_too_much_is_refused_in_words(sown, season, tmp_path):
    folder = simulate.write_trial(tmp_path / "trial", sown, season)
    dressed = sown.loc[sown["treatment"] == "dressed", "strip"]
    rows = "".join(f"{name},yes\n" for name in dressed[1:])
    (folder / "as-sown.csv").write_text("strip,lost\n" + rows)
    with pytest.raises(TrialFolderError, match="'dressed' has one strip only"):
        open_trial(folder)
