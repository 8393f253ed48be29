"""Planning pictures: what they draw, and the words in their place."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit import simulate
from trialkit.design import Wishes, plan_trial, rehearse, replicates_table
from trialkit.errors import DesignError
from trialkit.report.planning_pictures import (
    comparison_picture,
    rehearsal_picture,
    replicates_picture,
)
from trialkit.simulate import Site, field_boundary, lay_strips


@pytest.fixture(scope="module")
def rehearsals():
    layout = lay_strips(["a", "b"], 6, seed=1, site=Site())
    boundary = field_boundary(layout)
    yields = simulate.past_yield(boundary, seed=1, heading_deg=23)
    names = ["untreated", "dressed"]
    plans = {
        draw: plan_trial(boundary, names, 4, Wishes(12, 9), seed=1, draw=draw)
        for draw in ("random", "turn about")
    }
    return {
        name: rehearse(plan, yields, draws=200, strip_sd_t_ha=0.1) for name, plan in plans.items()
    }


def test_replicates_by_price():
    table = replicates_table(
        [200, 250, 300], [3, 5], cost_per_ha=15, mean_t_ha=3, expected_t_ha=0.3
    )
    picture = replicates_picture(table, "AUD")
    least = table[(table["price_per_t"] == 300) & (table["cv_pct"] == 3)]["replicates"].item()
    assert "by 3%: " in picture.alt
    assert f"{least} at 300 AUD/t" in picture.alt
    assert picture.plot.data["replicates"].max() <= 40
    assert picture.drawn("svg") == picture.drawn("svg")


def test_replicates_nobody_could_sow():
    table = replicates_table([100], [3], cost_per_ha=30, mean_t_ha=3, expected_t_ha=0.3)
    assert table["replicates"].isna().all()
    with pytest.raises(DesignError, match="no number of pairs would do"):
        replicates_picture(table, "AUD")


def test_chance_of_seeing_a_gain(rehearsals):
    picture = rehearsal_picture(rehearsals, 0.05)
    assert set(picture.plot.data["layout"]) == {"random"}
    lines = picture.plot.data
    assert lines["seen"].is_monotonic_increasing
    at = lines["gain"].sub(rehearsals["random"].detectable_t_ha).abs().idxmin()
    assert lines["seen"][at] == pytest.approx(0.8, abs=0.03)
    assert f"{rehearsals['random'].detectable_t_ha:.2f} t/ha in four draws of five" in picture.alt
    assert len(picture.drawn("png")) > 5000


def test_only_layouts_that_are_not_drawn(rehearsals):
    with pytest.raises(DesignError, match="None of the layouts is drawn at random"):
        rehearsal_picture({"turn about": rehearsals["turn about"]})


def test_layouts_beside_each_other():
    table = pd.DataFrame(
        {"layout": ["four", "six", "turn about"], "detectable_t_ha": [0.2, 0.3, np.nan]}
    )
    picture = comparison_picture(table, 0.1)
    assert "four: 0.20; six: 0.30." in picture.alt
    assert "pays from 0.10" in picture.alt
    assert "1 layout is not drawn at random" in picture.caption
    assert len(picture.drawn("png")) > 5000
    with pytest.raises(DesignError, match="None of the layouts is drawn at random"):
        comparison_picture(table[2:])
