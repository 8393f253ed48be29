"""Proposals for the column map: from trade words, checked against the values."""

from __future__ import annotations

import tomllib

import pytest

from trialkit.harvest import proposal_text, propose_columns, read_log
from trialkit.harvest.column_guess import take_apart

EXPORT = (
    "Record;GPS time;Lat;Long;Altitude [ft];Ground speed (km/h);Swath width (cm);Mass flow;"
    "Grain moisture (%);Dist. (m);Total mass (kg)\n"
    "1;2025-11-24 10:00:00;-38,5;85,1;700;6,1;1200;18,4;11,9;1,7;100\n"
    "2;2025-11-24 10:00:01;-38,6;85,1;701;6,2;1200;17,9;12,0;1,7;118\n"
)


@pytest.mark.parametrize(
    ("heading", "words", "unit"),
    [
        ("Speed (km/h)", {"speed"}, "km/h"),
        ("speed_km_h", {"speed"}, "km/h"),
        ("Flow [lbs/s]", {"flow"}, "lb/s"),
        ("yield_t_ha", {"yield"}, "t/ha"),
        ("Yield dry (bu/ac)", {"yield", "dry"}, "bu/ac"),
        ("Moisture %", {"moisture"}, "percent"),
        ("Width", {"width"}, ""),
        ("Header (up/down)", {"header", "up", "down"}, ""),
    ],
)
def test_headings_are_taken_apart(heading, words, unit):
    taken_apart = take_apart(heading)
    assert taken_apart.words == words
    assert taken_apart.unit == unit


def test_a_proposal_with_samples_and_remarks(write):
    proposal = propose_columns(write(EXPORT)).set_index("name")
    assert proposal["heading"].to_dict() == {
        "time": "GPS time",
        "longitude": "Long",
        "latitude": "Lat",
        "elevation_m": "Altitude [ft]",
        "speed_m_s": "Ground speed (km/h)",
        "swath_m": "Swath width (cm)",
        "flow_kg_s": "Mass flow",
        "moisture_pct": "Grain moisture (%)",
        "travel_m": "Dist. (m)",
    }
    assert proposal.loc["swath_m", "unit"] == "cm"
    assert proposal.loc["flow_kg_s", "unit"] == ""
    assert "looks like kg/s or lb/s or t/h" in proposal.loc["flow_kg_s", "remark"]
    assert proposal.loc["speed_m_s", "sample"] == "6.1, 6.2"


def test_a_value_that_does_not_fit_its_unit_is_remarked(write):
    proposal = propose_columns(write("Lat,Lon,Yield (t/ha)\n-38,85,61\n-38,85,63\n"))
    assert proposal.set_index("name").loc["yield_t_ha", "remark"] == (
        "a median of 62 looks like bu/ac or q/ha, not t/ha"
    )


def test_the_text_is_toml_that_reads_the_log_once_blanks_are_filled(write):
    path = write(EXPORT)
    text = proposal_text(propose_columns(path))
    harvest = tomllib.loads(text)["harvest"]
    assert harvest["units"]["flow_kg_s"] == ""
    units = harvest["units"] | {"flow_kg_s": "kg/s"}
    log = read_log(path, columns=harvest["columns"], units=units, standard_moisture_pct=12.5)
    assert log["flow_kg_s"].tolist() == [18.4, 17.9]
    assert log["swath_m"].tolist() == [12, 12]


def test_odd_headings_stay_harmless_in_the_text(write):
    path = write('"Yield ""a"" \\ #\t(t/ha)",Lat,Lon\n4,-38,85\n')
    harvest = tomllib.loads(proposal_text(propose_columns(path)))["harvest"]
    assert harvest["columns"]["yield_t_ha"] == 'Yield "a" \\ # (t/ha)'


def test_a_column_of_text_is_remarked_not_fatal(write):
    proposal = propose_columns(write("Lat,Lon,Yield\n-38,85,good\n"))
    assert "'good' is not a number" in proposal.set_index("name").loc["yield_t_ha", "remark"]
