"""Task data of ISO 11783-10: sets put together by hand, with the traps real terminals set.

The names of elements and attributes are those of the standard's public schemas; numbers of
channels (DDI) and their units those of the data dictionary of ISO 11783-11.
"""

from __future__ import annotations

import struct
import zipfile

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trialkit.errors import LogError, LogWarning, TrialkitError
from trialkit.harvest import (
    Screening,
    find_delay,
    propose_columns,
    read_log,
    screen,
    screening_account,
    shift_flow,
    split_passes,
)

ROOT = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<ISO11783_TaskData VersionMajor="{version}" '
    'VersionMinor="1" ManagementSoftwareManufacturer="ours" ManagementSoftwareVersion="1" '
    'DataTransferOrigin="2">{inside}</ISO11783_TaskData>'
)
DEVICE = (
    '<DVC A="DVC-1" B="combine" D="A000860020800001" F="31" G="FF000000406564">'
    '<DET A="DET-1" B="1" C="1" E="0" F="0"><DOR A="10"/><DOR A="20"/></DET>'
    '<DET A="DET-2" B="2" C="4" E="1" F="1"><DOR A="11"/></DET>'
    '<DET A="DET-3" B="3" C="4" E="2" F="1"><DOR A="12"/></DET>{more}</DVC>'
)
PLAIN = DEVICE.format(more="")
#: Width 67, yield by area 84, flow 87, total 90, moisture 99, work state 141, latency 143.
CHANNELS = ["0043", "0054", "0057", "005A", "0063", "008D", "008F"]
WIDTH, AREA, FLOW, TOTAL, MOISTURE, WORK, LATENCY = range(7)


def header(channels=CHANNELS, position='A="" B="" D=""', elements=None):
    elements = elements or ["DET-1"] * len(channels)
    lines = "".join(
        f'<DLV A="{ddi}" B="" C="{part}"/>' for ddi, part in zip(channels, elements, strict=True)
    )
    return f'<?xml version="1.0"?><TIM A="" D="4"><PTN {position}/>{lines}</TIM>'


def record(second, north, *pairs, east=85.0, status=1):
    place = struct.pack("<iiB", round(north * 1e7), round(east * 1e7), status)
    values = b"".join(struct.pack("<Bi", channel, value) for channel, value in pairs)
    return struct.pack("<IH", int(1000 * second), 16_764) + place + bytes([len(pairs)]) + values


def pass_north(count=60, *, start=0, first=(), lat=-38.5, **where):
    """A machine at 2 m/s that writes flow and total each second: 8 kg/s, 4 t/ha at 10 m."""
    pairs = [(FLOW, 8_000_000), (MOISTURE, 125_000)]
    return b"".join(
        record(
            start + n,
            lat + n * 2 / 111_195,
            *(first if n == 0 else ()),
            *pairs,
            (TOTAL, 8 * (start + n)),
            **where,
        )
        for n in range(count)
    )


WHOLE = ((WIDTH, 10_000), (WORK, 1))


@pytest.fixture
def task_set(tmp_path):
    """Write a set: files by name, TASKDATA.XML made of tasks and machines."""

    def make(logs=None, *, tasks=None, device=PLAIN, version=4, home="TASKDATA",
             names=("TASKDATA.XML", "{}.xml", "{}.bin"), **files):  # fmt: skip
        folder = tmp_path / home
        folder.mkdir(parents=True, exist_ok=True)
        logs = logs if logs is not None else {"TLG00001": (header(), pass_north(first=WHOLE))}
        tasks = tasks if tasks is not None else [list(logs)]
        inside = device + "".join(
            f'<TSK A="TSK-{n}" G="4">'
            + "".join(f'<TLG A="{name}" C="1"/>' for name in task)
            + "</TSK>"
            for n, task in enumerate(tasks)
        )
        (folder / names[0]).write_text(ROOT.format(version=version, inside=inside))
        for name, (head, raw) in logs.items():
            (folder / names[1].format(name)).write_text(head)
            if raw is not None:
                (folder / names[2].format(name)).write_bytes(raw)
        for name, content in files.items():
            (folder / name.replace("__", ".")).write_bytes(content)
        return folder

    return make


