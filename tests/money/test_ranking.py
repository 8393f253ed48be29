"""Several treatments at once, against closed forms and SciPy's multivariate distributions."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.errors import MoneyError
from trialkit.models import fit_mixed
from trialkit.money import covariance_of_gains, payoff, rank_treatments, value_of_knowing

# Quasi-random points: about three digits of a chance.
POINTS = 2e-3
PRICE = {"price_per_t": 300.0}


def shared_control(names, variance=0.005):
    """Covariance of gains over one control, each arm's mean with half the variance."""
    size = len(names)
    return variance / 2 * (np.eye(size) + np.ones((size, size)))


def ranked(gains, costs, df=10, variance=0.005, **more):
    return rank_treatments(
        gains, shared_control(gains, variance), df, costs_per_ha=costs, **PRICE, **more
    )


def test_alike_and_free_each_is_as_likely_the_best():
    # By symmetry; for two treatments the control's share is 1/4 + arcsin(1/2) / (2 pi) = 1/3.
    for count in (1, 2, 3, 5):
        names = {f"t{number}": 0.0 for number in range(count)}
        table = ranked(names, dict.fromkeys(names, 0.0)).table
        assert table["chance_best"].tolist() == pytest.approx([1 / (count + 1)] * (count + 1),
                                                              abs=POINTS)  # fmt: skip


@pytest.mark.parametrize("df", [3, 10, math.inf])
@pytest.mark.parametrize("prices", [None, (220, 390)])
def test_one_treatment_is_the_payoff(df, prices):
    ranking = ranked({"a": 0.12}, {"a": 30}, df, price_range=prices)
    alone = payoff(0.12, math.sqrt(0.005), df, **PRICE, cost_per_ha=30, price_range=prices)
    a = ranking.table.set_index("treatment").loc["a"]
    assert a["chance_paid"] == alone.chance_paid
    assert a["net_per_ha"] == pytest.approx(alone.net_per_ha)
    assert a["chance_best"] == pytest.approx(alone.chance_paid, abs=POINTS)


def test_chance_against_scipy_multivariate_t():
    gains = np.array([0.20, 0.14, 0.05])
    costs = np.array([30, 18, 5])
    cov = shared_control(gains)
    ranking = ranked(dict(zip("abc", gains, strict=True)), dict(zip("abc", costs, strict=True)), 7)
    chances = ranking.table["chance_best"].to_numpy()
    mean = gains * 300 - costs
    # The best is where its differences from every other net are above zero.
    for place in range(3):
        rows = [np.eye(3)[place]] + [
            np.eye(3)[place] - np.eye(3)[other] for other in range(3) if other != place
        ]
        contrast = np.array(rows)
        over = stats.multivariate_t(
            -contrast @ mean, contrast @ (cov * 300**2) @ contrast.T, df=7, seed=1
        )
        assert chances[place + 1] == pytest.approx(over.cdf(np.zeros(3)), abs=POINTS)


def test_against_draws_with_a_price_range():
    gains, costs = {"a": 0.2, "b": 0.14}, {"a": 40.0, "b": 20.0}
    ranking = ranked(gains, costs, 5, price_range=(180, 420))
    draw = np.random.default_rng(9)
    number = 1_000_000
    t = draw.multivariate_normal([0, 0], shared_control(gains), number)
    t /= np.sqrt(draw.chisquare(5, number) / 5)[:, None]
    price = draw.triangular(180, 300, 420, number)[:, None]
    net = np.column_stack([np.zeros(number), (t + np.array([0.2, 0.14])) * price - [40, 20]])
    shares = np.bincount(net.argmax(axis=1), minlength=3) / number
    assert ranking.table["chance_best"].tolist() == pytest.approx(shares.tolist(), abs=POINTS)
    forgone = net.max(axis=1).mean() - net[:, 2].mean()
    assert ranking.best == "b"
    assert ranking.value_of_knowing_per_ha == pytest.approx(forgone, rel=0.01)


def test_value_of_knowing_of_one_treatment_is_the_loss_integral():
    ranking = ranked({"a": 0.12}, {"a": 30}, 10)
    exact = value_of_knowing(6, 300 * math.sqrt(0.005), 10)
    assert ranking.value_of_knowing_per_ha == pytest.approx(exact, rel=2e-3)


