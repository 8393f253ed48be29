"""Each warning where it belongs, and none where it does not."""

from __future__ import annotations

import pytest

from trialkit.sowing import Product


def living(**change):
    usual = {"living_per_ml": 1e8, "keeps_mixed_h": 6, "keeps_on_seed_h": 24}
    return Product("root microbe", "watery", 2, "l", **(usual | change))


POWDER = Product("mineral powder", "powder", 500, "g")
SYRUP = Product("humic liquid", "syrupy", 1.5, "l")


def test_a_sound_plan_warns_of_nothing(plan):
    lot = plan(
        [living(), Product("thin stimulant", "watery", 1, "l", keeps_on_seed_h=48)],
        tank_l=80, auger_t_h=40, seed_moisture_pct=11, crop="wheat", sown_after_h=20,
    )  # fmt: skip
    assert lot.warnings == ()


@pytest.mark.parametrize(
    ("products", "change", "says"),
    [
        (None, {"mixer_l": 5}, "mixer is too small for this lot: 32 mixes of 5 l"),
        (
            [POWDER, SYRUP],
            {"order": ["humic liquid", "mineral powder"]},
            "'mineral powder' would go in after a thick liquid, and powder added last lumps",
        ),
        (
            [POWDER, Product("humic liquid", "syrupy", 10, "l")],
            {},
            "no water or other thin liquid to stir 'mineral powder' into",
        ),
        ([Product("mineral powder", "powder", 2, "kg")], {}, "200 g of powder a litre"),
        ([Product("hormone", "watery", 0.3, "ml")], {}, "0.6 ml of 'hormone'.*1 ml: [+]67%"),
        ([living()], {"stands_h": 6.5}, "6.5 h after mixing, and 'root microbe' keeps 6 h"),
        (
            [living(keeps_mixed_h=0.2)],
            {"tank_l": 160, "auger_t_h": 40},
            "0.4 h after mixing, and 'root microbe' keeps 0.2 h",
        ),
        ([living()], {"sown_after_h": 25}, "25 h after dressing, and 'root microbe' keeps 24 h"),
        ([living(keeps_on_seed_h=None)], {}, "How long 'root microbe' keeps on the seed was not"),
        ([living(keeps_mixed_h=None)], {}, "How long 'root microbe' keeps once mixed was not"),
        (
            [POWDER, SYRUP],
            {"sown_after_h": 2},
            "How long 'mineral powder' and 'humic liquid' keep on the seed",
        ),
        (
            None,
            {"seed_moisture_pct": 12, "crop": "wheat"},
            "at 12.9% moisture, above the 12.5% to store it at",
        ),
        (None, {"seed_moisture_pct": 8, "storage_limit_pct": 8}, "above the 8% to store"),
        (None, {"rate_l_t": 12}, "puts 1.2% of the seed's weight on it as water"),
        (
            [living(), Product("fungus killer", "watery", 1, "l", fungicide=True)],
            {},
            "'root microbe' is alive, and 'fungus killer' in the same mix may kill it",
        ),
        ([living()], {"seed_has_fungicide": True}, "the seed carries a fungicide"),
        ([living()], {"in_sun": True}, "sun and heat kill it"),
        (
            [living(minimum_per_seed=1e6)],
            {"seed_weight_g_1000": 40},
            "8,000 living organisms on a seed; at least 1,000,000",
        ),
    ],
)
def test_it_warns(plan, products, change, says):
    found = plan(products, **change).warnings
    assert len(found) == 1, found
    with pytest.raises(AssertionError, match=says):
        raise AssertionError(found[0])


@pytest.mark.parametrize(
    ("products", "change"),
    [
        ([POWDER, SYRUP], {}),
        ([POWDER], {"in_sun": True, "seed_has_fungicide": True}),
        ([living()], {"stands_h": 6}),
        ([living()], {"sown_after_h": 24}),
        (None, {"seed_moisture_pct": 11, "crop": "wheat"}),
        (None, {"seed_moisture_pct": 14, "crop": "quinoa"}),
        (None, {"mixer_l": 16}),
    ],
)
def test_it_does_not_warn(plan, products, change):
    assert plan(products, **change).warnings == ()


def test_a_crop_without_a_limit_is_told_so(plan):
    notes = plan(seed_moisture_pct=14, crop="quinoa").notes
    assert any("No storage limit is known for this crop" in note for note in notes)


def test_notes_say_what_was_taken_for_granted(plan):
    text = " ".join(plan(auger_t_h=40).notes)
    assert "common practice without a source" in text
    assert "follow the label" in text
    assert "the most it can wet" in text
    assert "One filling lasts 3 minutes" in text
    assert "Without a tank the auger stands still" in text