def read(path, **changes):
    return read_log(path, **({"standard_moisture_pct": 12.5} | changes))


def test_a_log_reads_as_it_was_cut(task_set):
    log = read(task_set())
    assert len(log) == 60
    assert log["yield_t_ha"].iloc[5:].median() == pytest.approx(4.0, rel=0.01)
    assert log["swath_m"].unique().tolist() == [10.0]
    assert log["moisture_pct"].unique().tolist() == [12.5]
    assert log["time"].iloc[0] == pd.Timestamp("2025-11-24 00:00:00")
    assert log["file"].unique().tolist() == ["TLG00001.bin"]
    assert log["row"].tolist() == list(range(1, 61))


@pytest.mark.parametrize("version", ["0", "1", "3", "4", ""])
def test_no_version_is_refused(task_set, version):
    assert len(read(task_set(version=version))) == 60


@pytest.mark.parametrize(
    "names",
    [
        ("TASKDATA.XML", "{}.XML", "{}.BIN"),
        ("TaskData.xml", "{}.xml", "{}.bin"),
        ("taskdata.xml", "tlg00001.xml", "tlg00001.Bin"),
    ],
)
def test_upper_and_lower_case(task_set, names):
    folder = task_set(names=names)
    assert len(read(folder)) == 60
    assert len(read(folder / names[0])) == 60


def test_four_digits_and_a_log_numbered_nought(task_set):
    logs = {"TLG0000": (header(), pass_north(first=WHOLE))}
    assert len(read(task_set(logs))) == 60


def test_a_zip_with_blanks_in_folder_names_and_litter(task_set, tmp_path):
    folder = task_set()
    packed = tmp_path / "from the terminal.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for path in folder.iterdir():
            archive.write(path, f"my field 2025/TASKDATA/{path.name}")
            archive.writestr(f"__MACOSX/my field 2025/TASKDATA/._{path.name}", b"\x00\x05\x16\x07")
            archive.writestr(f"my field 2025/TASKDATA/._{path.name}", b"\x00\x05\x16\x07")
    pd.testing.assert_frame_equal(read(packed), read(folder))


def test_one_row_a_yield_update_whatever_else_is_written(task_set):
    # Between two yields the machine writes other channels seven times a second.
    raw = record(0, -38.5, *WHOLE, (MOISTURE, 125_000))
    for n in range(40):
        north = -38.5 + n * 2 / 111_195
        raw += record(n, north, (FLOW, 8_000_000))
        raw += b"".join(record(n + k / 8, north, (TOTAL, n)) for k in range(1, 8))
    log = read(task_set({"TLG00001": (header(), raw)}))
    assert len(log) == 40
    assert log["grain_kg"].iloc[1:].tolist() == [8.0] * 39
    assert log["swath_m"].tolist() == [10.0] * 40


def test_nothing_is_carried_from_one_log_to_the_next(task_set):
    logs = {
        "TLG00001": (header(), pass_north(first=WHOLE)),
        "TLG00002": (header(), pass_north(start=100, lat=-38.49)),
    }
    log = read(task_set(logs, device=""))
    assert log.groupby("file", observed=True)["swath_m"].count().tolist() == [60, 0]
    assert read(task_set(logs, device=""), harvester_m=12.0)["swath_m"].iloc[-1] == 12.0


def test_a_header_that_is_up_cuts_no_ground_though_grain_still_flows(task_set):
    raw = pass_north(30, first=WHOLE) + pass_north(10, start=30, first=((WORK, 0),))
    log = read(task_set({"TLG00001": (header(), raw)}))
    assert log["swath_m"].tolist() == [10.0] * 30 + [0.0] * 10
    assert log["flow_kg_s"].tolist() == [8.0] * 40
    assert log["yield_t_ha"].iloc[1:].isna().tolist() == [False] * 29 + [True] * 10


