"""The partial budget by hand, and what it refuses."""

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import MoneyError
from trialkit.money import partial_budget


def table(**columns):
    given = {
        "treatment": ["none", "powder", "liquid", "both"],
        "yield_t_ha": [3.00, 3.20, 3.15, 3.30],
        "price_per_t": [250.0] * 4,
        "costs_per_ha": [0.0, 20.0, 25.0, 40.0],
    }
    return pd.DataFrame({**given, **columns})


def test_worked_by_hand():
    # By hand: gross 750, 800, 787.5, 825; net 750, 780, 762.5, 785. `liquid` costs more than
    # `powder` and nets less. None to powder: 30 for 20, 150%; powder to both: 5 for 20, 25%.
    budget = partial_budget(table())
    assert budget["gross"].tolist() == pytest.approx([750, 800, 787.5, 825])
    assert budget["net"].tolist() == pytest.approx([750, 780, 762.5, 785])
    assert budget["dominated"].tolist() == [False, False, True, False]
    np.testing.assert_allclose(budget["marginal_return_pct"], [np.nan, 150, np.nan, 25])


def test_rows_keep_their_order_and_the_input_is_untouched():
    given = table().iloc[[3, 1, 0, 2]]
    before = given.copy()
    budget = partial_budget(given)
    pd.testing.assert_frame_equal(given, before)
    assert budget.index.tolist() == [3, 1, 0, 2]
    np.testing.assert_allclose(budget["marginal_return_pct"], [25, 150, np.nan, np.nan])


def test_of_two_equals_the_first_stays():
    same = table(yield_t_ha=[3.0, 3.2, 3.2, 3.2], costs_per_ha=[0.0, 20.0, 20.0, 20.0])
    assert partial_budget(same)["dominated"].tolist() == [False, False, True, True]


def test_same_cost_and_lower_net_is_dominated_whatever_the_order():
    given = table(yield_t_ha=[3.0, 3.1, 3.2, 3.0], costs_per_ha=[0.0, 20.0, 20.0, 20.0])
    assert partial_budget(given)["dominated"].tolist() == [False, True, False, True]


def test_dearer_for_the_same_net_is_dominated():
    given = table(yield_t_ha=[3.0, 3.08, 3.08, 3.16], costs_per_ha=[0.0, 20.0, 20.0, 40.0])
    assert partial_budget(given)["dominated"].tolist() == [False, True, True, True]


def test_a_treatment_alone():
    budget = partial_budget(table().head(1))
    assert budget["dominated"].tolist() == [False]
    assert budget["marginal_return_pct"].isna().all()


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (table().drop(columns="costs_per_ha"), "lacks the column costs_per_ha"),
        (table().head(0), "has no treatments"),
        (table(treatment=["none", "a", "a", "b"]), "'a' stands twice"),
        (table(price_per_t=[250, 250, 0, 250]), "price_per_t of 'liquid' is '0'"),
        (table(yield_t_ha=[3, np.nan, 3, 3]), "yield_t_ha of 'powder' is 'nan'"),
        (table(costs_per_ha=[0, 1, 2, -3]), "costs_per_ha of 'both' is '-3'.*zero or more"),
        (table(costs_per_ha=[0, 1, 2, "?"]), "costs_per_ha of 'both' is '[?]'"),
        (table(costs_per_ha=[0, 1, 2, np.inf]), "costs_per_ha of 'both' is 'inf'"),
    ],
)
def test_nonsense_is_refused(given, message):
    with pytest.raises(MoneyError, match=message):
        partial_budget(given)
