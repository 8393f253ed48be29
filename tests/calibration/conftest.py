"""The calibration command as a namespace, so that the test measures what the command does."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest


@pytest.fixture(scope="session")
def calibration() -> SimpleNamespace:
    """Everything that `run.py` defines."""
    return SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("run.py"))))


@pytest.fixture(scope="session")
def scenario(calibration):
    """Return a function that finds a scenario by its name."""
    return {one.name: one for one in calibration.SCENARIOS}.__getitem__
