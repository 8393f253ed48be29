"""Counts: the answers against plain likelihoods, what they must not depend on, coverage."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats

from trialkit.errors import ModelError, ModelWarning
from trialkit.models import fit_counts, fit_mixed, laplace_adjusted, laplace_search
from trialkit.models.group_factor import arrange
from trialkit.models.laplace import CountProblem, evaluate
from trialkit.models.model_frame import read_model_frame

#: Central differences of a log likelihood, second order: some seven digits.
DIFFERENCES = 1e-5
#: The same answer by another road, search included.
SAME = 1e-7


@pytest.fixture
def plants():
    """Five counts in each of 16 strips of an invented trial, of half a square metre each."""
    rng = np.random.default_rng(4)
    block, arm = np.repeat(np.arange(8), 10), np.tile(np.repeat([0, 1], 5), 8)
    strip = 2 * block + arm
    level = np.log(70) + 0.12 * arm + rng.normal(0, 0.2, 8)[block] + rng.normal(0, 0.25, 16)[strip]
    return pd.DataFrame(
        {
            "block": [f"B{number}" for number in block],
            "strip": strip,
            "treatment": np.where(arm, "dressed", "untreated"),
            "area_m2": rng.choice([0.25, 0.5, 1.0], 80),
            "depth_cm": rng.normal(4, 1, 80),
        }
    ).assign(plants=lambda d: rng.poisson(np.exp(level) * d["area_m2"] * rng.gamma(20, 1 / 20, 80)))


def log_chance(counts, eta, phi):
    means = np.exp(eta)
    if phi == 0:
        return stats.poisson.logpmf(counts, means).sum()
    return stats.nbinom.logpmf(counts, 1 / phi, 1 / (1 + phi * means)).sum()


class Plain:
    """Laplace's approximation with full matrices and differences: slow, nothing shared."""

    def __init__(self, counts, columns, offset, groups, dispersed):
        self.counts, self.columns, self.offset = counts, columns, offset
        self.z = [np.equal.outer(np.asarray(g), np.unique(g)).astype(float) for g in groups]
        self.dispersed = dispersed

    def log_likelihood(self, point):
        """Coefficients, logs of standard deviations and, if any, of phi."""
        coefficients, logs = np.split(point, [self.columns.shape[1]])
        phi = np.exp(logs[-1]) if self.dispersed else 0.0
        scaled = np.hstack([z * np.exp(s) for z, s in zip(self.z, logs, strict=False)])
        fixed = self.offset + self.columns @ coefficients
        effects = np.zeros(scaled.shape[1])
        for _ in range(100):
            means = np.exp(fixed + scaled @ effects)
            score = (self.counts - means) / (1 + phi * means)
            weight = means * (1 + phi * self.counts) / (1 + phi * means) ** 2
            curvature = np.eye(effects.size) + scaled.T @ (weight[:, None] * scaled)
            step = np.linalg.solve(curvature, scaled.T @ score - effects)
            effects = effects + step
        height = log_chance(self.counts, fixed + scaled @ effects, phi) - effects @ effects / 2
        return height - np.linalg.slogdet(curvature)[1] / 2

    def covariance(self, point, step=1e-3):
        size = point.size
        hessian = np.empty((size, size))
        moves = step * np.eye(size)
        for i in range(size):
            for j in range(size):
                hessian[i, j] = sum(
                    a * b * self.log_likelihood(point + a * moves[i] + b * moves[j])
                    for a in (1, -1)
                    for b in (1, -1)
                ) / (4 * step**2)
        return np.linalg.inv(-hessian)


