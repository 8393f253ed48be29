"""Binary time logs, on bytes put together by hand from the layout of ISO 11783-10.

Little-endian and packed: ms since midnight (4 bytes), days since 1980-01-01 (2), the position's
fields, the number of channels that follow (1), and for each its number (1) and value (4).
"""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.harvest.readers.time_log import TimeLogHeader, decode

PLAIN = TimeLogHeader(("north", "east", "status"), 4)


def record(ms=1000, day=14_455, north=55.4, east=13.5, *pairs, status=1):
    """One record with latitude, longitude and status."""
    place = struct.pack("<iiB", round(north * 1e7), round(east * 1e7), status)
    values = b"".join(struct.pack("<Bi", channel, value) for channel, value in pairs)
    return struct.pack("<IH", ms, day) + place + bytes([len(pairs)]) + values


def run(count, start=0, **where):
    """Records a second apart, each with channel 0 counting up."""
    return b"".join(
        record(1000 * (start + n), 14_455, 55.4, 13.5, (0, start + n), **where)
        for n in range(count)
    )


def test_a_record_of_a_real_combine():
    # The first record of a real combine's log, as an independent decoder read it: time
    # 2019-07-30T10:42:14.944, 55.4177569 N, 13.4737938 E, 83.140 m, channels 1 and 2.
    raw = bytes.fromhex("20ff4b02 7738 21140821 12f00708 c4440100 01 02 01409c0000 02a6070000")
    log = decode(raw, TimeLogHeader(("north", "east", "up", "status"), 15))
    assert log.time.astype(str).tolist() == ["2019-07-30T10:42:14.944"]
    assert log.latitude.tolist() == pytest.approx([55.4177569], abs=1e-9)
    assert log.longitude.tolist() == pytest.approx([13.4737938], abs=1e-9)
    assert log.elevation_m.tolist() == [83.14]
    assert log.channels.tolist() == [1, 2]
    assert log.values.tolist() == [40_000, 1958]
    assert (log.skipped_bytes, log.cut_bytes) == (0, 0)


def test_every_field_of_a_position():
    whole = ("north", "east", "up", "status", "pdop", "hdop", "satellites", "gps_ms", "gps_day")
    fields = struct.pack("<iiiBHHBIH", 554_000_000, -135_000_000, -2500, 4, 12, 9, 17, 5, 6)
    raw = struct.pack("<IH", 0, 1) + fields + b"\x00"
    log = decode(raw, TimeLogHeader(whole, 0))
    assert log.time.astype(str).tolist() == ["1980-01-02T00:00:00.000"]
    assert log.latitude.tolist() == pytest.approx([55.4])
    assert log.longitude.tolist() == pytest.approx([-13.5])
    assert log.elevation_m.tolist() == [-2.5]


def test_values_are_carried_forward_and_unknown_before_the_first():
    raw = record(0) + record(1000, 14_455, 55.4, 13.5, (2, -7)) + record(2000)
    raw += record(3000, 14_455, 55.4, 13.5, (2, 9), (0, 1))
    log = decode(raw, PLAIN)
    np.testing.assert_array_equal(log.carried(2), [np.nan, -7, -7, 9])
    np.testing.assert_array_equal(log.carried(0), [np.nan, np.nan, np.nan, 1])
    np.testing.assert_array_equal(log.carried(3), [np.nan] * 4)
    assert log.written(2).tolist() == [False, True, False, True]


def test_a_constant_position_takes_no_bytes():
    header = TimeLogHeader((), 1, place=(54.5, 10.2))
    raw = struct.pack("<IHB", 5000, 14_000, 0) + struct.pack("<IHBBi", 6000, 14_000, 1, 0, 8)
    log = decode(raw, header)
    assert log.latitude.tolist() == [54.5, 54.5]
    assert log.carried(0)[1] == 8


def test_constant_channels_are_counted_and_not_in_the_binary():
    # Channel 0 is constant, so that the binary holds channels 1 and 2 only.
    header = TimeLogHeader(("north", "east", "status"), 3, constants={0: 8000})
    raw = record(0, 14_455, 55.4, 13.5, (1, 5), (2, 6)) + record(1000, 14_455, 55.4, 13.5, (2, 7))
    log = decode(raw, header)
    assert log.values.tolist() == [5, 6, 7]
    wrong = decode(record(0, 14_455, 55.4, 13.5, (0, 5)) + run(0), header)
    assert len(wrong) == 0


@pytest.mark.parametrize("status", [0, 15])
def test_no_position_where_both_are_zero(status):
    raw = record(0, 14_455, 0.0, 0.0, status=status) + record(1000, status=status)
    log = decode(raw, PLAIN)
    assert np.isnan(log.latitude).tolist() == [True, False]
    assert np.isnan(log.longitude).tolist() == [True, False]


def test_status_not_available_is_no_fault():
    assert len(decode(run(50, status=15), PLAIN)) == 50


