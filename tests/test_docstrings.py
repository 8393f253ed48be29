"""Every example in a docstring runs and says what it says."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import trialkit

MODULES = sorted(module.name for module in pkgutil.walk_packages(trialkit.__path__, "trialkit."))


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    flags = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS
    failed, _ = doctest.testmod(importlib.import_module(name), optionflags=flags)
    assert failed == 0
