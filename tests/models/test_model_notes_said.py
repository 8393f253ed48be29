"""What models say of a fit, in another language: whole sentences, its marks, codes as they were."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError, ModelWarning
from trialkit.models import (
    AlongPass,
    along_fit,
    best_rate,
    count_notes,
    diagnose,
    diagnostics,
    fit_counts,
    fit_mixed,
    fitted,
    heterogeneity,
    interaction,
    mixed,
    moderation,
    pass_checks,
    pool,
    pooling,
    rate_response,
    rates,
    records,
    shuffle,
    shuffle_test,
)


def bent(strips, at, t_ha):
    return strips.assign(
        yield_t_ha=strips["yield_t_ha"].where(strips["strip"] != at, strips["yield_t_ha"] + t_ha)
    )


@pytest.mark.parametrize("t_ha", [0.0, 1.5, -1.5])
def test_findings_on_strips(strips, said_whole, t_ha):
    data = bent(strips, "S3", t_ha)

    def told():
        fit = fit_mixed("yield_t_ha ~ treatment", data, ["block"])
        parts = (data, "treatment", "block", "strip")
        for against in ("untreated", None):
            for finding in diagnose(fit, *parts, against=against, unit="t/ha"):
                assert finding.name in ("odd strip", "leverage", "one strip decides",
                                        "gain by block")  # fmt: skip
                yield finding.sentence

    assert any("0," in sentence for sentence in said_whole(told, diagnostics))


@pytest.mark.parametrize(("range_m", "step_m"), [(1.0, 2.0), (40.0, 2.0), (900.0, 2.0)])
def test_findings_along_passes(said_whole, range_m, step_m):
    draw = np.random.default_rng(4)
    at = np.arange(0, 300, step_m)
    likeness = np.exp(-np.abs(at[:, None] - at) / range_m)
    root = np.linalg.cholesky(likeness + 1e-9 * np.eye(len(at)))
    log = pd.concat(
        pd.DataFrame({
            "strip": f"S{n}", "pass_id": n, "distance_m": at,
            "yield_t_ha": 3 + root @ draw.normal(0, 0.2, len(at)) + 0.9 * (at < 15),
        })
        for n in range(6)
    )  # fmt: skip
    told = said_whole(
        lambda: (
            finding.sentence
            for finding in pass_checks.pass_findings(
                log, "yield_t_ha", "strip", "pass_id", "distance_m", "t/ha"
            )
        ),
        pass_checks,
    )
    assert len(told) == 3


def test_notes_of_a_mixed_model(strips, said_whole):
    slope = np.tile([1.0, 2.0, 4.0], 4)
    data = strips.assign(slope=slope, twice=2 * slope)
    data.loc[0, "yield_t_ha"] = np.nan
    level = strips.assign(yield_t_ha=np.tile([1.0, 2.0, 2.0, 1.0], 3))

    def told():
        yield from fit_mixed("yield_t_ha ~ treatment + slope + twice", data, ["block"]).notes
        fit = fit_mixed("yield_t_ha ~ 1", level, ["block"])
        assert fit.at_boundary == ("block",)
        yield from fit.notes

    said = said_whole(told, records, mixed, fitted)
    assert "1 of 12 records left out" in said[0]
    assert len(said) >= 3


def test_notes_along_the_pass(said_whole):
    at = np.tile(5.0 * np.arange(12), 6)
    number = np.repeat(np.arange(6), 12)
    draw = np.random.default_rng(4)
    data = pd.DataFrame({
        "pass_id": number.astype(str), "distance_m": at,
        "treatment": np.where(number % 2, "x", "y"), "value": draw.normal(0, 1, 72),
    })  # fmt: skip
    trend = data.assign(
        value=0.1 * data["value"]
        + (number % 4 - 1.5) * 0.05 * (at - at.mean())
        + 100 * (number % 3)
    )

    def told():
        yield from fit_mixed("value ~ treatment", data, along=AlongPass()).notes
        with pytest.warns(ModelWarning) as warned:
            notes = fit_mixed("value ~ treatment", trend, along=AlongPass()).notes
        assert str(warned[0].message) in notes
        yield from notes

    said = said_whole(told, along_fit, fitted)
    assert any("no inner optimum" in note for note in said)


def test_notes_of_counts(said_whole):
    table = pd.DataFrame({
        "strip": list("abcdefgh"), "block": list("11223344"),
        "treatment": ["dressed", "untreated"] * 4, "count": [56, 41, 162, 48, 45, 4, 51, 140],
    })  # fmt: skip

    def told():
        for random in (["block"], ["block", "strip"], []):
            yield from fit_counts("count ~ treatment", table, random).notes
        yield from fit_counts("count ~ treatment", table, ["block"], df="normal").notes

    # The sentence on df='normal' holds 95% in words, which is the translator's to write.
    said = said_whole(told, count_notes)
    assert any("times as much as Poisson's" in note for note in said)


def test_a_randomisation_test_with_too_few_layouts(strips, said_whole):
    few = pd.concat([strips[:6], strips[6:7]])

    def told():
        test = shuffle_test(few, "yield_t_ha", "treatment", "block", against="untreated")
        assert test.exact
        yield from test.notes
        with pytest.raises(ModelError) as error:
            shuffle_test(few[6:], "yield_t_ha", "treatment", "block", against="untreated")
        yield str(error.value) if "holds" not in str(error.value) else ""

    said = said_whole(told, shuffle)
    assert "1 of 4 blocks hold only one of the two" in said[0]
    assert "95\N{NO-BREAK SPACE}%: no p falls below 0,25" in said[1]


@pytest.mark.parametrize("effects", [[0.2, 0.2], [0.1, 0.5, 0.9, 0.2], [0.2, 0.21, 0.19, 0.2]])
def test_seasons_taken_together(said_whole, effects):
    def told():
        found = pool(effects, [0.1] * len(effects))
        yield found.heterogeneity
        yield from found.notes[1:]

    said = said_whole(told, heterogeneity, pooling)
    degrees = "1 degree, " if len(effects) == 2 else "3 degrees, "
    assert f"on {degrees}" in said[0]


def test_interactions(said_whole):
    halves = pd.DataFrame({
        "block": list("111122223333"),
        "treatment": ["dressed", "dressed", "untreated", "untreated"] * 3,
        "zone": ["hollow", "slope"] * 6,
        "yield_t_ha": [2.9, 3.3, 2.5, 3.2, 2.4, 3.0, 2.1, 3.1, 2.8, 3.4, 2.3, 3.3],
    })  # fmt: skip

    def told():
        for own in (halves, halves.assign(yield_t_ha=[*halves["yield_t_ha"][:11], 2.2])):
            fit = fit_mixed("yield_t_ha ~ treatment * zone", own, ["block", "block:treatment"])
            yield interaction(fit, "treatment", "zone").sentence
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ModelWarning)
            alone = fit_mixed("yield_t_ha ~ treatment * zone", halves, ["block:treatment"])
            yield interaction(alone, "treatment", "zone").sentence

    said = said_whole(told, moderation)
    assert "p 0,0" in said[0]
    assert "do not show" in said[1]


@pytest.mark.parametrize("shape", ["linear", "quadratic", "plateau"])
@pytest.mark.parametrize("yields", [[2.0, 2.5, 3.1, 3.1], [2.0, 2.4, 2.8, 3.2], [3, 2.5, 2.4, 2.6],
                                    [3.0, 3.01, 2.99, 3.0]])  # fmt: skip
def test_rates_in_words(said_whole, shape, yields):
    draw = np.random.default_rng(2)
    strips = pd.DataFrame({
        "rate": [0, 40, 80, 120] * 3, "block": list("111122223333"),
        "yield_t_ha": np.tile(yields, 3) + draw.normal(0, 0.03, 12),
    })  # fmt: skip

    def told():
        for ratio in (0.0, 0.001):
            found = rate_response(strips, "yield_t_ha", "rate", "block", shape=shape,
                                  price_ratio=ratio)  # fmt: skip
            assert found.shape == shape
            yield found.sentence

    said_whole(told, rates, best_rate)
