"""Where does it work: gains by zone and along a covariate, against full matrices and truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit import simulate
from trialkit.errors import ModelError, ModelWarning
from trialkit.models import AlongPass, fit_mixed, gains_along, gains_by, interaction

#: Two ways of linear algebra on 40 records; the optimiser's end differs in the seventh digit.
SAME = 1e-5


@pytest.fixture
def bending(uneven):
    return fit_mixed("value ~ treatment * slope", uneven, ["row", "column"])


def rows_along(data, at):
    """Return rows over `value ~ treatment * slope` for b less a and c less a at one slope."""
    # Columns: intercept, b, c, slope, b:slope, c:slope.
    return np.array([[0, 1, 0, 0, at, 0], [0, 0, 1, 0, 0, at]], dtype=float)


def test_gains_along_are_the_textbook_contrasts(uneven, bending, textbook):
    b, c = (uneven["treatment"] == label for label in "bc")
    slope = uneven["slope"]
    x = np.column_stack([np.ones(40), b, c, slope, b * slope, c * slope])
    full = textbook(uneven["value"], x, [uneven["row"], uneven["column"]])
    variances = bending.variances.to_numpy()
    table = gains_along(bending, "treatment", "slope", at=[2.0, 5.0, 8.0], against="a")
    assert table["at"].tolist() == [2.0, 2.0, 5.0, 5.0, 8.0, 8.0]
    assert table.index.tolist() == ["b", "c"] * 3
    for at, part in table.groupby("at"):
        rows = rows_along(uneven, at)
        expected = rows @ full.pieces(variances).beta
        assert part["estimate"].to_numpy() == pytest.approx(expected, rel=SAME)
        for place in range(2):
            one = full.kenward_roger(variances, rows[[place]])
            assert part["std_error"].iloc[place] == pytest.approx(one.errors[0], rel=SAME)
            assert part["df"].iloc[place] == pytest.approx(one.df, rel=SAME)
    joint = full.kenward_roger(variances, np.array([[0, 0, 0, 0, 1, 0], [0, 0, 0, 0, 0, 1.0]]))
    found = interaction(bending, "treatment", "slope")
    assert found.statistic == pytest.approx(joint.statistic, rel=SAME)
    assert (found.df_num, found.df_den) == (2, pytest.approx(joint.df, rel=SAME))
    assert not found.too_sure


def test_at_the_mean_they_are_the_differences(uneven, bending):
    at = [uneven["slope"].mean()]
    table = gains_along(bending, "treatment", "slope", at=at, against="a").drop(columns="at")
    pd.testing.assert_frame_equal(table, bending.differences("treatment", against="a"))
    pairs = gains_along(bending, "treatment", "slope", at=at).drop(columns="at")
    pd.testing.assert_frame_equal(pairs, bending.differences("treatment"))


def test_the_usual_grid_and_the_band(uneven, bending):
    alone = gains_along(bending, "treatment", "slope", against="a")
    band = gains_along(bending, "treatment", "slope", against="a", simultaneous=True)
    middle, spread = uneven["slope"].mean(), uneven["slope"].std(ddof=0)
    assert alone["at"].unique() == pytest.approx(
        np.linspace(middle - 2 * spread, middle + 2 * spread, 9)
    )
    assert (band["low"] < alone["low"]).all()
    assert (band["high"] > alone["high"]).all()
    # Two lines are two dimensions each: wider than one t, narrower than Scheffe's for all four.
    factor = ((band["high"] - band["estimate"]) / band["std_error"]).mean()
    assert 2.05 < factor < 3.6


def test_a_covariate_that_bends(uneven):
    fit = fit_mixed("value ~ treatment * (slope + I(slope**2))", uneven, ["row"])
    table = gains_along(fit, "treatment", "slope", at=[1.0, 4.0], against="a")
    own = fit.coefficients["estimate"]
    expected = [
        own["treatment[T.b]"] + at * own["treatment[T.b]:slope"]
        + at**2 * own["treatment[T.b]:I(slope ** 2)"]
        for at in (1.0, 4.0)
    ]  # fmt: skip
    assert table.loc["b", "estimate"].to_numpy() == pytest.approx(expected)


def test_gains_by_zone_with_each_zone_fitted_alone():
    # Without random terms, and with one error for all, estimates are those of each zone alone.
    rng = np.random.default_rng(2)
    data = pd.DataFrame(
        {
            "zone": np.repeat(["low", "mid", "top"], 8),
            "treatment": np.tile(["d", "u"], 12),
            "value": rng.normal(0, 1, 24),
        }
    )
    table = gains_by(fit_mixed("value ~ treatment * zone", data), "treatment", "zone", "u")
    means = data.pivot_table("value", "zone", "treatment")
    assert table["at"].tolist() == ["low", "mid", "top"]
    assert table["estimate"].to_numpy() == pytest.approx((means["d"] - means["u"]).to_numpy())
    assert table["df"].to_numpy() == pytest.approx([18] * 3)
    together = gains_by(
        fit_mixed("value ~ treatment * zone", data), "treatment", "zone", "u", simultaneous=True
    )
    assert (together["p"] > table["p"]).all()


def test_zones_that_are_numbers(uneven):
    halves = uneven.assign(half=uneven["row"] % 2)
    fit = fit_mixed("value ~ treatment * C(half)", halves, ["column"])
    table = gains_by(fit, "treatment", "half", against="a")
    assert table["at"].tolist() == [0, 0, 1, 1]
    own = fit.coefficients["estimate"]
    assert table.loc["c", "estimate"].iloc[1] == pytest.approx(
        own["treatment[T.c]"] + own["treatment[T.c]:C(half)[T.1]"]
    )


def test_the_sentence(bending):
    found = interaction(bending, "treatment", "slope")
    assert found.p > 0.05
    assert found.sentence.startswith(
        "These records do not show that the gain of 'treatment' changes with 'slope' (F "
    )
    assert found.sentence.endswith("That is not to say that it is the same everywhere.")


def test_the_unit_does_not_matter(uneven, bending):
    grams = uneven.assign(value=uneven["value"] * 1e6, slope=uneven["slope"] / 1e3)
    fit = fit_mixed("value ~ treatment * slope", grams, ["row", "column"])
    one = gains_along(bending, "treatment", "slope", at=[3.0], against="a")
    two = gains_along(fit, "treatment", "slope", at=[3e-3], against="a")
    for name in ("df", "t", "p"):
        assert two[name].to_numpy() == pytest.approx(one[name].to_numpy(), rel=SAME)
    assert two["low"].to_numpy() / 1e6 == pytest.approx(one["low"].to_numpy(), rel=SAME)


# An invented frost season: strips run through a hollow at their near end, where frost takes up
# to 30% of a 3 t/ha crop and the dressing prevents half of that.
LOSS, PREVENTED, CROP_T_HA = 0.3, 0.5, 3.0
LENGTH_M, RADIUS_M, SPACING_M = 400.0, 100.0, 20.0


def frost_season(plan, prevented, seed):
    """Return the mean yield of each strip in the hollow and on the slope."""
    field = simulate.Field(
        mean_t_ha=CROP_T_HA,
        rise_across_t_ha=0.0,
        wave_across_t_ha=0.0,
        frost_loss=LOSS,
        hollow=simulate.Hollow(-LENGTH_M / 2, 0.0, RADIUS_M, 1e6),
    )
    dressed = {"dressed": simulate.Effect(0.0, prevented)}
    points = simulate.points(plan, field, dressed, seed=seed, spacing_m=SPACING_M)
    points["along_m"] = points["distance_m"] + SPACING_M / 2
    points["zone"] = np.where(points["along_m"] < 150, "hollow", "slope")
    return points


def test_frost_protection_is_found_where_it_freezes():
    plan = simulate.measure(
        simulate.lay_strips(["untreated", "dressed"], 6, seed=1, length_m=LENGTH_M)
    )
    seasons, covered, found, fooled = 20, 0, 0, 0
    for seed in range(seasons):
        for prevented in (PREVENTED, 0.0):
            points = frost_season(plan, prevented, seed)
            groups = ["block", "strip", "treatment", "zone"]
            parts = points.groupby(groups, as_index=False)["yield_t_ha"].mean()
            random = ["block", "block:zone", "strip"]
            fit = fit_mixed("yield_t_ha ~ treatment * zone", parts, random)
            p = interaction(fit, "treatment", "zone").p
            if not prevented:
                fooled += p < 0.05
                continue
            found += p < 0.05
            gain = PREVENTED * LOSS * CROP_T_HA * np.exp(-((points["along_m"] / RADIUS_M) ** 2))
            truth = gain.groupby(points["zone"]).mean()
            table = gains_by(fit, "treatment", "zone", against="untreated").set_index("at")
            covered += int((table["low"] <= truth).sum() + (truth <= table["high"]).sum())
    assert truth["hollow"] > 0.25 > 0.01 > truth["slope"]
    assert found / seasons > 0.7
    # Four standard errors of a share in 20 seasons, and of their ends, two a zone.
    assert fooled / seasons < 0.05 + 4 * np.sqrt(0.05 * 0.95 / seasons)
    assert abs(covered / (4 * seasons) - 0.975) < 4 * np.sqrt(0.025 * 0.975 / (2 * seasons))


def test_the_gain_rises_into_a_hollow_across_the_strips():
    plan = simulate.measure(
        simulate.lay_strips(["untreated", "dressed"], 8, seed=1, length_m=LENGTH_M)
    )
    edge = -plan.width_m / 2
    field = simulate.Field(
        rise_across_t_ha=0.0,
        wave_across_t_ha=0.0,
        frost_loss=LOSS,
        hollow=simulate.Hollow(0.0, edge, 1e6, 150.0),
    )
    middle = plan.strips.set_index("strip")[["across_from_m", "across_to_m"]].mean(axis=1)
    covered, seasons = 0, 24
    for seed in range(seasons):
        effects = {"dressed": simulate.Effect(0.0, PREVENTED)}
        points = simulate.points(plan, field, effects, seed=seed, spacing_m=20.0)
        groups = ["block", "strip", "treatment"]
        strips = points.groupby(groups, as_index=False)["yield_t_ha"].mean()
        strips["cold"] = np.exp(-(((strips["strip"].map(middle) - edge) / 150.0) ** 2))
        fit = fit_mixed("yield_t_ha ~ treatment * cold", strips, ["block"])
        table = gains_along(fit, "treatment", "cold", at=[0.0, 1.0], against="untreated")
        truth = PREVENTED * LOSS * CROP_T_HA * table["at"]
        covered += int(((table["low"] <= truth) & (truth <= table["high"])).sum())
    assert abs(covered / (2 * seasons) - 0.95) < 4 * np.sqrt(0.05 * 0.95 / seasons)


def test_points_inside_strips_are_too_sure():
    rng = np.random.default_rng(3)
    strip = np.repeat(np.arange(8), 100)
    data = pd.DataFrame(
        {
            "block": strip // 2,
            "strip": strip,
            "treatment": np.where(strip % 2, "dressed", "untreated"),
            "elevation_m": np.tile(np.linspace(200, 210, 100), 8),
            "yield_t_ha": 3 + rng.normal(0, 0.2, 8)[strip] + rng.normal(0, 0.2, 800),
        }
    )
    fit = fit_mixed("yield_t_ha ~ treatment * elevation_m", data, ["block", "strip"])
    words = r"'elevation_m' changes inside strips.*too sure. Fit correlation along the pass"
    with pytest.warns(ModelWarning, match=words):
        found = interaction(fit, "treatment", "elevation_m")
    assert found.too_sure
    assert found.sentence.endswith(
        "Points inside strips count as independent here, so this p is too small."
    )
    with pytest.warns(ModelWarning, match=words):
        gains_along(fit, "treatment", "elevation_m", at=[200.0])
    zoned = data.assign(zone=np.where(data["elevation_m"] > 205, "top", "hollow"))
    fit = fit_mixed("yield_t_ha ~ treatment * zone", zoned, ["block", "strip"])
    with pytest.warns(ModelWarning, match=r"'zone' changes inside strips"):
        gains_by(fit, "treatment", "zone")


def test_with_correlation_along_the_pass_nothing_is_too_sure():
    # Invented: the gain is the same everywhere, the ground is not, and changes slowly.
    rng = np.random.default_rng(5)
    at = np.arange(0, 400.0, 8.0)
    ground = np.linalg.cholesky(np.exp(-np.abs(np.subtract.outer(at, at)) / 60) + 1e-9 * np.eye(50))
    seasons, believed, sure = 8, 0, 0
    for _ in range(seasons):
        data = pd.DataFrame(
            {
                "block": np.repeat(np.arange(8) // 2, 50),
                "pass_id": np.repeat(np.arange(8), 50),
                "distance_m": np.tile(at, 8),
                "treatment": np.repeat(["dressed", "untreated"] * 4, 50),
                "elevation_m": np.tile(200 + at / 40, 8),
                "yield_t_ha": 3 + 0.2 * (ground @ rng.normal(0, 1, (50, 8))).T.ravel()
                + rng.normal(0, 0.05, 400),
            }
        )  # fmt: skip
        formula = "yield_t_ha ~ treatment * elevation_m"
        fit = fit_mixed(formula, data, ["block"], along=AlongPass())
        found = interaction(fit, "treatment", "elevation_m")
        assert not found.too_sure
        table = gains_along(fit, "treatment", "elevation_m", at=[205.0], against="untreated")
        expected = fit.differences("treatment", "untreated")["std_error"]
        assert table["std_error"].item() > 0.5 * expected.item()
        believed += found.p < 0.05
        points = fit_mixed(formula, data, ["block", "pass_id"])
        with pytest.warns(ModelWarning, match=r"changes inside strips"):
            sure += interaction(points, "treatment", "elevation_m").p < 0.05
    assert believed <= 2
    assert sure >= 3


def refused(message, call, *arguments, **options):
    with pytest.raises(ModelError, match=message):
        call(*arguments, **options)


def test_bad_questions(uneven, bending):
    plain = fit_mixed("value ~ treatment + slope + C(row)", uneven, ["column"])
    refused(r"no interaction of 'treatment' and 'slope'.*Write 'treatment \* slope'",
            interaction, plain, "treatment", "slope")  # fmt: skip
    refused(r"no interaction of 'treatment' and 'row'", gains_by, plain, "treatment", "row")
    refused(
        r"no column 'frost'. It has: slope, treatment", interaction, bending, "treatment", "frost"
    )
    refused(
        r"'slope' acts as a number.*Ask for gains_along", gains_by, bending, "treatment", "slope"
    )
    refused(r"at=\[\] holds no plain numbers", gains_along, bending, "treatment", "slope", at=[])
    refused(
        r"at='high' is no list of numbers", gains_along, bending, "treatment", "slope", at="high"
    )
    refused(r"no level 'z'", gains_along, bending, "treatment", "slope", against="z")
    zoned = fit_mixed("value ~ treatment * C(row)", uneven, ["column"])
    refused(r"'row' acts as labels.*Ask for gains_by", gains_along, zoned, "treatment", "row")
    lost = uneven[~((uneven["treatment"] == "b") & (uneven["row"] == 2))]
    fit = fit_mixed("value ~ treatment * C(row)", lost, ["column"])
    refused(r"cannot estimate 'b' at 'row' 2 less 'a'", gains_by, fit, "treatment", "row", "a")
