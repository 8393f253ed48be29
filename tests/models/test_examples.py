"""The examples in the docstrings give what they say."""

from __future__ import annotations

import doctest
import importlib

import pytest


@pytest.mark.parametrize("name", ["along_pass", "mixed", "several_arms", "shuffle"])
def test_example(name):
    found = doctest.testmod(importlib.import_module(f"trialkit.models.{name}"))
    assert (found.failed, found.attempted > 0) == (0, True)
