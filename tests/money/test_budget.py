"""The partial budget by hand, and what it refuses."""

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import MoneyError
from trialkit.money import budget_sensitivity, partial_budget


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


def test_the_residual_chooses_what_the_rate_allows():
    # By hand: none to powder returns 150%, powder to both 25%. Residuals at 100%: 750, 760,
    # (737.5), 745; at 20%: 750, 776, (757.5), 777; at 200%: 750, 740, ...
    chosen = {
        rate: partial_budget(table(), acceptable_return_pct=rate).query("chosen")["treatment"]
        for rate in (0, 20, 30, 100, 200)
    }
    assert {rate: names.item() for rate, names in chosen.items()} == {
        0: "both", 20: "both", 30: "powder", 100: "powder", 200: "none",
    }  # fmt: skip
    residual = partial_budget(table(), acceptable_return_pct=100)["residual"]
    assert residual.tolist() == pytest.approx([750, 760, 737.5, 745])


def test_a_step_that_returns_too_little_is_passed_over():
    # By hand: none to a 40%, a to b 200%, so none to b (12 + 60) / (30 + 30) = 120%: b is right at
    # 100% although the first step does not return it.
    given = pd.DataFrame(
        {
            "treatment": ["none", "a", "b"],
            "yield_t_ha": [3.0, 3.0 + 42 / 250, 3.0 + 132 / 250],
            "price_per_t": 250.0,
            "costs_per_ha": [0.0, 30.0, 60.0],
        }
    )
    budget = partial_budget(given, acceptable_return_pct=100)
    np.testing.assert_allclose(budget["marginal_return_pct"], [np.nan, 40, 200])
    assert budget.loc[budget["chosen"], "treatment"].item() == "b"


def test_of_two_with_the_same_residual_the_cheaper_is_chosen():
    # none to powder returns 150%: at 150% their residuals are the same.
    given = table().head(2)
    budget = partial_budget(given, acceptable_return_pct=150)
    assert budget["residual"][0] == budget["residual"][1]
    assert budget.loc[budget["chosen"], "treatment"].item() == "none"


def test_yields_taken_down():
    # By hand at 10%: 2.7 and 2.88 t/ha; gross 675 and 720; net 675 and 700.
    budget = partial_budget(table().head(2), yield_down_pct=10)
    assert budget["net"].tolist() == pytest.approx([675, 700])
    assert budget["yield_t_ha"].tolist() == [3.0, 3.2]


def test_sensitivity_by_hand():
    # Powder: 0.2 t/ha for 20. Residual at 100%: 250 x 0.2 x (1 + p) - 40 x (1 + c): 10 as things
    # are, 0 at p = -20%, where the control is chosen.
    table_of = budget_sensitivity(
        table().head(2), price_change_pct=(-20, 0, 20), cost_change_pct=(0, 50)
    )
    assert table_of["chosen"].tolist() == ["none", "none", "powder", "none", "powder", "none"]
    assert table_of["over_next"].tolist() == pytest.approx([0, 20, 10, 10, 20, 0], abs=1e-9)
    alone = budget_sensitivity(table().head(1), price_change_pct=(0,), cost_change_pct=(0,))
    assert alone["chosen"].tolist() == ["none"]
    assert alone["over_next"].isna().all()


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"yield_down_pct": -5}, "adjustment of yields is -5 %"),
        ({"yield_down_pct": 100}, "leave nothing"),
        ({"acceptable_return_pct": -1}, "acceptable return is -1 %"),
        ({"acceptable_return_pct": np.nan}, "acceptable return is nan"),
    ],
)
def test_wishes_that_make_no_sense(wishes, message):
    with pytest.raises(MoneyError, match=message):
        partial_budget(table(), **wishes)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"price_change_pct": (-100,)}, "change of the price is -100 %. Give a number above -100"),
        ({"cost_change_pct": (-101,)}, "change of the costs is -101 %. Give -100 or more"),
    ],
)
def test_changes_that_leave_nothing(changes, message):
    with pytest.raises(MoneyError, match=message):
        budget_sensitivity(table(), **changes)


def test_costs_that_differ_by_rounding_are_equal():
    by_the_tonne = 0.1 + 0.2  # not quite 0.3
    given = table(yield_t_ha=[3.0, 3.2, 3.3, 3.1], costs_per_ha=[0.0, 0.3, by_the_tonne, 0.3])
    budget = partial_budget(given)
    assert budget["dominated"].tolist() == [False, True, False, True]
    assert budget["marginal_return_pct"][2] == pytest.approx(100 * (75 - 0.3) / 0.3)