def test_a_width_from_the_machines_properties(task_set):
    more = '<DPT A="10" B="0043" C="9400"/>'
    log = read(task_set({"TLG00001": (header(), pass_north(first=((WORK, 1),)))},
                        device=DEVICE.format(more=more)))  # fmt: skip
    assert log["swath_m"].unique().tolist() == [9.4]


def test_a_width_by_sections_is_added_up(task_set):
    more = '<DPT A="11" B="0043" C="4500"/><DPT A="12" B="0043" C="4700"/>'
    device = DEVICE.format(more=more)
    log = read(task_set({"TLG00001": (header(), pass_north(first=((WORK, 1),)))}, device=device))
    assert log["swath_m"].unique().tolist() == [9.2]
    channels = [*CHANNELS, "0043"]
    parts = ["DET-2", *["DET-1"] * 6, "DET-3"]
    raw = pass_north(first=((WIDTH, 4500), (7, 3000), (WORK, 1)))
    log = read(task_set({"TLG00001": (header(channels, elements=parts), raw)}))
    assert log["swath_m"].unique().tolist() == [7.5]


def test_the_latency_is_declared_and_not_applied(task_set):
    raw = pass_north(first=(*WHOLE, (LATENCY, -14_999)))
    log = read(task_set({"TLG00001": (header(), raw)}))
    assert log["latency_s"].unique().tolist() == [14.999]
    assert log["flow_kg_s"].tolist() == [8.0] * 60
    with pytest.warns(LogWarning, match=r"delay of 15.0 s is what the machine declares"):
        delay = find_delay(split_passes(log))
    assert (delay.source, delay.sharp) == ("declared", False)
    assert delay.delay_s == pytest.approx(14.999)
    # The grain of the last 15 s was cut before; the first record has no step behind it.
    missing = shift_flow(log, delay.delay_s)["yield_t_ha"].isna()
    assert missing.tolist() == [True] + [False] * 44 + [True] * 15


def test_the_latency_and_times_to_ignore_as_properties(task_set):
    more = '<DPT A="10" B="008F" C="-12000"/><DPT A="20" B="0104" C="15000"/>'
    log = read(task_set(device=DEVICE.format(more=more)))
    assert log["latency_s"].unique().tolist() == [12.0]
    assert log["lead_ignore_s"].unique().tolist() == [15.0]


# DDI 239, yield hold status: 1 says that yields are held constant; a real combine always writes 3,
# which says that it cannot tell.
def test_yields_that_the_machine_holds_are_left_out(task_set):
    channels = [*CHANNELS, "00EF"]
    raw = pass_north(40, first=(*WHOLE, (7, 0)))
    raw += b"".join(
        record(
            40 + n,
            -38.5 + (40 + n) * 2 / 111_195,
            *(((7, 1),) if n == 0 else ()),
            (FLOW, 8_000_000),
            (MOISTURE, 125_000),
        )
        for n in range(20)
    )
    raw += pass_north(40, start=60, first=((7, 0),), lat=-38.5 + 120 / 111_195)
    log = read(task_set({"TLG00001": (header(channels), raw)}))
    assert log["yield_held"].tolist() == [0.0] * 40 + [1.0] * 20 + [0.0] * 40
    screened = screen(split_passes(log), Screening(rules=("held yield",)))
    held = screened["reason"] == "held yield"
    assert held.to_numpy().nonzero()[0].tolist() == list(range(40, 60))
    account = screening_account(screened).set_index("reason")
    assert account.loc["held yield", "records"] == 20


@pytest.mark.parametrize("state", [0, 2, 3])
def test_a_hold_status_that_says_nothing_makes_no_column(task_set, state):
    raw = pass_north(first=(*WHOLE, (7, state)))
    log = read(task_set({"TLG00001": (header([*CHANNELS, "00EF"]), raw)}))
    assert "yield_held" not in log


