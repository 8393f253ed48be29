"""From any export to canonical columns in metric units, and every way that fails."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pyproj import Transformer

from trialkit.columns import LOG_COLUMNS
from trialkit.errors import LogError, LogWarning, UnitError
from trialkit.harvest import propose_columns, read_log

#: Conversions are exact but for the last bits of a double.
EXACT = 1e-12

POUND_KG, FOOT_M, INCH_M = 0.45359237, 0.3048, 0.0254

AMERICAN = """\
When,Lon,Lat,Mass,Width,Speed,Wet,Cycle
2025-10-02T14:00:00,-93.50,42.00,22.0,360,4.5,25.5,1
2025-10-02T14:00:01,-93.50,42.01,24.0,360,4.4,25.0,1
"""
AMERICAN_COLUMNS = {
    "time": "When",
    "longitude": "Lon",
    "latitude": "Lat",
    "flow_kg_s": "Mass",
    "swath_m": "Width",
    "speed_m_s": "Speed",
    "moisture_pct": "Wet",
    "interval_s": "Cycle",
}
AMERICAN_UNITS = {"flow_kg_s": "lb/s", "swath_m": "in", "speed_m_s": "mph"}

OWN = "longitude,latitude,yield_t_ha\n85,-38.5,4\n85,-38.6,5\n"


def read_american(path, **change):
    options = {
        "columns": AMERICAN_COLUMNS,
        "units": AMERICAN_UNITS,
        "standard_moisture_pct": 15.5,
    } | change
    return read_log(path, **options)


def test_canonical_columns_in_order_metric_units_and_rows(write):
    log = read_american(write(AMERICAN))
    known = [name for name in LOG_COLUMNS if name in log]
    assert list(log.columns) == [*known, "grain_kg", "file", "row"]
    assert log["flow_kg_s"].tolist() == pytest.approx([22 * POUND_KG, 24 * POUND_KG], rel=EXACT)
    assert log["swath_m"].tolist() == pytest.approx([360 * INCH_M] * 2, rel=EXACT)
    assert log["speed_m_s"].iloc[0] == pytest.approx(4.5 * 5280 * FOOT_M / 3600, rel=EXACT)
    assert log["row"].tolist() == [2, 3]
    assert log["file"].tolist() == ["log.csv", "log.csv"]
    assert isinstance(log.index, pd.RangeIndex)


def test_yield_from_flow_at_the_standard_moisture(write):
    log = read_american(write(AMERICAN))
    ground_m2 = 4.5 * 5280 * FOOT_M / 3600 * 360 * INCH_M
    expected = 22 * POUND_KG / ground_m2 * 10 * (100 - 25.5) / (100 - 15.5)
    assert log["yield_t_ha"].iloc[0] == pytest.approx(expected, rel=EXACT)
    assert log["grain_kg"].iloc[0] == pytest.approx(22 * POUND_KG * 74.5 / 84.5, rel=EXACT)


def test_yield_from_mass_travel_and_width(write):
    text = "longitude,latitude,mass_kg,travel_m,swath_m\n85,-38.5,8,2,10\n85,-38.5,9,0,10\n"
    with pytest.warns(LogWarning, match="no column for moisture_pct, so the yield stays as har"):
        log = read_log(write(text))
    np.testing.assert_allclose(log["yield_t_ha"], [4.0, np.nan])


def test_yield_as_recorded_is_left_alone(write):
    text = "longitude,latitude,moisture_pct,yield_t_ha\n85,-38.5,20,4\n"
    assert read_log(write(text))["yield_t_ha"].tolist() == [4]


def test_bushels_take_the_crop(write):
    text = "longitude,latitude,Yield (bu/ac)\n85,-38.5,100\n"
    columns = {"longitude": "longitude", "latitude": "latitude", "yield_t_ha": "Yield (bu/ac)"}
    maize = read_log(write(text), columns=columns, crop="maize")["yield_t_ha"].iloc[0]
    oats = read_log(write(text), columns=columns, crop="oats")["yield_t_ha"].iloc[0]
    # unit arithmetic: 56 and 32 lb a bushel; 0.45359237 kg a pound, 0.40468564 ha an acre
    assert maize == pytest.approx(100 * 56 * POUND_KG / 1000 / 0.40468564224, rel=EXACT)
    assert oats == pytest.approx(100 * 32 * POUND_KG / 1000 / 0.40468564224, rel=EXACT)
    with pytest.raises(UnitError, match=r"column 'Yield \(bu/ac\)' \(yield_t_ha\): A bushel of"):
        read_log(write(text), columns=columns)


def test_the_standard_moisture_is_never_hidden(write):
    with pytest.raises(LogError, match=r"which moisture to bring it to.*standard_moisture_pct ="):
        read_american(write(AMERICAN), standard_moisture_pct=None)


def test_a_missing_unit_names_the_column_and_what_to_write(write):
    with pytest.raises(LogError, match=r'column \'Mass\': the unit is missing.*flow_kg_s = "\.'):
        read_american(write(AMERICAN), units={"swath_m": "in", "speed_m_s": "mph"})


def test_a_blank_unit_is_missing(write):
    with pytest.raises(LogError, match=r"column 'Width': the unit is missing"):
        read_american(write(AMERICAN), units=AMERICAN_UNITS | {"swath_m": " "})


def test_a_unit_in_the_heading_will_do(write):
    text = AMERICAN.replace("Mass", "Mass [lb/s]").replace("Speed", "Speed (mph)")
    columns = AMERICAN_COLUMNS | {"flow_kg_s": "Mass [lb/s]", "speed_m_s": "Speed (mph)"}
    log = read_american(write(text), columns=columns, units={"swath_m": "in"})
    pd.testing.assert_frame_equal(log, read_american(write(AMERICAN)))


def test_a_wrong_unit_names_the_column(write):
    with pytest.raises(UnitError, match=r"column 'Mass' \(flow_kg_s\): 'in' does not measure"):
        read_american(write(AMERICAN), units=AMERICAN_UNITS | {"flow_kg_s": "in"})


def test_a_missing_heading_gets_a_suggestion(write):
    columns = AMERICAN_COLUMNS | {"flow_kg_s": "Masse"}
    with pytest.raises(LogError, match=r"row 1: there is no column 'Masse'.*Did you mean 'Mass'"):
        read_american(write(AMERICAN), columns=columns)


def test_an_unknown_name_of_ours_gets_a_suggestion(write):
    with pytest.raises(LogError, match=r"'flow_kgs' is not a column of.*mean 'flow_kg_s'"):
        read_american(write(AMERICAN), columns={"flow_kgs": "Mass"})


@pytest.mark.parametrize("missing", ["longitude", "latitude"])
def test_positions_are_needed(write, missing):
    columns = {name: own for name, own in AMERICAN_COLUMNS.items() if name != missing}
    with pytest.raises(LogError, match=f"there is no column for {missing}"):
        read_american(write(AMERICAN), columns=columns)


def test_grain_is_needed(write):
    columns = {name: own for name, own in AMERICAN_COLUMNS.items() if name != "flow_kg_s"}
    with pytest.raises(LogError, match=r"no column for yield_t_ha, flow_kg_s or mass_kg"):
        read_american(write(AMERICAN), columns=columns)


def test_a_width_is_needed_or_the_harvesters(write):
    columns = {name: own for name, own in AMERICAN_COLUMNS.items() if name != "swath_m"}
    with pytest.raises(LogError, match=r"no column for swath_m.*machines\.harvester_m"):
        read_american(write(AMERICAN), columns=columns)
    log = read_american(write(AMERICAN), columns=columns, harvester_m=360 * INCH_M)
    assert log["yield_t_ha"].tolist() == read_american(write(AMERICAN))["yield_t_ha"].tolist()


def test_a_flow_needs_a_duration(write):
    names = ("time", "interval_s")
    columns = {name: own for name, own in AMERICAN_COLUMNS.items() if name not in names}
    with pytest.raises(LogError, match=r"neither a column for interval_s nor for time"):
        read_american(write(AMERICAN), columns=columns)


def test_our_own_headings_need_no_map(write):
    assert read_log(write(OWN))["yield_t_ha"].tolist() == [4, 5]


def test_foreign_headings_are_never_guessed_silently(write):
    path = write("Longitude;Latitude;Yield;Speed (km/h)\n85,1;-38,5;62;5,1\n85,2;-38,5;58;5,0\n")
    with pytest.raises(LogError, match="nobody has said yet which column is which") as caught:
        read_log(path)
    assert 'speed_m_s = "Speed (km/h)"' in str(caught.value)
    assert 'yield_t_ha = ""  # a median of 60 looks like bu/ac or q/ha' in str(caught.value)
    assert propose_columns(path)["name"].tolist() == [
        "longitude", "latitude", "speed_m_s", "yield_t_ha"
    ]  # fmt: skip


def test_several_files_stand_in_the_order_of_their_time(write):
    text = "time,longitude,latitude,yield_t_ha\n2025-11-{day}T10:00:00,85,-38.5,{day}\n"
    late = write(text.replace("{day}", "25"), "a.csv")
    early = write(text.replace("{day}", "24"), "b.csv")
    log = read_log([late, early])
    assert log["yield_t_ha"].tolist() == [24, 25]
    assert log["file"].tolist() == ["b.csv", "a.csv"]
    assert log.index.tolist() == [0, 1]


def test_records_out_of_order_are_put_in_order_and_said(write):
    rows = "".join(f"2025-11-24T10:00:0{s},85,-38.5,{s}\n" for s in (3, 2, 1))
    with pytest.warns(LogWarning, match=r"log\.csv, row 3: the time falls back"):
        log = read_log(write(f"time,longitude,latitude,yield_t_ha\n{rows}"))
    assert log["yield_t_ha"].tolist() == [1, 2, 3]
    assert log["row"].tolist() == [4, 3, 2]


def test_several_files_must_hold_the_same(write):
    first = write(OWN, "a.csv")
    second = write(OWN.replace("yield_t_ha", "yield_t_ha,moisture_pct").replace(",4", ",4,9"
        ).replace(",5\n", ",5,9\n"), "b.csv")  # fmt: skip
    with pytest.raises(LogError, match=r"b\.csv: this file and a\.csv do not have the same col"):
        read_log([first, second])


def test_no_file_at_all():
    with pytest.raises(LogError, match="no file was given"):
        read_log([])


def test_another_coordinate_system(write):
    east, north = Transformer.from_crs("EPSG:4326", "EPSG:32755", always_xy=True).transform(
        146.5, -36.0
    )
    path = write(f"E,N,Yield (t/ha)\n{east!r},{north!r},4\n")
    columns = {"longitude": "E", "latitude": "N", "yield_t_ha": "Yield (t/ha)"}
    log = read_log(path, columns=columns, crs="EPSG:32755")
    # a tenth of a millimetre
    assert log["longitude"].iloc[0] == pytest.approx(146.5, abs=1e-9)
    assert log["latitude"].iloc[0] == pytest.approx(-36.0, abs=1e-9)
    with pytest.raises(LogError, match=r"row 2: longitude .* no place on the globe.*metres, name"):
        read_log(path, columns=columns)
    with pytest.raises(LogError, match="'EPSG:nonsense' is not a coordinate system"):
        read_log(path, columns=columns, crs="EPSG:nonsense")


def test_latitudes_beyond_the_pole_are_taken_for_swapped(write):
    with pytest.raises(LogError, match=r"row 2: longitude -38.5, latitude 120 is no.*swap the two"):
        read_log(write("longitude,latitude,yield_t_ha\n-38.5,120,4\n"))


def test_a_stray_position_off_the_globe_is_said_and_lost(write):
    rows = "".join("85,-38.5,4\n" for _ in range(40))
    with pytest.warns(LogWarning, match=r"1 records have a position off the globe.*row 42"):
        log = read_log(write(f"longitude,latitude,yield_t_ha\n{rows}9999,9999,4\n"))
    assert log["longitude"].isna().tolist() == [False] * 40 + [True]


@pytest.mark.parametrize("place", ["0,0", ","])
def test_no_position_at_all(write, place):
    with pytest.raises(LogError, match=r"log\.csv: no record has a position.*weights\.csv"):
        read_log(write(f"longitude,latitude,yield_t_ha\n{place},4\n{place},5\n"))


def test_yields_all_zero(write):
    with pytest.raises(LogError, match=r"log\.csv: every yield is zero.*weights\.csv"):
        read_log(write(OWN.replace(",4", ",0").replace(",5\n", ",0\n")))


def test_yields_all_missing(write):
    with pytest.raises(LogError, match=r"log\.csv: not one record has a yield"):
        read_log(write("longitude,latitude,yield_t_ha\n85,-38.5,\n85,-38.6,\n"))


def test_the_input_is_not_changed(write):
    path = write(AMERICAN)
    before = path.read_bytes()
    read_american(path)
    assert path.read_bytes() == before
