"""Logger files of every kind in, one frame out; what cannot be right is refused with its place."""

from __future__ import annotations

import warnings
import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from trialkit.errors import ScoutingError, ScoutingWarning, TrialkitError, TrialkitWarning
from trialkit.scouting import frost_nights, read_temperatures
from trialkit.scouting.temperatures import TEMPERATURE_COLUMNS

OWN = "time,temperature_c\n2024-09-14 03:00,-1.5\n2024-09-14 03:30,-2.0\n"
MAP = {"time": "Date Time", "temperature_c": "Temp"}


@pytest.fixture
def write(tmp_path):
    def to_file(text, name="hollow.csv", encoding="utf-8"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True, parents=True)
        path.write_bytes(text.encode(encoding))
        return path

    return to_file


def meets_the_schema(table):
    assert tuple(table.columns) == TEMPERATURE_COLUMNS
    assert table["temperature_c"].dtype == np.float64
    assert table["temperature_c"].between(-60, 60).all()
    assert pd.api.types.is_datetime64_any_dtype(table["time"])
    assert len(table) > 0
    assert not table.duplicated(["logger", "time"]).any()
    assert table["row"].ge(1).all()
    for _, own in table.groupby("logger"):
        assert own["time"].is_monotonic_increasing


def test_our_own_names_need_no_map(write):
    table = read_temperatures(write(OWN))
    meets_the_schema(table)
    assert table["logger"].tolist() == ["hollow", "hollow"]
    assert table["row"].tolist() == [2, 3]
    assert table["time"].dt.tz is None


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_a_foreign_file_with_a_preamble(write, encoding, delimiter):
    text = (
        "Serial number: 17\r\nFarm: Moor, east\r\n\r\n"
        "#;Date Time;Temp, (°F);Note\r\n"
        "1;09/13/2024 11:30:00 PM;31,1;\r\n"
        "2;09/14/2024 12:00:00 AM;28,4;\r\n"
        "3;09/14/2024 12:30:00 AM;;host connected\r\n"
        "End of data\r\n"
    ).replace(";", delimiter)
    names = {"time": "Date Time", "temperature_c": "Temp, (°F)"}
    table = read_temperatures(write(text, encoding=encoding), columns=names)
    meets_the_schema(table)
    assert table["temperature_c"].tolist() == pytest.approx([-0.5, -2.0])
    assert table["time"].dt.hour.tolist() == [23, 0]
    assert table["row"].tolist() == [5, 6]


def test_blanks_may_part_the_columns(write):
    text = "date clock temperature_c\n2024-09-14 03:00 -1.5\n2024-09-14 03:30 -2.0\n"
    assert read_temperatures(write(text, "a.txt"))["temperature_c"].tolist() == [-1.5, -2.0]


def test_date_and_clock_apart(write):
    text = 'Day,Hour,"Temp, °C"\n14.09.2024,03:00,"-1,5"\n15.09.2024,03:30,"-2,0"\n'
    names = {"date": "Day", "clock": "Hour", "temperature_c": "Temp, °C"}
    table = read_temperatures(write(text), columns=names)
    assert table["temperature_c"].tolist() == [-1.5, -2.0]
    assert table["time"].dt.day.tolist() == [14, 15]


def test_several_loggers_in_one_file(write):
    long = "logger,time,temperature_c\nb,2024-09-14 03:00,1\na,2024-09-14 03:00,2\n"
    assert read_temperatures(write(long))["logger"].tolist() == ["a", "b"]
    wide = "time,Ridge °C,Hollow °C\n2024-09-14 03:00,1,-1\n2024-09-14 03:30,,-2\n"
    names = {"time": "time", "temperature_c": ["Ridge °C", "Hollow °C"]}
    table = read_temperatures(write(wide, "wide.csv"), columns=names)
    assert table["logger"].tolist() == ["Hollow °C", "Hollow °C", "Ridge °C"]


def test_a_folder_a_zip_and_a_list(write, tmp_path):
    one, two = write(OWN, "logs/ridge.csv"), write(OWN, "logs/deep/hollow.csv")
    folder = read_temperatures(tmp_path / "logs")
    assert sorted(set(folder["logger"])) == ["deep/hollow", "ridge"]
    packed = tmp_path / "logs.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        archive.write(one, "ridge.csv")
        archive.write(two, "deep/hollow.csv")
    assert read_temperatures(packed)["logger"].tolist() == folder["logger"].tolist()
    assert sorted(set(read_temperatures([one, two])["logger"])) == ["hollow", "ridge"]
    with pytest.raises(ScoutingError, match="No logger file was given"):
        read_temperatures([])


