"""Correlation along the pass, against full matrices and brute force."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from trialkit.errors import ModelError, ModelWarning
from trialkit.models import AlongPass, fit_mixed
from trialkit.models.process_weights import weigh

#: Linear algebra two ways on well-conditioned data of this size.
ALGEBRA = 1e-8
#: Central differences with steps of 1e-5.
DIFFERENCES = 1e-6
#: A general-purpose minimiser without derivatives stops at about this share of a criterion.
MINIMISER = 1e-7


def passes(seed=5, *, sill=1.0, nugget=0.3, reach=20.0, strip_sd=0.5, count=8, records=18):
    """Records on `count` passes, each its own strip, in four blocks; uneven, shuffled distances."""
    rng = np.random.default_rng(seed)
    tables = []
    for number in range(count):
        distance = np.sort(rng.uniform(0, 100, records))
        gap = np.abs(distance[:, None] - distance)
        process = np.linalg.cholesky(np.exp(-gap / reach) + 1e-10 * np.eye(records))
        value = np.sqrt(sill) * process @ rng.normal(size=records)
        value += rng.normal(0, np.sqrt(nugget), records) + rng.normal(0, strip_sd)
        table = {"pass_id": f"P{number}", "block": f"B{number // 2}", "distance_m": distance}
        arm = "dressed" if number % 2 else "untreated"
        tables.append(pd.DataFrame({**table, "treatment": arm, "value": 5 + value}))
    data = pd.concat(tables, ignore_index=True)
    return data.iloc[rng.permutation(len(data))].reset_index(drop=True)


class Full:
    """The same model with n by n matrices; parameters block, strip, along, range, nugget."""

    def __init__(self, data, random):
        self.y = data["value"].to_numpy()
        self.x = np.column_stack([np.ones(len(data)), data["treatment"] == "untreated"]).astype(
            float
        )
        self.same = [np.equal.outer(*[data[name].to_numpy()] * 2).astype(float) for name in random]
        self.inside = np.equal.outer(*[data["pass_id"].to_numpy()] * 2)
        place = data["distance_m"].to_numpy()
        self.gap = np.abs(place[:, None] - place)

    def pieces(self, parameters):
        *variances, along, reach, nugget = parameters
        v = nugget * np.eye(len(self.y)) + along * self.inside * np.exp(-self.gap / reach)
        v += sum(s * g for s, g in zip(variances, self.same, strict=True))
        lower = np.linalg.cholesky(v)
        white = np.linalg.solve(lower, np.column_stack([self.x, self.y]))
        xx = white[:, :-1].T @ white[:, :-1]
        beta = np.linalg.solve(xx, white[:, :-1].T @ white[:, -1])
        rest = white[:, -1] - white[:, :-1] @ beta
        n, p = self.x.shape
        criterion = (n - p) * np.log(2 * np.pi) + 2 * np.log(np.diag(lower)).sum()
        criterion += np.linalg.slogdet(xx)[1] + rest @ rest
        return criterion, beta, np.linalg.inv(xx), rest @ rest

    def criterion(self, parameters):
        return self.pieces(parameters)[0]

    def satterthwaite(self, parameters, row):
        """Differences on log parameters, one contrast."""
        at = np.log(parameters)
        size, step = at.size, 1e-3
        unit = np.eye(size) * step

        def height(x):
            return self.criterion(np.exp(x))

        def spread(x):
            return row @ self.pieces(np.exp(x))[2] @ row

        slope = np.array([(spread(at + e) - spread(at - e)) / (2 * step) for e in unit])
        bend = np.array(
            [
                [
                    height(at + a + b)
                    - height(at + a - b)
                    - height(at - a + b)
                    + height(at - a - b)
                    for b in unit
                ]
                for a in unit
            ]
        ) / (4 * step**2)
        return 2 * spread(at) ** 2 / (slope @ (2 * np.linalg.inv(bend)) @ slope)

    def zeros_kept(self, parameters, row):
        """Satterthwaite's formula with the expected information of all variances, zeros too."""
        *variances, along, reach, nugget = parameters
        process = self.inside * np.exp(-self.gap / reach)
        ways = [*self.same, process, along * process * self.gap / reach**2, np.eye(len(self.y))]
        v = nugget * np.eye(len(self.y)) + along * process
        v += sum(s * g for s, g in zip(variances, self.same, strict=True))
        inverse = np.linalg.inv(v)
        covariance = np.linalg.inv(self.x.T @ inverse @ self.x)
        taken = inverse @ self.x @ covariance
        moved = [(inverse - taken @ self.x.T @ inverse) @ way for way in ways]
        information = np.array([[np.sum(a * b.T) for b in moved] for a in moved]) / 2
        slope = np.array([row @ taken.T @ way @ taken @ row for way in ways])
        spread = row @ covariance @ row
        return 2 * spread**2 / (slope @ np.linalg.inv(information) @ slope)


