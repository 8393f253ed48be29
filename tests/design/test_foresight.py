from __future__ import annotations

import math

import pytest

from trialkit.design import detectable_difference, foresee, power_to_see, strips_needed
from trialkit.errors import DesignError
from trialkit.models import smallest_p
from trialkit.money import payoff


def test_a_trial_that_cannot_tell_says_what_could():
    found = foresee(4, 4, mean_t_ha=3, break_even_t_ha=0.1)
    assert not found.can_tell
    assert found.detectable_t_ha == detectable_difference(4, 4, mean=3)
    assert found.replicates_needed == strips_needed(0.1, 4, mean=3)
    assert found.chance_to_see == power_to_see(0.1, 4, 4, mean=3) < 0.8
    assert found.std_error_t_ha == pytest.approx(0.04 * 3 * math.sqrt(2 / 4))
    assert power_to_see(0.1, 4, 4, mean=3, seasons=found.seasons_needed) >= 0.8
    assert power_to_see(0.1, 4, 4, mean=3, seasons=found.seasons_needed - 1) < 0.8
    assert "This trial cannot tell: 25 pairs could, or 7 seasons of 4 pairs" in found.sentence


def test_as_many_pairs_as_it_takes_can_tell():
    needed = foresee(4, 4, mean_t_ha=3, break_even_t_ha=0.1).replicates_needed
    found = foresee(needed, 4, mean_t_ha=3, break_even_t_ha=0.1)
    assert found.can_tell
    assert found.sentence.endswith("This trial can tell.")


def test_the_gain_hoped_for_must_stand_clear_of_the_break_even_gain():
    found = foresee(8, 4, mean_t_ha=3, break_even_t_ha=0.05, expected_t_ha=0.25)
    assert found.to_see_t_ha == pytest.approx(0.2)
    assert "you expect 0.25, so 0.20 t/ha must be seen" in found.sentence


def test_a_dressing_that_will_not_pay_even_as_hoped():
    found = foresee(8, 4, mean_t_ha=3, break_even_t_ha=0.3, expected_t_ha=0.1)
    assert "it would not pay even so" in found.sentence


def test_what_no_number_of_strips_can_see():
    found = foresee(4, 10, mean_t_ha=3, break_even_t_ha=0.001)
    assert found.replicates_needed is None
    assert found.seasons_needed is None
    assert "no number of strips could" in found.sentence


def test_too_many_seasons_to_wait_for():
    found = foresee(4, 6, mean_t_ha=3, break_even_t_ha=0.05)
    assert found.seasons_needed is None
    assert "20 seasons of 4 pairs could not" in found.sentence


def test_break_even_gain_is_that_of_the_payoff():
    paid = payoff(0.3, 0.1, 5, price_per_t=300, cost_per_ha=30)
    found = foresee(6, 5, mean_t_ha=3, break_even_t_ha=paid.break_even_t_ha)
    assert found.to_see_t_ha == pytest.approx(0.1)


@pytest.mark.parametrize(("pairs", "arms"), [(4, 2), (6, 2), (5, 3)])
def test_smallest_p_is_that_of_the_randomisation_test(pairs, arms):
    layout = "pairs" if arms == 2 else "blocks"
    found = foresee(pairs, 5, mean_t_ha=3, break_even_t_ha=0.1, layout=layout, treatments=arms)
    assert found.smallest_p == pytest.approx(smallest_p(pairs, treatments=arms))


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"break_even_t_ha": -0.1}, "break-even gain is -0.1"),
        ({"break_even_t_ha": 0}, "pays from the first kilogram"),
        ({"expected_t_ha": math.nan}, "gain expected is nan"),
        ({"expected_t_ha": 0.1}, "toss of a coin"),
        ({"mean_t_ha": 0}, "mean yield is 0"),
    ],
)
def test_numbers_that_make_no_sense(wrong, words):
    with pytest.raises(DesignError, match=words):
        foresee(4, 5, **({"mean_t_ha": 3, "break_even_t_ha": 0.1} | wrong))
