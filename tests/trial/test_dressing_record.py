"""What was written into `dressing.csv` beside the plan. The plan: 4 l broth, 2 l syrup, 500 g
powder and 4 l water on a tonne, in the order broth, powder, syrup."""

from __future__ import annotations

import re

import pytest

from trialkit.trial import check_folder
from trialkit.trial.config import read_config
from trialkit.trial.dressing_record import read_dressing_record
from trialkit.trial.tables import FORMS, read_table

PRODUCTS = """
[[treatments.products]]
name = "broth"
form = "watery"
per_t = 4
keeps_mixed_h = 4
keeps_on_seed_h = 24

[[treatments.products]]
name = "syrup"
form = "syrupy"
per_t = 2
density_kg_l = 1.2

[[treatments.products]]
name = "powder"
form = "powder"
per_t = 500
unit = "g"
"""
TABLES = "\n[sowing]\nseed_kg_ha = 80\n[dressing]\nrate_l_t = 10\nmixer_l = 20\n"
HEADINGS = "date,treatment,product,amount,unit,seed_t,litres,start,end,last_sown"
GOOD = [
    "2025-05-12,dressed,water,2,l,0.5,5,7:40,8:10,15:00",
    "2025-05-12,dressed,broth,2,l,0.5,,7:40,,",
    "2025-05-12,dressed,powder,0.25,kg,0.5,,7:40,,",
    "2025-05-12,dressed,syrup,1.2,kg,0.5,,7:40,,",
]


@pytest.fixture
def folder(trial_folder):
    """A folder with the plan of this page."""
    path = trial_folder / "trial.toml"
    text = path.read_text().replace("cost_per_ha = 14.5\n", f"cost_per_ha = 14.5\n{PRODUCTS}")
    path.write_text(text + TABLES)
    return trial_folder


@pytest.fixture
def read(folder):
    """Compare rows with the plan."""

    def compare(rows, headings=HEADINGS):
        (folder / "dressing.csv").write_text("\n".join([headings, *rows]) + "\n")
        config, _ = read_config(folder / "trial.toml")
        table, checks = read_table(folder, FORMS["dressing"], ())
        assert checks == []
        return read_dressing_record(config, table)

    return compare


def swapped(old, new, rows=GOOD):
    return [row.replace(old, new) for row in rows]


def test_all_as_planned_says_nothing(read):
    record = read(GOOD)
    assert record.notes == ()
    assert record.rates["off_pct"].tolist() == pytest.approx([0, 0, 0, 0], abs=1e-9)
    assert record.rates["planned_per_t"].tolist() == [4, 4, 2, 500]
    assert record.rates["unit"].tolist() == ["l", "l", "l", "g"]
    (mix,) = record.batches.to_dict("records")
    assert (mix["seed_t"], mix["litres"], mix["litres_per_t"]) == (0.5, 5, 10)
    assert (mix["in_mix_h"], mix["on_seed_h"]) == pytest.approx((0.5, 6 + 50 / 60))


def test_two_mixes_of_one_day_are_told_apart_without_times(read):
    rows = [",".join(row.split(",")[:6]) for row in GOOD]
    record = read(rows + rows, ",".join(HEADINGS.split(",")[:6]))
    assert len(record.batches) == 2
    assert record.notes == ()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("broth,2,l", "broth,3,l", "got 6 l of 'broth' on a tonne of seed, and 4 l were planned"),
        ("broth,2,l", "broth,2,ml", "0.004 l of 'broth' .* 4 l were planned. Is its unit right?"),
        ("powder,0.25,kg", "powder,0.25,l", "'powder' is written in 'l', and the plan has it in g"),
        ("powder,0.25,kg", "powder,0.25,bags", "'powder' is written in 'bags'"),
        ("broth", "brothe", "'brothe' is on the seed .* not in the plan. Did you mean 'broth'"),
        ("0.5,5,", "0.5,6,", r"put 12 l on a tonne, and 10 l were planned \(\+20%\)"),
        ("8:10", "12:10", "was 4.5 h old .* 'broth' keeps 4 h once mixed"),
        ("15:00", "2025-05-13 15:00", "sown 30.8 h later, and 'broth' keeps 24 h on the seed"),
        ("8:10", "7:10", "ends before it starts. Past midnight"),
        ("dressed", "dresed", "no treatment 'dresed'. Did you mean 'dressed'.* not compared"),
        (",0.5,", ",,", "Without seed_t in each row nobody can say the rate of 'broth'"),
    ],
)
def test_what_is_not_as_planned_is_said_with_its_remedy(read, old, new, says):
    notes = "\n".join(read(swapped(old, new)).notes)
    assert re.search(says, notes)


def test_another_order_is_said(read):
    record = read([GOOD[0], GOOD[1], GOOD[3], GOOD[2]])
    (note,) = record.notes
    assert "written in the order broth, syrup, powder; planned is broth, powder, syrup" in note


def test_a_product_left_out_is_said(read):
    assert read(GOOD[:3]).notes == ("Nothing is written of 'syrup' on the seed of 'dressed'.",)


def test_mixes_that_are_right_only_together_are_said(read):
    more = swapped("broth,2,l", "broth,3,l")
    less = swapped("7:40", "9:00", swapped("8:10", "9:20", swapped("broth,2,l", "broth,1,l")))
    notes = read(more + less).notes
    assert len(notes) == 2
    assert "The mix of 2025-05-12 07:40 for 'dressed' has +50% of 'broth'" in notes[0]
    assert "09:00 for 'dressed' has -50%" in notes[1]


def test_the_treatment_is_filled_in_where_only_one_can_be_meant(read):
    rows = [row.replace(",dressed,", ",,") for row in GOOD]
    assert read(rows).rates["off_pct"].notna().all()


def test_the_notes_are_notes_of_the_folder_and_no_faults(folder, read):
    read(swapped("broth,2,l", "broth,3,l"))
    trial, checks = check_folder(folder)
    (check,) = [check for check in checks if check.file == "dressing.csv"]
    assert check.outcome == "warning"
    assert trial is not None
    assert check in trial.checks


def test_without_a_recipe_nothing_is_compared(trial_folder):
    (trial_folder / "dressing.csv").write_text("\n".join([HEADINGS, *GOOD]) + "\n")
    trial, checks = check_folder(trial_folder)
    assert checks == []
    record = read_dressing_record(trial.config, trial.dressing)
    assert record.rates.empty
    assert len(record.batches) == 1
