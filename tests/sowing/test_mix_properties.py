"""What holds for any lot: amounts add up, nothing is negative, units change nothing."""

from __future__ import annotations

import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from trialkit.sowing import Product, mix_plan, plants_sown, seeding_rate
from trialkit.units import convert

# Sums and products of a handful of floats.
ROUNDING = 1e-9

rates = st.floats(0.05, 4)
seeds = st.floats(0.05, 300)
mixers = st.floats(5, 2000)
#: Every unit a product may be measured in, by what it measures.
UNITS = {"l": ["l", "ml", "gal", "floz", "pint"], "kg": ["kg", "g", "lb", "oz"]}


@st.composite
def recipes(draw):
    products = []
    for at in range(draw(st.integers(1, 5))):
        form = draw(st.sampled_from(["watery", "powder", "syrupy"]))
        by_weight = form == "powder" or draw(st.booleans())
        density = draw(st.floats(0.8, 2)) if by_weight and form != "powder" else None
        unit = "kg" if by_weight else "l"
        products.append(Product(f"product {at}", form, draw(rates), unit, density_kg_l=density))
    return products


def in_litres_or_kg(table):
    basic = []
    for amount, unit, form in zip(table["amount"], table["unit"], table["form"], strict=True):
        liquid_by_weight = form != "powder" and unit in UNITS["kg"]
        basic.append(convert(amount, unit, "kg" if liquid_by_weight or form == "powder" else "l"))
    return basic


@settings(deadline=None, max_examples=60)
@given(recipes(), seeds, mixers)
def test_amounts_over_all_mixes_add_up(products, seed_t, mixer_l):
    plan = mix_plan(seed_t, products, rate_l_t=30, mixer_l=mixer_l)
    amounts = plan.per_mix.set_index("product")["amount"] * plan.mixes
    litres = amounts["water"]
    for product in products:
        assert amounts[product.name] == pytest.approx(product.per_t * seed_t, rel=ROUNDING)
        litres += product.litres_per_t() * seed_t
    assert litres == pytest.approx(plan.total_l, rel=ROUNDING)
    assert plan.total_l == pytest.approx(30 * seed_t, rel=ROUNDING)
    assert plan.mixes * plan.mix_l == pytest.approx(plan.total_l, rel=ROUNDING)
    assert plan.totals["amount"].tolist() == pytest.approx(amounts.tolist(), rel=ROUNDING)


@settings(deadline=None, max_examples=60)
@given(recipes(), seeds, mixers, st.floats(0.1, 300))
def test_nothing_is_negative_and_no_mix_runs_over(products, seed_t, mixer_l, auger_t_h):
    plan = mix_plan(
        seed_t, products, rate_l_t=30, mixer_l=mixer_l, tank_l=50_000, auger_t_h=auger_t_h
    )
    assert plan.mix_l <= mixer_l * (1 + ROUNDING)
    assert (plan.mixes - 1) * mixer_l < plan.total_l
    assert (plan.per_mix[["amount", "measured"]] >= 0).all(axis=None)
    assert (plan.purchase[["need"]] >= 0).all(axis=None)
    assert min(plan.minutes, plan.pump_l_min, plan.moisture_rise_pct) > 0
    assert plan.tank_fills * plan.mixes_per_fill >= plan.mixes
    # Time × flow is the mix.
    assert plan.minutes * plan.pump_l_min == pytest.approx(plan.total_l, rel=ROUNDING)


@settings(deadline=None, max_examples=60)
@given(recipes(), seeds, mixers, st.data())
def test_units_do_not_change_the_plan(products, seed_t, mixer_l, data):
    others = []
    for product in products:
        unit = data.draw(st.sampled_from(UNITS[product.base]))
        others.append(
            Product(
                product.name,
                product.form,
                convert(product.per_t, product.unit, unit),
                unit,
                density_kg_l=product.density_kg_l,
            )
        )
    plan = mix_plan(seed_t, products, rate_l_t=30, mixer_l=mixer_l)
    other = mix_plan(seed_t, others, rate_l_t=30, mixer_l=mixer_l)
    assert plan.mixes == other.mixes
    assert len(plan.warnings) == len(other.warnings)
    for name in ("moisture_rise_pct", "weight_gain_pct", "total_l"):
        assert getattr(plan, name) == pytest.approx(getattr(other, name), rel=ROUNDING)
    assert in_litres_or_kg(plan.per_mix) == pytest.approx(
        in_litres_or_kg(other.per_mix), rel=ROUNDING, abs=1e-9
    )
    assert plan.per_mix["measure"].tolist() == other.per_mix["measure"].tolist()


@settings(deadline=None, max_examples=60)
@given(recipes(), seeds, mixers)
def test_rounding_is_what_a_jug_or_scale_can_measure(products, seed_t, mixer_l):
    table = mix_plan(seed_t, products, rate_l_t=30, mixer_l=mixer_l).per_mix
    for row in table.to_dict("records"):
        step = {"ml": 1, "g": 1, "l": 0.05, "kg": 0.01}[row["measured_unit"]]
        assert math.isclose(row["measured"] / step, round(row["measured"] / step), abs_tol=1e-6)


@given(st.floats(1, 400), st.floats(1, 200), st.floats(1, 100), st.floats(1, 100))
def test_a_seed_rate_gives_the_plants_it_was_for(plants, grams, germination, establishment):
    rate = seeding_rate(plants, grams, germination, establishment)
    assume(0.1 <= rate <= 999)
    found = plants_sown(rate, grams, germination, establishment)
    assert found == pytest.approx(plants, rel=ROUNDING)