@pytest.mark.parametrize(
    ("stamp", "day"),
    [
        ("2024-09-14T03:00:00", 14),
        ("2024/09/14 03:00", 14),
        ("14/09/2024 3:00", 14),
        ("9/14/2024 3:00:00 am", 14),
        ("14.09.24 03:00", 14),
        ("14-09-2024 03:00:00.250", 14),
    ],
)
def test_ways_of_writing_a_time(write, stamp, day):
    text = f"time,temperature_c\n{stamp},-1\n"
    time = read_temperatures(write(text))["time"][0]
    assert (time.year, time.month, time.day, time.hour) == (2024, 9, day, 3)


def test_day_and_month_are_told_by_the_order(write):
    stamps = ["01/09/2024 22:00", "01/09/2024 23:00", "02/09/2024 00:00", "02/09/2024 01:00"]
    text = "time,temperature_c\n" + "".join(f"{stamp},{n}\n" for n, stamp in enumerate(stamps))
    assert read_temperatures(write(text))["time"].dt.month.unique().tolist() == [9]
    assert read_temperatures(write(text), day_first=False)["time"].dt.day.tolist() == [9] * 4
    one = "time,temperature_c\n01/09/2024 22:00,1\n"
    with pytest.raises(ScoutingError, match=r"could be 01 September 2024 or 09 January 2024"):
        read_temperatures(write(one))
    assert read_temperatures(write(one), day_first=True)["time"][0].month == 9


def test_times_tied_to_universal_time_need_the_place(write):
    text = "time,temperature_c\n2024-09-13T18:00:00Z,-1\n2024-09-13T18:30:00Z,-2\n"
    with pytest.raises(ScoutingError, match="nights need the clock where the field lies"):
        read_temperatures(write(text))
    table = read_temperatures(write(text), zone="Australia/Adelaide")
    assert table["time"].dt.hour.tolist() == [3, 4]
    seconds = "time,temperature_c\n1726250400,-1\n1726252200,-2\n"
    pd.testing.assert_series_equal(
        read_temperatures(write(seconds), zone="Australia/Adelaide")["time"], table["time"]
    )
    offset = text.replace("T18:00:00Z", " 03:30+09:30").replace("T18:30:00Z", " 05:00 +1000")
    hours = read_temperatures(write(offset), zone="+09:30")["time"]
    assert hours.dt.strftime("%H:%M").tolist() == ["03:30", "04:30"]


# Daylight saving in Adelaide ended on 2024-04-07 at 3 o'clock, back to 2, and began on
# 2024-10-06 at 2 o'clock, forward to 3 (IANA time zone database).
@pytest.mark.parametrize("by_time", [False, True])
def test_the_hour_that_came_twice(write, by_time):
    stamps = ["01:30", "02:00", "02:30", "02:00", "02:30", "03:00"]
    stamps = sorted(stamps) if by_time else stamps
    text = "time,temperature_c\n" + "".join(
        f"2024-04-07 {stamp},{n}\n" for n, stamp in enumerate(stamps)
    )
    table = read_temperatures(write(text), zone="Australia/Adelaide")
    steps = table["time"].diff().dropna()
    assert (steps == pd.Timedelta(minutes=30)).all()
    with pytest.raises(ScoutingError, match=r"row \d: .*two readings.*If the clock went back"):
        read_temperatures(write(text), zone="+09:30")
    with pytest.raises(ScoutingError, match="two readings"):
        read_temperatures(write(text))


def test_the_hour_that_came_twice_begun_late(write):
    text = "time,temperature_c\n2024-04-07 02:30,1\n2024-04-07 02:00,2\n2024-04-07 02:30,3\n"
    table = read_temperatures(write(text), zone="Australia/Adelaide")
    assert table["temperature_c"].tolist() == [1, 2, 3]
    assert (table["time"].diff().dropna() == pd.Timedelta(minutes=30)).all()


def test_the_hour_logged_once_is_pointed_out(write):
    text = "time,temperature_c\n" + "".join(
        f"2024-04-07 {stamp},{n}\n" for n, stamp in enumerate(["01:30", "02:00", "02:30", "03:00"])
    )
    with pytest.warns(ScoutingWarning, match="taken for winter time"):
        read_temperatures(write(text), zone="Australia/Adelaide")


def test_an_hour_that_never_was_gives_a_standing_clock_away(write):
    text = OWN.replace("2024-09-14 03:00", "2024-10-06 02:15").replace("09-14", "10-06")
    with pytest.raises(ScoutingError, match=r"row 2: 2024-10-06 02:15 never was.*zone='\+09:30'"):
        read_temperatures(write(text), zone="Australia/Adelaide")
    assert len(read_temperatures(write(text), zone="+09:30")) == 2


