"""A small trial and its harvest, made once."""

import pytest

from trialkit import simulate


@pytest.fixture(scope="session")
def layout():
    return simulate.lay_strips(["untreated", "a", "b"], 4, seed=1, length_m=200)


@pytest.fixture(scope="session")
def season(layout):
    return simulate.harvest_trial(
        layout,
        effects={"a": simulate.Effect(0.3), "b": simulate.Effect(-0.1)},
        seed=2,
        mishaps=simulate.Mishaps(),
        boundary=simulate.field_boundary(layout),
    )
