"""Price by grade in steps: payoff, risk, what next, break-even and ranking against draws."""

import math

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.money import (
    Farm,
    Grade,
    PriceGain,
    TrialCost,
    break_even_curve,
    check_grades,
    grade_chances,
    limited_measures,
    look_ahead,
    next_step,
    payoff,
    price_gain_between,
    rank_treatments,
    season_risk,
)

DRAWS = 2_000_000
# Four standard errors of a share near one half.
SIMULATED = 4 * 0.5 / math.sqrt(DRAWS)
YIELD = 2.8
#: The treated grain makes the better grade in 7 of 10, the control's in 3.
STEPS = PriceGain.by_steps([(330.0, 0.7), (290.0, 0.3)], [(330.0, 0.3), (290.0, 0.7)], YIELD)
#: What the control's grain is expected to fetch: 0.3 x 330 + 0.7 x 290.
CONTROL_PRICE = 302.0
USUAL = {"price_per_t": CONTROL_PRICE, "cost_per_ha": 25.0, "price_gain": STEPS}
GRADES = (
    Grade(name="milling", price_per_t=330, least_protein_pct=11, most_screenings_pct=5),
    Grade(name="middle", price_per_t=305, least_protein_pct=10, most_screenings_pct=8),
    Grade(name="feed", price_per_t=280),
)


def drawn(number, gain, error, df, prices=None, seed=5):
    """Draw gains, prices, and the price gain grade by grade, without what trialkit does."""
    draw = np.random.default_rng(seed)
    noise = draw.standard_normal(number) if math.isinf(df) else draw.standard_t(df, number)
    after = np.where(draw.random(number) < 0.7, 330.0, 290.0)
    before = np.where(draw.random(number) < 0.3, 330.0, 290.0)
    price = CONTROL_PRICE
    if prices is not None:
        price = draw.triangular(prices[0], CONTROL_PRICE, prices[1], number)
    return gain + error * noise, price, after - before


def net_of(gains, price, step, cost):
    return (YIELD + gains) * (price + step) - YIELD * price - cost


def test_mean_and_spread_of_the_steps_by_hand():
    # 28 apart on average; +40 in 0.49, 0 in 0.42, -40 in 0.09: variance 1600 x 0.58 - 16^2.
    assert STEPS.per_t == pytest.approx(16)
    assert STEPS.std_error == pytest.approx(math.sqrt(1600 * 0.58 - 16**2))
    assert STEPS.through_grade_per_ha == pytest.approx(16 * YIELD)
    assert STEPS.least_per_t == -40


@pytest.mark.parametrize(("error", "df"), [(0.06, 6), (0.004, math.inf), (0.3, 3)])
@pytest.mark.parametrize("prices", [None, (240, 380)])
def test_payoff_against_draws(error, df, prices):
    answer = payoff(0.05, error, df, **USUAL, price_range=prices, confidence=0.9)
    net = net_of(*drawn(DRAWS, 0.05, error, df, prices), 25.0)
    assert np.mean(net > 0) == pytest.approx(answer.chance_paid, abs=SIMULATED)
    assert np.mean(net < answer.net_low) == pytest.approx(0.05, abs=SIMULATED)
    assert np.mean(net > answer.net_high) == pytest.approx(0.05, abs=SIMULATED)
    # 0.05 (302 + 16) + 2.8 x 16 - 25
    assert answer.net_per_ha == pytest.approx(0.05 * 318 + 44.8 - 25)


def test_a_gain_known_well_leaves_the_chances_of_the_steps():
    # Net is above zero on the step up alone: 0.7 x 0.7.
    answer = payoff(0.0, 1e-6, math.inf, **USUAL)
    assert answer.chance_paid == pytest.approx(0.49, abs=1e-9)


def test_a_normal_difference_of_the_same_spread_would_flatter_it():
    smooth = PriceGain(STEPS.per_t, STEPS.std_error, math.inf, YIELD)
    flattered = payoff(0.0, 1e-6, math.inf, **{**USUAL, "price_gain": smooth}).chance_paid
    exact = stats.norm.sf((25 / YIELD - 16) / STEPS.std_error)
    assert flattered == pytest.approx(exact, abs=1e-6)
    assert flattered > 0.49 + 0.1


def test_sure_grades_are_a_known_difference():
    sure = PriceGain.by_steps([(330.0, 1.0)], [(305.0, 1.0)], YIELD)
    known = PriceGain(25.0, 0.0, math.inf, YIELD)
    given = {**USUAL, "price_per_t": 305.0, "price_range": (250.0, 350.0)}
    assert payoff(0.1, 0.05, 6, **{**given, "price_gain": sure}) == payoff(
        0.1, 0.05, 6, **{**given, "price_gain": known}
    )


