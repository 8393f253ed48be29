"""Estimates from data frames: mixed models and randomisation tests. No farms here."""

from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import FTest, MixedFit
from trialkit.models.shuffle import ShuffleTest, shuffle_test

__all__ = ["FTest", "MixedFit", "ShuffleTest", "fit_mixed", "shuffle_test"]