# Figures of a real combine, whose header is a machine of its own without a declared connection.
GEOMETRY = (
    '<DVC A="DVC-1" D="A0"><DET A="DET-1" B="1" C="1" F="0"/>'
    '<DET A="DET-2" B="2" C="7" F="1"><DOR A="20"/><DOR A="21"/></DET>'
    '<DET A="DET-3" B="3" C="6" F="1"><DOR A="30"/></DET>'
    '<DPT A="20" B="0086" C="870"/><DPT A="21" B="0087" C="0"/><DPT A="30" B="0086" C="2322"/>'
    "</DVC>"
    '<DVC A="DVC-2" D="A1"><DET A="DET-11" B="1" C="1" F="0"/>'
    '<DET A="DET-12" B="2" C="6" F="1"><DOR A="20"/></DET>'
    '<DET A="DET-13" B="3" C="2" F="1"><DOR A="30"/></DET>'
    '<DPT A="20" B="0086" C="0"/><DPT A="30" B="0086" C="1372"/></DVC>'
)


@pytest.mark.parametrize("joined", ["", '<CNN A="DVC-1" B="DET-3" C="DVC-2" D="DET-12"/>'])
def test_where_the_header_is_by_the_machines_own_figures(task_set, joined):
    parts = ["DET-13", *["DET-1"] * 4, "DET-13", "DET-1"]
    logs = {"TLG00001": (header(elements=parts), pass_north(first=WHOLE))}
    folder = task_set(logs, device=GEOMETRY)
    path = folder / "TASKDATA.XML"
    path.write_text(path.read_text().replace('G="4">', f'G="4">{joined}'))
    log = read(folder)
    assert log["header_ahead_m"].unique().tolist() == [2.824]
    assert log["header_right_m"].unique().tolist() == [0.0]
    with pytest.warns(LogWarning, match=r"cuts 2\.82 m ahead of the antenna, as the task data"):
        moved = split_passes(log)
    north = (moved["latitude"] - log["latitude"]) * 111_195
    assert north.to_numpy() == pytest.approx(2.824, abs=0.02)
    # What trial.toml says goes before.
    assert read(folder, header_ahead_m=0)["header_ahead_m"].unique().tolist() == [0.0]


def test_several_crops_and_fields_in_one_set(task_set):
    logs = {
        "TLG00001": (header(), pass_north(first=WHOLE)),
        "TLG00002": (header(), pass_north(40, first=WHOLE, start=200, lat=-38.4)),
    }
    folder = task_set(logs, tasks=[["TLG00001"], ["TLG00002"]])
    path = folder / "TASKDATA.XML"
    text = path.read_text()
    for number, field in (("0", "PFD1"), ("1", "PFD-2")):
        text = text.replace(f'"TSK-{number}" G', f'"TSK-{number}" E="{field}" G')
    about = (
        '<CTP A="CTP1" B="oats"><CVT A="CVT1" B="early"/></CTP><CTP A="CTP-2" B="barley"/>'
        '<PFD A="PFD1" C="hill" D="0" G="CTP1" H="CVT1"/><PFD A="PFD-2" C="flat" D="0" G="CTP-2"/>'
    )
    path.write_text(text.replace("</ISO", f"{about}</ISO"))
    with (
        pytest.warns(LogWarning, match=r"'crop' names 2 crops. Records of 'oats' \(60\), 'barley'"),
        pytest.warns(LogWarning, match=r"'partfield' names 2 fields.*'hill' \(60\), 'flat' \(40\)"),
    ):
        assert len(read(folder, crop="Oats")) == 100
    assert len(read(folder, only={"crop": "oats"})) == 60
    assert len(read(folder, only={"partfield": "FLAT"})) == 40
    with pytest.raises(LogError, match=r"'crop': no record is of 'wheat'. Records of 'oats' \(60"):
        read(folder, only={"crop": "wheat"})
    assert "crop" not in read(folder, only={"crop": "oats"})


