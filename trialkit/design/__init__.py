"""Strips that fit the machines and can answer the question.

Names are loaded when first used, so that the commands start without the heavy libraries.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from trialkit.design.allocation import (
        Allocation,
        allocate,
        allocation_from_record,
        possible_layouts,
    )
    from trialkit.design.comparison import Variants, compare_layouts, plan_variants
    from trialkit.design.foresight import Foresight, foresee, replicates_table
    from trialkit.design.guidance import (
        FieldDrawing,
        guidance_files,
        read_field_drawing,
        write_guidance,
    )
    from trialkit.design.layout import TrialPlan, lay_out, plan_trial
    from trialkit.design.rehearsal import Rehearsal, rehearse
    from trialkit.design.replicates import (
        detectable_difference,
        exact_replicates,
        power_to_see,
        strips_needed,
    )
    from trialkit.design.tramlines import Tramlines
    from trialkit.design.variation import (
        StripVariation,
        beyond_the_map,
        strip_variation,
        typical_cvs,
    )
    from trialkit.design.wishes import Wishes

__all__ = [
    "Allocation",
    "FieldDrawing",
    "Foresight",
    "Rehearsal",
    "StripVariation",
    "Tramlines",
    "TrialPlan",
    "Variants",
    "Wishes",
    "allocate",
    "allocation_from_record",
    "beyond_the_map",
    "compare_layouts",
    "detectable_difference",
    "exact_replicates",
    "foresee",
    "guidance_files",
    "lay_out",
    "plan_trial",
    "plan_variants",
    "possible_layouts",
    "power_to_see",
    "read_field_drawing",
    "rehearse",
    "replicates_table",
    "strip_variation",
    "strips_needed",
    "typical_cvs",
    "write_guidance",
]

_MODULES = {
    "Allocation": "allocation",
    "allocate": "allocation",
    "allocation_from_record": "allocation",
    "possible_layouts": "allocation",
    "Foresight": "foresight",
    "foresee": "foresight",
    "replicates_table": "foresight",
    "FieldDrawing": "guidance",
    "guidance_files": "guidance",
    "read_field_drawing": "guidance",
    "write_guidance": "guidance",
    "TrialPlan": "layout",
    "lay_out": "layout",
    "plan_trial": "layout",
    "Rehearsal": "rehearsal",
    "Variants": "comparison",
    "compare_layouts": "comparison",
    "plan_variants": "comparison",
    "rehearse": "rehearsal",
    "detectable_difference": "replicates",
    "exact_replicates": "replicates",
    "power_to_see": "replicates",
    "strips_needed": "replicates",
    "Tramlines": "tramlines",
    "StripVariation": "variation",
    "beyond_the_map": "variation",
    "strip_variation": "variation",
    "typical_cvs": "variation",
    "Wishes": "wishes",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULES[name]}"), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_MODULES])