def test_risk_of_a_loss_is_the_payoffs():
    risk = season_risk(0.05, 0.06, 6, **USUAL, price_range=(240, 380), lose_more_than=20)
    net = net_of(*drawn(DRAWS, 0.05, 0.06, 6, (240, 380)), 25.0)
    assert risk.chance_of_loss == pytest.approx(np.mean(net < -20), abs=SIMULATED)
    none = season_risk(0.05, 0.06, 6, **USUAL)
    assert none.chance_of_loss == pytest.approx(1 - payoff(0.05, 0.06, 6, **USUAL).chance_paid)


def test_worst_season_with_steps_against_draws():
    risk = season_risk(0.05, 0.06, math.inf, **USUAL, tau2=0.08**2, seasons=10)
    number = 200_000
    gains, price, step = drawn(number, 0.05, math.hypot(0.06, 0.08), math.inf)
    seasons = gains[:, None] + 0.08 * np.random.default_rng(8).standard_normal((number, 10))
    worst = net_of(seasons, price, step[:, None], 25.0).min(axis=1)
    for found, share in ((risk.worst_season, 0.5), (risk.worst_season_low, 0.1)):
        # Four standard errors of a share of 100,000 runs against one of 200,000.
        error = math.sqrt(share * (1 - share) * (1 / 100_000 + 1 / number))
        assert np.mean(worst < found) == pytest.approx(share, abs=4 * error)


def test_a_trial_ahead_against_draws():
    """A season of strips, drawn: the choice after it, against the choice now."""
    error, pairs, more = 0.05, 6, 8
    # 16 more a tonne are 44.80 a hectare: gains from 0.101 t/ha down to a small loss pay.
    given = {**USUAL, "cost_per_ha": 76.0}
    step = next_step(
        0.09, error, math.inf, **given, area_ha=400, seasons=5, pairs=pairs,
        trial=TrialCost(labour_per_h=50),
    )  # fmt: skip
    number = 1_000_000
    true, price, steps = drawn(number, 0.09, error, math.inf)
    net = net_of(true, price, steps, 76.0)
    assert step.net_per_ha == pytest.approx(net.mean(), abs=4 * net.std() / math.sqrt(number))
    trial_sd = error * math.sqrt(pairs / more)
    seen = true + trial_sd * np.random.default_rng(11).standard_normal(number)
    weight = error**2 / (error**2 + trial_sd**2)
    believed = 0.09 + weight * (seen - 0.09)
    use = believed * (CONTROL_PRICE + 16) + 16 * YIELD - 76 > 0
    worth = (np.where(use, net, 0.0)).mean() - max(step.net_per_ha, 0.0)
    known = np.maximum(net, 0.0).mean() - max(step.net_per_ha, 0.0)
    all_of_it = (step.value_of_knowing + step.value_of_grade) / (400 * 5)
    assert all_of_it == pytest.approx(known, abs=4 * net.std() / math.sqrt(number))
    assert step.value_of_grade > step.value_of_knowing
    told = step.table.set_index("pairs").loc[more, "benefit"] / (400 * 4)
    assert told == pytest.approx(worth, abs=4 * net.std() / math.sqrt(number))
    assert told > 1


def test_what_next_agrees_with_the_payoff():
    given = {**USUAL, "price_range": (240, 380)}
    step = next_step(
        0.05, 0.06, 6, **given, area_ha=400, seasons=5, pairs=6, trial=TrialCost(labour_per_h=50)
    )
    paid = payoff(0.05, 0.06, 6, **given)
    assert step.chance_paid == pytest.approx(paid.chance_paid)
    assert (step.farm_low, step.farm_high) == pytest.approx(
        (400 * paid.net_low, 400 * paid.net_high)
    )


def test_a_grade_that_is_known_leaves_nothing_to_learn():
    farm = {"area_ha": 400, "seasons": 5, "pairs": 6, "trial": TrialCost(labour_per_h=50)}
    sure = PriceGain.by_steps([(330.0, 1.0)], [(305.0, 1.0)], YIELD)
    for gain in (None, sure, PriceGain(25.0, 0.0, math.inf, YIELD)):
        given = {"price_per_t": 305.0, "cost_per_ha": 25.0, "price_gain": gain}
        assert next_step(0.05, 0.06, 6, **given, **farm).value_of_grade == 0
    normal = PriceGain(10.0, 12.0, 8, YIELD)
    step = next_step(0.05, 0.06, 6, price_per_t=305.0, cost_per_ha=40.0, price_gain=normal, **farm)
    draw = np.random.default_rng(17)
    net = net_of(0.05 + 0.06 * draw.standard_t(6, DRAWS), 305.0,
                 10 + 12 * draw.standard_t(8, DRAWS), 40.0)  # fmt: skip
    known = np.maximum(net, 0.0).mean() - max(step.net_per_ha, 0.0)
    all_of_it = (step.value_of_knowing + step.value_of_grade) / (400 * 5)
    assert all_of_it == pytest.approx(known, abs=4 * net.std() / math.sqrt(DRAWS))


