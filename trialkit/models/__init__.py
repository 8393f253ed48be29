"""Estimates from data frames: mixed models and randomisation tests. No farms here."""

from trialkit.models.allocations import fewest_blocks, smallest_p
from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import FTest, MixedFit
from trialkit.models.several_arms import SeveralShuffle, shuffle_several
from trialkit.models.shuffle import ShuffleTest, shuffle_test

__all__ = [
    "FTest",
    "MixedFit",
    "SeveralShuffle",
    "ShuffleTest",
    "fewest_blocks",
    "fit_mixed",
    "shuffle_several",
    "shuffle_test",
    "smallest_p",
]
