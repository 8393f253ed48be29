"""A whole season from task data: the same strips as from the same log as text."""

from __future__ import annotations

import json
import struct

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

from trialkit import simulate
from trialkit.cli import app

HEADER = (
    '<TIM A="" D="4"><PTN A="" B="" C="" D=""/><DLV A="0043" B="" C="DET-1"/>'
    '<DLV A="0057" B="" C="DET-1"/><DLV A="0063" B="" C="DET-1"/><DLV A="008D" B="" C="DET-1"/>'
    '<DLV A="008F" B="" C="DET-1"/><DLV A="018D" B="" C="DET-1"/></TIM>'
)
TASKS = (
    '<ISO11783_TaskData VersionMajor="4" VersionMinor="1" DataTransferOrigin="2">'
    '<TSK A="TSK1" G="4"><TLG A="TLG00001" C="1"/></TSK></ISO11783_TaskData>'
)


def as_time_log(log: pd.DataFrame, latency_s: float) -> bytes:
    """Write a log as a machine would: a channel only where it changes, flow in every record."""
    day_zero = pd.Timestamp("1980-01-01")
    raw, before = [], {4: None}
    for row in log.itertuples(index=False):
        since = row.time - day_zero
        day, rest = since.days, since - pd.Timedelta(days=since.days)
        fields = (row.latitude * 1e7, row.longitude * 1e7, row.elevation_m * 1000)
        place = struct.pack("<iiiB", *(round(value) for value in fields), 4)
        now = {
            0: round(row.swath_m * 1000),
            1: round(row.flow_kg_s * 1e6),
            2: round(row.moisture_pct * 1e4),
            3: int(row.swath_m > 0),
            4: round(-1000 * latency_s),
            5: round(row.speed_m_s * 1000),
        }
        written = [(c, v) for c, v in now.items() if c == 1 or before.get(c) != v]
        before = now
        values = b"".join(struct.pack("<Bi", *pair) for pair in written)
        stamp = struct.pack("<IH", round(rest.total_seconds() * 1000), day)
        raw.append(stamp + place + bytes([len(written)]) + values)
    return b"".join(raw)


def strips_of(folder):
    done = CliRunner().invoke(app, ["harvest", str(folder), "--json"])
    assert done.exit_code == 0, done.output
    return pd.read_csv(folder / "results" / "strips.csv"), json.loads(done.stdout)


@pytest.mark.filterwarnings("ignore::trialkit.errors.TrialkitWarning")
def test_the_same_strips_from_task_data_and_from_text(tmp_path):
    layout = simulate.lay_strips(["untreated", "dressed"], 4, seed=3, length_m=400.0, width_m=12.0)
    season = simulate.harvest_trial(layout, seed=4)
    text, binary = (
        simulate.write_trial(tmp_path / name, layout, season) for name in ("text", "binary")
    )
    for log in (binary / "harvest").iterdir():
        log.unlink()
    (binary / "harvest" / "TASKDATA.XML").write_text(TASKS)
    (binary / "harvest" / "TLG00001.xml").write_text(HEADER)
    raw = as_time_log(season.log, simulate.Monitor().delay_s)
    (binary / "harvest" / "TLG00001.bin").write_bytes(raw)
    first, told_first = strips_of(text)
    second, told = strips_of(binary)
    assert told["delay_s"] == pytest.approx(told_first["delay_s"], abs=0.1)
    assert first["strip"].tolist() == second["strip"].tolist()
    np.testing.assert_allclose(first["yield_t_ha"], second["yield_t_ha"], rtol=0.005)
    assert first["n"].tolist() == pytest.approx(second["n"].tolist(), abs=2)