@pytest.mark.parametrize("price_gain", [STEPS, PriceGain(12, 6, 8, YIELD)])
def test_verdicts_turn_where_the_curve_says(price_gain):
    curve = break_even_curve(0.08, 0.05, 8, [260, 302, 340], saved_per_ha=4, price_gain=price_gain)
    for row in curve.itertuples():
        for cost, chance in ((row.paid_below, 0.9), (row.did_not_pay_above, 0.1)):
            found = payoff(
                0.08, 0.05, 8, price_per_t=row.price_per_t, cost_per_ha=max(cost, 0),
                saved_per_ha=4 + max(-cost, 0), price_gain=price_gain,
            )  # fmt: skip
            assert found.chance_paid == pytest.approx(chance, abs=1e-6)
        even = payoff(
            0.08, 0.05, 8, price_per_t=row.price_per_t, cost_per_ha=row.even_at, saved_per_ha=4,
            price_gain=price_gain,
        )  # fmt: skip
        assert even.net_per_ha == pytest.approx(0, abs=1e-9)


def test_no_price_gain_leaves_the_curve_in_its_closed_form():
    nothing = PriceGain(0, 0, math.inf, YIELD)
    plain = break_even_curve(0.2, 0.05, 8, [250, 300])
    np.testing.assert_allclose(
        break_even_curve(0.2, 0.05, 8, [250, 300], price_gain=nothing), plain, atol=1e-6
    )


def test_looking_ahead_holds_together():
    given = {**USUAL, "saved_per_ha": 6.0, "price_range": (240.0, 380.0)}
    ahead = look_ahead(
        "dressed", 0.05, 0.06, 6, **given, pairs=6, strip_ha=1.0, farm=Farm(400, 5, 50.0)
    )
    paid = payoff(0.05, 0.06, 6, **given)
    assert ahead.step.chance_paid == pytest.approx(paid.chance_paid)
    assert ahead.risk.chance_of_loss == pytest.approx(1 - paid.chance_paid)
    at = (ahead.curve["price_per_t"] - CONTROL_PRICE).abs().idxmin()
    price = ahead.curve.loc[at, "price_per_t"]
    assert ahead.curve.loc[at, "even_at"] == pytest.approx(0.05 * (price + 16) + 44.8 + 6)
    assert (ahead.cost_per_ha, ahead.saved_per_ha) == (25, 6)


def test_prices_that_a_lower_grade_would_eat_up_are_not_drawn():
    deep = PriceGain.by_steps([(100.0, 1.0)], [(300.0, 1.0)], YIELD)
    ahead = look_ahead(
        "dressed", 0.05, 0.06, 6, price_per_t=300, cost_per_ha=5, price_gain=deep, pairs=6,
        strip_ha=1.0,
    )  # fmt: skip
    assert ahead.curve["price_per_t"].min() > 200


SHARED = np.array([[0.005, 0.0025], [0.0025, 0.005]])


@pytest.mark.parametrize("prices", [None, (240, 380)])
def test_ranking_against_draws_of_every_grade(prices):
    """The control's grade is one and the same for both treatments."""
    control = [(330.0, 0.3), (290.0, 0.7)]
    better = PriceGain.by_steps([(330.0, 0.8), (290.0, 0.2)], control, YIELD)
    same = PriceGain.by_steps(control, control, YIELD)
    gains, costs = {"a": 0.05, "b": 0.12}, {"a": 15.0, "b": 12.0}
    ranking = rank_treatments(
        gains, SHARED, 8, price_per_t=CONTROL_PRICE, price_range=prices, costs_per_ha=costs,
        price_gains={"a": better, "b": same},
    )  # fmt: skip
    draw = np.random.default_rng(31)
    number = 1_000_000
    t = draw.multivariate_normal([0, 0], SHARED, number)
    t /= np.sqrt(draw.chisquare(8, number) / 8)[:, None]
    price = np.full(number, CONTROL_PRICE)
    if prices is not None:
        price = draw.triangular(prices[0], CONTROL_PRICE, prices[1], number)
    before = np.where(draw.random(number) < 0.3, 330.0, 290.0)
    after = np.column_stack(
        [np.where(draw.random(number) < share, 330.0, 290.0) for share in (0.8, 0.3)]
    )
    step = after - before[:, None]
    net = (t + np.array([0.05, 0.12])) * (price[:, None] + step) + YIELD * step - [15, 12]
    net = np.column_stack([np.zeros(number), net])
    shares = np.bincount(net.argmax(axis=1), minlength=3) / number
    table = ranking.table
    # 16,384 quasi-random points in as many as six dimensions.
    assert table["chance_best"].tolist() == pytest.approx(shares.tolist(), abs=6e-3)
    forgone = net.max(axis=1).mean() - net.mean(axis=0)
    assert table["expected_loss_per_ha"].tolist() == pytest.approx(forgone.tolist(), rel=0.03)
    for place, (name, one) in enumerate((("a", better), ("b", same)), 1):
        alone = payoff(
            gains[name], math.sqrt(0.005), 8, price_per_t=CONTROL_PRICE, price_range=prices,
            cost_per_ha=costs[name], price_gain=one,
        )  # fmt: skip
        assert table["chance_paid"][place] == pytest.approx(alone.chance_paid)
        assert table["net_per_ha"][place] == pytest.approx(alone.net_per_ha)