def in_order(variances, random):
    return variances[[*random, "along", "range_m", "residual"]].to_numpy()


@pytest.mark.parametrize("random", [[], ["pass_id"], ["block", "pass_id"]])
def test_criterion_estimates_and_optimum_are_those_of_the_full_matrices(random):
    data = passes(count=6, records=10)
    fit = fit_mixed("value ~ treatment", data, random, along=AlongPass())
    assert fit.converged
    full = Full(data, random)
    found = in_order(fit.variances, random)
    criterion, beta, covariance, _ = full.pieces(found)
    assert fit.reml_criterion == pytest.approx(criterion, rel=ALGEBRA)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(beta, rel=ALGEBRA)
    errors = np.sqrt(np.diag(covariance))
    assert fit.coefficients["std_error"].to_numpy() == pytest.approx(errors, rel=ALGEBRA)
    start = np.log(np.maximum(found, 0.05))
    other = minimize(lambda x: full.criterion(np.exp(x)), start, method="L-BFGS-B")
    assert fit.reml_criterion <= other.fun + MINIMISER * abs(other.fun)


def test_satterthwaite_is_that_of_numerical_derivatives():
    data = passes(strip_sd=1.5, count=10, records=9)
    random = ["pass_id"]
    fit = fit_mixed("value ~ treatment", data, random, along=AlongPass(), df="satterthwaite")
    assert fit.at_boundary == ()
    full = Full(data, random)
    for place, row in enumerate(np.eye(2)):
        expected = full.satterthwaite(in_order(fit.variances, random), row)
        assert fit.coefficients["df"].iloc[place] == pytest.approx(expected, rel=1e-4)
    joint = fit.test("treatment")
    assert joint.df_den == pytest.approx(fit.coefficients["df"].iloc[1])


@pytest.mark.parametrize("seed", range(8))
def test_no_better_point_on_a_grid(seed):
    rng = np.random.default_rng(seed)
    data = passes(
        seed, sill=10 ** rng.uniform(-1, 1), nugget=10 ** rng.uniform(-1, 0.5),
        reach=10 ** rng.uniform(0.3, 2), strip_sd=0.0, count=6, records=14,
    )  # fmt: skip
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    if not fit.converged:
        assert "no inner optimum" in str(told[0].message)
        return
    full = Full(data, [])
    for reach in np.geomspace(0.5, 500, 9):
        for share in (0.1, 0.5, 0.9, 0.999):
            # The common scale of both variances that suits best.
            height, _, _, rest = full.pieces([share, reach, 1 - share])
            spare = len(full.y) - full.x.shape[1]
            height += spare * (1 + np.log(rest / spare)) - rest
            assert fit.reml_criterion <= height + 1e-5


