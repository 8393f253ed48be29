"""Estimates from data frames: mixed models, counts, randomisation tests, pooling. No farms here."""

from trialkit.models.allocations import fewest_blocks, smallest_p
from trialkit.models.along_pass import AlongPass
from trialkit.models.batched import BatchFit, fit_batch
from trialkit.models.count_fit import CountFit
from trialkit.models.count_models import fit_counts
from trialkit.models.diagnostics import diagnose, leave_one_out
from trialkit.models.findings import Finding
from trialkit.models.mixed import fit_mixed
from trialkit.models.mixed_fit import FTest, MixedFit
from trialkit.models.moderation import Interaction, gains_along, gains_by, interaction
from trialkit.models.pooling import Pooled, leave_one_study_out, pool
from trialkit.models.rates import RateResponse, compare_shapes, rate_response
from trialkit.models.residuals import residuals_along, strip_residuals, variogram
from trialkit.models.several_arms import SeveralShuffle, shuffle_several
from trialkit.models.shuffle import ShuffleTest, shuffle_test
from trialkit.models.surface import Surface

__all__ = [
    "AlongPass",
    "BatchFit",
    "CountFit",
    "FTest",
    "Finding",
    "Interaction",
    "MixedFit",
    "Pooled",
    "RateResponse",
    "SeveralShuffle",
    "ShuffleTest",
    "Surface",
    "compare_shapes",
    "diagnose",
    "fewest_blocks",
    "fit_batch",
    "fit_counts",
    "fit_mixed",
    "gains_along",
    "gains_by",
    "interaction",
    "leave_one_out",
    "leave_one_study_out",
    "pool",
    "rate_response",
    "residuals_along",
    "shuffle_several",
    "shuffle_test",
    "smallest_p",
    "strip_residuals",
    "variogram",
]
