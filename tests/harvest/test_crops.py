"""Logs in which several crops, varieties or fields stand together: named, and chosen from."""

from __future__ import annotations

import tomllib
import warnings

import pytest

from trialkit.errors import LogError, LogWarning
from trialkit.harvest import read_log
from trialkit.trial.config import Harvest

COLUMNS = {"longitude": "Lon", "latitude": "Lat", "yield_t_ha": "Yield (t/ha)"}


def table(heading, values, *, more="", delimiter=","):
    lines = [delimiter.join(["Lon", "Lat", "Yield (t/ha)", heading])]
    for number, value in enumerate(values):
        lines.append(delimiter.join(["85.0", f"{-38.5 + number * 2e-5:.6f}", "3.1", value]))
    return "\n".join(lines) + "\n" + more


def read(path, **changes):
    return read_log(path, columns=COLUMNS, **changes)


@pytest.mark.parametrize(
    ("heading", "values", "kind"),
    [
        ("Crop", ["Oats", "Barley"], "2 crops"),
        ("Harvested crop", ["oats", "barley"], "2 crops"),
        ("Variety name", ["Early", "Late", "Middle"], "3 varieties"),
        ("Product", ["O-1", "O-2"], "2 products"),
        ("Paddock", ["Hill", "Flat"], "2 fields"),
        ("field_id", ["17", "18"], "2 fields"),
    ],
)
def test_several_are_named_and_one_can_be_chosen(write, heading, values, kind):
    path = write(table(heading, values * 10))
    with pytest.warns(LogWarning, match=rf"column '{heading}' names {kind}. Records of '.*10\)"):
        assert len(read(path)) == 10 * len(values)
    for value in values:
        chosen = read(path, only={heading: value.upper()})
        assert len(chosen) == 10
        assert chosen["row"].tolist() == list(
            range(2 + values.index(value), 2 + 10 * len(values), len(values))
        )


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("Crop", ["Oats", " oats ", "OATS", ""]),  # one crop, however it is written
        ("Crop moisture", ["11.5", "12.1"]),
        ("Crop height", ["50", "60"]),
        ("Field slope", ["flat", "steep"]),
        ("Field number", [str(number) for number in range(40)]),  # as many as records: no names
        ("Operator", ["Anna", "Ben"]),
        ("Product", ["", ""]),
    ],
)
def test_other_columns_are_no_crops(write, heading, values):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert len(read(write(table(heading, values * 5)))) == 5 * len(values)


def test_the_crop_of_the_trial_is_suggested(write):
    path = write(table("Crop", ["Barley"] * 20 + ["Oats"] * 5))
    with pytest.warns(LogWarning, match=r'only = \{"Crop" = "Oats"\}'):
        read(path, crop="oats")
    with pytest.warns(LogWarning, match=r'only = \{"Crop" = "Barley"\}'):
        read(path)


def test_files_of_different_crops(write, tmp_path):
    folder = tmp_path / "harvest"
    folder.mkdir()
    for name in ("oats", "barley"):
        (folder / f"{name}.csv").write_text(table("Crop", [name] * 10))
    with pytest.warns(LogWarning, match=r"'Crop' names 2 crops"):
        assert len(read(folder)) == 20
    assert set(read(folder, only={"Crop": "oats"})["file"]) == {"oats.csv"}


def test_what_is_asked_for_and_not_there_is_said(write):
    path = write(table("Crop", ["Oats", "Barley"] * 5))
    with pytest.raises(LogError, match=r"log\.csv: there is no column 'Corp'.*mean 'Crop'\?"):
        read(path, only={"Corp": "Oats"})
    with pytest.raises(
        LogError, match=r"'Crop': no record is of 'Rye'. Records of 'Oats' \(5\), 'Barley' \(5\)"
    ):
        read(path, only={"Crop": "Rye"})
    with pytest.raises(LogError, match=r"'Crop': no record is of 'Rye'. The column is empty"):
        read(write(table("Crop", ["", ""])), only={"Crop": "Rye"})


def test_the_suggestion_can_be_pasted_whatever_the_name(write):
    path = write(table("Crop", ['"early ""A\\1"""', '"late ""A"""'] * 5))
    with pytest.warns(LogWarning, match="names 2 crops") as told:
        read(path)
    text = str(told[0].message)
    only = tomllib.loads(text[text.index("only = ") : text.rindex(".")])["only"]
    assert only == {"Crop": 'early "A\\1"'}
    assert len(read(path, only=only)) == 5


def test_trial_toml_says_which(write):
    assert Harvest.model_validate({"only": {"Crop": "oats"}}).only == {"Crop": "oats"}
    assert Harvest().header_ahead_m is None
    assert Harvest(header_ahead_m=2.8, header_right_m=-0.2).header_right_m == -0.2
    with pytest.raises(ValueError, match="less than or equal to 20"):
        Harvest(header_ahead_m=282)
