"""Days in English as they always were, in other languages as Unicode's CLDR has them."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from trialkit.days import day_and_month, plain_day, short_day, whole_date
from trialkit.language import speaking

DAY = date(2024, 10, 5)


def test_english_days():
    assert day_and_month(DAY) == "05 October"
    assert plain_day(DAY) == "5 October"
    assert whole_date(DAY) == "05 October 2024"
    assert short_day(pd.Timestamp(DAY)) == "05 Oct"


# CLDR, Gregorian calendar, date formats MMMMd, yMMMMd and MMMd: a day is written with a point in
# German, "Oktober" is "Okt." in short.
@pytest.mark.parametrize(
    ("write", "german_day"),
    [
        (day_and_month, "5. Oktober"),
        (plain_day, "5. Oktober"),
        (whole_date, "5. Oktober 2024"),
        (short_day, "5. Okt."),
    ],
)
def test_german_days(german, write, german_day):
    with speaking(german()):
        assert write(DAY) == german_day
        assert write(pd.Timestamp(DAY)) == german_day
