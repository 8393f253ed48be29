"""Delimited text in any of the ways it comes, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from trialkit.errors import LogError
from trialkit.harvest.readers import delimited, open_export

PLAIN = "Time,Höhe,Flow\n10:00:01,1.5,2\n10:00:02,-2.25,3\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(write, encoding, end):
    (table,) = open_export(write(PLAIN.replace("\n", end), encoding=encoding))
    assert table.headings == ("Time", "Höhe", "Flow")
    assert table.numbers(1).tolist() == [1.5, -2.25]
    assert table.rows.tolist() == [2, 3]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", " ", "   "])
def test_delimiters(write, delimiter):
    (table,) = open_export(write(PLAIN.replace(",", delimiter)))
    assert len(table.headings) == 3
    assert table.numbers(2).tolist() == [2, 3]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_decimal_commas(write, delimiter):
    text = PLAIN.replace(",", delimiter).replace(".", ",")
    (table,) = open_export(write(text))
    assert table.decimal == ","
    assert table.numbers(1).tolist() == [1.5, -2.25]


def test_decimal_commas_in_quotes_between_commas(write):
    (table,) = open_export(write('a,b\n"1,5","x, y"\n"2,5",z\n'))
    assert table.numbers(0).tolist() == [1.5, 2.5]
    assert table.text(1).tolist() == ["x, y", "z"]


def test_blank_lines_and_repeated_headings_are_passed_over_and_rows_still_told(write):
    (table,) = open_export(write("\na,b\n1,2\n\n,\na,b\n3,4\n\n"))
    assert table.numbers(0).tolist() == [1, 3]
    assert table.rows.tolist() == [3, 7]


def test_empty_cells_are_missing(write):
    (table,) = open_export(write("a,b\n1,\n,4\n"))
    np.testing.assert_array_equal(table.numbers(1), [np.nan, 4])


def test_one_empty_cell_too_many_is_forgiven(write):
    (table,) = open_export(write("a,b\n1,2,\n3,4,\n"))
    assert table.numbers(1).tolist() == [2, 4]


def test_infinite_numbers_are_missing(write):
    (table,) = open_export(write("a,b\n1,inf\n3,-inf\n"))
    assert np.isnan(table.numbers(1)).all()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", r"log\.csv: the file is empty\. Export"),
        (b" \n\n  \n", r"log\.csv: the file is empty"),
        (b",,\n;;\n", r"log\.csv: the file holds nothing but blank lines"),
        (b"a,b\n", r"log\.csv: there are headings and no records"),
        (b"a,b\n1,2\n3,\x004\n", r"log\.csv, row 3: there are characters that no text holds"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", r"log\.csv, row 2: there are characters that no text"),
        (b"a b c\n1 2\n", r"log\.csv, row 1: one column is all there is in 'a b c'.*commas"),
        (b"a~b~c\n1~2~3\n", r"log\.csv, row 1: one column.*Export the log as CSV"),
        (b"a,b,c\n1,2,3\n4,5", r"log\.csv, row 3: 2 cells under 3 headings\. The last line is cut"),
        (b"a,b,c\n1,2\n4,5,6\n", r"log\.csv, row 2: 2 cells under 3 headings\. The line is dam"),
        (b"a,b\n1,5,2,5\n", r"log\.csv, row 2: 4 cells.*Decimal commas between commas.*semicolon"),
        (b'a,b\n"1,2\n3,4\n', r"log\.csv, row 2: a quotation mark is opened and not closed"),
        (b"\xff\xfea\x00,\x00b", r"log\.csv, byte 6: this is not whole UTF-16"),
    ],
)
def test_one_message_names_file_place_and_remedy(write, content, message):
    with pytest.raises(LogError, match=message):
        open_export(write(content))


def test_a_bad_cell_is_named_with_row_column_and_content(write):
    (table,) = open_export(write("a,Flow\n1,2\n\n3,four\n"))
    with pytest.raises(LogError, match=r"log\.csv, row 4, column 'Flow': 'four' is not a number"):
        table.numbers(1)


def test_a_comma_among_points_gets_its_own_remedy(write):
    (table,) = open_export(write("a;Flow\n1;2.5\n3;2,5\n"))
    with pytest.raises(LogError, match=r"row 3, column 'Flow': '2,5'.*one decimal mark through"):
        table.numbers(1)


def test_true_and_false_are_no_numbers(write):
    (table,) = open_export(write("a,Flow\n1,True\n3,False\n"))
    with pytest.raises(LogError, match=r"row 2, column 'Flow': 'True' is not a number"):
        table.numbers(1)


def test_a_heading_that_stands_twice_is_refused_only_where_it_is_meant(write):
    (table,) = open_export(write("a,b,b\n1,2,3\n"))
    assert table.find("a") == 0
    with pytest.raises(LogError, match=r"log\.csv: the heading 'b' stands over 2 columns"):
        table.find("b")


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(LogError, match=r"nothing\.csv: there is no such file"):
        open_export(tmp_path / "nothing.csv")


def test_size_is_bounded(write, monkeypatch):
    monkeypatch.setattr(delimited, "LARGEST_BYTES", 10)
    with pytest.raises(LogError, match=r"log\.csv: 0 MB is more than a harvest log .*this field"):
        open_export(write(PLAIN))


def test_columns_are_bounded(write):
    heading = ",".join(f"c{n}" for n in range(600))
    with pytest.raises(LogError, match=r"row 1: 600 headings are more than a harvest log has"):
        open_export(write(f"{heading}\n{heading.replace('c', '')}\n"))
