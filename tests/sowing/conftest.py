"""An invented recipe, and the lot it is for."""

from __future__ import annotations

import pytest

from trialkit.sowing import Product, mix_plan


@pytest.fixture
def recipe():
    return [
        Product("humic liquid", "syrupy", 1.5, "l"),
        Product("root microbe", "watery", 2, "l"),
        Product("mineral powder", "powder", 500, "g"),
    ]


@pytest.fixture
def plan(recipe):
    """The plan of 16 t at 10 l/t, with changes."""

    def make(products=None, seed_t=16, **change):
        usual = {"rate_l_t": 10, "mixer_l": 20}
        return mix_plan(seed_t, products or recipe, **(usual | change))

    return make
