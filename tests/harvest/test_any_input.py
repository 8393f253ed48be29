"""Any bytes in: a log that meets the schema, or one error that is trialkit's own."""

from __future__ import annotations

import contextlib
import string
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from trialkit.columns import COLUMNS, LOG_COLUMNS
from trialkit.errors import TrialkitError, TrialkitWarning
from trialkit.harvest import (
    propose_columns,
    read_log,
    screen,
    screening_account,
    shift_flow,
    split_passes,
)

COLUMN_MAP = {"longitude": "x", "latitude": "y", "yield_t_ha": "Yield (t/ha)", "time": "t"}
FLOW_MAP = {"longitude": "x", "latitude": "y", "flow_kg_s": "f", "interval_s": "i", "swath_m": "w"}

CELL = st.one_of(
    st.sampled_from(["", "0", "1", "85.1", "-38,5", "1e9", "nan", "inf", "12:00:01", '"', "True"]),
    st.floats().map(str),
    st.text(alphabet=string.printable + "é\u2028\x85\ufeff", max_size=6),
    st.sampled_from(["2025-11-24T10:00:00", "24/11/2025 10:00", "1763980200", "20251124"]),
)


@st.composite
def tables(draw: st.DrawFn) -> bytes:
    """Something like a log: the right headings, cells that may be anything."""
    headings = ["x", "y", "Yield (t/ha)", "t", "f", "i", "w"]
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    rows = draw(st.lists(st.lists(CELL, min_size=7, max_size=7), min_size=1, max_size=6))
    text = "\n".join(delimiter.join(row) for row in [headings, *rows])
    raw = text.encode(draw(st.sampled_from(["utf-8", "utf-16", "latin-1"])), errors="replace")
    return raw[: draw(st.integers(len(raw) // 2, len(raw)))]


@st.composite
def sound_tables(draw: st.DrawFn) -> bytes:
    """A log that can be read, with values that a machine would hardly write."""
    number = st.one_of(st.floats(-200, 200), st.sampled_from([0.0, 85.0, -38.5]))
    rows = draw(st.lists(st.lists(number, min_size=6, max_size=6), min_size=1, max_size=12))
    lines = [",".join(f"{cell:g}" for cell in row) for row in rows]
    return "\n".join(["x,y,Yield (t/ha),f,i,w", *lines]).encode()


def check_schema(log: pd.DataFrame) -> None:
    own = [name for name in log if name in LOG_COLUMNS]
    assert own == [name for name in LOG_COLUMNS if name in own]
    assert {"longitude", "latitude", "yield_t_ha", "file", "row"} <= set(log)
    assert isinstance(log.index, pd.RangeIndex)
    assert len(log) > 0
    for name in own:
        if COLUMNS[name].kind == "number":
            assert log[name].dtype == np.float64
            assert not np.isinf(log[name]).any()
    assert not (log["longitude"].abs() > 180).any()
    assert not (log["latitude"].abs() > 90).any()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("any")


def read_anything(path: Path, columns: dict[str, str]) -> pd.DataFrame | None:
    with warnings.catch_warnings():
        # trialkit's own warnings are answers here; any other one fails the test
        warnings.simplefilter("ignore", TrialkitWarning)
        with contextlib.suppress(TrialkitError):
            return read_log(path, columns=columns, units={"flow_kg_s": "kg/s", "swath_m": "m"})
    return None


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(content=st.one_of(st.binary(max_size=300), tables()))
@example(content=b"x,y,Yield (t/ha),t\n85,-38,3,1e300\n")
@example(content=b"x,y,Yield (t/ha),t\n85,-38,3,\n")
@example(content=b'x,y,"Yield (t/ha)",t\n85,-38,"3",""\n')
@example(content="x;y;Yield (t/ha);t\n85;-38;3;0000-00-00\n".encode("utf-16"))
def test_any_bytes_give_a_log_or_an_error_of_ours(folder, content):
    path = folder / "log.csv"
    path.write_bytes(content)
    for columns in (COLUMN_MAP, FLOW_MAP):
        log = read_anything(path, columns)
        if log is not None:
            check_schema(log)
    with contextlib.suppress(TrialkitError):
        propose_columns(path)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(content=sound_tables(), delay_s=st.floats(-20, 40))
def test_what_can_be_read_can_be_screened(folder, content, delay_s):
    path = folder / "log.csv"
    path.write_bytes(content)
    for columns in ({k: v for k, v in COLUMN_MAP.items() if k != "time"}, FLOW_MAP):
        log = read_anything(path, columns)
        if log is None:
            continue
        check_schema(log)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", TrialkitWarning)
            split = split_passes(log)
            if "interval_s" in log:
                split = shift_flow(split, delay_s)
            screened = screen(split, harvester_m=12.0)
        assert len(screened) == len(log)
        assert (screened["kept"] == (screened["reason"] == "")).all()
        assert screening_account(screened)["records"].sum() == (~screened["kept"]).sum()
