"""Diagnostics: residuals, influence and variograms against other ways, and what they say."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

from trialkit.errors import ModelError
from trialkit.models import (
    Finding,
    diagnose,
    fit_mixed,
    leave_one_out,
    residuals_along,
    strip_residuals,
    variogram,
)

STRIPS = ("yield_t_ha", "treatment", "block", "strip")
ALONG = ("yield_t_ha", "strip", "pass_id", "distance_m")
FORMULA = "yield_t_ha ~ treatment"


def trial(sizes, seed=0, gain=0.0):
    rng = np.random.default_rng(seed)
    rows = [(f"B{place}", arm) for place, arms in enumerate(sizes) for arm in arms]
    data = pd.DataFrame(rows, columns=["block", "treatment"])
    data.insert(0, "strip", [f"S{number}" for number in range(1, len(data) + 1)])
    noise = rng.normal(0, 0.3, len(sizes))[data["block"].str[1:].astype(int)]
    own = rng.normal(0, 0.1, len(data))
    return data.assign(yield_t_ha=3 + noise + own + gain * (data["treatment"] == "d"))


def found_in(findings):
    return {finding.name: finding for finding in findings}


@pytest.mark.parametrize("sizes", [["abc"] * 5, ["abbc", "ac", "ab", "cab", "abcc"]])
def test_residuals_are_statsmodels_influence(sizes):
    data = trial(sizes, seed=1)
    table = strip_residuals(data, *STRIPS)
    other = smf.ols("yield_t_ha ~ C(block) + C(treatment)", data).fit()
    influence = other.get_influence()
    assert table["residual"].to_numpy() == pytest.approx(other.resid.to_numpy())
    assert table["fitted"].to_numpy() == pytest.approx(other.fittedvalues.to_numpy())
    assert table["leverage"].to_numpy() == pytest.approx(influence.hat_matrix_diag)
    assert table["t"].to_numpy() == pytest.approx(influence.resid_studentized_external)
    assert table.index.tolist() == data["strip"].tolist()


def test_a_strip_alone_in_its_block_has_no_say():
    data = trial(["du", "du", "du", "du", "d"])
    table = strip_residuals(data, *STRIPS)
    assert table.loc["S9", ["leverage", "residual", "t"]].to_numpy() == pytest.approx([1, 0, 0])
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="u"))["leverage"]
    assert not found.ok
    assert found.sentence == (
        "Nothing stands beside S9 in the block or treatment: no say in the result."
    )


def test_leaving_one_out_is_fitting_again():
    data = trial(["abc"] * 4, seed=2)
    fit = fit_mixed(FORMULA, data, ["block"], confidence=0.9)
    table = leave_one_out(fit, data, "treatment", "strip", against="a")
    assert len(table) == 2 * len(data)
    without = fit_mixed(FORMULA, data[data["strip"] != "S5"], ["block"], confidence=0.9)
    expected = without.differences("treatment", "a")
    rows = table[table["left_out"] == "S5"]
    pd.testing.assert_frame_equal(rows.drop(columns=["left_out", "change"]), expected)
    change = expected["estimate"] - fit.differences("treatment", "a")["estimate"]
    assert rows["change"].to_numpy() == pytest.approx(change.to_numpy())


def test_an_even_trial_has_nothing_to_tell():
    data = trial(["du"] * 8, seed=3, gain=0.3)
    findings = diagnose(fit_mixed(FORMULA, data, ["block"]), data, *STRIPS[1:], against="u")
    assert all(isinstance(finding, Finding) for finding in findings)
    found = found_in(findings)
    assert list(found) == ["odd strip", "leverage", "one strip decides", "gain by block"]
    assert all(finding.ok for finding in findings)
    assert found["odd strip"].sentence.startswith("No strip stands out. Strip S")
    assert found["leverage"].value == pytest.approx(found["leverage"].limit / 2)
    assert "The answer hangs on no single strip." in found["one strip decides"].sentence


def test_an_odd_strip_is_named_with_its_neighbour():
    data = trial(["du"] * 10, seed=3)
    data.loc[6, "yield_t_ha"] += 1.5
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="u", unit="t/ha"))["odd strip"]
    assert not found.ok
    assert found.value > found.limit
    assert found.sentence.startswith("Strip S7 lies 0.")
    assert " t/ha above what its treatment and block give, more than chance" in found.sentence
    assert "It may as well be S8" in found.sentence
    assert found.sentence.endswith("Without a cause it stays in.")


def test_odd_strips_are_flagged_as_rarely_as_they_should_be():
    seasons, flagged = 300, 0
    for seed in range(seasons):
        table = strip_residuals(trial(["abc"] * 6, seed=seed), *STRIPS)
        limit = stats.t.ppf(1 - 0.05 / 36, 18 - 8 - 1)
        flagged += table["t"].abs().max() > limit
    # Bonferroni: at most 5%; four standard errors.
    assert flagged / seasons < 0.05 + 4 * np.sqrt(0.05 * 0.95 / seasons)


def test_one_strip_that_decides_is_named():
    data = trial(["du"] * 5, seed=6).assign(
        yield_t_ha=[3.1, 3.0, 3.2, 3.05, 3.1, 2.95, 3.3, 3.2, 2.6, 3.0]
    )
    fit = fit_mixed(FORMULA, data, ["block"])
    assert fit.differences("treatment", "u")["p"].item() > 0.05
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="u"))["one strip decides"]
    assert not found.ok
    assert found.sentence.endswith("be careful.")
    assert "strip S9 moves it most" in found.sentence


# Tukey's one degree of freedom: the squared fitted values as a further column, by statsmodels.
def test_gain_by_block_is_tukeys_test():
    data = trial(["abcd"] * 5, seed=4)
    data["yield_t_ha"] *= 1 + 0.1 * (data["treatment"] == "b")
    base = smf.ols("yield_t_ha ~ C(block) + C(treatment)", data).fit()
    bent = data.assign(square=base.fittedvalues**2)
    more = smf.ols("yield_t_ha ~ C(block) + C(treatment) + square", bent).fit()
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="a"))["gain by block"]
    assert found.value == pytest.approx(more.pvalues["square"], rel=1e-6)


def test_gain_by_block_with_repeated_strips_is_the_interaction():
    data = trial(["ddduuu"] * 4, seed=5)
    data["yield_t_ha"] += 1.0 * ((data["treatment"] == "d") & (data["block"] == "B2"))
    base = smf.ols("yield_t_ha ~ C(block) + C(treatment)", data).fit()
    full = smf.ols("yield_t_ha ~ C(block) * C(treatment)", data).fit()
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="u"))["gain by block"]
    assert found.value == pytest.approx(full.compare_f_test(base)[1], rel=1e-6)
    assert not found.ok
    assert "do not differ alike in all blocks" in found.sentence


def records(data, seed=0, range_m=30.0, length_m=300.0, step_m=2.0, sill=0.04, nugget=0.01):
    """Records along one pass a strip, with exponential correlation and a nugget."""
    rng = np.random.default_rng(seed)
    at = np.arange(0, length_m, step_m)
    apart = np.abs(np.subtract.outer(at, at))
    root = np.linalg.cholesky(sill * np.exp(-apart / range_m) + nugget * np.eye(at.size))
    parts = [
        pd.DataFrame(
            {
                "strip": row.strip,
                "pass_id": place,
                "distance_m": at,
                "yield_t_ha": row.yield_t_ha + root @ rng.normal(0, 1, at.size),
            }
        )
        for place, row in enumerate(data.itertuples())
    ]
    return pd.concat(parts, ignore_index=True)


def test_residuals_along_are_in_order_and_less_the_strip():
    log = records(trial(["du"] * 3)).sample(frac=1, random_state=1)
    left = residuals_along(log, *ALONG)
    assert left.groupby("strip")["residual"].mean().to_numpy() == pytest.approx(0, abs=1e-12)
    assert (left.groupby("pass_id")["distance_m"].diff().dropna() > 0).all()


def test_variogram_is_the_mean_over_all_pairs():
    rng = np.random.default_rng(2)
    left = pd.DataFrame(
        {
            "pass_id": np.repeat([1, 2], 60),
            "distance_m": np.concatenate([np.sort(rng.uniform(0, 200, 60)) for _ in range(2)]),
            "residual": rng.normal(0, 1, 120),
        }
    )
    table = variogram(left, step_m=10.0, reach_m=60.0)
    pairs = [
        (abs(a.distance_m - b.distance_m), (a.residual - b.residual) ** 2)
        for _, part in left.groupby("pass_id")
        for i, a in enumerate(part.itertuples())
        for b in list(part.itertuples())[:i]
        if abs(a.distance_m - b.distance_m) <= 60
    ]
    apart, square = np.array(pairs).T
    place = np.rint(apart / 10)
    expected = [
        (apart[place == k].mean(), square[place == k].mean() / 2, (place == k).sum())
        for k in np.unique(place)
        if (place == k).sum() >= 30
    ]
    assert table.to_numpy() == pytest.approx(np.array(expected))
    shuffled = variogram(left.sample(frac=1, random_state=0), step_m=10.0, reach_m=60.0)
    pd.testing.assert_frame_equal(table, shuffled)


def pairs_counted(records_a_pass, monkeypatch):
    """Number of pairs looked at for 20,000 records, and the table made of them."""
    from trialkit.models import residuals

    seen = []
    add = residuals._add_pairs
    rng = np.random.default_rng(5)
    passes = 20_000 // records_a_pass
    left = pd.DataFrame(
        {
            "pass_id": np.repeat(np.arange(passes), records_a_pass),
            "distance_m": np.tile(np.arange(records_a_pass) * 0.4, passes),
            "residual": rng.normal(0, 1, passes * records_a_pass),
        }
    )
    with monkeypatch.context() as patch:
        patch.setattr(
            residuals, "_add_pairs", lambda *given: (seen.append(given[1].size), add(*given))
        )
        table = residuals.variogram(left)
    return sum(seen), table


def test_variogram_of_long_passes_takes_time_in_line_with_the_records(monkeypatch):
    pairs = {n: pairs_counted(n, monkeypatch)[0] for n in (400, 2000, 10_000)}
    # Every pair up to half a pass of 400; all pairs of passes of 10,000 would be 3,750 a record.
    assert pairs[400] == pytest.approx(20_000 * 150, rel=0.01)
    assert pairs[2000] < 2 * pairs[400]
    assert pairs[10_000] < 2.5 * pairs[400]


def test_variogram_of_long_passes_has_no_fringes(monkeypatch):
    """Independent residuals of variance 1: every class tells it, by its many pairs."""
    table = pairs_counted(10_000, monkeypatch)[1]
    assert table["pairs"].min() >= 1000
    assert table["semivariance"].to_numpy() == pytest.approx(1.0, abs=0.1)
    assert table["distance_m"].max() > 0.95 * 0.5 * 4000


def test_variogram_of_a_known_process():
    # gamma(h) = nugget + sill (1 - exp(-h / range)); long passes, so that means cost little.
    data = trial(["du"] * 10)
    log = records(data, seed=3, length_m=1200.0, step_m=4.0)
    left = residuals_along(log, *ALONG)
    table = variogram(left, step_m=4.0, reach_m=60.0)
    expected = 0.01 + 0.04 * (1 - np.exp(-table["distance_m"] / 30.0))
    assert table["semivariance"].to_numpy() == pytest.approx(expected.to_numpy(), rel=0.1)


def test_records_speak():
    data = trial(["du"] * 8, seed=3, gain=0.3)
    log = records(data, seed=4)
    fit = fit_mixed(FORMULA, data, ["block"])
    along = {"records": log, "pass_id": "pass_id", "distance": "distance_m", "unit": "t/ha"}
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="u", **along))
    neighbours = found["likeness of neighbours"]
    # What correlation at 2 m is left beside the mean of each strip; four standard errors or so.
    at = np.arange(0, 300.0, 2.0)
    within = np.eye(150) - 1 / 150
    true = 0.04 * np.exp(-np.abs(np.subtract.outer(at, at)) / 30.0) + 0.01 * np.eye(150)
    beside = within @ true @ within
    assert neighbours.value == pytest.approx(
        np.diag(beside, 1).mean() / np.diag(beside).mean(), abs=0.1
    )
    assert not neighbours.ok
    assert "2 m apart, are alike" in neighbours.sentence
    assert 20 < found["reach of likeness"].value < 120
    assert found["reach of likeness"].sentence.startswith("Records stay alike for about ")
    assert "e+" not in found["reach of likeness"].sentence
    assert found["ends of passes"].ok
    low = log.copy()
    low.loc[low["distance_m"] < 20, "yield_t_ha"] -= 0.5
    found = found_in(diagnose(fit, data, *STRIPS[1:], against="u", **{**along, "records": low}))
    ends = found["ends of passes"]
    assert not ends.ok
    assert ends.sentence.startswith("At the start of passes yields lie 0.")
    assert " t/ha below those next to it: check the delay" in ends.sentence


def test_ends_are_not_blamed_for_the_ground():
    # Sixteen strips that share one trend and one patch along them.
    data = trial(["du"] * 8, seed=3)
    log = records(data, seed=4)
    log["yield_t_ha"] += 0.002 * log["distance_m"] - 0.4 * np.exp(-((log["distance_m"] / 90) ** 2))
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(
        diagnose(fit, data, *STRIPS[1:], records=log, pass_id="pass_id", distance="distance_m")
    )
    assert found["ends of passes"].ok
    assert found["ends of passes"].sentence.startswith("Yields at the starts and ends of passes")


def test_ground_that_changes_slowly_is_said():
    data = trial(["du"] * 8, seed=3)
    log = records(data, sill=1e-6, nugget=0.001)
    log["yield_t_ha"] += 0.01 * log["distance_m"]
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(
        diagnose(fit, data, *STRIPS[1:], records=log, pass_id="pass_id", distance="distance_m")
    )["reach of likeness"]
    # A straight line: the mean square over pairs h apart, h^2 / 2, passes 95% of L^2 / 12.
    assert found.value == pytest.approx(298 * np.sqrt(0.95 / 6), abs=3.0)
    assert not found.ok
    assert "for about 120 m along the pass: the ground changes slowly" in found.sentence


def test_records_without_likeness_say_so():
    data = trial(["du"] * 8, seed=3)
    log = records(data, sill=1e-12, nugget=0.05)
    fit = fit_mixed(FORMULA, data, ["block"])
    found = found_in(
        diagnose(fit, data, *STRIPS[1:], records=log, pass_id="pass_id", distance="distance_m")
    )
    assert found["likeness of neighbours"].ok
    assert "hardly alike" in found["likeness of neighbours"].sentence


def test_findings_do_not_hang_on_the_unit():
    data = trial(["abc"] * 5, seed=8)
    grams = data.assign(yield_t_ha=data["yield_t_ha"] * 1e6)
    one = diagnose(fit_mixed(FORMULA, data, ["block"]), data, *STRIPS[1:], against="a")
    two = diagnose(fit_mixed(FORMULA, grams, ["block"]), grams, *STRIPS[1:], against="a")
    for first, second in zip(one, two, strict=True):
        assert second.value == pytest.approx(first.value, rel=1e-6)
        assert second.ok == first.ok


def test_bad_questions():
    data = trial(["du"] * 4)
    fit = fit_mixed(FORMULA, data, ["block"])
    with pytest.raises(ModelError, match=r"Say which columns of the records hold the pass"):
        diagnose(fit, data, *STRIPS[1:], records=records(data))
    logged = fit_mixed("np.log(yield_t_ha) ~ treatment", data, ["block"])
    with pytest.raises(ModelError, match=r"response 'np.log\(yield_t_ha\)' of the fit is no plain"):
        diagnose(logged, data, *STRIPS[1:])
    with pytest.raises(ModelError, match=r"2 strips are too few to look at"):
        strip_residuals(data.iloc[:2], *STRIPS)
    with pytest.raises(ModelError, match=r"names column 'plot'"):
        strip_residuals(data, *STRIPS[:3], "plot")
    alone = pd.DataFrame({"pass_id": [1, 2], "distance_m": [0.0, 0.0], "residual": [1.0, 2.0]})
    with pytest.raises(ModelError, match=r"No pass holds two records at different places"):
        variogram(alone)
    few = pd.DataFrame({"pass_id": 1, "distance_m": [0.0, 1.0, 2.0], "residual": [1.0, 2.0, 0.0]})
    with pytest.raises(ModelError, match=r"Fewer than 30 pairs of records lie within 1 m"):
        variogram(few)
    with pytest.raises(ModelError, match=r"step_m=0 and reach_m=1.0 must be above zero"):
        variogram(few, step_m=0)
