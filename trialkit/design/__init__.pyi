from .allocation import (
    Allocation,
    allocate,
    allocation_from_record,
    possible_layouts,
)
from .comparison import (
    Variants,
    compare_layouts,
    plan_variants,
)
from .foresight import (
    Foresight,
    foresee,
    replicates_table,
)
from .guidance import (
    FieldDrawing,
    guidance_files,
    read_field_drawing,
    write_guidance,
)
from .layout import (
    TrialPlan,
    lay_out,
    plan_trial,
)
from .rehearsal import (
    Rehearsal,
    rehearse,
)
from .replicates import (
    detectable_difference,
    exact_replicates,
    power_to_see,
    strips_needed,
)
from .tramlines import Tramlines
from .variation import (
    StripVariation,
    beyond_the_map,
    strip_variation,
    typical_cvs,
)
from .wishes import Wishes

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
