"""What next: three answers, the sum behind them by hand, and what it refuses."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from trialkit.errors import MoneyError
from trialkit.money import TrialCost, next_step, payoff, value_of_knowing, value_of_trial

TRIAL = TrialCost(labour_per_h=50)
FARM = {
    "price_per_t": 300.0, "cost_per_ha": 20.0, "area_ha": 400, "seasons": 5, "pairs": 6,
    "trial": TRIAL,
}  # fmt: skip


def test_a_gain_that_surely_pays_is_used():
    step = next_step(0.30, 0.07, 5, **FARM)
    assert step.answer == "use it"
    assert step.use_meanwhile
    assert step.trial_net < 0


def test_a_loss_that_is_sure_stops():
    step = next_step(-0.10, 0.03, 5, **FARM)
    assert (step.answer, step.use_meanwhile) == ("stop", False)


def test_a_gain_near_break_even_on_much_ground_is_tested_again():
    for gain, meanwhile in ((0.10, True), (0.04, False)):
        step = next_step(gain, 0.07, 5, **FARM)
        assert step.answer == "test again"
        assert step.use_meanwhile is meanwhile
        assert step.trial_net > 0


def test_the_sum_by_hand():
    step = next_step(0.10, 0.07, 5, **FARM)
    row = step.table.set_index("pairs").loc[step.pairs]
    # Net 0.10 x 300 - 20 = 10 a hectare with standard error 21; 6 pairs before, n after.
    s, n = 21.0, step.pairs
    benefit = value_of_trial(10, s, 5, s * math.sqrt(6 / n)) * 400 * 4
    cost = (8 + 0.5 * n) * 50 + n * 1.0 * 10
    assert step.net_per_ha == pytest.approx(10)
    assert row["benefit"] == pytest.approx(benefit)
    assert row["cost"] == pytest.approx(cost)
    assert step.trial_net == pytest.approx(benefit - cost)
    assert step.value_of_knowing == pytest.approx(value_of_knowing(10, s, 5) * 400 * 5)
    alone = payoff(0.10, 0.07, 5, price_per_t=300, cost_per_ha=20)
    assert step.farm_net == pytest.approx(400 * alone.net_per_ha)
    assert (step.farm_low, step.farm_high) == pytest.approx(
        (400 * alone.net_low, 400 * alone.net_high)
    )
    assert step.chance_paid == pytest.approx(alone.chance_paid)


def test_the_trial_is_the_smallest_that_brings_nearly_all():
    step = next_step(0.10, 0.07, 5, **FARM)
    nets = step.table.set_index("pairs")["net"]
    assert nets[step.pairs] >= 0.9 * nets.max()
    assert (nets[nets.index < step.pairs] < 0.9 * nets.max()).all()


def test_little_ground_and_few_seasons_are_not_worth_a_trial():
    small = next_step(0.10, 0.07, 5, **{**FARM, "area_ha": 20, "seasons": 2})
    assert small.answer == "use it"
    assert small.trial_benefit < small.trial_cost
    last = next_step(0.10, 0.07, 5, **{**FARM, "seasons": 1})
    assert last.answer == "use it"
    assert last.trial_benefit == 0


def test_no_room_for_a_trial():
    step = next_step(0.04, 0.07, 5, **{**FARM, "area_ha": 5})
    assert (step.answer, step.pairs, step.chance_of_turning) == ("stop", 0, 0)
    assert step.table.empty


def test_a_trial_never_covers_more_ground_than_there_is():
    step = next_step(0.10, 0.07, 5, **{**FARM, "area_ha": 24})
    assert step.table["pairs"].max() == 12


def test_the_price_is_taken_at_its_mean():
    # Triangular from 200 over 300 to 460: mean 320, so net 0.10 x 320 - 20 = 12.
    step = next_step(0.10, 0.07, 5, **FARM, price_range=(200, 460))
    assert step.net_per_ha == pytest.approx(12)
    assert step.farm_low < step.farm_net < step.farm_high


def test_seasons_that_differ_make_one_more_worth_less():
    # At break-even the value of a trial is its spread s* times 0.4: v^2 = 0.07^2 x 6 / n + tau2.
    same = next_step(20 / 300, 0.07, math.inf, **FARM, tau2=0.0)
    differ = next_step(20 / 300, 0.07, math.inf, **FARM, tau2=0.02)
    for step, between in ((same, 0.0), (differ, 0.02)):
        own = 0.07**2 + between
        trial = 0.07**2 * 6 / 10 + between
        moved = 300 * own / math.sqrt(own + trial)
        row = step.table.set_index("pairs").loc[10]
        assert row["benefit"] == pytest.approx(moved * 0.3989422804 * 400 * 4, rel=1e-8)
    assert same.seasons_known
    assert not next_step(0.1, 0.07, 5, **FARM).seasons_known


def test_earlier_seasons_are_weighed_with_this_one():
    # Equal errors: half way, and the error is that over root two.
    step = next_step(0.30, 0.07, math.inf, **FARM, earlier=(0.0, 0.07))
    assert step.net_per_ha == pytest.approx(0.15 * 300 - 20)
    assert step.prior == "earlier seasons"
    expected = value_of_knowing(25, 21 / math.sqrt(2), math.inf) * 2000
    assert step.value_of_knowing == pytest.approx(expected)


@pytest.mark.parametrize("spread", [0.05, 0.1, 0.3])
def test_earlier_seasons_against_the_full_posterior(spread):
    # Normal from before, t from this trial: the exact posterior by quadrature.
    gain, error, df = 0.12, 0.07, 5
    step = next_step(gain, error, df, **FARM, earlier=(0.05, spread))

    def weight(mu):
        return stats.t.pdf((mu - gain) / error, df) * stats.norm.pdf(mu, 0.05, spread)

    def average(function):
        return integrate.quad(lambda mu: function(mu) * weight(mu), -2, 2, limit=400,
                              points=[20 / 300, gain])[0]  # fmt: skip

    whole = average(lambda mu: 1.0)
    mean = average(lambda mu: mu) / whole
    assert step.net_per_ha == pytest.approx(mean * 300 - 20, rel=1e-5)
    paid = average(lambda mu: float(mu * 300 > 20)) / whole
    assert step.chance_paid == pytest.approx(paid, abs=1e-5)
    perfect = average(lambda mu: max(mu * 300 - 20, 0)) / whole - max(mean * 300 - 20, 0)
    assert step.value_of_knowing / 2000 == pytest.approx(perfect, rel=1e-4)


def test_two_pairs_alone_cannot_be_weighed_and_with_earlier_seasons_can():
    two = {**FARM, "pairs": 2}
    with pytest.raises(MoneyError, match=r"so few strips or seasons.*three pairs of strips"):
        next_step(0.1, 0.07, 1, **two)
    assert next_step(0.1, 0.07, 1, **two, earlier=(0.0, 0.1)).answer in ("test again", "stop")


def test_the_interval_of_a_belief_is_its_own():
    step = next_step(0.12, 0.07, 4, **FARM, earlier=(0.05, 0.1), tau2=0.003, price_range=(200, 400))
    draw = np.random.default_rng(7)
    variance = 0.07**2 * 4 / draw.chisquare(4, 2_000_000) + 0.003
    # Weighed by how well each variance fits the earlier seasons.
    weight = stats.norm.pdf(0.12, 0.05, np.sqrt(0.01 + variance))
    share = 0.01 / (0.01 + variance)
    gain = 0.12 * share + 0.05 * (1 - share)
    gain = gain + np.sqrt(share * variance) * draw.standard_normal(len(gain))
    net = gain * draw.triangular(200, 300, 400, len(gain)) - 20
    order = np.argsort(net)
    passed = np.cumsum(weight[order]) / weight.sum()
    low, high = net[order][np.searchsorted(passed, [0.025, 0.975])]
    assert (step.farm_low / 400, step.farm_high / 400) == pytest.approx((low, high), abs=0.3)
    assert step.chance_paid == pytest.approx(np.average(net > 0, weights=weight), abs=2e-3)


def test_a_pooled_gain_needs_the_spread_of_a_pair():
    pooled = {key: value for key, value in FARM.items() if key != "pairs"}
    step = next_step(0.1, 0.04, 3, **pooled, pair_sd_t_ha=0.17, tau2=0.004, pooled=True)
    np.testing.assert_allclose(step.table["std_error_t_ha"], 0.17 / np.sqrt(step.table["pairs"]))


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"area_ha": 0}, "ground where the dressing would be used is 0 ha"),
        ({"area_ha": math.nan}, "ground .* is nan"),
        ({"seasons": 0}, "number of seasons is 0"),
        ({"seasons": 2.5}, "number of seasons is 2.5. Give a whole number"),
        ({"area_ha": "400 ha"}, "ground .* is 400 ha"),
        ({"pairs": "6"}, "number of pairs is 6"),
        ({"pairs": None}, "not known, or known twice"),
        ({"pair_sd_t_ha": 0.2}, "not known, or known twice"),
        ({"pairs": 1}, "number of pairs is 1. Give 2 or more"),
        ({"pairs": None, "pair_sd_t_ha": -1}, "pair_sd_t_ha is -1"),
        ({"most_pairs": 3}, "At most 3 pairs and at least 4"),
        ({"fewest_pairs": 1}, "fewest pairs is 1"),
        ({"tau2": -1}, "tau2"),
        ({"confidence": 95}, "confidence is 95"),
        ({"earlier": 0.1}, "Give the mean gain and its standard error"),
        ({"earlier": (0.1, 0)}, "standard error of earlier seasons is 0"),
        ({"earlier": (math.nan, 1)}, "gain of earlier seasons is nan"),
        ({"price_per_t": math.nan}, "price is nan"),
        ({"cost_per_ha": -4}, "cost is -4 per hectare.*saved_per_ha"),
    ],
)
def test_nonsense_is_refused(changed, message):
    with pytest.raises(MoneyError, match=message):
        next_step(0.1, 0.07, 5, **{**FARM, **changed})


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"labour_per_h": -1}, "labour_per_h is -1"),
        ({"labour_per_h": 50, "hours": math.inf}, "hours is inf"),
        ({"labour_per_h": 50, "strip_ha": 0}, "strip_ha is 0. Give a number above zero"),
    ],
)
def test_costs_of_a_trial_that_make_no_sense(given, message):
    with pytest.raises(MoneyError, match=message):
        TrialCost(**given)
