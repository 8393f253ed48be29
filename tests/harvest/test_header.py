"""The header is ahead of the antenna: declared by task data or told, and positions moved there.

Places on a machine are X ahead (DDI 134) and Y to the right (DDI 135), mm, of a reference point of
its own, by ISO 11783-10 and its data dictionary.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from trialkit import simulate
from trialkit.errors import LogError, LogWarning
from trialkit.harvest import (
    Screening,
    assign_strips,
    estimate_delay,
    read_log,
    screen,
    shift_flow,
    split_passes,
    strip_table,
)
from trialkit.harvest.readers.geometry import Place, header_place
from trialkit.harvest.readers.task_set import Part

METRES_A_DEGREE = 111_195.0
DEVICE, FUNCTION, SECTION, CONNECTOR, ANTENNA = 1, 2, 4, 6, 7

#: Positions of a simulated machine waver by some centimetres, headings with them by a degree or so.
NEAR_M = 0.25
#: What the task asks of a delay, s.
WITHIN_S = 1.0


def part(kind, machine, number, *, ahead=None, right=None, above=1, **more):
    constants = {} if ahead is None else {134: ahead}
    constants |= {} if right is None else {135: right}
    constants |= {int(name[3:]): value for name, value in more.items()}
    return Part(kind, constants, {}, machine, number, above)


#: Figures of a real combine and its header, as an independent reader of its task data gives them:
#: connector 2,322 mm ahead, antenna 870; on the header connector 0, cut 1,372.
COMBINE = {
    "DET-1": part(DEVICE, "DVC-1", 1, above=0),
    "DET-2": part(ANTENNA, "DVC-1", 2, ahead=870, right=0),
    "DET-3": part(CONNECTOR, "DVC-1", 3, ahead=2322, right=0),
}
HEADER = {
    "DET-11": part(DEVICE, "DVC-2", 1, above=0),
    "DET-12": part(CONNECTOR, "DVC-2", 2, ahead=0, right=0),
    "DET-13": part(FUNCTION, "DVC-2", 3, ahead=1372),
}


def test_a_real_combine_cuts_2_824_m_ahead_of_its_antenna():
    parts = COMBINE | HEADER
    assert header_place(parts, [], ["DET-13"]) == Place(2.824, 0.0)
    assert header_place(parts, [("DET-3", "DET-12")], ["DET-13"]) == Place(2.824, 0.0)
    assert header_place(parts, [("DET-12", "DET-3")], ["DET-13"]) == Place(2.824, 0.0)


def test_a_header_that_is_part_of_the_machine():
    own = COMBINE | {"DET-4": part(FUNCTION, "DVC-1", 4, ahead=4100, right=-250)}
    assert header_place(own, [], ["DET-4"]) == Place(3.23, -0.25)
    # A part without a place stands where the part it belongs to stands.
    below = own | {"DET-5": part(FUNCTION, "DVC-1", 5, above=4)}
    assert header_place(below, [], ["DET-5"]) == Place(3.23, -0.25)


def test_an_antenna_to_the_left_has_the_header_on_its_right():
    beside = COMBINE | {"DET-2": part(ANTENNA, "DVC-1", 2, ahead=870, right=-400)} | HEADER
    assert header_place(beside, [], ["DET-13"]) == Place(2.824, 0.4)


def test_a_header_of_sections_cuts_in_their_middle():
    """Outermost sections of the real header at −5,093 and 5,093 mm; one more on the right side."""
    sections = {
        f"DET-2{n}": part(SECTION, "DVC-2", 20 + n, ahead=1372, right=right, above=3)
        for n, right in enumerate((-5093, 0, 5093, 5877))
    }
    bare = HEADER | {"DET-13": part(FUNCTION, "DVC-2", 3)}
    assert header_place(COMBINE | bare | sections, [], ["DET-13"]) == Place(2.824, 0.392)


@pytest.mark.parametrize(
    "parts",
    [
        HEADER,  # no antenna
        COMBINE | {"DET-13": part(FUNCTION, "DVC-2", 3)},  # a header without a place
        COMBINE | {"DET-13": HEADER["DET-13"]},  # nothing to hang it on
        COMBINE | HEADER | {"DET-13": part(FUNCTION, "DVC-2", 3, ahead=137_200)},  # a slip
        COMBINE | HEADER | {"DET-13": part(FUNCTION, "DVC-2", 3, above=3)},  # its own parent
        # two harvesters, and nobody says on which the header hangs
        COMBINE
        | HEADER
        | {"DET-31": part(ANTENNA, "DVC-3", 2, ahead=0), "DET-32": part(CONNECTOR, "DVC-3", 3)},
    ],
)
def test_what_the_task_data_do_not_settle_is_not_guessed(parts):
    assert header_place(parts, [], ["DET-13", "DET-99"]) is None


def test_of_several_connectors_the_foremost_carries_the_header():
    hitch = {"DET-4": part(CONNECTOR, "DVC-1", 4, ahead=-3500)}
    assert header_place(COMBINE | hitch | HEADER, [], ["DET-13"]) == Place(2.824, 0.0)


@pytest.fixture
def at_antenna():
    """A simulated log, its positions moved from the header to an antenna behind and to its left."""

    def make(ahead_m, right_m, *, seed=3, **kinds):
        layout = simulate.lay_strips(["untreated", "dressed"], blocks=4, seed=seed, length_m=300)
        season = simulate.harvest_trial(layout, seed=seed + 1, **kinds)
        heading = np.radians(season.records["heading_deg"].to_numpy())
        east = -ahead_m * np.sin(heading) - right_m * np.cos(heading)
        north = -ahead_m * np.cos(heading) + right_m * np.sin(heading)
        log = season.log.copy()
        log["latitude"] += north / METRES_A_DEGREE
        scale = METRES_A_DEGREE * np.cos(np.radians(season.log["latitude"]))
        log["longitude"] += east / scale
        return layout, season, log

    return make


def away_m(log, other):
    """Metres between the places of two logs."""
    north = (log["latitude"] - other["latitude"]) * METRES_A_DEGREE
    east = (log["longitude"] - other["longitude"]) * METRES_A_DEGREE
    return np.hypot(north, east * np.cos(np.radians(log["latitude"])))


def told(log, ahead_m, right_m=0.0):
    return log.assign(header_ahead_m=ahead_m, header_right_m=right_m)


@pytest.mark.parametrize(("ahead_m", "right_m"), [(5.0, 0.0), (3.0, -1.5), (-2.0, 0.5)])
def test_records_come_back_to_where_the_header_was(at_antenna, ahead_m, right_m):
    _, season, log = at_antenna(ahead_m, right_m)
    with pytest.warns(LogWarning, match=r"The header cuts .* the antenna, as the task data or"):
        moved = split_passes(told(log, ahead_m, right_m))
    driving = (moved["pass_id"] > 0).to_numpy() & season.records["header_down"].to_numpy()
    middle = driving & (season.records["from_start_s"] > 10) & (season.records["to_end_s"] > 10)
    assert away_m(moved, season.log)[middle].max() < NEAR_M
    assert away_m(log, season.log)[middle].min() > np.hypot(ahead_m, right_m) - NEAR_M
    # Degrees and metres agree, and a second look moves nothing more.
    again = split_passes(moved)
    assert away_m(again, moved).max() < 1e-6
    assert (again["x_m"] - moved["x_m"])[driving].std() < 1e-4


def test_without_an_offset_nothing_moves(at_antenna):
    _, _, log = at_antenna(0.0, 0.0)
    plain = split_passes(log)
    pd.testing.assert_frame_equal(split_passes(told(log, 0.0))[list(plain)], plain)
    assert (plain["longitude"] == log["longitude"]).all()


def test_the_ground_that_was_cut_is_recovered(at_antenna):
    """8 m ahead: the first 8 m of each pass through a strip would count as other ground."""
    layout, season, log = at_antenna(8.0, 0.0)
    true = season.records["strip"].to_numpy()
    cut = season.records["header_down"].to_numpy() & (true != "")

    def right(placed):
        return (placed["strip"].fillna("").to_numpy() == true)[cut].mean()

    every = Screening(rules=())
    raw = assign_strips(screen(split_passes(log), every), layout)
    with pytest.warns(LogWarning, match="8.00 m ahead of the antenna"):
        moved = split_passes(told(log, 8.0))
    mended = assign_strips(screen(moved, every), layout)
    # More records than ground, for a pass begins slowly; what is left are positions that err.
    assert right(raw) < 1 - 8 / 300
    assert right(mended) > 0.996


def test_an_offset_that_is_not_told_looks_like_a_shorter_delay(at_antenna):
    """Grain is 11 s late; at 1.9 m/s a header 7.6 m ahead takes 4 s off that, and gives them back.

    Seen from the antenna a place is cut before it is reached, so that much less late is its grain.
    """
    layout, season, log = at_antenna(7.6, 0.0)
    seconds = 7.6 / season.machine.speed_m_s
    assert estimate_delay(log).delay_s == pytest.approx(11.0 - seconds, abs=WITHIN_S)
    with pytest.warns(LogWarning, match="7.60 m ahead of the antenna"):
        moved = split_passes(told(log, 7.6))
    delay_s = estimate_delay(moved).delay_s
    assert delay_s == pytest.approx(11.0, abs=WITHIN_S)
    truth = season.truth.strips.set_index("strip")["yield_t_ha"]
    strips = strip_table(assign_strips(screen(shift_flow(moved, delay_s)), layout))
    ratio = strips.set_index("strip")["yield_t_ha"] / truth
    assert (ratio / ratio.mean() - 1).abs().max() < 0.01


def test_the_offset_comes_with_the_log_or_is_told(write, tmp_path):
    rows = "\n".join(f"{85},{-38.5 + n * 2e-5},3.1" for n in range(20))
    path = write(f"longitude,latitude,yield_t_ha\n{rows}\n")
    assert "header_ahead_m" not in read_log(path)
    log = read_log(path, header_ahead_m=3.5)
    assert log["header_ahead_m"].unique().tolist() == [3.5]
    with pytest.warns(LogWarning, match=r"cuts 3.50 m ahead of the antenna.*header_ahead_m = 0"):
        moved = split_passes(log)
    # Northwards: by 3.5 m of latitude, and by nothing of longitude.
    north = (moved["latitude"] - log["latitude"]) * METRES_A_DEGREE
    assert north.to_numpy() == pytest.approx(3.5, abs=0.02)
    assert moved["longitude"].to_numpy() == pytest.approx(85.0, abs=1e-7)
    with pytest.warns(LogWarning, match=r"cuts 1.00 m behind and 0.50 m to the left of"):
        split_passes(read_log(path, header_ahead_m=-1, header_right_m=-0.5))
    with pytest.raises(LogError, match=r"nowhere\.csv: there is no such file"):
        read_log(tmp_path / "nowhere.csv", header_ahead_m=1)
