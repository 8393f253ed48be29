"""Logs of a machine with cells that no machine should write: through all steps to strip yields."""

from __future__ import annotations

import contextlib
import re
import struct
import warnings

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from trialkit.errors import LogError, TrialkitError, TrialkitWarning
from trialkit.harvest import (
    assign_strips,
    find_delay,
    find_moisture_delay,
    find_pass_ends,
    read_log,
    screen,
    screening_account,
    shift_flow,
    split_passes,
    strip_table,
)

COLUMNS = [
    "longitude", "latitude", "speed_m_s", "swath_m", "flow_kg_s", "moisture_pct", "yield_t_ha",
    "grain_kg", "elevation_m", "interval_s", "travel_m", "latency_s", "lead_ignore_s",
    "lag_ignore_s", "yield_held", "header_ahead_m", "header_right_m",
]  # fmt: skip

ODD = st.one_of(
    st.sampled_from([0.0, -1.0, 1e-9, 1e14, -1e14, 85.0, -38.5, 180.0, 90.0, 655.35, np.nan]),
    st.floats(-1e3, 1e3),
)


@st.composite
def changes(draw):
    """Stretches of columns, whole columns now and then, with a value that does not belong there."""
    number = draw(st.integers(0, 8))
    return [
        (
            draw(st.sampled_from(COLUMNS)),
            draw(st.integers(0, 200)),
            draw(st.sampled_from([1, 2, 15, 300])),
            draw(ODD),
        )
        for _ in range(number)
    ]


def through_all_steps(log, layout, delay_s):
    log = split_passes(log)
    if delay_s is None:
        delay_s = find_delay(log).delay_s
    log = shift_flow(log, delay_s, moisture_delay_s=find_moisture_delay(log, delay_s).delay_s)
    log = screen(log, harvester_m=10.0, ends=find_pass_ends(log))
    return assign_strips(log, layout)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    changes=changes(),
    without=st.sets(st.sampled_from(["time", *COLUMNS[2:6], "grain_kg"])),
    delay_s=st.one_of(st.none(), st.floats(-20, 40)),
)
@example(changes=[("flow_kg_s", 0, 300, 0.0)], without=set(), delay_s=None)
@example(changes=[("speed_m_s", 0, 300, 0.0)], without=set(), delay_s=None)
def test_any_cells_end_in_strips_or_an_error_of_our_own(
    drive, strips_beside, changes, without, delay_s
):
    log = drive(passes=3, length_m=120.0).drop(columns=list(without))
    for column, first, count, value in changes:
        if column not in log:
            log[column] = 1.0
        # A reader leaves no place off the globe.
        off = abs(value) > {"longitude": 180, "latitude": 90}.get(column, np.inf)
        log.loc[first : first + count - 1, column] = np.nan if off else value
    layout = strips_beside(2, length_m=120.0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TrialkitWarning)
        try:
            done = through_all_steps(log, layout, delay_s)
        except TrialkitError:
            return
        table = strip_table(done, layout)
    assert len(done) == len(log)
    assert (done["kept"] == (done["reason"] == "")).all()
    assert screening_account(done)["records"].sum() == (~done["kept"]).sum()
    assert table["n"].sum() == done["kept"].sum()
    assert table["n"].tolist() == [int((done["kept"] & (done["strip"] == s)).sum())
                                   for s in table["strip"]]  # fmt: skip
    assert not np.isinf(table["yield_t_ha"].to_numpy(dtype=float)).any()
    known = done.loc[done["kept"], "yield_t_ha"]
    inside = table["yield_t_ha"].dropna()
    if (done.loc[done["kept"], "swath_m"] > 0).all() and len(inside):
        assert inside.min() >= known.min() - 1e-6
        assert inside.max() <= known.max() + 1e-6