def test_records_written_twice_count_once(write):
    with pytest.warns(ScoutingWarning, match="2 records stand twice, the first at row 2"):
        table = read_temperatures([write(OWN), write(OWN, "again/hollow.csv")])
    meets_the_schema(table)
    assert len(table) == 2


def test_fahrenheit_and_celsius_are_one(write):
    celsius = read_temperatures(write(OWN))
    text = OWN.replace("temperature_c", "Temp").replace("-1.5", "29.3").replace("-2.0", "28.4")
    names = {"time": "time", "temperature_c": "Temp"}
    fahrenheit = read_temperatures(write(text), columns=names, unit="F")
    assert fahrenheit["temperature_c"].tolist() == pytest.approx(celsius["temperature_c"])


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("Temp (°F)", "F"),
        ("Temp, °C", "C"),
        ("Temp [C]", "C"),
        ("temp_f", "F"),
        ("Canopy deg C", "C"),
        ("Temperature Fahrenheit", "F"),
        ("Temp, °F (LGR S/N: 1, SEN S/N: 2)", "F"),
    ],
)
def test_headings_that_say_their_unit(write, heading, unit):
    text = f'time;"{heading}"\n2024-09-14 03:00;32\n'
    table = read_temperatures(write(text), columns={"time": "time", "temperature_c": heading})
    assert table["temperature_c"][0] == (0 if unit == "F" else 32)


def many(values, heading="temperature_c"):
    times = pd.date_range("2024-09-01", periods=len(values), freq="h")
    return f"time,{heading}\n" + "".join(
        f"{time},{value}\n" for time, value in zip(times, values, strict=True)
    )


@pytest.mark.parametrize(
    ("text", "arguments", "message"),
    [
        (
            many(range(28, 96), "Temp"),
            {"columns": {"time": "time", "temperature_c": "Temp"}},
            r"hollow.csv: the heading 'Temp' does not say its unit. Values run from 28 up to 95: "
            r"is that Fahrenheit\? Give unit='C' or unit='F'",
        ),
        (many(range(28, 96)), {}, r"values up to 95: is that Fahrenheit\? As °C they cannot be"),
        (many([2] * 300 + [85]), {}, r"row 302, column 'temperature_c': 85 °C is no .*missing"),
        (many([2, 3, -999]), {}, r"row 4.*-999 °C.*missing=\[-999\]"),
        (many([2, "cold"]), {}, r"row 3, column 'temperature_c': 'cold' is not a number"),
        (OWN, {"unit": "F"}, "says °C, but unit='F' was given"),
        (OWN, {"unit": "degrees"}, "unit='degrees' is no unit of a logger"),
        (OWN, {"zone": "Adelaide"}, "zone='Adelaide' is no time zone"),
        (OWN, {"zone": "../../etc/passwd"}, "is no time zone"),
        (OWN, {"columns": {"temp": "x"}}, "The column map names 'temp'. It may name: time, date"),
        (OWN, {"columns": {"time": "time"}}, "must name the column of temperature_c"),
        (
            OWN,
            {"columns": {"time": "When", "temperature_c": "Temp"}},
            r"no line holds the headings 'When', 'Temp' of your column map. Its headings seem to "
            r"be 'time', 'temperature_c'",
        ),
        (
            OWN.replace("time,temperature_c", "Date Time,Temp (°C)"),
            {},
            r"say which column is which.*columns=\{'time': 'Date Time', 'temperature_c': 'Temp",
        ),
        ("a,b\n1,2\n", {}, "no line holds the headings of time and temperature"),
        ("time,temperature_c\n", {}, "there are headings and no records"),
        ("", {}, "the file is empty"),
        ("\x00\x01time", {}, "no text holds"),
        ("time,time,temperature_c\n1,2,3\n", {}, "the heading 'time' stands over several columns"),
        ("time,temperature_c\n2024-09-14 03:00,\n", {}, "no record has a temperature"),
        ("time,temperature_c\n,1\n", {}, "row 2: a temperature without a time"),
        (OWN.replace("2024-09-14 03:30", "half three"), {}, r"row 3: 'half three' is not a time"),
        (OWN.replace("2024-09-14 03:30", "2036-02-30 03:30"), {}, r"row 3: .*is not a time like"),
        (OWN.replace("2024", "1970"), {}, r"row 2: the year 1970 cannot be"),
        (
            OWN.replace("03:30", "03:30+09:30"),
            {"zone": "+09:30"},
            r"row 2: '2024-09-14 03:00' gives no distance from universal time",
        ),
        (OWN.replace("03:30", "03:00"), {}, r"row 3: logger hollow has two readings, -1.5 and -2"),
        ("time,temperature_c\n123456789012,1\n", {"zone": "+01"}, "1970|is no time"),
    ],
)
def test_what_cannot_be_read(write, text, arguments, message):
    with pytest.raises(ScoutingError, match=message):
        read_temperatures(write(text), **arguments)