@pytest.mark.parametrize(
    ("random", "family"),
    [
        (["block"], "poisson"),
        (["block", "block:strip"], "negative-binomial"),
        (["block", "bay"], "negative-binomial"),
        (["bay", "count_number"], "poisson"),
    ],
)
def test_against_full_matrices(plants, random, family):
    rng = np.random.default_rng(9)
    data = plants.assign(bay=rng.integers(0, 6, 80), count_number=range(80)).iloc[:60]
    data["plants"] = rng.poisson(data["plants"] * np.exp(rng.normal(0, 0.6, 6))[data["bay"]])
    fit = fit_counts(
        "plants ~ treatment", data, random, exposure="area_m2", family=family, df="normal"
    )
    assert fit.converged
    assert fit.at_boundary == ()
    dressed = (data["treatment"] == "untreated").to_numpy(dtype=float)
    columns = np.column_stack([np.ones(60), dressed])
    groups = [data["strip"] if term == "block:strip" else data[term] for term in random]
    dispersed = family != "poisson"
    plain = Plain(
        data["plants"].to_numpy(), columns, np.log(data["area_m2"].to_numpy()), groups, dispersed
    )
    logs = np.log(fit.variances.to_numpy()) / 2
    point = np.concatenate([fit.coefficients["estimate"], logs])
    if dispersed:
        point = np.append(point, -np.log(fit.dispersion))
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood(point), rel=1e-10)
    for place in range(point.size):
        move = np.zeros(point.size)
        move[place] = 1e-4
        slope = (plain.log_likelihood(point + move) - plain.log_likelihood(point - move)) / 2e-4
        assert slope == pytest.approx(0, abs=2e-5)
    errors = np.sqrt(np.diag(plain.covariance(point)))
    assert fit.coefficients["std_error"].to_list() == pytest.approx(
        errors[:2].tolist(), rel=DIFFERENCES
    )


@pytest.mark.parametrize(
    ("random", "family"),
    [(["strip"], "poisson"), (["block", "strip"], "negative-binomial"), ([], "negative-binomial")],
)
def test_coefficients_integrated_out_beside_full_matrices(plants, random, family):
    fit = fit_counts("plants ~ treatment", plants, random, exposure="area_m2", family=family)
    dispersed = family != "poisson"
    columns = np.column_stack([np.ones(80), plants["treatment"] == "untreated"]).astype(float)
    counts, offset = plants["plants"].to_numpy(), np.log(plants["area_m2"].to_numpy())
    z = [np.equal.outer(plants[t].to_numpy(), plants[t].unique()).astype(float) for t in random]

    def adjusted(scales):
        phi = scales[-1] ** 2 if dispersed else 0.0
        whole = np.hstack([columns, *(z * s for z, s in zip(z, scales, strict=False))])
        penalty = np.diag(np.r_[0, 0, np.ones(whole.shape[1] - 2)])
        at = np.r_[np.log(80), 0, np.zeros(whole.shape[1] - 2)]
        for _ in range(100):
            means = np.exp(offset + whole @ at)
            score = (counts - means) / (1 + phi * means)
            weight = means * (1 + phi * counts) / (1 + phi * means) ** 2
            curvature = whole.T @ (weight[:, None] * whole) + penalty
            at = at + np.linalg.solve(curvature, whole.T @ score - penalty @ at)
        height = log_chance(counts, offset + whole @ at, phi) - at @ penalty @ at / 2
        return height - np.linalg.slogdet(curvature)[1] / 2, np.linalg.inv(curvature)[:2, :2]

    scales = np.sqrt(fit.variances_for_errors.to_numpy())
    if dispersed:
        scales[-1] = 1 / scales[-1]
    assert (scales > 0).all()
    for move in 1e-4 * np.eye(scales.size):
        up, down = (adjusted(scales + sign * move)[0] for sign in (1, -1))
        assert (up - down) / 2e-4 == pytest.approx(0, abs=1e-3)
        assert max(up, down) < adjusted(scales)[0]
    # what is left on top of the curvature comes from not knowing the scales; it is small
    covariance = adjusted(scales)[1]
    found = fit.coefficients["std_error"].to_numpy() ** 2
    assert (found >= np.diag(covariance) * (1 - 1e-6)).all()
    assert found == pytest.approx(np.diag(covariance), rel=0.01)


def test_variances_beside_residual_likelihood_of_the_logarithms():
    # Poisson counts by the thousand are normal on the log scale, near enough.
    rng = np.random.default_rng(12)
    pair, arm = np.repeat(np.arange(4), 2), np.tile([0, 1], 4)
    level = 9 + 0.1 * arm + rng.normal(0, 0.2, 4)[pair] + rng.normal(0, 0.15, 8)
    data = pd.DataFrame({"pair": pair, "strip": range(8), "arm": np.where(arm, "b", "a")})
    data["n"] = rng.poisson(np.exp(level))
    data["log_n"] = np.log(data["n"])
    counts = fit_counts("n ~ arm", data, ["pair", "strip"])
    logs = fit_mixed("log_n ~ arm", data, ["pair"])
    ours = counts.rate_ratios("arm", "a").loc["b"]
    theirs = logs.differences("arm", "a").loc["b"]
    assert np.log(ours["estimate"]) == pytest.approx(theirs["estimate"], rel=0.01)
    assert ours["std_error"] == pytest.approx(theirs["std_error"], rel=0.01)
    assert ours["df"] == 3
    assert ours["p"] == pytest.approx(theirs["p"], rel=0.02)
    total = counts.variances_for_errors["strip"] + 1 / data["n"].mean()
    assert total == pytest.approx(logs.variances["residual"], rel=0.02)
    assert counts.variances["strip"] < 0.8 * counts.variances_for_errors["strip"]


