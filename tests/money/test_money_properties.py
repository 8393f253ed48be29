"""What must hold for every gain, price and cost."""

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.money import (
    Grade,
    PriceGain,
    TrialCost,
    grade_chances,
    next_step,
    partial_budget,
    payoff,
    rank_treatments,
    season_risk,
    value_of_knowing,
    value_of_trial,
)

gains = st.floats(-0.5, 1.0)
errors = st.floats(0.005, 0.5)
degrees = st.one_of(st.floats(1.2, 60), st.just(math.inf))
prices = st.floats(50, 900)
costs = st.floats(0, 120)
# Another currency: yen to the dollar, and back.
currencies = st.sampled_from([0.007, 0.6, 1.7, 150.0])
# Rounding of products of a few numbers, and of roots sought to 1e-12 of a unit of money.
ROUNDING = {"rel": 1e-9, "abs": 1e-9}

calm = settings(deadline=None, max_examples=60)


@calm
@given(gains, errors, degrees, prices, costs, st.floats(0, 0.5), currencies)
def test_another_currency_does_not_change_the_payoff(gain, error, df, price, cost, wide, rate):
    prices = (price * (1 - wide), price * (1 + wide))
    here = payoff(gain, error, df, price_per_t=price, cost_per_ha=cost, price_range=prices)
    there = payoff(
        gain, error, df, price_per_t=price * rate, cost_per_ha=cost * rate,
        price_range=(prices[0] * rate, prices[1] * rate),
    )  # fmt: skip
    assert there.chance_paid == pytest.approx(here.chance_paid, **ROUNDING)
    assert there.break_even_t_ha == pytest.approx(here.break_even_t_ha, **ROUNDING)
    # Roots are sought to 1e-12 of a unit of money and 1e-14 of their size.
    assert there.net_low == pytest.approx(here.net_low * rate, rel=1e-6, abs=1e-6)
    assert there.net_high == pytest.approx(here.net_high * rate, rel=1e-6, abs=1e-6)
    assert here.net_low <= here.net_high


@calm
@given(gains, errors, degrees, prices, costs, st.floats(-20, 20), st.floats(0, 15), currencies)
def test_nor_where_grade_pays(gain, error, df, price, cost, step, step_error, rate):
    def paid(unit):
        through = PriceGain(step * unit, step_error * unit, 8, control_yield_t_ha=2.5)
        return payoff(
            gain, error, df, price_per_t=price * unit, cost_per_ha=cost * unit, price_gain=through
        )

    assert paid(rate).chance_paid == pytest.approx(paid(1).chance_paid, **ROUNDING)
    assert 0 <= paid(1).chance_paid <= 1


@calm
@given(gains, errors, degrees, prices, costs, st.integers(10, 5000), st.integers(1, 12), currencies)
def test_another_currency_does_not_change_what_next(
    gain, error, df, price, cost, area, seasons, rate
):
    def step(unit):
        return next_step(
            gain, error, df, price_per_t=price * unit, cost_per_ha=cost * unit, area_ha=area,
            seasons=seasons, pairs=6, trial=TrialCost(labour_per_h=40 * unit, other=100 * unit),
        )  # fmt: skip

    here, there = step(1.0), step(rate)
    if abs(here.trial_net) > 1e-6 and abs(here.net_per_ha) > 1e-6:  # no tie broken by rounding
        assert there.answer == here.answer
        assert there.use_meanwhile == here.use_meanwhile
    assert there.trial_net == pytest.approx(here.trial_net * rate, rel=1e-6, abs=1e-3)


