"""The surface: its columns, and the fit with them, against ways that share no code with it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import BSpline
from statsmodels.regression.mixed_linear_model import MixedLM, VCSpec

from trialkit.errors import ModelError
from trialkit.models import AlongPass, Surface, fit_mixed
from trialkit.models.crossproducts import cross_products, reduce_fixed
from trialkit.models.random_blocks import CHUNK
from trialkit.models.surface import build_surface

#: The same algebra two ways, on matrices of this size.
ALGEBRA = 1e-7
#: Where another library's optimiser stops.
OPTIMISER = 2e-3


def plots(seed=5, rows=9, columns=11):
    """An invented trial on a field with a smooth hump, its plots a little off a grid."""
    rng = np.random.default_rng(seed)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(columns) * 3.0, np.arange(rows) * 8.0))
    x, y = x + rng.uniform(-1, 1, x.size), y + rng.uniform(-2, 2, y.size)
    treatment = np.array(["a", "b", "c"])[rng.permutation(np.arange(x.size) % 3)]
    hump = 1.2 * np.sin(x / 9) + 0.8 * np.cos(y / 20) + 0.02 * x * np.sin(y / 15)
    yields = 3 + hump + 0.3 * (treatment == "b") + rng.normal(0, 0.15, x.size)
    block = np.digitize(y, [24, 48]).astype(str)
    return pd.DataFrame(
        {"x_m": x, "y_m": y, "treatment": treatment, "block": block, "yield_t_ha": yields}
    )


def flat_removed(columns, table):
    """Return columns without what level, slopes and their product explain."""
    x, y = table["x_m"].to_numpy(), table["y_m"].to_numpy()
    plane = np.column_stack([np.ones(len(x)), x, y, x * y])
    return columns - plane @ np.linalg.lstsq(plane, columns, rcond=None)[0]


def columns_of(table, knots=(4, 5)):
    """Return the three groups of random columns, and the fixed ones."""
    parts = build_surface(Surface(knots=knots), table[["x_m", "y_m"]])
    _, dense = parts.block.dense(slice(0, len(table)))
    return np.split(dense, np.cumsum(parts.block.sizes)[:-1], axis=1), parts.plane


def design(table):
    dummies = pd.get_dummies(table["treatment"], drop_first=True).to_numpy(dtype=float)
    return np.column_stack([np.ones(len(table)), dummies, columns_of(table)[1]])


@pytest.mark.parametrize(("axis", "knots", "place"), [("x_m", 4, 0), ("y_m", 5, 1)])
def test_bends_of_one_axis_have_the_penalty_of_second_differences(axis, knots, place):
    # Eilers and Marx 1996: |D a|^2 over coefficients a is a normal prior with precision D'D,
    # so the covariance of the curve is B (D'D)^+ B', beside a straight line.
    table = plots()
    values = table[axis].to_numpy()
    step = np.ptp(values) / (knots - 1)
    edges = values.min() + step * np.arange(-3, knots + 3)
    basis = np.column_stack(
        [BSpline(edges, np.eye(knots + 2)[k], 3)(values) for k in range(knots + 2)]
    )
    second = np.diff(np.eye(knots + 2), 2, axis=0)
    curve = flat_removed(basis @ np.linalg.pinv(second), table)
    expected = curve @ curve.T
    found = columns_of(table)[0][place]
    assert found @ found.T == pytest.approx(expected * len(table) / np.trace(expected), abs=ALGEBRA)


def test_each_variance_is_that_of_the_average_record():
    for columns in columns_of(plots())[0]:
        assert (columns**2).sum() / len(columns) == pytest.approx(1.0, rel=ALGEBRA)


def test_the_fit_is_that_of_the_full_matrices(textbook):
    table = plots()
    fit = fit_mixed("yield_t_ha ~ treatment", table, ["block"], surface=Surface(knots=(4, 5)))
    full = textbook(table["yield_t_ha"], design(table), [table["block"], *columns_of(table)[0]])
    assert list(fit.variances.index) == [
        "block",
        "surface_x",
        "surface_y",
        "surface_xy",
        "residual",
    ]
    assert fit.reml_criterion == pytest.approx(full.criterion(fit.variances), rel=ALGEBRA)
    rows = np.eye(6)[[1, 2]]
    expected, found = full.kenward_roger(fit.variances, rows), fit.test("treatment")
    assert found.statistic == pytest.approx(expected.statistic, rel=ALGEBRA)
    assert found.df_den == pytest.approx(expected.df, rel=ALGEBRA)
    assert fit.coefficients["std_error"].iloc[1:3].to_numpy() == pytest.approx(
        expected.errors, rel=ALGEBRA
    )


def test_no_variances_fit_better(textbook):
    table = plots()
    fit = fit_mixed("yield_t_ha ~ treatment", table, surface=Surface(knots=(4, 5)))
    full = textbook(table["yield_t_ha"], design(table), columns_of(table)[0])
    best = full.criterion(fit.variances)
    for place in range(4):
        for change in (0.97, 1.03):
            moved = fit.variances.to_numpy().copy()
            moved[place] *= change
            assert full.criterion(moved) >= best


def test_statsmodels_finds_the_same_variances():
    table = plots().assign(yield_t_ha=lambda t: 10 * t["yield_t_ha"])
    fit = fit_mixed("yield_t_ha ~ treatment", table, surface=Surface(knots=(4, 5)))
    assert not fit.at_boundary
    blocks, _ = columns_of(table)
    names = ["surface_x", "surface_y", "surface_xy"]
    spec = VCSpec(names, [[[str(k) for k in range(z.shape[1])]] for z in blocks],
                  [[z] for z in blocks])  # fmt: skip
    model = MixedLM(
        table["yield_t_ha"].to_numpy(), design(table), np.zeros(len(table)), exog_vc=spec
    )
    other = model.fit(reml=True, method=["bfgs"], gtol=1e-8)
    assert fit.reml_criterion == pytest.approx(-2 * other.llf, abs=OPTIMISER)
    assert np.sqrt(fit.variances[names].to_numpy()) == pytest.approx(
        np.sqrt(other.vcomp), rel=0.02, abs=0.01
    )
    assert fit.coefficients["estimate"].iloc[1:3].to_numpy() == pytest.approx(
        other.fe_params[1:3], abs=OPTIMISER
    )


def test_the_unit_of_place_and_yield_changes_nothing():
    table = plots()
    moved = table.assign(
        x_m=6e6 + 1000 * table["x_m"], y_m=3e5 - 1000 * table["y_m"],
        yield_t_ha=1e6 * table["yield_t_ha"],
    )  # fmt: skip
    ours, theirs = (
        fit_mixed("yield_t_ha ~ treatment", data, surface=Surface()) for data in (table, moved)
    )
    for column, factor in (("estimate", 1e6), ("std_error", 1e6), ("df", 1.0)):
        first, second = (fit.differences("treatment")[column] for fit in (ours, theirs))
        assert factor * first.to_numpy() == pytest.approx(second.to_numpy(), rel=1e-5)
    assert theirs.means("treatment")["estimate"].to_numpy() == pytest.approx(
        1e6 * ours.means("treatment")["estimate"].to_numpy(), rel=ALGEBRA
    )


def test_records_by_the_chunk_are_those_taken_at_once():
    table = pd.concat([plots(seed) for seed in range(200)], ignore_index=True)
    assert len(table) > 2 * CHUNK
    parts = build_surface(Surface(), table[["x_m", "y_m"]])
    reduced = reduce_fixed(
        table["yield_t_ha"].to_numpy(), np.column_stack([np.ones(len(table)), parts.plane])
    )
    products = cross_products(reduced, (parts.block,))
    _, dense = parts.block.dense(slice(0, len(table)))
    expected = dense.T @ np.column_stack([dense, reduced.columns])
    found = products.groups.T @ products.between
    assert found == pytest.approx(expected, abs=ALGEBRA * np.abs(expected).max())


def test_with_the_trend_along_the_pass_too(textbook):
    table = plots().sort_values(["x_m"]).assign(strip=np.repeat(np.arange(11), 9))
    fit = fit_mixed(
        "yield_t_ha ~ treatment", table, ["strip"], surface=Surface(knots=(4, 5)),
        along=AlongPass("strip", "y_m"),
    )  # fmt: skip
    values = fit.variances
    apart = np.abs(np.subtract.outer(table["y_m"].to_numpy(), table["y_m"].to_numpy()))
    same = np.equal.outer(table["strip"].to_numpy(), table["strip"].to_numpy())
    full = textbook(
        table["yield_t_ha"],
        design(table),
        [table["strip"], *columns_of(table)[0], *([np.zeros((99, 1))])],
    )
    full.g[-2] = same * np.exp(-apart / values["range_m"]) if values["along"] else 0 * apart
    terms = ["strip", "surface_x", "surface_y", "surface_xy", "along", "residual"]
    assert fit.reml_criterion == pytest.approx(full.criterion(values[terms]), rel=ALGEBRA)


def test_the_trend_is_taken_out_where_it_is_and_costs_little_where_it_is_not():
    def error(table, **extra):
        fit = fit_mixed("yield_t_ha ~ treatment", table, **extra)
        return fit.differences("treatment")["std_error"].max()

    table = plots()
    assert error(table, surface=Surface()) < 0.2 * error(table)
    rng, ratios = np.random.default_rng(8), []
    for _ in range(20):
        flat = table.assign(yield_t_ha=rng.normal(3, 0.2, len(table)))
        ratios.append(error(flat, surface=Surface(knots=(4, 5))) / error(flat))
    # Not knowing three more variances has its price, but a small one with 99 plots.
    assert 1.0 < np.mean(ratios) < 1.1


@pytest.mark.parametrize(
    ("change", "surface", "message"),
    [
        ({}, "x_m", r"Give surface=Surface\("),
        ({}, Surface("east"), "surface names column 'east', which is not in the table"),
        ({}, Surface("x_m", "x_m"), "column 'x_m' for both axes"),
        ({}, Surface(knots=(2, 8)), "two whole numbers from 3 to 50"),
        ({}, Surface(knots=(8, 8.5)), "two whole numbers from 3 to 50"),
        ({"x_m": "east"}, Surface(), "Column 'x_m' should hold numbers but holds text"),
        ({"x_m": 3.0}, Surface(), "only 1 different 'x_m'.*Leave the surface out"),
        ({"x_m": np.inf}, Surface(), "Column 'x_m' holds an infinite value"),
    ],
)
def test_bad_input(change, surface, message):
    table = plots().assign(**change)
    with pytest.raises(ModelError, match=message):
        fit_mixed("yield_t_ha ~ treatment", table, surface=surface)


def test_a_line_is_no_field():
    table = plots()
    table["y_m"] = 40 - 2 * table["x_m"]
    with pytest.raises(ModelError, match="lie on one line"):
        fit_mixed("yield_t_ha ~ treatment", table, surface=Surface())


def test_places_missing_are_counted():
    table = plots()
    table.loc[[3, 7], "y_m"] = np.nan
    fit = fit_mixed("yield_t_ha ~ treatment", table, surface=Surface(knots=(4, 4)))
    assert fit.records == 97
    assert "2 of 99 records left out for empty cells: 'y_m' in 2." in fit.notes