def test_joint_test(plants):
    data = plants.assign(depth=np.tile(["deep", "mid", "shallow", "mid"], 20))
    fit = fit_counts("plants ~ treatment + depth", data, ["strip"], exposure="area_m2")
    one = fit.test("treatment")
    row = fit.coefficients.loc["treatment[T.untreated]"]
    assert (one.df_num, one.df_den) == (1, 14)
    assert one.statistic == pytest.approx(row["t"] ** 2)
    assert one.p == pytest.approx(row["p"])
    depth = fit.test("depth")
    assert (depth.df_num, depth.df_den) == (2, np.inf)  # depths differ inside strips
    assert depth.p == pytest.approx(stats.chi2.sf(2 * depth.statistic, 2))
    by_hand = fit.test([[0, 0, 1, 0], [0, 0, 0, 1]])
    assert by_hand.statistic == pytest.approx(depth.statistic)
    assert fit.test([[0, 1, 0, 0], [0, 0, 1, 0]]).df_den == 14
    with pytest.raises(ModelError, match=r"has 2 columns, but the model has 4 coefficients"):
        fit.test([[0, 1]])
    with pytest.raises(ModelError, match=r"'dpth': the formula has no such term"):
        fit.test("dpth")


def test_laplace_is_near_the_whole_integral(plants):
    fit = fit_counts("plants ~ treatment", plants, ["strip"], exposure="area_m2")
    nodes, weights = np.polynomial.hermite_e.hermegauss(120)
    effects = np.sqrt(fit.variances["strip"]) * nodes
    whole = 0.0
    for _, counts in plants.groupby("strip"):
        column = (counts["treatment"] == "untreated").to_numpy(dtype=float)
        eta = np.log(counts["area_m2"]) + fit.coefficients["estimate"].to_numpy() @ [
            np.ones(5),
            column,
        ]
        chance = [log_chance(counts["plants"], eta + effect, 0) for effect in effects]
        whole += np.log(weights @ np.exp(chance) / np.sqrt(2 * np.pi))
    assert fit.log_likelihood == pytest.approx(whole, abs=0.01)


def test_small_counts_beside_adaptive_quadrature():
    """The whole integral over each strip, maximised: what Laplace's approximation stands for.

    Nodes are centred and scaled at each strip's peak (Pinheiro and Bates 1995, Journal of
    Computational and Graphical Statistics 4:12-35, from memory).
    """
    rng = np.random.default_rng(31)
    strip, arm = np.repeat(np.arange(20), 4), np.tile(np.repeat([0, 1], 4), 10)
    rate = np.exp(np.log(4) + 0.3 * arm + rng.normal(0, 0.5, 20)[strip])
    data = pd.DataFrame({"strip": strip, "arm": arm, "n": rng.poisson(rate)})
    nodes, weights = np.polynomial.hermite_e.hermegauss(25)
    totals = data.groupby("strip")["n"].sum().to_numpy()
    constant = stats.poisson.logpmf(data["n"], 1).sum() + 80  # sum of -log n!
    arms = np.tile([0, 1], 10)

    def quadrature(point):
        level, scale = point[0] + point[1] * arms, np.exp(point[2])
        peak = np.zeros(20)
        for _ in range(50):
            mean = 4 * np.exp(level + scale * peak)
            bend = 1 + scale**2 * mean
            peak = peak + (scale * (totals - mean) - peak) / bend
        at = peak[:, None] + nodes / np.sqrt(bend)[:, None]
        eta = level[:, None] + scale * at
        log_chance = totals[:, None] * eta - 4 * np.exp(eta) - at**2 / 2 + nodes**2 / 2
        inside = np.log((weights * np.exp(log_chance)).sum(axis=1)) - np.log(bend) / 2
        return constant + inside.sum() - 20 * np.log(2 * np.pi) / 2

    best = optimize.minimize(lambda p: -quadrature(p), [1.4, 0.3, -0.7], method="BFGS", tol=1e-7)
    fit = fit_counts("n ~ arm", data, ["strip"], df="normal")
    logs = fit.coefficients
    # Laplace's error at four counts of about four a strip, in standard errors
    assert logs["estimate"].to_numpy() == pytest.approx(
        best.x[:2], abs=0.03 * logs["std_error"].min()
    )
    assert fit.variances["strip"] == pytest.approx(np.exp(2 * best.x[2]), rel=0.03)
    moves = 1e-3 * np.eye(3)
    bend = [
        [
            sum(a * b * quadrature(best.x + a * m + b * k) for a in (1, -1) for b in (1, -1))
            for m in moves
        ]
        for k in moves
    ]
    errors = np.sqrt(np.diag(np.linalg.inv(-np.array(bend) / 4e-6)))
    assert logs["std_error"].to_numpy() == pytest.approx(errors[:2], rel=0.02)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=0.1)
    point = [*logs["estimate"], np.log(fit.variances["strip"]) / 2]
    assert -0.01 < quadrature(point) + best.fun <= 1e-9


