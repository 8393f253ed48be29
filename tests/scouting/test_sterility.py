"""Sterile florets to an upper bound of the loss; heads are no replicates."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.errors import ScoutingError
from trialkit.scouting import compare_scores, sterility_by_strip, sterility_loss_pct


@given(st.integers(1, 1000), st.floats(0, 1), st.floats(0, 60))
def test_the_loss_is_the_share_beyond_the_usual(florets, share, usual):
    sterile = share * florets
    loss = sterility_loss_pct(sterile, florets, sterile_without_frost_pct=usual)
    assert 0 <= loss <= 100
    assert loss <= 100 * sterile / florets + 1e-9
    left = (1 - sterile / florets) / (1 - usual / 100)
    assert loss == pytest.approx(max(0.0, 100 * (1 - left)), abs=1e-7)


def heads_of(layout, sterile):
    rows = layout.loc[layout.index.repeat(10), ["strip", "treatment"]]
    draw = np.random.default_rng(2)
    florets = draw.integers(25, 35, len(rows))
    share = rows["treatment"].map(sterile).to_numpy()
    return pd.DataFrame(
        {"strip": rows["strip"], "sterile": draw.binomial(florets, share), "florets": florets}
    )


def test_by_strip(layout):
    heads = heads_of(layout, {"dressed": 0.2, "untreated": 0.4})
    heads.iloc[3, 1:] = np.nan
    found = sterility_by_strip(heads, layout, sterile_without_frost_pct=5).set_index("strip")
    assert found.loc["S1", "heads"] == 9
    assert (found["loss_pct"] < found["sterile_pct"]).all()
    own = heads[heads["strip"] == "S2"]
    assert found.loc["S2", "sterile_pct"] == pytest.approx(
        100 * own["sterile"].sum() / own["florets"].sum()
    )
    # Binomial heads: the standard error of 10 heads of 30 florets at 0.4 is about 2.8 points.
    assert found.loc[found["treatment"] == "untreated", "std_error_pct"].mean() == pytest.approx(
        2.8, abs=0.8
    )


def test_ready_to_be_compared_by_strip(layout):
    found = sterility_by_strip(heads_of(layout, {"dressed": 0.2, "untreated": 0.4}), layout)
    scores = found.assign(
        score="sterile_pct", date=pd.Timestamp("2024-10-20"), kind="percent",
        value=found["sterile_pct"],
    )  # fmt: skip
    row = compare_scores(scores, "sterile_pct", against="untreated").rows.iloc[0]
    assert row["low"] < -20 < row["high"]
    assert row["strips"] == 12


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: sterility_loss_pct(31, 30), "sterile ones are part of them"),
        (lambda: sterility_loss_pct(-1, 30), "sterile=-1"),
        (lambda: sterility_loss_pct(0, 0), "florets=0 must be above zero"),
        (
            lambda: sterility_loss_pct(1, 2, sterile_without_frost_pct=100),
            "sterile_without_frost_pct=100 is no percentage",
        ),
    ],
)
def test_numbers_that_cannot_be(call, message):
    with pytest.raises(ScoutingError, match=message):
        call()


@pytest.mark.parametrize(
    ("heads", "message"),
    [
        ({"sterile": 31, "florets": 30}, r"record 1 of the heads \(strip S1\): sterile florets"),
        ({"sterile": 0, "florets": 0}, "a head without florets"),
        ({"sterile": None, "florets": 30}, "only one of sterile and florets"),
        ({"sterile": None, "florets": None}, "No head was looked at"),
    ],
)
def test_heads_that_cannot_be(layout, heads, message):
    with pytest.raises(ScoutingError, match=message):
        sterility_by_strip(pd.DataFrame({"strip": ["S1"]} | {k: [v] for k, v in heads.items()}),
                           layout)  # fmt: skip
