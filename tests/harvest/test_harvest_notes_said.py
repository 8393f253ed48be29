"""What is noticed on a log, in another language: sentences whole, reasons in tables as before."""

from __future__ import annotations

import warnings
from collections import Counter

import pandas as pd
import pytest

from trialkit.errors import LogWarning, noted
from trialkit.harvest import (
    Screening,
    assign_strips,
    calibrate,
    crops,
    delay,
    estimate_delay,
    find_delay,
    header,
    machines,
    rules,
    screen,
    screening,
    screening_account,
    settings,
    strip_table,
    strips,
    weigh_strips,
    weights,
)
from trialkit.harvest.header import warn_of_move
from trialkit.language import speaking


def notes(make):
    """The warnings of a step, in their order."""
    with noted() as seen:
        make()
    return seen


def test_reasons_stay_as_they_are_in_tables(drive, german):
    log = drive(passes=2).assign(speed_m_s=7.0)
    words = {"too fast": "zu schnell", "turning": "Wenden", "header up": "Schneidwerk oben"}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", LogWarning)
        english = screen(log)
        with speaking(german(words)):
            spoken = screen(log)
            account = screening_account(spoken)
    pd.testing.assert_frame_equal(spoken, english)
    assert "too fast" in account["reason"].tolist()


def test_what_screening_questions(drive, said_whole):
    def told():
        yield from notes(lambda: screen(drive(passes=2).assign(speed_m_s=7.0)))
        usual = Screening(swath_least_share=0.5)
        yield from notes(lambda: screen(drive(passes=1), usual, harvester_m=12.5))
        yield from notes(lambda: screen(drive(swath_m=8.0).assign(swath_m=10.0)))

    said = said_whole(told, screening, rules, settings)
    assert any("full cut width is 10,00 m, but harvester_m is 12,5 m" in note for note in said)


def test_the_reason_is_said_in_the_warning(drive, german):
    words = {
        "{left_out_pct:.0f}% of the records in passes are left out as '{reason}'. That many point "
        "to a wrong unit or limit. Check [harvest.units], and {limits} under [harvest.screening] "
        "in trial.toml.": "{left_out_pct:.0f} % ausgelassen: {reason}. Siehe {limits}.",
        "too fast": "zu schnell",
    }
    with speaking(german(words)), pytest.warns(LogWarning, match=r"zu schnell\. Siehe speed_high"):
        screen(drive(passes=1).assign(speed_m_s=7.0))


def test_strips_one_and_several(drive, strips_beside, said_whole):
    log = screen(drive(), Screening(pass_start_s=0, pass_end_s=0, beside_stop_s=0))

    def told():
        yield from notes(lambda: assign_strips(log, strips_beside(), edge_m=6))
        placed = assign_strips(log, strips_beside())
        for gone in (["S1"], ["S1", "S4"]):
            part = placed.assign(kept=placed["kept"] & ~placed["strip"].isin(gone))
            yield from notes(lambda part=part: strip_table(part, strips_beside()))

    said = said_whole(told, strips)
    assert "strips S1, S2, S3, S4" in said[0]
    assert "counts in ⟦strip S1⟧" in said[1]
    assert "counts in ⟦strips S1, S4⟧" in said[2]


@pytest.mark.parametrize("declared", [None, 3.5, 40.0])
def test_the_delay(drive, rough_field, said_whole, declared):
    logs = [
        drive(delay_s=9.0, yield_t_ha=rough_field),
        drive().drop(columns="time"),
        drive(),
        drive(passes=1),
        drive(delay_s=9.0, passes=3, noise_m=8.0, yield_t_ha=rough_field),
    ]

    def told():
        for log in logs:
            if declared is None:
                yield from notes(lambda log=log: estimate_delay(log))
                continue
            found = find_delay(log.assign(latency_s=declared))
            assert found.source in ("estimated", "declared")
            yield found.note

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", LogWarning)
        said = said_whole(told, delay)
    assert declared is None or f"{declared:.1f}".replace(".", ",") in said[0]


@pytest.mark.parametrize("ahead", [2.5, -2.5, 0.0])
@pytest.mark.parametrize("right", [0.75, -0.75, 0.0])
def test_where_the_header_cuts(said_whole, ahead, right):
    if ahead or right:
        (said,) = said_whole(lambda: notes(lambda: warn_of_move((ahead, right))), header)
        assert ("2,50 m" in said) == bool(ahead)
        assert ("0,75 m" in said) == bool(right)


def test_weights(drive, strips_beside, said_whole):
    log = drive()
    times = pd.to_datetime(log["time"])
    load = pd.DataFrame({
        "load": ["one"], "start": [str(times.iloc[0])], "end": [str(times.iloc[400])],
        "mass_kg": [1.0],
    })  # fmt: skip
    strip = pd.DataFrame({"strip": ["S1", "S2"], "mass_kg": [900.0, 950.0]})

    def told():
        yield from notes(lambda: weigh_strips(strip, strips_beside(), standard_moisture_pct=None))
        yield from notes(lambda: calibrate(log, load))

    said = said_whole(told, weights)
    assert any("a factor of 0,00 is absurd" in note for note in said)
    assert any("no weight for S3, S4" in note for note in said)


def test_machines_and_crops(said_whole):
    def told():
        for kind in ("block", "treatment"):
            yield from notes(lambda kind=kind: machines._warn_of_aliases(kind))
        for names in (["Oats", "Barley"], list("abcdefgh")):
            counts = Counter(names * 1200)
            yield from notes(
                lambda c=counts: crops._warn_of_several("a.csv", "Crop", "crops", c, "")
            )

    said = said_whole(told, machines, crops)
    assert "'Oats' (1.200), 'Barley' (1.200)" in said[2]
    assert "and 3 more" in said[3]
