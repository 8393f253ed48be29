from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from trialkit.columns import COLUMNS
from trialkit.trial.tables import FORMS, read_table

STRIPS = ["S0", "S1"]


def read(folder: Path, name: str, text: str | bytes):
    path = folder / FORMS[name].file
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    table, checks = read_table(folder, FORMS[name], STRIPS)
    return table, [check.sentence() for check in checks]


def test_every_column_of_every_table_is_in_the_glossary():
    names = {name for form in FORMS.values() for name in form.known}
    assert names <= set(COLUMNS)


def test_a_table_that_is_not_there_is_no_fault(tmp_path):
    assert read_table(tmp_path, FORMS["counts"], STRIPS) == (None, [])


def test_a_table_with_headings_only_counts_as_absent(tmp_path):
    assert read(tmp_path, "weights", "strip,mass_kg\n") == (None, [])


def test_counts_are_read_with_numbers_and_dates(tmp_path):
    text = "strip,date,count,row_length_m,row_spacing_m\nS0,2024-06-01,25,1,0.25\n\nS1,,31,1,0.25\n"
    table, faults = read(tmp_path, "counts", text)
    assert faults == []
    assert table["count"].tolist() == [25, 31]
    assert table["date"].tolist() == [pd.Timestamp("2024-06-01"), pd.NaT]


def test_times_of_a_dressing_need_no_day(tmp_path):
    text = (
        "date,product,amount,unit,start,end\n2025-05-12,broth,1,l,7:40,12.05\n"
        "2025-05-12,broth,1,l,,2025-05-13 00:10\n"
    )
    table, faults = read(tmp_path, "dressing", text)
    assert faults == []
    assert table["start"].tolist() == [pd.Timestamp("2025-05-12 07:40"), pd.NaT]
    expected = [pd.Timestamp("2025-05-12 12:05"), pd.Timestamp("2025-05-13 00:10")]
    assert table["end"].tolist() == expected


def test_a_spreadsheet_with_semicolons_and_decimal_commas_reads_the_same(tmp_path):
    table, faults = read(
        tmp_path, "weights", "﻿strip;mass_kg;moisture_pct\r\nS0;1234,5;11,8\r\n".encode()
    )
    assert faults == []
    assert table.loc[0, ["mass_kg", "moisture_pct"]].tolist() == [1234.5, 11.8]


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("counts", "", r"counts.csv: The file is empty"),
        ("counts", "strip,count\nS0,25\n", r"row 1: .*row_length_m with row_spacing_m or area_m2"),
        ("counts", "strip,cout,area_m2\nS0,25,1\n", r"no column 'cout'.*Did you mean 'count'\?"),
        ("counts", "strip,count,count,area_m2\nS0,2,2,1\n", r"'count' stands twice"),
        ("counts", "strip,count,area_m2\nS0,many,1\n", r"row 2, count: 'many' is not a number"),
        ("counts", "strip,count,area_m2\nS0,5,\n", r"row 2, area_m2: '' is blank"),
        ("counts", "strip,count,area_m2\nS0,-3,1\n", r"'-3' cannot be right.*0 to 100000"),
        ("counts", "strip,count,area_m2\nS9,3,1\n", r"row 2, strip: The layout has no strip 'S9'"),
        ("counts", "strip,count,area_m2\nS0,3\n", r"row 2: It has 2 cells.*3 headings"),
        ("scores", "strip,date,score,value\nS0,12/6/24,vigour,3\n", r"not a date.*year first"),
        (
            "counts",
            "strip,count,area_m2\nS0,3,1\nCafé,1,1".encode("latin-1"),
            r"row 3: .*not UTF-8",
        ),
        ("dressing", "date,product,amount,unit\n2025-05-12,x,1\n", r"row 2: It has 3 cells"),
        (
            "dressing",
            "date,product,amount,unit,start\n2025-05-12,x,1,l,25:00\n",
            r"row 2, start: '25:00' is not a date. Write it like 07:40",
        ),
        (
            "dressing",
            "date,product,amount,unit,start\n12/5/25,x,1,l,7:40\n",
            r"^dressing.csv, row 2, date: '12/5/25' is not a date[^\n]*$",
        ),
        (
            "dressing",
            "date,product,amount,unit,start\n2025-05-12,x,1,l,2025-05-12T07:40Z\n",
            r"another time zone than the rest. Write every time as the clock on your wall",
        ),
        (
            "scores",
            "strip,date,score,value\nS0,2024-06-01T07:00Z,a,1\nS0,2024-06-01T07:00,a,1\n",
            r"row 3, date: .*another time zone",
        ),
        ("weights", "load,mass_kg\nL1,900\n", r"Give strip or load with start with end"),
    ],
)
def test_a_fault_names_file_row_and_remedy(tmp_path, name, text, says):
    table, faults = read(tmp_path, name, text)
    assert table is None
    assert re.search(says, "\n".join(faults))


def test_many_rows_with_the_same_fault_are_counted(tmp_path):
    rows = "".join("S0,x,1\n" for _ in range(40))
    _, faults = read(tmp_path, "counts", "strip,count,area_m2\n" + rows)
    assert len(faults) == 4
    assert "37 more rows" in faults[-1]