@pytest.mark.parametrize(("ratio", "reach"), [(0.4, 3.0), (1.5, 8.0), (1e4, 200.0)])
def test_weights_and_their_derivatives(ratio, reach):
    rng = np.random.default_rng(0)
    gaps = rng.exponential(5, 30)
    gaps[[0, 13]], gaps[[5, 6]] = np.inf, 0.0
    columns = rng.normal(size=(30, 3))
    number = np.cumsum(np.isinf(gaps))
    place = np.cumsum(np.where(np.isinf(gaps), 0, gaps))
    inside = np.equal.outer(number, number)
    whole = np.eye(30) + ratio * inside * np.exp(-np.abs(place[:, None] - place) / reach)
    found = weigh(columns, gaps, ratio, reach, bends=True)
    assert found.matrix == pytest.approx(columns.T @ np.linalg.solve(whole, columns), rel=ALGEBRA)
    assert found.log_determinant == pytest.approx(np.linalg.slogdet(whole)[1], rel=ALGEBRA)
    step = 1e-5
    for i in range(2):
        move = np.exp(step * (np.arange(2) == i))
        above = weigh(columns, gaps, ratio * move[0], reach * move[1], bends=True)
        below = weigh(columns, gaps, ratio / move[0], reach / move[1], bends=True)

        def slope(name, above=above, below=below):
            return (getattr(above, name) - getattr(below, name)) / (2 * step)

        scale = np.abs(found.first).max()
        assert found.first[i] == pytest.approx(slope("matrix"), abs=DIFFERENCES * scale)
        assert found.log_first[i] == pytest.approx(slope("log_determinant"), rel=DIFFERENCES)
        for j in range(2):
            assert found.second[i + j] == pytest.approx(
                slope("first")[j], abs=DIFFERENCES * np.abs(found.second).max()
            )
            assert found.log_second[i + j] == pytest.approx(slope("log_first")[j], rel=DIFFERENCES)


def test_order_of_rows_start_of_distances_and_units_do_not_matter():
    data = passes()
    fit = fit_mixed("value ~ treatment", data, ["pass_id"], along=AlongPass())
    other = data.sort_values(["pass_id", "distance_m"], ascending=False)
    other = other.assign(distance_m=7e5 - 1000 * other["distance_m"], value=1e6 * other["value"])
    moved = fit_mixed("value ~ treatment", other, ["pass_id"], along=AlongPass())
    assert moved.coefficients["t"].to_numpy() == pytest.approx(fit.coefficients["t"], rel=1e-6)
    assert moved.coefficients["df"].to_numpy() == pytest.approx(fit.coefficients["df"], rel=1e-5)
    assert moved.variances["range_m"] == pytest.approx(1000 * fit.variances["range_m"], rel=1e-5)


def test_records_at_one_place_share_the_process():
    data = passes(records=12)
    data = pd.concat([data, data.assign(value=data["value"] + 0.1)], ignore_index=True)
    fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    full = Full(data, [])
    criterion, beta, _, _ = full.pieces(in_order(fit.variances, []))
    assert fit.reml_criterion == pytest.approx(criterion, rel=ALGEBRA)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(beta, rel=ALGEBRA)


def test_a_pass_of_one_record_is_used():
    data = passes()
    first = data["pass_id"].eq("P0")
    data = pd.concat([data[~first], data[first].head(1)], ignore_index=True)
    fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    assert fit.records == len(data)
    criterion = Full(data, []).criterion(in_order(fit.variances, []))
    assert fit.reml_criterion == pytest.approx(criterion, rel=ALGEBRA)


def test_without_correlation_it_is_the_plain_model():
    data = passes(seed=4, sill=0.0, nugget=1.0, strip_sd=1.0)
    fit = fit_mixed("value ~ treatment", data, ["pass_id"], along=AlongPass())
    assert "along" in fit.at_boundary
    assert fit.variances["along"] == 0
    assert np.isnan(fit.variances["range_m"])
    assert any("no range" in note for note in fit.notes)
    plain = fit_mixed("value ~ treatment", data, ["pass_id"], df="satterthwaite")
    assert fit.reml_criterion == pytest.approx(plain.reml_criterion)
    assert fit.coefficients["t"].to_numpy() == pytest.approx(plain.coefficients["t"])


def test_smooth_records_leave_no_nugget():
    data = passes(nugget=0.0, strip_sd=0.0)
    fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    assert fit.variances["residual"] < 1e-4 * fit.variances["along"]
    assert fit.coefficients["std_error"].gt(0.1).all()


def test_a_trend_through_whole_passes_is_told():
    data = passes(nugget=0.1, sill=0.0, strip_sd=0.0)
    middle = data.groupby("pass_id")["distance_m"].transform("mean")
    number = data["pass_id"].str[1:].astype(int)
    data["value"] += (number % 4 - 1.5) * 0.05 * (data["distance_m"] - middle) + 100 * (number % 3)
    with pytest.warns(ModelWarning, match="no inner optimum: the longer its range, the better"):
        fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    assert not fit.converged
    assert any("no inner optimum" in note for note in fit.notes)