def test_ranking_with_differences_that_are_known_or_normal():
    gains, costs = {"a": 0.0, "b": 0.0}, {"a": 10.0, "b": 10.0}
    given = {"price_per_t": 300.0, "costs_per_ha": costs}
    known = rank_treatments(
        gains, SHARED, 8, **given, price_gains={"a": PriceGain(30, 0, math.inf, YIELD)}
    )
    normal = rank_treatments(
        gains, SHARED, 8, **given, price_gains={"a": PriceGain(30, 1e-7, math.inf, YIELD)}
    )
    assert known.best == normal.best == "a"
    assert known.table["net_per_ha"].tolist() == pytest.approx([0, 74, -10])
    assert normal.chance_best == pytest.approx(known.chance_best, abs=4e-3)


def test_grades_that_two_grains_make():
    treated = grade_chances({"protein_pct": (11.2, 0.2), "screenings_pct": (4, 0.5)}, GRADES, 10)
    control = grade_chances({"protein_pct": (10.6, 0.2), "screenings_pct": (4, 0.5)}, GRADES, 10)
    gain = price_gain_between(treated, control, YIELD)
    draw = np.random.default_rng(3)

    def prices(protein):
        p = protein + 0.2 * draw.standard_t(10, DRAWS)
        s = 4 + 0.5 * draw.standard_t(10, DRAWS)
        milling, middle = (p >= 11) & (s <= 5), (p >= 10) & (s <= 8)
        return np.where(milling, 330, np.where(middle, 305, 280))

    apart = prices(11.2) - prices(10.6)
    assert gain.per_t == pytest.approx(apart.mean(), abs=4 * apart.std() / math.sqrt(DRAWS))
    assert gain.std_error == pytest.approx(apart.std(), rel=0.01)
    steps = gain.part
    for value, chance in zip(steps.values, steps.chances, strict=True):
        assert chance == pytest.approx(np.mean(apart == value), abs=SIMULATED)


def test_grades_that_leave_grain_without_one():
    check_grades(GRADES)
    assert limited_measures(GRADES) == ["protein_pct", "screenings_pct"]
    with pytest.raises(MoneyError, match=r"No grade takes some grain \(protein_pct 0, screen"):
        check_grades(GRADES[:2])
    low = Grade(name="low", price_per_t=250, most_protein_pct=10.5)
    with pytest.raises(MoneyError, match=r"protein_pct 10\.75"):
        check_grades([Grade(name="high", price_per_t=300, least_protein_pct=11), low])
    check_grades([Grade(name="high", price_per_t=300, least_protein_pct=10.5), low])
    with pytest.raises(MoneyError, match="'feed' stands twice"):
        check_grades([GRADES[2], GRADES[2]])
    with pytest.raises(MoneyError, match="There are no grades"):
        check_grades([])


def test_measures_near_an_end_of_their_scale():
    # Screenings of 0.2 with an error of 0.3: a share of the t lies below zero, where none can be.
    grades = [Grade(name="clean", price_per_t=300, most_screenings_pct=5),
              Grade(name="rest", price_per_t=250)]  # fmt: skip
    chances = grade_chances({"screenings_pct": (0.2, 0.3)}, grades, 5)
    assert chances["chance"].sum() == pytest.approx(1)
    odd = [Grade(name="a", price_per_t=300, least_protein_pct=0)]
    assert grade_chances({"protein_pct": (0.1, 0.3)}, odd, 5)["chance"].tolist() == [1.0]


def test_chances_that_are_none():
    with pytest.raises(MoneyError, match="sum to one"):
        PriceGain.by_steps([(300.0, 0.7)], [(300.0, 1.0)], YIELD)
    with pytest.raises(MoneyError, match=r"difference of -300 a tonne leaves nothing of a price"):
        payoff(
            0.1, 0.1, 5, price_per_t=290, cost_per_ha=5,
            price_gain=PriceGain.by_steps([(30.0, 0.1), (330.0, 0.9)], [(330.0, 1.0)], YIELD),
        )  # fmt: skip
