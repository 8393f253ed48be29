"""Times as exports write them."""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.errors import LogError, LogWarning
from trialkit.harvest.readers import open_export
from trialkit.harvest.stamps import read_times

HALF_PAST_TEN = np.datetime64("2025-11-24T10:30:00", "ms")


def times(write, *cells: str) -> np.ndarray:
    (table,) = open_export(write("t;v\n" + "".join(f"{cell};1\n" for cell in cells)))
    return read_times(table, 0)


@pytest.mark.parametrize(
    ("first", "second", "gap_ms"),
    [
        ("2025-11-24T10:30:00", "2025-11-24T10:30:01", 1000),
        ("2025-11-24 10:30:00.0", "2025-11-24 10:30:00.2", 200),
        ("2025-11-24T10:30:00Z", "2025-11-24T10:30:02Z", 2000),
        ("2025-11-24T10:30:00+10:30", "2025-11-24T10:30:02+10:30", 2000),
        ("24/11/2025 10:30:00", "24/11/2025 10:30:05", 5000),
        ("24.11.2025 10:30", "24.11.2025 10:31", 60_000),
        ("11/24/2025 10:30:00 AM", "11/24/2025 10:30:01 AM", 1000),
        ("2025/11/24 10:30:00", "2025/11/24 10:30:01", 1000),
        ("1763980200", "1763980201", 1000),
        ("1763980200000", "1763980200200", 200),
    ],
)
def test_ways_of_writing(write, first, second, gap_ms):
    read = times(write, first, second)
    assert read.dtype == "datetime64[ms]"
    assert read[0] == HALF_PAST_TEN
    assert (read[1] - read[0]).astype(int) == gap_ms


def test_the_shorter_harvest_settles_day_and_month(write):
    # 1 to 3 February in a row, not the first of three months.
    read = times(write, "02/01/2025 10:00", "02/02/2025 10:00", "02/03/2025 10:00")
    assert read[0] == np.datetime64("2025-02-01T10:00")


def test_day_and_month_in_doubt_is_said(write):
    with pytest.warns(LogWarning, match=r"log\.csv, column 't'.*day first was taken"):
        read = times(write, "01/02/2025 10:00", "01/02/2025 11:00")
    assert read[0] == np.datetime64("2025-02-01T10:00")


def test_a_clock_alone_runs_over_midnight(write):
    read = times(write, "23:59:59", "00:00:01")
    assert (read[1] - read[0]).astype(int) == 2000


def test_seconds_since_the_start(write):
    assert np.diff(times(write, "0", "1.5", "3")).astype(int).tolist() == [1500, 1500]


def test_an_empty_cell_is_not_a_time(write):
    assert np.isnat(times(write, "2025-11-24T10:30:00", "")).tolist() == [False, True]


@pytest.mark.parametrize(
    ("cells", "message"),
    [
        (("2025-11-24T10:30:00", "noon"), r"log\.csv, row 3, column 't': 'noon' is not a time"),
        (("20251124", "20251124"), r"20251124 looks like a date run together"),
        (("9e13", "9e13"), r"9e\+13 is no time trialkit knows"),
    ],
)
def test_what_is_no_time_is_refused(write, cells, message):
    with pytest.raises(LogError, match=message):
        times(write, *cells)
