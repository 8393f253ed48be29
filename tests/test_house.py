"""The rules of the house that a reader cannot see at a glance."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

import trialkit

ROOT = Path(__file__).parents[1]

MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(trialkit.__path__, "trialkit.")
    if not module.ispkg
)


def public_functions():
    for name in MODULES:
        module = importlib.import_module(name)
        for member_name, member in vars(module).items():
            if member_name.startswith("_") or getattr(member, "__module__", "") != name:
                continue
            if inspect.isfunction(member):
                yield pytest.param(member, id=f"{name}.{member_name}")


def documented_parameters(docstring: str) -> list[str]:
    section = re.search(r"\n\s*Parameters\n\s*-+\n(.*?)(?:\n\n\s*\w+\n\s*-+\n|\Z)", docstring, re.S)
    if not section:
        return []
    lines = inspect.cleandoc("\n" + section[1]).splitlines()
    names = [line.split(":")[0] for line in lines if line and not line[0].isspace()]
    return [name.strip().lstrip("*") for group in names for name in group.split(",")]


def test_no_module_name_stands_twice():
    counts = Counter(name.rsplit(".", 1)[1] for name in MODULES)
    assert {name: n for name, n in counts.items() if n > 1} == {}


def test_no_module_is_too_long():
    lengths = {path: len(path.read_text().splitlines()) for path in ROOT.glob("trialkit/**/*.py")}
    assert {path.name: n for path, n in lengths.items() if n > 400} == {}


@pytest.mark.parametrize("function", list(public_functions()))
def test_documented_parameters_are_the_signature(function):
    docstring = function.__doc__ or ""
    assert docstring
    documented = documented_parameters(docstring)
    if documented:
        assert documented == list(inspect.signature(function).parameters)


@pytest.mark.parametrize("name", trialkit.__all__)
def test_the_names_a_notebook_needs_are_there(name):
    assert getattr(trialkit, name).__module__.startswith("trialkit.")


@pytest.mark.parametrize("station", ["design", "harvest", "scouting", "sowing"])
def test_every_name_of_a_station_is_there(station):
    package = importlib.import_module(f"trialkit.{station}")
    assert all(hasattr(package, name) for name in package.__all__)


def test_the_commands_start_without_the_heavy_libraries():
    code = "import sys, trialkit.cli; print(' '.join(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"pandas", "numpy", "scipy", "geopandas", "plotnine", "pydantic", "rich", "jinja2"}
    assert heavy & set(run.stdout.split()) == set()