def test_yield_by_area_alone_becomes_grain_by_width_and_speed(task_set):
    # 400,000 mg/m2 is 4 t/ha.
    channels = ["0043", "0054", "0063"]
    raw = b"".join(
        record(n, -38.5 + n * 2 / 111_195, (0, 10_000), (1, 400_000), (2, 125_000))
        for n in range(40)
    )
    log = read(task_set({"TLG00001": (header(channels), raw)}, device=""))
    assert log["yield_t_ha"].iloc[2:].to_numpy() == pytest.approx(4.0, rel=0.02)
    assert log["flow_kg_s"].iloc[2:].to_numpy() == pytest.approx(8.0, rel=0.02)


def test_speed_is_logged_in_millimetres_a_second(task_set):
    channels = [*CHANNELS, "018D"]
    raw = pass_north(first=(*WHOLE, (7, 2000)))
    log = read(task_set({"TLG00001": (header(channels), raw)}))
    assert log["speed_m_s"].unique().tolist() == [2.0]
    assert log["yield_t_ha"].to_numpy() == pytest.approx(4.0)


def test_dry_grain_is_at_the_reference_moisture(task_set):
    channels = ["0043", "00B6", "00B8"]
    raw = b"".join(
        record(n, -38.5 + n * 2 / 111_195, (0, 10_000), (1, 8_000_000), (2, 150_000))
        for n in range(40)
    )
    log = read(task_set({"TLG00001": (header(channels), raw)}, device=""))
    assert log["moisture_pct"].unique().tolist() == [15.0]
    assert log["yield_t_ha"].iloc[3:].median() == pytest.approx(4.0 * 85 / 87.5, rel=0.01)


def test_dry_grain_at_a_moisture_nobody_wrote_is_said(task_set):
    raw = b"".join(
        record(n, -38.5 + n * 2 / 111_195, (0, 10_000), (1, 8_000_000)) for n in range(40)
    )
    folder = task_set({"TLG00001": (header(["0043", "00B6"]), raw)}, device="")
    with (
        pytest.warns(LogWarning, match="dry grain and not at which moisture"),
        pytest.warns(LogWarning, match="no column for moisture_pct"),
    ):
        read(folder)


def test_logs_of_more_than_255_channels_lie_side_by_side(task_set):
    # The same records twice: width and work state in one log, the grain in the other.
    first = b"".join(record(n, -38.5 + n * 2 / 111_195, *((0, 10_000), (1, 1))) for n in range(40))
    second = b"".join(
        record(n, -38.5 + n * 2 / 111_195, (0, 8_000_000), (1, 125_000)) for n in range(40)
    )
    logs = {
        "TLG00001": (header(["0043", "008D"]), first),
        "TLG00002": (header(["0057", "0063"]), second),
    }
    log = read(task_set(logs, tasks=[["TLG00001", "TLG00002"]], device=""))
    assert len(log) == 40
    assert log["swath_m"].unique().tolist() == [10.0]
    assert log["yield_t_ha"].iloc[3:].median() == pytest.approx(4.0, rel=0.01)


def test_one_log_in_two_tasks_counts_once(task_set):
    assert len(read(task_set(tasks=[["TLG00001"], ["TLG00001"]]))) == 60


def test_missing_empty_and_short_logs_are_said_and_the_rest_is_read(task_set):
    logs = {
        "TLG00001": (header(), pass_north(first=WHOLE)),
        "TLG00002": (header(), None),
        "TLG00003": (header(), b""),
        "TLG00004": (header([]), record(5000, -38.5)),
        "TLG00005": (header(), pass_north(first=WHOLE, start=200)[:-3]),
    }
    folder = task_set(logs, tasks=[[*logs, "TLG00099"]])
    with (
        pytest.warns(
            LogWarning, match=r"Not there, though the tasks name them: 2 logs .TLG00002, TLG0"
        ),
        pytest.warns(LogWarning, match=r"TLG00005.bin is damaged: its last record is cut"),
    ):
        log = read(folder)
    assert len(log) == 60 + 59


