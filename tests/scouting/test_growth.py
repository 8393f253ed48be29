"""Growth stages between observations, and honest ends beyond them."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import ScoutingError
from trialkit.scouting import growth_stages, stage_name


def seen(*pairs):
    days, stages = zip(*pairs, strict=True)
    return pd.DataFrame({"date": pd.to_datetime(list(days)), "stage": stages})


# Zadoks, Chang and Konzak 1974: principal stages; BBCH cereals as listed in the handbook: 31 first
# node, 39 flag leaf unrolled, 41-49 boot, 55 half of the ear out, 61-69 flowering.
@pytest.mark.parametrize(
    ("code", "name"),
    [
        (0, "germination"),
        (10, "seedling"),
        (29, "tillering"),
        (31, "stem elongation"),
        (39, "stem elongation"),
        (41, "booting"),
        (55, "ear emergence"),
        (65, "flowering"),
        (77, "milk"),
        (87, "dough"),
        (99, "ripening"),
        (float("nan"), ""),
    ],
)
def test_names_of_stages(code, name):
    assert stage_name(code) == name


def test_a_straight_line_between_and_nothing_beyond():
    days = ["2024-08-31", "2024-09-01", "2024-09-06", "2024-09-11", "2024-09-21", "2024-09-22"]
    found = growth_stages(seen(("2024-09-01", 39), ("2024-09-21", 59)), days)
    assert found["stage"].tolist()[1:5] == [39, 44, 49, 59]
    assert np.isnan(found["stage"].iloc[[0, -1]]).all()
    assert found["low"].tolist() == [0, 39, 39, 44, 59, 59]
    assert found["high"].tolist() == [39, 39, 49, 54, 59, 99]


def test_several_looks_on_one_day_are_its_spread():
    stages = seen(("2024-09-01", 37), ("2024-09-01", 39), ("2024-09-01", 41), ("2024-09-11", 49))
    found = growth_stages(stages, ["2024-09-01", "2024-09-02"])
    assert found.iloc[0].tolist() == [39, 37, 41]
    assert found["low"].iloc[1] == 37
    assert found["high"].iloc[1] == 45


def test_one_look_only():
    found = growth_stages(seen(("2024-09-01", 65)), ["2024-08-01", "2024-09-01", "2024-10-01"])
    assert found["low"].tolist() == [0, 65, 65]
    assert found["high"].tolist() == [65, 65, 99]


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (seen(("2024-09-01", 100)), r"record 1 of the growth stages: a code outside 0 to 99"),
        (seen(("2024-09-01", -1)), "a code outside"),
        (
            seen(("2024-09-01", 51), ("2024-09-09", 45)),
            r"cannot run backward: stage 51 on 2024-09-01 and 45 on 2024-09-09",
        ),
        (seen(("2024-04-01", 10)), "before the crop was sown on 2024-05-10"),
        (seen((None, 10)), "record 1 of the growth stages: no date"),
        (seen(("2024-09-01", None)), "There is no growth stage"),
        (seen(("2024-09-01", "flag leaf")), "not a number"),
        (pd.DataFrame({"date": []}), "no column 'stage'"),
    ],
)
def test_what_cannot_be(table, message):
    with pytest.raises(ScoutingError, match=message):
        growth_stages(table, ["2024-09-05"], sown=dt.date(2024, 5, 10))
