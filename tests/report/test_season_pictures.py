"""The picture of seasons: what it shows, what it cuts off, and the words in its place."""

from __future__ import annotations

import pandas as pd
import pytest

from trialkit.models import pool
from trialkit.report.season_pictures import gain_forest, net_forest


def table_of(gains, errors):
    gains, errors = pd.Series(gains), pd.Series(errors)
    return pd.DataFrame(
        {
            "label": [f"{2019 + n} Home" for n in range(len(gains))],
            "gain_t_ha": gains,
            "low_t_ha": gains - 2 * errors,
            "high_t_ha": gains + 2 * errors,
            "weight_pct": pool(gains, errors).table["weight_pct"].to_numpy(),
            "net_per_ha": 300 * gains - 15,
            "net_low": 300 * (gains - 2 * errors) - 15,
            "net_high": 300 * (gains + 2 * errors) - 15,
        }
    )


def test_two_seasons_reach_beyond_the_picture():
    table = table_of([0.23, 0.03], [0.07, 0.05])
    picture = gain_forest(table, pool([0.23, 0.03], [0.07, 0.05]), break_even_t_ha=0.05,
                          control="untreated")  # fmt: skip
    rows = picture.plot.data
    assert rows["label"].tolist() == ["2019 Home", "2020 Home", "All seasons", "One more season"]
    assert (rows["beyond"] == "›").tolist() == [False, False, True, True]
    assert "An arrow goes on beyond the picture." in picture.caption
    assert "2019 Home: 0.23 (0.09 to 0.37)" in picture.alt
    assert "Gain over untreated, t/ha" in picture.alt
    assert picture.drawn("svg") == picture.drawn("svg")


def test_many_seasons_fit_a_page_and_hide_nothing():
    gains = [0.1 + 0.01 * (n % 7) for n in range(40)]
    table = table_of(gains, [0.05] * 40)
    picture = net_forest(table, pool(table["net_per_ha"], [15.0] * 40), currency="AUD")
    assert picture.height_in < 10
    assert "arrow" not in picture.caption
    assert picture.plot.data["weight"].max() == 100
    assert len(picture.drawn("png")) > 10_000


@pytest.mark.parametrize("error", [1e-9, 5.0])
def test_any_error_can_be_drawn(error):
    gains = [0.1, 0.1 + error, 0.1 - error]
    table = table_of(gains, [error] * 3)
    picture = gain_forest(table, pool(gains, [error] * 3), break_even_t_ha=0.1, control="bare")
    assert len(picture.drawn("png")) > 5_000