def test_a_variance_at_zero_is_the_model_without_it(plants):
    level = plants.groupby("strip")["plants"].transform("mean").round()
    scatter = np.concatenate([np.roll([-4, 3, 0, 2, -1], strip) for strip in range(16)])
    data = plants.assign(bay=np.tile(np.arange(5), 16), plants=level + scatter)
    fit = fit_counts("plants ~ treatment", data, ["strip", "bay"])
    assert fit.at_boundary == ("bay",)
    assert fit.variances["bay"] == 0.0
    assert fit.variances_for_errors["bay"] == 0.0
    assert "Variance estimated at zero: 'bay'." in " ".join(fit.notes)
    without = fit_counts("plants ~ treatment", data, ["strip"])
    columns = ["estimate", "std_error"]  # means are held to the bays' degrees of freedom
    found, expected = (f.coefficients[columns].to_numpy() for f in (fit, without))
    assert found == pytest.approx(expected, rel=SAME)
    assert fit.log_likelihood == pytest.approx(without.log_likelihood, rel=1e-12)


def test_counts_that_scatter_no_more_than_poissons(plants):
    even = plants.assign(plants=np.tile([39, 40, 41, 40, 42], 16))
    fit = fit_counts("plants ~ treatment", even, family="negative-binomial", df="normal")
    poisson = fit_counts("plants ~ treatment", even, df="normal")
    assert fit.dispersion == np.inf
    assert fit.at_boundary == ("dispersion",)
    assert "theta is infinite" in " ".join(fit.notes)
    careful = fit_counts("plants ~ treatment", even, family="negative-binomial")
    assert careful.variances_for_errors["dispersion"] == np.inf
    assert careful.coefficients["df"].to_list() == [78, 78]
    assert fit.coefficients.to_numpy() == pytest.approx(poisson.coefficients.to_numpy(), rel=SAME)
    assert fit.log_likelihood == pytest.approx(poisson.log_likelihood, rel=1e-12)


def test_order_of_records_and_terms_and_unit_of_exposure_change_nothing(plants):
    terms = ["block", "block:strip"]
    fit = fit_counts("plants ~ treatment + depth_cm", plants, terms, exposure="area_m2")
    other = plants.sample(frac=1, random_state=1).assign(
        area_ha=lambda d: d["area_m2"] / 1e4, depth_cm=lambda d: 1e5 + 10 * d["depth_cm"]
    )
    moved = fit_counts("plants ~ treatment + depth_cm", other, terms[::-1], exposure="area_ha")
    assert list(moved.variances.index) == terms[::-1]
    assert moved.variances[terms].to_numpy() == pytest.approx(fit.variances.to_numpy(), rel=1e-6)
    assert moved.log_likelihood == pytest.approx(fit.log_likelihood, rel=1e-10)
    ratio, again = (f.rate_ratios("treatment", "untreated").to_numpy() for f in (fit, moved))
    assert again == pytest.approx(ratio, rel=1e-6)
    hectare, metre = (f.means("treatment").drop(columns="df") for f in (moved, fit))
    assert hectare.to_numpy() == pytest.approx(1e4 * metre.to_numpy(), rel=1e-6)