@calm
@given(
    gains, errors, degrees, prices, costs, st.floats(0, 0.05),
    st.one_of(st.none(), st.tuples(gains, errors)), st.booleans(),
)  # fmt: skip
def test_more_strips_never_tell_less_and_no_trial_tells_all(
    gain, error, df, price, cost, tau2, earlier, pooled
):
    step = next_step(
        gain, error, df, price_per_t=price, cost_per_ha=cost, area_ha=300, seasons=4, pairs=5,
        tau2=tau2, earlier=earlier, pooled=pooled, trial=TrialCost(labour_per_h=40),
    )  # fmt: skip
    benefit = step.table["benefit"].to_numpy()
    assert np.all(np.diff(benefit) >= -1e-9 * (1 + benefit.max()))
    assert np.all(benefit >= 0)
    assert np.all(benefit <= step.value_of_knowing * (1 + 1e-9) + 1e-9)
    # With earlier seasons the means under different errors may lie on both sides.
    assert 0 <= step.chance_of_turning <= (0.5 if earlier is None else 1) + 1e-12
    assert 0 <= step.chance_paid <= 1
    assert step.farm_low <= step.farm_high
    if step.answer == "test again":
        assert step.trial_benefit > step.trial_cost
    else:
        assert step.use_meanwhile == (step.answer == "use it")


@calm
@given(st.floats(-200, 200), st.floats(0, 300), degrees, st.floats(0, 500), st.floats(0, 500))
def test_information_is_worth_no_more_than_perfect_information(net, error, df, sharp, dull):
    sharp, dull = sorted([sharp, dull])
    perfect = value_of_knowing(net, error, df)
    better, worse = (value_of_trial(net, error, df, sd) for sd in (sharp, dull))
    room = 1e-9 * (1 + perfect)
    assert 0 <= worse <= better + room
    assert better <= perfect + room


@settings(deadline=None, max_examples=30)
@given(
    st.lists(st.tuples(gains, costs), min_size=1, max_size=4),
    st.floats(0.01, 0.3), st.floats(0, 0.95), degrees, currencies,
)  # fmt: skip
def test_chances_to_be_best_sum_to_one_in_every_currency(arms, error, shared, df, rate):
    names = [f"t{place}" for place in range(len(arms))]
    cov = error**2 * ((1 - shared) * np.eye(len(arms)) + shared)

    def ranked(unit):
        return rank_treatments(
            {name: gain for name, (gain, _) in zip(names, arms, strict=True)}, cov, df,
            price_per_t=300 * unit, price_range=(200 * unit, 380 * unit),
            costs_per_ha={name: cost * unit for name, (_, cost) in zip(names, arms, strict=True)},
        )  # fmt: skip

    here, there = ranked(1.0).table, ranked(rate).table
    assert here["chance_best"].sum() == pytest.approx(1, abs=1e-12)
    # A point or two of 16,384 may fall on the other side by rounding.
    np.testing.assert_allclose(here["chance_best"], there["chance_best"], atol=3e-4)
    if df > 2:
        assert (here["expected_loss_per_ha"] >= 0).all()


@calm
@given(
    st.lists(
        st.tuples(st.floats(0.5, 6), st.floats(0, 200)), min_size=1, max_size=7
    ),
    st.floats(0, 200), currencies,
)  # fmt: skip
def test_the_budget_chooses_the_same_in_every_currency(arms, wanted, rate):
    def budget(unit):
        table = pd.DataFrame(
            {
                "treatment": [f"t{place}" for place in range(len(arms))],
                "yield_t_ha": [each for each, _ in arms],
                "price_per_t": 250.0 * unit,
                "costs_per_ha": [cost * unit for _, cost in arms],
            }
        )
        return partial_budget(table, acceptable_return_pct=wanted)

    here, there = budget(1.0), budget(rate)
    assert here["chosen"].sum() == 1
    best = here.loc[here["chosen"], "residual"].item()
    assert best == pytest.approx(here["residual"].max(), **ROUNDING)
    chosen_there = here.loc[there["chosen"], "residual"].item()
    assert chosen_there == pytest.approx(best, rel=1e-6, abs=1e-6)
    # Along the undominated, cost and net rise together.
    path = here[~here["dominated"]].sort_values("costs_per_ha")
    assert path["net"].is_monotonic_increasing
    assert (path["marginal_return_pct"].dropna() > 0).all()