def test_a_header_that_breaks_off_is_read_as_far_as_it_goes(task_set):
    cut = header().replace("</TIM>", "")
    assert len(read(task_set({"TLG00001": (cut, pass_north(first=WHOLE))}))) == 60
    assert len(read(task_set({"TLG00001": (cut + "<DLV A=", pass_north(first=WHOLE))}))) == 60


def test_an_encoding_that_is_misspelt_and_a_micro_sign(task_set):
    folder = task_set()
    path = folder / "TASKDATA.XML"
    text = path.read_text().replace("UTF-8", "ISO8859-1").replace("combine", "µ combine")
    path.write_bytes(text.encode("latin-1"))
    assert len(read(folder)) == 60
    path.write_bytes(text.replace("ISO8859-1", "UTF-8").encode("latin-1"))
    assert len(read(folder)) == 60
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("ISO8859-1", "UTF-8").encode())
    assert len(read(folder)) == 60


def test_a_machine_in_a_file_of_its_own_and_attributes_in_lower_case(task_set):
    more = '<dpt/><DPT a="10" b="0043" c="9400"/>'
    device = DEVICE.format(more=more)
    folder = task_set(
        {"TLG00001": (header(), pass_north(first=((WORK, 1),)))},
        device='<XFR A="DVC00000" B="1"/>',
        DVC00000__XML=f"<XFC>{device}</XFC>".encode(),
    )
    assert read(folder)["swath_m"].unique().tolist() == [9.4]


def test_maker_names_and_odd_devices_are_passed_over(task_set):
    device = '<P094_X P094_Y="1"/><DVC A="DVC-9" F="GPS" D="" G=""/>' + DEVICE.format(more="")
    assert len(read(task_set(device=device))) == 60


def test_constants_of_a_header_are_not_in_the_binary(task_set):
    # PTN D="1": no byte of status. DLV B="10000": a width that is the same throughout.
    place = "<ii"
    raw = b"".join(
        struct.pack("<IH", 1000 * n, 16_764)
        + struct.pack(place, round((-38.5 + n * 2 / 111_195) * 1e7), round(85.0 * 1e7))
        + struct.pack("<BBiBi", 2, 1, 8_000_000, 2, 125_000)
        for n in range(40)
    )
    head = header(["0043", "0057", "0063"], position='A="" B="" D="1"')
    head = head.replace('A="0043" B=""', 'A="0043" B="10000"')
    log = read(task_set({"TLG00001": (head, raw)}, device=""))
    assert len(log) == 40
    assert log["swath_m"].unique().tolist() == [10.0]
    assert log["yield_t_ha"].iloc[5:].median() == pytest.approx(4.0, rel=0.01)


def test_spikes_of_yield_by_area_at_crawling_speed_do_not_count(task_set):
    # 3,359 t/ha was seen in a real log; the flow beside it stays sane, so the flow is taken.
    raw = b"".join(
        record(n, -38.5 + n * 2 / 111_195, *(WHOLE if n == 0 else ()), (AREA, 335_930_400),
               (FLOW, 8_000_000), (MOISTURE, 125_000))
        for n in range(40)
    )  # fmt: skip
    assert read(task_set({"TLG00001": (header(), raw)}))["yield_t_ha"].max() < 4.1


def test_flow_without_a_width_yet(task_set):
    raw = pass_north(20) + pass_north(20, start=20, first=WHOLE, lat=-38.4996)
    log = read(task_set({"TLG00001": (header(), raw)}, device=""))
    assert log["yield_t_ha"].notna().tolist() == [False] * 20 + [True] * 20
    filled = read(task_set({"TLG00001": (header(), raw)}, device=""), harvester_m=10.0)
    assert filled["yield_t_ha"].notna().tolist() == [False] + [True] * 39