def test_surplus_bytes_are_skipped_and_counted():
    # A count byte of 0 with one channel after it all the same, seen in a real log.
    raw = record(0) + struct.pack("<Bi", 1, 77) + run(20, 1)
    log = decode(raw, PLAIN)
    assert len(log) == 21
    assert (log.skipped_bytes, log.cut_bytes) == (5, 0)
    np.testing.assert_array_equal(log.carried(0)[1:], np.arange(1, 21))


@pytest.mark.parametrize("junk", [b"\xff" * 3, b"\x00" * 40, bytes(range(256)) * 3])
def test_damage_in_the_middle_costs_no_more_than_its_neighbours(junk):
    log = decode(run(40) + junk + run(40, 40), PLAIN)
    assert 78 <= len(log) <= 82
    values = log.carried(0)
    assert set(np.arange(80)) - set(values) <= {39, 40}
    assert (np.diff(log.time) >= np.timedelta64(0)).all()


def test_a_cut_file_keeps_the_whole_records():
    raw = run(10)
    size = len(raw) // 10
    for lost in range(1, size):
        log = decode(raw[:-lost], PLAIN)
        assert len(log) == 9
        assert log.cut_bytes == size - lost


def test_an_empty_file():
    log = decode(b"", PLAIN)
    assert len(log) == 0
    assert log.carried(0).size == 0


def test_jumps_of_the_date_are_damage_and_midnight_is_not():
    night = record(86_399_000, 14_455) + record(0, 14_456) + record(1000, 14_456)
    assert len(decode(night, PLAIN)) == 3
    odd = run(5) + record(5000, 20_000) + run(5, 6)
    log = decode(odd, PLAIN)
    assert len(log) == 10
    assert log.skipped_bytes == len(record())


def test_all_position_bytes_whatever_the_header_says():
    # Early sets write all nine fields of the position though the header names three.
    fields = struct.pack("<iiiBHHBIH", 554_000_000, 135_000_000, 9000, 4, 12, 9, 17, 5, 6)
    raw = b"".join(
        struct.pack("<IH", 1000 * n, 14_455) + fields + struct.pack("<BBi", 1, 3, n)
        for n in range(30)
    )
    log = decode(raw, PLAIN)
    assert len(log) == 30
    assert log.carried(3).tolist() == list(range(30))


def test_records_of_one_time_stamp_keep_their_order():
    raw = b"".join(record(1000, 14_455, 55.4, 13.5, (0, n)) for n in range(9))
    assert decode(raw, PLAIN).carried(0).tolist() == list(range(9))


def test_a_channel_given_twice_is_damage():
    raw = run(3) + record(3000, 14_455, 55.4, 13.5, (1, 1), (1, 2)) + run(3, 4)
    log = decode(raw, PLAIN)
    assert len(log) == 6
    assert log.skipped_bytes == len(record(0, 0, 0, 0, (1, 1), (1, 2)))
    backwards = run(3) + record(3000, 14_455, 55.4, 13.5, (2, 1), (1, 2)) + run(3, 4)
    assert len(decode(backwards, PLAIN)) == 7


def test_only_the_channels_wanted():
    raw = record(0, 14_455, 55.4, 13.5, (0, 1), (1, 2), (3, 4)) * 3
    log = decode(raw, PLAIN, {1})
    assert log.channels.tolist() == [1, 1, 1]
    assert log.values.tolist() == [2, 2, 2]


@settings(deadline=None, max_examples=60)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 86_399_999),
            st.floats(-90, 90),
            st.floats(-180, 180),
            st.dictionaries(st.integers(0, 3), st.integers(-(2**31), 2**31 - 1)),
        ),
        min_size=1,
        max_size=30,
    )
)
def test_what_is_written_is_read(records):
    raw = b"".join(
        record(ms, 14_455, north, east, *pairs.items()) for ms, north, east, pairs in records
    )
    log = decode(raw, PLAIN)
    assert len(log) == len(records)
    written = [(n, c, v) for n, r in enumerate(records) for c, v in r[3].items()]
    assert list(zip(log.records, log.channels, log.values, strict=True)) == written
    for place, (_, north, east, _) in enumerate(records):
        if round(north * 1e7) or round(east * 1e7):
            assert log.latitude[place] == pytest.approx(north, abs=1e-7)
            assert log.longitude[place] == pytest.approx(east, abs=1e-7)


@settings(deadline=None, max_examples=60)
@given(st.binary(max_size=400), st.integers(0, 12), st.booleans())
def test_any_bytes_end_in_an_account_of_every_byte(raw, channels, constant):
    header = TimeLogHeader(("north", "east"), channels, {0: 1} if constant and channels else {})
    log = decode(raw, header)
    used = 15 * len(log) + 5 * log.records.size
    assert used + log.skipped_bytes + log.cut_bytes == len(raw)
