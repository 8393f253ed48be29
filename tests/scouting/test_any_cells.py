"""Whatever the cells hold: a sound table, or one clear refusal."""

from __future__ import annotations

import datetime as dt
import warnings

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from trialkit.errors import TrialkitError, TrialkitWarning
from trialkit.scouting import (
    compare_counts,
    compare_scores,
    count_spread,
    growth_stages,
    odd_counts,
    plant_table,
    score_table,
    sterility_by_strip,
    strip_scores,
    summarise_counts,
)

LAYOUT = pd.DataFrame(
    {
        "strip": [1, 2, 3, 4],
        "block": ["B1", "B1", "B2", "B2"],
        "treatment": ["dressed", "untreated"] * 2,
    }
)
STRIPS = st.sampled_from([1, 2, 3, 4, "1", " 2", "S1", None, 1.0])
NUMBERS = st.one_of(
    st.integers(0, 60),
    st.sampled_from([None, "", "12", "1,5", -1, 0.5, np.nan, np.inf, pd.NA, "x", 1e300, True]),
)
DATES = st.sampled_from(
    ["2024-08-03", "2024-09-01", dt.date(2024, 8, 3), None, "soon", "0001-01-01", 20240803]
)


def records(sound, odd):
    """Records of mostly sound cells, so that the work goes on often enough."""
    plain = st.lists(st.fixed_dictionaries(sound), min_size=1, max_size=8)
    edits = st.lists(
        st.tuples(st.integers(0, 7), st.sampled_from(sorted(odd)).flatmap(
            lambda name: st.tuples(st.just(name), odd[name]))), max_size=2,
    )  # fmt: skip
    return st.tuples(plain, edits).map(edited)


def edited(drawn):
    plain, edits = drawn
    table = pd.DataFrame(plain, dtype=object)
    for place, (name, cell) in edits:
        if name not in table:
            table[name] = None
        table.iloc[place % len(table), table.columns.get_loc(name)] = cell
    return table


def quietly(call):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TrialkitWarning)
        try:
            return call()
        except TrialkitError:
            return None


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    records(
        {"strip": st.sampled_from([1, 2, 3, 4]), "count": st.integers(0, 60)},
        {"count": NUMBERS, "strip": STRIPS, "area_m2": NUMBERS, "date": DATES},
    ),
    st.booleans(),
)
def test_counts(counts, ground):
    if ground:
        counts = counts.assign(area_m2=0.25)
    table = quietly(lambda: plant_table(counts, LAYOUT, sown=dt.date(2024, 5, 1)))
    if table is None:
        return
    assert len(table) == len(counts)
    assert table["treatment"].isin(["dressed", "untreated"]).all()
    assert table["count"].dropna().ge(0).all()
    assert table["area_m2"].gt(0).all()
    known = table["count"].notna()
    assert np.allclose(table["plants_m2"] * table["area_m2"], table["count"], equal_nan=True)
    assert summarise_counts(table)["places"].sum() == known.sum()
    assert not odd_counts(table)[~known.to_numpy()].any()
    quietly(lambda: count_spread(table))
    found = quietly(lambda: compare_counts(table, against="untreated"))
    if found is not None:
        assert (found.means["low"] <= found.means["high"]).all()


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    records(
        {
            "strip": st.sampled_from([1, 2, 3, 4]),
            "date": st.just("2024-08-03"),
            "score": st.sampled_from(["vigour", "mildew_pct"]),
            "value": st.integers(0, 60),
        },
        {"value": NUMBERS, "strip": STRIPS, "date": DATES},
    )
)
def test_scores(scores):
    table = quietly(lambda: score_table(scores, LAYOUT))
    if table is None or table["value"].isna().all():
        return
    assert strip_scores(table)["places"].sum() == table["value"].notna().sum()
    for score in ("vigour", "mildew_pct"):
        found = quietly(lambda name=score: compare_scores(table, name, against="untreated"))
        if found is not None:
            rows = found.rows
            assert rows["p"].dropna().between(0, 1).all()
            assert (rows["higher"] + rows["lower"] + rows["equal"] == rows["blocks"]).all()
            assert len(found.sentences) == len(rows)


@given(
    records(
        {"strip": st.just(1), "sterile": st.integers(0, 9), "florets": st.integers(9, 30)},
        {"strip": STRIPS, "sterile": NUMBERS, "florets": NUMBERS},
    )
)
def test_heads(heads):
    found = quietly(lambda: sterility_by_strip(heads, LAYOUT))
    if found is not None:
        assert found["sterile_pct"].between(0, 100).all()


@given(
    records(
        {"date": st.just("2024-08-03"), "stage": st.integers(0, 99)},
        {"date": DATES, "stage": NUMBERS},
    )
)
def test_stages(seen):
    days = ["2024-07-01", "2024-08-03", "2024-08-20", "2024-10-01"]
    found = quietly(lambda: growth_stages(seen, days))
    if found is not None:
        known = found.dropna().reset_index(drop=True)
        assert (found["low"] <= found["high"]).all()
        assert (known["low"] <= known["stage"]).all()
        assert (known["stage"] <= known["high"]).all()
