"""The response to rates: formulas, a second library, truth, and no optimum said in words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy.optimize import curve_fit

from trialkit.errors import ModelError, ModelWarning
from trialkit.models import compare_shapes, fit_mixed, rate_response

COLUMNS = ("yield_t_ha", "rate")
#: scipy's optimiser stops within about 1e-8; its gradient is by differences.
SECOND_OPINION = 1e-5


def ladder(height, rates=(0, 20, 40, 60, 80, 100, 120), blocks=4, seed=0, noise=0.1):
    """Strips of an invented ladder of rates, in blocks that differ."""
    rng = np.random.default_rng(seed)
    rate = np.tile(np.array(rates, dtype=float), blocks)
    block = np.repeat(np.arange(blocks), len(rates))
    yields = height(rate) + rng.normal(0, 0.3, blocks)[block] + rng.normal(0, noise, rate.size)
    return pd.DataFrame({"block": block, "rate": rate, "yield_t_ha": yields})


def hump(rate):
    return 2 + 0.03 * rate - 0.0002 * rate**2


def shelf(rate):
    return 2 + 0.02 * np.minimum(rate, 55)


@pytest.mark.parametrize(
    ("shape", "formula"),
    [("linear", "rate"), ("quadratic", "rate + I(rate**2)")],
)
def test_statsmodels_agrees(shape, formula):
    data = ladder(hump).drop(index=[3, 11])  # unbalanced
    found = rate_response(data, *COLUMNS, "block", shape)
    other = smf.ols(f"yield_t_ha ~ C(block) + {formula}", data).fit()
    names = found.coefficients.index[1:]
    bare = found.coefficients.loc[names]
    assert bare["estimate"].to_numpy() == pytest.approx(other.params[-len(names) :].to_numpy())
    assert bare["std_error"].to_numpy() == pytest.approx(other.bse[-len(names) :].to_numpy())
    assert bare["low"].to_numpy() == pytest.approx(other.conf_int()[0][-len(names) :].to_numpy())
    assert found.residual_sd**2 == pytest.approx(other.mse_resid)
    none = smf.ols("yield_t_ha ~ C(block)", data).fit()
    statistic, p, _ = other.compare_f_test(none)
    assert (found.statistic, found.p) == pytest.approx((statistic, p))
    # The curve: mean of the blocks with equal weight.
    at = pd.DataFrame({"rate": [30.0] * 4, "block": range(4)})
    row = found.curve(30.0).iloc[0]
    assert row["estimate"] == pytest.approx(other.predict(at).mean())
    powers = [30.0, 30.0**2][: len(names)]
    weights = np.array([1.0, 0.25, 0.25, 0.25, *powers])  # intercept, three blocks, the rate
    assert row["std_error"] == pytest.approx(other.t_test(weights).sd.item())


def test_blocks_as_random_effects_give_the_same_curve_where_balanced():
    data = ladder(hump)
    found = rate_response(data, *COLUMNS, "block")
    fit = fit_mixed("yield_t_ha ~ rate + I(rate**2)", data, ["block"])
    for name in ("estimate", "std_error", "df"):
        expected = fit.coefficients[name].to_numpy()[1:]
        assert found.coefficients[name].to_numpy()[1:] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_scipy_agrees_on_the_plateau(seed):
    data = ladder(shelf, seed=seed).assign(block=0)
    found = rate_response(data, *COLUMNS, shape="plateau").coefficients
    fits = [
        curve_fit(
            lambda x, a, b, k: a + b * np.minimum(x, k),
            data["rate"],
            data["yield_t_ha"],
            p0=[2, 0.02, start],
        )
        for start in (30.0, 50.0, 70.0)
    ]
    left = [
        ((data["yield_t_ha"] - a - b * np.minimum(data["rate"], k)) ** 2).sum()
        for (a, b, k), _ in fits
    ]
    estimates, covariance = fits[int(np.argmin(left))]
    sd = rate_response(data, *COLUMNS, shape="plateau").residual_sd
    assert sd**2 * (len(data) - 3) <= min(left) * (1 + SECOND_OPINION)
    if sd**2 * (len(data) - 3) > min(left) * (1 - SECOND_OPINION):
        assert found["estimate"].to_numpy() == pytest.approx(estimates, rel=SECOND_OPINION)
        errors = np.sqrt(np.diag(covariance))
        assert found["std_error"].to_numpy() == pytest.approx(errors, rel=SECOND_OPINION)


def test_the_optimum_is_where_the_last_unit_just_pays():
    data = ladder(hump, noise=0.02)
    for ratio in (0.0, 0.01):
        found = rate_response(data, *COLUMNS, "block", price_ratio=ratio)
        step = 0.5
        rates = np.array([found.best_rate - step, found.best_rate, found.best_rate + step])
        net = found.curve(rates)["estimate"].to_numpy() - ratio * rates
        assert net[1] > max(net[0], net[2])
        assert found.best_low < found.best_rate < found.best_high
        assert found.optimum_inside
    assert "the last unit just pays (95% interval" in found.sentence


def test_the_interval_of_the_optimum_is_the_rates_whose_slope_does_not_differ():
    data = ladder(hump, noise=0.05, seed=2)
    found = rate_response(data, *COLUMNS, "block", price_ratio=0.005)
    for end in (found.best_low, found.best_high):
        # Slope of the curve at a rate: move the origin there and read the coefficient.
        moved = data.assign(rate=data["rate"] - end)
        row = rate_response(moved, *COLUMNS, "block").coefficients.loc["slope"]
        assert 0.005 in (pytest.approx(row["low"]), pytest.approx(row["high"]))


@pytest.mark.parametrize(
    ("shape", "truth", "ratio", "best"),
    [
        ("quadratic", hump, 0.0, 75.0),
        ("quadratic", hump, 0.012, 45.0),
        ("plateau", shelf, 0.0, 55.0),
    ],
)
def test_intervals_hold_the_truth(shape, truth, ratio, best):
    seasons = 200
    held = 0
    for seed in range(seasons):
        data = ladder(truth, seed=seed, blocks=3)
        found = rate_response(data, *COLUMNS, "block", shape, price_ratio=ratio)
        held += found.best_low <= best <= found.best_high
    # Four standard errors of a share in 200 seasons.
    assert abs(held / seasons - 0.95) < 4 * np.sqrt(0.05 * 0.95 / seasons)


def test_the_knot_is_found_and_its_interval_is_the_profile():
    data = ladder(shelf, seed=1)
    found = rate_response(data, *COLUMNS, "block", "plateau")
    knot = found.coefficients.loc["knot"]
    assert knot["low"] < 55 < knot["high"]

    def left(at):
        formula = f"yield_t_ha ~ C(block) + np.minimum(rate, {float(at)!r})"
        return smf.ols(formula, data, eval_env=0).fit().ssr

    df = found.coefficients.loc["knot", "df"]
    assert df == len(data) - 4 - 2
    from scipy.stats import f

    allowed = left(knot["estimate"]) * (1 + f.ppf(0.95, 1, df) / df)
    assert left(knot["low"]) == pytest.approx(allowed)
    assert left(knot["high"]) == pytest.approx(allowed)
    assert "From" in found.sentence
    assert "on more brings nothing" in found.sentence


def test_no_optimum_is_said():
    upward = rate_response(ladder(lambda x: 2 + 0.0002 * x**2), *COLUMNS, "block")
    assert "bends the wrong way, upwards" in upward.sentence
    assert (upward.best_rate, upward.optimum_inside) == (120.0, False)
    beyond = rate_response(ladder(lambda x: 2 + 0.05 * x - 0.0001 * x**2), *COLUMNS, "block")
    assert "No optimum inside the rates sown (0 to 120): the curve would turn at" in beyond.sentence
    assert (beyond.best_rate, beyond.optimum_inside) == (120.0, False)
    dear = rate_response(ladder(hump), *COLUMNS, "block", price_ratio=0.2)
    assert "the lowest rate sown, 0, does best" in dear.sentence
    assert dear.best_rate == 0.0
    rising = rate_response(ladder(lambda x: 2 + 0.02 * x, noise=0.02), *COLUMNS, "block", "plateau")
    assert rising.best_high == np.inf
    line = rate_response(ladder(lambda x: 2 + 0.02 * x), *COLUMNS, "block", "linear")
    assert "A straight line has no optimum: the highest rate sown, 120, does best" in line.sentence
    assert (line.best_low, line.best_high) == (120.0, np.inf)
    falling = rate_response(ladder(lambda x: 2 - 0.02 * x), *COLUMNS, "block", "plateau")
    assert "one unit more brings less than it must" in falling.sentence
    assert falling.best_rate == 0.0


def test_nothing_there_is_said():
    found = rate_response(ladder(lambda x: 2 + 0 * x, seed=4), *COLUMNS, "block")
    assert found.p > 0.05
    assert found.sentence.startswith("These strips do not show that 'rate' matters (F ")
    assert (found.best_low, found.best_high) == (-np.inf, np.inf)
    line = rate_response(ladder(lambda x: 2 + 0 * x, seed=4), *COLUMNS, "block", "linear")
    assert "do not settle which end does" in line.sentence


def test_a_response_that_is_not_there_is_found_as_often_as_it_should():
    seasons = 400
    hits = sum(
        rate_response(ladder(lambda x: 2 + 0 * x, seed=seed, blocks=3), *COLUMNS, "block").p < 0.05
        for seed in range(seasons)
    )
    assert abs(hits / seasons - 0.05) < 4 * np.sqrt(0.05 * 0.95 / seasons)


def test_shapes_are_compared():
    table = compare_shapes(ladder(shelf, noise=0.03), *COLUMNS, "block")
    assert table.index.tolist() == ["flat", "linear", "quadratic", "plateau"]
    assert table["aicc"].idxmin() == "plateau"
    assert table.loc["plateau", "lack_of_fit_p"] > 0.05 > table.loc["linear", "lack_of_fit_p"]
    data = ladder(hump).drop(index=[3, 11])
    table = compare_shapes(data, *COLUMNS, "block")
    full = smf.ols("yield_t_ha ~ C(block) + C(rate)", data).fit()
    line = smf.ols("yield_t_ha ~ C(block) + rate", data).fit()
    statistic, p, terms = full.compare_f_test(line)
    row = table.loc["linear"]
    assert row[["lack_of_fit_f", "lack_of_fit_p", "lack_of_fit_df"]].to_numpy() == pytest.approx(
        [statistic, p, terms]
    )
    # AICc differs from statsmodels' AIC by its constants and the correction (k with the variance).
    k, n = len(line.params) + 1, len(data)
    expected = line.aic + 2 - n * (np.log(2 * np.pi) + 1) + 2 * k * (k + 1) / (n - k - 1)
    assert row["aicc"] == pytest.approx(expected)


def test_few_rates_allow_few_shapes():
    two = ladder(hump, rates=(0, 60))
    table = compare_shapes(two, *COLUMNS, "block")
    assert table.index.tolist() == ["flat", "linear"]
    assert np.isnan(table.loc["linear", "lack_of_fit_f"])
    with pytest.raises(ModelError, match=r"'quadratic' needs at least 3 rates; the strips have 2"):
        rate_response(two, *COLUMNS, "block")


def test_the_unit_does_not_matter():
    data = ladder(shelf)
    grams = data.assign(yield_t_ha=data["yield_t_ha"] * 1e6, rate=data["rate"] / 1e3)
    for shape in ("linear", "quadratic", "plateau"):
        one = rate_response(data, *COLUMNS, "block", shape)
        two = rate_response(grams, *COLUMNS, "block", shape)
        assert two.p == pytest.approx(one.p)
        assert (two.best_rate * 1e3, two.best_low * 1e3) == pytest.approx(
            (one.best_rate, one.best_low), rel=1e-6
        )


def test_points_are_not_strips():
    data = pd.concat([ladder(hump, seed=seed) for seed in range(25)])
    with pytest.warns(ModelWarning, match=r"700 rows for 7 values of 'rate' look like points"):
        rate_response(data, *COLUMNS, "block")


def refused(message, data, *rest, **options):
    with pytest.raises(ModelError, match=message):
        rate_response(data, *COLUMNS, *rest, **options)


def test_bad_input():
    data = ladder(hump)
    refused(r"shape='cubic' is not known", data, shape="cubic")
    refused(r"price_ratio=nan is no number", data, price_ratio=np.nan)
    refused(r"confidence=95 is no level", data, confidence=95)
    refused(r"Column 'rate' holds only one rate, 20", data[data["rate"] == 20])
    refused(r"same 'yield_t_ha'", data.assign(yield_t_ha=1.0))
    refused(r"Column 'rate' should hold numbers but holds text", data.assign(rate="high"))
    refused(r"infinite value in row 0", data.assign(rate=np.where(data.index == 0, np.inf, 1.0)))
    refused(r"3 strips in 1 blocks are too few for the shape 'quadratic'", data.iloc[:3])
    apart = data.assign(block=data["rate"])
    refused(r"'linear' cannot be told from the blocks", apart, "block", "linear")
    exact = data.assign(yield_t_ha=data["rate"] * 2 + 1)
    refused(r"passes through every strip", exact, shape="linear")
    lost = data.copy()
    lost.loc[3, "yield_t_ha"] = np.nan
    assert rate_response(lost, *COLUMNS).notes == (
        "1 of 28 records left out for empty cells: 'yield_t_ha' in 1.",
    )