def test_the_control_is_best_where_nothing_pays():
    ranking = ranked({"a": -0.1, "b": 0.02}, {"a": 30, "b": 30})
    assert ranking.best == "untreated"
    assert ranking.chance_best > 0.8
    assert math.isnan(ranking.table["chance_paid"][0])


def test_two_that_are_one_and_the_same():
    # A singular covariance is no fault: two doses of one product that never differed.
    cov = np.full((2, 2), 0.005)
    ranking = rank_treatments(
        {"a": 0.1, "b": 0.1}, cov, 10, **PRICE, costs_per_ha={"a": 10, "b": 12}
    )
    assert ranking.table["chance_best"].to_list()[2] == 0


def test_two_degrees_have_no_average_loss():
    ranking = ranked({"a": 0.12}, {"a": 30}, 2)
    assert math.isnan(ranking.value_of_knowing_per_ha)
    assert ranking.table["chance_best"].sum() == pytest.approx(1)


def test_a_saving_is_a_cost_below_zero():
    ranking = ranked({"a": 0.0}, {"a": -15})
    assert ranking.best == "a"
    assert ranking.table["net_per_ha"].tolist() == [0, 15]


GOOD = {"a": 0.1, "b": 0.2}


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"gains_t_ha": {}}, "no treatment to rank"),
        ({"gains_t_ha": {"a": 0.1, "untreated": 0.0}}, "control 'untreated' is among the gains"),
        ({"costs_per_ha": {"a": 1}}, "'b' has a cost or a gain but not both"),
        ({"costs_per_ha": {"a": 1, "b": math.nan}}, "cost of 'b' is nan per hectare"),
        ({"gains_t_ha": {"a": 0.1, "b": math.nan}}, "gain is nan"),
        ({"covariance": np.eye(3)}, r"shape \(3, 3\) for 2 treatments"),
        ({"covariance": [[1, 0], [0, 0]]}, "a variance of zero"),
        ({"covariance": [[1, 0.5], [0.2, 1]]}, "not symmetric"),
        ({"covariance": [[1, 2], [2, 1]]}, "tied together more than fully"),
        ({"df": 0}, "degrees of freedom are 0"),
        ({"price_range": (310, 400)}, "does not hold the price"),
    ],
)
def test_nonsense_is_refused(changed, message):
    given = {
        "gains_t_ha": GOOD, "covariance": shared_control(GOOD), "df": 5,
        "costs_per_ha": {"a": 10, "b": 20}, **PRICE, **changed,
    }  # fmt: skip
    with pytest.raises(MoneyError, match=message):
        rank_treatments(given.pop("gains_t_ha"), given.pop("covariance"), given.pop("df"), **given)


def test_covariance_from_a_model_of_three_arms():
    # Complete blocks: a gain has variance 2 s^2 / r, and two share s^2 / r through the control.
    draw = np.random.default_rng(3)
    arms = ["untreated", "a", "b", "c"]
    strips = pd.DataFrame([(f"B{block}", arm) for block in range(6) for arm in arms],
                          columns=["block", "treatment"])  # fmt: skip
    strips["treatment"] = pd.Categorical(strips["treatment"], arms)
    strips["yield_t_ha"] = 3 + draw.normal(0, 0.1, len(strips))
    fit = fit_mixed("yield_t_ha ~ block + treatment", strips)
    gains = fit.differences("treatment", "untreated")
    pairs = fit.differences("treatment")["std_error"].to_dict()
    cov = covariance_of_gains(gains["std_error"].to_dict(), pairs)
    share = fit.variances["residual"] / 6
    np.testing.assert_allclose(cov, share * (np.eye(3) + 1), rtol=1e-9)
    ranking = rank_treatments(
        gains["estimate"].to_dict(), cov, float(gains["df"].min()), **PRICE,
        costs_per_ha=dict.fromkeys("abc", 10.0),
    )  # fmt: skip
    assert ranking.table["chance_best"].sum() == pytest.approx(1)


def test_a_difference_that_is_missing():
    with pytest.raises(MoneyError, match="difference of 'b' and 'a' is missing"):
        covariance_of_gains({"a": 0.1, "b": 0.1}, {("a", "untreated"): 0.1})
    with pytest.raises(MoneyError, match="error of 'a' is 0"):
        covariance_of_gains({"a": 0}, {})
    with pytest.raises(MoneyError, match="difference of 'b' and 'a' is nan"):
        covariance_of_gains({"a": 0.1, "b": 0.1}, {("a", "b"): math.nan})