def test_means_and_ratios_hang_together(plants):
    fit = fit_counts("plants ~ treatment", plants, ["strip"], exposure="area_m2", confidence=0.9)
    means = fit.means("treatment")
    assert list(means.columns) == ["estimate", "std_error", "df", "low", "high"]
    assert means["df"].to_list() == [14, 14]
    logs = fit.coefficients["estimate"]
    assert means.loc["dressed", "estimate"] == pytest.approx(np.exp(logs["Intercept"]))
    # per square metre, not per count
    rate = plants["plants"].sum() / plants["area_m2"].sum()
    assert means["estimate"].mean() == pytest.approx(rate, rel=0.05)
    ratio = fit.rate_ratios("treatment", against="untreated").loc["dressed"]
    assert ratio["estimate"] == pytest.approx(np.divide(*means["estimate"]))
    assert ratio["df"] == 14  # 16 strips, two dressings
    reach = stats.t.ppf(0.95, 14) * ratio["std_error"]
    assert np.log(ratio["low"]) == pytest.approx(np.log(ratio["estimate"]) - reach)
    assert ratio["p"] == pytest.approx(2 * stats.t.sf(abs(ratio["t"]), 14))
    assert ratio["t"] == pytest.approx(np.log(ratio["estimate"]) / ratio["std_error"])
    own = fit.ratios.loc["treatment[T.untreated]"]
    assert own["estimate"] == pytest.approx(1 / ratio["estimate"])
    assert own["std_error"] == ratio["std_error"]
    assert fit.ratios["p"].equals(fit.coefficients["p"])


def test_several_dressings_at_once(plants):
    three = plants.assign(arm=np.tile(["a", "b", "c", "d"], 20))
    fit = fit_counts("plants ~ arm", three, exposure="area_m2")
    alone = fit.rate_ratios("arm", against="a")
    together = fit.rate_ratios("arm", against="a", simultaneous=True)
    assert list(alone.index) == ["b", "c", "d"]
    assert (together["low"] < alone["low"]).all()
    assert (together["p"] > alone["p"]).all()
    pairs = fit.rate_ratios("arm")
    assert len(pairs) == 6
    assert pairs.loc[("a", "b"), "estimate"] == pytest.approx(1 / alone.loc["b", "estimate"])


def test_toy_ratio_is_exact():
    data = pd.DataFrame({"arm": list("aaabbb"), "n": [10, 10, 10, 20, 20, 20]})
    fit = fit_counts("n ~ arm", data)
    assert fit.rate_ratios("arm", against="a").loc["b", "estimate"] == pytest.approx(2)
    assert fit.log_likelihood == pytest.approx(log_chance(data["n"], np.log(data["n"]), 0))


def test_groups_by_the_hundred(plants):
    rng = np.random.default_rng(8)
    block, arm = np.repeat(np.arange(300), 4), np.tile([0, 0, 1, 1], 300)
    level = 3 + rng.normal(0, 0.4, 300)[block] + rng.normal(0, 0.3, 600)[2 * block + arm]
    data = pd.DataFrame({"block": block, "strip": 2 * block + arm, "arm": arm})
    data["n"] = rng.poisson(np.exp(level + 0.1 * arm))
    fit = fit_counts("n ~ arm", data, ["block", "strip"])
    assert fit.converged
    assert np.sqrt(fit.variances.to_numpy()) == pytest.approx([0.4, 0.3], abs=0.06)
    assert fit.coefficients.loc["arm", "estimate"] == pytest.approx(0.1, abs=0.1)