def test_numbers_that_mean_no_reading(write):
    table = read_temperatures(write(many([2, -999, 3])), missing=[-999])
    assert table["temperature_c"].tolist() == [2, 3]
    for mark in ("", "--", "NaN", "n/a", "ERR"):
        assert len(read_temperatures(write(many([2, mark, 3])))) == 2


def test_files_with_and_without_a_zone_do_not_mix(write):
    tied = write(OWN.replace(":00,", ":00Z,").replace(":30,", ":30Z,"), "tied.csv")
    table = read_temperatures([tied, write(OWN)], zone="+09:30")
    assert len(table) == 4


def test_there_is_no_such_file(tmp_path):
    with pytest.raises(ScoutingError, match="there is no such file"):
        read_temperatures(tmp_path / "none.csv")
    with pytest.raises(ScoutingError, match="no logger files in it"):
        read_temperatures(tmp_path)
    (tmp_path / "cut.zip").write_bytes(b"PK\x03\x04")
    with pytest.raises(TrialkitError, match="not a whole zip"):
        read_temperatures(tmp_path / "cut.zip")


PIECES = st.sampled_from(
    [
        b"time", b"temperature_c", b"logger", b",", b";", b"\t", b"\n", b"\r\n", b'"', b"-", b"Z",
        b"2024-09-14", b" 03:00", b"07/04/2024 02:30", b"+09:30", b"-1.5", b"1,5", b"99999", b"NaN",
        b"\xff\xfe", b"\xb0C", b"0x10", b"1726250400", b"time,temperature_c\n", b"inf", b"1e400",
        b"2024-04-07 02:30,1\n", b"2024-10-06 02:15,1\n", b"9999-12-31 23:59,4\n",
    ]
)  # fmt: skip
CONTENT = st.one_of(
    st.binary(max_size=300),
    st.lists(PIECES, max_size=30).map(b"".join),
    st.lists(PIECES, max_size=20).map(lambda found: b"time,temperature_c\n" + b"".join(found)),
    st.text(max_size=100).map(lambda text: ("time;temperature_c\n" + text).encode("utf-16")),
)


@hypothesis_settings(max_examples=250, deadline=None)
@given(CONTENT, st.sampled_from([None, "Australia/Adelaide", "+09:30"]))
def test_any_bytes_are_read_or_refused(raw, zone):
    with TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", TrialkitWarning)
        path = Path(folder, "any.csv")
        path.write_bytes(raw)
        try:
            table = read_temperatures(path, zone=zone)
        except TrialkitError:
            return
        meets_the_schema(table)
        if (table["time"].max() - table["time"].min()).days < 4000:
            frost_nights(table)


RECORDS = st.lists(
    st.tuples(st.integers(0, 400_000), st.integers(-200, 400)),
    min_size=1,
    max_size=40,
    unique_by=lambda record: record[0],
)


@hypothesis_settings(max_examples=60, deadline=None)
@given(
    RECORDS,
    st.sampled_from([(",", "."), (";", ","), ("\t", "."), ("|", ",")]),
    st.sampled_from(["utf-8", "utf-16", "latin-1"]),
    st.sampled_from(["%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M", "%Y/%m/%d %H:%M"]),
    st.sampled_from(["C", "F"]),
)
def test_however_written_the_readings_are_the_same(records, marks, encoding, way, unit):
    delimiter, point = marks
    begin = pd.Timestamp("2024-06-01")
    lines = [f"Ort{delimiter}Hügel", f"When{delimiter}Temp"]
    for minute, tenths in records:
        time = (begin + pd.Timedelta(minutes=minute)).strftime(way)
        degrees = tenths / 10 if unit == "C" else tenths / 10 * 1.8 + 32
        lines.append(f"{time}{delimiter}" + f"{degrees:.4f}".replace(".", point))
    text = "\n".join(lines)
    with TemporaryDirectory() as folder:
        path = Path(folder, "any.csv")
        path.write_bytes(text.encode(encoding))
        table = read_temperatures(
            path,
            columns={"time": "When", "temperature_c": "Temp"},
            unit=unit,
            day_first=True,
        )
    meets_the_schema(table)
    expected = sorted(records)
    assert table["temperature_c"].to_numpy() == pytest.approx(
        [tenths / 10 for _, tenths in expected], abs=1e-4
    )
    minutes = (table["time"] - begin) / pd.Timedelta(minutes=1)
    assert minutes.tolist() == [minute for minute, _ in expected]
