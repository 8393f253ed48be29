"""Draws that the design restricted: only the layouts it could have drawn count."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ModelError
from trialkit.models import shuffle_several, shuffle_test

COLUMNS = ("yield_t_ha", "treatment", "block")
PAIRS = 6


@pytest.fixture
def data():
    rng = np.random.default_rng(4)
    return pd.DataFrame(
        {
            "block": np.repeat(np.arange(PAIRS), 2),
            "treatment": ["d", "u", "u", "d", "d", "u", "u", "d", "u", "d", "d", "u"],
            "yield_t_ha": rng.normal(3, 0.3, 2 * PAIRS),
        }
    )


def layouts(balanced=False):
    """Every order of six pairs, or those with the dressed strip left in three of them."""
    return [
        [label for dressed_left in sides for label in ("du" if dressed_left else "ud")]
        for sides in product([True, False], repeat=PAIRS)
        if not balanced or sum(sides) == PAIRS // 2
    ]


def test_all_layouts_listed_are_the_free_draw(data):
    free = shuffle_test(data, *COLUMNS, against="u")
    listed = shuffle_test(data, *COLUMNS, against="u", allocations=layouts())
    assert listed.exact
    assert (listed.p, listed.draws, listed.smallest_p) == (free.p, free.draws, free.smallest_p)
    assert listed.difference == pytest.approx(free.difference)
    assert (listed.low, listed.high) == pytest.approx((free.low, free.high))


def test_a_restricted_draw_counts_only_its_layouts(data):
    allowed = layouts(balanced=True)
    values = data["yield_t_ha"].to_numpy()
    gaps = [
        abs(values[np.array(a) == "d"].sum() - values[np.array(a) == "u"].sum()) for a in allowed
    ]
    sown = data["treatment"].to_numpy()
    own = abs(values[sown == "d"].sum() - values[sown == "u"].sum())
    found = shuffle_test(data, *COLUMNS, against="u", allocations=np.array(allowed))
    assert (found.draws, found.exact) == (20, True)
    assert found.p == np.mean(np.array(gaps) >= own - 1e-12)
    assert found.smallest_p == 2 / 20
    assert found.p != shuffle_test(data, *COLUMNS, against="u").p


def test_forms_of_the_list(data):
    allowed = layouts(balanced=True)
    expected = shuffle_test(data, *COLUMNS, allocations=allowed)
    for form in (np.array(allowed), pd.DataFrame(allowed), iter(allowed), map(pd.Series, allowed)):
        assert shuffle_test(data, *COLUMNS, allocations=form) == expected


def test_numbers_as_labels(data):
    coded = data.assign(treatment=(data["treatment"] == "d").astype(int))
    allowed = (np.array(layouts(balanced=True)) == "d").astype(int)
    found = shuffle_test(coded, *COLUMNS, against=0, allocations=allowed)
    assert (
        found.p == shuffle_test(data, *COLUMNS, against="u", allocations=layouts(balanced=True)).p
    )


def test_a_list_without_the_layout_sown_is_a_sample(data):
    rng = np.random.default_rng(1)
    sown = data["treatment"].tolist()
    others = [a for a in layouts() if a != sown]
    drawn = [others[place] for place in rng.integers(0, len(others), 5000)]
    found = shuffle_test(data, *COLUMNS, against="u", allocations=drawn)
    assert (found.exact, found.draws) == (False, 5000)
    assert found.notes == (
        "The layout sown is not among the 5000 allocations given: they are taken as a sample of "
        "what the design could draw. If they should be all of them, check the order of rows.",
    )
    free = shuffle_test(data, *COLUMNS, against="u")
    # One layout of 64 is never drawn: 1/64 of difference beside sampling.
    assert abs(found.p - free.p) < 4 * found.monte_carlo_error + 1 / 64


def test_lost_strips_leave_the_listed_layouts_too(data):
    lost = data.copy()
    lost.loc[3, "yield_t_ha"] = np.nan
    found = shuffle_test(lost, *COLUMNS, against="u", allocations=layouts(balanced=True))
    assert found.draws == 20
    assert found.notes[0] == "1 of 12 records left out for empty cells: 'yield_t_ha' in 1."
    kept = lost.dropna()
    values = kept["yield_t_ha"] - kept.groupby("block")["yield_t_ha"].transform("mean")
    gaps = []
    for layout in layouts(balanced=True):
        dressed = (np.array(layout) == "d")[kept.index]
        # Five whole pairs; the strip without a partner tells nothing.
        gaps.append(abs(values[dressed].sum()) / 2.5)
    own = abs(found.difference)
    assert found.p == np.mean(np.array(gaps) >= own - 1e-12)


def test_a_systematic_layout_has_no_p(data):
    with pytest.raises(ModelError, match=r"only one allocation: the layout is systematic. No p"):
        shuffle_test(data, *COLUMNS, allocations=[data["treatment"]])
    with pytest.raises(ModelError, match=r"say that it was not randomised"):
        shuffle_several(data, *COLUMNS, allocations=[data["treatment"], data["treatment"]])


def test_a_fake_treatment_under_a_restricted_draw_is_found_as_often_as_it_should():
    rng = np.random.default_rng(6)
    allowed = layouts(balanced=True)
    hits = 0
    for _ in range(400):
        frame = pd.DataFrame(
            {
                "block": np.repeat(np.arange(PAIRS), 2),
                "treatment": allowed[rng.integers(len(allowed))],
                "yield_t_ha": rng.normal(0, 1, 2 * PAIRS),
            }
        )
        hits += shuffle_test(frame, *COLUMNS, allocations=allowed).p <= 0.1
    # p is 0.1 in 2 of 20 layouts, whatever the yields; four standard errors.
    assert abs(hits / 400 - 0.1) < 4 * np.sqrt(0.1 * 0.9 / 400)


def refused(message, data, allocations):
    with pytest.raises(ModelError, match=message):
        shuffle_test(data, *COLUMNS, allocations=allocations)


def test_bad_lists(data):
    sown = data["treatment"].tolist()
    refused(r"The list of allocations is empty", data, [])
    refused(r"Allocation 2 has 3 labels, but the data have 12 rows", data, [sown, ["d", "u", "d"]])
    refused(r"hold 'x', which column 'treatment' does not. It has", data, [sown, ["x"] * 12])
    together = ["d", "d", "u", "u", "d", "d", "u", "u", "d", "d", "u", "u"]
    refused(r"Allocation 2 puts both treatments together in no block", data, [sown, together])