def test_degrees_of_freedom_are_held_to_what_the_strips_give():
    data = passes(seed=1, count=8, records=40, strip_sd=0.0, reach=4.0)
    pure = fit_mixed(
        "value ~ treatment", data, ["block", "pass_id"], along=AlongPass(), df="satterthwaite"
    )
    fit = fit_mixed("value ~ treatment", data, ["block", "pass_id"], along=AlongPass())
    # Eight strips less four blocks less one treatment difference.
    assert pure.coefficients["df"].iloc[1] > 3
    assert fit.coefficients["df"].iloc[1] == 3
    assert fit.test("treatment").df_den == 3
    # A mean gathers scatter from blocks too: eight strips less two treatments.
    assert (fit.means("treatment")["df"] <= 6).all()
    assert any("held to that" in note for note in fit.notes)
    assert any("not to be believed" in note for note in pure.notes)


def test_the_hold_is_what_satterthwaite_gives_with_zero_variances_kept_unknown():
    # Balanced: even distances, the same in all passes.
    data = passes(seed=3, count=8, records=15, strip_sd=0.0, reach=10.0)
    data["distance_m"] = data.groupby("pass_id")["distance_m"].rank()
    random = ["block", "pass_id"]
    fit = fit_mixed("value ~ treatment", data, random, along=AlongPass())
    assert "pass_id" in fit.at_boundary
    full = Full(data, random)
    assert fit.test("treatment").df_den == pytest.approx(
        full.zeros_kept(in_order(fit.variances, random), np.array([0.0, 1.0])), rel=ALGEBRA
    )


def test_degrees_of_freedom_of_a_covariate_are_not_held():
    data = passes(seed=1, count=8, records=40, strip_sd=0.0, reach=4.0)
    data["elevation"] = np.random.default_rng(2).normal(size=len(data))
    fit = fit_mixed("value ~ treatment + elevation", data, ["block", "pass_id"], along=AlongPass())
    assert fit.coefficients.loc["elevation", "df"] > 100
    assert fit.test("treatment").df_den == 3


def test_without_random_terms_the_pass_is_the_unit():
    data = passes(seed=1, count=8, records=40, strip_sd=0.0, reach=4.0)
    fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    assert fit.test("treatment").df_den == 6


def test_empty_distances_are_left_out_and_counted():
    data = passes()
    data.loc[[3, 9], "distance_m"] = np.nan
    data.loc[4, "pass_id"] = None
    fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    assert fit.records == len(data) - 3
    assert "3 of 144 records left out" in fit.notes[0]
    assert "'distance_m' in 2" in fit.notes[0]


@pytest.mark.parametrize(
    ("change", "along", "message"),
    [
        (lambda d: d, AlongPass(pass_id="pas_id"), "names column 'pas_id'.*Did you mean 'pass_id'"),
        (lambda d: d, AlongPass(distance="metres"), "names column 'metres', which is not in"),
        (lambda d: d, "pass_id", "along is no AlongPass"),
        (lambda d: d.assign(distance_m="far"), AlongPass(), "'distance_m' should hold numbers"),
        (lambda d: d.assign(distance_m=np.inf), AlongPass(), "'distance_m' holds an infinite"),
        (lambda d: d.assign(distance_m=1.0), AlongPass(), "have the same 'distance_m'"),
        (lambda d: d.assign(pass_id=range(len(d))), AlongPass(), "Every record is a pass of its"),
    ],
)
def test_faults_of_the_table(change, along, message):
    with pytest.raises(ModelError, match=message):
        fit_mixed("value ~ treatment", change(passes()), along=along)


def test_kenward_roger_does_not_go_with_it():
    with pytest.raises(ModelError, match="does not go with correlation along the pass"):
        fit_mixed("value ~ treatment", passes(), along=AlongPass(), df="kenward-roger")


def test_one_pass_only_is_told():
    data = passes(count=2, records=80).assign(pass_id="P0")
    fit = fit_mixed("value ~ treatment", data, along=AlongPass())
    assert any("one pass" in note for note in fit.notes)
