"""Estimates from data frames: mixed models and randomisation tests. No farms here."""

from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import FTest, MixedFit
from trialkit.models.several_arms import SeveralShuffle, shuffle_several
from trialkit.models.shuffle import ShuffleTest, fewest_blocks, shuffle_test, smallest_p

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
