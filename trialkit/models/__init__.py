"""Estimates from data frames: mixed models and randomisation tests. No farms here."""

from trialkit.models.allocations import fewest_blocks, smallest_p
from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import FTest, MixedFit
from trialkit.models.moderation import Interaction, gains_along, gains_by, interaction
from trialkit.models.several_arms import SeveralShuffle, shuffle_several
from trialkit.models.shuffle import ShuffleTest, shuffle_test

__all__ = [
    "FTest",
    "Interaction",
    "MixedFit",
    "SeveralShuffle",
    "ShuffleTest",
    "fewest_blocks",
    "fit_mixed",
    "gains_along",
    "gains_by",
    "interaction",
    "shuffle_several",
    "shuffle_test",
    "smallest_p",
]
