"""The base error and the base warning, and the domain names under them.

A message says what happened, where, why, and the ways out. It is raised once
and never logged as well.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager


class TrialkitError(Exception):
    """Base of every error that is the input's fault, not ours."""


class TrialFolderError(TrialkitError):
    """The trial folder, its `trial.toml` or one of its tables is faulty."""


class UnitError(TrialkitError):
    """A unit is unknown, or does not measure what it should."""


class LogError(TrialkitError):
    """A harvest log cannot be read, or is not a log of this field."""


class LayoutError(TrialkitError):
    """The strips are missing, overlap, or do not fit the field."""


class DesignError(TrialkitError):
    """A wish about the design makes no sense, or no trial can meet it."""


class ScoutingError(TrialkitError):
    """A count, a temperature or a score cannot be right, or cannot be placed."""


class ModelError(TrialkitError):
    """The data cannot answer the question put to the model."""


class SowingError(TrialkitError):
    """A number about dressing or sowing the seed makes no sense, or the plan cannot be done."""


class SeasonsError(TrialkitError):
    """Seasons that cannot be taken together."""


class BundleError(TrialkitError):
    """A bundle is no bundle, was changed, or cannot be made as asked."""


class MoneyError(TrialkitError):
    """A price, a cost or a threshold makes no sense."""


class TrialkitWarning(UserWarning):
    """Base of every warning: the work goes on, but the user should know."""


class LogWarning(TrialkitWarning):
    """A harvest log was read, with something in it the user should know."""


class ScoutingWarning(TrialkitWarning):
    """Counts, temperatures or scores were read, with something in them the user should know."""


class ModelWarning(TrialkitWarning):
    """A model was fitted, with something the user should know."""


@contextmanager
def noted() -> Iterator[list[str]]:
    """Collect trialkit's own warnings as sentences for the report; let others through."""
    notes: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always", TrialkitWarning)
        yield notes
    for warning in caught:
        if issubclass(warning.category, TrialkitWarning):
            notes.append(str(warning.message))
        else:
            warnings.warn_explicit(
                warning.message, warning.category, warning.filename, warning.lineno
            )