@calm
@given(st.floats(5, 20), st.floats(0, 3), st.floats(0, 15), st.floats(0, 5), degrees)
def test_chances_of_grades_sum_to_one(protein, error, screenings, spread, df):
    grades = [
        Grade(name="a", price_per_t=310, least_protein_pct=11.5, most_screenings_pct=5),
        Grade(name="b", price_per_t=290, most_protein_pct=9.5),
        Grade(name="c", price_per_t=240),
    ]
    means = {"protein_pct": (protein, error), "screenings_pct": (screenings, spread)}
    assert grade_chances(means, grades, df)["chance"].sum() == pytest.approx(1, abs=1e-12)


@settings(deadline=None, max_examples=15)
@given(gains, errors, costs, st.floats(0, 0.1), st.floats(0, 60))
def test_a_larger_loss_is_never_likelier(gain, error, cost, tau2, loss):
    def risk(limit):
        return season_risk(
            gain, error, 6, price_per_t=280, cost_per_ha=cost, tau2=tau2, lose_more_than=limit
        )

    small, large = risk(loss), risk(loss + 5)
    assert large.chance_of_loss <= small.chance_of_loss
    assert large.season_chance_of_loss <= small.season_chance_of_loss
    assert large.worst_season == small.worst_season >= small.worst_season_low


shares = st.lists(st.floats(0.01, 1.0), min_size=1, max_size=4)


@calm
@given(gains, errors, degrees, st.floats(200, 900), costs, shares, shares, currencies)
def test_nor_where_grade_pays_in_steps(gain, error, df, price, cost, treated, control, rate):
    def fetched(own, unit):
        return [((price + 20 * place) * unit, share / sum(own)) for place, share in enumerate(own)]

    def paid(unit):
        through = PriceGain.by_steps(fetched(treated, unit), fetched(control, unit), 2.5)
        return payoff(
            gain, error, df, price_per_t=price * unit, cost_per_ha=cost * unit, price_gain=through
        )

    here, there = paid(1.0), paid(rate)
    assert there.chance_paid == pytest.approx(here.chance_paid, rel=1e-7, abs=1e-9)
    assert there.net_per_ha == pytest.approx(here.net_per_ha * rate, rel=1e-9, abs=1e-7)
    assert 0 <= here.chance_paid <= 1
    assert here.net_low <= here.net_high


@calm
@given(gains, errors, degrees, st.floats(200, 900), costs, shares, shares, st.floats(0.5, 40))
def test_a_dearer_treatment_with_grades_never_pays_sooner(
    gain, error, df, price, cost, treated, control, more
):
    def chances(own):
        return [(price + 20 * place, share / sum(own)) for place, share in enumerate(own)]

    through = PriceGain.by_steps(chances(treated), chances(control), 2.5)
    cheap, dear = (
        payoff(gain, error, df, price_per_t=price, cost_per_ha=one, price_gain=through)
        for one in (cost, cost + more)
    )
    assert dear.chance_paid <= cheap.chance_paid + 1e-12
    assert dear.net_per_ha == pytest.approx(cheap.net_per_ha - more)
    saved = payoff(
        gain, error, df, price_per_t=price, cost_per_ha=cost + more, saved_per_ha=more,
        price_gain=through,
    )  # fmt: skip
    assert saved.chance_paid == pytest.approx(cheap.chance_paid, abs=1e-9)


@calm
@given(gains, errors, st.floats(1.2, 60), costs, shares, shares)
def test_what_is_to_learn_is_never_less_than_nothing(gain, error, df, cost, treated, control):
    def chances(own):
        return [(250.0 + 20 * place, share / sum(own)) for place, share in enumerate(own)]

    step = next_step(
        gain, error, df, price_per_t=270, cost_per_ha=cost, area_ha=100, seasons=3, pairs=6,
        price_gain=PriceGain.by_steps(chances(treated), chances(control), 2.5),
        trial=TrialCost(labour_per_h=40),
    )  # fmt: skip
    assert step.value_of_grade >= 0
    assert step.value_of_knowing >= 0
    # No trial brings more than to know the gain for certain.
    assert step.table["benefit"].max() <= step.value_of_knowing * (1 + 1e-9) + 1e-6
