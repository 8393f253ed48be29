"""Numbers that make no sense, each with the sentence that helps."""

from __future__ import annotations

import math

import pytest

from trialkit.errors import SowingError
from trialkit.sowing import Product, mix_plan

THIN = Product("root microbe", "watery", 2, "l")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"rate_l_t": 10_000}, r"that is 10,000 l/t; did you mean 10\?"),
        ({"rate_l_t": 0.01}, r"that is 0.01 l/t; did you mean 10\?"),
        ({"rate_l_t": 0}, "rate of the mix is 0 l/t. It must be 0.1 to 100 l/t"),
        ({"rate_l_t": -10}, "rate of the mix is -10 l/t"),
        ({"rate_l_t": math.nan}, "rate of the mix is nan. Give a number"),
        ({"rate_l_t": "10"}, "rate of the mix is '10'. Give it as a number"),
        ({"rate_l_t": True}, "rate of the mix is True"),
        ({"rate_l_t": None}, "rate of the mix is None"),
        ({"rate_l_t": 10**400}, "rate of the mix is inf"),
        ({"seed_t": 16_000}, r"that is 16,000 t; did you mean 16\?"),
        ({"seed_t": 0}, "seed to dress is 0 t"),
        ({"seed_t": math.inf}, "seed to dress is inf"),
        ({"mixer_l": 0}, "mixer is 0 l"),
        ({"mixer_l": -20}, "mixer is -20 l"),
        ({"tank_l": 15}, "tank holds 15 l, and one mix is 20 l .*mixer_l=15"),
        ({"tank_l": 0}, "tank is 0 l"),
        ({"auger_t_h": 40_000}, r"that is 40,000 t/h; did you mean 40\?"),
        ({"auger_t_h": 0}, "auger's flow is 0 t/h"),
        ({"seed_kg_ha": 0.075}, r"that is 0.075 kg/ha; did you mean 75\?"),
        ({"seed_weight_g_1000": 0.04}, r"that is 0.04 g; did you mean 40\?"),
        ({"seed_weight_g_1000": 0}, "weight of a thousand seeds is 0 g"),
        ({"seed_moisture_pct": 0.12}, r"is 0.12%; did you mean 12%\?"),
        ({"seed_moisture_pct": 60}, "moisture of the seed is 60%. It must be 1 to 40%"),
        ({"jug_l": -1}, "jug is -1 l"),
        ({"stands_h": -1}, "time the mix stands is -1 h"),
        ({"sown_after_h": math.nan}, "time until the seed is sown is nan"),
        ({"in_sun": "yes"}, "in_sun is 'yes'. Say True or False"),
        ({"crop": ""}, "name of the crop is ''"),
        ({"crop": 5}, "name of the crop is 5"),
        ({"order": ["kelp"]}, "Name each product once"),
        ({"order": "root microbe"}, "Name each product once"),
        ({"rate_l_t": 1.5}, "2 l/t, 0.5 l/t more than the 1.5 l/t to go on the seed"),
        ({"products": []}, "There are no products"),
        ({"products": THIN}, "There are no products"),
        ({"products": ["root microbe"]}, "'root microbe' is not a product"),
        ({"products": [THIN, Product("Root Microbe", "powder", 1, "kg")]}, "stands twice"),
        ({"products": [Product("water", "watery", 8)]}, "Leave water out"),
        ({"products": [Product("kelp", "syrupy", per_ha=0.2)]}, "per hectare. Say seed_kg_ha"),
        ({"products": [Product("kelp", "syrupy", 80)], "rate_l_t": 5}, "'kelp' in the right unit"),
    ],
)
def test_a_plan_that_makes_no_sense(change, says):
    usual = {"seed_t": 16, "products": [THIN], "rate_l_t": 10, "mixer_l": 20}
    given = usual | change
    with pytest.raises(SowingError, match=says):
        mix_plan(given.pop("seed_t"), given.pop("products"), **given)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"name": " "}, "name of the product is ' '"),
        ({"name": None}, "name of the product is None"),
        ({"form": "liquid"}, "form of 'kelp' is 'liquid'. Say 'watery'"),
        ({"per_t": None}, "'kelp' needs one rate"),
        ({"per_ha": 2}, "'kelp' needs one rate"),
        ({"per_t": 0}, "rate of 'kelp' is 0 l/t"),
        ({"per_t": -1}, "rate of 'kelp' is -1 l/t"),
        ({"per_t": math.nan}, "rate of 'kelp' is nan"),
        ({"per_t": "2"}, "rate of 'kelp' is '2'"),
        ({"per_t": True}, "rate of 'kelp' is True"),
        ({"per_t": 1500}, r"that is 1,500 l/t; did you mean 1.5\?"),
        ({"per_t": 1500, "form": "powder", "unit": "kg"}, r"1,500 kg/t; did you mean 1.5\?"),
        ({"unit": "scoops"}, "unit 'scoops' of 'kelp' is neither a volume nor a weight"),
        ({"unit": None}, "unit None of 'kelp'"),
        ({"unit": "m"}, "unit 'm' of 'kelp' is neither"),
        ({"unit": "kg"}, "liquid with a rate in kg. Give density_kg_l"),
        ({"form": "powder"}, "powder with a rate in l. Powders are weighed"),
        ({"density_kg_l": 1200}, r"that is 1,200 kg/l; did you mean 1.2\?"),
        ({"density_kg_l": 0}, "density of 'kelp' is 0 kg/l"),
        ({"density_kg_l": 20}, "density of 'kelp' is 20 kg/l. It must be 0.6 to 2.5"),
        ({"water_pct": 120}, "water of 'kelp' is 120%. It must be 0 to 100%"),
        ({"pack": 0}, "pack of 'kelp' is 0 l"),
        ({"pack": 5, "pack_unit": "kg"}, "measured in l, and kg is the other kind.*density_kg_l"),
        ({"pack": 5, "pack_unit": "sack"}, "unit 'sack' of 'kelp'"),
        ({"cost_per_pack": 5}, "Say what a pack holds"),
        ({"cost_per_l": 5, "cost_per_kg": 5}, "more than one price"),
        ({"cost_per_kg": 5}, "measured in l, and kg is the other kind"),
        ({"cost_per_l": -5}, "cost_per_l of 'kelp' is -5"),
        ({"living_per_g": 1e9}, "measured in l, and g is the other kind"),
        ({"living_per_ml": 1e9, "living_per_g": 1e9}, "a gram and a millilitre"),
        ({"living_per_ml": -1}, "living_per_ml of 'kelp' is -1"),
        ({"keeps_mixed_h": -1}, "keeps_mixed_h of 'kelp' is -1"),
        ({"keeps_on_seed_h": math.inf}, "keeps_on_seed_h of 'kelp' is inf"),
        ({"fungicide": "no"}, "fungicide of 'kelp' is 'no'"),
        (
            {"form": "powder", "unit": "kg", "density_kg_l": 2, "cost_per_l": 3},
            "measured in kg, and l is the other kind. Give both by weight",
        ),
    ],
)
def test_a_product_that_makes_no_sense(change, says):
    with pytest.raises(SowingError, match=says):
        Product(**({"name": "kelp", "form": "syrupy", "per_t": 2, "unit": "l"} | change))
