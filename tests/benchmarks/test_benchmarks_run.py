"""The benchmarks themselves, at a size that takes no time: they must not rot."""

from __future__ import annotations

import importlib
import runpy
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent

#: statsmodels' optimiser stops at about four digits of a variance.
SECOND_OPINION = 1e-3

#: Two searches for the same optimum: each squares its error in the last step.
SAME_FIT = 1e-8


def test_mixed_million():
    compare = runpy.run_path(str(FOLDER / "mixed_million.py"))["compare"]
    table = compare(6_000)
    assert list(table["records"]) == [6_000, 600, 600]
    assert (table["seconds"] > 0).all()
    assert (table["peak_mb"] > 0).all()
    # The same model on the same records.
    assert table["gain"][1] == pytest.approx(table["gain"][2], rel=SECOND_OPINION)


def test_many_small_fits():
    compare = runpy.run_path(str(FOLDER / "many_small_fits.py"))["compare"]
    table = compare(500, 3)
    assert (table["p_differs_by"] < SAME_FIT).all()
    # A thirtieth of what a quiet core does with many more fits at a time; see the benchmark.
    assert (table["batched_fits_per_s"] > 2_000).all()


def test_along_million():
    compare = runpy.run_path(str(FOLDER / "along_million.py"))["compare"]
    table = compare((1_200, 4_800))
    assert list(table["records"]) == [1_200, 4_800]
    assert (table["seconds"] > 0).all()
    assert table["time_a_record_ratio"][0] == 1


def test_harvest_million(monkeypatch):
    monkeypatch.syspath_prepend(FOLDER)  # its processes import it by name
    table = importlib.import_module("harvest_million").compare((6_000,))
    assert table["records"][0] > 6_000
    assert (table[["read", "split", "delay", "screen", "assign", "read_csv"]] > 0).all(axis=None)


def test_design_large():
    compare = runpy.run_path(str(FOLDER / "design_large.py"))["compare"]
    table = compare(4, 100, 4_000)
    assert list(table["size"]) == [8, 100]
    assert (table["ratio"] > 0).all()