def test_heights_that_are_nought_throughout_are_no_heights(task_set):
    position = 'A="" B="" C="" D=""'
    raw = b"".join(
        struct.pack("<IHiiiB", 1000 * n, 16_764, -385_000_000 + 180 * n, 850_000_000, up, 15)
        + struct.pack("<BBi", 1, FLOW, 8_000_000)
        for n, up in enumerate([0] * 40)
    )
    folder = task_set({"TLG00001": (header(position=position), raw)})
    with pytest.warns(LogWarning, match="no column for moisture"):
        log = read(folder, harvester_m=10.0)
    assert "elevation_m" not in log
    assert log["latitude"].notna().all()


def test_simulated_positions_that_leap_between_continents(task_set):
    raw = pass_north(100, first=WHOLE, status=8) + pass_north(100, start=100, lat=52.1, status=8)
    log = read(task_set({"TLG00001": (header(), raw)}))
    assert len(log) == 200
    assert split_passes(log)["pass_id"].max() == 2


def test_all_records_of_one_time_stamp(task_set):
    raw = b"".join(
        record(0, -38.5 + n * 2 / 111_195, *WHOLE, (FLOW, 8_000_000 + n), (MOISTURE, 125_000))
        for n in range(40)
    )
    log = read(task_set({"TLG00001": (header(), raw)}))
    assert log["flow_kg_s"].tolist() == pytest.approx([8 + n / 1e6 for n in range(40)])


def test_the_order_of_elements_and_files_beside_the_set_do_not_matter(task_set):
    folder = task_set(LINKLIST__XML=b"<x/>", TLG00001__syn=b"1", COV_1__BIN=b"\x00" * 90)
    text = (folder / "TASKDATA.XML").read_text()
    start, end = text.index("<TSK"), text.index("</ISO")
    task, device = text[start:end], text[text.index("<DVC") : start]
    (folder / "TASKDATA.XML").write_text(
        text[: text.index("<DVC")] + '<PFD A="PFD1" C="x" D="0"/>' + task + device + text[end:]
    )
    assert len(read(folder)) == 60


def test_records_without_a_fix_and_a_whole_log_without(task_set):
    def lost(start):
        return b"".join(record(start + n, 0.0, (FLOW, 1), east=0.0, status=15) for n in range(9))

    logs = {
        "TLG00001": (header(), pass_north(first=WHOLE) + lost(300)),
        "TLG00002": (header(), lost(400)),
    }
    log = read(task_set(logs))
    assert len(log) == 78
    assert log["latitude"].isna().sum() == 18


def test_the_flow_is_held_against_the_machines_own_total(task_set):
    raw = b"".join(
        record(n, -38.5 + n * 2 / 111_195, *(WHOLE if n == 0 else ()), (FLOW, 8_000_000),
               (TOTAL, 20 * n), (MOISTURE, 125_000))
        for n in range(400)
    )  # fmt: skip
    with pytest.warns(LogWarning, match=r"flow adds up to 3.2 t, the machine's own total to 8.0 t"):
        read(task_set({"TLG00001": (header(), raw)}))


def test_a_display_that_contradicts_the_log_is_said(task_set):
    # A real machine shows its width ten times too large: 0.0328 ft a millimetre.
    more = '<DPD A="10" B="0043" C="1" D="9" F="30"/><DVP A="30" B="0" C="0.0328" D="1" E="ft"/>'
    with pytest.warns(LogWarning, match=r"display shows the working width 10 times as large"):
        log = read(task_set(device=DEVICE.format(more=more)))
    assert log["swath_m"].unique().tolist() == [10.0]


def test_no_columns_are_to_be_confirmed(task_set):
    assert propose_columns(task_set()).empty
    with pytest.raises(LogError, match=r"says itself what its columns are, and has none called 'F"):
        read(task_set(), columns={"flow_kg_s": "Flow"})


