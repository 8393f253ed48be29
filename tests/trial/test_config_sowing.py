"""Seed, mix and products in `trial.toml`: what follows from them, and what is refused."""

from __future__ import annotations

import dataclasses
import re

import pytest

from trialkit.sowing import Product
from trialkit.trial.config import read_config
from trialkit.trial.config_sowing import ProductTable
from trialkit.trial.sowing_remarks import EXAMPLE, check_sowing
from trialkit.trial.template import new_folder

BROTH = """
[[treatments.products]]
name = "broth"
form = "watery"
per_t = 4
unit = "l"
cost_per_l = 20
"""
POWDER = """
[[treatments.products]]
name = "powder"
form = "powder"
per_ha = 150
unit = "g"
cost_per_kg = 10
"""
SHED = "\n[sowing]\nseed_kg_ha = 80\n[dressing]\nrate_l_t = 10\nmixer_l = 20\n"


@pytest.fixture
def toml(trial_folder):
    """Write the settings with products, and return what reads them."""
    path = trial_folder / "trial.toml"
    plain = path.read_text()

    def read(products="", tables="", cost="cost_per_ha = 14.5\n", **changes):
        text = plain.replace("cost_per_ha = 14.5\n", cost + products) + tables
        for old, new in changes.values():
            assert old in text
            text = text.replace(old, new)
        path.write_text(text)
        return read_config(path)

    return read


def refused(found):
    config, checks = found
    assert config is None
    return "\n".join(check.sentence() for check in checks)


def test_a_cost_follows_from_the_products_the_work_and_the_seed_rate(toml):
    config, checks = toml(BROTH + POWDER, SHED + "work_per_t_seed = 30\n", cost="")
    assert checks == []
    # By hand: 4 l/t at 20 is 80 a tonne; 150 g/ha at 10 a kg is 1.50 a hectare.
    assert config.cost_per_ha("dressed") == pytest.approx((80 + 30) * 80 / 1000 + 1.5)
    assert check_sowing(config) == []


def test_a_cost_given_is_never_added_to_that_of_the_products(toml):
    config, _ = toml(BROTH, SHED)
    assert config.cost_per_ha("dressed") == 14.5
    assert config.cost_from_products("dressed") == pytest.approx(6.4)
    assert check_sowing(config) == []


def test_products_dearer_than_the_cost_given_are_noted(toml):
    config, _ = toml(BROTH, SHED, cost="cost_per_ha = 5\n")
    (check,) = check_sowing(config)
    assert check.outcome == "warning"
    assert "said to cost 5.00 AUD/ha, and its products come to 6.40" in check.sentence()


def test_a_cost_without_work_is_noted(toml):
    config, _ = toml(BROTH, SHED, cost="")
    (check,) = check_sowing(config)
    assert "without work and machines: give work_per_t_seed" in check.found


def test_the_seed_rate_follows_from_the_plants(toml):
    plants = "\n[sowing]\ntarget_plants_m2 = 200\nseed_weight_g_1000 = 45\ngermination_pct = 95\n"
    config, _ = toml(tables=plants + "establishment_pct = 90\n")
    # 105 kg/ha: an extension table by the formula of Alberta Agriculture, Agri-Facts 100/22-1.
    assert config.sowing.rate_kg_ha == pytest.approx(105, abs=0.5)


def test_two_seed_rates_that_disagree_are_noted(toml):
    plants = "target_plants_m2 = 200\nseed_weight_g_1000 = 45\ngermination_pct = 95\n"
    config, _ = toml(tables=f"\n[sowing]\nseed_kg_ha = 80\n{plants}establishment_pct = 90\n")
    assert config.sowing.rate_kg_ha == 80
    (check,) = check_sowing(config)
    # 80 / 45 × 100 × 0.95 × 0.9 = 152 plants.
    assert "80 kg/ha give about 152 plants/m², and 105 kg/ha would give the 200" in check.found


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ("[sowing]\ngermination_pct = 95\n", r"\[sowing\]: There is no seed rate.*from which it"),
        ("[sowing]\nseed_kg_ha = 80000\n", r"\[sowing\] seed_kg_ha: .*did you mean 80\?"),
        ("[sowing]\nseed_kg_ha = 80\ngermination_pct = 0.95\n", r"did you mean 95%\?"),
        ("[sowing]\nseed_kg_ha = 80\ngermination_pct = 104\n", r"No more than 100 of 100 can"),
        ("[sowing]\nseed_kg_ha = 80\nseed_weight_g_1000 = 0\n", r"0\.1 to 3,000 g\."),
        ("[sowing]\nseed_kg_ha = 80\ntanks = 1.5\n", r"tanks: Tanks are counted: 1 to 12, not 1.5"),
        ("[sowing]\nseed_kg_ha = 80\ncart_t = 4\n", r"no such key\. Did you mean 'cart_kg'\?"),
        ("[dressing]\nrate_l_t = 10000\n", r"that is 10,000 l/t; did you mean 10\?"),
        ("[dressing]\nmixer_l = -1\n", r"\[dressing\] mixer_l: The mixer is -1 l"),
        ("[dressing]\nin_sun = 'often'\n", r"in_sun: It should be true or false, not 'often'"),
        ("[[products]]\nname = 'x'\n", r"Write \[\[treatments\.products\]\], below the"),
        ("[dressing]\ntank = 80\n", r"no such key\. Did you mean 'tank_l'\?"),
    ],
)
def test_numbers_that_make_no_sense(toml, tables, says):
    assert re.search(says, refused(toml(tables="\n" + tables)), re.S)


