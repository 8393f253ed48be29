"""Costs a hectare, item by item, by hand; and costs that cannot be."""

import pytest

from trialkit.errors import MoneyError
from trialkit.money import Costs, Deductions, Rates, check_cost, cost_sheet, extra_cost, net_price

RATES = Rates(labour_per_h=40, machine_per_h=60, water_per_kl=5, pass_per_ha=12, seed_per_t=600)


def test_every_item_by_hand():
    costs = Costs(
        cost_per_t_seed=180, freight_per_t_seed=6, labour_h_per_t_seed=0.25, labour_h_per_ha=0.01,
        machine_h_per_t_seed=0.5, machine_h_per_ha=0.02, water_l_per_t_seed=100, extra_passes=1,
        extra_seed_kg_ha=5, saved_per_ha=4,
    )  # fmt: skip
    sheet = cost_sheet(costs, RATES, seed_kg_ha=75)
    # 75 kg and the 5 kg more are all dressed: 0.08 t/ha.
    by_hand = {
        "products": 0.08 * 180,  # 14.40
        "freight": 0.08 * 6,  # 0.48
        "labour": (0.08 * 0.25 + 0.01) * 40,  # 1.20
        "machines": (0.08 * 0.5 + 0.02) * 60,  # 3.60
        "water": 0.08 * 100 / 1000 * 5,  # 0.04
        "extra passes": 12,
        "extra seed": 0.005 * 600,  # 3.00
        "saved inputs": -4,
    }
    assert dict(zip(sheet.lines["item"], sheet.lines["per_ha"], strict=True)) == pytest.approx(
        by_hand
    )
    assert sheet.spent_per_ha == pytest.approx(34.72)
    assert sheet.saved_per_ha == 4
    assert sheet.per_ha == pytest.approx(30.72)
    lines = sheet.lines
    assert (lines["amount"] * lines["price"]).tolist() == pytest.approx(lines["per_ha"].tolist())


def test_a_cost_by_the_hectare_needs_nothing_else():
    sheet = cost_sheet(Costs(cost_per_ha=14.5))
    assert sheet.lines[["item", "unit", "per_ha"]].to_numpy().tolist() == [["products", "ha", 14.5]]
    assert cost_sheet(Costs()).per_ha == 0


@pytest.mark.parametrize(
    ("treated", "control", "expected"),
    [
        (Costs(cost_per_ha=30), Costs(cost_per_ha=8), (22, 0)),
        (Costs(cost_per_ha=8), Costs(cost_per_ha=30), (0, 22)),
        (Costs(cost_per_ha=30, saved_per_ha=5), Costs(), (30, 5)),
        (Costs(cost_per_ha=30), Costs(saved_per_ha=5), (35, 0)),
    ],
)
def test_what_is_on_top_of_the_control(treated, control, expected):
    assert extra_cost(cost_sheet(treated), cost_sheet(control)) == expected


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"cost_per_ha": -1}, "cost_per_ha is -1. Give zero or more"),
        ({"labour_h_per_ha": float("nan")}, "labour_h_per_ha is nan"),
        ({"water_l_per_t_seed": float("inf")}, "water_l_per_t_seed is inf"),
        ({"freight_per_t_seed": "six"}, "freight_per_t_seed is six"),
        ({"extra_passes": True}, "extra_passes is True"),
        ({"cost_per_ha": 12, "cost_per_t_seed": 150}, "counted twice"),
    ],
)
def test_costs_that_make_no_sense(given, message):
    with pytest.raises(MoneyError, match=message):
        Costs(**given)


def test_what_is_needed_and_missing():
    with pytest.raises(MoneyError, match=r"cost_per_t_seed is given per tonne of seed.*seed_kg_ha"):
        cost_sheet(Costs(cost_per_t_seed=180))
    with pytest.raises(MoneyError, match="takes labour, and labour_per_h is not given"):
        cost_sheet(Costs(labour_h_per_ha=0.1))
    with pytest.raises(MoneyError, match="takes extra passes, and pass_per_ha is not given"):
        cost_sheet(Costs(extra_passes=1), Rates(labour_per_h=30))
    with pytest.raises(MoneyError, match="seed rate is 0 kg/ha"):
        cost_sheet(Costs(cost_per_t_seed=180), seed_kg_ha=0)
    with pytest.raises(MoneyError, match="In the rates, water_per_kl is -1"):
        Rates(water_per_kl=-1)


def test_a_rate_of_zero_is_an_answer():
    sheet = cost_sheet(Costs(cost_per_ha=10, labour_h_per_ha=0.1), Rates(labour_per_h=0))
    assert sheet.per_ha == 10
    assert "labour" in sheet.lines["item"].tolist()


def test_a_cost_a_hectare_that_is_one_a_tonne():
    # 240 a tonne of seed at 80 kg/ha is 19.20 a hectare: needs 0.06 t/ha, not 0.8.
    with pytest.raises(MoneyError, match=r"takes a gain of 0\.80 t/ha.*19\.20 a hectare.*per_t"):
        check_cost(240, price_per_t=300, mean_yield_t_ha=2.8, seed_kg_ha=80)
    with pytest.raises(MoneyError, match="give it as cost_per_t_seed"):
        cost_sheet(Costs(cost_per_ha=240), price_per_t=300, mean_yield_t_ha=2.8)
    check_cost(19.2, price_per_t=300, mean_yield_t_ha=2.8, seed_kg_ha=80)


def test_a_failed_crop_blocks_nobody():
    # A drought of 0.3 t/ha: 30 a hectare is a third of it, and still what was paid.
    check_cost(30, price_per_t=300, mean_yield_t_ha=0.3)


def test_the_field_price_by_hand():
    # 310 - 1.02% (3.162) - 25 - 8 - 1.50.
    deductions = Deductions(freight_per_t=25, levy_pct=1.02, levy_per_t=1.5, harvest_per_t=8)
    assert net_price(310, deductions) == pytest.approx(272.338)
    assert net_price(310, Deductions()) == 310


def test_prices_of_which_nothing_is_left():
    with pytest.raises(MoneyError, match="of 20 a tonne, freight, levies and harvest leave -5"):
        net_price(20, Deductions(freight_per_t=25))
    with pytest.raises(MoneyError, match="price is -3 per tonne"):
        net_price(-3, Deductions())
    with pytest.raises(MoneyError, match="freight_per_t is -1"):
        Deductions(freight_per_t=-1)
    with pytest.raises(MoneyError, match="levy of 100% leaves nothing"):
        Deductions(levy_pct=100)