MACHINES = (
    '<DVC A="DVC-1" D="A0"><DET A="DET-1" B="1" C="1" F="0"/>'
    '<DET A="DET-2" B="2" C="7" F="1"><DOR A="20"/><DOR A="21"/></DET>'
    '<DET A="DET-3" B="3" C="6" F="1"><DOR A="30"/></DET>'
    '<DPT A="20" B="0086" C="870"/><DPT A="21" B="0087" C="0"/><DPT A="30" B="0086" C="2322"/>'
    '<DPD A="40" B="0043" F="50"/><DVP A="50" B="0" C="0.001" D="1" E="m"/></DVC>'
    '<DVC A="DVC-2" D="A1"><DET A="DET-11" B="1" C="1" F="0"/>'
    '<DET A="DET-12" B="2" C="6" F="1"><DOR A="20"/></DET>'
    '<DET A="DET-13" B="3" C="2" F="1"><DOR A="30"/><DOR A="31"/></DET>'
    '<DET A="DET-14" B="4" C="4" F="3"><DOR A="30"/></DET>'
    '<DPT A="20" B="0086" C="0"/><DPT A="30" B="0086" C="1372"/><DPT A="31" B="0043" C="10000"/>'
    "</DVC>"
)
SET = (
    '<ISO11783_TaskData VersionMajor="4">{machines}'
    '<CTP A="CTP1" B="oats"><CVT A="CVT1" B="early"/></CTP>'
    '<PFD A="PFD1" C="hill" D="0" G="CTP1" H="CVT1"/>'
    '<TSK A="TSK1" E="PFD1" G="4"><TLG A="TLG00001" C="1"/>'
    '<CNN A="DVC-1" B="DET-3" C="DVC-2" D="DET-12"/></TSK></ISO11783_TaskData>'
)
HEADER = (
    '<TIM A="" D="4"><PTN A="" B="" D=""/><DLV A="0043" B="" C="DET-13"/>'
    '<DLV A="0057" B="" C="DET-1"/><DLV A="0063" B="" C="DET-1"/><DLV A="00EF" B="" C="DET-1"/>'
    '<DLV A="008D" B="" C="DET-13"/><DLV A="0104" B="15000" C="DET-1"/></TIM>'
)
ATTRIBUTE = re.compile(r'="([^"]*)"')

VALUES = st.one_of(
    st.sampled_from(["", "0", "1", "4", "6", "7", "-1", "65535", "1e400", "nan", "FFFF", "0086",
                     "0087", "0043", "00EF", "DET-2", "DET-3", "DET-12", "DVC-1", "PFD1", "CTP1",
                     "2147483648", "99999999999999999999", "TLG00001", " "]),
    st.text(alphabet=st.characters(codec="utf-8", exclude_characters='"<&\x00'), max_size=6),
)  # fmt: skip


def with_changes(text, places):
    """Return XML with some attributes given other values, by their number."""
    found = list(ATTRIBUTE.finditer(text))
    for number, value in places:
        at = found[number % len(found)]
        text = text[: at.start(1)] + value + text[at.end(1) :]
        found = list(ATTRIBUTE.finditer(text))
    return text


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    places=st.lists(st.tuples(st.integers(0, 200), VALUES), max_size=4),
    of_header=st.lists(st.tuples(st.integers(0, 40), VALUES), max_size=2),
    head=st.sampled_from([HEADER, HEADER.replace("DET-13", "DET-14")]),
)
def test_any_attributes_end_in_a_log_or_an_error_of_our_own(tmp_path, places, of_header, head):
    raw = b"".join(
        struct.pack("<IHiiB", 1000 * n, 16_764, -385_000_000 + 180 * n, 850_000_000, 1)
        + bytes([5])
        + b"".join(
            struct.pack("<Bi", channel, value)
            for channel, value in (
                (0, 10_000),
                (1, 8_000_000 + n),
                (2, 125_000),
                (3, n % 2),
                (4, 1),
            )
        )
        for n in range(30)
    )
    (tmp_path / "TASKDATA.XML").write_text(with_changes(SET.format(machines=MACHINES), places))
    (tmp_path / "TLG00001.XML").write_text(with_changes(head, of_header))
    (tmp_path / "TLG00001.BIN").write_bytes(raw)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", TrialkitWarning)
        with contextlib.suppress(TrialkitError):
            log = read_log(tmp_path, standard_moisture_pct=12.5)
            for name in ("header_ahead_m", "header_right_m"):
                if name in log:
                    assert log[name].abs().max() <= 20
            with contextlib.suppress(LogError):
                assert len(screen(split_passes(log))) == len(log)


def test_the_set_itself_is_sound(tmp_path):
    """What the property test changes is read whole where it is not changed."""
    (tmp_path / "TASKDATA.XML").write_text(SET.format(machines=MACHINES))
    (tmp_path / "TLG00001.XML").write_text(HEADER)
    (tmp_path / "TLG00001.BIN").write_bytes(b"")
    with pytest.raises(LogError, match="no time log holds a yield"):
        read_log(tmp_path)