@pytest.mark.parametrize(
    ("products", "says"),
    [
        (BROTH.replace("watery", "runny"), r"number 1 form: It should be 'watery', 'powder' or"),
        (BROTH.replace("per_t", "per_tonne"), r"Did you mean 'per_t'\?"),
        (BROTH.replace('"l"', '"bucket"'), r"'bucket' of 'broth' is neither a volume nor a weight"),
        (BROTH.replace("per_t = 4", "per_t = 4000"), r"that is 4,000 l/t; did you mean 4\?"),
        (BROTH.replace("per_t = 4", 'per_t = "four"'), r"per_t: It should be a number, not 'four'"),
        (BROTH.replace("per_t = 4\n", ""), r"'broth' needs one rate"),
        (
            BROTH.replace("[[treatments.products]]", "[treatments.products]"),
            r"double brackets: \[\[t",
        ),
        (BROTH.replace("per_t = 4", "per_t = 12"), r"The mix of 'dressed': The products alone are"),
        (BROTH + BROTH, r"products\]\]: The product 'broth' stands twice"),
        (BROTH.replace("broth", "Water"), r"Leave water out"),
        (BROTH.replace("per_t = 4", "per_t = 12"), r"2 l/t more than the 10 l/t to go on the seed"),
        ("mixing_order = ['x']\n" + BROTH, r"mixing_order of 'dressed' must name each.*: broth"),
    ],
)
def test_products_that_make_no_sense_name_the_place(toml, products, says):
    said = refused(toml(products, SHED))
    assert said.startswith("trial.toml")
    assert re.search(says, said, re.S)


def test_faults_of_several_products_come_at_once(toml):
    said = refused(toml(BROTH.replace("4", '""') + POWDER.replace('"g"', '"l"')))
    assert "[[treatments]] number 2, [[treatments.products]] number 1 per_t: It is still" in said
    assert "number 2, [[treatments.products]] number 2: 'powder' is a powder with a rate" in said


def test_without_a_price_or_a_rate_no_cost_follows(toml):
    assert "there is no price of broth. Give each a price" in refused(
        toml(BROTH.replace("cost_per_l = 20\n", ""), SHED, cost="")
    )
    assert "there is no seed rate. Add [sowing]" in refused(toml(BROTH, cost=""))


def test_the_control_has_no_products(toml):
    control = ("control = true\n", "control = true\n" + BROTH)
    assert "the control and has products" in refused(toml(tables=SHED, control=control))


def test_the_keys_of_a_product_are_those_of_the_station():
    assert set(ProductTable.model_fields) == {field.name for field in dataclasses.fields(Product)}


def test_the_example_of_what_is_missing_is_read(toml):
    tables, products = EXAMPLE.split("[[treatments.products]]")
    config, checks = toml("[[treatments.products]]" + products, "\n" + tables)
    assert checks == []
    assert config.treatment("dressed").recipe[0].name == "root microbe"


def test_all_that_a_new_folder_says_of_sowing_is_read(tmp_path):
    new_folder(tmp_path / "mine")
    path = tmp_path / "mine" / "trial.toml"
    text = re.sub(r'""(.*for example )("[^"]*"|[\d.]+)', r"\2\1\2", path.read_text())
    start, end = text.index("# cost_per_t_seed"), text.index("# How to read the seeder's own")
    mine = re.sub(r"(?m)^# (?=\[|\w+ = )", "", text[start:end])
    assert mine.count("\nkeeps_on_seed_h") == 1
    head, money = text[end:].split("[money]\n")  # it holds what an hour and a pass cost
    money = re.sub(r"(?m)^# (?=\[|\w+ = )", "", money)
    rest = mine.replace("cost_per_t_seed = 180", "")
    path.write_text(f"{text[:start]}{rest}{head}[money]\n{money}")
    config, checks = read_config(path)
    assert checks == []
    (product,) = config.treatments[1].recipe
    assert product.keeps_on_seed_h == 24
    assert config.sowing.cart_kg == 4000
    assert config.dressing.auger_t_h == 40
    keys = set(re.findall(r"(?m)^(\w+) = ", mine))
    silent = {"pack_unit", "per_ha", "living_per_g", "cost_per_l", "cost_per_kg"}
    assert set(ProductTable.model_fields) - silent <= keys
    assert set(type(config.sowing).model_fields) <= keys
    assert set(type(config.dressing).model_fields) <= keys