@pytest.mark.parametrize(
    ("bomb", "message"),
    [
        ('<!DOCTYPE a [<!ENTITY x "y"><!ENTITY z "&x;&x;&x;">]><ISO11783_TaskData>&z;', "entities"),
        (
            '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]><ISO11783_TaskData>&x;',
            "entities",
        ),
        ('<!DOCTYPE a SYSTEM "http://localhost/x.dtd"><ISO11783_TaskData/>', "entities"),
        ("<html/>", "no task data of ISO 11783-10"),
        ("not XML at all", "not XML, or it is damaged"),
        ("", "not XML, or it is damaged"),
        ("<ISO11783_TaskData>", "breaks off before its end"),
        ("<ISO11783_TaskData/>", "name no time log.*a plan for a machine"),
    ],
)
def test_bad_xml(task_set, bomb, message):
    folder = task_set()
    (folder / "TASKDATA.XML").write_text(bomb)
    with pytest.raises(LogError, match=message):
        read(folder)


def test_a_set_without_yields_says_what_it_holds(task_set):
    logs = {"TLG00001": (header(["0006", "0074"]), record(0, -38.5, (0, 5)))}
    with pytest.raises(LogError, match=r"no time log holds a yield.*DDI\): 6, 116"):
        read(task_set(logs))
    with pytest.raises(
        LogError,
        match=r"no time log holds a yield.*Not there, though the tasks name them: 1 log .TLG00001",
    ):
        read(task_set({"TLG00001": (header(), None)}, home="another"))


def test_two_sets_in_one_folder(task_set, tmp_path):
    task_set(home="field/a")
    task_set(home="field/b")
    with pytest.raises(LogError, match="here is 2 of them"):
        read(tmp_path / "field")


def test_a_real_harvest_log(shared_data):
    """Two logs of a forage harvester, against figures decoded independently (their README)."""
    with (
        pytest.warns(LogWarning, match="Not there, though the tasks name them: 19 logs"),
        pytest.warns(LogWarning, match="'partfield' names 2 fields. Records of '.*4,716.*187"),
    ):
        log = read_log(shared_data / "taskdata", standard_moisture_pct=65.0)
    first, second = (log[log["file"] == f"TLG0000{n}.bin"] for n in (1, 6))
    assert (len(first), len(second)) == (4716, 187)
    assert first["time"].iloc[[0, -1]].astype(str).tolist() == [
        "2020-01-02 17:30:20",
        "2020-01-02 19:10:53",
    ]
    assert first["latitude"].agg(["min", "max"]).tolist() == pytest.approx(
        [54.5807017, 54.5830756], abs=5e-8
    )
    assert first["longitude"].agg(["min", "max"]).tolist() == pytest.approx(
        [10.2068501, 10.2119904], abs=5e-8
    )
    assert first["flow_kg_s"].median() == pytest.approx(46.233148, abs=5e-7)
    assert second["flow_kg_s"].median() == pytest.approx(57.266437, abs=5e-7)
    assert second["moisture_pct"].agg(["median", "max"]).tolist() == [58.29, 62.7]
    assert first["moisture_pct"].max() == 64.7
    assert (first["swath_m"] > 0).mean() == pytest.approx(0.588, abs=5e-4)
    assert (second["swath_m"] > 0).mean() == pytest.approx(0.674, abs=5e-4)
    for part, total_kg in ((first, 259_605), (second, 10_177)):
        seconds = part["time"].diff().dt.total_seconds()
        grain = (part["flow_kg_s"] * seconds).sum()
        assert grain == pytest.approx(total_kg, rel=0.005)


@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(raw=st.binary(max_size=300), head=st.one_of(st.just(b""), st.binary(max_size=120)))
@pytest.mark.filterwarnings("ignore::trialkit.errors.TrialkitWarning")
def test_any_bytes_end_in_a_log_or_an_error_of_our_own(task_set, raw, head):
    folder = task_set()
    (folder / "TLG00001.bin").write_bytes(pass_north(5, first=WHOLE) + raw)
    if head:
        (folder / "TLG00001.xml").write_bytes(head)
    try:
        log = read(folder)
    except TrialkitError:
        return
    assert len(log) >= 1
    assert np.isfinite(log["row"]).all()