def test_records_by_the_ten_thousand():
    rng = np.random.default_rng(8)
    data = pd.DataFrame({"pen": np.arange(50_000) % 20, "arm": np.arange(50_000) // 25_000})
    data["n"] = rng.poisson(3 + 0.1 * data["pen"])
    assert fit_counts("n ~ arm", data, ["pen"]).converged


@pytest.mark.parametrize("size", [1e-4, 1e5])
def test_rare_and_abundant(size):
    rng = np.random.default_rng(6)
    block, arm = np.repeat(np.arange(10), 8), np.tile([0, 1], 40)
    area = rng.uniform(1, 2, 80) / size * (0.5 if size < 1 else 1e4)
    rate = size * np.exp(rng.normal(0, 0.3, 10))[block]
    data = pd.DataFrame({"block": block, "arm": arm, "area": area})
    data["n"] = rng.poisson(rate * area if size < 1 else rate)
    data["area"] = data["area"] if size < 1 else 1.0
    for family in ("poisson", "negative-binomial"):
        fit = fit_counts("n ~ arm", data, ["block"], exposure="area", family=family)
        assert fit.converged
        assert np.isfinite(fit.coefficients.drop(columns="df").to_numpy()).all()


def test_few_strips_are_named(plants):
    terms = ["block", "block:strip"]
    fit = fit_counts("plants ~ treatment", plants, terms, exposure="area_m2")
    (note,) = (note for note in fit.notes if note.startswith("Only"))
    assert "16 groups of 'block:strip' carry what is compared" in note
    assert "leaves 7 degrees of freedom" in note
    normal = fit_counts("plants ~ treatment", plants, terms, exposure="area_m2", df="normal")
    (note,) = (note for note in normal.notes if note.startswith("Only"))
    assert "too narrow" in note
    inside = fit_counts("plants ~ treatment", plants, ["block"], exposure="area_m2")
    assert not any(note.startswith("Only") for note in inside.notes)
    assert any("add the strip to random" in note for note in inside.notes)


def test_a_typical_group_is_not_the_average(plants):
    wild = plants.assign(plants=plants["plants"] * np.where(plants["strip"] % 3 == 0, 3, 1))
    fit = fit_counts("plants ~ treatment", wild, ["strip"])
    rise = 100 * np.expm1(fit.variances["strip"] / 2)
    assert f"the average over groups is {rise:.0f}% higher" in " ".join(fit.notes)


def test_theta_and_single_counts_take_up_the_same_scatter(plants):
    data = plants.assign(number=range(80))
    fit = fit_counts("plants ~ treatment", data, ["number"], family="negative-binomial")
    assert "can hardly tell them apart" in " ".join(fit.notes)


# Negative binomial counts, five blocks of six. With one group a count the likelihood has a top
# at theta infinite (-139.588) below that with theta alone (-139.249).
TWO_TOPS = [
    10, 18, 92, 19, 75, 49, 23, 76, 47, 36, 3, 26, 48, 182, 75,
    24, 26, 35, 77, 49, 22, 33, 47, 13, 33, 31, 42, 38, 91, 27,
]  # fmt: skip


def test_the_higher_of_two_tops():
    data = pd.DataFrame({"n": TWO_TOPS, "count": range(30), "block": np.repeat(range(5), 6)})
    data["arm"] = np.where(data["count"] % 6 < 3, "a", "b")
    family = "negative-binomial"
    both = fit_counts("n ~ arm", data, ["block", "count"], family=family)
    theta_alone = fit_counts("n ~ arm", data, ["block"], family=family)
    counts_alone = fit_counts("n ~ arm", data, ["block", "count"])
    assert theta_alone.log_likelihood > counts_alone.log_likelihood + 0.3
    assert both.converged
    assert both.log_likelihood >= theta_alone.log_likelihood - 1e-9


def test_a_zero_is_left_where_it_is_no_top(plants):
    # At a scale of zero the slope is zero whatever the data, so a climb begun there stays.
    frame = read_model_frame("plants ~ treatment", plants, ["strip"])
    columns = np.linalg.qr(frame.fixed)[0] * np.sqrt(80)
    counts = frame.response.astype(np.intp)
    problem = CountProblem(counts, np.zeros(80), columns, arrange(frame.groupings), False)
    coefficients = laplace_search._without_groups(problem)
    begun = evaluate(problem, np.append(coefficients, 0.0), np.zeros(16))
    assert begun.gradient[2] == 0
    found = laplace_search._climb_from(problem, begun, 2)[0]
    fit = fit_counts("plants ~ treatment", plants, ["strip"])
    without = evaluate(problem, np.append(coefficients, 0.0), np.zeros(16)).log_likelihood
    assert fit.log_likelihood > without + 10
    assert found.log_likelihood == pytest.approx(fit.log_likelihood, abs=0.01)


def test_errors_without_convergence_are_spoken_of(plants, monkeypatch):
    monkeypatch.setattr(laplace_adjusted, "_STEPS", 0)
    with pytest.warns(ModelWarning, match=r"did not converge: do not use these figures"):
        fit = fit_counts("plants ~ treatment", plants, ["strip"])
    assert not fit.converged
    assert fit_counts("plants ~ treatment", plants, ["strip"], df="normal").converged


def test_no_answer_without_convergence_is_silent(plants, monkeypatch):
    monkeypatch.setattr(laplace_search, "_NEWTON_STEPS", 0)
    with pytest.warns(ModelWarning, match=r"did not converge: do not use these figures"):
        fit = fit_counts("plants ~ treatment", plants, ["strip"])
    assert not fit.converged
    assert fit.coefficients["std_error"].isna().all()


def test_same_input_same_answer(plants):
    first, second = (
        fit_counts("plants ~ treatment", plants, ["block", "strip"], family="negative-binomial")
        for _ in range(2)
    )
    assert first.coefficients.equals(second.coefficients)
    assert first.log_likelihood == second.log_likelihood
