from __future__ import annotations

import pytest

from trialkit.report import numbers


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [
        (-1234.5, 1, "−1,234.5"),
        (-0.001, 2, "0.00"),
        (0.0, 0, "0"),
        (-0.4, 0, "0"),
        (2.0, 3, "2.000"),
    ],
)
def test_numbers_have_a_true_minus_and_no_minus_zero(value, decimals, expected):
    assert numbers.number(value, decimals) == expected


@pytest.mark.parametrize(
    ("chance", "expected"),
    [
        (0.0, "less than 1 in 100"),
        (0.0099, "less than 1 in 100"),
        (0.01, "1 in 100"),
        (0.29, "29 in 100"),
        (0.8999, "89 in 100"),
        (0.9, "90 in 100"),
        (0.9899, "98 in 100"),
        (0.99, "99 in 100"),
        (0.9999, "more than 99 in 100"),
        (1.0, "more than 99 in 100"),
    ],
)
def test_a_chance_is_rounded_down_and_never_certain(chance, expected):
    assert numbers.in_hundred(chance) == expected


@pytest.mark.parametrize(
    ("value", "decimals", "expected"),
    [(0.2, 2, "+0.20"), (-0.2, 2, "−0.20"), (0.001, 2, "0.00"), (0.001, 3, "+0.001")],
)
def test_gains_carry_their_sign(value, decimals, expected):
    assert numbers.signed_t_ha(value, decimals) == expected


def test_a_small_break_even_is_not_nothing():
    assert numbers.plain_t_ha(0.004) == "less than 0.01"
    assert numbers.plain_t_ha(0.0004, 3) == "less than 0.001"
    assert numbers.plain_t_ha(0.0) == "0.00"


def test_gain_and_break_even_never_look_equal_when_they_are_not(compare):
    assert numbers.yield_decimals([compare(0.20)]) == 2
    assert numbers.yield_decimals([compare(0.124, cost=30)]) == 3  # 0.124 against 0.120
    assert numbers.yield_decimals([compare(0.035, cost=11.2)]) == 3
    assert numbers.yield_decimals([compare(0.2), compare(0.035)]) == 3


def test_money_that_stands_together_has_one_precision():
    assert numbers.amounts(-8.77, -36.2, 18.4) == ["−9", "−36", "18"]
    assert numbers.amounts(-0.77, -3.2, 8.4) == ["−0.77", "−3.20", "8.40"]


def test_prices_are_shown_as_given():
    assert [numbers.price(p) for p in (310, 13.875, 0)] == ["310", "13.88", "0"]


def test_a_share_of_something_is_never_zero():
    assert numbers.percent(0.0001) == "< 0.1%"
    assert numbers.percent(0.062) == "6.2%"
    assert numbers.percent(0.34) == "34%"
    assert numbers.percent(0.0) == "0.0%"


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.0004, "< 0.001"), (0.0312, "0.031"), (None, "–"), (float("nan"), "–")],
)
def test_p_values_in_tables(value, expected):
    assert numbers.p_text(value) == expected


def test_lists_of_names():
    assert numbers.listed([]) == ""
    assert numbers.listed(["a"]) == "a"
    assert numbers.listed(["a", "b", "c"]) == "a, b and c"


def test_letters_tell_treatments_apart():
    assert numbers.letters(["untreated", "dressed"]) == {"untreated": "U", "dressed": "D"}
    assert numbers.letters(["dry", "dressed"]) == {"dry": "A", "dressed": "B"}
    assert numbers.letters(["<b>", "x"]) == {"<b>": "A", "x": "B"}


def test_long_names_are_cut():
    assert numbers.shortened("a  b") == "a b"
    cut = numbers.shortened("x" * 40, 10)
    assert len(cut) == 10
    assert cut.endswith("…")
