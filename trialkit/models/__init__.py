"""Estimates from data frames: mixed models and randomisation tests. No farms here."""

from trialkit.models.allocations import fewest_blocks, smallest_p
from trialkit.models.along_pass import AlongPass
from trialkit.models.diagnostics import diagnose, leave_one_out
from trialkit.models.findings import Finding
from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import FTest, MixedFit
from trialkit.models.moderation import Interaction, gains_along, gains_by, interaction
from trialkit.models.rates import RateResponse, compare_shapes, rate_response
from trialkit.models.residuals import residuals_along, strip_residuals, variogram
from trialkit.models.several_arms import SeveralShuffle, shuffle_several
from trialkit.models.shuffle import ShuffleTest, shuffle_test

__all__ = [
    "AlongPass",
    "FTest",
    "Finding",
    "Interaction",
    "MixedFit",
    "RateResponse",
    "SeveralShuffle",
    "ShuffleTest",
    "compare_shapes",
    "diagnose",
    "fewest_blocks",
    "fit_mixed",
    "gains_along",
    "gains_by",
    "interaction",
    "leave_one_out",
    "rate_response",
    "residuals_along",
    "shuffle_several",
    "shuffle_test",
    "smallest_p",
    "strip_residuals",
    "variogram",
]
